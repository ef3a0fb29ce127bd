package console

import (
	"cmp"
	"context"
	"math"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/fault"
	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/identity"
	"lintel.example/lintel/internal/rulebook"
	"lintel.example/lintel/internal/words"
)

// inspectionData is the walk round one door: one form, of which every button saves everything.
type inspectionData struct {
	fleet.InspectionForm
	Door     doorName
	At       fleet.Name // the site
	Path     string     // of this page
	Mine     bool       // these eyes may go on with it
	Stations []stationStep
	Begun    []fleet.Entry // how the work place was made safe
	Changed  []fleet.Entry // adjustments, mendings, parts, settings left
	Tested   []fleet.Entry
	Ended    []fleet.Entry // conclusions
	Form     form
	Again    bool                     // it was refused, and nothing of it was saved
	Register []askedLine              // judged by what the register says
	Facts    []field                  // that are wanted and can be answered here
	Wants    []wantLine               // for want of which the door cannot be signed as passed
	Cases    []fleet.OutOfServiceCase // that are open
	Secured  bool                     // all of them are
	Danger   bool                     // something that was read is unsafe, and no case is open yet
	Later    int                      // entries after the conclusion: it does not speak of them
}

// stationStep is a station with the fields that take what is read there.
type stationStep struct {
	Key   string // approach-a
	Title string
	Items []itemField
	Open  int // places where nothing has been said yet
}

// itemField is one thing to be read.
type itemField struct {
	Title  string
	YesNo  bool
	Choice bool
	Text   bool
	Needed bool   // the door cannot pass without it
	ByLaw  string // the law that asks it, and where it holds
	Gauged string // the kind of entry that a gauge's record of it is, or ""
	Rules  []askedLine
	// Instead are the rules that work it out otherwise.
	Instead string
	Places  []placeField
}

// askedLine is a rule and what it asks, beside one reading or by itself.
type askedLine struct {
	fleet.FormRule
	Own     bool     // the limit is held against the reading itself; else it is of something that is worked out with it
	Said    []string // what the register says for it, where nothing is read
	Assumed string   // what the register only assumes of the door and the rule rests on
}

// readingLine is one reading of the visit with what the rules say of it.
type readingLine struct {
	fleet.FormReading
	Verdicts []verdictLine
}

// verdictLine is what one rule says, with the way to where that leads: the finding, or the form that makes it.
type verdictLine struct {
	fleet.FormVerdict
	Class, Sign, Word string
	Own               bool   // the limit is held against the reading itself
	Held              string // what was held against which limit
	Assumed           string // what the register only assumes and it rests on
	Unsafe            bool   // it failed, and so the door is to be secured
	ToFinding         string
}

// placeField is one place of it: what was read, and the fields for what is read now.
type placeField struct {
	fleet.FormPlace
	Label    string
	IDFor    string // names the field with the id of the entry that it would be
	Read     field
	With     field // the instrument; without options where none can be named
	Doubtful field // the uncertainty of what is read, where an instrument may have none on record; else without a name
	Reason   field // why it is left out
	Why      field
	Said     []readingLine
	Gone     string // how it has gone over the years, "" where that cannot be told
	AtDoor   string // the reading's title and its place, for who does not see the page
	Kind     rulebook.ReadingKind
	Answered bool
}

// inspectionPrint is the form of a door for the pen.
func (c *Console) inspectionPrint(ctx context.Context, q *request) (answer, error) {
	door, err := q.pathID("door_id")
	if err != nil {
		return nil, err
	}
	kind, _ := strings.CutPrefix(q.PathValue("print"), "form.")
	p, known := prints()["report."+kind]
	if !known || kind == "csv" {
		return nil, fault.New(fault.NotFound, "route_not_found")
	}
	form, err := c.Fleet.PrintInspectionForm(ctx, q.by, door, kind)
	if err != nil {
		return nil, err
	}
	q.writer.Header().Set("Content-Security-Policy", p.policy)
	return file{p.mediaType, "inspection-form-" + door.String() + "." + kind, form}, nil
}

func inspectPath(visit, door uuid.UUID) string {
	return "/visits/" + visit.String() + "/doors/" + door.String() + "/inspect"
}

// inspection is the walk round a door in a visit.
func (c *Console) inspection(ctx context.Context, q *request) (answer, error) {
	visit, err := q.pathID("visit_id")
	if err != nil {
		return nil, err
	}
	door, err := q.pathID("door_id")
	if err != nil {
		return nil, err
	}
	return c.inspectionPage(ctx, q, visit, door, form{}, nil, http.StatusOK)
}

