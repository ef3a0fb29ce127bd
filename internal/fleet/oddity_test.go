package fleet

import (
	"reflect"
	"slices"
	"testing"
	"time"

	"github.com/google/uuid"
	"pgregory.net/rapid"
)

// rounds is a visit that reads two numbers at each of some doors, and the visit of the year before; equal: at how many doors
// both read the same.
func rounds(doors, equal int) (visit []Entry, byDoor map[uuid.UUID][]Entry) {
	byDoor = map[uuid.UUID][]Entry{}
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
			now.DoorID, then.DoorID = named('d', d), named('d', d)
			visit, byDoor[now.DoorID] = append(visit, now), append(byDoor[now.DoorID], then, now)
		}
	}
	return visit, byDoor
}

func kinds(list []Oddity) (out []string) {
	for _, d := range list {
		out = append(out, d.Kind)
	}
	return out
}

func TestEntriesRaiseAQuestionOnlyBeyondWhatHappensInGoodWork(t *testing.T) {
	arrived := &Attendance{ArrivedAt: minute(0)}
	for name, c := range map[string]struct {
		doors, equal int
		left         time.Time
		change       func(*Entry)
		want         []string
	}{
		"good work": {12, 9, minute(50), nil, nil},
		"the same numbers as last year at ten doors":  {12, 10, minute(50), nil, []string{"same_readings"}},
		"24 readings in three minutes":                {12, 0, minute(3), nil, []string{"short_visit", "outside_the_visit"}},
		"24 readings in four minutes":                 {12, 0, minute(4), nil, []string{"outside_the_visit"}},
		"18 readings in two minutes":                  {9, 9, minute(2), nil, []string{"outside_the_visit"}},
		"not signed off: nobody knows when they left": {12, 0, time.Time{}, nil, nil},
		"before the arrival":                          {2, 0, minute(50), func(e *Entry) { e.ObservedAt = minute(-6) }, []string{"outside_the_visit"}},
		"by another clock":                            {2, 0, minute(50), func(e *Entry) { e.ObservedAt = minute(-5) }, nil},
		"received after eight days":                   {2, 0, minute(50), func(e *Entry) { e.ReceivedAt = e.ObservedAt.AddDate(0, 0, 8) }, []string{"received_late"}},
		"received after seven days":                   {2, 0, minute(50), func(e *Entry) { e.ReceivedAt = e.ObservedAt.AddDate(0, 0, 7) }, nil},
	} {
		t.Run(name, func(t *testing.T) {
			visit, byDoor := rounds(c.doors, c.equal)
			if c.change != nil {
				c.change(&visit[0])
			}
			if got := kinds(odditiesOf(arrived, c.left, visit, byDoor)); !slices.Equal(got, c.want) {
				t.Errorf("got %q, want %q", got, c.want)
			}
		})
	}
}

func TestAnOddityTellsHowManyOfHowManyAndWhere(t *testing.T) {
	visit, byDoor := rounds(12, 11)
	list := odditiesOf(&Attendance{ArrivedAt: minute(0)}, minute(50), visit, byDoor)
	if len(list) != 1 || len(list[0].Doors) != 11 || len(list[0].Entries) != 22 || list[0].Of != 24 {
		t.Errorf("%+v", list)
	}
}

func TestTheSameOdditiesInAnyOrderOfArrival(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		visit, byDoor := rounds(12, rapid.IntRange(8, 12).Draw(t, "equal"))
		left := minute(rapid.IntRange(1, 30).Draw(t, "left"))
		mixed := map[uuid.UUID][]Entry{}
		for d, list := range byDoor {
			mixed[d] = slices.Clone(list)
			slices.Reverse(mixed[d])
		}
		a := &Attendance{ArrivedAt: minute(0)}
		if one, other := odditiesOf(a, left, visit, byDoor), odditiesOf(a, left, shuffled(t, visit), mixed); !reflect.DeepEqual(one, other) {
			t.Fatalf("%+v\nand\n%+v", one, other)
		}
	})
}
