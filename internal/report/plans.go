package report

import (
	"reflect"
	"strings"

	"lintel.example/lintel/internal/fleet"
)

// Plans are the drawings of a compliance report, one for each of its sides, from
// the rings that the document has frozen.
func Plans(r fleet.ComplianceReport, t Texts, u Units) []PlanDrawing {
	return plansOf(r.DoorContent, t, u)
}

// PlansOver are the drawings of after, with the fields of before where a device had another one.
func PlansOver(before, after fleet.ComplianceReport, t Texts, u Units) []PlanDrawing {
	plans := Plans(after, t, u)
	for i, side := range after.Sides {
		k := 0
		for _, d := range after.Devices {
			if d.Side != side.Side && d.Side != "both" {
				continue
			}
			for _, was := range before.Devices {
				if was.ID == d.ID && was.Field != nil && !sameField(was.Field, d.Field) {
					plans[i].Sensors[k].Former = planField(was.Field)
				}
			}
			k++
		}
	}
	return plans
}

func sameField(a, b *fleet.ReportField) bool {
	return b != nil && reflect.DeepEqual(a.Polygons, b.Polygons)
}

func planField(f *fleet.ReportField) *PlanField {
	return &PlanField{WidthM: f.WidthM, DepthM: f.DepthM, NearM: f.NearM, FarM: f.FarM, Polygons: f.Polygons, ModelVersion: f.ModelVersion, Rays: f.Rays}
}

func plansOf(r fleet.DoorContent, t Texts, u Units) []PlanDrawing {
	var plans []PlanDrawing
	for _, side := range r.Sides {
		mirror := 1.0 // hinges are told as seen from side A; its left is +x in its frame, −x in B's
		if side.Side == "b" {
			mirror = -1
		}
		p := PlanDrawing{
			Title:        sideName(t, side.Side, side.Label),
			Units:        u,
			OpeningM:     known(r.Door.ClearWidthM),
			HeaderDepthM: known(r.Door.HeaderDepthM),
		}
		for _, l := range r.Door.Leaves {
			p.LeafHeightM = max(p.LeafHeightM, known(l.HeightM))
			if leaf, ok := planLeaf(r.Door, l, side.Side, mirror); ok {
				p.Leaves = append(p.Leaves, leaf)
			}
		}
		for _, d := range r.Devices {
			if d.Side == side.Side || d.Side == "both" {
				p.Sensors = append(p.Sensors, planSensor(t, d))
			}
		}
		for _, z := range side.Required {
			p.Required = append(p.Required, PlanZone{Name: z.Title, Purpose: z.Purpose, Polygons: z.Polygons})
		}
		for _, z := range side.KeptClear {
			p.KeptClear = append(p.KeptClear, PlanZone{Name: z.Title, Polygons: z.Polygons})
		}
		for _, c := range side.Coverage {
			for _, g := range c.Gaps {
				p.Gaps = append(p.Gaps, g.Polygons...)
				p.Spots = append(p.Spots, PlanSpot{g.XM, g.YM, g.DiameterM})
			}
		}
		plans = append(plans, p)
	}
	return plans
}

// planLeaf places a leaf in the frame of a side; it cannot while the clear width,
// the leaf's own width or how it opens is unknown.
func planLeaf(d fleet.ReportDoor, l fleet.ReportLeaf, side string, mirror float64) (PlanLeaf, bool) {
	opening, width := known(d.ClearWidthM), known(l.WidthM)
	if opening == 0 || width == 0 {
		return PlanLeaf{}, false
	}
	leaf := PlanLeaf{Motion: l.Motion, WidthM: width, Towards: l.OpensTowards == side || l.OpensTowards == "both"}
	jamb := l.Hinge
	switch l.Motion {
	case "swing", "fold":
		if l.OpensTowards == "unknown" {
			return PlanLeaf{}, false
		}
	case "slide":
		jamb = l.OpensTowards
	case "revolve":
		return leaf, true
	}
	switch jamb {
	case "left":
		leaf.JambXM = mirror * opening / 2
	case "right":
		leaf.JambXM = -mirror * opening / 2
	default:
		return PlanLeaf{}, false
	}
	return leaf, true
}

func planSensor(t Texts, d fleet.ReportDevice) PlanSensor {
	s := PlanSensor{
		Name:    strings.TrimSpace(d.Maker + " " + d.Model),
		Purpose: d.Purpose,
		Sensing: d.Sensing,
		OnLeaf:  d.OnLeaf,
		Unfit:   Unfitness(t, d),
		Missing: missingNames(t, d.Missing),
	}
	if s.Name == "" {
		s.Name = t.T("report.unknown_model")
	}
	s.Name += ", " + code(t, "purpose", d.Purpose)
	m := d.Mount
	if s.HeightM = m.HeightM.Value; d.Sensing == "mat" {
		s.HeightM = new(float64) // it lies on the floor, whatever was recorded
	}
	if m.OffsetXM.Value != nil && m.OffsetYM.Value != nil {
		s.Placed, s.XM, s.YM = true, *m.OffsetXM.Value, *m.OffsetYM.Value
		if aims(d.Sensing) && m.HeightM.Value != nil && m.TiltDeg.Value != nil && m.YawDeg.Value != nil {
			s.Aim = aim(*m.HeightM.Value, s.XM, s.YM, *m.TiltDeg.Value, *m.YawDeg.Value)
		}
	}
	if f := d.Field; f != nil {
		s.Field = planField(f)
	}
	return s
}

func known(q fleet.ReportQuantity) float64 {
	if q.Value == nil {
		return 0
	}
	return *q.Value
}

func sideName(t Texts, side, label string) string {
	if label == "" {
		return t.T("report.side.bare", "side", strings.ToUpper(side))
	}
	return t.T("report.side.labelled", "side", strings.ToUpper(side), "label", label)
}
