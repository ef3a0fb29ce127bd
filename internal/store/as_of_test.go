package store_test

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"maps"
	"slices"
	"testing"
	"time"

	"github.com/google/uuid"
	"pgregory.net/rapid"

	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/fault"
	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/store"
)

// said is one version of anything: true from one moment on, known since another.
type said struct {
	id                  uuid.UUID
	effective, recorded time.Time
	intended            bool        // of a revision: planned, not seen at the door
	corrected           []time.Time // of a revision: when corrections of it became known
	elsewhere           bool        // an entry at another door, and one observed before, name it as what they correct, which counts for nothing
}

// moment is a day of one week: few, so that ties are common.
func moment(n int) time.Time { return time.Date(2026, 3, 1+n, 12, 0, 0, 0, time.UTC) }

const moments = 7

func drawMoment(rt *rapid.T, label string) time.Time {
	return moment(rapid.IntRange(0, moments-1).Draw(rt, label))
}

// history draws versions; the id of each is drawn too, so that it says nothing of their order.
func history(rt *rapid.T, label string, most int) []said {
	return rapid.SliceOfNDistinct(rapid.Custom(func(rt *rapid.T) said {
		v := said{effective: drawMoment(rt, "effective"), recorded: drawMoment(rt, "recorded"), intended: rapid.IntRange(0, 4).Draw(rt, "intended") == 0,
			elsewhere: rapid.IntRange(0, 4).Draw(rt, "elsewhere") == 0}
		copy(v.id[:], rapid.SliceOfN(rapid.Byte(), 16, 16).Draw(rt, "id"))
		for range rapid.SampledFrom([]int{0, 0, 0, 1, 2}).Draw(rt, "corrections") {
			v.corrected = append(v.corrected, drawMoment(rt, "corrected"))
		}
		return v
	}), 1, most, func(v said) uuid.UUID { return v.id }).Draw(rt, label)
}

// drawAsOf draws two times at which to ask; the zero time is now.
func drawAsOf(rt *rapid.T) fleet.AsOf {
	at := func(label string) time.Time {
		n := rapid.IntRange(-1, moments).Draw(rt, label)
		if n == moments {
			return time.Time{}
		}
		return moment(n)
	}
	return fleet.AsOf{Effective: at("as of effective"), Recorded: at("as of recorded")}
}

func reached(t, bound time.Time) bool { return bound.IsZero() || !t.After(bound) }

// holding is what the words say, without SQL: of what was known by then, the last that had become true by then.
// Of two at one moment later tells which one holds; nothing may hold.
func holding(all []said, asOf fleet.AsOf, counts func(said) bool, later func(a, b said) int) uuid.UUID {
	known := slices.DeleteFunc(slices.Clone(all), func(v said) bool {
		return !reached(v.effective, asOf.Effective) || !reached(v.recorded, asOf.Recorded) || !counts(v)
	})
	if len(known) == 0 {
		return uuid.Nil
	}
	return slices.MaxFunc(known, func(a, b said) int {
		if c := a.effective.Compare(b.effective); c != 0 {
			return c
		}
		return later(a, b)
	}).id
}

func byID(a, b said) int { return bytes.Compare(a.id[:], b.id[:]) }

// byRecording: what became known later corrects what was known before.
func byRecording(a, b said) int {
	if c := a.recorded.Compare(b.recorded); c != 0 {
		return c
	}
	return byID(a, b)
}

func every(said) bool { return true }

var errUndo = errors.New("undone")

// checkHistories runs f on what it draws, each time in a transaction of its own that leaves nothing.
func checkHistories(t *testing.T, f func(ctx context.Context, rt *rapid.T, tx fleet.Tx)) {
	t.Helper()
	db := newWorld(t)
	s := store.New(db.App, "lintel")
	rapid.Check(t, func(rt *rapid.T) {
		err := s.InTx(t.Context(), staff, func(ctx context.Context, tx fleet.Tx) error {
			f(ctx, rt, tx)
			return errUndo
		})
		if err != errUndo {
			rt.Fatal(err)
		}
	})
}

// must stops a draw at an error of the database.
func must[T any](rt *rapid.T) func(T, error) T {
	return func(v T, err error) T {
		rt.Helper()
		if err != nil {
			rt.Fatal(err)
		}
		return v
	}
}

func (v said) version(reason string) fleet.Version {
	return fleet.Version{VersionID: v.id, EffectiveAt: v.effective, RecordedAt: v.recorded, RecordedBy: staff.PersonID, Reason: reason}
}

