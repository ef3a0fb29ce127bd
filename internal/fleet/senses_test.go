package fleet_test

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"
	"pgregory.net/rapid"

	"lintel.example/lintel/internal/fleet"
)

// kinds is a model of each way of sensing but radar.
func kinds() map[string]fleet.Senses {
	return map[string]fleet.Senses{
		"infrared_presence": {Purpose: "presence", StillS: p(60.0), HoldS: 1, Rows: p(2.0), Columns: p(24.0), RowStepDeg: p(3.0), ColumnStepDeg: p(3.5), DivergenceDeg: p(4.0), RangeM: p(6.0), DetectionShare: p(0.2)},
		"laser_curtain":     {Purpose: "presence", Endless: true, LeansDeg: []float64{0}, FromDeg: p(-45.0), ToDeg: p(45.0), StepDeg: p(0.3), RangeM: p(10.0), SpotM: p(0.01), DivergenceDeg: p(0.0)},
		"beam":              {Purpose: "presence", Endless: true, RangeM: p(4.0), DiameterM: p(0.02)},
		"mat":               {Purpose: "both", Endless: true, HoldS: 1, WidthM: p(1.2), DepthM: p(0.8)},
		"knowing_act":       {Purpose: "knowing_act", HoldS: 5, ReachM: p(0.6)},
	}
}

// watching puts a device of a kind onto a door's side A and gives what the register says of it.
func (r *rig) watching(t *testing.T, door fleet.Door, sensing string, s *fleet.Senses, input string, m fleet.MountFacts, accessories ...uuid.UUID) (uuid.UUID, fleet.Watched) {
	t.Helper()
	model, _, err := r.PutModel(t.Context(), dispatcher, fleet.Model{ModelID: r.id(), Kind: "sensor", Maker: "Fenwick", Name: fmt.Sprint("Kind ", r.id()), Sensing: sensing, Senses: s})
	if err != nil {
		t.Fatal(err)
	}
	c, _, err := r.PutComponent(t.Context(), dispatcher, fleet.ComponentPut{ComponentID: r.id(), DoorID: door.DoorID, Kind: "sensor", ModelID: &model.ModelID,
		Fitting: fleet.Fitting{State: "fitted", Side: "a", Input: input, Contact: "normally_closed"}, Reason: "seen"})
	if err != nil {
		t.Fatal(err)
	}
	r.pass(time.Minute)
	_, _, err = r.PutRevision(t.Context(), dispatcher, fleet.Revision{ComponentID: c.ComponentID, RevisionID: r.id(), Standing: "left", Reason: "mounted", Device: fleet.DeviceFacts{Accessories: accessories, Mount: m,
		Settings: fleet.Settings{ReachDB: fleet.UnknownQuantity(), MotionDirection: "unknown", ConfirmTravelMM: fleet.UnknownQuantity(), OutputHoldS: fleet.UnknownQuantity(), OutputContact: "unknown"}}})
	if err != nil {
		t.Fatal(err)
	}
	w, err := r.Watched(t.Context(), dispatcher, c.ComponentID)
	if err != nil {
		t.Fatal(err)
	}
	return c.ComponentID, w
}

func at(height, x, y, tilt float64) fleet.MountFacts {
	q := func(v float64) fleet.Quantity { return fleet.Q(v, fleet.Measured) }
	return fleet.MountFacts{HeightM: q(height), OffsetXM: q(x), OffsetYM: q(y), TiltDeg: q(tilt), YawDeg: q(0)}
}

// The figures are worked out by hand beside each: rectangles, a circle's area, the tangent of 45°.
func TestEveryKindOfDeviceIsWatchedByItsOwnShape(t *testing.T) {
	t.Parallel()
	r := newFleet(t)
	door := r.newDoor(t)
	for sensing, c := range map[string]struct {
		mount                   fleet.MountFacts
		width, near, far, areaM float64
	}{
		"mat":           {at(2, 0.1, 0.05, 0), 1.2, 0.05, 0.85, 0.96},                   // 1.2 × 0.8
		"beam":          {at(0.6, -0.9, 0.1, 0), 1.8, 0.09, 0.11, 0.036},                // 2 × 0.9 long, 0.02 thick
		"knowing_act":   {at(1, 1.2, 0.9, 0), 1.2, 0.3, 1.5, math.Pi * 0.36},            // a circle of 0.6
		"laser_curtain": {at(2.2, 0, 0.2, 0), 4.21, 0.195, 0.205, 4.2*0.01 + 0.0000785}, // 2 × (2.2 − 0.1) at 45°, as thick as a ray, round ends
	} {
		s := kinds()[sensing]
		_, w := r.watching(t, door, sensing, &s, "activate", c.mount)
		e := w.Extent
		if len(e.Missing) > 0 {
			t.Errorf("%s: missing %v", sensing, e.Missing)
			continue
		}
		for _, one := range [][2]float64{{*e.WidthM, c.width}, {*e.NearM, c.near}, {*e.FarM, c.far}, {*e.AreaM2, c.areaM}} {
			if math.Abs(one[0]-one[1]) > 0.005 {
				t.Errorf("%s: %v wide from %v to %v, %v m²; want %+v", sensing, *e.WidthM, *e.NearM, *e.FarM, *e.AreaM2, c)
			}
		}
		if len(w.Polygons) == 0 || e.ModelVersion != "field-2" {
			t.Errorf("%s: %d polygons by %s", sensing, len(w.Polygons), e.ModelVersion)
		}
	}
}

