package report

import (
	"bytes"
	"math"
	"testing"

	"pgregory.net/rapid"
)

func TestAForceOverTimeIsDrawnAgainstItsLimitsAsTheGoldenOnes(t *testing.T) {
	knock := func(limited bool, units Units) ForceDrawing {
		in := ForceDrawing{Title: "Force over time", Desc: "A knock of 430 N that leaves 120 N.", Units: units, StaticFromS: 0.75}
		for ms := -50; ms < 1500; ms++ {
			n := 0.0
			if ms > 0 {
				n = 120 + 310*math.Exp(-math.Pow(float64(ms-90)/40, 2))
			}
			in.Curve = append(in.Curve, ForcePoint{float64(ms) / 1000, n})
		}
		if peak, static := 400.0, 150.0; limited {
			in.Peak, in.Static = &peak, &static
		}
		return in
	}
	short := knock(true, US)
	short.Curve = short.Curve[:300]
	for name, in := range map[string]ForceDrawing{"force-limits.svg": knock(true, Metric), "force-short.svg": short, "force-alone.svg": knock(false, Metric)} {
		var out bytes.Buffer
		if err := ForceSVG(&out, words(t), in); err != nil {
			t.Fatal(err)
		}
		golden(t, name, out.Bytes())
	}
}

func TestNoPeakIsLostWhereACurveIsDrawnInFewerPoints(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		curve := make([]ForcePoint, rapid.IntRange(3, 5000).Draw(t, "samples"))
		for i := range curve {
			curve[i].S = float64(i)
		}
		at, n := rapid.IntRange(0, len(curve)-1).Draw(t, "at"), rapid.SampledFrom([]float64{-50, 700}).Draw(t, "force")
		curve[at].N = n
		drawn := thinned(curve)
		found := false
		for i, p := range drawn {
			found = found || p == curve[at]
			if i > 0 && p.S <= drawn[i-1].S {
				t.Fatalf("%v after %v", p, drawn[i-1])
			}
		}
		if !found || len(drawn) > 2*finest {
			t.Fatalf("%v is not among %d points", curve[at], len(drawn))
		}
	})
}
