package field

import "math"

// Purpose is what an output is good for.
type Purpose string

// The purposes.
const (
	Activation Purpose = "activation"  // tells that somebody comes
	Presence   Purpose = "presence"    // tells that somebody is there, also one who stands
	Both       Purpose = "both"        // activation and presence
	KnowingAct Purpose = "knowing_act" // tells that somebody asked; nobody is seen who does not
)

// Sensing is what an output tells, and for how long.
type Sensing struct {
	Purpose Purpose
	StillS  float64 // for how long at least somebody who stands still is told; +Inf without end, 0 not at all
	HoldS   float64 // how long the output stays after the last
}

// Unfitness is why an output does not count for a zone.
type Unfitness string

// Why it does not: the first that holds.
const (
	OtherPurpose Unfitness = "other_purpose" // it tells something else than the zone asks
	LetsGo       Unfitness = "lets_go"       // it lets go of somebody who stands sooner than the zone asks
)

// Unfit says why the output does not count for a zone; "" when it does: it has the zone's purpose and lasts as long as the zone asks.
func (s Sensing) Unfit(z Zone) Unfitness {
	switch {
	case z.Purpose == "":
	case s.Purpose != z.Purpose && s.Purpose != Both:
		return OtherPurpose
	case s.StillS < z.StillS:
		return LetsGo
	}
	return ""
}

// limitStill is what a presence time-out may be; a sensor without one has +Inf.
var (
	limitStill = limit{"still_s", 0, math.Inf(1)}
	limitHold  = limit{"hold_s", 0, 3600}
)

// check gives an *InputError for what is outside its limits, or for a purpose that is none of those allowed.
func (s Sensing) check(allowed ...Purpose) error {
	ok := false
	for _, p := range allowed {
		ok = ok || s.Purpose == p
	}
	if !ok {
		list := ""
		for i, p := range allowed {
			if i > 0 {
				list += " or "
			}
			list += string(p)
		}
		return &InputError{"purpose", "must be " + list}
	}
	return checkAll(measured{limitStill, s.StillS}, measured{limitHold, s.HoldS})
}

// measured is a member with its value.
type measured struct {
	limit
	v float64
}

// checkAll gives an *InputError for the first value outside its limits.
func checkAll(values ...measured) error {
	for _, m := range values {
		if err := m.check(m.v); err != nil {
			return err
		}
	}
	return nil
}