// inspectionPage shows the walk; what was sent stands in its fields again. refused is for want of which a passed was refused with it.
func (c *Console) inspectionPage(ctx context.Context, q *request, visit, door uuid.UUID, sent form, refused []fleet.Want, status int) (answer, error) {
	asked, err := c.Fleet.InspectionForm(ctx, q.by, door, visit)
	if err != nil {
		return nil, err
	}
	names, err := c.Fleet.Names(ctx, q.by, fleet.Named{Sites: []uuid.UUID{asked.Door.SiteID}})
	if err != nil {
		return nil, err
	}
	data := inspectionData{InspectionForm: asked, Door: doorName{door, fleet.Name{Text: asked.Door.Name, Tag: asked.Door.Tag}}, At: names[asked.Door.SiteID], Path: inspectPath(visit, door),
		Mine: !asked.Signed && q.by.May(identity.ActLogVisit), Form: sent, Again: len(sent.faults) > 0}
	if data.Form.values == nil {
		data.Form = newForm(nil)
	}
	data.Form.loose = true
	list, err := c.instruments(ctx, q, data.Mine)
	if err != nil {
		return nil, err
	}
	instruments := writer{q.texts}.instrumentOptions(list, asked.Entries)
	c.identify(data.Form, "safe_work")
	for _, s := range asked.Stations {
		data.Stations = append(data.Stations, c.stationStep(q.texts, asked, s, data.Form, instruments))
	}
	c.identify(data.Form, "function_test")
	c.identify(data.Form, "conclusion")
	for _, e := range asked.Entries {
		b := e.Body
		switch {
		case b.SafeWork != nil:
			data.Begun = append(data.Begun, e)
		case changed(b):
			data.Changed = append(data.Changed, e)
		case b.FunctionTest != nil:
			data.Tested = append(data.Tested, e)
		case b.Conclusion != nil:
			data.Ended = append(data.Ended, e)
		}
	}
	if data.Mine {
		data.Facts = factFields(data.Form, asked, q.texts)
		if err := c.endOf(ctx, q, &data, refused); err != nil {
			return nil, err
		}
	}
	data.Register = writer{q.texts}.askedLines(asked.Door.Facts, asked.FromFacts, nil)
	if data.Cases, err = c.Fleet.Cases(ctx, q.by, fleet.CaseQuery{DoorID: door, Open: true, Limit: 50}); err != nil {
		return nil, err
	}
	data.Secured = len(data.Cases) > 0 && !slices.ContainsFunc(data.Cases, func(c fleet.OutOfServiceCase) bool { return c.State == "unsecured" })
	data.Danger = len(data.Cases) == 0 && data.unsafe()
	return page{name: "inspection", status: status, data: data}, nil
}

// changed tells whether an entry says that something of the door was changed.
func changed(b fleet.EntryBody) bool {
	return b.Adjustment != nil || b.Mending != nil || b.Part != nil || b.Settings != nil && b.Settings.Standing == "left"
}

// identify gives a form the id of an entry that a part of it would be: sent twice, it is entered once.
func (c *Console) identify(f form, part string) {
	if name := "id/" + part; !f.values.Has(name) {
		f.values.Set(name, c.NewID().String())
	}
}

// endOf tells what the end of the walk still wants: of the passed that was refused, of a conclusion as it stands, or of one that would be made now.
func (c *Console) endOf(ctx context.Context, q *request, data *inspectionData, wants []fleet.Want) (err error) {
	if wants == nil {
		wants, err = c.Fleet.Wanting(ctx, q.by, data.Door.ID, data.VisitID)
	}
	data.Wants = writer{q.texts}.wantLines(wants, "", data.Zone.String())
	for _, ended := range data.Ended {
		for _, e := range data.Entries {
			if e.ObservedAt.After(ended.ObservedAt) {
				data.Later++
			}
		}
	}
	return err
}

// unsafe tells whether something that was read, and still stands, is unsafe.
func (d inspectionData) unsafe() bool {
	for _, s := range d.Stations {
		for _, i := range s.Items {
			for _, p := range i.Places {
				for _, r := range p.Said {
					if !r.AsFound && slices.ContainsFunc(r.Verdicts, func(v verdictLine) bool { return v.Unsafe }) {
						return true
					}
				}
			}
		}
	}
	return false
}

// factFields are the fields of the facts that an inspection may answer.
func factFields(f form, asked fleet.InspectionForm, t words.Printer) (list []field) {
	w := writer{t}
	for _, fact := range asked.Wanted {
		one := bare(f.Field(fact.Pointer, fact.Title))
		choices := map[string][]option{
			"energy": w.options("energy", t.T("console.choose"), "full", "low", "assist"), "traffic": w.options("traffic", t.T("console.choose"), "one_way_in", "one_way_out", "two_way"),
			"presence_by": w.options("presence", t.T("console.choose"), "overhead_sensor", "beams", "both", "none"), "activation": w.options("activation", t.T("console.choose"), "sensor", "knowing_act", "both", "none"),
			"egress": yesOptions(t), "fire_rated": yesOptions(t), "interior": yesOptions(t), "vulnerable_users": yesOptions(t),
		}
		member := fact.Pointer[strings.LastIndex(fact.Pointer, "/")+1:]
		unit, measured := factUnit(member)
		switch {
		case slices.ContainsFunc(list, func(l field) bool { return l.Name == fact.Pointer }):
			continue
		case choices[member] != nil:
			one = choose(choices[member], one)
		case measured:
			one.Label = labelled(fact.Title, unit, t)
		default:
			continue
		}
		list = append(list, one)
	}
	return list
}

// factUnit is the unit of a measured fact of a door.
func factUnit(member string) (words.SI, bool) {
	for _, units := range [][]struct {
		name, label string
		unit        words.SI
	}{doorUnits(), leafUnits()} {
		for _, u := range units {
			if strings.HasSuffix(u.name, "/"+member) && member != "header_depth_m" {
				return u.unit, true
			}
		}
	}
	return "", false
}

