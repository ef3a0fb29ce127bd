package report

import (
	"math"
	"strings"
	"testing"
)

// The commands are those of SVG 1.1, 8.3; the curve's middle is worked out by hand: (0 + 3·0 + 3·8 + 8)/8 = 4.
func TestASignatureIsDrawnAsItsStrokesAre(t *testing.T) {
	for data, want := range map[string][]Point{
		"M0 0L9 9":          {{0, 0}, {9, 9}},
		"m1,2 3,4 h-1v2z":   {{1, 2}, {4, 6}, {3, 6}, {3, 8}, {1, 2}},
		"M0 0 10-5":         {{0, 0}, {10, -5}},
		"M.5.5L1e1 2":       {{0.5, 0.5}, {10, 2}},
		"M0 0C0 6 8 6 8 0":  {{0, 0}, {4, 4.5}, {8, 0}},
		"M0 0c0 6 8 6 8 0":  {{0, 0}, {4, 4.5}, {8, 0}},
		"M0 0Q4 8 8 0":      {{0, 0}, {4, 4}, {8, 0}},
		"M0 0Q4 8 8 0T16 0": {{0, 0}, {4, 4}, {8, 0}, {12, -4}, {16, 0}},
	} {
		paths, ok := strokePaths(data)
		if !ok || len(paths) != 1 {
			t.Errorf("%s: %v %v", data, paths, ok)
			continue
		}
		for _, p := range want {
			met := false
			for _, q := range paths[0] {
				met = met || math.Hypot(p.X-q.X, p.Y-q.Y) < 1e-9
			}
			if !met {
				t.Errorf("%s does not meet %v: %v", data, p, paths[0])
			}
		}
	}
	for _, data := range []string{"", "L1 1", "M0", "M0 0L", "M0 0A1 1 0 0 0 2 2", "9 9", "M0 0Z1 1", "M1e400 0L1 1", "nobody", "M0 0 L 1 1 <script>"} {
		if paths, ok := strokePaths(data); ok {
			t.Errorf("%q is drawn: %v", data, paths)
		}
	}
}

func FuzzASignatureIsDrawnInItsBoxOrNotAtAll(f *testing.F) {
	for _, data := range []string{"M0 0L9 9", "m1,2 3,4 h-1v2z", "M0 0S1 1 2 2T3 3", "M 2 8 C 6 1 9 15 14 6 S 22 9 27 4", "M0 0L0 0", "M1e6 1e6L-1e6 -1e6"} {
		f.Add(data)
	}
	f.Fuzz(func(t *testing.T, data string) {
		sc := signatureScene("signature", data)
		if sc == nil {
			return
		}
		b := sc.Bounds()
		if sc.mm(b.Width()) > signatureWidthMM+0.01 || sc.mm(b.Height()) > signatureHeightMM+0.01 || b.Min.X < -1e-6 || b.Min.Y < -1e-6 {
			t.Errorf("%q lies in %v", data, b)
		}
		var svg strings.Builder
		if err := WriteSVG(&svg, sc); err != nil || strings.Contains(svg.String(), "NaN") {
			t.Errorf("%q: %v", data, err)
		}
	})
}
