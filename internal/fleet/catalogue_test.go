package fleet_test

import (
	"context"
	"math"
	"slices"
	"strings"
	"sync/atomic"
	"testing"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/store"
)

// modelFacts is a radar sensor with a wide and a narrow antenna.
func (r *rig) modelFacts() fleet.Model {
	return fleet.Model{ModelID: r.id(), Maker: "Halvorsen Sensing", Name: "Wren 24", Kind: "sensor", Sensing: "radar", FrequencyHz: p(24.125e9), LeastSpeedMPS: p(0.1),
		Antennas: []fleet.Antenna{
			{AntennaID: r.id(), Name: "wide", AzimuthBeamwidthDeg: 58, ElevationBeamwidthDeg: 29, AttenuationLimitDB: 25, BoresightRangeM: 6, Source: "invented for tests"},
			{AntennaID: r.id(), Name: "narrow", AzimuthBeamwidthDeg: 29, ElevationBeamwidthDeg: 36, AttenuationLimitDB: 25, BoresightRangeM: 6, Source: "invented for tests"}}}
}

func (r *rig) model(t testing.TB) fleet.Model {
	t.Helper()
	m, _, err := r.PutModel(t.Context(), dispatcher, r.modelFacts())
	if err != nil {
		t.Fatal(err)
	}
	return m
}

func TestAModelNeverChangesOnceItIsInTheCatalogue(t *testing.T) {
	t.Parallel()
	r := newFleet(t)
	put := r.modelFacts()
	slices.Reverse(put.Antennas) // not in the order of their ids
	if _, isNew, err := r.PutModel(t.Context(), dispatcher, put); err != nil || !isNew {
		t.Fatal(isNew, err)
	}
	again, isNew, err := r.PutModel(t.Context(), dispatcher, put)
	if err != nil || isNew || len(again.Antennas) != 2 {
		t.Fatalf("the same again: %+v %v %v", again, isNew, err)
	}
	for at, change := range map[string]func(*fleet.Model){
		"/name":              func(m *fleet.Model) { m.Name = "Wren 25" },
		"/frequency_hz":      func(m *fleet.Model) { m.FrequencyHz = nil },
		"/antennas/0/name":   func(m *fleet.Model) { m.Antennas[0].Name = "slim" },
		"/antennas/1/source": func(m *fleet.Model) { m.Antennas[1].Source = "a data sheet" },
		"/antennas/1":        func(m *fleet.Model) { m.Antennas = m.Antennas[:1] },
		"/antennas/2": func(m *fleet.Model) {
			x := m.Antennas[0]
			x.AntennaID, x.Name = r.id(), "third"
			m.Antennas = append(m.Antennas, x)
		},
		"/antennas/1/antenna_id":        func(m *fleet.Model) { m.Antennas[1].AntennaID = r.id() },
		"/antennas/0/boresight_range_m": func(m *fleet.Model) { m.Antennas[0].BoresightRangeM = math.Nextafter(6, 7) },
	} {
		t.Run(at, func(t *testing.T) {
			changed := put
			changed.Antennas = slices.Clone(put.Antennas)
			change(&changed)
			_, _, err := r.PutModel(t.Context(), dispatcher, changed)
			wantFault(t, err, "model_differs at "+at)
		})
	}
	got, err := r.Model(t.Context(), agentOf(), put.ModelID)
	if err != nil || got.Name != "Wren 24" || *got.FrequencyHz != 24.125e9 || len(got.Antennas) != 2 || got.SHA256 != again.SHA256 || got.SHA256 == [32]byte{} {
		t.Errorf("%+v %v", got, err)
	}
}

func TestNamesAndAntennaIDsAreTakenOnce(t *testing.T) {
	t.Parallel()
	r := newFleet(t)
	first := r.model(t)
	second := r.modelFacts()
	_, _, err := r.PutModel(t.Context(), dispatcher, second)
	wantFault(t, err, "model_name_taken at /name")
	second.Name, second.Antennas[0].AntennaID = "Wren 30", first.Antennas[0].AntennaID
	_, _, err = r.PutModel(t.Context(), dispatcher, second)
	wantFault(t, err, "antenna_id_taken at /antennas")
	if n := r.count(t, `select count(*) from device_model`) + r.count(t, `select count(*) from antenna`); n != 3 {
		t.Errorf("%d rows, want a model and two antennas", n)
	}
}