// inspectionSteps are the steps of the walk that are an entry of their own, in its order.
func inspectionSteps() []string { return []string{"safe_work", "function_test", "conclusion"} }

// instruments are those that may be named; none where nothing is entered.
func (c *Console) instruments(ctx context.Context, q *request, mine bool) ([]fleet.Instrument, error) {
	if !mine || !q.by.May(identity.ActReadOffice) {
		return nil, nil
	}
	return c.Fleet.Instruments(ctx, q.by, fleet.InstrumentQuery{Limit: 500})
}

// instrumentOptions are instruments to choose from by the unit of what is read. Of each unit the one that was named last in the visit is chosen.
func (w writer) instrumentOptions(list []fleet.Instrument, entries []fleet.Entry) map[string][]instrumentOption {
	last, options := map[string]uuid.UUID{}, map[string][]instrumentOption{}
	for _, e := range entries {
		for _, r := range e.Body.Readings() {
			if r.InstrumentID != nil {
				last[string(unitOf(rulebook.NameNow(r.Name)))] = *r.InstrumentID
			}
		}
	}
	for _, i := range list {
		for _, k := range rulebook.Readings() {
			if i.Retired || k.Kind != rulebook.Number || k.Unit == "months" || slices.ContainsFunc(options[k.Unit], func(o instrumentOption) bool { return o.Value == i.InstrumentID.String() }) {
				continue
			}
			_, states := i.Uncertainty[k.Unit]
			options[k.Unit] = append(options[k.Unit], instrumentOption{option{Value: i.InstrumentID.String(), Text: w.instrument(i, k.Unit), Chosen: last[k.Unit] == i.InstrumentID}, states})
		}
	}
	return options
}

// instrumentOption is an instrument for readings of a unit.
type instrumentOption struct {
	option
	States bool // its uncertainty in the unit is on record
}

func stationKey(s fleet.FormStation) string {
	return strings.Trim(string(s.Station)+"-"+string(s.Side), "-")
}

// stationStep makes the fields of a station. Every place has an id for the entry that it would be.
func (c *Console) stationStep(t words.Printer, asked fleet.InspectionForm, s fleet.FormStation, f form, instruments map[string][]instrumentOption) stationStep {
	facts, w := asked.Door.Facts, writer{t}
	step := stationStep{Key: stationKey(s), Title: asked.StationTitle(s, t)}
	for _, i := range s.Items {
		item := itemField{Title: fleet.KindTitle(t, i.Kind), Gauged: gaugedKind(i.Kind.Name), YesNo: i.Kind.Kind == rulebook.YesNo, Choice: i.Kind.Kind == rulebook.Choice, Text: i.Kind.Kind == rulebook.Text, Needed: i.Needed(), ByLaw: w.laws(i.Rules),
			Rules: w.askedLines(facts, i.Rules, &i.Kind), Instead: ruleTitles(i.Instead)}
		for _, p := range i.Places {
			at := placed("/reading/", i.Kind.Name, p.Place)
			one := placeField{FormPlace: p, Kind: i.Kind, IDFor: placed("id/", i.Kind.Name, p.Place), Answered: p.Said()}
			c.identify(f, strings.TrimPrefix(one.IDFor, "id/"))
			one.Label = asked.PlaceTitle(p.Place, s, t)
			one.AtDoor = strings.TrimSpace(item.Title + " " + one.Label)
			one.Read = f.Field(at, readLabel(t, one.Label, i.Kind))
			one.Read.Bare, one.Read.Unseen = true, item.Title
			if i.Kind.Name == monthsRead && asked.Months != nil && !f.values.Has(at) && !one.Answered {
				one.Read.Value = w.readValue(float64(*asked.Months), words.SI(i.Kind.Unit))
				one.Read.Hint = t.T("console.inspect.months.computed", "day", w.day(asked.LastDay))
			} else if i.Kind.Name == monthsRead && asked.Months == nil {
				one.Read.Hint = t.T("console.inspect.months.first")
			}
			if options := instruments[i.Kind.Unit]; i.Kind.Kind == rulebook.Number && i.Kind.Unit != "months" {
				if len(options) > 0 {
					one.With = w.instrumentField(f, placed("/with/", i.Kind.Name, p.Place), options)
					one.With.Unseen = one.AtDoor
				}
				if len(options) == 0 || slices.ContainsFunc(options, func(o instrumentOption) bool { return !o.States }) {
					one.Doubtful = bare(f.Field(placed("/uncertainty/", i.Kind.Name, p.Place), labelled(t.T("console.inspect.uncertainty"), typedIn(t, i.Kind), t)))
					one.Doubtful.Unseen = one.AtDoor
				}
			}
			if p.Trend != nil {
				one.Gone = w.trend(*p.Trend)
			}
			for _, r := range p.Entered {
				one.Said = append(one.Said, w.readingLine(asked, i.Kind, r))
			}
			if item.YesNo {
				one.Read = choose([]option{{Text: t.T("console.reading.not_taken")}, {Value: "yes", Text: t.T("console.yes")}, {Value: "no", Text: t.T("console.no")}}, one.Read)
			}
			if item.Choice {
				one.Read = choose(choicesOf(t, i.Kind), one.Read)
			}
			left := placed("/left_out/", i.Kind.Name, p.Place)
			one.Reason = choose(writer{t}.options("left_out_reason", t.T("console.choose"), "not_possible", "refused", "unsafe_to_try", "not_applicable"), f.Field(left+"/reason", t.T("console.left_out.reason")))
			one.Why = f.Field(left+"/why", t.T("console.left_out.why"))
			one.Why.Bare, one.Reason.Unseen, one.Why.Unseen = true, one.AtDoor, one.AtDoor
			if !one.Answered && len(i.Rules) > 0 {
				step.Open++
			}
			item.Places = append(item.Places, one)
		}
		step.Items = append(step.Items, item)
	}
	return step
}

