package fleet

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/fault"
	"lintel.example/lintel/internal/identity"
	"lintel.example/lintel/internal/rulebook"
	"lintel.example/lintel/internal/words"
)

// InspectionForm is what the rules ask of one door as it is known now, in the order of the walk round it: only what applies, and what
// may apply as far as anybody knows. Beside it stands what was read before and what has been read in the visit.
type InspectionForm struct {
	Door      Door
	Zone      *time.Location   // of the site
	VisitID   uuid.UUID        // zero: of no visit, a blank form
	Signed    bool             // the visit is signed off: nothing can be added
	Packs     []*rulebook.Pack // that judge the door today, its rule basis first
	Months    *int             // whole months since the last inspection that is signed; nil when none is
	LastDay   duedate.Day      // of that inspection
	Stations  []FormStation    // those where something is to be read
	FromFacts []FormRule       // judged by what the register says, and no more
	Wanted    []FormFact       // facts of the register that are wanted
	Entries   []Entry          // of the visit at the door, in the order of observation; corrected ones are left out
}

// FormStation is one stop of the walk.
type FormStation struct {
	Station rulebook.Station
	Side    rulebook.Side // of an approach; else ""
	Items   []FormItem
}

// FormItem is one thing to be read, everywhere where it is to be read.
type FormItem struct {
	Kind    rulebook.ReadingKind
	Rules   []FormRule // that need it
	Instead []FormRule // that work it out of other readings, and prefer it where it was read
	Places  []FormPlace
}

// FormRule is a rule and what it asks of this door.
type FormRule struct {
	Pack *rulebook.Pack
	rulebook.Asked
}

// Counts tells whether failing the rule fails the inspection.
func (r FormRule) Counts() bool {
	return r.Rule.Standing.Weight() == rulebook.Binding && r.Rule.Severity != rulebook.Advisory && r.Rule.Severity != rulebook.NoSeverity
}

// needed tells whether a door cannot pass while what the rule asks for was not read: law judges what was read, and asks for nothing; a
// company's question says itself whether it must be answered.
func (r FormRule) needed() bool {
	if q := r.Rule.Question; q != nil {
		return q.Required
	}
	return r.Counts() && r.Pack.Role != rulebook.Law
}

// Needed tells whether a door cannot pass while the item was not read.
func (i FormItem) Needed() bool { return slices.ContainsFunc(i.Rules, FormRule.needed) }

// FormPlace is one place of a reading.
type FormPlace struct {
	rulebook.Place
	Before  *FormReading  // the newest that was signed, nil if there is none
	Trend   *Series       // how it has gone over the years, nil where nothing was read twice
	Entered []FormReading // in this visit, in the order of observation; corrected ones are left out
	LeftOut *Entry        // that says why it was not read in this visit
	Covered bool          // nothing was said of this place, and something was of one that holds it: of the whole door
}

// Said tells whether it was read in this visit, or left out with a reason.
func (p FormPlace) Said() bool { return len(p.Entered) > 0 || p.LeftOut != nil || p.Covered }

// FormReading is something that was read.
type FormReading struct {
	EntryReading
	EntryKind  string // of the entry that says it
	Samples    int    // of a record that it was worked out of; 0: typed
	EntryID    uuid.UUID
	ObservedAt time.Time
	Day        duedate.Day // at the site
	Doubt      Doubt       // of what was read in this visit, beside what was read before
	Stale      bool        // something on which it depends was changed in this visit since, and nobody has read it again: it judges nothing
	AsFound    bool        // the same, and it was read again
	ChangedAt  time.Time   // when that was changed; zero: it was not
	With       *Instrument // that it was read with, as it was on the day; nil when none was named
	InDate     bool        // that instrument was in calibration on the day
	Verdicts   []FormVerdict
}

// FormVerdict is what a rule says of a reading, with what else was read there.
type FormVerdict struct {
	FormRule
	rulebook.Verdict
	Finding *Entry // of the visit, that names the rule; nil while there is none
}

// FormFact is a fact of the register that is wanted, and what for.
type FormFact struct {
	rulebook.Gap
	Title   string // in the reader's language
	Pointer string // of the member of the door that says it, "" where it follows from several
	Rules   []FormRule
}

