package console

import (
	"bytes"
	"cmp"
	"crypto/sha256"
	"embed"
	"encoding/hex"
	"fmt"
	"html/template"
	"io/fs"
	"math"
	"net/http"
	"path"
	"strconv"
	"strings"
	"sync"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/fault"
	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/identity"
	"lintel.example/lintel/internal/seal"
	"lintel.example/lintel/internal/words"
)

//go:embed pages/*.html
var pageFiles embed.FS

//go:embed static
var staticFiles embed.FS

// page is an answer made of a template.
type page struct {
	name   string
	status int // 0: 200
	data   any
}

// view is what a template sees.
type view struct {
	Name string
	By   identity.Actor
	In   bool // somebody is signed in
	Path string
	Menu []menuItem
	Data any
}

// menuItem is one line of the menu; only what one may see is in it.
type menuItem struct {
	Path, Text string
	Here       bool
}

func (p page) send(c *Console, q *request) error {
	set, err := c.looks.of(q.texts)
	if err != nil {
		return err
	}
	t := set[p.name]
	if t == nil {
		return fmt.Errorf("no page %q", p.name)
	}
	v := view{Name: p.name, By: q.by, In: q.by.PersonID != uuid.Nil, Path: q.URL.Path, Menu: c.menu(q), Data: p.data}
	var out bytes.Buffer // whole or not at all
	if err := t.ExecuteTemplate(&out, "page", v); err != nil {
		return fmt.Errorf("page %s: %w", p.name, err)
	}
	q.writer.Header().Set("Content-Type", "text/html; charset=utf-8")
	if p.status != 0 {
		q.writer.WriteHeader(p.status)
	}
	_, err = q.writer.Write(out.Bytes())
	return err
}

// parts are where pages belong that have no line of their own in the menu.
var parts = map[string]string{"/ladders": "/notices", "/unanswered": "/notices", "/components": "/doors", "/devices": "/doors", "/out-of-service": "/doors", "/certificates": "/people", "/closed-days": "/route-plans"}

// menu lists the parts of the console that are for these eyes.
func (c *Console) menu(q *request) (menu []menuItem) {
	if q.by.PersonID == uuid.Nil || q.by.MustChangePassword {
		return nil
	}
	first, _, _ := strings.Cut(strings.TrimPrefix(q.URL.Path, "/"), "/")
	at := "/" + first
	if within, ok := parts[at]; ok {
		at = within
	}
	for _, part := range []struct {
		path, key string
		action    identity.Action
	}{
		{"/", "console.menu.today", identity.ActReadWork},
		{"/doors", "console.menu.doors", identity.ActReadRegister},
		{"/work-orders", "console.menu.orders", identity.ActReadWork},
		{"/route-plans", "console.menu.routes", identity.ActReadOffice},
		{"/forecast", "console.menu.forecast", identity.ActReadOffice},
		{"/visits", "console.menu.visits", identity.ActReadWork},
		{"/alone", "console.menu.alone", identity.ActWatch},
		{"/trends", "console.menu.trends", identity.ActReadOffice},
		{"/findings", "console.menu.findings", identity.ActReadWork},
		{"/oddities", "console.menu.oddities", identity.ActReadOddities},
		{"/sites", "console.menu.sites", identity.ActReadRegister},
		{"/customers", "console.menu.customers", identity.ActReadRegister},
		{"/parties", "console.menu.parties", identity.ActReadRegister},
		{"/reports", "console.menu.reports", identity.ActReadReport},
		{"/notices", "console.menu.notices", identity.ActReadOffice},
		{"/people", "console.menu.people", identity.ActReadOffice},
		{"/imports", "console.menu.imports", identity.ActImport},
		{"/letter-templates", "console.menu.letters", identity.ActReadOffice},
		{"/rule-packs", "console.menu.packs", identity.ActSetRules},
		{"/webhooks", "console.menu.webhooks", identity.ActSetWebhooks},
		{"/jobs", "console.menu.jobs", identity.ActReadOffice},
	} {
		if q.by.May(part.action) {
			menu = append(menu, menuItem{part.path, q.texts.T(part.key), part.path == at})
		}
	}
	return menu
}

// looks are the templates, once for every language and every kind of units that is asked for: what writes words, dates
// and values is bound to them when they are read.
type looks struct {
	static *static
	sets   map[string]map[string]*template.Template
	mutex  sync.Mutex
}

