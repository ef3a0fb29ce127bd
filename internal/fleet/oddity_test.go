package fleet

import (
	"fmt"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"
	"pgregory.net/rapid"

	"lintel.example/lintel/internal/seal"
	"lintel.example/lintel/internal/words"
)

// rounds is a visit that reads two numbers at each of some doors, and what the inspections of the year before read there; equal: at
// how many doors both read the same.
func rounds(doors, equal int) questioned {
	signer := named('p', 1)
	q := questioned{visit: Visit{VisitID: named('v', 2), SiteID: named('s', 1), Attendance: &Attendance{ArrivedAt: minute(0), People: []uuid.UUID{signer}}, SignedBy: &signer},
		left: minute(50), zone: time.UTC}
	for d := range doors {
		for k, name := range []string{"closing_force_n", "closing_time_s"} {
			value := float64(90 + d + k)
			now := entry(100+2*d+k, 2, 5+d, EntryBody{Kind: "reading", Reading: &EntryReading{Name: name, Value: &value}})
			lastYear := value
			if d >= equal && k == 1 {
				lastYear += 0.1
			}
			then := entry(1000+2*d+k, 1, 5+d, EntryBody{Kind: "reading", Reading: &EntryReading{Name: name, Value: &lastYear}})
			then.ObservedAt = now.ObservedAt.AddDate(-1, 0, 0)
			now.DoorID, then.DoorID, now.RecordedBy = named('d', d), named('d', d), signer
			q.entries, q.lastYear = append(q.entries, now), append(q.lastYear, then)
		}
	}
	return q
}

func kinds(list []Oddity) (out []string) {
	for _, d := range list {
		out = append(out, d.Kind)
	}
	return out
}

func TestEntriesRaiseAQuestionOnlyBeyondWhatHappensInGoodWork(t *testing.T) {
	photo := seal.HashOf([]byte("the operator's cover"))
	pictured := func(q *questioned) {
		q.entries[0].Body = EntryBody{Kind: "photo", Photo: &EntryPhoto{SHA256: photo}}
	}
	other := func(site, first, last int) func(*questioned) {
		return func(q *questioned) {
			q.beside = []Spell{{VisitID: named('v', 3), SiteID: named('s', site), PersonID: named('p', 1), First: minute(first), Last: minute(last)}}
		}
	}
	for name, c := range map[string]struct {
		doors, equal int
		change       func(*questioned)
		want         []string
	}{
		"good work": {12, 9, nil, nil},
		"the same numbers as last year at ten doors":    {12, 10, nil, []string{"same_readings"}},
		"at nine doors here and one at another visit":   {12, 9, alikeBeside(12), []string{"same_readings"}},
		"at nine doors here and one of them seen twice": {12, 9, alikeBeside(8), nil},
		"at another visit only":                         {12, 0, alikeBeside(20, 21, 22, 23, 24, 25, 26, 27, 28, 29), nil},
		"widths, which are built":                       {12, 12, built, nil},
		"at ten doors by two people": {12, 10, func(q *questioned) {
			for i := range 6 {
				q.entries[i].RecordedBy = named('p', 2)
			}
		}, nil},
		"24 readings in three minutes":         {12, 0, func(q *questioned) { q.left = minute(3) }, []string{"short_visit", "after_leaving"}},
		"24 readings in three minutes by two":  {12, 0, func(q *questioned) { q.left, q.visit.Attendance.People = minute(3), make([]uuid.UUID, 2) }, []string{"after_leaving"}},
		"24 readings in four minutes":          {12, 0, func(q *questioned) { q.left = minute(4) }, []string{"after_leaving"}},
		"18 readings in two minutes":           {9, 9, func(q *questioned) { q.left = minute(2) }, []string{"after_leaving"}},
		"before the arrival":                   {2, 0, func(q *questioned) { q.entries[0].ObservedAt = minute(-6) }, []string{"before_arrival"}},
		"by another clock":                     {2, 0, func(q *questioned) { q.entries[0].ObservedAt = minute(-5) }, nil},
		"received after eight days":            {2, 0, func(q *questioned) { q.entries[0].ReceivedAt = minute(5).AddDate(0, 0, 8) }, []string{"received_late"}},
		"received after seven days":            {2, 0, func(q *questioned) { q.entries[0].ReceivedAt = minute(5).AddDate(0, 0, 7) }, nil},
		"received three minutes before":        {2, 0, func(q *questioned) { q.entries[0].ReceivedAt = minute(2) }, []string{"clock_ahead"}},
		"received two minutes before":          {2, 0, func(q *questioned) { q.entries[0].ReceivedAt = minute(3) }, nil},
		"at another site meanwhile":            {12, 0, other(2, 7, 30), []string{"elsewhere_meanwhile"}},
		"at another site afterwards":           {12, 0, other(2, 17, 30), nil},
		"another visit at the same site":       {12, 0, other(1, 7, 30), nil},
		"at another site for four minutes":     {12, 0, other(2, 7, 11), nil},
		"a photo of its own":                   {2, 0, pictured, nil},
		"a photo that an earlier visit named":  {2, 0, func(q *questioned) { pictured(q); q.photos = []PhotoUse{{photo, named('v', 1), minute(-60)}} }, []string{"same_photo"}},
		"a photo that a later visit will name": {2, 0, func(q *questioned) { pictured(q); q.photos = []PhotoUse{{photo, named('v', 4), minute(60)}} }, nil},
		"what was corrected counts no more": {2, 0, func(q *questioned) {
			q.entries[0].ObservedAt = minute(-6)
			right := entry(900, 2, 9, q.entries[0].Body)
			right.DoorID, right.Body.Corrects, right.RecordedBy = q.entries[0].DoorID, &q.entries[0].EntryID, named('p', 1)
			q.entries = append(q.entries, right)
		}, nil},
	} {
		t.Run(name, func(t *testing.T) {
			q := rounds(c.doors, c.equal)
			if c.change != nil {
				c.change(&q)
			}
			if got := kinds(odditiesOf(q)); !slices.Equal(got, c.want) {
				t.Errorf("got %q, want %q", got, c.want)
			}
		})
	}
}

