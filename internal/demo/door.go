package demo

import (
	"context"
	"fmt"
	"strings"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/fleet"
)

// door is a door as the history remembers it.
type door struct {
	*site
	id      uuid.UUID
	name    string
	pattern string
	version uuid.UUID
	facts   fleet.DoorFacts
	control uuid.UUID
	radars  []*radar
	open    []openFinding
	stayed  bool // nobody could get to it at the last inspection
}

// radar is a fitted radar sensor.
type radar struct {
	id      uuid.UUID
	version uuid.UUID
	put     fleet.ComponentPut
	device  fleet.DeviceFacts
}

// openFinding is what waits to be mended.
type openFinding struct {
	id     uuid.UUID
	unsafe bool
	mended string
}

// pattern is a kind of door as the company meets it.
type pattern struct {
	kind, energy, motion string
	activation           [2]string // sides a and b
	presence             string
	leaves               int
	leafM                float64 // width of a leaf, about
	operator             string
	guards               string // model of what protects who stands in the opening
	pack                 string // in the United States
}

func patterns() map[string]pattern {
	sensors, acts, pushed := [2]string{"sensor", "sensor"}, [2]string{"knowing_act", "knowing_act"}, [2]string{"none", "none"}
	return map[string]pattern{
		"slide_full":    {"sliding", "full", "slide", sensors, "overhead_sensor", 2, 1.0, "Glide 180", "Linger", "a156.10@2005"},
		"slide_single":  {"sliding", "full", "slide", sensors, "overhead_sensor", 1, 1.2, "Glide 180", "Linger", "a156.10@2005"},
		"slide_one_way": {"sliding", "full", "slide", [2]string{"none", "sensor"}, "beams", 1, 1.3, "Glide 180", "Pair 2", "a156.10@2005"},
		"swing_low":     {"swinging", "low", "swing", acts, "none", 1, 0.95, "Arc 90", "", "a156.19@2013"},
		"swing_assist":  {"swinging", "assist", "swing", pushed, "none", 1, 0.95, "Arc 90", "", "a156.19@2013"},
		"swing_full":    {"swinging", "full", "swing", sensors, "both", 2, 0.9, "Arc 90", "Curtain L", ""},
		"fold_full":     {"folding", "full", "fold", sensors, "overhead_sensor", 2, 0.7, "Arc 90", "Curtain L", ""},
		"revolve":       {"revolving", "low", "revolve", [2]string{"sensor", "none"}, "both", 3, 1.3, "Turn 3", "Curtain L", ""},
	}
}

// say makes a quantity by the basis that the site's records have: a tape measure, or an old folder in which some things
// were never written down.
func (s *site) say(h *history, value float64) fleet.Quantity {
	switch {
	case !s.line.Paper:
		return fleet.Q(value, fleet.Measured)
	case h.chance(35):
		return fleet.UnknownQuantity()
	}
	return fleet.Q(value, fleet.FromPaper)
}

// newFacts says how a door is.
func (h *history) newFacts(s *site, name, of string) fleet.DoorFacts {
	p := patterns()[of]
	leafM, heightM := p.leafM+h.between(-0.05, 0.06, 0.01), h.between(2.1, 2.36, 0.01)
	f := fleet.DoorFacts{Kind: p.kind, Energy: p.energy, Traffic: "two_way", PresenceBy: p.presence, GuideRails: "none", Modes: []string{"day", "night_locked"},
		A: fleet.SideFacts{Label: "outside", Activation: p.activation[0], KeptClear: []fleet.KeptClearZone{}}, B: fleet.SideFacts{Label: "inside", Activation: p.activation[1], KeptClear: []fleet.KeptClearZone{}},
		ClearWidthM: s.say(h, roundTo(float64(p.leaves)*leafM*0.94, 0.01)), HeaderDepthM: fleet.Q(0.2, fleet.Measured), OpeningTimeS: s.say(h, h.between(1.5, 3, 0.1)), ClosingTimeS: s.say(h, h.between(4, 7, 0.1))}
	if p.kind == "revolving" {
		f.ClearWidthM = s.say(h, 1.4)
	}
	egress := p.kind == "sliding"
	f.Egress = &egress
	if s.line.Kind == "care" || s.line.Kind == "hospital" {
		yes := true
		f.VulnerableUsers = &yes
	}
	if of == "slide_one_way" {
		f.Traffic = "one_way_out"
	}
	if of == "swing_full" {
		f.GuideRails = "fitted"
	}
	if strings.Contains(strings.ToLower(name), "corridor") { // people walk past beside the opening
		f.A.Label, f.A.KeptClear = "corridor", []fleet.KeptClearZone{{What: "people who walk past", X0M: 1.3, X1M: 3, Y0M: 0.4, Y1M: 2.4}}
	}
	for i := range p.leaves {
		f.Leaves = append(f.Leaves, h.newLeaf(s, p, i, leafM, heightM))
	}
	if s.line.Paper { // no folder says how deep a header is
		f.HeaderDepthM = fleet.UnknownQuantity()
		f.PresenceBy = map[bool]string{true: "unknown", false: p.presence}[p.presence != "none"]
		return f
	}
	f.RuleBasis = s.basis(of)
	return f
}

