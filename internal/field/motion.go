package field

import (
	"fmt"
	"math"
)

// SpeedOfLightMps is exact by the definition of the metre (SI, 1983).
const SpeedOfLightMps = 299792458.0

// Direction says which movements trigger.
type Direction string

// The directions, along the line of sight.
const (
	Approaching Direction = "approach"  // the range shrinks
	Departing   Direction = "departure" // the range grows
	Either      Direction = "either"
)

// Motion is what a Doppler sensor makes of movement within its volume.
type Motion struct {
	FrequencyHz     float64 // of the carrier; only for what is told in hertz
	LeastSpeedMps   float64 // along the line of sight; slower is not noticed
	Direction       Direction
	ConfirmTravelM  float64 // coherent travel along the line of sight before it triggers
	HoldWhileMoving bool    // once triggered, movement in any direction keeps it so
	HoldS           float64 // after the last
	LatencyS        float64 // of the electronics, from the trigger to the output
}

// DopplerHz is the frequency by which an echo is shifted at a speed along the line of sight: 2·v·f/c.
func (m Motion) DopplerHz(radialMps float64) float64 {
	return 2 * radialMps * m.FrequencyHz / SpeedOfLightMps
}

// RadialMps is the speed that a frequency in the echo looks like.
func (m Motion) RadialMps(dopplerHz float64) float64 {
	return dopplerHz * SpeedOfLightMps / (2 * m.FrequencyHz)
}

// Body is somebody or something that moves upright on the floor.
type Body struct {
	Name     string
	HeightM  float64
	WidthM   float64 // clear width that it needs to pass
	SpeedMps float64
	// CrossSectionDB is its radar cross-section relative to a walking adult's: its own volume is the device's with the range times 10^(dB/40).
	CrossSectionDB float64
	Source         string
}

// Bodies are those that doors are judged by, each with its source or mark.
func Bodies() []Body {
	const own = "our own choice; sizes: common practice, no source"
	return []Body{
		{"walker", 1.7, 0.6, 1.5, 0, "fast walking 1.5 m/s: common practice, no source; " + own},
		{"hurrying", 1.7, 0.6, 2.0, 0, "hurrying 2.0 m/s: common practice, no source; " + own},
		{"runner", 1.7, 0.7, 3.0, 0, own},
		{"slow_walker", 1.6, 0.6, 0.8, 0, "frail walker 0.8 m/s: common practice, no source; " + own},
		{"crossing_speed", 1.7, 0.6, 1.0668, 0, "3.5 ft/s, the walking speed of the Manual on Uniform Traffic Control Devices (2009), 4E.06: from memory"},
		{"wheelchair", 1.3, 0.9, 1.2, -1, own},
		{"child", 0.9, 0.4, 1.5, -6, own},
		{"trolley", 1.1, 0.7, 1.2, -3, own},
	}
}

// BodyNamed finds one of Bodies.
func BodyNamed(name string) (Body, bool) {
	for _, b := range Bodies() {
		if b.Name == name {
			return b, true
		}
	}
	return Body{}, false
}

// Path is a polyline on the floor, walked at one speed.
type Path []XY

// LengthM is how long it is.
func (p Path) LengthM() (length float64) {
	for i := 1; i < len(p); i++ {
		length += dist(p[i-1], p[i])
	}
	return length
}

// At is the point so far along it.
func (p Path) At(along float64) XY {
	for i := 1; i < len(p); i++ {
		d := dist(p[i-1], p[i])
		if along <= d && d > 0 {
			return XY{p[i-1][0] + (p[i][0]-p[i-1][0])*along/d, p[i-1][1] + (p[i][1]-p[i-1][1])*along/d}
		}
		along -= d
	}
	return p[len(p)-1]
}

// Back is the path walked the other way.
func (p Path) Back() Path {
	back := make(Path, len(p))
	for i, v := range p {
		back[len(p)-1-i] = v
	}
	return back
}

// Unseen is why nothing triggered.
type Unseen string

