package fleet

import (
	"encoding/binary"
	"fmt"
	"io"
	"math/rand/v2"
	"reflect"
	"slices"
	"testing"
	"time"

	"github.com/google/uuid"
	"pgregory.net/rapid"

	"lintel.example/lintel/internal/fault"
)

// minute is an instant of the day on which the entries of these tests are observed.
func minute(m int) time.Time { return time.Date(2026, 3, 3, 9, m, 0, 0, time.UTC) }

// named makes an id that is the same in every run. Ids grow with n.
func named(kind byte, n int) (id uuid.UUID) {
	binary.BigEndian.PutUint64(id[8:], uint64(n))
	id[0], id[6], id[8] = kind, 0x70, 0x80
	return id
}

func entry(n, visit, at int, body EntryBody) Entry {
	e := Entry{DoorID: named('d', 1), VisitID: named('v', visit), EntryID: named('e', n), ObservedAt: minute(at), ReceivedAt: minute(50), Body: body}
	e.Body.DoorID, e.Body.ObservedAt = e.DoorID, e.ObservedAt
	return e
}

func finding(severity, what string) EntryBody {
	return EntryBody{Kind: "finding", Finding: &EntryFinding{Severity: severity, What: what}}
}

func securing(how, answer string) EntryBody {
	kept := true
	return EntryBody{Kind: "securing", Securing: &EntrySecuring{How: how, EgressKept: &kept, ToldName: "Rosa Imhof", Answer: answer}}
}

func mending(n int) EntryBody {
	return EntryBody{Kind: "mending", Mending: &EntryMending{FindingID: named('e', n), What: "mended"}}
}

func reading(force float64) EntryBody {
	return EntryBody{Kind: "reading", Reading: &EntryReading{Name: "closing_force_n", Value: &force}}
}

func conclusion(result string) EntryBody {
	return EntryBody{Kind: "conclusion", Conclusion: &EntryConclusion{Result: result}}
}

func (e Entry) signed() Entry { e.Signed = true; return e }

func (e Entry) correcting(n int) Entry {
	id := named('e', n)
	e.Body.Corrects = &id
	return e
}

// told writes what follows from entries in one line a thing.
func (c consequences) told() (lines []string) {
	for _, f := range c.findings {
		lines = append(lines, fmt.Sprintf("finding %d %s %s", f.FindingID[15], f.Severity, f.State))
	}
	for _, k := range c.cases {
		line := fmt.Sprintf("case %d %s %s", k.CaseID[15], k.State, k.SecuredHow)
		if k.Refused {
			line += " refused"
		}
		lines = append(lines, line)
	}
	for _, r := range c.repairs {
		lines = append(lines, fmt.Sprintf("repair of %d %s due %s done %s", r.VisitID[15], r.State, r.DueOn, r.DoneOn))
	}
	for _, k := range c.completions {
		lines = append(lines, fmt.Sprintf("completed %s by %d", k.Day, k.VisitID[15]))
	}
	return lines
}

