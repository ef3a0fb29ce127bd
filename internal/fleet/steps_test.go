package fleet_test

import (
	"testing"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/steps"
)

func numbers(labels string, values ...float64) (list []steps.Step) {
	for i, v := range values {
		list = append(list, steps.Step{Label: string(labels[i]), Value: &v})
	}
	return list
}

// chart is an invented model's: a dial for reach, a key for the hold, two switches for the direction, a screw for the tilt.
func chart() *steps.Chart {
	reach := steps.Scale{Setting: "reach_db", Way: steps.Dial, Control: "dial R", Factory: "2", Steps: numbers("12345", 0, -3, -6, -9, -12)}
	hold := steps.Scale{Setting: "output_hold_s", Way: steps.Presses, Control: "key T", Factory: "a", Steps: numbers("abc", 0.5, 1, 4)}
	for i := range hold.Steps {
		hold.Steps[i].Presses = p(i + 1)
	}
	direction := steps.Scale{Setting: "motion_direction", Way: steps.Switches, Control: "block S", Switches: []string{"S1", "S2"},
		Steps: []steps.Step{{Label: "in", Word: "approach", On: []bool{true, false}}, {Label: "all", Word: "either", On: []bool{true, true}}}}
	tilt := steps.Scale{Setting: "mount.tilt_deg", Way: steps.Screw, Control: "screw W", Steps: numbers("0123", 20, 25, 30, 35)}
	for i := range tilt.Steps {
		tilt.Steps[i].Turns = p(float64(i) / 2)
	}
	return &steps.Chart{Scales: []steps.Scale{reach, hold, direction, tilt},
		Reset:   &steps.Reset{How: "Hold key T for ten seconds.", Clears: []string{"reach_db", "output_hold_s", "lock_code"}},
		Address: &steps.Address{By: steps.Cover, How: "Cover the other sensors with the hand."}}
}