// ruleTitles names rules.
func ruleTitles(rules []fleet.FormRule) string {
	var titles []string
	for _, r := range rules {
		if !slices.Contains(titles, r.Rule.Title) {
			titles = append(titles, r.Rule.Title)
		}
	}
	return strings.Join(titles, "; ")
}

// Typed tells whether something stands in the fields of the place, or is wrong there.
func (p placeField) Typed() bool {
	fields := []field{p.Read, p.Doubtful, p.Reason, p.Why}
	return slices.ContainsFunc(fields, func(f field) bool { return f.Value != "" || len(f.Faults) > 0 })
}

// LeavesOut tells the same of those that say why it is not read.
func (p placeField) LeavesOut() bool {
	return slices.ContainsFunc([]field{p.Reason, p.Why}, func(f field) bool { return f.Value != "" || len(f.Faults) > 0 })
}

// choicesOf are the answers of which a company's question takes one.
func choicesOf(t words.Printer, k rulebook.ReadingKind) []option {
	options := []option{{Text: t.T("console.reading.not_taken")}}
	for _, c := range k.Choices {
		options = append(options, option{Value: c, Text: c})
	}
	return options
}

// monthsRead is the reading that the register counts itself.
const monthsRead = "months_since_inspection"

// instrumentField is the choice of what a reading was taken with.
func (w writer) instrumentField(f form, name string, options []instrumentOption) field {
	one, list := f.Field(name, w.T("console.inspect.with")), []option{{Text: w.T("console.inspect.with.none")}}
	for _, o := range options {
		list = append(list, o.option)
		if o.Chosen && !f.values.Has(name) {
			one.Value = o.Value
		}
	}
	return choose(list, one)
}

// instrument writes an instrument with what it states of its uncertainty in a unit.
func (w writer) instrument(i fleet.Instrument, unit string) string {
	said := i.Name
	if i.Serial != "" {
		said += " " + i.Serial
	}
	if u, has := i.Uncertainty[unit]; has {
		said = w.T("console.inspect.with.uncertainty", "name", said, "uncertainty", w.readValue(u, words.SI(unit)))
	}
	if !i.CalibratedUntil.IsZero() {
		said = w.T("console.inspect.with.until", "name", said, "day", w.day(i.CalibratedUntil))
	}
	return said
}

// readingLine writes what the rules say of a reading of a kind.
func (w writer) readingLine(asked fleet.InspectionForm, kind rulebook.ReadingKind, r fleet.FormReading) readingLine {
	line := readingLine{FormReading: r}
	for _, v := range r.Verdicts {
		open := v.Outcome == rulebook.Passed && v.Rule.Severity == rulebook.NoSeverity              // a question without wrong answers says nothing of the door
		if v.Outcome == rulebook.NotApplicable || open || r.Stale && v.Outcome != rulebook.Failed { // nor does what passed before a change
			continue
		}
		one := w.verdictLine(asked, v)
		one.Own, one.Held, one.Assumed = v.Rule.Holds(kind), w.held(kind, v), w.assumed(asked.Door.Facts, v.Facts)
		if r.Stale || r.AsFound {
			one.Word = w.T("console.verdict.as_found", "said", one.Word)
		}
		if v.Outcome == rulebook.Failed {
			one.Unsafe = v.Verdict.Counts() && v.Verdict.Severity == rulebook.Unsafe
			one.ToFinding = findingPath(asked, v.RuleID, string(v.Verdict.Severity), w.T("console.inspect.finding.what", "rule", v.Rule.Title, "read", w.readAt(r), "limit", w.limit(v.FormRule.Limit)))
			if v.FormRule.Limit == nil {
				one.ToFinding = findingPath(asked, v.RuleID, string(v.Verdict.Severity), w.T("console.inspect.finding.answered", "rule", v.Rule.Title, "read", w.readAt(r)))
			}
		}
		line.Verdicts = append(line.Verdicts, one)
	}
	return line
}

// verdictLine writes what one rule says.
func (w writer) verdictLine(asked fleet.InspectionForm, v fleet.FormVerdict) verdictLine {
	one := verdictLine{FormVerdict: v}
	switch {
	case v.Outcome == rulebook.Passed:
		one.Class, one.Sign, one.Word = "fine", "✓", w.T("console.verdict.passes")
	case v.Outcome == rulebook.Failed && v.Verdict.Counts():
		one.Class, one.Sign, one.Word = "unsecured", "✗", w.T("console.verdict.fails", "severity", w.Enum("severity", string(v.Verdict.Severity)))
	case v.Outcome == rulebook.Failed:
		one.Class, one.Sign, one.Word = "late", "✗", w.T("console.verdict.fails_advice")
	case v.Outcome == rulebook.Undecided:
		one.Class, one.Sign, one.Word = "late", "?", w.T("console.verdict.undecided")
	default:
		var gaps []string
		for _, g := range v.Gaps {
			gaps = append(gaps, asked.GapTitle(g, w.Printer))
		}
		one.Class, one.Sign, one.Word = "calm", "–", w.T("console.verdict.wants", "what", strings.Join(gaps, ", "))
	}
	return one
}