// factPointer is where a fact of rules is said of a door.
func factPointer(name string, d DoorFacts) string {
	var leaf int
	var member string
	if n, _ := fmt.Sscanf(name, "leaves[%d].%s", &leaf, &member); n == 2 {
		return fmt.Sprintf("/facts/leaves/%d/%s", leaf, member)
	}
	switch name {
	case "door_kind":
		return "/facts/kind"
	case "activation":
		if d.A.Activation != "unknown" {
			return "/facts/side_b/activation"
		}
		return "/facts/side_a/activation"
	case "activation_a", "activation_b":
		return "/facts/side_" + strings.TrimPrefix(name, "activation_") + "/activation"
	case "egress_breakout":
		return "/facts/egress"
	case "leaves", "leaf_count":
		return "/facts/leaves"
	case "mode", "inspector_certified":
		return ""
	}
	return "/facts/" + name
}

// Doubt is a question about a reading, put to whoever took it. It refuses nothing.
type Doubt string

const (
	NoDoubt Doubt = ""
	FarOff  Doubt = "far_off"  // more than a third away from what was read before
	TheSame Doubt = "the_same" // as before, to the last digit
)

// farShare is how much a door hardly ever changes between two inspections (ours, no source).
const farShare = 1.0 / 3

// InspectionForm gives the form of one door, for a visit or blank with the zero id. It changes nothing.
func (f *Fleet) InspectionForm(ctx context.Context, by identity.Actor, doorID, visitID uuid.UUID) (form InspectionForm, err error) {
	err = f.Store.InTxReadOnly(ctx, by, func(ctx context.Context, tx Tx) error {
		form = InspectionForm{VisitID: visitID}
		if form.Door, err = tx.DoorByID(ctx, doorID, AsOf{}); err != nil {
			return err
		}
		site, err := tx.SiteByID(ctx, form.Door.SiteID)
		if err != nil {
			return err
		}
		form.Zone = site.Location()
		if visitID != uuid.Nil {
			visit, err := tx.VisitByID(ctx, visitID)
			if err != nil {
				return err
			}
			if visit.SiteID != form.Door.SiteID {
				return fault.At("/door_id", "door_of_other_site")
			}
			form.Signed = visit.SignedAt != nil
		}
		if form.Packs, err = f.packsOf(ctx, tx, form.Door.Facts, site, duedate.DayIn(f.Now(), form.Zone)); err != nil {
			return err
		}
		form.Packs = slices.DeleteFunc(form.Packs, func(p *rulebook.Pack) bool { return p.ID == "" }) // the basis that nobody has recorded
		entries, err := tx.EntriesOfDoor(ctx, doorID)
		if err != nil {
			return err
		}
		form.ask(writer{texts: f.printer(by)})
		form.read(live(entries))
		form.since(live(entries), duedate.DayIn(f.Now(), form.Zone))
		form.trends(entries)
		return form.judge(ctx, tx, entries)
	})
	return form, err
}

// since counts the months since the door was inspected last, as far as inspections were signed here.
func (form *InspectionForm) since(counting []Entry, today duedate.Day) {
	for _, e := range counting {
		if e.Signed && e.VisitID != form.VisitID && e.Body.Conclusion != nil {
			form.LastDay = duedate.DayIn(e.ObservedAt, form.Zone)
		}
	}
	if !form.LastDay.IsZero() && !today.Before(form.LastDay) {
		months := form.LastDay.MonthsUntil(today)
		form.Months = &months
	}
}

// trends puts beside each place how its reading has gone.
func (form *InspectionForm) trends(entries []Entry) {
	for _, s := range seriesOf(entries, form.Zone, limitsOf(form.Packs, inspectedFacts(form.Door.Facts))) {
		for _, at := range form.places() {
			if at.kind.Name == s.Reading && at.Place == (rulebook.Place{Leaf: s.Leaf, Side: rulebook.Side(s.Side)}) && len(s.Points) > 1 {
				at.Trend = &s
			}
		}
	}
}

