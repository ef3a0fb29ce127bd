package oracle

import (
	"math"
	"math/rand/v2"
	"testing"
)

// The worked examples were counted on a 2 mm grid by somebody else's code.
func TestWorkedExamples(t *testing.T) {
	for i, c := range workedExamples() {
		e := c.Measure()
		for what, pair := range map[string][2]float64{
			"width": {e.Found.Right - e.Found.Left, c.width}, "depth": {e.Found.Far - e.Found.Near, c.depth},
			"near": {e.Found.Near, c.near}, "far": {e.Found.Far, c.far},
		} {
			if math.Abs(pair[0]-pair[1]) > 0.0025 { // a step of their grid and half a digit
				t.Errorf("row %d: %s %.4f m, want %.3f", i+1, what, pair[0], pair[1])
			}
		}
		if math.Abs(e.AreaM2-c.area) > 0.0005+e.ErrorM2 {
			t.Errorf("row %d: area %.4f m², want %.3f (own error at most %.4f)", i+1, e.AreaM2, c.area, e.ErrorM2)
		}
	}
}

// The bounds over cells and the plain question at a point are two ways to the same set.
func TestMeasureAgreesWithPlainCounting(t *testing.T) {
	random := rand.New(rand.NewPCG(11, 1))
	compared, vague := 0, 0
	for i := range 60 {
		m := Draw(random.Float64, i%2 == 0)
		e := m.Measure()
		if e.Empty {
			continue
		}
		compared++
		box := e.Possible
		step := math.Sqrt(box.areaM2()) / 150
		if e.Found.beyond(box) > 2*extentErrorM || e.ErrorM2 > max(areaError*e.AreaM2, areaErrorM2) {
			vague++ // hairs, or a border so long that it takes too many cells
		}
		count := m.Count(Cell{box.Left - step, box.Near - step, box.Right + step, box.Far + step}, step)
		if e.Possible.beyond(count.Found) > 0 {
			t.Errorf("%+v: counted %v, called impossible out of %v", m, count.Found, e.Possible)
		}
		border := 2 * (box.Right - box.Left + box.Far - box.Near) // at least; a patch or hole adds to it
		if math.Abs(count.AreaM2-e.AreaM2) > e.ErrorM2+border*step {
			t.Errorf("%+v: counted %.5f m², measured %.5f ± %.5f", m, count.AreaM2, e.AreaM2, e.ErrorM2)
		}
	}
	if compared < 40 || vague > 3 {
		t.Errorf("%d of 60 mounts compared, %d of them measured only roughly", compared, vague)
	}
}

// Every cell that is called seen or unseen is so at its corners and at points within.
func TestVerdictsHoldForEveryPointOfACell(t *testing.T) {
	random := rand.New(rand.NewPCG(12, 1))
	verdicts := map[verdict]int{}
	for i := range 400 {
		m := Draw(random.Float64, i%2 == 0)
		m.ClipAtDoorPlane = false
		a, s := newAim(m), newSearch(m)
		if len(s.undecided) == 0 {
			continue
		}
		square := s.undecided[0]
		for range 200 {
			x := square.Left + random.Float64()*(square.Right-square.Left)
			y := square.Near + random.Float64()*(square.Far-square.Near)
			side := (square.Right - square.Left) * math.Exp(-8*random.Float64())
			c := Cell{x, y, x + side, y + side}
			v := a.judge(c)
			verdicts[v]++
			for range 20 {
				px, py := c.Left+random.Float64()*side, c.Near+random.Float64()*side
				if seen := m.Seen(px, py); v == allSeen && !seen || v == noneSeen && seen {
					t.Fatalf("%+v: cell %+v is called %v, but the point (%g, %g) is seen: %v", m, c, v, px, py, seen)
				}
			}
		}
	}
	if verdicts[allSeen] < 1000 || verdicts[noneSeen] < 1000 || verdicts[undecided] < 1000 {
		t.Errorf("too few of one kind: %v", verdicts)
	}
}