// findingPath leads to the form of a finding with what is proposed for it, as a button of the walk says it.
func findingPath(asked fleet.InspectionForm, rule, severity, what string) string {
	return "entries/new?" + url.Values{"door": {asked.Door.DoorID.String()}, "kind": {"finding"}, "then": {"inspect"}, "rule": {rule}, "severity": {severity}, "what": {what}}.Encode()
}

// readAt writes what was read and where, without the reading's name.
func (w writer) readAt(r fleet.FormReading) string {
	said := w.read(r)
	if r.Leaf+len(r.Side) > 0 {
		said += ", " + w.place(r.Leaf, r.Side)
	}
	return said
}

// triedAmiss is what a function test answered with no, with the finding that it may be.
func (d inspectionData) triedAmiss(w writer, e fleet.Entry) (list []option) {
	for _, one := range w.tried(*e.Body.FunctionTest) {
		if one.Value != "no" {
			continue
		}
		severity := "deficient"
		if slices.Contains([]string{w.Enum("function_test", "presence"), w.Enum("function_test", "contact"), w.Enum("function_test", "by_hand")}, one.Text) { // somebody may be hit or kept in; common practice, no source
			severity = "unsafe"
		}
		list = append(list, option{Value: findingPath(d.InspectionForm, "", severity, w.T("console.inspect.finding.tried", "what", one.Text)), Text: one.Text})
	}
	return list
}

// wantLine is one thing that is wanting, and where it is put right.
type wantLine struct {
	Title, Text, To string
}

// wantLines writes what is wanting for a page; base is the address of the walk, "" on the walk itself.
func (w writer) wantLines(wants []fleet.Want, base, zone string) (list []wantLine) {
	for _, want := range wants {
		one := wantLine{Title: w.wantTitle(want), Text: w.want(want)}
		if !want.ChangedAt.IsZero() {
			one.Text = w.T("console.want.as_left_missing.since", "time", w.clock(want.ChangedAt, zone))
		}
		if to := wantPath(want); to != "" {
			one.To = base + to
		}
		list = append(list, one)
	}
	return list
}

// held writes the limit of a verdict; where it is not the reading itself that was held against it, with what was.
func (w writer) held(kind rulebook.ReadingKind, v fleet.FormVerdict) string {
	said := w.limit(v.Verdict.Limit)
	if said != "" && v.Measured != nil && !v.Rule.Holds(kind) {
		return w.T("console.inspect.held", "measured", w.bound(v.Measured), "limit", said)
	}
	return said
}

// askedLines writes rules beside a reading of a kind, or those that the register alone answers.
func (w writer) askedLines(facts fleet.DoorFacts, rules []fleet.FormRule, kind *rulebook.ReadingKind) (list []askedLine) {
	for _, r := range rules {
		one := askedLine{FormRule: r, Own: kind == nil || r.Rule.Holds(*kind), Assumed: w.assumed(facts, r.Facts)}
		for _, name := range r.Facts {
			if said := w.registered(facts, name); kind == nil && said != "" {
				one.Said = append(one.Said, said)
			}
		}
		list = append(list, one)
	}
	return list
}

// laws names the laws that ask for a reading, each with the place where it holds.
func (w writer) laws(rules []fleet.FormRule) string {
	var names []string
	for _, r := range rules {
		if name := w.T("console.inspect.law", "law", r.Pack.Title, "place", r.Pack.Jurisdiction); r.Counts() && r.Pack.Role == rulebook.Law && !slices.Contains(names, name) {
			names = append(names, name)
		}
	}
	return strings.Join(names, "; ")
}

// quantitiesNamed are the measured facts of a door by the name that rules have for them, of each leaf where it is one of leaves.
func quantitiesNamed(d fleet.DoorFacts, name string) (list []fleet.Quantity, unit string) {
	member, ofLeaf := strings.CutPrefix(name, "leaves[].")
	for _, l := range d.Leaves {
		if q, has := map[string]fleet.Quantity{"width_m": l.WidthM, "height_m": l.HeightM, "mass_kg": l.MassKg}[member]; has && ofLeaf {
			list = append(list, q)
		}
	}
	if q, has := map[string]fleet.Quantity{"clear_width_m": d.ClearWidthM, "opening_time_s": d.OpeningTimeS, "closing_time_s": d.ClosingTimeS}[name]; has {
		list = append(list, q)
	}
	return list, name[strings.LastIndex(name, "_")+1:]
}

// assumed writes those of the named facts that nobody has measured, seen or told.
func (w writer) assumed(d fleet.DoorFacts, names []string) string {
	var said []string
	for _, name := range names {
		list, _ := quantitiesNamed(d, name)
		if slices.ContainsFunc(list, func(q fleet.Quantity) bool { return q.Basis == fleet.Assumed }) {
			said = append(said, w.registered(d, name))
		}
	}
	return strings.Join(said, "; ")
}