// blankDoor is a door at a site of the world, without a version.
func blankDoor(ctx context.Context, rt *rapid.T, tx fleet.Tx) fleet.Door {
	q := fleet.UnknownQuantity()
	day := duedate.DayIn(moment(0), time.UTC)
	d := fleet.Door{DoorID: idOf("door of histories"), SiteID: idOf("site 1 1"), Tag: "99999999", Name: "Side", KnownSince: day, RecordedAt: moment(0), RecordedBy: staff.PersonID,
		Facts: fleet.DoorFacts{Kind: "sliding", Energy: "full", Traffic: "two_way", PresenceBy: "both", A: fleet.SideFacts{Label: "street", Activation: "sensor"},
			B: fleet.SideFacts{Label: "hall", Activation: "sensor"}, ClearWidthM: q, HeaderDepthM: q, OpeningTimeS: q, ClosingTimeS: q, Modes: []string{}, GuideRails: "none",
			RuleBasis: fleet.RuleBasis{PackID: "pack", Since: day, Why: "in force"},
			Leaves:    []fleet.Leaf{{Motion: "slide", Hinge: "none", OpensTowards: "left", WidthM: q, HeightM: q, MassKg: q}}}}
	if !must[bool](rt)(tx.InsertDoor(ctx, d)) {
		rt.Fatal("the door is there already")
	}
	return d
}

// A door as of two times, in whatever order its versions arrived, is what the words say that it is; and the version
// brings its own leaves along.
func TestADoorAsOfTwoTimesIsWhatWasKnownThenToBeTrueThen(t *testing.T) {
	t.Parallel()
	checkHistories(t, func(ctx context.Context, rt *rapid.T, tx fleet.Tx) {
		d := blankDoor(ctx, rt, tx)
		all := history(rt, "versions", 8)
		leaves := map[uuid.UUID]int{}
		for i, v := range all {
			d.Version = v.version("said")
			d.Facts.Leaves = slices.Repeat(d.Facts.Leaves[:1], 1+i%4)
			leaves[v.id] = len(d.Facts.Leaves)
			if err := tx.InsertDoorVersion(ctx, d); err != nil {
				rt.Fatal(err)
			}
		}
		for range 10 {
			asOf := drawAsOf(rt)
			want := holding(all, asOf, every, byRecording)
			for how, ask := range map[string]func() (fleet.Door, error){
				"by id":  func() (fleet.Door, error) { return tx.DoorByID(ctx, d.DoorID, asOf) },
				"by tag": func() (fleet.Door, error) { return tx.DoorByTag(ctx, d.Tag, asOf) },
			} {
				got, err := ask()
				switch {
				case want == uuid.Nil && !isNotFound(err):
					rt.Fatalf("%s as of %v: got %v (%v), want nothing", how, asOf, got.Version, err)
				case want != uuid.Nil && (err != nil || got.Version.VersionID != want || len(got.Facts.Leaves) != leaves[want]):
					rt.Fatalf("%s as of %v: got %v with %d leaves (%v), want %s with %d", how, asOf, got.Version, len(got.Facts.Leaves), err, want, leaves[want])
				}
			}
		}
		// The list of versions, the newest first: each holds among itself and those after it.
		list := must[[]fleet.Version](rt)(tx.DoorVersions(ctx, d.DoorID))
		left := slices.Clone(all)
		for i, v := range list {
			if want := holding(left, fleet.AsOf{}, every, byRecording); v.VersionID != want {
				rt.Fatalf("version %d of the list is %s, want %s", i, v.VersionID, want)
			}
			left = slices.DeleteFunc(left, func(l said) bool { return l.id == v.VersionID })
		}
		if len(left) > 0 {
			rt.Fatalf("%d versions are not in the list", len(left))
		}
	})
}

func TestAComponentAsOfTwoTimesIsWhatWasKnownThenToBeTrueThen(t *testing.T) {
	t.Parallel()
	checkHistories(t, func(ctx context.Context, rt *rapid.T, tx fleet.Tx) {
		d := blankDoor(ctx, rt, tx)
		histories := map[uuid.UUID][]said{}
		for _, name := range []string{"operator", "lock"} {
			c := component(ctx, rt, tx, d, name)
			histories[c.ComponentID] = history(rt, "fittings of the "+name, 6)
			for _, v := range histories[c.ComponentID] {
				c.Version = v.version(name)
				if err := tx.InsertComponentVersion(ctx, c); err != nil {
					rt.Fatal(err)
				}
			}
		}
		for range 10 {
			asOf := drawAsOf(rt)
			want := map[uuid.UUID]uuid.UUID{}
			for id, all := range histories {
				holds := holding(all, asOf, every, byRecording)
				if holds != uuid.Nil {
					want[id] = holds
				}
				if got, err := tx.ComponentByID(ctx, id, asOf); holds == uuid.Nil && !isNotFound(err) || holds != uuid.Nil && (err != nil || got.Version.VersionID != holds) {
					rt.Fatalf("as of %v: got %v (%v), want %s", asOf, got.Version, err, holds)
				}
			}
			got := map[uuid.UUID]uuid.UUID{}
			for _, c := range must[[]fleet.Component](rt)(tx.ComponentsOfDoor(ctx, d.DoorID, asOf)) {
				got[c.ComponentID] = c.Version.VersionID
			}
			if !maps.Equal(got, want) {
				rt.Fatalf("as of %v the door has %v, want %v", asOf, got, want)
			}
		}
	})
}