// A rod of radar: the axis straight down, equal beamwidths, so the field is a disc whose radius is known by hand.
func TestDiscStraightDown(t *testing.T) {
	// At 12 dB of limit under a 3 m sensor of 10 m range: the side lobes' ball has the radius 10·10^(−12/20) = 2.512 m,
	// less than the height, so the field ends where the beam falls off: 10·10^(−12·(γ/40°)²/20)·cos γ = 3.
	m := Mount{HeightM: 3, AzimuthBeamwidthDeg: 40, ElevationBeamwidthDeg: 40, AttenuationLimitDB: 12, BoresightRangeM: 10}
	onAxisX := bisect(func(g float64) float64 { return 10*math.Pow(10, -12*math.Pow(g/radians(40), 2)/20)*math.Cos(g) - 3 }, 0, radians(40))
	e := m.Measure()
	if want := 3 * math.Tan(onAxisX); math.Abs(e.Found.Right-want) > 0.0006 || math.Abs(e.Found.Left+want) > 0.0006 || math.Abs(e.Found.Far-want) > 0.0006 {
		t.Errorf("reaches to %v, want %g", e.Found, want)
	}
	// With the limit at 3 dB the ball has 7.079 m, and cuts the floor in a disc of 6.412 m radius.
	m.AttenuationLimitDB = 3
	e = m.Measure()
	ball := 10 * math.Pow(10, -3.0/20)
	radius := math.Sqrt(ball*ball - 9)
	if math.Abs(e.Found.Right-radius) > 0.0006 || math.Abs(e.AreaM2-math.Pi*radius*radius) > e.ErrorM2 {
		t.Errorf("reaches to %v with %g m², want a disc of radius %g", e.Found, e.AreaM2, radius)
	}
}

func bisect(f func(float64) float64, low, high float64) float64 {
	for range 100 {
		if middle := (low + high) / 2; f(middle) > 0 {
			low = middle
		} else {
			high = middle
		}
	}
	return low
}

type workedExample struct {
	Mount
	width, depth, near, far, area float64
}

func workedExamples() []workedExample {
	row := func(height, tilt, yaw, x, y, azimuth, elevation, limit, reachM, reach, plane float64, clip bool, width, depth, near, far, area float64) workedExample {
		return workedExample{Mount{height, tilt, yaw, x, y, azimuth, elevation, limit, reachM, reach, plane, clip}, width, depth, near, far, area}
	}
	return []workedExample{
		row(2.13, 24, 0, 0, 0.05, 29, 36, 25, 6.0, 0, 0, true, 1.980, 2.438, 0.000, 2.438, 3.924),
		row(3.00, 24, 0, 0, 0.05, 29, 36, 25, 6.0, 0, 0, true, 2.172, 2.840, 0.000, 2.840, 4.847),
		row(4.00, 24, 0, 0, 0.05, 29, 36, 25, 6.0, 0, 0, true, 2.068, 2.696, 0.370, 3.066, 4.357),
		row(2.13, 21, 0, 0, 0.05, 58, 29, 25, 6.0, 0, 0, true, 3.956, 1.980, 0.000, 1.980, 6.443),
		row(3.00, 21, 0, 0, 0.05, 58, 29, 25, 6.0, 0, 0, true, 4.180, 2.296, 0.074, 2.370, 7.606),
		row(2.13, 30, 0, 0, 0.05, 45, 45, 25, 4.0, 0, 0, true, 2.200, 2.394, 0.036, 2.430, 4.105),
		row(2.13, 32, 0, 0, 0.05, 36, 40, 25, 4.4, -6, 0, true, 1.214, 1.474, 0.487, 1.961, 1.399),
		row(2.75, 32, 0, 0, 0.05, 36, 40, 25, 6.0, 0, 0.71, true, 2.504, 3.074, 0.000, 3.074, 6.069),
		row(2.40, 0, 0, 0, 0.90, 60, 60, 25, 5.0, 0, 0, false, 3.564, 3.564, -0.882, 2.682, 9.821),
		row(2.40, 35, 20, -0.4, 0.10, 70, 40, 25, 5.0, -3, 0, true, 3.138, 2.420, 0.343, 2.763, 5.819),
	}
}