// Rules are all rules of the form, each once, those first at which something is read.
func (form InspectionForm) Rules() (list []FormRule) {
	var all []FormRule
	for _, s := range form.Stations {
		for _, item := range s.Items {
			all = append(all, item.Rules...)
		}
	}
	for _, r := range append(all, form.FromFacts...) {
		if !slices.ContainsFunc(list, func(l FormRule) bool { return l.Rule.ID == r.Rule.ID && l.Pack.ID == r.Pack.ID }) {
			list = append(list, r)
		}
	}
	return list
}

// GapTitle says in words what a rule lacks.
func (InspectionForm) GapTitle(g rulebook.Gap, texts words.Printer) string {
	return writer{texts: texts}.gap(g)
}

// formSpot is a place of an item.
type formSpot struct {
	*FormPlace
	kind  rulebook.ReadingKind
	rules []FormRule
}

// places are all places of the form.
func (form *InspectionForm) places() (list []formSpot) {
	for _, s := range form.Stations {
		for _, item := range s.Items {
			for i := range item.Places {
				list = append(list, formSpot{&item.Places[i], item.Kind, slices.Concat(item.Rules, item.Instead)})
			}
		}
	}
	return list
}

// judge holds what was read in the visit against the rules, as a sign-off would: each reading with what else was read there and still stands.
func (form *InspectionForm) judge(ctx context.Context, tx Tx, entries []Entry) error {
	entries = slices.DeleteFunc(slices.Clone(entries), func(e Entry) bool { return e.VisitID != form.VisitID })
	used, err := instrumentsOf(ctx, tx, form.Zone, entries)
	if err != nil {
		return err
	}
	now := concludingNow(form.VisitID, form.Door.DoorID, entries)
	facts, stated := inspectedFacts(form.Door.Facts), used.stated(entries)
	stand := readingsOf(form.Door.DoorID, now, stated)
	outdated := outdatedAmong(doneAt(now, entries))
	found := map[string]*Entry{}
	for _, e := range live(entries) {
		if e.Body.Finding != nil && e.Body.Finding.Rule != "" {
			found[e.Body.Finding.Rule] = &e
		}
	}
	for _, at := range form.places() {
		for i := range at.Entered {
			r := &at.Entered[i]
			if u, named := used[r.EntryID]; named {
				r.InDate = u.InDate
				r.With = &Instrument{InstrumentID: u.InstrumentID, Version: u.Version, Kind: u.Kind, Name: u.Name, Serial: u.Serial, CalibratedOn: u.CalibratedOn, CalibratedUntil: u.CalibratedUntil,
					Certificate: u.Certificate, Uncertainty: u.Uncertainty}
				if in, has := u.Uncertainty[at.kind.Unit]; has && r.Uncertainty == nil {
					r.Uncertainty = &in
				}
			}
			o, is := outdated[takenOf(r.EntryID, r.EntryReading)]
			r.Stale, r.AsFound, r.ChangedAt = is && !o.again, is && o.again, o.since
			r.Verdicts = form.verdicts(at, *r, facts, stand, found)
		}
	}
	return nil
}

// verdicts are what the rules of an item say of one reading of it.
func (form *InspectionForm) verdicts(at formSpot, r FormReading, facts rulebook.Facts, stand []rulebook.Used, found map[string]*Entry) (list []FormVerdict) {
	with := []rulebook.Used{r.used()}
	for _, u := range stand {
		if u.Name != at.kind.Name {
			with = append(with, u)
		}
	}
	said := map[string][]rulebook.Verdict{}
	for _, rule := range at.rules {
		if said[rule.Pack.ID] == nil {
			said[rule.Pack.ID] = rule.Pack.Judge(facts, with)
		}
		for _, v := range said[rule.Pack.ID] {
			if v.RuleID == rule.Rule.ID {
				list = append(list, FormVerdict{rule, v, found[v.RuleID]})
			}
		}
	}
	return list
}

