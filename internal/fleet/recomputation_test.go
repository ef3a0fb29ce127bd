package fleet_test

import (
	"context"
	"fmt"
	"strings"
	"sync/atomic"
	"testing"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/identity"
)

// recomputing is some doors with a radar each, mounted and set differently, every third of them looking down too steeply for its zone.
func recomputing(t *testing.T, doors int) *rig {
	t.Helper()
	r := newFleet(t)
	site := r.site(t, r.customer(t, "Kestrel Arcades").CustomerID, "Arcade")
	antenna := r.id()
	model, _, err := r.PutModel(t.Context(), dispatcher, fleet.Model{ModelID: r.id(), Maker: "Brightmere", Name: "Halden 24", Kind: "sensor", Sensing: "radar",
		Antennas: []fleet.Antenna{{AntennaID: antenna, Name: "wide", AzimuthBeamwidthDeg: 58, ElevationBeamwidthDeg: 38, AttenuationLimitDB: 25, BoresightRangeM: 6, Source: "invented"}}})
	if err != nil {
		t.Fatal(err)
	}
	for i := range doors {
		door := r.door(t, site.SiteID, fmt.Sprintf("Door %d", i))
		c, _, err := r.PutComponent(t.Context(), dispatcher, fleet.ComponentPut{ComponentID: r.id(), DoorID: door.DoorID, Kind: "sensor", ModelID: &model.ModelID, Reason: "fitted",
			Fitting: fleet.Fitting{State: "fitted", Side: "a", Input: "activate", Contact: "normally_open"}})
		if err != nil {
			t.Fatal(err)
		}
		set := reachSet(c.ComponentID, antenna, r.id(), -float64(i%7))
		set.Device.Mount.HeightM, set.Device.Mount.TiltDeg = fleet.Q(2.2+float64(i%5)/10, fleet.Measured), fleet.Q(float64(20+20*(i%3)), fleet.Measured)
		if _, _, err := r.PutRevision(t.Context(), dispatcher, set); err != nil {
			t.Fatal(err)
		}
	}
	return r
}

// computedNow is everything computed that holds now, as text.
func (r *rig) computedNow(t *testing.T) string {
	t.Helper()
	var text string
	if err := r.db.Admin.QueryRow(context.Background(), `select (select string_agg(format('%s %s %s %s %s %s %s %s', door_id, side, zone, inputs_sha256, missing, covered_share, gap_m, shortfall), E'\n' order by door_id, side, zone) from coverage)
		|| (select string_agg(format('%s %s %s %s %s', revision_id, model_version, missing, width_m, area_m2), E'\n' order by revision_id) from extent)
		|| (select string_agg(format('%s %s', door_id, cause), E'\n' order by door_id, cause) from finding where origin = 'computed' and state = 'open')`).Scan(&text); err != nil {
		t.Fatal(err)
	}
	return text
}

// forget makes the computed look as if another program had made it: without half of the extents, with other coverage, with a finding too
// few at each door and one too many.
func (r *rig) forget(t *testing.T) {
	t.Helper()
	for _, statement := range []string{
		"update coverage set inputs_sha256 = sha256('another program'), covered_share = 0, shortfall = true where required_m2 is not null",
		"delete from extent where right(revision_id::text, 1) in ('0', '2', '4', '6', '8', 'a', 'c', 'e')",
		"delete from finding where origin = 'computed'",
		`insert into finding (customer_id, site_id, door_id, finding_id, origin, severity, cause, what, state, opened_at, recorded_at)
			select customer_id, site_id, door_id, gen_random_uuid(), 'computed', 'advisory', 'zone_not_covered:b:gone', '', 'open', now(), now() from door`,
	} {
		if _, err := r.db.Admin.Exec(context.Background(), statement); err != nil {
			t.Fatal(err)
		}
	}
}

func quietly(fleet.Recomputation, int) {}

