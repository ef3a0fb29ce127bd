package console

import (
	"errors"
	"net/http"
	"net/url"
	"slices"
	"strings"

	"lintel.example/lintel/internal/fault"
	"lintel.example/lintel/internal/rulebook"
)

// form is what stands in the fields of a form, and what is wrong with it. A field is named by the JSON pointer that the
// faults of the use-cases have; its physical value and its basis are the fields /x and /x/basis.
type form struct {
	id     string // sets it apart from the other forms of a page
	loose  bool   // it may be sent with any of its fields empty
	values url.Values
	faults fault.List
}

// newForm makes a form that nobody has sent yet.
func newForm(values map[string]string) form {
	f := form{values: url.Values{}}
	for name, value := range values {
		f.values.Set(name, value)
	}
	return f
}

// form reads the form that was sent.
func (q *request) form() (form, error) {
	if err := q.ParseForm(); err != nil {
		var tooLarge *http.MaxBytesError
		if errors.As(err, &tooLarge) {
			return form{}, err
		}
		return form{}, fault.New(fault.Invalid, "body_unreadable").Because(err)
	}
	return form{values: q.PostForm}, nil
}

// Value is what stands in a field, without surrounding space.
func (f form) Value(name string) string { return strings.TrimSpace(f.values.Get(name)) }

// Values is everything that was chosen in a field of many.
func (f form) Values(name string) []string { return f.values[name] }

// Has tells whether a value was chosen in a field of many.
func (f form) Has(name, value string) bool {
	for _, v := range f.values[name] {
		if v == value {
			return true
		}
	}
	return false
}

// Typed tells whether something stands in a field whose name begins so.
func (f form) Typed(before string) bool {
	for name := range f.values {
		if strings.HasPrefix(name, before) && f.Value(name) != "" {
			return true
		}
	}
	return false
}

// Secret is what stands in a field of which every sign counts.
func (f form) Secret(name string) string { return f.values.Get(name) }

// Faults are all that is wrong.
func (f form) Faults() fault.List { return f.faults }

// Of are the faults of one field.
func (f form) Of(name string) (list fault.List) {
	for _, one := range f.faults {
		if fieldOf(one.Pointer) == name {
			list = append(list, one)
		}
	}
	return list
}

// fieldOf is the field that a pointer of a fault means.
func fieldOf(pointer string) string { return strings.TrimSuffix(pointer, "/value") }

// IDOf is the id of the element of a field, or of the field that a fault's pointer means.
func (f form) IDOf(pointer string) string {
	return "f" + f.id + strings.NewReplacer("/", "-", "_", "-", ".", "-").Replace(fieldOf(pointer))
}

// refused is the form with what is wrong with it.
func (f form) refused(err error) form {
	f.faults = append(f.faults, fault.Of(err)...)
	return f
}

// again shows a form again with its values and what is wrong with them. What has nothing to do with the form is an error
// of the whole page.
func (q *request) again(f form, err error, show func(form, int) (answer, error)) (answer, error) {
	faults := fault.Of(err)
	if len(faults) == 0 {
		return nil, err
	}
	switch faults[0].Kind {
	case fault.Forbidden, fault.NotFound:
		return nil, err
	case fault.PreconditionRequired: // a form that makes something names no version: gone back to, and sent once more with something else in it
		err = fault.New(fault.Conflict, "made_already")
		faults = fault.Of(err)
	}
	return show(f.refused(err), statusOf(faults[0].Kind))
}

// field is one field of a form as its template shows it.
type field struct {
	Name, ID, Label, Hint, Type, Value string
	Unseen                             string // of the label: read out, not shown
	Must, Bare, loose                  bool
	Complete                           string // what the browser may fill in
	Options                            []option
	Faults                             fault.List
}

// option is one choice.
type option struct {
	Value, Text string
	Chosen      bool
}

// Apart is the form as one of several on a page.
func (f form) Apart(name string) form {
	f.id = "-" + name
	return f
}

// Field is a field of the form under a label.
func (f form) Field(name, label string) field {
	return field{Name: name, ID: f.IDOf(name), Label: label, Type: "text", Value: f.values.Get(name), Faults: f.Of(name), loose: f.loose}
}

// Described names the elements that say more about the field.
func (f field) Described() string {
	var ids []string
	if f.Hint != "" {
		ids = append(ids, f.ID+"-hint")
	}
	if len(f.Faults) > 0 {
		ids = append(ids, f.ID+"-fault")
	}
	return strings.Join(ids, " ")
}