// Why nothing triggered: the first that was not enough anywhere on the path.
const (
	NeverInside    Unseen = "never_inside"     // no part of the body was in the volume
	TooSlow        Unseen = "too_slow"         // inside, never fast enough along the line of sight
	WrongDirection Unseen = "wrong_direction"  // fast enough, never in the direction that is asked
	TravelTooShort Unseen = "travel_too_short" // never as far as has to be confirmed without a break
)

// Walk is what a device makes of a body on a path.
type Walk struct {
	Triggers bool
	At       XY      // where it triggers
	AlongM   float64 // how far along the path that is
	LeftM    float64 // and how much of the path is left
	AfterS   float64 // since the beginning of the path, without latency
	HeldS    float64 // how long the output is held

	Why         Unseen  // when it does not trigger
	MostMps     float64 // the greatest speed along the line of sight inside the volume
	MostTravelM float64 // the longest coherent travel in the direction that is asked
}

// String is for failures of tests.
func (w Walk) String() string {
	if w.Triggers {
		return fmt.Sprintf("triggers at (%.2f, %.2f), %.2f m along, %.2f m left, held %.1f s", w.At[0], w.At[1], w.AlongM, w.LeftM, w.HeldS)
	}
	return fmt.Sprintf("%s: most %.2f m/s, %.3f m", w.Why, w.MostMps, w.MostTravelM)
}

// Sampling of a walk: the body at heights no further apart than this, the path in steps of this, or longer ones when more than that has to be confirmed (who
// is inside for less than a step has not travelled that far); what begins or ends between two steps is found to a millimetre.
const (
	walkHeightM = 0.4
	walkStepM   = 0.05

	walkLongestM = 0.15
)

// Walk says where a body on a path triggers the device. The body is an upright line from 0.1 m to its height; each of its points is
// followed by itself, because coherent travel is a matter of one echo. Triggering wants, inside the volume, at least the least speed along the line of
// sight in the direction asked, for the whole of the confirmed travel. At the point of closest approach there is no such speed, and
// the travel begins anew.
func (d Device) Walk(m Motion, b Body, p Path) Walk {
	a := d.aim()
	n := steps(b.HeightM-seenFromM, walkHeightM)
	best := Walk{Why: NeverInside}
	length := p.LengthM()
	last := math.Inf(-1) // of motion that holds the output
	for i := range n + 1 {
		z := seenFromM + max(0, b.HeightM-seenFromM)*float64(i)/float64(n)
		along := 0.0
		var t track
		t.begin(&a, m, b)
		for j := 1; j < len(p); j++ {
			from, to := Point{p[j-1][0], p[j-1][1], z}, Point{p[j][0], p[j][1], z}
			t.follow(from, to, along)
			along += dist(p[j-1], p[j])
		}
		best.take(&t)
		last = max(last, t.last)
	}
	if !best.Triggers {
		return best
	}
	best.At, best.LeftM = p.At(best.AlongM), length-best.AlongM
	best.AfterS = best.AlongM / b.SpeedMps
	best.HeldS = max(0, last-best.AlongM)/b.SpeedMps + m.HoldS
	best.Why = ""
	return best
}

// take keeps what one point of the body says when it says more.
func (w *Walk) take(t *track) {
	w.MostMps, w.MostTravelM = max(w.MostMps, t.mostMps), max(w.MostTravelM, t.mostTravel)
	if t.triggered && (!w.Triggers || t.at < w.AlongM) {
		w.Triggers, w.AlongM = true, t.at
	}
	if !w.Triggers && t.why.rank() > w.Why.rank() {
		w.Why = t.why
	}
}

func (u Unseen) rank() int {
	switch u {
	case TooSlow:
		return 1
	case WrongDirection:
		return 2
	case TravelTooShort:
		return 3
	}
	return 0
}

// track follows one echo along straight lines.
type track struct {
	sight
	motion    Motion
	speed     float64
	stepM     float64
	travel    float64 // coherent, so far
	triggered bool
	at        float64 // along the path, where it triggered
	last      float64 // along the path, the last motion that holds
	why       Unseen

	mostMps, mostTravel float64
	firstOnly           bool // what comes after the trigger does not matter
}

func (t *track) begin(a *aim, m Motion, b Body) {
	*t = track{sight: a.sight(a.ReachDB + b.CrossSectionDB), motion: m, speed: b.SpeedMps, why: NeverInside, last: math.Inf(-1)}
	t.stepM = min(walkLongestM, max(walkStepM, m.ConfirmTravelM))
}