func TestWhatFollowsFromEntries(t *testing.T) {
	unsafe := entry(1, 1, 10, finding("unsafe", "closes on people"))
	for name, c := range map[string]struct {
		entries []Entry
		want    []string
	}{
		"nothing": {nil, nil},
		"an unsafe finding opens a case at once, before anything is signed": {
			[]Entry{unsafe},
			[]string{"finding 1 unsafe open", "case 1 unsecured ", "repair of 1 open due 2026-03-03 done "}},
		"only what a person records shows a door as secured": {
			[]Entry{unsafe, entry(2, 1, 12, securing("locked_open", "acknowledged"))},
			[]string{"finding 1 unsafe open", "case 1 secured locked_open", "repair of 1 open due 2026-03-03 done "}},
		"what was secured before is not": {
			[]Entry{unsafe, entry(2, 1, 8, securing("locked_open", "acknowledged"))},
			[]string{"finding 1 unsafe open", "case 1 unsecured ", "repair of 1 open due 2026-03-03 done "}},
		"somebody undoes it": {
			[]Entry{unsafe, entry(2, 1, 12, securing("barriered", "acknowledged")), entry(3, 1, 14, securing("not_secured", "refused"))},
			[]string{"finding 1 unsafe open", "case 1 unsecured  refused", "repair of 1 open due 2026-03-03 done "}},
		"mended is not yet passed": {
			[]Entry{unsafe, entry(2, 1, 12, securing("operator_off", "acknowledged")), entry(3, 2, 20, mending(1)).signed()},
			[]string{"finding 1 unsafe mended", "case 1 secured operator_off", "repair of 1 done due 2026-03-03 done 2026-03-03"}},
		"passed is not yet signed": {
			[]Entry{unsafe, entry(3, 2, 20, mending(1)), entry(4, 2, 30, conclusion("passed"))},
			[]string{"finding 1 unsafe mended", "case 1 unsecured ", "repair of 1 done due 2026-03-03 done 2026-03-03"}},
		"a passed re-inspection ends the case": {
			[]Entry{unsafe, entry(3, 2, 20, mending(1)), entry(4, 2, 30, conclusion("passed")).signed()},
			[]string{"finding 1 unsafe mended", "case 1 ended ", "repair of 1 done due 2026-03-03 done 2026-03-03", "completed 2026-03-03 by 2"}},
		"a passed re-inspection finds no more what nobody says was mended": {
			[]Entry{unsafe, entry(3, 2, 20, reading(90)), entry(4, 2, 30, conclusion("passed")).signed()},
			[]string{"finding 1 unsafe cleared", "case 1 ended ", "repair of 1 done due 2026-03-03 done 2026-03-03", "completed 2026-03-03 by 2"}},
		"one whose readings were taken before the finding of another visit ends nothing": {
			[]Entry{entry(3, 2, 5, reading(90)), unsafe, entry(5, 2, 25, reading(90)), entry(4, 2, 30, conclusion("passed")).signed()},
			[]string{"finding 1 unsafe open", "case 1 unsecured ", "repair of 1 open due 2026-03-03 done ", "completed 2026-03-03 by 2"}},
		"within one visit it knows of the finding": {
			[]Entry{entry(3, 1, 5, reading(90)), unsafe, entry(2, 1, 12, mending(1)), entry(4, 1, 30, conclusion("passed")).signed()},
			[]string{"finding 1 unsafe mended", "case 1 ended ", "repair of 1 done due 2026-03-03 done 2026-03-03", "completed 2026-03-03 by 1"}},
		"two entries cannot take each other back": {
			[]Entry{entry(1, 1, 10, finding("deficient", "label gone")).correcting(2), entry(2, 1, 11, finding("deficient", "label torn")).correcting(1)},
			[]string{"finding 1 deficient withdrawn", "finding 2 deficient open", "repair of 1 open due 2026-03-31 done "}},
		"a failed one does not": {
			[]Entry{unsafe, entry(4, 2, 30, conclusion("failed")).signed()},
			[]string{"finding 1 unsafe open", "case 1 unsecured ", "repair of 1 open due 2026-03-03 done ", "completed 2026-03-03 by 2"}},
		"nor one that was before the finding, however late that arrives": {
			[]Entry{unsafe, entry(4, 2, 5, conclusion("passed")).signed()},
			[]string{"finding 1 unsafe open", "case 1 unsecured ", "repair of 1 open due 2026-03-03 done ", "completed 2026-03-03 by 2"}},
		"a passed inspection mends nothing that is merely deficient": {
			[]Entry{entry(1, 1, 10, finding("deficient", "label gone")), entry(4, 2, 30, conclusion("passed")).signed()},
			[]string{"finding 1 deficient open", "repair of 1 open due 2026-03-31 done ", "completed 2026-03-03 by 2"}},
		"an advisory asks for no repair": {
			[]Entry{entry(1, 1, 10, finding("advisory", "worn seal"))},
			[]string{"finding 1 advisory open"}},
		"one repair a visit, as pressing as its worst finding, open until all are mended": {
			[]Entry{entry(1, 1, 10, finding("deficient", "label gone")), entry(2, 1, 11, finding("unsafe", "closes on people")), entry(3, 2, 20, mending(2))},
			[]string{"finding 1 deficient open", "finding 2 unsafe mended", "case 2 unsecured ", "repair of 1 open due 2026-03-03 done "}},
		"a correction withdraws a finding, and what it asked for": {
			[]Entry{entry(1, 1, 10, finding("deficient", "label gone")), entry(2, 1, 11, EntryBody{Kind: "note", Note: &EntryNote{Text: "it was behind a poster"}}).correcting(1)},
			[]string{"finding 1 deficient withdrawn", "repair of 1 cancelled due 2026-03-31 done "}},
		"a withdrawn finding no longer presses": {
			[]Entry{unsafe, entry(2, 1, 11, finding("deficient", "closes slowly")).correcting(1), entry(3, 2, 20, conclusion("passed")).signed()},
			[]string{"finding 1 unsafe withdrawn", "finding 2 deficient open", "case 1 ended ", "repair of 1 open due 2026-03-31 done ", "completed 2026-03-03 by 2"}},
		"a door that was called unsafe is not made safe by a correction": {
			[]Entry{unsafe, entry(2, 1, 11, finding("advisory", "only slow")).correcting(1)},
			[]string{"finding 1 unsafe withdrawn", "finding 2 advisory open", "case 1 unsecured ", "repair of 1 cancelled due 2026-03-03 done "}},
		"a corrected conclusion ends nothing": {
			[]Entry{unsafe, entry(3, 2, 20, conclusion("passed")).signed(), entry(4, 3, 40, conclusion("failed")).signed().correcting(3)},
			[]string{"finding 1 unsafe open", "case 1 unsecured ", "repair of 1 open due 2026-03-03 done ", "completed 2026-03-03 by 3"}},
		"a correction of a correction brings nothing back": {
			[]Entry{unsafe, entry(3, 2, 20, conclusion("passed")).signed(), entry(4, 2, 21, conclusion("passed")).signed().correcting(3), entry(5, 3, 40, conclusion("failed")).signed().correcting(4)},
			[]string{"finding 1 unsafe open", "case 1 unsecured ", "repair of 1 open due 2026-03-03 done ", "completed 2026-03-03 by 3"}},
	} {
		t.Run(name, func(t *testing.T) {
			if got := consequencesOf(c.entries, time.UTC).told(); !slices.Equal(got, c.want) {
				t.Errorf("got\n%q\nwant\n%q", got, c.want)
			}
		})
	}
}

