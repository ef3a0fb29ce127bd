package rulebook

import (
	"fmt"
	"slices"
)

// DoorKind is how a door moves.
type DoorKind string

const (
	Sliding   DoorKind = "sliding"
	Swinging  DoorKind = "swinging"
	Folding   DoorKind = "folding"
	Revolving DoorKind = "revolving"
)

// Energy is how hard a door moves.
type Energy string

const (
	FullEnergy  Energy = "full"
	LowEnergy   Energy = "low"
	PowerAssist Energy = "assist" // helps somebody who pushes
)

// Traffic is which way people go.
type Traffic string

const (
	OneWayIn  Traffic = "one_way_in"
	OneWayOut Traffic = "one_way_out"
	TwoWay    Traffic = "two_way"
)

// Activation is what opens a door from one side.
type Activation string

const (
	BySensor             Activation = "sensor"
	ByKnowingAct         Activation = "knowing_act"
	BySensorOrKnowingAct Activation = "both"
	ByNothing            Activation = "none" // nobody is let in from this side
)

// Mode is what the operator was set to while the door was read.
type Mode string

const (
	DayMode      Mode = "day"
	ExitOnlyMode Mode = "exit_only"
	NightMode    Mode = "night"
	HeldOpenMode Mode = "held_open"
)

// Presence is what recognises somebody who stands in the doorway.
type Presence string

const (
	OverheadSensor         Presence = "overhead_sensor"
	Beams                  Presence = "beams" // beams alone: they need a longer hold-open time
	OverheadSensorAndBeams Presence = "both"
	NoPresence             Presence = "none"
)

// Facts is what is known of a door. The empty string and nil mean unknown; an unknown fact that a rule needs leaves the rule not judged.
type Facts struct {
	DoorKind        DoorKind    `json:"door_kind,omitempty"`
	Energy          Energy      `json:"energy,omitempty"`
	Traffic         Traffic     `json:"traffic,omitempty"`
	ActivationA     Activation  `json:"activation_a,omitempty"`
	ActivationB     Activation  `json:"activation_b,omitempty"`
	PresenceBy      Presence    `json:"presence_by,omitempty"`
	ClearWidthM     *float64    `json:"clear_width_m,omitempty"`
	OpeningTimeS    *float64    `json:"opening_time_s,omitempty"`
	ClosingTimeS    *float64    `json:"closing_time_s,omitempty"`
	Egress          *bool       `json:"egress,omitempty"`           // the door is part of a way out
	FireRated       *bool       `json:"fire_rated,omitempty"`       // the door closes an opening in a fire wall
	Interior        *bool       `json:"interior,omitempty"`         // no side of it is outdoors
	EgressBreakout  *bool       `json:"egress_breakout,omitempty"`  // leaves break out for escape
	VulnerableUsers *bool       `json:"vulnerable_users,omitempty"` // children, old or disabled people use it mainly
	Leaves          []LeafFacts `json:"leaves,omitempty"`           // none means unknown

	// Of the visit, not of the door.
	Mode               Mode  `json:"mode,omitempty"`
	InspectorCertified *bool `json:"inspector_certified,omitempty"`
}

// LeafFacts is what is known of one leaf; nil means unknown.
type LeafFacts struct {
	WidthM  *float64 `json:"width_m,omitempty"`
	HeightM *float64 `json:"height_m,omitempty"`
	MassKg  *float64 `json:"mass_kg,omitempty"`
}

// leaf is a leaf as expressions see it. Unknown values are zero here: the judge has refused them before, where they are needed.
type leaf struct {
	WidthM  float64 `cel:"width_m"`
	HeightM float64 `cel:"height_m"`
	MassKg  float64 `cel:"mass_kg"`
}

// factKind says what a fact of that name may be: one of values, a number from min to max, or (neither) true or false.
type factKind struct {
	name     string
	values   []string
	min, max float64
}

// factNamed is for names that this package itself writes.
func factNamed(name string) factKind {
	i := slices.IndexFunc(factKinds(), func(k factKind) bool { return k.name == name })
	return factKinds()[i]
}

func (k factKind) isNumber() bool { return k.max > 0 }