func TestWhatADeviceOfAnyKindWantsForItsFieldIsNamed(t *testing.T) {
	t.Parallel()
	r := newFleet(t)
	door := r.newDoor(t)
	hood, _, err := r.PutAccessory(t.Context(), dispatcher, fleet.Accessory{AccessoryID: r.id(), Kind: "rain_hood", Name: "hood", Effect: fleet.Effect{CutOffDeg: p(50.0)}})
	if err != nil {
		t.Fatal(err)
	}
	arm, _, err := r.PutAccessory(t.Context(), dispatcher, fleet.Accessory{AccessoryID: r.id(), Kind: "extension_arm", Name: "arm", Effect: fleet.Effect{OutM: p(0.3)}})
	if err != nil {
		t.Fatal(err)
	}
	grid, beam, mat := kinds()["infrared_presence"], kinds()["beam"], kinds()["mat"]
	unaimed := at(2.2, 0, 0.1, 0)
	unaimed.TiltDeg, unaimed.YawDeg = fleet.UnknownQuantity(), fleet.UnknownQuantity()
	for name, c := range map[string]struct {
		sensing string
		senses  *fleet.Senses
		mount   fleet.MountFacts
		with    []uuid.UUID
		missing string
	}{
		"nobody knows how it senses":  {"infrared_presence", nil, at(2.2, 0, 0.1, 0), nil, "sensing"},
		"nobody knows where it looks": {"infrared_presence", &grid, unaimed, nil, "tilt_deg,yaw_deg"},
		"a mat looks nowhere":         {"mat", &mat, unaimed, nil, ""},
		"a hood over light":           {"infrared_presence", &grid, at(2.2, 0, 0.1, 0), []uuid.UUID{hood.AccessoryID}, "accessory_effect"},
		"its other end is too far":    {"beam", &beam, at(0.6, 2.5, 0.1, 0), nil, "mount: offset_x_m is farther from its other end (5 m) than the beam reaches"},
		"its ends are one place":      {"beam", &beam, at(0.6, 0, 0.1, 0), nil, "mount: to_x_m must not be the place that the beam comes from"},
	} {
		_, w := r.watching(t, door, c.sensing, c.senses, "protect", c.mount, c.with...)
		if got := strings.Join(w.Extent.Missing, ","); got != c.missing {
			t.Errorf("%s: missing %q, want %q", name, got, c.missing)
		}
	}
	_, w := r.watching(t, door, "mat", &mat, "protect", at(2, 0, 0.05, 0), arm.AccessoryID)
	if w.Extent.NearM == nil || math.Abs(*w.Extent.NearM-0.35) > 1e-9 {
		t.Errorf("an arm moves it out by 0.3 m: %+v", w.Extent)
	}
}

func (r *rig) threshold(t *testing.T, door fleet.Door) fleet.Coverage {
	t.Helper()
	list, err := r.Coverages(t.Context(), dispatcher, door.DoorID)
	if err != nil {
		t.Fatal(err)
	}
	i := slices.IndexFunc(list, func(c fleet.Coverage) bool { return c.Side == "a" && c.Zone == "threshold" })
	if i < 0 {
		t.Fatalf("no threshold in %+v", list)
	}
	return list[i]
}