// What templates say of a field, in pipes: {{template "input" (.Form.Field "/due_on" (T "…") | as "date" | must)}}
func as(kind string, f field) field       { f.Type = kind; return f }
func must(f field) field                  { f.Must, f.Bare = !f.loose, f.Bare || f.loose; return f }
func hint(text string, f field) field     { f.Hint = text; return f }
func bare(f field) field                  { f.Bare = true; return f } // of a filter: that it may be empty goes without saying
func complete(what string, f field) field { f.Complete = what; return f }

// choose gives a field its choices, of which the one that stands in it is chosen.
func choose(options []option, f field) field {
	f.Type, f.Options = "select", make([]option, len(options))
	for i, o := range options {
		o.Chosen = o.Value == f.Value
		f.Options[i] = o
	}
	return f
}

// anyOf puts before choices one that chooses none.
func anyOf(text string, options []option) []option {
	return append([]option{{Text: text}}, slices.DeleteFunc(slices.Clone(options), func(o option) bool { return o.Value == "" })...)
}

// fieldTitles are the texts of the labels of the fields of a visit, by the pointer of their faults.
func fieldTitles() map[string]string {
	return map[string]string{
		"/observed_at": "console.entry.observed_at", "/because": "console.entry.because",
		"/safe_work/traffic": "console.safe.traffic", "/safe_work/ladder": "console.safe.ladder", "/safe_work/power": "console.safe.power", "/safe_work/power_why": "console.safe.power_why",
		"/safe_work/second_person": "console.safe.second", "/safe_work/second_person_why": "console.safe.second_why", "/safe_work/stopped": "console.safe.stopped", "/safe_work/note": "console.col.note",
		"/function_test": "enum.entry_kind.function_test", "/function_test/note": "console.col.note",
		"/conclusion/result": "console.entry.conclusion.result", "/conclusion/note": "console.col.note",
		"/finding/severity": "console.col.severity", "/finding/what": "console.entry.finding.what", "/finding/rule": "console.entry.finding.rule", "/finding/safe_until": "console.entry.finding.safe_until",
		"/finding/confirms": "console.entry.finding.confirms", "/securing/how": "console.securing.how", "/securing/egress_kept": "console.securing.egress", "/securing/other_exit": "console.securing.other_exit",
		"/securing/told_name": "console.securing.told_name", "/securing/told_role": "console.securing.told_role", "/securing/answer": "console.securing.answer", "/securing/note": "console.col.note",
		"/mending/finding_id": "console.entry.mending.finding", "/mending/what": "console.entry.mending.what", "/adjustment/what": "console.adjustment.what", "/note/text": "console.entry.note.text",
		"/left_out/name": "console.left_out.name", "/left_out/reason": "console.left_out.reason", "/left_out/why": "console.left_out.why", "/statement": "console.sign.statement_label", "/signature": "console.sign.signature",
	}
}

// fieldTitle names the field of a visit's form that a fault is about; "" for what has no such field.
func (w writer) fieldTitle(pointer string) string {
	name := fieldOf(pointer)
	if key, known := fieldTitles()[name]; known {
		return w.T(key)
	}
	parts := strings.Split(strings.TrimPrefix(name, "/"), "/") // left_out, latch_time_s, leaf2, side-a, why
	switch {
	case len(parts) < 2:
		return ""
	case parts[0] == "function_test":
		return w.Enum("function_test", parts[1])
	case parts[0] != "reading" && parts[0] != "left_out" && parts[0] != "with" && parts[0] != "uncertainty":
		return ""
	}
	if !slices.ContainsFunc(rulebook.Readings(), func(k rulebook.ReadingKind) bool { return k.Name == parts[1] }) {
		return ""
	}
	title := w.T("reading." + parts[1] + ".title")
	for _, part := range parts[2:] {
		if leaf, is := strings.CutPrefix(part, "leaf"); is {
			title += ", " + w.T("console.reading.leaf", "number", leaf)
		}
		if side, is := strings.CutPrefix(part, "side-"); is {
			title += ", " + w.Enum("side", side)
		}
	}
	switch {
	case parts[0] == "uncertainty":
		title += ", " + w.T("console.inspect.uncertainty")
	case parts[len(parts)-1] == "why":
		title += ", " + w.T("console.left_out.why")
	case parts[len(parts)-1] == "reason":
		title += ", " + w.T("console.left_out.reason")
	}
	return title
}

// namedFault writes a fault with the field that it is about in front, for a list of them far from their fields.
func (w writer) namedFault(f *fault.Error) string {
	if title := w.fieldTitle(f.Pointer); title != "" {
		return w.T("console.form.fault", "field", title, "fault", w.fault(f))
	}
	return w.fault(f)
}
