package fleet

import (
	"context"
	"slices"
	"strings"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/identity"
	"lintel.example/lintel/internal/rulebook"
	"lintel.example/lintel/internal/words"
)

// InspectionBlank is the inspection form of one door for the pen: what is asked of it as it is known today, with a place for every answer. It is
// printed when it is asked for and not kept: what counts is what is entered in a visit afterwards.
type InspectionBlank struct {
	ReportHead
	Tag, Door, Site, Address string
	Packs                    []BlankPack // that judge the door, its rule basis first
	LastOn                   string      // day of the last inspection that was signed; "" when none was
	Facts                    []string    // of the door, that nobody knows and rules want
	SafeWork                 []BlankQuestion
	Stations                 []BlankStation
	Register                 []string // judged by what the register says
	Tried                    []string // in a function test
	Securing                 []string // how an unsafe door is secured
	Severities               []string
}

// BlankPack is a rule pack that judges the door.
type BlankPack struct{ Title, Caution string }

// BlankQuestion is a question with its answers; its name is that of the member of the entry that says it.
type BlankQuestion struct {
	Name    string
	Answers []string
}

// BlankStation is a stop of the walk; a caution stands before what is read there.
type BlankStation struct {
	Name  string // of the rulebook's station
	Title string
	Items []BlankItem
}

// BlankItem is one thing to be read.
type BlankItem struct {
	Title   string
	Answers []string // to choose from; nil: a number or words are written
	Unit    string   // SI unit of a number
	Short   bool     // a length that people take in millimetres
	Need    string   // needed, law, open
	Asks    []BlankAsked
	Places  []BlankPlace
}

// BlankAsked is what one rule asks of it.
type BlankAsked struct {
	For             string        // the rule, where its limit is of something that is worked out with the reading
	AtLeast, AtMost *ReportAmount // both nil: a question, or a limit that cannot be worked out yet
	Asks, Method    string
	Advice          bool // a failure fails no door
}

// BlankPlace is where it is read, and what was read there before.
type BlankPlace struct {
	Place  string // "" where that goes without saying
	Value  *float64
	Said   string // of what is no number
	ReadOn string // "" when it was not read before
}

// Check is that of a document; a blank is not kept, so there is nothing to hold it to.
func (InspectionBlank) Check() error { return nil }

// PrintInspectionForm prints the inspection form of a door for the pen, as pdf or html. It changes nothing.
func (f *Fleet) PrintInspectionForm(ctx context.Context, by identity.Actor, doorID uuid.UUID, form string) (print []byte, err error) {
	asked, err := f.InspectionForm(ctx, by, doorID, uuid.Nil)
	if err != nil {
		return nil, err
	}
	site, err := f.Site(ctx, by, asked.Door.SiteID)
	if err != nil {
		return nil, err
	}
	doc := asked.blank(f.printer(by))
	doc.ReportHead = f.head("", by, doorID, forCustomer, duedate.DayIn(f.Now(), asked.Zone), paperOf("", site.Jurisdiction))
	doc.Site, doc.Address = site.Name, site.inOneLine()
	prints, err := f.PrintReport(doc, "")
	if err != nil {
		return nil, err
	}
	return prints[slices.IndexFunc(prints, func(p ReportPrint) bool { return p.Form == form })].Bytes, nil
}