// The zone of A156.10 for those who stand in a sliding door asks for 30 s (from memory, says the pack).
func TestOnlyWhatTellsOfThoseWhoStandCoversAPresenceZone(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct {
		change func(*fleet.Senses)
		counts bool
	}{
		"long enough":     {func(*fleet.Senses) {}, true},
		"without end":     {func(s *fleet.Senses) { s.StillS, s.Endless = nil, true }, true},
		"both":            {func(s *fleet.Senses) { s.Purpose = "both" }, true},
		"lets go at 20 s": {func(s *fleet.Senses) { s.StillS = p(20.0) }, false},
		"motion only":     {func(s *fleet.Senses) { s.Purpose, s.StillS = "activation", nil }, false},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			r := newFleet(t)
			door := r.newDoor(t)
			s := kinds()["infrared_presence"]
			c.change(&s)
			id, _ := r.watching(t, door, "infrared_presence", &s, "protect", at(2.2, 0, 0.1, 0))
			got := r.threshold(t, door)
			if got.CoveredShare == nil || (*got.CoveredShare > 0.5) != c.counts || slices.Contains(got.Unfit, id.String()) == c.counts || got.ModelVersion != "field-2" {
				t.Errorf("share %v, unfit %v, by %s", got.CoveredShare, got.Unfit, got.ModelVersion)
			}
		})
	}
}

func TestARadarThatIsWiredToProtectCoversNobodyWhoStands(t *testing.T) {
	t.Parallel()
	r := newFleet(t)
	door := r.newDoor(t)
	radar, facts := r.sensorOf(t, door.DoorID)
	c, err := r.Component(t.Context(), dispatcher, radar, fleet.AsOf{})
	if err != nil {
		t.Fatal(err)
	}
	put := fleet.ComponentPut{ComponentID: radar, DoorID: door.DoorID, Kind: "sensor", ModelID: c.ModelID, IfMatch: c.Version.VersionID, Reason: "wired to protect",
		Fitting: fleet.Fitting{State: "fitted", Side: "a", Input: "protect", Contact: "normally_open"}}
	r.pass(time.Minute)
	if _, _, err := r.PutComponent(t.Context(), dispatcher, put); err != nil {
		t.Fatal(err)
	}
	if _, _, err := r.PutRevision(t.Context(), dispatcher, fleet.Revision{ComponentID: radar, RevisionID: r.id(), Standing: "left", Reason: "mounted", Device: facts}); err != nil {
		t.Fatal(err)
	}
	got := r.threshold(t, door)
	if got.CoveredShare == nil || *got.CoveredShare != 0 || !slices.Equal(got.Unfit, []string{radar.String()}) {
		t.Errorf("%+v", got)
	}
	s := kinds()["infrared_presence"]
	r.watching(t, door, "infrared_presence", &s, "protect", at(2.2, 0, 0.1, 0))
	if both := r.threshold(t, door); *both.CoveredShare < 0.5 || !slices.Equal(both.Unfit, got.Unfit) {
		t.Errorf("with a presence sensor beside it: %+v", both)
	}
}

