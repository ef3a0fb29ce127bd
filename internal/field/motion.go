package field

import (
	"cmp"
	"fmt"
	"iter"
	"math"
	"slices"
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

// How far an echo gets, and what it is then for want of.
const (
	gotNowhere = iota
	gotInside
	gotFast
	gotTheWay
	gotAll
)

var unseen = [...]Unseen{gotNowhere: NeverInside, gotInside: TooSlow, gotFast: WrongDirection, gotTheWay: TravelTooShort, gotAll: ""}

// Walk is what a device makes of a body on a path.
type Walk struct {
	Triggers bool
	At       XY      // where it triggers
	AlongM   float64 // how far along the path that is
	LeftM    float64 // and how much of the path is left
	AfterS   float64 // since the beginning of the path, without latency
	HeldS    float64 // how long the output is held

	// When it does not trigger.
	Why         Unseen
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

// Sampling of a walk: the body at heights no further apart than walkHeightM to find where it triggers (that is within 2 cm of what all heights
// together do), than holdHeightM to find how long it is held and whether it triggers at all; the path in steps of walkStepM, or longer ones when more than that
// has to be confirmed (who is inside for less than a step has not travelled that far). What begins or ends between two steps is found to a millimetre.
const (
	walkHeightM = 0.2
	holdHeightM = 0.4

	walkStepM    = 0.05
	walkLongestM = 0.15
)

// Walk says where a body on a path triggers the device. The body is an upright line from 0.1 m to its height; each of its points is
// followed by itself, because coherent travel is a matter of one echo. Triggering wants, inside the volume, at least the least speed along the line of
// sight in the direction asked, for the whole of the confirmed travel. At the point of closest approach there is no such speed, and
// the travel begins anew.
//
// What holds the output after that is movement in any direction with HoldWhileMoving, and without it whatever would trigger anew. It is held up to the
// first pause that outlasts HoldS.
func (d Device) Walk(m Motion, b Body, p Path) Walk {
	a := d.aim()
	return a.walk(m, b, p)
}

func (a *aim) walk(m Motion, b Body, p Path) Walk {
	w := a.notice(m, b, p)
	if !w.Triggers {
		return w
	}
	t := a.track(m, b)
	t.moving = make([]span, 0, 16)
	for z := range b.heights(holdHeightM) {
		t.along(p, z)
	}
	w.HeldS = (held(t.moving, w.AlongM, m.HoldS*b.SpeedMps)-w.AlongM)/b.SpeedMps + m.HoldS
	return w
}

// notice is Walk without HeldS.
func (a *aim) notice(m Motion, b Body, p Path) Walk {
	var w Walk
	got := gotNowhere
	t := a.track(m, b)
	t.firstOnly, t.until = true, math.Inf(1)
	for z := range b.heights(walkHeightM) {
		t.along(p, z)
		w.MostMps, w.MostTravelM = max(w.MostMps, t.mostMps), max(w.MostTravelM, t.mostTravel)
		got = max(got, t.got)
		if t.triggered && t.at < t.until {
			w.Triggers, t.until = true, t.at // of the others nothing matters from here on
		}
	}
	if !w.Triggers {
		w.Why = unseen[got]
		return w
	}
	w.MostMps, w.MostTravelM = 0, 0
	w.AlongM = t.until
	w.At, w.LeftM = p.At(w.AlongM), p.LengthM()-w.AlongM
	w.AfterS = w.AlongM / b.SpeedMps
	return w
}

// Stretch is a part of a path on which the device makes one thing of a body.
type Stretch struct {
	FromM, ToM  float64 // along the path
	Why         Unseen  // what it wants there; "" where it triggers, or would trigger anew
	MostMps     float64 // the greatest speed along the line of sight
	MostTravelM float64 // the longest coherent travel in the direction that is asked
}

// stretchM is how finely a path is divided into stretches.
const stretchM = 0.05

// Stretches says what the device makes of a body all along a path: of those of its points that get furthest. The stretches are to stretchM, and
// together the whole path.
func (d Device) Stretches(m Motion, b Body, p Path) []Stretch {
	type cell struct {
		got         int
		mps, travel float64
	}
	n := steps(p.LengthM(), stretchM)
	width := p.LengthM() / float64(n)
	cells := make([]cell, n)
	a := d.aim()
	t := a.track(m, b)
	t.stepM = stretchM
	t.tell = func(along span, got int, mps, travel float64) {
		c := &cells[min(n-1, int((along.from+along.to)/2/width))]
		switch {
		case got > c.got:
			*c = cell{got, mps, travel}
		case got == c.got:
			c.mps, c.travel = max(c.mps, mps), max(c.travel, travel)
		}
	}
	for z := range b.heights(walkHeightM) {
		t.along(p, z)
	}
	var list []Stretch
	for i, c := range cells {
		if i == 0 || unseen[c.got] != list[len(list)-1].Why {
			list = append(list, Stretch{FromM: float64(i) * width, Why: unseen[c.got]})
		}
		last := &list[len(list)-1]
		last.ToM, last.MostMps, last.MostTravelM = float64(i+1)*width, max(last.MostMps, c.mps), max(last.MostTravelM, c.travel)
	}
	return list
}

// heights are those of the body's points that are followed.
func (b Body) heights(stepM float64) iter.Seq[float64] {
	tall := max(0, b.HeightM-seenFromM)
	n := steps(tall, stepM)
	return func(yield func(float64) bool) {
		for i := range n + 1 {
			if !yield(seenFromM + tall*float64(i)/float64(n)) {
				return
			}
		}
	}
}

// span is a part of a path, in metres along it.
type span struct{ from, to float64 }

// held is how far along a path the output is held that a trigger at a place begins, when a pause of so many metres is bridged.
func held(moving []span, at, pauseM float64) float64 {
	slices.SortFunc(moving, func(a, b span) int { return cmp.Compare(a.from, b.from) })
	until := at
	for _, s := range moving {
		if s.from > until+pauseM+1e-6 {
			break
		}
		until = max(until, s.to)
	}
	return until
}

// track follows one echo along straight lines.
type track struct {
	sight
	motion Motion
	speed  float64
	stepM  float64

	moving    []span  // in which movement holds the output, of all echoes that were followed
	firstOnly bool    // what comes after the trigger does not matter,
	until     float64 // nor what comes from here on along the path; for firstOnly
	tell      func(along span, got int, mps, travelM float64)

	travel     float64 // coherent, so far
	shrinking  bool    // whether the range shrank meanwhile
	triggered  bool
	at         float64 // along the path, where it triggered
	got        int     // of unseen
	mostMps    float64
	mostTravel float64
}

func (a *aim) track(m Motion, b Body) track {
	return track{sight: a.sight(a.ReachDB + b.CrossSectionDB), motion: m, speed: b.SpeedMps, stepM: min(walkLongestM, max(walkStepM, m.ConfirmTravelM))}
}

// along follows the point of a body at a height.
func (t *track) along(p Path, z float64) {
	t.begin()
	along := 0.0
	for j := 1; j < len(p) && !t.done(along); j++ {
		t.follow(Point{p[j-1][0], p[j-1][1], z}, Point{p[j][0], p[j][1], z}, along)
		along += dist(p[j-1], p[j])
	}
}

// done says whether nothing matters any more from a place along the path on.
func (t *track) done(along float64) bool { return t.firstOnly && (t.triggered || along >= t.until) }

func (t *track) begin() {
	t.travel, t.triggered, t.at, t.got, t.mostMps, t.mostTravel = 0, false, 0, gotNowhere, 0, 0
}

// moment is the echo at one point of its line.
type moment struct {
	s      float64 // along the line
	r      float64 // range
	inside bool
}

// follow goes along a line that begins at a place along the path. The range along it is √(miss² + (s − middle)²), so its slope is
// (s − middle)/range, and the speed along the line of sight is too low within a stretch about the middle that is known beforehand.
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
		return moment{s, math.Sqrt(miss2 + sq(s-middle)), t.sees(Point{from.X + s*dir.X, from.Y + s*dir.Y, from.Z + s*dir.Z})}
	}
	begin, end := 0.0, 0.0
	if miss2 < sq(t.rangeM) {
		half := math.Sqrt(sq(t.rangeM) - miss2)
		begin, end = max(0, middle-half), min(length, middle+half)
	}
	if begin > 0 || begin >= end {
		t.travel = 0
	}
	if begin >= end {
		return
	}
	slow := slowWithin(math.Sqrt(miss2), t.motion.LeastSpeedMps/t.speed)
	turns := [3]float64{middle - slow, middle, middle + slow}
	was := look(begin)
	for s := begin; s < end; {
		next := min(end, s+t.stepM)
		for _, turn := range turns {
			if s < turn && next > turn {
				next = turn
				break
			}
		}
		now := look(next)
		if was.inside != now.inside {
			if edge := t.edge(look, was, now); edge.s > was.s && edge.s < now.s {
				now = edge
			}
		}
		t.step(was, now, middle, slow, along)
		if was, s = now, now.s; t.done(along + s) {
			return
		}
	}
	if end < length {
		t.travel = 0
	}
}

