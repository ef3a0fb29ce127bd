package field

import "math"

// MovingLeaf is a leaf with its times. It moves evenly (our own choice: operators accelerate and cushion), and echoes as a walking adult does (our own choice, too).
type MovingLeaf struct {
	Leaf
	OpeningS, ClosingS float64 // of the whole movement, more than 0
	Inhibited          bool    // the control ignores the device while the leaf moves
}

// Consequence is what comes of a device that watches a leaf.
type Consequence string

// The consequences.
const (
	LeafUnnoticed Consequence = "unnoticed"   // it does not trigger
	LeafMasked    Consequence = "masked"      // it does, and the control ignores that
	LeafProlongs  Consequence = "prolongs"    // it triggers while it opens: the door stays open for longer
	LeafReopens   Consequence = "will_reopen" // it triggers while it closes: the door opens again
)

// LeafWatch is what a device makes of a leaf's two movements, by the criteria of Walk.
type LeafWatch struct {
	Opening, Closing Stroke
	Consequence      Consequence
}

// Stroke is what a device makes of one movement of a leaf. How far the leaf is open is told from 0 (closed) to 1 (open).
type Stroke struct {
	Triggers  bool
	At        float64 // how far open it is when it triggers
	Low, High float64 // between which some part of it triggers, or would trigger anew
	Share     float64 // of its surface that does so at some time, 0 to 1
	FarthestM float64 // the patch that does so which is farthest from the hinge, or the trailing edge

	// When it does not trigger.
	Why         Unseen
	MostMps     float64
	MostTravelM float64
}

// WatchLeaf holds a leaf's movements against what the device takes for a trigger. Each patch of the surface is followed by itself.
func (d Device) WatchLeaf(m Motion, l MovingLeaf) LeafWatch {
	w := LeafWatch{d.stroke(m, l.moves(false), false), d.stroke(m, l.moves(true), false), LeafUnnoticed}
	switch {
	case !w.Opening.Triggers && !w.Closing.Triggers:
	case l.Inhibited:
		w.Consequence = LeafMasked
	case w.Closing.Triggers:
		w.Consequence = LeafReopens
	default:
		w.Consequence = LeafProlongs
	}
	return w
}

// LeafRemedy is what would keep a leaf from triggering; nil where nothing of its kind does.
type LeafRemedy struct {
	ReachDB *float64 // the greatest reach, in whole tenths of a dB from −60 up
	OffsetM *float64 // how much farther from the door along y, at least, to a centimetre, up to 6 m: on an arm, in the ceiling
}

// RemedyFor looks for what keeps both movements of a leaf from triggering. The mask is left out of account.
func (d Device) RemedyFor(m Motion, l MovingLeaf) (r LeafRemedy) {
	strokes := [2]moves{l.moves(false), l.moves(true)}
	quiet := func(d Device) bool {
		return !d.stroke(m, strokes[1], true).Triggers && !d.stroke(m, strokes[0], true).Triggers
	}
	at := func(tenths int) Device {
		e := d
		e.ReachDB = min(d.ReachDB, float64(tenths)/10)
		return e
	}
	low, high := int(limitReach.low*10), int(math.Ceil(d.ReachDB*10-1e-9))
	if quiet(at(low)) {
		if quiet(at(high)) {
			low = high
		}
		for high-low > 1 { // the less it reaches the less it sees
			if middle := (low + high) / 2; quiet(at(middle)) {
				low = middle
			} else {
				high = middle
			}
		}
		reach := at(low).ReachDB
		r.ReachDB = &reach
	}
	out := func(offset float64) Device {
		e := d
		e.OffsetYM += offset
		return e
	}
	const coarse, fine, farthest = 0.1, 0.01, 6.0
	for offset := 0.0; offset <= farthest; offset += coarse {
		if !quiet(out(offset)) {
			continue
		}
		for less := offset - fine; less > offset-coarse && less >= 0 && quiet(out(less)); less -= fine {
			offset = less
		}
		r.OffsetM = &offset
		break
	}
	return r
}

// moves are the ways of a leaf's patches in one movement.
type moves struct {
	ways    []way
	seconds float64
	closing bool
}

// way is where a patch is after each even part of the movement.
type way struct {
	patch
	at     []XY
	hidden []bool
}

// A movement is divided into parts of at most 2° or 5 cm.
const (
	moveDeg = 2.0
	moveM   = 0.05
)

func (l MovingLeaf) moves(closing bool) moves {
	m := moves{seconds: l.OpeningS, closing: closing}
	if closing {
		m.seconds = l.ClosingS
	}
	patches := l.surface()
	from, _ := l.at(patches[len(patches)-1], 0)
	to, _ := l.at(patches[len(patches)-1], 1)
	n := max(steps(l.opensToDeg(), moveDeg), steps(dist(from, to), moveM))
	for _, p := range patches {
		w := way{p, make([]XY, n+1), make([]bool, n+1)}
		for i := range n + 1 {
			open := float64(i) / float64(n)
			if closing {
				open = 1 - open
			}
			w.at[i], w.hidden[i] = l.at(p, open)
		}
		m.ways = append(m.ways, w)
	}
	return m
}

// stroke follows every patch; first: up to the first that triggers, only to say that one does.
func (d Device) stroke(m Motion, l moves, first bool) Stroke {
	a := d.aim()
	m.HoldWhileMoving = false
	t := a.track(m, Body{})
	t.firstOnly, t.until = first, math.Inf(1)
	s := Stroke{Low: 1, At: math.Inf(1)}
	got, triggered := gotNowhere, 0
	for _, w := range l.ways {
		t.begin()
		t.moving = t.moving[:0]
		along := make([]float64, 1, len(w.at))
		for i := 1; i < len(w.at); i++ {
			length := dist(w.at[i-1], w.at[i])
			if w.hidden[i-1] || w.hidden[i] {
				t.travel = 0
			} else {
				t.speed = length * float64(len(w.at)-1) / l.seconds
				t.follow(Point{w.at[i-1][0], w.at[i-1][1], w.z}, Point{w.at[i][0], w.at[i][1], w.z}, along[i-1])
			}
			along = append(along, along[i-1]+length)
		}
		s.MostMps, s.MostTravelM, got = max(s.MostMps, t.mostMps), max(s.MostTravelM, t.mostTravel), max(got, t.got)
		if !t.triggered {
			continue
		}
		triggered++
		s.Triggers, s.At, s.FarthestM = true, min(s.At, partOf(along, t.at)), max(s.FarthestM, w.across)
		if first {
			return s
		}
		for _, when := range t.moving {
			s.Low, s.High = min(s.Low, partOf(along, when.from)), max(s.High, partOf(along, when.to))
		}
	}
	if !s.Triggers {
		return Stroke{Why: unseen[got], MostMps: s.MostMps, MostTravelM: s.MostTravelM}
	}
	s.MostMps, s.MostTravelM = 0, 0
	s.Share = float64(triggered) / float64(len(l.ways))
	if l.closing {
		s.At, s.Low, s.High = 1-s.At, 1-s.High, 1-s.Low
	}
	return s
}

// partOf is the part of the movement after which a patch has gone so far along its way.
func partOf(along []float64, far float64) float64 {
	n := len(along) - 1
	for i := 1; i <= n; i++ {
		if far <= along[i] && along[i] > along[i-1] {
			return (float64(i-1) + (far-along[i-1])/(along[i]-along[i-1])) / float64(n)
		}
	}
	return 1
}