func newLooks(texts *words.Catalogue, s *static) (*looks, error) {
	l := &looks{static: s, sets: map[string]map[string]*template.Template{}}
	_, err := l.of(texts.Printer("en", words.Metric))
	return l, err
}

func (l *looks) of(p words.Printer) (map[string]*template.Template, error) {
	l.mutex.Lock()
	defer l.mutex.Unlock()
	key := p.Language() + " " + string(p.Units())
	if set := l.sets[key]; set != nil {
		return set, nil
	}
	common, err := template.New("").Funcs(l.functions(p)).ParseFS(pageFiles, "pages/_*.html")
	if err != nil {
		return nil, err
	}
	names, err := fs.Glob(pageFiles, "pages/[a-z]*.html")
	if err != nil {
		return nil, err
	}
	set := map[string]*template.Template{}
	for _, name := range names {
		t, err := common.Clone()
		if err != nil {
			return nil, err
		}
		if set[strings.TrimSuffix(path.Base(name), ".html")], err = t.ParseFS(pageFiles, name); err != nil {
			return nil, err
		}
	}
	l.sets[key] = set
	return set, nil
}

// functions are what templates may call.
func (l *looks) functions(p words.Printer) template.FuncMap {
	w := writer{p}
	return template.FuncMap{
		"T": p.T, "words": func() words.Printer { return p }, "enum": p.Enum, "language": p.Language, "static": l.static.path,
		"day": w.day, "instant": w.instant, "fault": w.fault, "length": w.length, "value": w.value, "metres": w.metres, "yes": w.yes,
		"oddity":  func(o fleet.Oddity) string { return o.Says(p) },
		"finding": w.finding, "reason": w.reason, "history": w.history, "model": w.model, "person": w.person, "named": w.named,
		"reading": w.reading, "job": w.job, "took": w.took, "days": func(d time.Duration) string { return w.T("console.days", "count", int(d.Hours())/24) }, "extent": w.extent, "positive": func(v *float64) bool { return v != nil && *v > 0 }, "covered": w.covered, "entries": func(id, caption string, lines []entryLine, zone string, mine bool) entryTable {
			return entryTable{table{id, caption, lines, zone}, mine}
		},
		"limit": w.limit, "source": w.source, "read": w.read, "leftOut": w.leftOut, "tried": w.tried, "touched": w.touched, "doubt": w.doubt, "named_fault": w.namedFault, "fieldID": form{}.IDOf, "clock": w.clock, "settings": w.settings, "choice": func(value, text string) option { return option{Value: value, Text: text} }, "walkedReading": newWalkedReading, "readingState": func(r fleet.FormReading, zone string) readingState { return readingState{r, zone} }, "amiss": func(d inspectionData, e fleet.Entry) []option { return d.triedAmiss(w, e) },
		"photo":       func(hash seal.Hash, what string) photoShown { return photoShown{hash.String(), what} },
		"orderFields": func(f form, zone, kind string) orderFields { return orderFields{Form: f, Zone: zone, Kind: kind} }, "derived": derived, "answers": func() []option { return yesOptions(p) },
		"month": w.month, "rests": func(c fleet.Forecast) []string { return c.RestsOn(p) },
		"way": w.way, "duration": w.duration, "at": func(at time.Time, zone string) string { return at.In(location(zone)).Format("15:04") }, "same": func(a, b float64) bool { return a == b },
		"as": as, "must": must, "hint": hint, "complete": complete, "bare": bare, "anyOf": anyOf, "choose": choose, "options": w.options, "months": w.months,
		"may": func(by identity.Actor, action string) bool { return by.May(identity.Action(action)) },
		"dec": func(i int) int { return i - 1 }, "fine": func(m *float64) string { return w.fine(*m) }, "newtons": func(n *float64) string { return w.measured("N", *n) }, "area": func(m2 *float64) string { return w.measured("m2", *m2) },
		"join": strings.Join, "zero": func(id uuid.UUID) bool { return id == uuid.Nil }, "list": func(items ...string) []string { return items }, "inc": func(i int) int { return i + 1 },
		"label": func(text string) template.HTMLAttr { // what a cell says of itself where the head of its table is not seen
			return template.HTMLAttr(` data-label="` + template.HTMLEscapeString(text) + `"`)
		},
		"table": func(id, caption string, lines any, zone ...string) table {
			return table{id, caption, lines, strings.Join(zone, "")}
		},
	}
}

