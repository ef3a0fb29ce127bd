package fleet_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/fault"
	"lintel.example/lintel/internal/field"
	"lintel.example/lintel/internal/field/oracle"
	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/words"
)

// asSet is the sensor of attended.set as the pattern's other code sees it: the marks of these tests are made by code that is none of the fit's.
func asSet(reachDB float64) oracle.Mount {
	return oracle.Mount{HeightM: 2.3, OffsetYM: 0.1, TiltDeg: 30, AzimuthBeamwidthDeg: 58, ElevationBeamwidthDeg: 29, AttenuationLimitDB: 25, BoresightRangeM: 6, ReachDB: reachDB}
}

// walkedAt is a walk test of a sensor that hangs so, to the centimetre.
func (a attended) walkedAt(m oracle.Mount) fleet.EntryBody {
	r := rand.New(rand.NewPCG(3, 5))
	w := &fleet.EntryWalkTest{ComponentID: a.sensor.ComponentID, BodyHeightM: 1.7}
	for _, k := range m.WalkTest(oracle.Tester{TallM: 1.7, SpeedMps: 1, ConfirmM: 0.1}, 0.01, 0, r.Float64, r.NormFloat64) {
		heading := math.Atan2(k.TowardsX, k.TowardsY) * 180 / math.Pi
		w.Marks = append(w.Marks, fleet.WalkMark{XM: math.Round(k.X*100) / 100, YM: math.Round(k.Y*100) / 100, HeadingDeg: &heading})
	}
	return fleet.EntryBody{Kind: "walk_test", WalkTest: w}
}

func (a attended) enter(t testing.TB, visit uuid.UUID, body fleet.EntryBody) uuid.UUID {
	t.Helper()
	id := a.id()
	if _, created, err := a.PutEntry(t.Context(), technician, visit, id, body); err != nil || !created {
		t.Fatal(created, err)
	}
	return id
}

func (a attended) watched(t testing.TB) fleet.Watched {
	t.Helper()
	w, err := a.Watched(t.Context(), dispatcher, a.sensor.ComponentID)
	if err != nil {
		t.Fatal(err)
	}
	return w
}

// drifts gives the causes of open findings that a sensor has drifted, in words.
func (a attended) drifts(t testing.TB) (told []string) {
	t.Helper()
	list, err := a.Findings(t.Context(), dispatcher, fleet.FindingQuery{DoorID: a.door.DoorID, State: "open", Origin: "computed", Limit: 50})
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range list {
		if strings.HasPrefix(f.Cause, "walk_drift") {
			told = append(told, fleet.TellCause(a.Words.Printer("en", words.Metric), f.Cause))
		}
	}
	return told
}