// registered writes what the register says of a door by the name that rules have for it; "" for what is said elsewhere.
func (w writer) registered(d fleet.DoorFacts, name string) string {
	words := map[string]string{"door_kind": w.Enum("door_kind", d.Kind), "energy": w.Enum("energy", d.Energy), "traffic": w.Enum("traffic", d.Traffic), "presence_by": w.Enum("presence", d.PresenceBy),
		"activation_a": w.Enum("activation", d.A.Activation), "activation_b": w.Enum("activation", d.B.Activation), "egress": w.yes(d.Egress), "egress_breakout": w.yes(d.Egress), "fire_rated": w.yes(d.FireRated),
		"interior": w.yes(d.Interior), "vulnerable_users": w.yes(d.VulnerableUsers)}
	said, has := words[name]
	if list, unit := quantitiesNamed(d, name); len(list) > 0 {
		var each []string
		for _, q := range list {
			each = append(each, w.value(q, unit))
		}
		said, has = strings.Join(each, ", "), true
	}
	if !has {
		return ""
	}
	return w.T("console.reading", "title", w.T("report.register."+strings.Replace(name, "leaves[].", "leaf_", 1)), "said", said)
}

// clock writes the time of a day at a place.
func (w writer) clock(at time.Time, zone string) string { return at.In(location(zone)).Format("15:04") }

// wantTitle names what a sign-off wants: a reading with its place, a fact, a rule, or a step of the walk.
func (w writer) wantTitle(want fleet.Want) string {
	title := want.Title
	switch {
	case title != "" && want.Leaf+len(want.Side) > 0:
		return title + ", " + w.place(want.Leaf, string(want.Side))
	case title != "":
		return title
	case want.Step == "safe_work":
		return w.T("console.inspect.safe")
	case want.Step == "function_test":
		return w.Enum("entry_kind", "function_test")
	case want.Step == "photo":
		return w.Enum("entry_kind", "photo")
	case want.Fault.Code == "concluded_twice":
		return w.Enum("entry_kind", "conclusion")
	}
	return ""
}

// want says why a sign-off wants something. Behind a title the sentence does not name it again.
func (w writer) want(want fleet.Want) string {
	if w.wantTitle(want) == "" {
		return w.fault(want.Fault)
	}
	return w.T("console.want." + want.Fault.Code)
}

// wantPath is where on the walk something is put right.
func wantPath(want fleet.Want) string {
	switch {
	case want.Station != "":
		return "#s-" + stationKey(fleet.FormStation{Station: want.Station, Side: sideOfStation(want)})
	case want.Step == "safe_work", want.Step == "function_test":
		return "#k-" + want.Step
	case want.Step == "finding":
		return "#k-function_test" // where mendings are entered
	case want.Step == "facts":
		return "#k-facts"
	case want.Fault.Code == "concluded_twice":
		return "#k-conclusion"
	}
	return ""
}

// sideOfStation is the side of an approach; other stations are of both.
func sideOfStation(want fleet.Want) rulebook.Side {
	if want.Station == rulebook.Approach {
		return want.Side
	}
	return ""
}

// gaugedKind is the kind of entry that takes a gauge's record of a reading; "" where no form does.
func gaugedKind(reading string) string {
	if kind := fleet.RecordedBy(reading); slices.Contains(entryKinds(), kind) {
		return kind
	}
	return ""
}

// placed names a field of a reading at a place.
func placed(before, name string, at rulebook.Place) string {
	if at.Leaf > 0 {
		name += "/leaf" + strconv.Itoa(at.Leaf)
	}
	if at.Side != "" {
		name += "/side-" + string(at.Side)
	}
	return before + name
}

// readLabel names the field by its place and unit.
func readLabel(t words.Printer, place string, k rulebook.ReadingKind) string {
	if place == "" {
		place = t.T("console.inspect.read")
	}
	if k.Kind != rulebook.Number {
		return place
	}
	return labelled(place, typedIn(t, k), t)
}

// inspectionPut takes everything that was typed on the walk, wherever it was typed, or nothing.
func (c *Console) inspectionPut(ctx context.Context, q *request) (answer, error) {
	door, err := q.pathID("door_id")
	if err != nil {
		return nil, err
	}
	visit, f, err := q.formOf("visit_id")
	if err != nil {
		return nil, err
	}
	asked, err := c.Fleet.InspectionForm(ctx, q.by, door, visit)
	if err != nil {
		return nil, err
	}
	instruments, err := c.instruments(ctx, q, true)
	if err != nil {
		return nil, err
	}
	r := reader{form: &f, texts: q.texts}
	filled := r.filled(asked, instruments)
	onwards := f.Value("go")
	if len(filled.Entries)+len(filled.Facts)+len(r.faults) == 0 && onwards == "" {
		r.faults.Add("", "reading_none")
	}
	var wants []fleet.Want
	if err = r.faults.Err(); err == nil {
		wants, err = c.Fleet.PutFilledForm(ctx, q.by, door, visit, filled)
	}
	if err != nil {
		return q.again(f, atFields(err, filled, fieldOnWalk), func(f form, status int) (answer, error) {
			return c.inspectionPage(ctx, q, visit, door, f, wants, status)
		})
	}
	if onwards != "" {
		return fromWalk(visit, onwards)
	}
	return seeOther(inspectPath(visit, door) + "#" + url.PathEscape(f.Value("stay"))), nil
}