func TestOneEntrySentByManyAtOnceIsMadeOnce(t *testing.T) {
	t.Parallel()
	r := newFleet(t)
	put := r.modelFacts()
	hood := fleet.Accessory{AccessoryID: r.id(), Kind: "spacer", Name: "Block 50", Effect: fleet.Effect{OutM: p(0.05)}}
	var made atomic.Int32
	together(t, 8, func(i int) (err error) {
		var isNew bool
		if i%2 == 0 {
			_, isNew, err = r.PutModel(t.Context(), dispatcher, put)
		} else {
			_, isNew, err = r.PutAccessory(t.Context(), dispatcher, hood)
		}
		if isNew {
			made.Add(1)
		}
		return err
	})
	if made.Load() != 2 {
		t.Errorf("made %d times, want a model and an accessory once each", made.Load())
	}
}

func TestBadModelsAreRefused(t *testing.T) {
	t.Parallel()
	r := newFleet(t)
	for name, c := range map[string]struct {
		change func(*fleet.Model)
		want   []string
	}{
		"no maker":           {func(m *fleet.Model) { m.Maker = "" }, []string{"text_missing at /maker"}},
		"unknown kind":       {func(m *fleet.Model) { m.Kind = "camera" }, []string{"word_unknown at /kind", "kind_senses_nothing at /sensing"}},
		"unknown sensing":    {func(m *fleet.Model) { m.Sensing, m.Antennas, m.FrequencyHz, m.LeastSpeedMPS = "sonar", nil, nil, nil }, []string{"word_unknown at /sensing"}},
		"lock that senses":   {func(m *fleet.Model) { m.Kind = "lock" }, []string{"kind_senses_nothing at /sensing"}},
		"beam with antenna":  {func(m *fleet.Model) { m.Sensing = "beam" }, []string{"radar_only at /frequency_hz", "radar_only at /least_speed_mps", "radar_only at /antennas"}},
		"megahertz":          {func(m *fleet.Model) { m.FrequencyHz = p(24125.0) }, []string{"out_of_range at /frequency_hz"}},
		"no number":          {func(m *fleet.Model) { m.LeastSpeedMPS = p(math.NaN()) }, []string{"out_of_range at /least_speed_mps"}},
		"flat beam":          {func(m *fleet.Model) { m.Antennas[1].AzimuthBeamwidthDeg = 0.9 }, []string{"out_of_range at /antennas/1/azimuth_beamwidth_deg"}},
		"round beam":         {func(m *fleet.Model) { m.Antennas[0].ElevationBeamwidthDeg = 181 }, []string{"out_of_range at /antennas/0/elevation_beamwidth_deg"}},
		"no limit":           {func(m *fleet.Model) { m.Antennas[0].AttenuationLimitDB = 0 }, []string{"out_of_range at /antennas/0/attenuation_limit_db"}},
		"far":                {func(m *fleet.Model) { m.Antennas[0].BoresightRangeM = 51 }, []string{"out_of_range at /antennas/0/boresight_range_m"}},
		"no source":          {func(m *fleet.Model) { m.Antennas[0].Source = "" }, []string{"text_missing at /antennas/0/source"}},
		"antenna twice":      {func(m *fleet.Model) { m.Antennas[1].AntennaID = m.Antennas[0].AntennaID }, []string{"antenna_twice at /antennas/1/antenna_id"}},
		"name twice":         {func(m *fleet.Model) { m.Antennas[1].Name = "wide " }, []string{"antenna_name_twice at /antennas/1/name"}},
		"antenna without id": {func(m *fleet.Model) { m.Antennas[1].AntennaID = uuid.Nil }, []string{"antenna_twice at /antennas/1/antenna_id"}},
		"too many": {func(m *fleet.Model) {
			for i := range 19 {
				x := m.Antennas[0]
				x.AntennaID, x.Name = r.id(), strings.Repeat("x", i+1)
				m.Antennas = append(m.Antennas, x)
			}
		}, []string{"too_many at /antennas"}},
	} {
		t.Run(name, func(t *testing.T) {
			put := r.modelFacts()
			c.change(&put)
			_, _, err := r.PutModel(t.Context(), dispatcher, put)
			wantFault(t, err, c.want...)
		})
	}
	if n := r.count(t, `select count(*) from device_model`); n != 0 {
		t.Errorf("%d models were made", n)
	}
}