func TestAnAcceptedFitIsARevisionAndTheFieldRestsOnItUntilTheMountChanges(t *testing.T) {
	t.Parallel()
	a := newAttended(t)
	visit := a.open(t)
	a.enter(t, visit, a.at(1, a.set("found", -2)))
	hangs := asSet(-2)
	hangs.BoresightRangeM, hangs.TiltDeg = 5.3, 33
	before := a.watched(t)
	walk := a.enter(t, visit, a.at(5, a.walkedAt(hangs)))
	if now := a.watched(t); *now.Extent.AreaM2 != *before.Extent.AreaM2 || now.Fitted != nil {
		t.Error("an entry alone changes what is watched")
	}

	preview, err := a.PreviewWalkTest(t.Context(), technician, *a.walkedAt(hangs).WalkTest)
	if err != nil {
		t.Fatal(err)
	}
	_, fit, err := a.WalkFit(t.Context(), technician, visit, walk)
	if err != nil || fit.Accepted || fit.Fit.Values[0] != preview.Fit.Values[0] {
		t.Fatalf("%v: previewed %+v, sealed %+v", err, preview.Fit.Values, fit.Fit.Values)
	}
	text := strings.Join(fit.Told(a.Words.Printer("en", words.Metric)), "\n")
	if !strings.Contains(text, "The catalogue says 6.00 m") || !strings.Contains(text, "recorded with 30") || strings.Contains(text, "⟦") {
		t.Error(text)
	}

	saved, created, err := a.AcceptFit(t.Context(), technician, visit, walk)
	if err != nil || !created || saved.Standing != "found" || saved.Reason != "walk_test" || saved.RevisionID != walk {
		t.Fatalf("%+v %v %v", saved, created, err)
	}
	if again, created, err := a.AcceptFit(t.Context(), technician, visit, walk); err != nil || created || again.SHA256 != saved.SHA256 {
		t.Errorf("accepted again: %v %v", created, err)
	}
	got := *saved.Device.Fitted
	if math.Abs(got.BoresightRangeM.Value-5.3) > 0.1 || got.BoresightRangeM.Low > 5.3 || got.BoresightRangeM.Top < 5.3 || math.Abs(got.TiltDeg.Value-33) > 1 || got.EntryID != walk {
		t.Errorf("fitted %+v", got)
	}
	walkedOn := func() string {
		folder, err := a.Folder(t.Context(), dispatcher, fleet.FolderQuery{DoorID: a.door.DoorID})
		if err != nil {
			t.Fatal(err)
		}
		i := slices.IndexFunc(folder.Document.Devices, func(d fleet.ReportDevice) bool { return d.ID == a.sensor.ComponentID.String() })
		return folder.Document.Devices[i].WalkedOn
	}
	if got := walkedOn(); got != duedate.DayIn(saved.Device.Fitted.WalkedAt, time.UTC).String() {
		t.Errorf("the report says that it was walked on %q", got)
	}
	now := a.watched(t)
	if now.RevisionID != walk || now.Fitted == nil || *now.Extent.DepthM == *before.Extent.DepthM {
		t.Errorf("it watches %+v, before %+v", now.Extent, before.Extent)
	}
	want := asSet(-2)
	want.BoresightRangeM, want.TiltDeg = got.BoresightRangeM.Value, got.TiltDeg.Value
	want.ClipAtDoorPlane = true
	counted := want.Measure().Found
	if deep := counted.Far - counted.Near; math.Abs(*now.Extent.DepthM-deep) > 0.03 {
		t.Errorf("%v m deep, counted on a grid by other code %v m", *now.Extent.DepthM, deep)
	}
	if _, fit, err = a.WalkFit(t.Context(), technician, visit, walk); err != nil || !fit.Accepted || fit.Drift != nil {
		t.Errorf("%v %v %v", fit.Accepted, fit.Drift, err)
	}

	less := a.set("left", -6)
	a.enter(t, visit, a.at(10, less))
	if w := a.watched(t); w.Fitted == nil || w.Fitted.EntryID != walk || *w.Extent.AreaM2 >= *now.Extent.AreaM2 {
		t.Errorf("after a change of reach it rests on %+v and watches %v m²", w.Fitted, *w.Extent.AreaM2)
	}
	// What would be is told with the fit, and without it when the mount would be another.
	if p, err := a.PreviewSettings(t.Context(), dispatcher, a.sensor.ComponentID, a.set("left", -2).Settings.Device); err != nil || *p.After.Extent.AreaM2 != *now.Extent.AreaM2 {
		t.Errorf("%v: %v m², not %v", err, *p.After.Extent.AreaM2, *now.Extent.AreaM2)
	}
	turned := a.set("left", -2)
	turned.Settings.Device.Mount.YawDeg = fleet.Q(3, fleet.Measured)
	a.enter(t, visit, a.at(15, turned))
	if w := a.watched(t); w.Fitted != nil {
		t.Errorf("after a change of the mount it rests on %+v", w.Fitted)
	}
	a.enter(t, visit, a.at(20, a.set("left", -2)))
	if w := a.watched(t); w.Fitted != nil {
		t.Error("what hangs as it did before was never walked so")
	}
	if _, _, err := a.PutRevision(t.Context(), dispatcher, fleet.Revision{ComponentID: a.sensor.ComponentID, RevisionID: a.id(), Standing: "found", Reason: "says so", Device: saved.Device}); err != nil {
		t.Fatal(err)
	}
	if w := a.watched(t); w.Fitted != nil {
		t.Error("a fit was sent")
	}
}