// Of the settings that were seen at the door the last holds, unless a later entry at the same door corrects it. Of two
// seen at one moment the order of arrival must not decide, so the id does.
func TestSettingsAsOfTwoTimesAreTheLastSeenThatNobodyHadCorrectedByThen(t *testing.T) {
	t.Parallel()
	checkHistories(t, func(ctx context.Context, rt *rapid.T, tx fleet.Tx) {
		d := blankDoor(ctx, rt, tx)
		histories := map[uuid.UUID][]said{}
		for _, name := range []string{"sensor", "activation"} {
			c := component(ctx, rt, tx, d, name)
			histories[c.ComponentID] = history(rt, "revisions of the "+name, 6)
			for _, v := range histories[c.ComponentID] {
				revise(ctx, rt, tx, d, c, v)
			}
		}
		for range 10 {
			asOf := drawAsOf(rt)
			want := map[uuid.UUID]uuid.UUID{}
			for id, all := range histories {
				holds := holding(all, asOf, func(v said) bool {
					return !v.intended && !slices.ContainsFunc(v.corrected, func(at time.Time) bool { return reached(at, asOf.Recorded) })
				}, byID)
				if holds != uuid.Nil {
					want[id] = holds
				}
			}
			got := map[uuid.UUID]uuid.UUID{}
			for _, r := range must[[]fleet.Revision](rt)(tx.PresentRevisions(ctx, d.DoorID, asOf)) {
				got[r.ComponentID] = r.RevisionID
			}
			if !maps.Equal(got, want) {
				rt.Fatalf("as of %v the door has %v, want %v", asOf, got, want)
			}
		}
	})
}

func component(ctx context.Context, rt *rapid.T, tx fleet.Tx, d fleet.Door, kind string) fleet.Component {
	c := fleet.Component{DoorID: d.DoorID, ComponentID: idOf(kind + " of histories"), Kind: kind, ModelText: kind, RecordedAt: moment(0), RecordedBy: staff.PersonID,
		Fitting: fleet.Fitting{State: "fitted", Side: "a", Input: "none", Contact: "none"}}
	if !must[bool](rt)(tx.InsertComponent(ctx, c)) {
		rt.Fatal("the component is there already")
	}
	return c
}

// revise writes a revision and the entries that name it as what they correct.
func revise(ctx context.Context, rt *rapid.T, tx fleet.Tx, d fleet.Door, c fleet.Component, v said) {
	q := fleet.UnknownQuantity()
	r := fleet.Revision{ComponentID: c.ComponentID, RevisionID: v.id, Standing: "found", EffectiveAt: v.effective, RecordedAt: v.recorded, RecordedBy: staff.PersonID, Reason: "seen",
		Device: fleet.DeviceFacts{Accessories: []uuid.UUID{}, Mount: fleet.MountFacts{HeightM: q, OffsetXM: q, OffsetYM: q, TiltDeg: q, YawDeg: q},
			Settings: fleet.Settings{ReachDB: q, MotionDirection: "unknown", ConfirmTravelMM: q, OutputHoldS: q, OutputContact: "unknown"}}}
	if v.intended {
		r.Standing = "intended"
	}
	if !must[bool](rt)(tx.InsertRevision(ctx, r)) {
		rt.Fatal("the revision is there already")
	}
	correct := func(door uuid.UUID, observed, at time.Time, n int) {
		e := fleet.Entry{CustomerID: idOf("customer 1"), SiteID: idOf("site 1 1"), DoorID: door, VisitID: idOf("visit 1 1"), EntryID: idOf(fmt.Sprint(v.id, n)), ObservedAt: observed,
			ReceivedAt: at, RecordedBy: staff.PersonID, Canonical: []byte("{}"), Body: fleet.EntryBody{DoorID: door, Kind: "note", ObservedAt: observed, Corrects: &v.id}}
		if !must[bool](rt)(tx.InsertEntry(ctx, e)) {
			rt.Fatal("the entry is there already")
		}
	}
	for n, at := range v.corrected {
		correct(d.DoorID, v.effective.Add(time.Hour), at, n)
	}
	if v.elsewhere {
		correct(idOf("door 1 1"), v.effective.Add(time.Hour), v.recorded, -1)
		correct(d.DoorID, v.effective.Add(-time.Hour), v.recorded, -2)
	}
}

func isNotFound(err error) bool {
	return slices.ContainsFunc(fault.Of(err), func(e *fault.Error) bool { return e.Kind == fault.NotFound })
}