func (h *history) newLeaf(s *site, p pattern, i int, widthM, heightM float64) fleet.Leaf {
	l := fleet.Leaf{Motion: p.motion, Hinge: "none", WidthM: s.say(h, roundTo(widthM, 0.01)), HeightM: s.say(h, heightM), MassKg: fleet.Q(h.between(46, 70, 1), fleet.FromPaper)}
	if s.line.Paper && h.chance(50) {
		l.MassKg = fleet.UnknownQuantity()
	}
	switch p.motion {
	case "slide":
		l.OpensTowards = []string{"left", "right"}[i%2]
	case "swing", "fold":
		l.Hinge, l.OpensTowards = []string{"left", "right"}[i%2], "b"
	case "revolve":
		l.OpensTowards = "none"
	}
	return l
}

// basis is the edition that a door must meet; most kinds of doors and most countries have none here yet.
func (s *site) basis(of string) fleet.RuleBasis {
	p := patterns()[of]
	if p.pack == "" || !strings.HasPrefix(s.line.At, "US-") {
		return fleet.RuleBasis{}
	}
	return fleet.RuleBasis{PackID: p.pack, Since: s.joined.AddYears(-2), Why: "Edition in force when it was installed."}
}

// register registers a door with what is fitted in it and how that is set.
func (h *history) register(ctx context.Context, s *site, name, of string) error {
	by := h.dispatcher()
	d := &door{site: s, id: h.id(), name: name, pattern: of, facts: h.newFacts(s, name, of)}
	reason := "Taken over, measured on site."
	if s.line.Paper {
		reason = "Taken over, copied from the customer's folder."
	}
	tag, err := h.nextTag()
	if err != nil {
		return err
	}
	saved, _, err := h.PutDoor(ctx, by, fleet.DoorPut{DoorID: d.id, SiteID: s.id, Tag: tag, Name: name, Facts: d.facts, EffectiveAt: h.at, Reason: reason})
	if err != nil {
		return fmt.Errorf("door %s: %w", name, err)
	}
	d.version = saved.Version.VersionID
	s.doors = append(s.doors, d)
	if err := h.fit(ctx, d, reason); err != nil {
		return fmt.Errorf("door %s: %w", name, err)
	}
	_, _, err = h.PutPlan(ctx, by, fleet.Plan{DoorID: d.id, PlanID: h.id(), IntervalMonths: 12, Regime: duedate.Anniversary, ToleranceDays: 60, LeadDays: 45, AnchorOn: s.due, Active: true}, 0)
	return err
}

// nextTag gives a tag off the roll that lies at a place: the office's numbers go on as they come, and are left alone.
func (h *history) nextTag() (fleet.Tag, error) {
	h.doors++
	return fleet.TagFor(int64(5_000_000 + 1000*h.number + h.doors))
}

// fit fits the components, and then records how the sensors are mounted and set.
func (h *history) fit(ctx context.Context, d *door, reason string) error {
	p := patterns()[d.pattern]
	control, err := h.component(ctx, d, "control", "Core 7", fleet.Fitting{Side: "none", Input: "none", Contact: "none"}, reason)
	if err != nil {
		return err
	}
	d.control = control.ComponentID
	if _, err := h.component(ctx, d, "operator", p.operator, fleet.Fitting{Side: "none", WiredTo: &d.control, Input: "none", Contact: "none"}, reason); err != nil {
		return err
	}
	if p.kind == "sliding" {
		if _, err := h.component(ctx, d, "battery", "Reserve 24", fleet.Fitting{Side: "none", Input: "none", Contact: "none"}, reason); err != nil {
			return err
		}
	}
	for i, side := range []string{"a", "b"} {
		if err := h.fitSide(ctx, d, p, side, p.activation[i], reason); err != nil {
			return err
		}
	}
	for _, r := range d.radars {
		if err := h.set(ctx, d, r, reason); err != nil {
			return err
		}
	}
	return nil
}

func (h *history) fitSide(ctx context.Context, d *door, p pattern, side, activation, reason string) error {
	switch activation {
	case "knowing_act":
		if _, err := h.component(ctx, d, "activation", "Press Plate 6", fleet.Fitting{Side: side, WiredTo: &d.control, Input: "activate", Contact: "normally_open"}, reason); err != nil {
			return err
		}
	case "sensor":
		if _, err := h.fitRadar(ctx, d, side, reason); err != nil {
			return err
		}
	}
	if p.guards == "" {
		return nil
	}
	yes := true
	guard, err := h.component(ctx, d, "safety_device", p.guards, fleet.Fitting{Side: side, WiredTo: &d.control, Input: "protect", Contact: "normally_closed", TestedByControl: &yes}, reason)
	if err != nil || d.line.Paper || h.chance(50) {
		return err
	}
	// What such a device watches is not computed: no physics of its kind is here.
	_, _, err = h.PutRevision(ctx, h.dispatcher(), fleet.Revision{ComponentID: guard.ComponentID, RevisionID: h.id(), Standing: "found", EffectiveAt: h.at, Reason: reason, Device: fleet.DeviceFacts{
		Accessories: []uuid.UUID{}, Mount: fleet.MountFacts{HeightM: fleet.Q(2.2, fleet.Measured), OffsetXM: fleet.Q(0, fleet.Measured), OffsetYM: fleet.Q(0.06, fleet.Measured), TiltDeg: fleet.Q(4, fleet.Measured), YawDeg: fleet.Q(0, fleet.Measured)},
		Settings: fleet.Settings{ReachDB: fleet.UnknownQuantity(), ConfirmTravelMM: fleet.UnknownQuantity(), MotionDirection: "either", OutputHoldS: fleet.Q(1.5, fleet.Measured), OutputContact: "normally_closed"}}})
	return err
}