func TestAnAntennaAndAnAccessoryTakeTheFitAway(t *testing.T) {
	t.Parallel()
	for what, change := range map[string]func(a attended, d *fleet.DeviceFacts){
		"antenna": func(a attended, d *fleet.DeviceFacts) { d.AntennaID = &a.model.Antennas[1].AntennaID },
		"accessory": func(a attended, d *fleet.DeviceFacts) {
			hood, _, err := a.PutAccessory(t.Context(), dispatcher, fleet.Accessory{AccessoryID: a.id(), Kind: "weather_cover", Name: "Cover", Effect: fleet.Effect{LossDB: p(1.0)}})
			if err != nil {
				t.Fatal(err)
			}
			d.Accessories = []uuid.UUID{hood.AccessoryID}
		},
		"height": func(_ attended, d *fleet.DeviceFacts) { d.Mount.HeightM = fleet.Q(2.35, fleet.Measured) },
	} {
		t.Run(what, func(t *testing.T) {
			t.Parallel()
			a := newAttended(t)
			visit := a.open(t)
			a.enter(t, visit, a.at(1, a.set("found", -2)))
			walk := a.enter(t, visit, a.at(5, a.walkedAt(asSet(-2))))
			if _, _, err := a.AcceptFit(t.Context(), dispatcher, visit, walk); err != nil {
				t.Fatal(err)
			}
			if a.watched(t).Fitted == nil {
				t.Fatal("not fitted")
			}
			other := a.set("left", -2)
			change(a, &other.Settings.Device)
			a.enter(t, visit, a.at(10, other))
			if a.watched(t).Fitted != nil {
				t.Error("it holds still")
			}
		})
	}
}

// Pieces arrive late and out of order: what is watched is a function of what there is.
func TestWhatArrivesLateOrIsCorrectedTakesTheFitAwayThatRestedOnSomethingElse(t *testing.T) {
	t.Parallel()
	a := newAttended(t)
	visit := a.open(t)
	found := a.enter(t, visit, a.at(1, a.set("found", -2)))
	walk := a.enter(t, visit, a.at(10, a.walkedAt(asSet(-2))))
	if _, _, err := a.AcceptFit(t.Context(), technician, visit, walk); err != nil {
		t.Fatal(err)
	}
	// The sensor had been set to another reach before the walk, which the fit did not know.
	late := a.enter(t, visit, a.at(5, a.set("left", -5)))
	if w := a.watched(t); w.Fitted != nil || w.RevisionID != late {
		t.Errorf("it rests on %+v of revision %s", w.Fitted, w.RevisionID)
	}
	a.enter(t, visit, a.at(12, correcting(late, a.set("left", -2)))) // which itself was observed after the walk, with the same mount
	if w := a.watched(t); w.Fitted == nil {
		t.Error("nothing stands between them any more")
	}
	a.enter(t, visit, a.at(13, correcting(found, a.set("found", -3))))
	if w := a.watched(t); w.Fitted != nil {
		t.Error("it rests on what was corrected")
	}

	b := newAttended(t)
	visit = b.open(t)
	b.enter(t, visit, b.at(1, b.set("found", -2)))
	walk = b.enter(t, visit, b.at(10, b.walkedAt(asSet(-2))))
	if _, _, err := b.AcceptFit(t.Context(), technician, visit, walk); err != nil {
		t.Fatal(err)
	}
	b.enter(t, visit, b.at(11, correcting(walk, b.walkedAt(asSet(-2)))))
	if w := b.watched(t); w.Fitted != nil {
		t.Error("the walk test was corrected, and its fit holds still")
	}
	if other := b.id(); true {
		wrong := b.walkedAt(asSet(-2))
		if _, _, err := b.PutEntry(t.Context(), technician, visit, other, b.at(12, wrong)); err != nil {
			t.Fatal(err)
		}
		b.enter(t, visit, b.at(13, correcting(other, wrong)))
		_, _, err := b.AcceptFit(t.Context(), technician, visit, other)
		wantFault(t, err, "walk_test_corrected")
	}
}

