package field

import "math"

// Approach is a way that people come, by name.
type Approach struct {
	Name string
	Path Path // towards the door; its end is where the door has to be open
}

// Opening is what a fan of approaches and the timing of a door need to know of it.
type Opening struct {
	ClearWidthM  float64
	EdgeM        float64 // how far from the door's plane a leaf sweeps on this side; 0 when it does not
	StartDelayS  float64 // from the output to the first movement
	OpeningTimeS float64 // from the first movement to the clear width
}

// NeededS is how long the door takes from the output until a body can pass: evenly, up to the width that the body needs (our own
// choice: operators accelerate and cushion).
func (o Opening) NeededS(b Body) float64 {
	share := 1.0
	if o.ClearWidthM > 0 {
		share = min(1, b.WidthM/o.ClearWidthM)
	}
	return o.StartDelayS + share*o.OpeningTimeS
}

// Where approaches begin and how near to the wall one is walked: choices of our own.
const (
	approachFromM  = 6.0
	alongTheWallM  = 0.6
	alongTheWallOf = 4.0
)

// Fan gives the ways to a door: straight, at 30° and 45° from each side, and along the wall from each side with the turn before the opening. Each ends in
// the middle of the opening, at the edge of the leaf's sweep where there is one.
func Fan(o Opening) []Approach {
	end := XY{0, o.EdgeM}
	from := func(deg float64) Path {
		sin, cos := sincosDeg(deg)
		return Path{{end[0] + approachFromM*sin, end[1] + approachFromM*cos}, end}
	}
	wall := func(side float64) Path {
		y := max(alongTheWallM, o.EdgeM)
		return Path{{side * (o.ClearWidthM/2 + alongTheWallOf), y}, {side * o.ClearWidthM / 4, y}, end}
	}
	return []Approach{
		{"straight", from(0)},
		{"left_30", from(-30)}, {"right_30", from(30)},
		{"left_45", from(-45)}, {"right_45", from(45)},
		{"left_wall", wall(-1)}, {"right_wall", wall(1)},
	}
}

// InTime is whether a door is open when somebody arrives.
type InTime struct {
	Approach   string
	Body       string
	Walk       Walk
	AvailableS float64 // from the trigger to the end of the path, less the latency
	NeededS    float64
	MarginS    float64 // negative: they stand before a door that is not open yet; −Inf when nothing triggers
	LeastM     float64 // the shortest way that must be left at the trigger
}

// InTime holds one approach against the opening's times.
func (d Device) InTime(m Motion, b Body, o Opening, a Approach) InTime {
	return o.inTime(m, b, a, d.Walk(m, b, a.Path))
}

func (o Opening) inTime(m Motion, b Body, a Approach, w Walk) InTime {
	t := InTime{Approach: a.Name, Body: b.Name, Walk: w, NeededS: o.NeededS(b)}
	t.LeastM = (t.NeededS + m.LatencyS) * b.SpeedMps
	if !w.Triggers {
		t.MarginS = math.Inf(-1)
		return t
	}
	t.AvailableS = w.LeftM/b.SpeedMps - m.LatencyS
	t.MarginS = t.AvailableS - t.NeededS
	return t
}

// WorstInTime gives the approach that leaves least time; the first of those that are alike.
func (d Device) WorstInTime(m Motion, b Body, o Opening, ways []Approach) (worst InTime) {
	at, least := d.aim(), 0.0
	var way Approach
	for i, a := range ways {
		if t := o.inTime(m, b, a, at.notice(m, b, a.Path)); i == 0 || t.MarginS < least {
			way, least = a, t.MarginS
		}
	}
	return d.InTime(m, b, o, way)
}

// StaysOpen says how long the door is still open after a slow walker has passed the door's plane: from the trigger the output is held as
// long as the body moves in the field and for the hold after, and the door stays for its own hold-open time and then closes. Negative: it closes on them.
func (d Device) StaysOpen(m Motion, b Body, a Approach, holdOpenS float64) (marginS float64, w Walk) {
	w = d.Walk(m, b, a.Path)
	if !w.Triggers {
		return math.Inf(-1), w
	}
	return w.HeldS + holdOpenS - w.LeftM/b.SpeedMps, w
}