// fromWalk leads to what a button of the walk goes on to after it saved: a page of the same visit.
func fromWalk(visit uuid.UUID, onwards string) (answer, error) {
	to, err := url.Parse(onwards)
	if err != nil || !slices.Contains([]string{"entries/new", "photos/new", "sign-off"}, to.Path) || to.Scheme+to.Host != "" {
		return nil, fault.New(fault.NotFound, "route_not_found")
	}
	return seeOther("/visits/" + visit.String() + "/" + to.Path + "?" + to.Query().Encode()), nil
}

// filled reads everything that was typed on the walk.
func (r *reader) filled(asked fleet.InspectionForm, instruments []fleet.Instrument) (filled fleet.FilledForm) {
	if r.form.Value("/observed_at") != "" {
		filled.At = r.instant("/observed_at", asked.Zone)
	}
	filled.Facts = r.facts(asked)
	put := func(part string, b fleet.EntryBody) {
		filled.Entries = append(filled.Entries, fleet.FilledEntry{ID: r.id("id/" + part), Body: b})
	}
	if r.form.Typed("/safe_work/") {
		put("safe_work", fleet.EntryBody{Kind: "safe_work", SafeWork: r.safeWork()})
	}
	for _, s := range asked.Stations {
		for _, item := range s.Items {
			for _, p := range item.Places {
				if b, said := r.saidAt(item.Kind, p.Place, instruments); said {
					put(placed("", item.Kind.Name, p.Place), b)
				}
			}
		}
	}
	if r.form.Typed("/function_test/") {
		put("function_test", fleet.EntryBody{Kind: "function_test", FunctionTest: r.functionTest()})
	}
	if r.form.Typed("/conclusion/") {
		put("conclusion", fleet.EntryBody{Kind: "conclusion", Conclusion: r.conclusion()})
	}
	return filled
}

// facts reads the answers to what nobody knew of the door.
func (r *reader) facts(asked fleet.InspectionForm) (answers []fleet.FactAnswer) {
	for _, one := range factFields(*r.form, asked, r.texts) {
		switch said := r.form.Value(one.Name); {
		case said == "":
		case one.Options != nil:
			answers = append(answers, fleet.FactAnswer{Pointer: one.Name, Word: said})
		default:
			unit, _ := factUnit(one.Name[strings.LastIndex(one.Name, "/")+1:])
			answers = append(answers, fleet.FactAnswer{Pointer: one.Name, Value: r.value(one.Name, unit, nil)})
		}
	}
	return answers
}

// saidAt reads what was said of one place: what was read there, or why nothing was.
func (r *reader) saidAt(k rulebook.ReadingKind, place rulebook.Place, instruments []fleet.Instrument) (b fleet.EntryBody, said bool) {
	at, left, uncertain := placed("/reading/", k.Name, place), placed("/left_out/", k.Name, place), placed("/uncertainty/", k.Name, place)
	read, out := r.form.Value(at) != "", r.form.Value(left+"/reason")+r.form.Value(left+"/why") != ""
	switch {
	case read && out:
		r.faults.Add(at, "read_and_left_out")
	case read:
		b.Kind, b.Reading = "reading", r.reading(at, k, place)
		b.Reading.InstrumentID, b.Reading.Uncertainty = r.optionalID(placed("/with/", k.Name, place)), r.measured(uncertain, k)
		if states := func(i fleet.Instrument) bool {
			_, has := i.Uncertainty[k.Unit]
			return has && b.Reading.InstrumentID != nil && i.InstrumentID == *b.Reading.InstrumentID
		}; b.Reading.Uncertainty != nil && slices.ContainsFunc(instruments, states) {
			r.faults.Add(uncertain, "uncertainty_of_instrument")
		}
	case out:
		b.Kind, b.LeftOut = "left_out", &fleet.EntryLeftOut{Name: k.Name, Question: k.Title, Leaf: place.Leaf, Side: string(place.Side), Reason: r.chosen(left + "/reason"), Why: r.form.Value(left + "/why")}
		if b.LeftOut.Why == "" {
			r.faults.Add(left+"/why", "text_missing")
		}
	case r.form.Value(uncertain) != "":
		r.faults.Add(at, "reading_none")
	}
	return b, b.Kind != ""
}

// atFields turns the faults of entries into those of the fields that they were made of; fieldOf names that of a member.
func atFields(err error, filled fleet.FilledForm, fieldOf func(b fleet.EntryBody, member string) string) error {
	var list fault.List
	for _, one := range fault.Of(err) {
		moved := *one
		rest, ofEntry := strings.CutPrefix(one.Pointer, "/entries/")
		number, member, _ := strings.Cut(rest, "/")
		if i, err := strconv.Atoi(number); ofEntry && err == nil && i < len(filled.Entries) {
			moved.Pointer = fieldOf(filled.Entries[i].Body, "/"+member)
		}
		list = append(list, &moved)
	}
	if list == nil {
		return err
	}
	return list
}

