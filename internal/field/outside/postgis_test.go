package outside

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"strings"
	"testing"

	"lintel.example/lintel/internal/field"
	"lintel.example/lintel/internal/store/storetest"
)

func TestMain(m *testing.M) { os.Exit(storetest.Main(m)) }

// Union, intersection, difference and the largest inscribed circle by PostGIS (Debian's postgresql-postgis), of the polygons that
// each device of sixty random sides watches.
func TestCoverageIsWhatPostGISMakesOfTheSamePolygons(t *testing.T) {
	ctx, db := context.Background(), storetest.New(t)
	if _, err := db.Admin.Exec(ctx, "create extension postgis"); err != nil {
		t.Fatalf("%v: is postgresql-postgis installed?", err)
	}
	compared := 0
	for i := range 60 {
		zone, sources := side(rand.New(rand.NewPCG(1851, uint64(i))))
		got := field.Cover(zone, sources)
		var watched []string
		for _, s := range sources {
			for _, p := range s.Volume.OfBody(zone.BodyHeightM, true) {
				watched = append(watched, text(p))
			}
		}
		var area, covered, circle float64
		err := db.Admin.QueryRow(ctx, `
			with zone as (select ST_MakeEnvelope($1, $2, $3, $4) as g),
			     watched as (select coalesce(ST_Union(ST_GeomFromText(w)), 'POLYGON EMPTY'::geometry) as g from unnest($5::text[]) as w),
			     gaps as (select (ST_Dump(ST_Difference(zone.g, watched.g))).geom as g from zone, watched)
			select ST_Area(zone.g), ST_Area(ST_Intersection(zone.g, watched.g)),
			       coalesce((select max(2 * (ST_MaximumInscribedCircle(g)).radius) from gaps where ST_Area(g) > 1e-6), 0)
			from zone, watched`, zone.X0M, zone.Y0M, zone.X1M, zone.Y1M, watched).Scan(&area, &covered, &circle)
		if err != nil {
			t.Fatalf("side %d: %v", i, err)
		}
		most := 0.0
		for _, g := range got.Gaps {
			most = max(most, g.CircleM)
		}
		if math.Abs(got.AreaM2-area) > 1e-9 || math.Abs(got.CoveredM2-covered) > 1e-4 {
			t.Errorf("side %d: %.6f of %.6f m² covered, PostGIS %.6f of %.6f", i, got.CoveredM2, got.AreaM2, covered, area)
		}
		if math.Abs(most-circle) > 0.01 {
			t.Errorf("side %d: circle of %.4f m, PostGIS %.4f", i, most, circle)
		}
		if covered > 0.02*area && covered < 0.98*area {
			compared++
		}
	}
	if compared < 30 {
		t.Errorf("only %d sides are covered in part", compared)
	}
}

// side draws a zone and two to four devices: radar, and a grid of spots or a mat.
func side(r *rand.Rand) (field.Zone, []field.Source) {
	in := func(low, high float64) float64 { return low + (high-low)*r.Float64() }
	zone := field.Zone{X0M: in(-1.5, -0.5), X1M: in(0.5, 1.5), Y0M: 0, Y1M: in(0.8, 2), BodyHeightM: 0.71}
	var sources []field.Source
	for k := range 2 + r.IntN(3) {
		mount := field.Mount{HeightM: in(2, 3), TiltDeg: in(5, 50), YawDeg: in(-40, 40), OffsetXM: in(-1, 1), OffsetYM: in(0, 0.5)}
		var v field.Volume
		switch r.IntN(3) {
		case 0:
			v = field.SpotGrid{Mount: mount, Rows: 3, Columns: 5, RowStepDeg: in(3, 9), ColumnStepDeg: in(3, 9), DivergenceDeg: in(1, 5), RangeM: 5, DetectionShare: 0.2}
		case 1:
			v = field.Mat{X0M: in(-1, 0), X1M: in(0.1, 0.5), Y0M: 0, Y1M: in(0.3, 0.6)}
		default:
			v = field.Device{Mount: mount, Antenna: field.Antenna{AzimuthBeamwidthDeg: in(15, 60), ElevationBeamwidthDeg: in(15, 50), AttenuationLimitDB: in(12, 30), BoresightRangeM: in(3, 5)}}
		}
		sources = append(sources, field.Source{Name: fmt.Sprint(k), Volume: v})
	}
	return zone, sources
}

// text is a polygon as well-known text (OGC Simple Features).
func text(p field.Polygon) string {
	var rings []string
	for _, r := range p {
		var points []string
		for _, v := range r {
			points = append(points, fmt.Sprintf("%.12g %.12g", v[0], v[1]))
		}
		rings = append(rings, "("+strings.Join(points, ", ")+")")
	}
	return "POLYGON(" + strings.Join(rings, ", ") + ")"
}