func TestModelsAreListedByMakerAndName(t *testing.T) {
	t.Parallel()
	r := newFleet(t)
	for _, name := range []string{"Bream Doors/Drive 2/operator", "Halvorsen Sensing/Wren/sensor", "Bream Doors/Drive 10/operator", "Aalto Locks/Bolt_1/lock"} {
		f := strings.Split(name, "/")
		if _, _, err := r.PutModel(t.Context(), dispatcher, fleet.Model{ModelID: r.id(), Maker: f[0], Name: f[1], Kind: f[2], Sensing: "none"}); err != nil {
			t.Fatal(err)
		}
	}
	list := func(q fleet.ModelQuery) (s string) {
		for {
			page, err := r.Models(t.Context(), tenantOf(), q)
			if err != nil {
				t.Fatal(err)
			}
			for _, m := range page {
				s += m.Name + ","
				q.AfterMaker, q.AfterName = m.Maker, m.Name
			}
			if len(page) < q.Limit {
				return s
			}
		}
	}
	for _, c := range []struct {
		q    fleet.ModelQuery
		want string
	}{
		{fleet.ModelQuery{Limit: 1}, "Bolt_1,Drive 10,Drive 2,Wren,"},
		{fleet.ModelQuery{Limit: 10, Kind: "operator"}, "Drive 10,Drive 2,"},
		{fleet.ModelQuery{Limit: 10, Search: "doors DRIVE 2"}, "Drive 2,"},
		{fleet.ModelQuery{Limit: 10, Search: "t_1"}, "Bolt_1,"},
		{fleet.ModelQuery{Limit: 10, Search: "l_1"}, ""},
	} {
		if got := list(c.q); got != c.want {
			t.Errorf("%+v gives %q, want %q", c.q, got, c.want)
		}
	}
}

func TestAnAccessoryNeverChangesOnceItIsInTheCatalogue(t *testing.T) {
	t.Parallel()
	r := newFleet(t)
	put := fleet.Accessory{AccessoryID: r.id(), Kind: "rain_hood", Name: "Hood 70", Effect: fleet.Effect{CutOffDeg: p(70.0), LossDB: p(0.5)}}
	if _, isNew, err := r.PutAccessory(t.Context(), dispatcher, put); err != nil || !isNew {
		t.Fatal(isNew, err)
	}
	if again, isNew, err := r.PutAccessory(t.Context(), dispatcher, put); err != nil || isNew || *again.Effect.LossDB != 0.5 || again.Effect.OutM != nil {
		t.Fatalf("%+v %v %v", again, isNew, err)
	}
	changed := put
	changed.Effect.LossDB = p(0.6)
	_, _, err := r.PutAccessory(t.Context(), dispatcher, changed)
	wantFault(t, err, "accessory_differs at /effect/loss_db")
	put.AccessoryID = r.id()
	_, _, err = r.PutAccessory(t.Context(), dispatcher, put)
	wantFault(t, err, "accessory_name_taken at /name")
	if list, err := r.Accessories(t.Context(), agentOf(), fleet.AccessoryQuery{Search: "hood", Kind: "rain_hood", Limit: 5}); err != nil || len(list) != 1 {
		t.Errorf("found %v, %v", list, err)
	}
	if list, err := r.Accessories(t.Context(), agentOf(), fleet.AccessoryQuery{AfterName: "Hood 70", Limit: 5}); err != nil || len(list) != 0 {
		t.Errorf("after the last: %v, %v", list, err)
	}
}