func TestWhatIsWrongWithAModelsStepsIsToldByItsPlace(t *testing.T) {
	t.Parallel()
	r := newFleet(t)
	for name, c := range map[string]struct {
		change func(*fleet.Model)
		want   []string
	}{
		"of nothing that senses": {func(m *fleet.Model) {
			m.Kind, m.Sensing, m.Antennas, m.FrequencyHz, m.LeastSpeedMPS = "operator", "none", nil, nil, nil
		}, []string{"steps_of_nothing at /steps"}},
		"no scale":            {func(m *fleet.Model) { m.Steps = &steps.Chart{} }, []string{"count_out_of_range at /steps/scales"}},
		"unknown setting":     {func(m *fleet.Model) { m.Steps.Scales[0].Setting = "reach" }, []string{"step_setting_unknown at /steps/scales/0/setting", "step_clears_unknown at /steps/reset/clears/0"}},
		"where it hangs":      {func(m *fleet.Model) { m.Steps.Scales[3].Setting = "mount.height_m" }, []string{"step_setting_unknown at /steps/scales/3/setting"}},
		"setting twice":       {func(m *fleet.Model) { m.Steps.Scales[3] = m.Steps.Scales[0] }, []string{"step_setting_twice at /steps/scales/3/setting"}},
		"unknown way":         {func(m *fleet.Model) { m.Steps.Scales[0].Way = "lever" }, []string{"word_unknown at /steps/scales/0/way"}},
		"nothing to find":     {func(m *fleet.Model) { m.Steps.Scales[0].Control = " " }, []string{"text_missing at /steps/scales/0/control"}},
		"one step":            {func(m *fleet.Model) { m.Steps.Scales[0].Steps = m.Steps.Scales[0].Steps[:1] }, []string{"count_out_of_range at /steps/scales/0/steps"}},
		"not monotone":        {func(m *fleet.Model) { m.Steps.Scales[0].Steps[3].Value = p(-4.0) }, []string{"steps_not_in_order at /steps/scales/0/steps/3/value"}},
		"standing still":      {func(m *fleet.Model) { m.Steps.Scales[0].Steps[1].Value = p(0.0) }, []string{"steps_not_in_order at /steps/scales/0/steps/1/value"}},
		"label twice":         {func(m *fleet.Model) { m.Steps.Scales[0].Steps[1].Label = "1 " }, []string{"step_label_twice at /steps/scales/0/steps/1/label", "step_label_unknown at /steps/scales/0/factory"}},
		"no label":            {func(m *fleet.Model) { m.Steps.Scales[0].Steps[0].Label = "" }, []string{"text_missing at /steps/scales/0/steps/0/label"}},
		"out of range":        {func(m *fleet.Model) { m.Steps.Scales[0].Steps[0].Value = p(3.0) }, []string{"out_of_range at /steps/scales/0/steps/0/value"}},
		"no value":            {func(m *fleet.Model) { m.Steps.Scales[0].Steps[4].Value = nil }, []string{"step_is_number at /steps/scales/0/steps/4/value"}},
		"a word for a number": {func(m *fleet.Model) { m.Steps.Scales[0].Steps[4].Word = "far" }, []string{"step_is_number at /steps/scales/0/steps/4/word"}},
		"a number for a word": {func(m *fleet.Model) { m.Steps.Scales[2].Steps[0].Value = p(1.0) }, []string{"step_is_word at /steps/scales/2/steps/0/value"}},
		"no such word":        {func(m *fleet.Model) { m.Steps.Scales[2].Steps[0].Word = "unknown" }, []string{"word_unknown at /steps/scales/2/steps/0/word"}},
		"word twice":          {func(m *fleet.Model) { m.Steps.Scales[2].Steps[1].Word = "approach" }, []string{"step_word_twice at /steps/scales/2/steps/1/word"}},
		"factory unknown":     {func(m *fleet.Model) { m.Steps.Scales[0].Factory = "9" }, []string{"step_label_unknown at /steps/scales/0/factory"}},
		"no presses":          {func(m *fleet.Model) { m.Steps.Scales[1].Steps[0].Presses = nil }, []string{"step_way_missing at /steps/scales/1/steps/0/presses"}},
		"presses of a dial":   {func(m *fleet.Model) { m.Steps.Scales[0].Steps[0].Presses = p(2) }, []string{"step_of_other_way at /steps/scales/0/steps/0/presses"}},
		"too many presses":    {func(m *fleet.Model) { m.Steps.Scales[1].Steps[0].Presses = p(100) }, []string{"out_of_range at /steps/scales/1/steps/0/presses"}},
		"presses twice":       {func(m *fleet.Model) { m.Steps.Scales[1].Steps[1].Presses = p(1) }, []string{"step_set_twice at /steps/scales/1/steps/1"}},
		"switches without":    {func(m *fleet.Model) { m.Steps.Scales[2].Switches = nil }, []string{"count_out_of_range at /steps/scales/2/switches", "step_on_of_each at /steps/scales/2/steps/0/on", "step_on_of_each at /steps/scales/2/steps/1/on"}},
		"switches of a screw": {func(m *fleet.Model) { m.Steps.Scales[3].Switches = []string{"S1"} }, []string{"step_of_other_way at /steps/scales/3/switches"}},
		"too many turns":      {func(m *fleet.Model) { m.Steps.Scales[3].Steps[3].Turns = p(101.0) }, []string{"out_of_range at /steps/scales/3/steps/3/turns"}},
		"reset without how":   {func(m *fleet.Model) { m.Steps.Reset.How = "" }, []string{"text_missing at /steps/reset/how"}},
		"clears to nothing":   {func(m *fleet.Model) { m.Steps.Reset.Clears = []string{"motion_direction"} }, []string{"step_clears_to_nothing at /steps/reset/clears/0"}},
		"clears twice":        {func(m *fleet.Model) { m.Steps.Reset.Clears = []string{"lock_code", "lock_code"} }, []string{"step_setting_twice at /steps/reset/clears/1"}},
		"addressed in no way": {func(m *fleet.Model) { m.Steps.Address.By = "shouting" }, []string{"word_unknown at /steps/address/by"}},
		"addressed, not how":  {func(m *fleet.Model) { m.Steps.Address.How = "" }, []string{"text_missing at /steps/address/how"}},
	} {
		t.Run(name, func(t *testing.T) {
			put := r.modelFacts()
			put.Steps = chart()
			c.change(&put)
			_, _, err := r.PutModel(t.Context(), dispatcher, put)
			wantFault(t, err, c.want...)
		})
	}
	if n := r.count(t, `select count(*) from device_model`); n != 0 {
		t.Errorf("%d models were made", n)
	}
}

func TestAModelsStepsAreKeptAndNeverChange(t *testing.T) {
	t.Parallel()
	r := newFleet(t)
	put := r.modelFacts()
	put.Steps = chart()
	made, isNew, err := r.PutModel(t.Context(), dispatcher, put)
	if err != nil || !isNew {
		t.Fatal(isNew, err)
	}
	got, err := r.Model(t.Context(), agentOf(), put.ModelID)
	if err != nil || got.Steps == nil || len(got.Steps.Scales) != 4 || *got.Steps.Scales[0].Steps[2].Value != -6 || !got.Steps.Scales[2].Steps[1].On[1] || got.SHA256 != made.SHA256 {
		t.Fatalf("%+v %v", got.Steps, err)
	}
	if _, isNew, err := r.PutModel(t.Context(), dispatcher, put); err != nil || isNew {
		t.Errorf("the same again: %v %v", isNew, err)
	}
	put.Steps = chart()
	put.Steps.Scales[0].Steps[2].Value = p(-5.0)
	_, _, err = r.PutModel(t.Context(), dispatcher, put)
	wantFault(t, err, "model_differs at /steps/scales/0/steps/2/value")
	put.Steps = nil
	_, _, err = r.PutModel(t.Context(), dispatcher, put)
	wantFault(t, err, "model_differs at /steps")
}