// alikeBeside has other visits of the day read at these doors what was read there the year before.
func alikeBeside(doors ...int) func(*questioned) {
	return func(q *questioned) {
		q.sameBeside = map[personDay][]uuid.UUID{}
		for _, d := range doors {
			day := q.dayOf(q.entries[0])
			q.sameBeside[day] = append(q.sameBeside[day], named('d', d))
		}
	}
}

// built makes widths of what was read.
func built(q *questioned) {
	for _, list := range [][]Entry{q.entries, q.lastYear} {
		for i := range list {
			r := *list[i].Body.Reading
			r.Name, r.Leaf = "threshold_height_m", i%2
			list[i].Body.Reading = &r
		}
	}
}

func TestAnOddityTellsHowManyOfHowManyAndWhere(t *testing.T) {
	q := rounds(12, 11)
	alikeBeside(30, 31)(&q)
	list := odditiesOf(q)
	if len(list) != 1 || len(list[0].Doors) != 11 || len(list[0].Entries) != 22 || list[0].LookedAt != 24 || list[0].DoorsOfDay != 13 {
		t.Fatalf("%+v", list)
	}
	if !slices.Equal(list[0].OtherVisits, []uuid.UUID{named('v', 1)}) || list[0].PersonID != named('p', 1) || list[0].Day.String() != "2026-03-03" {
		t.Errorf("%+v", list[0])
	}
	catalogue, err := words.Load()
	if err != nil {
		t.Fatal(err)
	}
	if got, want := list[0].Says(catalogue.Printer("en", words.Metric)), "At 11 doors of this visit all 22 numbers that were read are, to the last digit, the same as about a year before; on this day that is so at 13 doors."; got != want {
		t.Errorf("it says %q, want %q", got, want)
	}
}

func TestEveryOddityIsToldInOneSentenceWithAllItsNumbersAndSomethingToCheck(t *testing.T) {
	catalogue, err := words.Load()
	if err != nil {
		t.Fatal(err)
	}
	texts := catalogue.Printer("en", words.Metric)
	for _, kind := range OddityKinds() {
		for _, count := range []int{1, 2} {
			o := Oddity{Kind: kind, Entries: make([]uuid.UUID, count), Doors: make([]uuid.UUID, 11), DoorsOfDay: 12, LookedAt: 40, Took: 3 * time.Hour}
			for _, text := range []string{o.Says(texts), texts.T("oddity." + kind + ".check"), texts.Enum("oddity_kind", kind)} {
				if strings.ContainsAny(text, "⟦⟧") || text == "" {
					t.Errorf("%s: %q", kind, text)
				}
			}
			if says := o.Says(texts); strings.Count(says, ".") != 1 || !strings.HasSuffix(says, ".") {
				t.Errorf("%s is not told in one sentence: %q", kind, says)
			}
		}
	}
	for d, want := range map[time.Duration]string{0: "0 seconds", time.Second: "1 second", 119 * time.Second: "119 seconds", 2 * time.Minute: "2 minutes", 119 * time.Minute: "119 minutes",
		47 * time.Hour: "47 hours", 48 * time.Hour: "2 days", 8*24*time.Hour + time.Hour: "8 days"} {
		if got := durationText(texts, d); got != want {
			t.Errorf("%v is told as %q, want %q", d, got, want)
		}
	}
}

func TestTheSameOdditiesInAnyOrderOfArrival(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		q := rounds(12, rapid.IntRange(8, 12).Draw(t, "equal"))
		q.left = minute(rapid.IntRange(1, 30).Draw(t, "left"))
		people := rapid.SliceOfN(rapid.IntRange(1, 2), len(q.entries), len(q.entries)).Draw(t, "people")
		for i := range q.entries {
			q.entries[i].RecordedBy = named('p', people[i])
			q.entries[i].ReceivedAt = minute(rapid.IntRange(-20, 30000).Draw(t, "received"))
		}
		for i := range rapid.IntRange(0, 3).Draw(t, "beside") {
			first := rapid.IntRange(-20, 40).Draw(t, "first")
			q.beside = append(q.beside, Spell{VisitID: named('v', 10+i), SiteID: named('s', rapid.IntRange(1, 2).Draw(t, "site")), PersonID: named('p', 1), First: minute(first), Last: minute(first + 20)})
		}
		mixed := q
		mixed.entries, mixed.lastYear, mixed.beside = shuffled(t, q.entries), shuffled(t, q.lastYear), slices.Clone(q.beside)
		slices.Reverse(mixed.beside)
		one, other := odditiesOf(q), odditiesOf(mixed)
		if !reflect.DeepEqual(one, other) {
			t.Fatalf("%+v\nand\n%+v", one, other)
		}
		ids := map[uuid.UUID]string{}
		for _, o := range one {
			what := fmt.Sprint(o.Kind, o.Day, o.PersonID)
			if before, taken := ids[o.OddityID]; taken {
				t.Fatalf("%s and %s have one id", before, what)
			}
			ids[o.OddityID] = what
			if len(o.Entries) > o.LookedAt || len(o.Doors) > len(o.Entries) || o.Took < 0 {
				t.Fatalf("numbers that the database refuses: %+v", o)
			}
		}
	})
}
