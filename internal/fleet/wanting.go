package fleet

import (
	"context"
	"regexp"
	"slices"
	"strings"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/fault"
	"lintel.example/lintel/internal/identity"
	"lintel.example/lintel/internal/rulebook"
)

// Want is one thing for want of which a door cannot be concluded as passed, or not be signed off by whoever asks.
type Want struct {
	Fault   *fault.Error     // what the sign-off would answer
	Name    string           // of the reading, fact, rule or trial that it is about, "" where it is about none
	Title   string           // of the same, in the reader's language
	Station rulebook.Station // of the walk, where it is put right; "" elsewhere
	rulebook.Place
	Step      string    // where it is put right otherwise: visit, facts, safe_work, finding, photo, function_test, certificate
	ChangedAt time.Time // what made its reading one of another door; zero: nothing
}

// CanFollow tells whether it may as well be met once the door was concluded, until the visit is signed off.
func (w Want) CanFollow() bool {
	return slices.Contains([]string{"visit", "photo", "certificate"}, w.Step)
}

// Wanting tells what a sign-off of a visit by whoever asks would still want before a door may be called passed: all of it, and not only what
// is refused first. A visit in which nothing was concluded is looked at as if it were concluded now. It changes nothing.
func (f *Fleet) Wanting(ctx context.Context, by identity.Actor, doorID, visitID uuid.UUID) ([]Want, error) {
	return f.wanting(ctx, by, doorID, visitID, func(entries []Entry) []Entry {
		if _, concluded, err := conclusionOf(doorID, entries); concluded || err != nil {
			return entries
		}
		return f.concluded(doorID, visitID, entries)
	})
}

// WantingToPass tells the same of a door that would be concluded as passed after everything that was entered, whatever was concluded before.
func (f *Fleet) WantingToPass(ctx context.Context, by identity.Actor, doorID, visitID uuid.UUID) ([]Want, error) {
	return f.wanting(ctx, by, doorID, visitID, func(entries []Entry) []Entry {
		entries = slices.DeleteFunc(entries, func(e Entry) bool { return e.Body.Conclusion != nil })
		return f.concluded(doorID, visitID, entries)
	})
}

// concluded adds a conclusion as passed to entries of a door.
func (f *Fleet) concluded(doorID, visitID uuid.UUID, entries []Entry) []Entry {
	conclusion := concludingNow(visitID, doorID, entries)
	if conclusion.ObservedAt.IsZero() {
		conclusion.ObservedAt = f.Now()
	}
	return append(entries, conclusion)
}

// wanting says what is wanting by the entries of a door, completed by a conclusion where there is none.
func (f *Fleet) wanting(ctx context.Context, by identity.Actor, doorID, visitID uuid.UUID, complete func([]Entry) []Entry) (wants []Want, err error) {
	form, err := f.InspectionForm(ctx, by, doorID, visitID)
	if err != nil {
		return nil, err
	}
	err = f.Store.InTxReadOnly(ctx, by, func(ctx context.Context, tx Tx) error {
		all, err := tx.EntriesOfVisit(ctx, visitID)
		if err != nil {
			return err
		}
		entries := complete(slices.DeleteFunc(all, func(e Entry) bool { return e.DoorID != doorID }))
		refused, err := f.refusals(ctx, tx, by, doorID, visitID, entries)
		if err != nil {
			return err
		}
		wants = nil
		w := writer{texts: f.printer(by)}
		for _, one := range refused {
			for _, want := range form.wants(w, one) {
				if one.Code != "readings_missing" || !slices.ContainsFunc(wants, want.sameReading) {
					wants = append(wants, want)
				}
			}
		}
		return nil
	})
	return wants, err
}

// sameReading tells whether o says already that the reading is wanting.
func (w Want) sameReading(o Want) bool {
	return o.Name == w.Name && slices.Contains([]string{"left_out_needed", "readings_missing"}, o.Fault.Code) && (o.Place == w.Place || o.Place == rulebook.Place{})
}

// refusals are everything that a sign-off would answer about one door, in the order of the walk as far as they have one.
func (f *Fleet) refusals(ctx context.Context, tx Tx, by identity.Actor, doorID, visitID uuid.UUID, entries []Entry) (faults fault.List, err error) {
	v, err := tx.VisitByID(ctx, visitID)
	if err != nil {
		return nil, err
	}
	site, err := tx.SiteByID(ctx, v.SiteID)
	if err != nil {
		return nil, err
	}
	conclusion, _, err := conclusionOf(doorID, entries)
	if err != nil {
		return fault.Of(err), nil
	}
	used, err := instrumentsOf(ctx, tx, site.Location(), entries)
	if err != nil {
		return nil, err
	}
	judged, err := f.judgeVisit(ctx, tx, site, []uuid.UUID{doorID}, used.stated(entries))
	if err != nil {
		return nil, err
	}
	switch {
	case v.Attendance == nil:
		faults = append(faults, fault.New(fault.Conflict, "attendance_missing"))
	case !slices.Contains(v.Attendance.People, by.PersonID):
		faults = append(faults, fault.New(fault.Forbidden, "signer_not_present"))
	}
	_, uncertified := f.certified(ctx, tx, by, entries, judged, site.Location())
	for _, err := range []error{wantingOf(conclusion, entries, judged, used).Err(), photosHere(ctx, tx, entries), uncertified} {
		if list := fault.Of(err); len(list) > 0 {
			faults = append(faults, list...)
		} else if err != nil {
			return nil, err
		}
	}
	if conclusion.Body.Conclusion.Result == "passed" {
		for _, refused := range passedWanting(conclusion, entries, judged) {
			faults = append(faults, fault.Of(refused)...)
		}
	}
	return faults, nil
}