// slowWithin is how far from the point of closest approach, at a distance of missM from the device, somebody's speed along the line of sight is
// below a share of their speed.
func slowWithin(missM, share float64) float64 {
	switch {
	case share < 1:
		return missM * share / math.Sqrt(1-share*share)
	case share == 1 && missM == 0:
		return 0
	}
	return math.Inf(1)
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

// step counts what lies between two moments near each other, on one side of the point of closest approach.
func (t *track) step(was, now moment, middle, slow, along float64) {
	here := span{along + was.s, along + now.s}
	if !was.inside || !now.inside {
		t.travel = 0
		t.note(here, gotNowhere, 0)
		return
	}
	half := (was.s + now.s) / 2
	mps := t.speed * max(slopeAt(was, middle), slopeAt(now, middle))
	t.mostMps = max(t.mostMps, mps)
	if half == middle || math.Abs(half-middle) < slow {
		t.travel = 0
		t.note(here, gotInside, mps)
		return
	}
	shrinking := half < middle
	asked := t.motion.Direction == Either || shrinking == (t.motion.Direction == Approaching)
	if t.motion.HoldWhileMoving {
		t.hold(here)
	}
	if !asked {
		t.travel = 0
		t.note(here, gotFast, mps)
		return
	}
	if shrinking != t.shrinking {
		t.travel, t.shrinking = 0, shrinking
	}
	gained := math.Abs(now.r - was.r)
	missing := t.motion.ConfirmTravelM - t.travel
	t.travel += gained
	t.mostTravel = max(t.mostTravel, t.travel)
	if missing > gained {
		t.note(here, gotTheWay, mps)
		return
	}
	at := here
	if missing > 0 {
		at.from += missing / gained * (here.to - here.from)
	}
	if !t.triggered {
		t.triggered, t.at = true, at.from
	}
	if !t.motion.HoldWhileMoving {
		t.hold(at)
	}
	t.note(here, gotAll, mps)
}

func slopeAt(m moment, middle float64) float64 {
	if m.r == 0 {
		return 1
	}
	return math.Abs(m.s-middle) / m.r
}

// hold adds a part of the path to those in which movement holds the output.
func (t *track) hold(s span) {
	if n := len(t.moving); n > 0 && t.moving[n-1].to == s.from {
		t.moving[n-1].to = s.to
		return
	}
	t.moving = append(t.moving, s)
}

// note keeps how far the echo gets on a part of the path.
func (t *track) note(s span, got int, mps float64) {
	t.got = max(t.got, got)
	if t.tell != nil {
		t.tell(s, got, mps, t.travel)
	}
}