// moment is the echo at one point of its line.
type moment struct {
	s      float64 // along the line
	r      float64 // range
	slope  float64 // dr/ds, −1 to 1
	inside bool
}

// follow goes along a line that begins at a place along the path.
func (t *track) follow(from, to Point, along float64) {
	length := math.Sqrt(sq(to.X-from.X) + sq(to.Y-from.Y) + sq(to.Z-from.Z))
	if length == 0 {
		return
	}
	dir := Point{(to.X - from.X) / length, (to.Y - from.Y) / length, (to.Z - from.Z) / length}
	dx, dy, dz := from.X-t.OffsetXM, from.Y-t.OffsetYM, from.Z-t.HeightM
	middle := -(dx*dir.X + dy*dir.Y + dz*dir.Z) // the point of closest approach
	miss2 := max(0, sq(dx)+sq(dy)+sq(dz)-sq(middle))
	look := func(s float64) moment {
		r := math.Sqrt(miss2 + sq(s-middle))
		m := moment{s: s, r: r}
		if r > 0 {
			m.slope = (s - middle) / r
		}
		m.inside = t.sees(Point{from.X + s*dir.X, from.Y + s*dir.Y, from.Z + s*dir.Z})
		return m
	}
	if miss2 >= sq(t.rangeM) {
		t.travel = 0
		return
	}
	half := math.Sqrt(sq(t.rangeM) - miss2)
	begin, end := max(0, middle-half), min(length, middle+half)
	if begin > 0 || begin >= end {
		t.travel = 0
	}
	if begin >= end {
		return
	}
	was := look(begin)
	for s := begin; s < end; {
		next := min(end, s+t.stepM)
		if s < middle && next > middle {
			next = middle // the range turns here
		}
		now := look(next)
		if was.inside != now.inside {
			if edge := t.edge(look, was, now); edge.s > was.s && edge.s < now.s {
				now = edge
			}
		}
		t.step(was, now, along)
		if t.triggered && t.firstOnly {
			return
		}
		was, s = now, now.s
	}
	if end < length {
		t.travel = 0
	}
}

// edge is the last moment on the side of was before the volume's border, or the first beyond it when was is all but there.
func (t *track) edge(look func(float64) moment, was, now moment) moment {
	a, b := was, now
	for b.s-a.s > 1e-3 {
		m := look((a.s + b.s) / 2)
		if m.inside == was.inside {
			a = m
		} else {
			b = m
		}
	}
	if a.s > was.s {
		return a
	}
	return b
}

// step counts what lies between two moments near each other.
func (t *track) step(was, now moment, along float64) {
	if !was.inside || !now.inside {
		t.travel = 0
		return
	}
	slope := (now.r - was.r) / (now.s - was.s)
	radial := t.speed * math.Abs(slope)
	t.mostMps = max(t.mostMps, radial)
	if radial < t.motion.LeastSpeedMps || radial == 0 {
		t.travel, t.why = 0, t.atLeast(TooSlow)
		return
	}
	asked := t.motion.Direction == Either || t.motion.Direction == Approaching && slope < 0 || t.motion.Direction == Departing && slope > 0
	if t.triggered && (asked || t.motion.HoldWhileMoving) {
		t.last = along + now.s
	}
	if !asked {
		t.travel, t.why = 0, t.atLeast(WrongDirection)
		return
	}
	gained := math.Abs(now.r - was.r)
	if !t.triggered && t.travel+gained >= t.motion.ConfirmTravelM {
		share := 0.0
		if gained > 0 {
			share = max(0, min(1, (t.motion.ConfirmTravelM-t.travel)/gained))
		}
		t.triggered, t.at, t.last = true, along+was.s+share*(now.s-was.s), along+now.s
	}
	t.travel += gained
	t.mostTravel, t.why = max(t.mostTravel, t.travel), t.atLeast(TravelTooShort)
}

func (t *track) atLeast(u Unseen) Unseen {
	if u.rank() > t.why.rank() {
		return u
	}
	return t.why
}