// blank writes down what the form asks.
func (form InspectionForm) blank(t words.Printer) InspectionBlank {
	answers := func(enum string, names ...string) (list []string) {
		for _, n := range names {
			list = append(list, t.Enum(enum, n))
		}
		return list
	}
	doc := InspectionBlank{Tag: form.Door.Tag.String(), Door: form.Door.Name,
		SafeWork: []BlankQuestion{
			{"traffic", answers("safe_work_traffic", "barriered", "watched", "door_closed", "building_closed", "not_kept_away")},
			{"power", answers("safe_work_power", "isolated", "stayed_on")},
			{"ladder", answers("safe_work_ladder", "not_used", "stands_safe", "not_safe")},
			{"second_person", answers("safe_work_second_person", "there", "not_needed", "missing")},
		},
		Securing:   answers("secured_how", "operator_off", "locked_open", "barriered", "locked", "not_secured"),
		Severities: answers("severity", "unsafe", "deficient", "advisory"),
	}
	for _, one := range (EntryFunctionTest{}).tried() {
		doc.Tried = append(doc.Tried, t.Enum("function_test", one.name))
	}
	if !form.LastDay.IsZero() {
		doc.LastOn = form.LastDay.String()
	}
	for _, p := range form.Packs {
		doc.Packs = append(doc.Packs, BlankPack{p.Title, p.Caution})
	}
	for _, w := range form.Wanted {
		doc.Facts = append(doc.Facts, w.Title)
	}
	for _, r := range form.FromFacts {
		doc.Register = append(doc.Register, r.Rule.Title)
	}
	for _, s := range form.Stations {
		station := BlankStation{Name: string(s.Station), Title: form.StationTitle(s, t)}
		for _, i := range s.Items {
			if len(i.Rules) > 0 { // what may be taken instead is for who has the gauge for it, and the page
				station.Items = append(station.Items, form.blankItem(s, i, t))
			}
		}
		if station.Items != nil {
			doc.Stations = append(doc.Stations, station)
		}
	}
	return doc
}

func (form InspectionForm) blankItem(s FormStation, i FormItem, t words.Printer) BlankItem {
	item := BlankItem{Title: KindTitle(t, i.Kind), Unit: i.Kind.Unit, Short: i.Kind.Short(), Need: "open"}
	switch {
	case i.Needed():
		item.Need = "needed"
	case slices.ContainsFunc(i.Rules, func(r FormRule) bool { return r.Counts() && r.Pack.Role == rulebook.Law }):
		item.Need = "law"
	}
	switch i.Kind.Kind {
	case rulebook.YesNo:
		item.Answers = []string{t.Enum("tried", "yes"), t.Enum("tried", "no")}
	case rulebook.Choice:
		item.Answers = i.Kind.Choices
	}
	for _, r := range i.Rules {
		one := BlankAsked{Asks: r.Rule.Asks, Method: r.Rule.Method, Advice: !r.Counts() && r.Rule.Severity != rulebook.NoSeverity}
		if l := r.Limit; l != nil {
			one.AtLeast, one.AtMost = reportAmount(l.AtLeast), reportAmount(l.AtMost)
		}
		if !r.Rule.Holds(i.Kind) {
			one.For = r.Rule.Title
		}
		item.Asks = append(item.Asks, one)
	}
	for _, p := range i.Places {
		place := BlankPlace{Place: form.PlaceTitle(p.Place, s, t)}
		if b := p.Before; b != nil {
			place.Value, place.Said, place.ReadOn = b.Value, b.Text, b.Day.String()
			if b.Yes != nil {
				place.Said = t.Enum("tried", map[bool]string{true: "yes", false: "no"}[*b.Yes])
			}
		}
		item.Places = append(item.Places, place)
	}
	return item
}

// StationTitle names a station; an approach with its side.
func (form InspectionForm) StationTitle(s FormStation, t words.Printer) string {
	title := t.T(s.Station.TitleKey())
	if s.Side == "" {
		return title
	}
	return t.T("console.inspect.approach", "title", title, "side", strings.ToUpper(string(s.Side)), "label", form.Door.Facts.Side(string(s.Side)).Label)
}

// PlaceTitle says where something is read at a station; nothing where that goes without saying.
func (form InspectionForm) PlaceTitle(at rulebook.Place, s FormStation, t words.Printer) string {
	var parts []string
	if at.Leaf > 0 {
		parts = append(parts, t.T("console.reading.leaf", "number", at.Leaf))
	}
	if at.Side != "" && at.Side != s.Side {
		parts = append(parts, t.T("console.reading.side", "side", strings.ToUpper(string(at.Side)), "label", form.Door.Facts.Side(string(at.Side)).Label))
	}
	return strings.Join(parts, ", ")
}