func TestBadSensesAreRefusedAndAGoodEntryComesBackAsItWasSent(t *testing.T) {
	t.Parallel()
	r := newFleet(t)
	for name, c := range map[string]struct {
		sensing string
		change  func(*fleet.Senses)
		want    []string
	}{
		"of a radar":               {"radar", func(*fleet.Senses) {}, []string{"senses_of_other_kind at /senses"}},
		"purpose unknown":          {"mat", func(s *fleet.Senses) { s.Purpose = "alarm" }, []string{"word_unknown at /senses/purpose", "presence_only at /senses/endless"}},
		"a plate for presence":     {"knowing_act", func(s *fleet.Senses) { s.Purpose, s.Endless = "presence", true }, []string{"word_unknown at /senses/purpose"}},
		"neither time nor end":     {"mat", func(s *fleet.Senses) { s.Endless = false }, []string{"still_or_endless at /senses/still_s"}},
		"time and no end":          {"mat", func(s *fleet.Senses) { s.StillS = p(30.0) }, []string{"still_or_endless at /senses/still_s"}},
		"time of motion":           {"mat", func(s *fleet.Senses) { s.Purpose, s.Endless, s.StillS = "activation", false, p(30.0) }, []string{"presence_only at /senses/still_s"}},
		"holds for a day":          {"mat", func(s *fleet.Senses) { s.HoldS = 86400 }, []string{"out_of_range at /senses/hold_s"}},
		"a value is missing":       {"beam", func(s *fleet.Senses) { s.DiameterM = nil }, []string{"sense_missing at /senses/diameter_m"}},
		"a value of another":       {"beam", func(s *fleet.Senses) { s.WidthM = p(1.0) }, []string{"sense_of_other_kind at /senses/width_m"}},
		"no number":                {"beam", func(s *fleet.Senses) { s.RangeM = p(math.NaN()) }, []string{"out_of_range at /senses/range_m"}},
		"half a row":               {"infrared_presence", func(s *fleet.Senses) { s.Rows = p(1.5) }, []string{"not_whole_number at /senses/rows"}},
		"a share that none has":    {"infrared_presence", func(s *fleet.Senses) { s.DetectionShare = p(0.5) }, []string{"out_of_range at /senses/detection_share"}},
		"no sheet":                 {"laser_curtain", func(s *fleet.Senses) { s.LeansDeg = nil }, []string{"sense_missing at /senses/leans_deg"}},
		"a level sheet":            {"laser_curtain", func(s *fleet.Senses) { s.LeansDeg = []float64{0, 90} }, []string{"out_of_range at /senses/leans_deg/1"}},
		"seventeen sheets":         {"laser_curtain", func(s *fleet.Senses) { s.LeansDeg = make([]float64, 17) }, []string{"too_many at /senses/leans_deg"}},
		"the end before the first": {"laser_curtain", func(s *fleet.Senses) { s.ToDeg = p(-50.0) }, []string{"not_more_than at /senses/to_deg"}},
	} {
		t.Run(name, func(t *testing.T) {
			s := kinds()[c.sensing]
			c.change(&s)
			_, _, err := r.PutModel(t.Context(), dispatcher, fleet.Model{ModelID: r.id(), Kind: "sensor", Maker: "Fenwick", Name: "Bad", Sensing: c.sensing, Senses: &s})
			wantFault(t, err, c.want...)
		})
	}
	if n := r.count(t, `select count(*) from device_model`); n != 0 {
		t.Errorf("%d models were made", n)
	}
	for sensing, s := range kinds() {
		m := fleet.Model{ModelID: r.id(), Kind: "sensor", Maker: "Fenwick", Name: sensing, Sensing: sensing, Senses: &s}
		if _, isNew, err := r.PutModel(t.Context(), dispatcher, m); err != nil || !isNew {
			t.Fatal(sensing, err)
		}
		if again, isNew, err := r.PutModel(t.Context(), dispatcher, m); err != nil || isNew || again.Senses.Purpose != s.Purpose || again.Senses.HoldS != s.HoldS {
			t.Errorf("%s the same again: %+v %v %v", sensing, again.Senses, isNew, err)
		}
		other := s
		other.HoldS += 0.5
		m.Senses = &other
		_, _, err := r.PutModel(t.Context(), dispatcher, m)
		wantFault(t, err, "model_differs at /senses/hold_s")
	}
}

// What the catalogue takes must be computable wherever it is mounted in an ordinary place.
func TestWhatTheCatalogueTakesThePhysicsTakes(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		draw := func(name string, least, greatest float64) *float64 {
			return p(rapid.Float64Range(least-0.2, greatest+0.2).Draw(t, name))
		}
		sensing := rapid.SampledFrom([]string{"infrared_presence", "laser_curtain", "beam", "mat", "knowing_act"}).Draw(t, "sensing")
		s := kinds()[sensing]
		switch sensing {
		case "infrared_presence":
			s.Rows, s.Columns = p(float64(rapid.IntRange(0, 66).Draw(t, "rows"))), p(float64(rapid.IntRange(0, 66).Draw(t, "columns")))
			s.RowStepDeg, s.ColumnStepDeg, s.DivergenceDeg = draw("row", 0, 45), draw("column", 0, 45), draw("divergence", 0.1, 20)
			s.RangeM, s.DetectionShare = draw("range", 0.1, 20), draw("share", 0.02, 0.45)
		case "laser_curtain":
			s.LeansDeg = rapid.SliceOfN(rapid.Float64Range(-81, 81), 0, 17).Draw(t, "leans")
			s.FromDeg, s.ToDeg, s.StepDeg = draw("from", -85, 85), draw("to", -85, 85), draw("step", 0.01, 10)
			s.RangeM, s.SpotM, s.DivergenceDeg = draw("range", 0.1, 50), draw("spot", 0.001, 0.1), draw("divergence", 0, 5)
		case "beam":
			s.RangeM, s.DiameterM = draw("range", 2, 50), draw("diameter", 0.001, 0.2)
		case "mat":
			s.WidthM, s.DepthM = draw("width", 0.05, 20), draw("depth", 0.05, 20)
		case "knowing_act":
			s.ReachM = draw("reach", 0.05, 2)
		}
		s.HoldS = *draw("hold", 0, 3600)
		if taken, err := s.Taken(sensing); taken && err != nil {
			t.Fatalf("%s %+v: %v", sensing, s, err)
		}
	})
}
