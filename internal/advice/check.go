package advice

import (
	"math"

	"lintel.example/lintel/internal/field"
)

// Of is what a check is of.
type Of string

// What an opening asks.
const (
	LeafUnseen Of = "leaf_unseen" // a leaf that moves nearby is not seen
	Watched    Of = "watched"     // a required zone has no gap that a test body fits into
	Still      Of = "still"       // the header's shaking does not look like a movement
	Ignored    Of = "ignored"     // what blows about does not trigger
	InTime     Of = "in_time"     // those who come find it open
	LetPass    Of = "let_pass"    // those who merely pass do not trigger
)

// Asked is one thing that an opening asks.
type Asked struct {
	Of   Of     `json:"of"`
	Name string `json:"name"` // of the leaf, the zone, the thing; "" for what there is one of
}

// Check is one thing held against a candidate in full.
type Check struct {
	Asked
	Holds bool `json:"holds"`
	// Value is what was computed and Limit what it is held against.
	//   - leaf_unseen: the share of the leaf's movement that is seen, at most 0 (Masked: the control ignores it meanwhile)
	//   - watched: the diameter of the widest gap in metres; Holds when the test body fits into none
	//   - still: the travel in metres that the shaking shows, less than what has to be confirmed, or its speed is below the least that is noticed
	//   - ignored: the longest coherent travel in metres, less than what has to be confirmed
	//   - in_time: seconds in hand, at least 0; UnseenS when somebody is not noticed at all
	//   - let_pass: the share of passing paths that trigger, at most PassersAtMost
	Value   float64  `json:"value"`
	Limit   float64  `json:"limit"`
	Masked  bool     `json:"masked,omitempty"`
	FromDeg float64  `json:"from_deg,omitempty"` // of leaf_unseen: the first and last opening angle at which a leaf that turns is seen
	ToDeg   float64  `json:"to_deg,omitempty"`
	Covered float64  `json:"covered,omitempty"` // of watched: the share of the zone
	Worst   *Arrival `json:"worst,omitempty"`   // of in_time: the body and the way that leave least
}

// Arrival is how somebody comes to the door.
type Arrival struct {
	Body       string  `json:"body"`
	Way        string  `json:"way"`
	Noticed    bool    `json:"noticed"`
	LeftM      float64 `json:"left_m"`      // of the way, when they are noticed
	AvailableS float64 `json:"available_s"` // until they are there
	NeededS    float64 `json:"needed_s"`    // until it is open
}

// What an opening puts up with, and from where on more is not worth more: choices of our own, said beside every answer.
const (
	PassersAtMost = 0.05
	EnoughS       = 1.0
	BandS         = 0.25
)

// UnseenS stands for the time in hand of somebody who is not noticed at all.
const UnseenS = -60.0

// asks lists what an opening asks, in the order in which it is told.
func (o *Opening) asks() []Asked {
	var list []Asked
	for _, l := range o.Leaves {
		list = append(list, Asked{LeafUnseen, l.Name})
	}
	for _, z := range o.Required {
		list = append(list, Asked{Watched, z.Name})
	}
	list = append(list, Asked{InTime, ""})
	for _, z := range o.KeptClear {
		list = append(list, Asked{LetPass, z.Name})
	}
	for _, b := range o.Blown {
		list = append(list, Asked{Ignored, b.Name})
	}
	if o.Shake != nil {
		list = append(list, Asked{Still, ""})
	}
	return list
}

// inFull holds a candidate against everything that its opening asks, exactly.
func (t trial) inFull() []Check {
	o := t.opening
	var list []Check
	for _, l := range o.Leaves {
		seen := t.CheckLeaf(l.Surface)
		list = append(list, Check{Asked: Asked{LeafUnseen, l.Name}, Holds: !seen.Seen || l.Inhibited, Value: seen.Share, Masked: seen.Seen && l.Inhibited, FromDeg: seen.FirstDeg, ToDeg: seen.LastDeg})
	}
	for _, z := range o.Required {
		list = append(list, watchedBy(t.Device, z))
	}
	if len(o.Bodies) > 0 {
		list = append(list, arrives(t.worst()))
	}
	for _, z := range o.KeptClear {
		list = append(list, passes(z.Name, t.PassBy(t.motion, passer, z.Zone, field.PassingGrid)))
	}
	for _, b := range o.Blown {
		r := t.Rejects(t.motion, b)
		list = append(list, Check{Asked: Asked{Ignored, b.Name}, Holds: !r.Triggers, Value: r.MostTravelM, Limit: t.motion.ConfirmTravelM})
	}
	if o.Shake != nil {
		list = append(list, t.still())
	}
	return list
}

func watchedBy(v field.Volume, z Zone) Check {
	cover := field.Cover(z.Zone, []field.Source{{Volume: v}})
	gap := 0.0
	for _, g := range cover.Gaps {
		gap = max(gap, g.CircleM)
	}
	return Check{Asked: Asked{Watched, z.Name}, Holds: !cover.Shortfall(), Value: gap, Limit: testBodyM, Covered: cover.CoveredShare}
}

func arrives(worst field.InTime) Check {
	return Check{Asked: Asked{InTime, ""}, Holds: worst.MarginS >= 0, Value: max(UnseenS, worst.MarginS),
		Worst: &Arrival{worst.Body, worst.Approach, worst.Walk.Triggers, worst.Walk.LeftM, worst.AvailableS, worst.NeededS}}
}

func passes(zone string, p field.Passing) Check {
	return Check{Asked: Asked{LetPass, zone}, Holds: p.Share() <= PassersAtMost, Value: p.Share(), Limit: PassersAtMost}
}

// testBodyM is the shorter side of the rule's test body on the floor.
const testBodyM = 0.20

// passer is whoever walks through a kept-clear zone.
var passer, _ = field.BodyNamed("walker")

func (t trial) worst() (worst field.InTime) {
	worst.MarginS = math.Inf(1)
	for _, b := range t.opening.Bodies {
		if w := t.WorstInTime(t.motion, b, t.opening.Opening, t.opening.Ways); w.MarginS < worst.MarginS {
			worst = w
		}
	}
	return worst
}

func (t trial) still() Check {
	c := Check{Asked: Asked{Still, ""}, Holds: true, Limit: t.motion.ConfirmTravelM}
	if s := t.shake(); s != nil {
		shaken := t.Shaken(t.motion, *s)
		c.Holds, c.Value = !shaken.Triggers, shaken.TravelM
	}
	return c
}

// Hold holds a device that is there, as it is set, against everything that the opening asks. Nobody comes in time or late where no Bodies are given.
func (o Opening) Hold(d field.Device, m field.Motion) []Check {
	t := trial{hardware: hardware{opening: &o, model: &Model{}, antenna: &Antenna{}}, Device: d, motion: m}
	return t.inFull()
}

// noticeable is what a change of a check's value must be for better or worse: hundredths of a second, of a metre, of a share.
const noticeable = 0.005

// Turn says what became of a check: better, worse or same.
func Turn(before, after Check) string {
	gain := before.Value - after.Value
	if before.Of == InTime {
		gain = -gain
	}
	switch {
	case before.Holds != after.Holds && after.Holds, before.Holds == after.Holds && gain > noticeable:
		return "better"
	case before.Holds != after.Holds, gain < -noticeable:
		return "worse"
	}
	return "same"
}