func TestAnAccessoryHasTheEffectsOfItsKindAndNoOthers(t *testing.T) {
	t.Parallel()
	r := newFleet(t)
	for name, c := range map[string]struct {
		fleet.Accessory
		want []string
	}{
		"spacer":              {fleet.Accessory{Kind: "spacer", Name: "s", Effect: fleet.Effect{OutM: p(0.05)}}, nil},
		"recess":              {fleet.Accessory{Kind: "ceiling_recess", Name: "r", Effect: fleet.Effect{EdgeAngleDeg: p(60.0)}}, nil},
		"arm":                 {fleet.Accessory{Kind: "extension_arm", Name: "a", Effect: fleet.Effect{OutM: p(0.9)}}, nil},
		"cover":               {fleet.Accessory{Kind: "weather_cover", Name: "c", Effect: fleet.Effect{CutOffDeg: p(90.0), LossDB: p(0.0)}}, nil},
		"spacer that stills":  {fleet.Accessory{Kind: "spacer", Name: "s2", Effect: fleet.Effect{OutM: p(0.05), ShakeShare: p(0.2)}}, nil},
		"arm that swings":     {fleet.Accessory{Kind: "extension_arm", Name: "a2", Effect: fleet.Effect{OutM: p(0.9), ShakeShare: p(1.4)}}, nil},
		"mask":                {fleet.Accessory{Kind: "mask", Name: "m", Effect: fleet.Effect{AzimuthBeamwidthDeg: p(20.0)}}, nil},
		"reflector":           {fleet.Accessory{Kind: "reflector", Name: "l", Effect: fleet.Effect{AzimuthBeamwidthDeg: p(70.0), ElevationBeamwidthDeg: p(20.0), LossDB: p(0.5)}}, nil},
		"half a reflector":    {fleet.Accessory{Kind: "reflector", Name: "l", Effect: fleet.Effect{AzimuthBeamwidthDeg: p(70.0)}}, []string{"effect_missing at /effect/elevation_beamwidth_deg"}},
		"a wall for a mask":   {fleet.Accessory{Kind: "mask", Name: "m", Effect: fleet.Effect{AzimuthBeamwidthDeg: p(0.5)}}, []string{"out_of_range at /effect/azimuth_beamwidth_deg"}},
		"hood that stills":    {fleet.Accessory{Kind: "rain_hood", Name: "h", Effect: fleet.Effect{CutOffDeg: p(70.0), ShakeShare: p(0.2)}}, []string{"effect_of_other_kind at /effect/shake_share"}},
		"nothing":             {fleet.Accessory{}, []string{"text_missing at /name", "word_unknown at /kind"}},
		"spacer that dampens": {fleet.Accessory{Kind: "spacer", Name: "s", Effect: fleet.Effect{OutM: p(0.05), LossDB: p(1.0)}}, []string{"effect_of_other_kind at /effect/loss_db"}},
		"cover without loss":  {fleet.Accessory{Kind: "weather_cover", Name: "h", Effect: fleet.Effect{CutOffDeg: p(70.0)}}, []string{"effect_missing at /effect/loss_db"}},
		"hood without loss":   {fleet.Accessory{Kind: "rain_hood", Name: "h0", Effect: fleet.Effect{CutOffDeg: p(70.0)}}, nil},
		"hood for a recess":   {fleet.Accessory{Kind: "rain_hood", Name: "h", Effect: fleet.Effect{EdgeAngleDeg: p(70.0)}}, []string{"effect_missing at /effect/cut_off_deg", "effect_of_other_kind at /effect/edge_angle_deg"}},
		"endless arm":         {fleet.Accessory{Kind: "extension_arm", Name: "a", Effect: fleet.Effect{OutM: p(2.1)}}, []string{"out_of_range at /effect/out_m"}},
		"gain":                {fleet.Accessory{Kind: "rain_hood", Name: "h", Effect: fleet.Effect{CutOffDeg: p(91.0), LossDB: p(-1.0)}}, []string{"out_of_range at /effect/cut_off_deg", "out_of_range at /effect/loss_db"}},
	} {
		t.Run(name, func(t *testing.T) {
			c.AccessoryID = r.id()
			_, _, err := r.PutAccessory(t.Context(), dispatcher, c.Accessory)
			wantFault(t, err, c.want...)
		})
	}
}

func TestAntennasAndAccessoriesComeByTheirIDs(t *testing.T) {
	t.Parallel()
	r := newFleet(t)
	m := r.model(t)
	hood, _, err := r.PutAccessory(t.Context(), dispatcher, fleet.Accessory{AccessoryID: r.id(), Kind: "spacer", Name: "Block 50", Effect: fleet.Effect{OutM: p(0.05)}})
	if err != nil {
		t.Fatal(err)
	}
	err = store.New(r.db.App, "lintel").InTxReadOnly(t.Context(), agentOf(), func(ctx context.Context, tx fleet.Tx) error {
		antennas, err := tx.AntennasByIDs(ctx, []uuid.UUID{m.Antennas[1].AntennaID, r.id(), m.Antennas[1].AntennaID})
		if err != nil {
			return err
		}
		if len(antennas) != 1 || antennas[0] != m.Antennas[1] {
			t.Errorf("got %+v, want %+v", antennas, m.Antennas[1])
		}
		accessories, err := tx.AccessoriesByIDs(ctx, []uuid.UUID{hood.AccessoryID, hood.AccessoryID})
		if err != nil {
			return err
		}
		if len(accessories) != 1 || *accessories[0].Effect.OutM != 0.05 {
			t.Errorf("got %+v", accessories)
		}
		none, err := tx.AntennasByIDs(ctx, nil)
		if len(none) != 0 {
			t.Errorf("no ids give %v", none)
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
}