// concludingNow is a conclusion that a visit could have now, behind everything that was entered.
func concludingNow(visitID, doorID uuid.UUID, entries []Entry) Entry {
	now := Entry{VisitID: visitID, DoorID: doorID, EntryID: uuid.Max, Body: EntryBody{DoorID: doorID, Kind: "conclusion", Conclusion: &EntryConclusion{Result: "passed"}}}
	for _, e := range entries {
		if e.ObservedAt.After(now.ObservedAt) {
			now.ObservedAt = e.ObservedAt
		}
	}
	now.Body.ObservedAt = now.ObservedAt
	return now
}

// ask puts the rules of the packs together by what they need.
func (form *InspectionForm) ask(w writer) {
	rules, instead := map[string][]FormRule{}, map[string][]FormRule{} // by the name of a reading
	for _, pack := range form.Packs {
		for _, asked := range pack.Asks(inspectedFacts(form.Door.Facts)) {
			rule := FormRule{pack, asked}
			form.want(w, rule)
			if !asked.Applies && len(asked.Wanted) > 0 { // the fact is asked for once, and not everything that might follow from it
				continue
			}
			for _, k := range asked.Readings {
				rules[k.Name] = append(rules[k.Name], rule)
			}
			for _, k := range asked.Better {
				instead[k.Name] = append(instead[k.Name], rule)
			}
			if len(asked.Readings) == 0 {
				form.FromFacts = append(form.FromFacts, rule)
			}
		}
	}
	kinds := rulebook.Readings()
	for _, pack := range form.Packs { // a company's questions come behind what rules ask at a station
		kinds = append(kinds, pack.OwnReadings()...)
	}
	for _, station := range rulebook.Stations() {
		sides := []rulebook.Side{""}
		if station == rulebook.Approach {
			sides = entrySides(form.Door.Facts)
		}
		for _, side := range sides {
			at := FormStation{Station: station, Side: side}
			for _, k := range kinds {
				if k.Station == station && len(rules[k.Name])+len(instead[k.Name]) > 0 {
					at.Items = append(at.Items, FormItem{Kind: k, Rules: rules[k.Name], Instead: instead[k.Name], Places: placesOf(k, side, form.Door.Facts)})
				}
			}
			if at.Items != nil {
				form.Stations = append(form.Stations, at)
			}
		}
	}
}

// want lists the facts that a rule wants, each once.
func (form *InspectionForm) want(w writer, rule FormRule) {
	for _, g := range rule.Wanted {
		if g.Name == "egress_breakout" { // the register has one fact for both, and whoever answers must read which
			g.Name = "egress"
		}
		i := slices.IndexFunc(form.Wanted, func(f FormFact) bool { return f.Gap == g })
		if i < 0 {
			i = len(form.Wanted)
			form.Wanted = append(form.Wanted, FormFact{Gap: g, Title: w.gap(g), Pointer: factPointer(g.Name, form.Door.Facts)})
		}
		form.Wanted[i].Rules = append(form.Wanted[i].Rules, rule)
	}
}

// entrySides are the sides from which somebody is let in, as far as is known.
func entrySides(d DoorFacts) []rulebook.Side {
	sides := []rulebook.Side{rulebook.SideA, rulebook.SideB}
	open := slices.DeleteFunc(slices.Clone(sides), func(s rulebook.Side) bool { return d.Side(string(s)).Activation == "none" })
	if len(open) == 0 {
		return sides
	}
	return open
}

// placesOf are the places where something is to be read at a door, on one side alone if it is given.
func placesOf(k rulebook.ReadingKind, side rulebook.Side, d DoorFacts) (places []FormPlace) {
	leaves, each := len(d.Leaves), k.Each
	if each == rulebook.EachSwing && (d.Kind == "swinging" || d.Kind == "folding") {
		each = rulebook.EachLeaf
	}
	switch {
	case side != "":
		return []FormPlace{{Place: rulebook.Place{Side: side}}}
	case each == rulebook.EachSide:
		for _, s := range entrySides(d) {
			places = append(places, FormPlace{Place: rulebook.Place{Side: s}})
		}
		return places
	case each == rulebook.EachLeaf && leaves > 1:
		for n := range leaves {
			places = append(places, FormPlace{Place: rulebook.Place{Leaf: n + 1}})
		}
		return places
	}
	return []FormPlace{{}}
}