func TestAFitBeyondTheTolerancesIsRefusedAndNamesWhatToMeasureAgain(t *testing.T) {
	t.Parallel()
	a := newAttended(t)
	visit := a.open(t)
	a.enter(t, visit, a.at(1, a.set("found", -2)))
	hangs := asSet(-2)
	hangs.TiltDeg = 42
	walk := a.enter(t, visit, a.at(5, a.walkedAt(hangs)))
	_, _, err := a.AcceptFit(t.Context(), technician, visit, walk)
	var at []string
	for _, f := range fault.Of(err) {
		at = append(at, f.Pointer)
	}
	if !slices.Contains(at, "/fit/tilt_deg") || !slices.ContainsFunc(at, func(p string) bool { return strings.HasPrefix(p, "/device/mount/") }) {
		t.Errorf("%v", err)
	}
	if n := a.count(t, "select count(*) from revision where fitted is not null"); n != 0 {
		t.Errorf("%d fits", n)
	}
	_, fit, err := a.WalkFit(t.Context(), technician, visit, walk)
	if err != nil {
		t.Fatal(err)
	}
	text := strings.Join(fit.Told(a.Words.Printer("en", words.Metric)), "\n")
	if !strings.Contains(text, "not taken over") || !strings.Contains(text, "Measure again first") || strings.Contains(text, "⟦") {
		t.Error(text)
	}
	// The catalogue decides what is forbidden.
	a.model.ModelID, a.model.Name = a.id(), "Wren 24 loose"
	a.model.Antennas = []fleet.Antenna{{AntennaID: a.id(), Name: "wide", AzimuthBeamwidthDeg: 58, ElevationBeamwidthDeg: 29, AttenuationLimitDB: 25, BoresightRangeM: 6, Source: "invented for tests", TiltToleranceDeg: 20}}
	loose, _, err := a.PutModel(t.Context(), dispatcher, a.model)
	if err != nil {
		t.Fatal(err)
	}
	if got, err := a.Model(t.Context(), dispatcher, loose.ModelID); err != nil || got.Antennas[0].TiltToleranceDeg != 20 || got.Antennas[0].RangeToleranceShare != 0.2 {
		t.Fatalf("%+v %v", got.Antennas, err)
	}
	facts := a.sensorFacts(a.door, a.control(t, a.door))
	facts.ModelID, facts.ModelText = &loose.ModelID, ""
	a.sensor, a.model = a.fit(t, facts), loose
	a.enter(t, visit, a.at(6, a.set("found", -2)))
	walk = a.enter(t, visit, a.at(7, a.walkedAt(hangs)))
	if _, _, err := a.AcceptFit(t.Context(), technician, visit, walk); err != nil {
		t.Errorf("within 20°: %v", err)
	}
}

func TestALaterWalkTestThatDepartsFromTheFitOpensAFindingWithItsNumbers(t *testing.T) {
	t.Parallel()
	a := newAttended(t)
	visit := a.open(t)
	a.enter(t, visit, a.at(1, a.set("found", -2)))
	walk := a.enter(t, visit, a.at(5, a.walkedAt(asSet(-2))))
	if _, _, err := a.AcceptFit(t.Context(), technician, visit, walk); err != nil {
		t.Fatal(err)
	}
	same := a.walkedAt(asSet(-2))
	same.WalkTest.Marks = same.WalkTest.Marks[3:]
	a.enter(t, visit, a.at(10, same))
	if told := a.drifts(t); told != nil {
		t.Errorf("of the same sensor: %v", told)
	}
	knocked := asSet(-2)
	knocked.TiltDeg += 4.5
	again := a.enter(t, visit, a.at(20, a.walkedAt(knocked)))
	told := a.drifts(t)
	if len(told) != 1 || !strings.Contains(told[0], "looks at a tilt of 34") || !strings.Contains(told[0], "said 29.9") || strings.Contains(told[0], "⟦") {
		t.Errorf("%v", told)
	}
	if list, err := a.Findings(t.Context(), agentOf(a.site.CustomerID), fleet.FindingQuery{DoorID: a.door.DoorID, State: "open", Limit: 50}); err != nil || slices.ContainsFunc(list, func(f fleet.Finding) bool { return f.Origin == "computed" }) {
		t.Errorf("outsiders see %v, %v", list, err)
	}
	// It stays while something else is set, for it is told of how it was when it was walked.
	a.enter(t, visit, a.at(25, a.set("left", -8)))
	if told := a.drifts(t); len(told) != 1 {
		t.Errorf("after a change of reach: %v", told)
	}
	if _, _, err := a.AcceptFit(t.Context(), technician, visit, again); err != nil {
		t.Fatal(err)
	}
	if told := a.drifts(t); told != nil {
		t.Errorf("once it is taken over: %v", told)
	}
	if w := a.watched(t); w.Fitted == nil || w.Fitted.EntryID != again {
		t.Errorf("it rests on %+v", w.Fitted)
	}
}

