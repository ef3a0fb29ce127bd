package fleet_test

import (
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/fault"
	"lintel.example/lintel/internal/fleet"
)

func (r *rig) controlFacts(door fleet.Door) fleet.ComponentPut {
	return fleet.ComponentPut{ComponentID: r.id(), DoorID: door.DoorID, Kind: "control", ModelText: "control of the operator", Serial: "C-100", Reason: "seen at the takeover",
		Fitting: fleet.Fitting{State: "fitted", Side: "none", Input: "none", Contact: "none"}}
}

func (r *rig) sensorFacts(door fleet.Door, control fleet.Component) fleet.ComponentPut {
	return fleet.ComponentPut{ComponentID: r.id(), DoorID: door.DoorID, Kind: "sensor", ModelText: "motion sensor", Serial: "S-100", Reason: "seen at the takeover",
		Fitting: fleet.Fitting{State: "fitted", Side: "a", WiredTo: &control.ComponentID, Input: "activate", Contact: "normally_open", TestedByControl: p(false)}}
}

func (r *rig) fit(t testing.TB, put fleet.ComponentPut) fleet.Component {
	t.Helper()
	c, _, err := r.PutComponent(t.Context(), dispatcher, put)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

func (r *rig) control(t testing.TB, door fleet.Door) fleet.Component {
	t.Helper()
	return r.fit(t, r.controlFacts(door))
}

func (r *rig) sensor(t testing.TB, door fleet.Door, control fleet.Component) fleet.Component {
	t.Helper()
	return r.fit(t, r.sensorFacts(door, control))
}

// newDoor gives a door on a site of a customer, known since 1 January 2026.
func (r *rig) newDoor(t testing.TB) fleet.Door {
	t.Helper()
	return r.door(t, r.site(t, r.customer(t, "Brandt Retail").CustomerID, "Mill").SiteID, "Main")
}

func TestAComponentIsRegisteredOnceAndRefittedFromTheVersionLastSeen(t *testing.T) {
	t.Parallel()
	r := newFleet(t)
	door := r.newDoor(t)
	put := r.sensorFacts(door, r.control(t, door))
	put.WarrantyUntil = day("2028-01-31")
	made, isNew, err := r.PutComponent(t.Context(), dispatcher, put)
	if err != nil || !isNew || made.SiteID != door.SiteID || made.CustomerID != door.CustomerID || made.WarrantyUntil.String() != "2028-01-31" {
		t.Fatalf("%+v %v %v", made, isNew, err)
	}
	r.pass(time.Hour)
	again, isNew, err := r.PutComponent(t.Context(), dispatcher, put)
	if err != nil || isNew || again.Version.VersionID != made.Version.VersionID {
		t.Fatalf("the same again: %+v %v %v", again, isNew, err)
	}
	put.Fitting.Input, put.Reason = "hold", "rewired"
	_, _, err = r.PutComponent(t.Context(), dispatcher, put)
	wantFault(t, err, "version_required")
	put.IfMatch = r.id()
	_, _, err = r.PutComponent(t.Context(), dispatcher, put)
	wantFault(t, err, "version_differs")
	put.IfMatch = made.Version.VersionID
	refitted, isNew, err := r.PutComponent(t.Context(), dispatcher, put)
	if err != nil || isNew || refitted.Version.VersionID == made.Version.VersionID || refitted.Fitting.Input != "hold" {
		t.Fatalf("%+v %v %v", refitted, isNew, err)
	}
	if got, err := r.Component(t.Context(), dispatcher, put.ComponentID, fleet.AsOf{}); err != nil || got.Fitting.Input != "hold" ||
		got.Version.Reason != "rewired" || *got.Fitting.TestedByControl || got.Fitting.InhibitedWhileMoving != nil {
		t.Errorf("%+v %v", got, err)
	}
	if history, err := r.ComponentHistory(t.Context(), dispatcher, put.ComponentID); err != nil || len(history) != 2 || history[1].VersionID != made.Version.VersionID {
		t.Errorf("%+v %v", history, err)
	}
	if n := r.count(t, `select count(*) from component`); n != 2 {
		t.Errorf("%d components, want 2", n)
	}
}

func TestWhatAComponentIsNeverChanges(t *testing.T) {
	t.Parallel()
	r := newFleet(t)
	door := r.newDoor(t)
	second := r.door(t, door.SiteID, "Side")
	put := r.sensorFacts(door, r.control(t, door))
	made := r.fit(t, put)
	for name, c := range map[string]struct {
		change func(*fleet.ComponentPut)
		at     string
	}{
		"kind":     {func(c *fleet.ComponentPut) { c.Kind = "activation" }, "/kind"},
		"serial":   {func(c *fleet.ComponentPut) { c.Serial = "S-101" }, "/serial"},
		"model":    {func(c *fleet.ComponentPut) { c.ModelText = "another" }, "/model_text"},
		"door":     {func(c *fleet.ComponentPut) { c.DoorID, c.Fitting.WiredTo = second.DoorID, nil }, "/door_id"},
		"warranty": {func(c *fleet.ComponentPut) { c.WarrantyUntil = day("2030-01-01") }, "/warranty_until"},
	} {
		t.Run(name, func(t *testing.T) {
			changed := put
			changed.IfMatch = made.Version.VersionID
			c.change(&changed)
			_, _, err := r.PutComponent(t.Context(), dispatcher, changed)
			wantFault(t, err, "component_differs at "+c.at)
		})
	}
	if history, err := r.ComponentHistory(t.Context(), dispatcher, put.ComponentID); err != nil || len(history) != 1 {
		t.Errorf("%d versions (%v), want 1", len(history), err)
	}
}

// Late news goes between: what was known before stays known as it was, and what holds later stays.
func TestComponentsAreListedAsOfBothTimes(t *testing.T) {
	t.Parallel()
	r := newFleet(t)
	door := r.newDoor(t)
	control := r.controlFacts(door)
	control.EffectiveAt = time.Date(2026, 1, 5, 20, 0, 0, 0, time.UTC)
	r.fit(t, control)
	put := r.sensorFacts(door, fleet.Component{ComponentID: control.ComponentID})
	put.EffectiveAt = time.Date(2026, 1, 10, 20, 0, 0, 0, time.UTC)
	first := r.fit(t, put)

	r.pass(time.Hour)
	out := put
	out.Fitting.State, out.EffectiveAt, out.IfMatch, out.Reason = "removed", time.Date(2026, 2, 20, 20, 0, 0, 0, time.UTC), first.Version.VersionID, "broken"
	removed := r.fit(t, out)
	knownThen := r.now

	r.pass(time.Hour) // only now somebody says that it had been rewired in between
	between := put
	between.Fitting.Input, between.EffectiveAt, between.IfMatch, between.Reason = "hold", time.Date(2026, 2, 1, 20, 0, 0, 0, time.UTC), removed.Version.VersionID, "found in the papers"
	r.fit(t, between)
	if again, isNew, err := r.PutComponent(t.Context(), dispatcher, between); err != nil || isNew || again.Version.VersionID != removed.Version.VersionID {
		t.Errorf("late news sent again: %+v %v %v", again, isNew, err)
	}

	for name, c := range map[string]struct {
		asOf fleet.AsOf
		want string
	}{
		"now":                       {fleet.AsOf{}, "control none fitted, sensor activate removed"},
		"before anything":           {fleet.AsOf{Effective: time.Date(2026, 1, 2, 0, 0, 0, 0, time.UTC)}, ""},
		"control only":              {fleet.AsOf{Effective: time.Date(2026, 1, 7, 0, 0, 0, 0, time.UTC)}, "control none fitted"},
		"at first":                  {fleet.AsOf{Effective: time.Date(2026, 1, 20, 0, 0, 0, 0, time.UTC)}, "control none fitted, sensor activate fitted"},
		"in between":                {fleet.AsOf{Effective: time.Date(2026, 2, 10, 0, 0, 0, 0, time.UTC)}, "control none fitted, sensor hold fitted"},
		"in between, as known then": {fleet.AsOf{Effective: time.Date(2026, 2, 10, 0, 0, 0, 0, time.UTC), Recorded: knownThen}, "control none fitted, sensor activate fitted"},
		"before anybody knew":       {fleet.AsOf{Recorded: time.Date(2026, 3, 1, 0, 0, 0, 0, time.UTC)}, ""},
	} {
		list, err := r.Components(t.Context(), agentOf(door.CustomerID), door.DoorID, c.asOf)
		if err != nil {
			t.Fatal(err)
		}
		var got []string
		for _, x := range list {
			got = append(got, x.Kind+" "+x.Fitting.Input+" "+x.Fitting.State)
		}
		if strings.Join(got, ", ") != c.want {
			t.Errorf("%s: %q, want %q", name, strings.Join(got, ", "), c.want)
		}
	}
	_, err := r.Component(t.Context(), dispatcher, put.ComponentID, fleet.AsOf{Effective: time.Date(2026, 1, 7, 0, 0, 0, 0, time.UTC)})
	wantFault(t, err, "component_not_found")
}

func TestBadComponentsAreRefused(t *testing.T) {
	t.Parallel()
	r := newFleet(t)
	door := r.newDoor(t)
	other := r.door(t, door.SiteID, "Side")
	control, foreign := r.control(t, door), r.control(t, other)
	sensor := r.sensor(t, door, control)
	gone := r.controlFacts(door)
	gone.Fitting.State = "removed"
	removed := r.fit(t, gone)
	model := r.model(t)
	before := r.count(t, `select count(*) from component`)
	for name, c := range map[string]struct {
		change func(*fleet.ComponentPut)
		want   []string
	}{
		"unknown kind":         {func(c *fleet.ComponentPut) { c.Kind = "lamp" }, []string{"word_unknown at /kind"}},
		"no model":             {func(c *fleet.ComponentPut) { c.ModelText = " " }, []string{"model_missing at /model_text"}},
		"two models":           {func(c *fleet.ComponentPut) { c.ModelID = &model.ModelID }, []string{"model_twice at /model_text"}},
		"unknown model":        {func(c *fleet.ComponentPut) { c.ModelText, c.ModelID = "", p(r.id()) }, []string{"model_not_found at /model_id"}},
		"model of other kind":  {func(c *fleet.ComponentPut) { c.ModelText, c.ModelID, c.Kind = "", &model.ModelID, "lock" }, []string{"kind_of_other_model at /kind"}},
		"overlong serial":      {func(c *fleet.ComponentPut) { c.Serial = strings.Repeat("9", 101) }, []string{"text_length at /serial"}},
		"binary serial":        {func(c *fleet.ComponentPut) { c.Serial = "9\x01" }, []string{"text_binary at /serial"}},
		"no reason":            {func(c *fleet.ComponentPut) { c.Reason = "" }, []string{"text_missing at /reason"}},
		"unknown state":        {func(c *fleet.ComponentPut) { c.Fitting.State = "lost" }, []string{"word_unknown at /fitting/state"}},
		"unknown side":         {func(c *fleet.ComponentPut) { c.Fitting.Side = "c" }, []string{"word_unknown at /fitting/side"}},
		"unknown input":        {func(c *fleet.ComponentPut) { c.Fitting.Input = "" }, []string{"word_unknown at /fitting/input"}},
		"unknown contact":      {func(c *fleet.ComponentPut) { c.Fitting.Contact = "open" }, []string{"word_unknown at /fitting/contact"}},
		"wired to itself":      {func(c *fleet.ComponentPut) { c.Fitting.WiredTo = &c.ComponentID }, []string{"wired_to_itself at /fitting/wired_to"}},
		"wired to nothing":     {func(c *fleet.ComponentPut) { c.Fitting.WiredTo = p(r.id()) }, []string{"component_not_found at /fitting/wired_to"}},
		"wired to a sensor":    {func(c *fleet.ComponentPut) { c.Fitting.WiredTo = &sensor.ComponentID }, []string{"component_not_control at /fitting/wired_to"}},
		"wired across doors":   {func(c *fleet.ComponentPut) { c.Fitting.WiredTo = &foreign.ComponentID }, []string{"component_of_other_door at /fitting/wired_to"}},
		"wired to what is out": {func(c *fleet.ComponentPut) { c.Fitting.WiredTo = &removed.ComponentID }, []string{"component_removed at /fitting/wired_to"}},
		"unknown door":         {func(c *fleet.ComponentPut) { c.DoorID = r.id() }, []string{"door_not_found at /door_id"}},
		"in the future":        {func(c *fleet.ComponentPut) { c.EffectiveAt = r.now.Add(6 * time.Minute) }, []string{"in_the_future at /effective_at"}},
		// The door is known since 1 January at the site; this is 31 December there.
		"before the door":  {func(c *fleet.ComponentPut) { c.EffectiveAt = time.Date(2026, 1, 1, 7, 59, 0, 0, time.UTC) }, []string{"before_the_door at /effective_at"}},
		"several at once":  {func(c *fleet.ComponentPut) { c.Kind, c.Reason = "", "" }, []string{"word_unknown at /kind", "text_missing at /reason"}},
		"control not then": {func(c *fleet.ComponentPut) { c.EffectiveAt = time.Date(2026, 1, 2, 12, 0, 0, 0, time.UTC) }, []string{"component_not_found at /fitting/wired_to"}},
	} {
		t.Run(name, func(t *testing.T) {
			put := r.sensorFacts(door, control)
			c.change(&put)
			_, _, err := r.PutComponent(t.Context(), dispatcher, put)
			wantFault(t, err, c.want...)
		})
	}
	if n := r.count(t, `select count(*) from component`); n != before {
		t.Errorf("%d components were registered", n-before)
	}
	// The last instant that is 1 January at the site, and the greatest lead of a device's clock, are right.
	for _, at := range []time.Time{time.Date(2026, 1, 1, 8, 0, 0, 0, time.UTC), r.now.Add(5 * time.Minute)} {
		put := r.controlFacts(door)
		put.EffectiveAt = at
		if _, _, err := r.PutComponent(t.Context(), dispatcher, put); err != nil {
			t.Errorf("%s: %v", at, err)
		}
	}
}

func TestPersonsSeeTheComponentsOfTheirDoorsOnly(t *testing.T) {
	t.Parallel()
	r := newFleet(t)
	door := r.newDoor(t)
	control := r.control(t, door)
	stranger := agentOf(r.customer(t, "Ostrowski Homes").CustomerID)
	_, err := r.Component(t.Context(), stranger, control.ComponentID, fleet.AsOf{})
	wantFault(t, err, "component_not_found")
	_, err = r.ComponentHistory(t.Context(), stranger, control.ComponentID)
	wantFault(t, err, "component_not_found")
	_, err = r.Components(t.Context(), stranger, door.DoorID, fleet.AsOf{})
	wantFault(t, err, "door_not_found")
	if list, err := r.Components(t.Context(), tenantOf(door.SiteID), door.DoorID, fleet.AsOf{}); err != nil || len(list) != 1 {
		t.Errorf("a tenant sees %v, %v", list, err)
	}
	if _, err := r.Component(t.Context(), agentOf(uuid.Nil, door.CustomerID), control.ComponentID, fleet.AsOf{}); err != nil {
		t.Error(err)
	}
}

// Whoever comes second hears of it; nobody's fitting is lost unseen.
func TestOfTwoWhoRefitAtOnceOneHearsOfTheOther(t *testing.T) {
	t.Parallel()
	r := newFleet(t)
	door := r.newDoor(t)
	put := r.sensorFacts(door, r.control(t, door))
	var made atomic.Int32
	together(t, 4, func(int) error {
		_, isNew, err := r.PutComponent(t.Context(), dispatcher, put)
		if isNew {
			made.Add(1)
		}
		return err
	})
	if made.Load() != 1 {
		t.Errorf("made %d times", made.Load())
	}
	present, err := r.Component(t.Context(), dispatcher, put.ComponentID, fleet.AsOf{})
	if err != nil {
		t.Fatal(err)
	}
	var won, late atomic.Int32
	together(t, 4, func(i int) error {
		mine := put
		mine.IfMatch, mine.Reason = present.Version.VersionID, "rewired"
		mine.Fitting.Input = []string{"protect", "inhibit", "hold", "none"}[i]
		_, _, err := r.PutComponent(t.Context(), dispatcher, mine)
		switch {
		case err == nil:
			won.Add(1)
		case fault.Is(err, "version_differs"):
			late.Add(1)
		default:
			return err
		}
		return nil
	})
	if won.Load() != 1 || late.Load() != 3 {
		t.Errorf("%d won, %d heard that they were late; want 1 and 3", won.Load(), late.Load())
	}
	if n := r.count(t, `select count(*) from component_version where component_id = $1`, put.ComponentID); n != 2 {
		t.Errorf("%d versions, want 2", n)
	}
}

// together runs f n times at once and fails for each error.
func together(t testing.TB, n int, f func(i int) error) {
	t.Helper()
	var all sync.WaitGroup
	for i := range n {
		all.Go(func() {
			if err := f(i); err != nil {
				t.Error(err)
			}
		})
	}
	all.Wait()
}