// table is what the template of a table sees.
type table struct {
	ID, Caption string
	Lines       any
	Zone        string
}

// photoShown is what the template of a photo sees.
type photoShown struct {
	SHA256 string
	What   string // read by whoever does not see it
}

// entryTable is what the template of the entries of a door sees.
type entryTable struct {
	table
	Mine bool // whoever looks may correct them
}

// orderFields is what the template of an order's fields sees.
type orderFields struct {
	Form form
	Zone string
	Kind string // "" while it is still to be chosen
	// Fixed tells that the due day follows from something else: it is Due, and nobody can change it here.
	Fixed bool
	Due   duedate.Day
}

// derived is the fields of an order whose due day is not a person's to say.
func derived(due duedate.Day, f orderFields) orderFields {
	f.Fixed, f.Due = true, due
	return f
}

// writer writes values for one reader.
type writer struct{ words.Printer }

// day writes a civil date.
func (w writer) day(d duedate.Day) string { return w.Date(d.Date()) }

// month writes the month and year of a civil date.
func (w writer) month(d duedate.Day) string {
	year, month, _ := d.Date()
	return w.T(fmt.Sprintf("month.%d", month)) + " " + strconv.Itoa(year)
}

// instant writes an instant as a clock in a zone shows it, with the zone's name.
func (w writer) instant(at time.Time, zone string) string {
	local := at.In(location(zone))
	y, m, d := local.Date()
	return w.T("console.instant", "day", w.Date(y, m, d), "time", local.Format("15:04"), "zone", local.Format("MST"))
}

// way writes the length of a way on the road.
func (w writer) way(km float64) string {
	if w.Units() == words.US {
		return w.T("console.route.miles", "number", math.Round(km/1.609344*10)/10)
	}
	return w.T("console.route.km", "number", math.Round(km*10)/10)
}

// duration writes minutes as hours and minutes.
func (w writer) duration(minutes float64) string {
	m := int(math.Round(minutes))
	return w.T("console.route.duration", "hours", m/60, "minutes", m%60)
}

func location(zone string) *time.Location { return fleet.Site{TimeZone: zone}.Location() }

// length writes a length with how it is known.
func (w writer) length(q fleet.Quantity) string { return w.value(q, "m") }

// value writes a physical value with how it is known.
func (w writer) value(q fleet.Quantity, unit string) string {
	switch {
	case !q.Known():
		return w.T("console.unknown")
	case unit == "mm":
		return w.T("console.value.based", "value", w.T("console.value.mm", "mm", *q.Value), "basis", w.Enum("basis", string(q.Basis)))
	}
	return w.T("console.value.based", "value", w.Quantity(*q.Value, words.SI(unit)), "basis", w.Enum("basis", string(q.Basis)))
}

// metres writes a length that is known.
func (w writer) metres(m any) string {
	switch m := m.(type) {
	case float64:
		return w.Length(m)
	case *float64:
		return w.Length(*m)
	}
	return w.T("console.unknown")
}

// yes writes an answer that may be unknown.
func (w writer) yes(b *bool) string {
	switch {
	case b == nil:
		return w.T("console.unknown")
	case *b:
		return w.T("console.yes")
	}
	return w.T("console.no")
}

// finding writes what falls short; the text of a computed one is made of its cause, code:side:what.
func (w writer) finding(f fleet.Finding) string {
	if f.Origin != "computed" {
		return f.What
	}
	return fleet.TellCause(w.Printer, f.Cause)
}

// job is what a job is for.
func (w writer) job(name string) string { return w.T("job." + name + ".title") }

// reading writes what was read at a door.
func (w writer) reading(r fleet.EntryReading) string {
	said := cmp.Or(r.Text, w.yes(r.Yes))
	if r.Value != nil {
		said = w.readValue(*r.Value, unitOf(r.Name))
	}
	if r.Leaf > 0 {
		said = w.T("console.reading.at_leaf", "said", said, "number", r.Leaf)
	}
	if r.Side != "" {
		said = w.T("console.reading.at_side", "said", said, "side", w.Enum("side", r.Side))
	}
	return w.T("console.reading", "title", fleet.ReadingTitle(w.Printer, r.Name, r.Question), "said", said)
}