// read puts beside each place what was read there. What was read in the visit at a place that is not asked for gets a place of its own.
func (form *InspectionForm) read(counting []Entry) {
	for _, e := range counting {
		if e.VisitID != form.VisitID {
			continue
		}
		form.Entries = append(form.Entries, e)
		for _, one := range e.Body.Readings() {
			r := form.reading(e, one)
			if p := form.placeFor(r.Name, r.Place()); p != nil {
				p.Entered = append(p.Entered, r)
			}
		}
		if l := e.Body.LeftOut; l != nil {
			if p := form.placeFor(rulebook.NameNow(l.Name), rulebook.Place{Leaf: l.Leaf, Side: rulebook.Side(l.Side)}); p != nil {
				p.LeftOut = &e
			}
		}
	}
	form.cover()
	for _, s := range form.Stations {
		for _, item := range s.Items {
			for i := range item.Places {
				form.compare(&item.Places[i], item.Kind, counting)
			}
		}
	}
}

// cover marks the places of which nothing was said because it was said of one that holds them, at whatever station that stands.
func (form *InspectionForm) cover() {
	said := form.places()
	said = slices.DeleteFunc(said, func(at formSpot) bool { return !at.Said() })
	for _, p := range form.places() {
		here := EntryReading{Name: p.kind.Name, Leaf: p.Leaf, Side: string(p.Side)}
		p.Covered = !p.Said() && slices.ContainsFunc(said, func(o formSpot) bool {
			return EntryReading{Name: o.kind.Name, Leaf: o.Leaf, Side: string(o.Side)}.covers(here)
		})
	}
}

func (form *InspectionForm) reading(e Entry, one EntryReading) FormReading {
	r := FormReading{EntryReading: one, EntryKind: e.Body.Kind, Samples: e.Body.Samples(), EntryID: e.EntryID, ObservedAt: e.ObservedAt, Day: duedate.DayIn(e.ObservedAt, form.Zone)}
	r.Name = rulebook.NameNow(r.Name)
	return r
}

// Place is where it was read.
func (r EntryReading) Place() rulebook.Place {
	return rulebook.Place{Leaf: r.Leaf, Side: rulebook.Side(r.Side)}
}

// placeFor gives the place of a reading on the form, a new one where the form does not ask for it there, nil where it does not ask for the
// reading at all.
func (form *InspectionForm) placeFor(name string, at rulebook.Place) *FormPlace {
	var last *FormItem
	for s := range form.Stations {
		for i := range form.Stations[s].Items {
			item := &form.Stations[s].Items[i]
			if item.Kind.Name != name {
				continue
			}
			last = item
			for p := range item.Places {
				if item.Places[p].Place == at {
					return &item.Places[p]
				}
			}
		}
	}
	if last == nil {
		return nil
	}
	last.Places = append(last.Places, FormPlace{Place: at})
	return &last.Places[len(last.Places)-1]
}

// compare finds what was read there before, or else of the door as a whole, and asks about what was read now.
func (form *InspectionForm) compare(at *FormPlace, k rulebook.ReadingKind, counting []Entry) {
	whole := rulebook.Place{}
	for _, e := range counting {
		if !e.Signed || e.VisitID == form.VisitID {
			continue
		}
		for _, r := range e.Body.Readings() {
			if rulebook.NameNow(r.Name) == k.Name && (r.Place() == at.Place || r.Place() == whole && (at.Before == nil || at.Before.Place() == whole)) {
				before := form.reading(e, r)
				at.Before = &before
			}
		}
	}
	for i := range at.Entered {
		if r := &at.Entered[i]; at.Before != nil {
			r.Doubt = doubtOf(k, at.Before.Value, r.Value)
		}
	}
}

// doubtOf asks about a number that is far from the one before, or the same to the last digit. What people count, and lengths, which stay
// what they are, may well be the same.
func doubtOf(k rulebook.ReadingKind, before, now *float64) Doubt {
	switch {
	case before == nil || now == nil || k.Unit == "months":
		return NoDoubt
	case math.Abs(*now-*before) > farShare*math.Abs(*before):
		return FarOff
	case *now == *before && k.Unit != "m":
		return TheSame
	}
	return NoDoubt
}