func (r *rig) recomputations(t *testing.T) []fleet.Recomputation {
	t.Helper()
	list, err := r.Recomputations(t.Context(), dispatcher, 10)
	if err != nil {
		t.Fatal(err)
	}
	return list
}

func TestRecomputingTheFleetComesToWhatTheChangesThemselvesCameTo(t *testing.T) {
	t.Parallel()
	r := recomputing(t, 150)
	want := r.computedNow(t)
	if !strings.Contains(want, "zone_not_covered") {
		t.Fatal("no door falls short: nothing is tested")
	}
	r.forget(t)
	if r.computedNow(t) == want {
		t.Fatal("nothing is forgotten")
	}
	if err := r.EnsureRecomputation(t.Context()); err != nil {
		t.Fatal(err)
	}
	if err := r.RecomputeAll(t.Context(), quietly); err != nil {
		t.Fatal(err)
	}
	if got := r.computedNow(t); got != want {
		t.Errorf("computed anew:\n%s\nwant\n%s", got, want)
	}
	list := r.recomputations(t)
	if len(list) != 1 || list[0].Done != 150 || list[0].Changed != 150 || list[0].Cleared != 150 || list[0].Opened == 0 || list[0].FinishedAt == nil {
		t.Errorf("%+v", list)
	}
	// The same program asks for nothing more, and an asking by hand finds everything as it should be.
	if err := r.EnsureRecomputation(t.Context()); err != nil {
		t.Fatal(err)
	}
	if _, err := r.AskRecomputation(t.Context(), dispatcher, r.id(), "to be sure"); err != nil {
		t.Fatal(err)
	}
	before := r.count(t, "select count(*) from finding")
	if err := r.RecomputeAll(t.Context(), quietly); err != nil {
		t.Fatal(err)
	}
	list = r.recomputations(t)
	if got := r.computedNow(t); got != want || len(list) != 2 || list[0].Changed != 150 || list[0].Opened+list[0].Cleared != 0 || r.count(t, "select count(*) from finding") != before {
		t.Errorf("asked again: %+v", list)
	}
}

// cutOff is a store that is gone after so many transactions.
type cutOff struct {
	fleet.Transactor
	left *atomic.Int64
	end  context.CancelFunc
}

func (c cutOff) InTx(ctx context.Context, by identity.Actor, f func(context.Context, fleet.Tx) error) error {
	if c.left.Add(-1) < 0 {
		c.end()
		return context.Canceled
	}
	return c.Transactor.InTx(ctx, by, f)
}

func TestARecomputationThatIsCutOffAnywhereGoesOnAndLosesNothing(t *testing.T) {
	t.Parallel()
	r := recomputing(t, 200)
	want := r.computedNow(t)
	r.forget(t)
	if err := r.EnsureRecomputation(t.Context()); err != nil {
		t.Fatal(err)
	}
	for cuts := 0; ; cuts++ {
		ctx, cancel := context.WithCancel(t.Context())
		parts := r.Parts
		var left atomic.Int64
		left.Store(1)
		if cuts > 20 {
			left.Store(1000)
		}
		parts.Store = cutOff{r.Parts.Store, &left, cancel}
		err := fleet.New(parts).RecomputeAll(ctx, quietly)
		cancel()
		if err != nil {
			t.Fatalf("after %d cuts: %v", cuts, err)
		}
		if list := r.recomputations(t); list[0].FinishedAt != nil {
			if cuts <= 20 || list[0].Done != 200 || list[0].Changed != 200 {
				t.Errorf("after %d cuts: %+v", cuts, list[0])
			}
			break
		}
	}
	if got := r.computedNow(t); got != want {
		t.Errorf("computed anew:\n%s\nwant\n%s", got, want)
	}
}