func TestDaysAreThoseOfTheSite(t *testing.T) {
	zone, err := time.LoadLocation("America/Los_Angeles")
	if err != nil {
		t.Fatal(err)
	}
	e := entry(1, 1, 0, conclusion("passed")).signed()
	e.ObservedAt = time.Date(2026, 3, 4, 3, 0, 0, 0, time.UTC) // the evening before on the west coast
	if got := consequencesOf([]Entry{e}, zone).told(); !slices.Equal(got, []string{"completed 2026-03-03 by 1"}) {
		t.Errorf("got %q", got)
	}
}

// anyEntries draws entries of three visits to one door with corrections, mendings, securings and conclusions that hit
// and miss, some at one instant, some of them signed off.
func anyEntries() *rapid.Generator[[]Entry] {
	return rapid.Custom(func(t *rapid.T) []Entry {
		count := rapid.IntRange(0, 16).Draw(t, "count")
		signed := [4]bool{}
		for v := 1; v <= 3; v++ {
			signed[v] = rapid.Bool().Draw(t, fmt.Sprintf("visit %d signed", v))
		}
		entries := make([]Entry, count)
		for i := range entries {
			visit := rapid.IntRange(1, 3).Draw(t, "visit")
			e := entry(i+1, visit, rapid.IntRange(0, 12).Draw(t, "minute"), anyBody(count).Draw(t, "body"))
			if rapid.IntRange(0, 3).Draw(t, "is a correction") == 0 {
				e = e.correcting(rapid.IntRange(1, count+1).Draw(t, "corrects"))
			}
			e.Signed = signed[visit]
			entries[i] = e
		}
		return entries
	})
}

func anyBody(count int) *rapid.Generator[EntryBody] {
	return rapid.Custom(func(t *rapid.T) EntryBody {
		switch rapid.IntRange(0, 8).Draw(t, "kind") {
		case 0:
			return ofRule("6.2", finding("unsafe", "closes on people"))
		case 1:
			return finding(rapid.SampledFrom([]string{"deficient", "advisory"}).Draw(t, "severity"), "label gone")
		case 2:
			return securing(rapid.SampledFrom([]string{"operator_off", "locked_open", "not_secured"}).Draw(t, "how"), rapid.SampledFrom([]string{"acknowledged", "refused"}).Draw(t, "answer"))
		case 3:
			return mending(rapid.IntRange(1, count+1).Draw(t, "mends"))
		case 4:
			return conclusion(rapid.SampledFrom([]string{"passed", "failed"}).Draw(t, "result"))
		case 5:
			return reading(90)
		case 6:
			return decision(rapid.SampledFrom([]string{"mended", "quoted", "declined", "deferred"}).Draw(t, "decided"), rapid.IntRange(1, count+1).Draw(t, "decided on"))
		case 7:
			return dismissal(rapid.IntRange(1, count+1).Draw(t, "dismisses"))
		}
		return EntryBody{Kind: "note", Note: &EntryNote{Text: "called at the desk"}}
	})
}

