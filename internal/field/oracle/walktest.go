package oracle

import "math"

// Tester walks towards a door to find where its sensor answers, and marks the floor.
type Tester struct {
	TallM, SpeedMps float64
	ConfirmM        float64 // that the sensor wants the range to shrink by, without a break
	LatencyS        float64
}

// Mark is where the tester was when the output came, and which way they walked.
type Mark struct{ X, Y, TowardsX, TowardsY float64 }

const (
	strideM = 0.06
	apartM  = 0.1 // between two scatterers of the tester
	enough  = 24  // marks
)

// Walked is where the output comes for a tester who walks from one point to the other. Each scatterer's way in is searched for by strides, then
// halved; from there its range has to shrink by what is confirmed, and it has to be inside still.
func (m Mount) Walked(w Tester, fromX, fromY, toX, toY float64) (Mark, bool) {
	m.ClipAtDoorPlane = false
	length := math.Hypot(toX-fromX, toY-fromY)
	ux, uy := (toX-fromX)/length, (toY-fromY)/length
	first := math.Inf(1)
	n := math.Ceil((w.TallM - lowestPointM) / apartM)
	for i := 0.0; i <= n; i++ {
		up := lowestPointM + (w.TallM-lowestPointM)*i/n
		m.PlaneHeightM = up
		inside := func(s float64) bool { return m.Seen(fromX+s*ux, fromY+s*uy) }
		ranged := func(s float64) float64 { return m.distance([2]float64{fromX + s*ux, fromY + s*uy}, up) }
		for s := strideM; s <= min(length, first); s += strideM {
			if !inside(s) {
				continue
			}
			entered := halved(s-strideM, s, inside)
			confirmed := func(t float64) bool { return ranged(entered)-ranged(t) >= w.ConfirmM }
			t := entered
			for t < length && !confirmed(t) && inside(t+1e-6) && ranged(t+strideM) < ranged(t) {
				t += strideM
			}
			if confirmed(t) {
				if t = halved(t-strideM, t, confirmed); t >= entered && inside(t+1e-6) {
					first = min(first, t)
				}
			}
			break
		}
	}
	if math.IsInf(first, 1) {
		return Mark{}, false
	}
	first += w.SpeedMps * w.LatencyS
	return Mark{fromX + first*ux, fromY + first*uy, ux, uy}, true
}

// halved is where a statement becomes true.
func halved(no, yes float64, holds func(float64) bool) float64 {
	for range 20 {
		if middle := (no + yes) / 2; holds(middle) {
			yes = middle
		} else {
			no = middle
		}
	}
	return yes
}

// WalkTest is a whole test of a door: from a fan of bearings towards its middle, and along it from both sides at some distances. Where nothing
// answers there is no mark; the fan becomes closer until there are two dozen. Each mark is off by the tape, and a share of them is wrong altogether.
func (m Mount) WalkTest(w Tester, tapeM, blunders float64, uniform, normal func() float64) (marks []Mark) {
	away := m.rangeAt(0) + 0.5
	walk := func(fromX, fromY, toX, toY float64) {
		mark, ok := m.Walked(w, fromX, fromY, toX, toY)
		if !ok {
			return
		}
		mark.X, mark.Y = mark.X+tapeM*normal(), mark.Y+tapeM*normal()
		if uniform() < blunders {
			off := 0.3 + uniform()
			if uniform() < 0.5 {
				off = -off
			}
			mark.X, mark.Y = mark.X+off*mark.TowardsX, mark.Y+off*mark.TowardsY
		}
		marks = append(marks, mark)
	}
	for _, far := range []float64{0.6, 1.0, 1.5, 2.0, 2.5} {
		walk(-away, far, 0, far)
		walk(away, far, 0, far)
	}
	for round := 0.0; len(marks) < enough && round < 6; round++ {
		for bearing := -60 + round; bearing <= 60; bearing += 6 {
			walk(away*math.Sin(radians(bearing)), away*math.Cos(radians(bearing)), 0, 0.05)
		}
	}
	return marks
}