func TestAWalkTestAtFaultNamesTheMember(t *testing.T) {
	t.Parallel()
	a := newAttended(t)
	visit := a.open(t)
	a.enter(t, visit, a.at(1, a.set("found", -2)))
	good := func(change func(*fleet.EntryWalkTest)) fleet.EntryBody {
		b := a.at(5, a.walkedAt(asSet(-2)))
		change(b.WalkTest)
		return b
	}
	for want, body := range map[string]fleet.EntryBody{
		"walk_marks_count at /walk_test/marks":                good(func(w *fleet.EntryWalkTest) { w.Marks = w.Marks[:3] }),
		"walk_marks_or_tape at /walk_test/marks":              good(func(w *fleet.EntryWalkTest) { w.WidthM = p(2.0) }),
		"walk_tape_both at /walk_test/depth_m":                good(func(w *fleet.EntryWalkTest) { w.Marks, w.WidthM = nil, p(2.0) }),
		"number_out_of_range at /walk_test/body_height_m":     good(func(w *fleet.EntryWalkTest) { w.BodyHeightM = 0 }),
		"number_out_of_range at /walk_test/marks/2/y_m":       good(func(w *fleet.EntryWalkTest) { w.Marks[2].YM = math.NaN() }),
		"number_out_of_range at /walk_test/marks/0/speed_mps": good(func(w *fleet.EntryWalkTest) { w.Marks[0].SpeedMPS = p(0.0) }),
		"component_not_on_door at /walk_test/component_id":    good(func(w *fleet.EntryWalkTest) { w.ComponentID = a.id() }),
	} {
		_, _, err := a.PutEntry(t.Context(), technician, visit, a.id(), body)
		wantFault(t, err, want)
	}
	unknown := a.set("found", -2)
	unknown.Settings.Device.Mount.TiltDeg, unknown.Settings.Device.Settings.ConfirmTravelMM = fleet.UnknownQuantity(), fleet.UnknownQuantity()
	a.enter(t, visit, a.at(6, unknown))
	walk := a.enter(t, visit, a.at(7, a.walkedAt(asSet(-2))))
	_, _, err := a.AcceptFit(t.Context(), technician, visit, walk)
	wantFault(t, err, "walk_test_lacks")
	if !strings.Contains(fmt.Sprint(err), "tilt_deg, confirm_travel_mm") {
		t.Error(err)
	}
	still := a.walkedAt(asSet(-2))
	for i := range still.WalkTest.Marks {
		still.WalkTest.Marks[i].SpeedMPS = p(0.05) // slower than what the sensor notices
	}
	a.enter(t, visit, a.at(8, a.set("found", -2)))
	walk = a.enter(t, visit, a.at(9, still))
	_, _, err = a.AcceptFit(t.Context(), technician, visit, walk)
	wantFault(t, err, "walk_test_unusable at /marks")
	_, _, err = a.AcceptFit(t.Context(), technician, visit, a.enter(t, visit, a.at(10, note("no walk test"))))
	wantFault(t, err, "entry_not_found")
}

func TestTapedWidthAndDepthFitTheRangeAndLeaveTheTilt(t *testing.T) {
	t.Parallel()
	a := newAttended(t)
	visit := a.open(t)
	a.enter(t, visit, a.at(1, a.set("found", -2)))
	hangs := field.Device{Mount: field.Mount{HeightM: 2.3, TiltDeg: 30, OffsetYM: 0.1}, ReachDB: -2,
		Antenna: field.Antenna{AzimuthBeamwidthDeg: 58, ElevationBeamwidthDeg: 29, AttenuationLimitDB: 25, BoresightRangeM: 5.5}}
	taped := field.BodyFootprint(hangs, 1.7, true)
	preview, err := a.PreviewWalkTest(t.Context(), technician, fleet.EntryWalkTest{ComponentID: a.sensor.ComponentID, BodyHeightM: 1.7, WidthM: &taped.WidthM, DepthM: &taped.DepthM})
	if err != nil {
		t.Fatal(err)
	}
	if v := preview.Fit.Values; len(v) != 2 || !v[0].Determined || math.Abs(v[0].Value-5.5) > 0.05 || v[1].Determined {
		t.Errorf("%+v", v)
	}
	text := strings.Join(preview.Told(a.Words.Printer("en", words.US)), "\n")
	if !strings.Contains(text, "Tilt: not determined") || !strings.Contains(text, "ft") {
		t.Error(text)
	}
}
