package rulebook

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

// grid tries every crossing of a grid on a side and sees what lies in the rectangle.
func grid(spacing float64, columns, rows int, watched Rect) (tried []Position) {
	for i := range columns {
		for j := range rows {
			x, y := (float64(i)-float64(columns-1)/2)*spacing, (float64(j)+0.5)*spacing
			tried = append(tried, Position{x, y, x >= watched.X0M && x <= watched.X1M && y >= watched.Y0M && y <= watched.Y1M})
		}
	}
	return tried
}

// A zone of 2.0 m by 1.1 m tried each 0.3 m: seen from −0.9 to 0.9 m and from 0.15 to 1.05 m.
func TestPositionsBearOutARectangle(t *testing.T) {
	z, ok := Covered(grid(0.3, 11, 6, Rect{-1, 1, 0, 1.1}), 0.3)
	near := func(a, b float64) bool { return math.Abs(a-b) < 1e-9 }
	if !ok || !near(z.Rect.X0M, -0.9) || !near(z.Rect.X1M, 0.9) || !near(z.Rect.Y0M, 0.15) || !near(z.Rect.Y1M, 1.05) || z.Open {
		t.Fatalf("%+v %v", z, ok)
	}
	// the true width, 2.0 m, and the true depth from the first row, 0.95 m, are within what is said
	if !near(z.WidthM-z.WidthUncertaintyM, 1.8) || !near(z.WidthM+z.WidthUncertaintyM, 2.4) || !near(z.DepthM-z.DepthUncertaintyM, 0.9) || !near(z.DepthM+z.DepthUncertaintyM, 1.2) {
		t.Errorf("%+v", z)
	}
	used := z.Readings(PresenceZone, SideB)
	if len(used) != 2 || used[0].Name != "presence_zone_width_m" || used[1].Name != "presence_zone_depth_m" || used[0].Side != SideB {
		t.Errorf("%+v", used)
	}
	for _, u := range append(used, z.Readings(ActivationZone, SideA)...) {
		if err := CheckReading(u.Name, u.Reading); err != nil {
			t.Error(err)
		}
	}
}

func TestAHoleOrAGapInThePositionsEndsTheRectangle(t *testing.T) {
	whole := Rect{-9, 9, 0, 9}
	tried := grid(0.3, 7, 4, whole)
	z, _ := Covered(tried, 0.3)
	if z.Rect.X0M != -z.Rect.X1M || math.Abs(z.Rect.X1M-0.9) > 1e-9 || !z.Open {
		t.Errorf("all seen: %+v", z)
	}
	for i := range tried { // not seen at x = 0.3 in the nearest row
		if math.Abs(tried[i].XM-0.3) < 1e-9 && tried[i].YM < 0.2 {
			tried[i].Seen = false
		}
	}
	if z, _ := Covered(tried, 0.3); math.Abs(z.Rect.X1M) > 1e-9 {
		t.Errorf("a hole: %+v", z)
	}
	if z, _ := Covered(grid(0.3, 7, 4, whole), 0.2); z.WidthM != 0 {
		t.Errorf("further apart than is said: %+v", z)
	}
	if _, ok := Covered([]Position{{0, 0.1, true}, {0.3, 0.1, true}}, 0.3); ok {
		t.Error("one row has no area")
	}
}

// Whatever rectangle is watched: what is said of its width holds the truth, as long as the positions go on beyond it.
func TestTheWidthOfAnyWatchedRectangleIsWithinWhatThePositionsSay(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		spacing := rapid.Float64Range(0.1, 0.4).Draw(t, "spacing")
		watched := Rect{rapid.Float64Range(-1.5, -0.5).Draw(t, "x0"), rapid.Float64Range(0.5, 1.5).Draw(t, "x1"), 0, rapid.Float64Range(0.7, 1.5).Draw(t, "y1")}
		z, ok := Covered(grid(spacing, 41, 20, watched), spacing)
		if !ok {
			t.Fatal("nothing was seen")
		}
		if width := watched.X1M - watched.X0M; width < z.WidthM-z.WidthUncertaintyM-1e-9 || width > z.WidthM+z.WidthUncertaintyM+1e-9 {
			t.Fatalf("%g m is said to be %g ± %g m", width, z.WidthM, z.WidthUncertaintyM)
		}
		if depth := watched.Y1M - z.Rect.Y0M; depth < z.DepthM-z.DepthUncertaintyM-1e-9 || depth > z.DepthM+z.DepthUncertaintyM+1e-9 {
			t.Fatalf("%g m is said to be %g ± %g m", depth, z.DepthM, z.DepthUncertaintyM)
		}
	})
}

func TestAWalkIsHeldAgainstTheEdgeOfTheComputedField(t *testing.T) {
	square := [][][2]float64{{{-1, 0}, {1, 0}, {1, 2}, {-1, 2}, {-1, 0}}}
	got := Residuals([]FirstSeen{{0, 1.7}, {0, 2.5}, {1.3, 2.4}, {0, 2}}, square)
	want := []Residual{{FirstSeen{1.3, 2.4}, 0.5}, {FirstSeen{0, 2.5}, 0.5}, {FirstSeen{0, 2}, 0}, {FirstSeen{0, 1.7}, -0.3}}
	for i := range want {
		if len(got) != 4 || math.Abs(got[i].EdgeM-want[i].EdgeM) > 1e-9 {
			t.Fatalf("%+v", got)
		}
	}
	if got := Residuals([]FirstSeen{{0, 1}}, nil); got != nil {
		t.Errorf("without a field: %+v", got)
	}
}