// fieldOnWalk is the field of the walk from which a member of an entry was read.
func fieldOnWalk(b fleet.EntryBody, member string) string {
	switch {
	case member == "/observed_at":
		return member
	case b.Reading != nil:
		before := map[string]string{"/reading/uncertainty": "/uncertainty/", "/reading/instrument_id": "/with/"}[member]
		return placed(cmp.Or(before, "/reading/"), b.Reading.Name, b.Reading.Place())
	case b.LeftOut != nil:
		if member != "/left_out/reason" {
			member = "/left_out/why"
		}
		return placed("/left_out/", b.LeftOut.Name, rulebook.Place{Leaf: b.LeftOut.Leaf, Side: rulebook.Side(b.LeftOut.Side)}) + strings.TrimPrefix(member, "/left_out")
	}
	return member
}

// limit writes a limit as the reader measures, with what its source states behind it where that is in other units.
func (w writer) limit(b *rulebook.BoundsUsed) string {
	switch {
	case b == nil:
		return ""
	case b.AtLeast != nil && b.AtMost != nil:
		return w.T("judge.asked.between", "least", w.bound(b.AtLeast), "most", w.bound(b.AtMost))
	case b.AtLeast != nil:
		return w.T("judge.asked.least", "least", w.bound(b.AtLeast))
	}
	return w.T("judge.asked.most", "most", w.bound(b.AtMost))
}

func (w writer) bound(a *rulebook.Amount) string {
	stated := strconv.FormatFloat(significant(a.Value), 'f', -1, 64) + " " + a.Unit
	american := slices.Contains([]string{"in", "ft", "lb", "lbf", "lbf.ft", "in/s", "ft/s"}, a.Unit)
	metric := slices.Contains([]string{"m", "mm", "kg", "N", "J", "m/s"}, a.Unit)
	switch us := w.Units() == words.US; {
	case us && metric, !us && american:
		own := w.Quantity(a.SI, words.SI(a.SIUnit))
		if a.SIUnit == "m" {
			own = words.FormatLengthTo(a.SI, w.Units(), words.Fineness{Decimals: 3, InchParts: 16})
		}
		return w.T("console.inspect.stated", "own", own, "stated", stated)
	}
	return stated
}

// significant rounds to four digits, finer than anybody measures at a door.
func significant(v float64) float64 {
	if v == 0 {
		return 0
	}
	power := math.Pow10(3 - int(math.Floor(math.Log10(math.Abs(v)))))
	return math.Round(v*power) / power
}

// source writes where a limit stands.
func (w writer) source(s rulebook.Source) string {
	if s.Standard == "" {
		return s.Note
	}
	return strings.TrimSpace(s.Standard + "-" + s.Edition + " " + s.Clause)
}

// read writes what was read, without the reading's name.
func (w writer) read(r fleet.FormReading) string {
	if r.Value != nil {
		said := w.readValue(*r.Value, unitOf(r.Name))
		if r.Uncertainty != nil {
			said = w.T("console.inspect.uncertain", "value", said, "uncertainty", w.readValue(*r.Uncertainty, unitOf(r.Name)))
		}
		return said
	}
	return cmp.Or(r.Text, w.yes(r.Yes))
}

// readValue writes a number that was read as finely as it may have been taken: half an inch is not 0.01 m.
func (w writer) readValue(v float64, unit words.SI) string {
	if unit == words.Metre && w.Units() == words.Metric && math.Abs(v) < shortLength {
		return w.T("console.value.mm", "mm", v*1000)
	}
	if unit == words.Metre {
		return w.LengthTo(v, words.Fineness{Decimals: 3, InchParts: 16})
	}
	return shownValue(w.Printer, v, unit)
}

// shortLength is from where on a length that was read is written in metres.
const shortLength = 0.3

// typedIn is the unit in which a reading is typed where none is said.
func typedIn(t words.Printer, k rulebook.ReadingKind) words.SI {
	if k.Short() && t.Units() == words.Metric {
		return "mm"
	}
	return words.SI(k.Unit)
}

// doubt asks whether a reading is right.
func (w writer) doubt(d fleet.Doubt) string { return w.T("console.doubt." + string(d)) }

// leftOut writes what was not read, and where.
func (w writer) leftOut(l fleet.EntryLeftOut) string {
	said := w.Enum("left_out_reason", l.Reason)
	if l.Leaf > 0 {
		said = w.T("console.reading.at_leaf", "said", said, "number", l.Leaf)
	}
	if l.Side != "" {
		said = w.T("console.reading.at_side", "said", said, "side", w.Enum("side", l.Side))
	}
	return w.T("console.reading", "title", fleet.ReadingTitle(w.Printer, l.Name, l.Question), "said", said)
}

// tried writes the questions of a function test with their answers.
func (w writer) tried(t fleet.EntryFunctionTest) (list []option) {
	for _, one := range [][2]string{{"activation", t.Activation}, {"presence", t.Presence}, {"contact", t.Contact}, {"by_hand", t.ByHand}, {"modes", t.Modes}, {"latching", t.Latching}, {"free_of_noise", t.FreeOfNoise}} {
		list = append(list, option{Value: one[1], Text: w.Enum("function_test", one[0])})
	}
	return list
}

// touched is the field of the groups of parts that were touched.
func (w writer) touched(f form, name string) field {
	one := f.Field(name, "")
	for _, g := range rulebook.Groups() {
		one.Options = append(one.Options, option{Value: string(g), Text: w.Enum("group", string(g)), Chosen: f.Has(name, string(g))})
	}
	return one
}