// steppedSensor is a sensor of a model with steps on side A of a door.
func (r *rig) steppedSensor(t testing.TB, door uuid.UUID, name string, c *steps.Chart) (component uuid.UUID, facts fleet.DeviceFacts) {
	t.Helper()
	put := r.modelFacts()
	put.Name, put.Steps = name, c
	model, _, err := r.PutModel(t.Context(), dispatcher, put)
	if err != nil {
		t.Fatal(err)
	}
	made, _, err := r.PutComponent(t.Context(), dispatcher, fleet.ComponentPut{ComponentID: r.id(), DoorID: door, Kind: "sensor", ModelID: &model.ModelID,
		Fitting: fleet.Fitting{State: "fitted", Side: "a", Input: "activate", Contact: "normally_open"}, Reason: "seen"})
	if err != nil {
		t.Fatal(err)
	}
	return made.ComponentID, fleet.DeviceFacts{AntennaID: &put.Antennas[0].AntennaID, Accessories: []uuid.UUID{},
		Mount:    fleet.MountFacts{HeightM: fleet.Q(2.3, fleet.Measured), OffsetXM: fleet.Q(0, fleet.Measured), OffsetYM: fleet.Q(0.12, fleet.Measured), TiltDeg: fleet.Q(28, fleet.Measured), YawDeg: fleet.Q(0, fleet.Measured)},
		Settings: fleet.Settings{ReachDB: fleet.Q(-1, fleet.Measured), MotionDirection: "either", ConfirmTravelMM: fleet.Q(100, fleet.Told), OutputHoldS: fleet.Q(1, fleet.Told), OutputContact: "unknown"}}
}

func TestALabelReadAtTheDeviceIsKeptAsThePhysicalValueAndTheLabel(t *testing.T) {
	t.Parallel()
	r := newFleet(t)
	door := r.door(t, r.site(t, r.customer(t, "Harbour").CustomerID, "East").SiteID, "Main")
	sensor, facts := r.steppedSensor(t, door.DoorID, "Wren 26", chart())
	facts.Settings.ReachDB, facts.Settings.OutputHoldS, facts.Settings.MotionDirection = fleet.UnknownQuantity(), fleet.UnknownQuantity(), "unknown"
	facts.Steps = map[string]string{"reach_db": " 4", "output_hold_s": "c", "motion_direction": "in"}
	put := fleet.Revision{ComponentID: sensor, RevisionID: r.id(), Standing: "found", Reason: "as found", Device: facts}
	if _, isNew, err := r.PutRevision(t.Context(), dispatcher, put); err != nil || !isNew {
		t.Fatal(isNew, err)
	}
	if facts.Steps["reach_db"] != " 4" {
		t.Error("what the caller sent was changed")
	}
	if _, isNew, err := r.PutRevision(t.Context(), dispatcher, put); err != nil || isNew {
		t.Fatalf("the same again: %v %v", isNew, err)
	}
	list, extents, err := r.Revisions(t.Context(), dispatcher, fleet.RevisionQuery{ComponentID: sensor, Limit: 5})
	if err != nil || len(list) != 1 {
		t.Fatal(len(list), err)
	}
	got := list[0].Device
	if *got.Settings.ReachDB.Value != -9 || got.Settings.ReachDB.Basis != fleet.SeenOnSite || *got.Settings.OutputHoldS.Value != 4 || got.Settings.MotionDirection != "approach" ||
		got.Steps["reach_db"] != "4" || got.Steps["output_hold_s"] != "c" || got.Steps["motion_direction"] != "in" {
		t.Errorf("%+v %v", got.Settings, got.Steps)
	}
	if e := extents[list[0].RevisionID]; e.AreaM2 == nil {
		t.Errorf("nothing was computed of what the steps are: %+v", e)
	}
	// What the step is and what is told beside it must be one.
	r.pass(time.Minute)
	bad := put
	bad.RevisionID, bad.Device.Settings.ReachDB = r.id(), fleet.Q(-9.5, fleet.Measured)
	_, _, err = r.PutRevision(t.Context(), dispatcher, bad)
	wantFault(t, err, "step_differs at /device/steps/reach_db")
	bad.Device.Settings.ReachDB = fleet.Q(-9, fleet.Measured)
	bad.Device.Steps = map[string]string{"reach_db": "4", "output_hold_s": "d", "confirm_travel_mm": "1"}
	_, _, err = r.PutRevision(t.Context(), dispatcher, bad)
	wantFault(t, err, "step_label_unknown at /device/steps/output_hold_s", "step_setting_not_stepped at /device/steps/confirm_travel_mm")
	_, err = r.PreviewSettings(t.Context(), dispatcher, sensor, bad.Device)
	wantFault(t, err, "step_label_unknown at /device/steps/output_hold_s", "step_setting_not_stepped at /device/steps/confirm_travel_mm")
	if n := r.count(t, "select count(*) from revision"); n != 1 {
		t.Errorf("%d revisions", n)
	}
	plain, others := r.sensorOf(t, door.DoorID)
	others.Steps = map[string]string{"reach_db": "1"}
	_, _, err = r.PutRevision(t.Context(), dispatcher, fleet.Revision{ComponentID: plain, RevisionID: r.id(), Standing: "found", Reason: "as found", Device: others})
	wantFault(t, err, "steps_not_known at /device/steps")
}