// factKinds is everything that expressions may ask about a door, but for the leaves. Ranges are ours and generous.
func factKinds() []factKind {
	activations := []string{string(BySensor), string(ByKnowingAct), string(BySensorOrKnowingAct), string(ByNothing)}
	return []factKind{
		{name: "door_kind", values: []string{string(Sliding), string(Swinging), string(Folding), string(Revolving)}},
		{name: "energy", values: []string{string(FullEnergy), string(LowEnergy), string(PowerAssist)}},
		{name: "traffic", values: []string{oneWay, string(TwoWay)}},
		{name: "activation", values: []string{string(BySensor), string(ByKnowingAct)}},
		{name: "activation_a", values: activations},
		{name: "activation_b", values: activations},
		{name: sideActivation, values: activations},
		{name: "presence_by", values: []string{string(OverheadSensor), string(Beams), string(OverheadSensorAndBeams), string(NoPresence)}},
		{name: "clear_width_m", min: 0.3, max: 12},
		{name: "opening_time_s", min: 0.1, max: 60},
		{name: "closing_time_s", min: 0.1, max: 60},
		{name: "leaf_count", min: 1, max: mostLeafCount},
		{name: "egress"},
		{name: "fire_rated"},
		{name: "interior"},
		{name: "egress_breakout"},
		{name: "vulnerable_users"},
		{name: "mode", values: []string{string(DayMode), string(ExitOnlyMode), string(NightMode), string(HeldOpenMode)}},
		{name: "inspector_certified"},
	}
}

// sideActivation is what opens the door from the side whose zones are asked for; only zones may name it.
const sideActivation = "side_activation"

// oneWay is traffic in one direction, as rules ask for it: which one is a matter of the side.
const oneWay = "one_way"

// leafKinds is what expressions may ask about a leaf.
func leafKinds() []factKind {
	return []factKind{
		{name: "width_m", min: 0.1, max: 10},
		{name: "height_m", min: 0.5, max: 12},
		{name: "mass_kg", min: 1, max: 2000},
	}
}

// known gives the facts that are known, by the names that expressions use: string, float64 or bool.
func (f Facts) known() map[string]any {
	known := map[string]any{}
	put(known, "door_kind", f.DoorKind)
	put(known, "energy", f.Energy)
	put(known, "traffic", f.directions())
	put(known, "activation", f.activation())
	put(known, "activation_a", f.ActivationA)
	put(known, "activation_b", f.ActivationB)
	put(known, "presence_by", f.PresenceBy)
	putKnown(known, "clear_width_m", f.ClearWidthM)
	putKnown(known, "opening_time_s", f.OpeningTimeS)
	putKnown(known, "closing_time_s", f.ClosingTimeS)
	if len(f.Leaves) > 0 {
		known["leaf_count"] = float64(len(f.Leaves))
	}
	putKnown(known, "egress", f.Egress)
	putKnown(known, "fire_rated", f.FireRated)
	putKnown(known, "interior", f.Interior)
	putKnown(known, "egress_breakout", f.EgressBreakout)
	putKnown(known, "vulnerable_users", f.VulnerableUsers)
	put(known, "mode", f.Mode)
	putKnown(known, "inspector_certified", f.InspectorCertified)
	for i, l := range f.Leaves {
		putKnown(known, leafName(i, "width_m"), l.WidthM)
		putKnown(known, leafName(i, "height_m"), l.HeightM)
		putKnown(known, leafName(i, "mass_kg"), l.MassKg)
	}
	return known
}

// directions is traffic without the direction of one way.
func (f Facts) directions() Traffic {
	if f.Traffic == OneWayIn || f.Traffic == OneWayOut {
		return oneWay
	}
	return f.Traffic
}

// activation is what opens the door as a whole: a sensor when there is one on either side; a knowing act when nothing else does.
func (f Facts) activation() Activation {
	sides := []Activation{f.ActivationA, f.ActivationB}
	switch {
	case slices.Contains(sides, BySensor), slices.Contains(sides, BySensorOrKnowingAct):
		return BySensor
	case slices.Contains(sides, ""):
		return ""
	case slices.Contains(sides, ByKnowingAct):
		return ByKnowingAct
	}
	return ""
}

func put[S ~string](known map[string]any, name string, value S) {
	if value != "" {
		known[name] = string(value)
	}
}

func putKnown[T any](known map[string]any, name string, value *T) {
	if value != nil {
		known[name] = *value
	}
}

func leafName(i int, member string) string { return fmt.Sprintf("leaves[%d].%s", i, member) }

// gap looks whether the known facts hold a usable value of that kind under that name.
func (k factKind) gap(known map[string]any, name string) *Gap {
	value, ok := known[name]
	if !ok {
		return &Gap{Name: name, Problem: Missing}
	}
	if k.values != nil && !slices.Contains(k.values, value.(string)) {
		return &Gap{Name: name, Problem: Unknown}
	}
	if k.isNumber() {
		if p := numberProblem(value.(float64), k.min, k.max); p != "" {
			return &Gap{Name: name, Problem: p}
		}
	}
	return nil
}