// radarModels are what the company fits, the first most.
func radarModels() []string {
	return []string{"Lark 2", "Umbra 24", "Lark 2", "Gorse", "Umbra 24 S", "Pace"}
}

// fitRadar fits a sensor. Above a corridor it has its narrow antenna, but for those that somebody got wrong.
func (h *history) fitRadar(ctx context.Context, d *door, side, reason string) (*radar, error) {
	model := h.model(radarModels()[h.dice.IntN(6)])
	antenna := 0
	if len(d.facts.Side(side).KeptClear) > 0 {
		model = h.model([]string{"Lark 2", "Gorse", "Pace"}[h.dice.IntN(3)])
		if h.chance(60) && d.line.Name != wideAt {
			antenna = 1
		}
	}
	masked := d.facts.Kind != "swinging" || side == "a" || h.chance(75) // else it sees its own leaf, and the control listens
	c, err := h.component(ctx, d, "sensor", model.Name, fleet.Fitting{Side: side, WiredTo: &d.control, Input: "activate", Contact: "normally_open", InhibitedWhileMoving: &masked}, reason)
	if err != nil {
		return nil, err
	}
	r := &radar{id: c.ComponentID, version: c.Version.VersionID, put: lastPut(d, c), device: h.mounting(d, model.Antennas[antenna].AntennaID)}
	d.radars = append(d.radars, r)
	return r, nil
}

// set records how a sensor is mounted and set, where anybody knows.
func (h *history) set(ctx context.Context, d *door, r *radar, reason string) error {
	if d.line.Paper && h.chance(30) {
		return nil
	}
	_, _, err := h.PutRevision(ctx, h.dispatcher(), fleet.Revision{ComponentID: r.id, RevisionID: h.id(), Standing: "found", EffectiveAt: h.at, Reason: reason, Device: r.device})
	return err
}

// mounting says how a radar sensor is mounted and set.
func (h *history) mounting(d *door, antenna uuid.UUID) fleet.DeviceFacts {
	f := fleet.DeviceFacts{AntennaID: &antenna, Accessories: []uuid.UUID{}, Mount: fleet.MountFacts{HeightM: d.say(h, h.between(2.2, 2.5, 0.01)), OffsetXM: d.say(h, 0),
		OffsetYM: d.say(h, h.between(0.08, 0.16, 0.01)), TiltDeg: d.say(h, h.between(22, 32, 1)), YawDeg: d.say(h, 0)},
		Settings: fleet.Settings{ReachDB: d.say(h, -h.between(0, 4, 1)), MotionDirection: "approach", ConfirmTravelMM: d.say(h, 100), OutputHoldS: d.say(h, 1), OutputContact: "normally_open"}}
	if h.chance(12) {
		f.Accessories = append(f.Accessories, h.accessories[h.dice.IntN(3)].AccessoryID)
	}
	return f
}

// component fits one component.
func (h *history) component(ctx context.Context, d *door, kind, model string, fitting fleet.Fitting, reason string) (fleet.Component, error) {
	h.pass(30 * time.Second)
	fitting.State = "fitted"
	id, serial := h.model(model).ModelID, fmt.Sprintf("%s-%05d", strings.ToUpper(model[:1]), h.dice.IntN(100000))
	put := fleet.ComponentPut{ComponentID: h.id(), DoorID: d.id, Kind: kind, ModelID: &id, Serial: serial, Fitting: fitting, EffectiveAt: h.at, Reason: reason}
	if d.line.Paper && kind != "control" { // a folder names what the order said
		put.ModelID, put.ModelText, put.Serial = nil, model+", by the order of "+d.joined.AddYears(-4).String()[:4], ""
	}
	if kind == "sensor" {
		put.ModelID, put.ModelText = &id, ""
	}
	if !d.line.Paper && h.chance(30) {
		put.WarrantyUntil = d.joined.AddYears(2)
	}
	saved, _, err := h.PutComponent(ctx, h.dispatcher(), put)
	return saved, err
}

// lastPut is what was said of a component, to say it again with another fitting.
func lastPut(d *door, c fleet.Component) fleet.ComponentPut {
	put := fleet.ComponentPut{ComponentID: c.ComponentID, DoorID: d.id, Kind: c.Kind, ModelID: c.ModelID, ModelText: c.ModelText, Serial: c.Serial, Fitting: c.Fitting}
	if c.WarrantyUntil != nil {
		put.WarrantyUntil = *c.WarrantyUntil
	}
	return put
}