func shuffled(t *rapid.T, entries []Entry) []Entry {
	order := slices.Clone(entries)
	seed := rapid.Uint64().Draw(t, "order")
	rand.New(rand.NewPCG(seed, 1)).Shuffle(len(order), func(i, j int) { order[i], order[j] = order[j], order[i] })
	return order
}

func TestTheOrderOfArrivalDoesNotMatter(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		entries := anyEntries().Draw(t, "entries")
		inOneOrder, inAnother := consequencesOf(entries, time.UTC), consequencesOf(shuffled(t, entries), time.UTC)
		if !reflect.DeepEqual(inOneOrder, inAnother) {
			t.Fatalf("\n%q\nand\n%q", inOneOrder.told(), inAnother.told())
		}
	})
}

func TestOnlyAPersonSecuresADoorAndOnlyAPassedReinspectionEndsACase(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		entries := anyEntries().Draw(t, "entries")
		byID := map[uuid.UUID]Entry{}
		for _, e := range entries {
			byID[e.EntryID] = e
		}
		unsafe := 0
		for _, e := range entries {
			if e.Body.Finding != nil && e.Body.Finding.Severity == "unsafe" {
				unsafe++
			}
		}
		cases := consequencesOf(entries, time.UTC).cases
		if len(cases) != unsafe {
			t.Fatalf("%d unsafe findings, %d cases", unsafe, len(cases))
		}
		for _, c := range cases {
			if c.State == "secured" {
				by, ok := byID[*c.SecuringEntry]
				if !ok || by.Body.Securing == nil || by.Body.Securing.How == "not_secured" || !after(byID[c.CaseID], by) {
					t.Fatalf("case %s is secured by %+v", c.CaseID, by)
				}
			}
			if c.State == "ended" {
				by, ok := byID[*c.EndedByEntry]
				if !ok || by.Body.Conclusion == nil || by.Body.Conclusion.Result != "passed" || !by.Signed || !after(byID[c.CaseID], by) {
					t.Fatalf("case %s is ended by %+v", c.CaseID, by)
				}
				for _, e := range live(entries) {
					if e.VisitID == by.VisitID && e.VisitID != byID[c.CaseID].VisitID && e.Body.Reading != nil && after(e, byID[c.CaseID]) {
						t.Fatalf("case %s is ended by an inspection that began with %+v", c.CaseID, e)
					}
				}
			}
		}
	})
}

// A late upload goes between and reopens nothing: what is older than the end of a case leaves the case ended, unless
// it says that the end itself was wrong.
func TestWhatArrivesLateReopensNothing(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		entries := anyEntries().Draw(t, "entries")
		late := entry(100, 9, rapid.IntRange(0, 12).Draw(t, "late"), anyBody(len(entries)).Draw(t, "late body"))
		then := map[uuid.UUID]OutOfServiceCase{}
		for _, c := range consequencesOf(append(slices.Clone(entries), late), time.UTC).cases {
			then[c.CaseID] = c
		}
		for _, c := range consequencesOf(entries, time.UTC).cases {
			if c.State == "ended" && then[c.CaseID].State != "ended" {
				t.Fatalf("case %s was reopened by %+v", c.CaseID, late)
			}
		}
	})
}

func TestANoteChangesNothing(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		entries := anyEntries().Draw(t, "entries")
		note := entry(100, 1, rapid.IntRange(0, 12).Draw(t, "minute"), EntryBody{Kind: "note", Note: &EntryNote{Text: "called at the desk"}})
		if note.Body.decides() {
			t.Fatal("a note is said to decide something")
		}
		before, since := consequencesOf(entries, time.UTC), consequencesOf(append(slices.Clone(entries), note), time.UTC)
		if !reflect.DeepEqual(before, since) {
			t.Fatalf("\n%q\nand\n%q", before.told(), since.told())
		}
	})
}

// A device keeps what was refused for good and sends again what was not: a database that is away must not be taken for
// a door that is not there.
func TestOnlyWhatIsNotThereBecomesAFaultOfTheBody(t *testing.T) {
	of := fault.At("/door_id", "door_not_found")
	away := fmt.Errorf("door_by_id: %w", io.ErrUnexpectedEOF)
	for _, other := range []error{nil, away, fault.New(fault.Unavailable, "database_unavailable")} {
		if got := instead(other, of); got != other {
			t.Errorf("%v became %v", other, got)
		}
	}
	got := instead(fault.New(fault.NotFound, "door_not_found"), of)
	if f := fault.Of(got); len(f) != 1 || f[0].Kind != fault.Invalid || f[0].Pointer != "/door_id" {
		t.Errorf("got %v", got)
	}
}