// extent writes what a device watches on the floor.
func (w writer) extent(e *fleet.Extent) string {
	switch {
	case e == nil:
		return w.T("console.unknown")
	case len(e.Missing) > 0:
		return w.T("console.device.not_computable")
	case *e.AreaM2 == 0:
		return w.T("console.preview.nothing")
	}
	return w.T("console.preview.extent", "width", w.Length(*e.WidthM), "depth", w.Length(*e.DepthM), "near", w.Length(*e.NearM), "far", w.Length(*e.FarM))
}

// covered writes how far a zone is covered; never more than there is.
func (w writer) covered(c fleet.Coverage) string {
	if c.CoveredShare == nil || c.GapM == nil {
		return w.T("console.device.not_computable")
	}
	return w.T("console.preview.covered", "percent", int(*c.CoveredShare*100), "gap", w.Length(*c.GapM))
}

// reason writes why something was said; of what comes with a visit's entries the visit has said it.
func (w writer) reason(text string) string {
	if text == "visit" {
		return w.T("console.reason.visit")
	}
	return text
}

func (w writer) history(of string) string { return w.T("console.history." + of) }

// model is what a component is called.
func (w writer) model(names fleet.Names, c fleet.Component) string {
	if c.ModelID != nil {
		return names[*c.ModelID].Text
	}
	if c.ModelText == "" {
		return w.T("report.unknown_model")
	}
	return c.ModelText
}

// person is the name of somebody; the program itself has none.
func (w writer) person(names fleet.Names, id any) string {
	var who uuid.UUID
	switch id := id.(type) {
	case uuid.UUID:
		who = id
	case *uuid.UUID:
		who = *id
	}
	switch name := names[who].Text; {
	case name != "":
		return name
	case who == identity.ProgramID:
		return w.T("console.program")
	}
	return w.T("console.somebody")
}

func (w writer) named(names fleet.Names, id uuid.UUID) string {
	n := names[id]
	if n.Kind == "" {
		return n.Text
	}
	return strings.TrimSpace(w.Enum("component_kind", n.Kind) + " " + n.Text)
}

// options are choices out of an enumeration, after the one that chooses none.
func (w writer) options(enumeration, none string, values ...string) []option {
	var list []option
	if none != "" {
		list = append(list, option{Text: none})
	}
	for _, v := range values {
		list = append(list, option{Value: v, Text: w.Enum(enumeration, v)})
	}
	return list
}

// months are those of the year, after none.
func (w writer) months() []option {
	list := []option{{Text: w.T("console.no_month")}}
	for m := 1; m <= 12; m++ {
		n := strconv.Itoa(m)
		list = append(list, option{Value: n, Text: w.T("month." + n)})
	}
	return list
}

// fault writes what is wrong. Lengths that cannot be read have their texts beside the lengths.
func (w writer) fault(f *fault.Error) string {
	if why, ok := strings.CutPrefix(f.Code, "length_"); ok && f.Code != "length_twice" {
		return w.T("length." + why)
	}
	return w.T("problem."+f.Code, f.Args...)
}

// static serves the files beside the pages under names that hold their hash, so that browsers may keep them for ever.
type static struct {
	names map[string]string // of the file: its address
	files map[string]file   // by address
}

func newStatic() (*static, error) {
	s := &static{names: map[string]string{}, files: map[string]file{}}
	types := map[string]string{".css": "text/css; charset=utf-8", ".svg": "image/svg+xml"}
	entries, err := staticFiles.ReadDir("static")
	if err != nil {
		return nil, err
	}
	for _, e := range entries {
		data, err := staticFiles.ReadFile("static/" + e.Name())
		if err != nil {
			return nil, err
		}
		sum := sha256.Sum256(data)
		stem, ext := strings.TrimSuffix(e.Name(), path.Ext(e.Name())), path.Ext(e.Name())
		address := "/static/" + stem + "." + hex.EncodeToString(sum[:8]) + ext
		s.names[e.Name()], s.files[address] = address, file{types[ext], e.Name(), data}
	}
	return s, nil
}

// path is the address of a file.
func (s *static) path(name string) (string, error) {
	address, ok := s.names[name]
	if !ok {
		return "", fmt.Errorf("no file %q", name)
	}
	return address, nil
}

// ServeHTTP implements http.Handler.
func (s *static) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	f, ok := s.files[r.URL.Path]
	if !ok {
		http.NotFound(w, r)
		return
	}
	w.Header().Set("Content-Type", f.mediaType)
	w.Header().Set("Cache-Control", "public, max-age=31536000, immutable")
	_, _ = w.Write(f.bytes)
}