// stepOf is where that is put right which is put right at no reading.
var stepOf = map[string]string{"attendance_missing": "visit", "signer_not_present": "visit", "safe_work_missing": "safe_work", "safe_work_late": "safe_work", "passed_though_stopped": "safe_work",
	"function_test_missing": "function_test", "function_test_failed": "function_test", "passed_while_unsafe": "finding", "photos_missing": "photo", "facts_missing": "facts", "nothing_judged": "facts",
	"certificate_missing": "certificate", "certificate_expired": "certificate", "certificate_of_other_kind": "certificate"}

// listArgs are the arguments of faults that name many things at once.
var listArgs = []string{"readings", "facts", "rules", "tests"}

// wants splits a refusal into the things that it names, each with the station where it is put right.
func (form *InspectionForm) wants(w writer, refused *fault.Error) (wants []Want) {
	for i := 0; i+1 < len(refused.Args); i += 2 {
		kind, _ := refused.Args[i].(string)
		if !slices.Contains(listArgs, kind) {
			continue
		}
		names, _ := refused.Args[i+1].(string)
		for _, name := range form.placed(refused, strings.Split(names, ", ")) {
			one := *refused
			one.Args = slices.Clone(refused.Args)
			one.Args[i+1] = name
			want := Want{Fault: &one, Name: name, Title: name, Step: stepOf[refused.Code]}
			form.locate(w, kind, &want)
			wants = append(wants, want)
		}
		return wants
	}
	want := Want{Fault: refused, Step: stepOf[refused.Code]}
	if id, is := argumentOf(refused, "finding"); is { // the finding in its words, and not by its id
		for _, e := range form.Entries {
			if e.EntryID.String() == id && e.Body.Finding != nil {
				want.Title = e.Body.Finding.What
			}
		}
	}
	return []Want{want}
}

// placed names a reading that was taken nowhere at each place where the form asks for it.
func (form *InspectionForm) placed(refused *fault.Error, names []string) (list []string) {
	for _, name := range names {
		var open []string
		for _, at := range form.places() {
			if refused.Code == "readings_missing" && at.kind.Name == name && !at.Said() {
				open = append(open, name+EntryReading{Leaf: at.Leaf, Side: string(at.Side)}.spot())
			}
		}
		if open == nil {
			open = []string{name}
		}
		list = append(list, open...)
	}
	return list
}

// argumentOf is the argument of a fault by its name.
func argumentOf(e *fault.Error, name string) (string, bool) {
	for i := 0; i+1 < len(e.Args); i += 2 {
		if e.Args[i] == name {
			text, is := e.Args[i+1].(string)
			return text, is
		}
	}
	return "", false
}

// placed reads a name with its place as faults write it: closing_force_n[leaf=2 side=a] (Gauge).
var placed = regexp.MustCompile(`^([\w.]+)(?:\[(?:leaf=(\d))? ?(?:side=(a|b))?\])?(?: \(.*\))?$`)

// locate finds the station of a reading or of a rule's first reading, and says the name in words.
func (form *InspectionForm) locate(w writer, kind string, want *Want) {
	switch kind {
	case "tests":
		want.Title = w.texts.Enum("function_test", want.Name)
		return
	case "facts":
		want.Title = w.gap(rulebook.Gap{Name: want.Name, Problem: rulebook.Missing})
		return
	case "readings":
		m := placed.FindStringSubmatch(want.Name)
		if m == nil {
			return
		}
		want.Name, want.Side = m[1], rulebook.Side(m[3])
		if m[2] != "" {
			want.Leaf = int(m[2][0] - '0')
		}
	}
	for _, s := range form.Stations {
		for _, item := range s.Items {
			rule := slices.IndexFunc(item.Rules, func(r FormRule) bool { return kind == "rules" && r.Rule.ID == want.Name })
			if rule < 0 && (kind != "readings" || item.Kind.Name != want.Name) || s.Side != "" && want.Side != "" && s.Side != want.Side {
				continue
			}
			want.Title = KindTitle(w.texts, item.Kind)
			if rule >= 0 {
				want.Title = item.Rules[rule].Rule.Title
			}
			want.Station = s.Station
			if s.Side != "" {
				want.Side = s.Side
			}
			if want.Fault.Code == "as_left_missing" {
				want.ChangedAt = item.changedAt(want.Place)
			}
			return
		}
	}
	for _, r := range form.FromFacts {
		if kind == "rules" && r.Rule.ID == want.Name {
			want.Title, want.Step = r.Rule.Title, "facts"
			return
		}
	}
	if kind == "readings" {
		want.Title = ReadingTitle(w.texts, want.Name, "")
		return
	}
	for _, p := range form.Packs { // of a rule that the form asks nothing for, as long as a fact is wanting
		for _, r := range p.Rules {
			if kind == "rules" && r.ID == want.Name {
				want.Title, want.Step = r.Title, "facts"
				return
			}
		}
	}
}

// changedAt is when something was changed on which a reading at a place depends, and which was not read again since.
func (i FormItem) changedAt(at rulebook.Place) (since time.Time) {
	for _, p := range i.Places {
		for _, r := range p.Entered {
			if r.Stale && p.Place == at {
				since = r.ChangedAt
			}
		}
	}
	return since
}