func TestARecomputationOfAnotherProgramIsLeftToThatProgram(t *testing.T) {
	t.Parallel()
	r := recomputing(t, 3)
	r.forget(t)
	before := r.computedNow(t)
	if _, err := r.db.Admin.Exec(t.Context(), "insert into recomputation (recomputation_id, why, detail, asked_at, asked_by) values ($1, 'program', 'field-0', now(), $1)", uuid.New()); err != nil {
		t.Fatal(err)
	}
	if err := r.RecomputeAll(t.Context(), quietly); err != nil {
		t.Fatal(err)
	}
	if list := r.recomputations(t); len(list) != 1 || list[0].FinishedAt != nil || r.computedNow(t) != before {
		t.Errorf("%+v", list)
	}
}

func TestADoorThatIsBeingChangedIsNotRecomputedFromWhatItWas(t *testing.T) {
	t.Parallel()
	r := recomputing(t, 2)
	r.forget(t)
	if err := r.EnsureRecomputation(t.Context()); err != nil {
		t.Fatal(err)
	}
	// Somebody holds a door while the recomputation wants it; what they leave is what counts.
	tx, err := r.db.Admin.Begin(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	if _, err := tx.Exec(t.Context(), "select pg_advisory_xact_lock(hashtextextended(door_id::text, 0)) from door"); err != nil {
		t.Fatal(err)
	}
	done := make(chan error)
	go func() { done <- r.RecomputeAll(context.Background(), quietly) }()
	for r.count(t, "select count(*) from pg_locks where locktype = 'advisory' and not granted") == 0 {
		select {
		case err := <-done:
			t.Fatalf("it did not wait (%v)", err)
		default:
		}
	}
	if _, err := tx.Exec(t.Context(), "update revision set reach_db = -40"); err != nil {
		t.Fatal(err)
	}
	if err := tx.Commit(t.Context()); err != nil {
		t.Fatal(err)
	}
	if err := <-done; err != nil {
		t.Fatal(err)
	}
	if n := r.count(t, "select count(*) from coverage where shortfall"); n == 0 {
		t.Error("at a hundredth of the reach every zone is covered")
	}
}

func TestACorrectedEntryIsComputedAnewWhereItIsFittedAndWhatWasRecordedBeforeStays(t *testing.T) {
	t.Parallel()
	r := recomputing(t, 12)
	before := r.computedNow(t)
	models, err := r.Models(t.Context(), dispatcher, fleet.ModelQuery{Limit: 10})
	if err != nil || len(models) != 1 {
		t.Fatal(models, err)
	}
	antenna, shorter := models[0].Antennas[0], 4.0
	c := fleet.Correction{CorrectionID: r.id(), Why: "measured again", Figures: fleet.Figures{Antennas: []fleet.AntennaFigures{{AntennaID: antenna.AntennaID, BoresightRangeM: &shorter}}}}
	m, created, err := r.CorrectModel(t.Context(), dispatcher, models[0].ModelID, c)
	if err != nil || !created {
		t.Fatal(created, err)
	}
	if got := m.Antennas[0].BoresightRangeM; got != 4 {
		t.Errorf("corrected to %v", got)
	}
	if got := *m.Corrections[0].Instead.Antennas[0].BoresightRangeM; got != 6 {
		t.Errorf("instead of %v", got)
	}
	if _, created, err = r.CorrectModel(t.Context(), dispatcher, models[0].ModelID, c); err != nil || created {
		t.Errorf("the same again: %v, %v", created, err)
	}
	if err := r.RecomputeAll(t.Context(), quietly); err != nil {
		t.Fatal(err)
	}
	list := r.recomputations(t)
	if len(list) != 1 || list[0].Why != fleet.RecomputeCatalogue || list[0].Changed != 12 || list[0].FinishedAt == nil {
		t.Errorf("%+v", list)
	}
	if r.computedNow(t) == before {
		t.Error("nothing is computed anew")
	}
	if n := r.count(t, "select count(*) from extent where corrections = '{}'"); n != 12 {
		t.Errorf("%d extents of before the correction are left, want 12", n)
	}
	if n := r.count(t, "select count(*) from extent a join extent b using (revision_id) where a.corrections = '{}' and b.corrections <> '{}' and b.area_m2 < a.area_m2"); n != 12 {
		t.Errorf("%d devices with a shorter range watch less, want 12", n)
	}
	// Sent again, the entry is still what was entered.
	models[0].SHA256 = [32]byte{}
	if _, created, err := r.PutModel(t.Context(), dispatcher, models[0]); err != nil || created {
		t.Errorf("the entry sent again: %v, %v", created, err)
	}
}

func TestACorrectionOfAnEntryIsRefusedWithItsPlace(t *testing.T) {
	t.Parallel()
	r := recomputing(t, 1)
	models, err := r.Models(t.Context(), dispatcher, fleet.ModelQuery{Limit: 10})
	if err != nil {
		t.Fatal(err)
	}
	model, antenna := models[0].ModelID, models[0].Antennas[0].AntennaID
	six, far := 6.0, 600.0
	figures := func(a ...fleet.AntennaFigures) fleet.Correction {
		return fleet.Correction{CorrectionID: r.id(), Why: "measured", Figures: fleet.Figures{Antennas: a}}
	}
	for _, test := range []struct {
		what, want string
		c          fleet.Correction
	}{
		{"without a reason", "text_missing at /why", fleet.Correction{CorrectionID: r.id(), Figures: fleet.Figures{FrequencyHz: new(24e9)}}},
		{"of nothing", "correction_of_nothing", figures(fleet.AntennaFigures{AntennaID: antenna, BoresightRangeM: &six})},
		{"of no such antenna", "antenna_not_found at /antennas/0/antenna_id", figures(fleet.AntennaFigures{AntennaID: r.id(), BoresightRangeM: &six})},
		{"of an antenna twice", "antenna_twice at /antennas/1/antenna_id", figures(fleet.AntennaFigures{AntennaID: antenna}, fleet.AntennaFigures{AntennaID: antenna})},
		{"out of range", "out_of_range at /antennas/0/boresight_range_m", figures(fleet.AntennaFigures{AntennaID: antenna, BoresightRangeM: &far})},
		{"of an effect", "accessory_only at /effect", fleet.Correction{CorrectionID: r.id(), Why: "x", Figures: fleet.Figures{Effect: &fleet.Effect{OutM: &six}}}},
	} {
		_, _, err := r.CorrectModel(t.Context(), dispatcher, model, test.c)
		wantFault(t, err, test.want)
	}
	if n := r.count(t, "select count(*) from catalogue_correction") + r.count(t, "select count(*) from recomputation"); n != 0 {
		t.Errorf("%d rows are left of what was refused", n)
	}
}

func TestWhatAnAccessoryDoesIsCorrectedAsAWhole(t *testing.T) {
	t.Parallel()
	r := newFleet(t)
	hood, _, err := r.PutAccessory(t.Context(), dispatcher, fleet.Accessory{AccessoryID: r.id(), Kind: "rain_hood", Name: "Hood", Effect: fleet.Effect{CutOffDeg: new(70.0)}})
	if err != nil {
		t.Fatal(err)
	}
	first, _, err := r.CorrectAccessory(t.Context(), dispatcher, hood.AccessoryID, fleet.Correction{CorrectionID: r.id(), Why: "measured", Figures: fleet.Figures{Effect: &fleet.Effect{CutOffDeg: new(65.0)}}})
	if err != nil || *first.Effect.CutOffDeg != 65 {
		t.Fatal(first.Effect, err)
	}
	_, _, err = r.CorrectAccessory(t.Context(), dispatcher, hood.AccessoryID, fleet.Correction{CorrectionID: r.id(), Why: "measured", Figures: fleet.Figures{Effect: &fleet.Effect{OutM: new(0.1)}}})
	wantFault(t, err, "effect_missing at /effect/cut_off_deg", "effect_of_other_kind at /effect/out_m")
	if got := *first.Corrections[0].Instead.Effect.CutOffDeg; got != 70 {
		t.Errorf("before the correction: %v", got)
	}
}
