package fleet

import (
	"context"
	"slices"
	"strings"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/advice"
	"lintel.example/lintel/internal/fault"
	"lintel.example/lintel/internal/field"
	"lintel.example/lintel/internal/identity"
	"lintel.example/lintel/internal/rulebook"
)

// AdviceAsk is what advice on a door's sensor is asked about, beside what the register knows of the door.
type AdviceAsk struct {
	DoorID        uuid.UUID
	Side          string   // a, b; either: where the device does better
	HeaderHeightM *float64 // of a device on the header; nil: that of what is fitted there now
	CeilingM      *float64 // nil: none to set a device into
	StraightOnly  bool     // everybody comes straight: rails, a narrow way
	Exposed       bool     // rain and litter
	Inhibited     bool     // the control ignores it while the leaf moves
	ShakeMM       *float64 // amplitude of the header's shaking; nil: it is still
	ShakeHz       *float64
}

// DoorAdvice is what suits a door, or what has to be found out before that can be said.
type DoorAdvice struct {
	Door    Door
	Missing []string // facts that nobody has recorded; nothing was computed then
	Assumed []string // what was taken for what nobody has recorded: messages advice.assumed.<name>
	advice.Answer
}

// Advise computes which of the catalogue's radar models, antennas, places and accessories suit a side of a door. It changes nothing.
func (f *Fleet) Advise(ctx context.Context, by identity.Actor, ask AdviceAsk) (out DoorAdvice, err error) {
	if err := ask.check(); err != nil {
		return out, err
	}
	var question advice.Question
	err = f.Store.InTxReadOnly(ctx, by, func(ctx context.Context, tx Tx) error {
		p, err := pictureOf(ctx, tx, ask.DoorID, AsOf{})
		if err != nil {
			return err
		}
		pack, err := f.basisOf(p.door.Facts)
		if err != nil {
			return err
		}
		out = DoorAdvice{Door: p.door}
		question = advice.Question{}
		for _, side := range []string{"a", "b"} {
			if ask.Side == side || ask.Side == "either" {
				o, missing := p.openingFor(pack, side, ask)
				question.Openings, out.Missing = append(question.Openings, o), append(out.Missing, missing...)
			}
		}
		return readForAdvice(ctx, tx, &question, &out)
	})
	if err != nil || len(out.Missing) > 0 {
		return out, err
	}
	if n := question.Size(); n > advice.MostCandidates {
		return out, fault.New(fault.Conflict, "advice_too_wide", "candidates", n, "most", advice.MostCandidates)
	}
	out.Answer = advice.Advise(question)
	return out, nil
}

func (ask AdviceAsk) check() error {
	var faults fault.List
	checkOneOf(&faults, "/side", ask.Side, "a", "b", "either")
	checkNumber(&faults, "/header_height_m", ask.HeaderHeightM, 0.3, 12)
	checkNumber(&faults, "/ceiling_m", ask.CeilingM, 0.3, 12)
	checkNumber(&faults, "/shake_mm", ask.ShakeMM, 0, 100)
	checkNumber(&faults, "/shake_hz", ask.ShakeHz, 0.1, 1000)
	if (ask.ShakeMM == nil) != (ask.ShakeHz == nil) {
		faults.Add("/shake_mm", "shake_incomplete")
	}
	return faults.Err()
}

// openingFor is a side of the door as advice sees it, and the facts that are not known.
func (p picture) openingFor(pack *rulebook.Pack, side string, ask AdviceAsk) (o advice.Opening, missing []string) {
	facts := p.door.Facts
	need := func(name string, q Quantity) float64 {
		if !q.Known() {
			missing = append(missing, name)
			return 0
		}
		return *q.Value
	}
	o = advice.Opening{Name: facts.called(side)}
	o.ClearWidthM, o.OpeningTimeS = need("clear_width_m", facts.ClearWidthM), need("opening_time_s", facts.OpeningTimeS)
	o.Header.OffsetYM = need("header_depth_m", facts.HeaderDepthM)
	switch height := p.heightOn(side); {
	case ask.HeaderHeightM != nil:
		o.Header.HeightM = *ask.HeaderHeightM
	case height != nil:
		o.Header.HeightM = *height
	default:
		missing = append(missing, "header_height_m")
	}
	for i, l := range facts.Leaves {
		surface, known := p.leafSurface(l, side)
		if !known {
			missing = append(missing, "leaves")
			continue
		}
		if surface == nil {
			continue
		}
		o.Leaves = append(o.Leaves, advice.Leaf{Name: leafName(i, len(facts.Leaves)), Surface: surface, Inhibited: ask.Inhibited})
		if l.Motion == "swing" {
			o.EdgeM = max(o.EdgeM, *l.WidthM.Value)
		}
	}
	if ask.CeilingM != nil {
		o.CeilingM = ask.CeilingM
		for out := 0.6; out <= 2.4; out += 0.6 {
			o.CutOutsM = append(o.CutOutsM, out)
		}
	}
	if ask.ShakeMM != nil {
		o.Shake = &field.Shake{AmplitudeM: *ask.ShakeMM / 1000, FrequencyHz: *ask.ShakeHz, Along: field.Point{Y: 1}}
	}
	for _, z := range pack.Zones(rulebookFacts(facts), rulebook.Side(side)) {
		for _, g := range z.Gaps {
			missing = append(missing, g.Name)
		}
		if z.Rect == nil {
			continue
		}
		zone := advice.Zone{Name: z.Title, Zone: zoneCover{zone: z}.asked()}
		if z.Kind == rulebook.ActivationZone {
			o.Required = append(o.Required, zone)
		} else {
			o.Standing = append(o.Standing, zone)
		}
	}
	for _, z := range facts.Side(side).KeptClear {
		o.KeptClear = append(o.KeptClear, advice.Zone{Name: z.What, Zone: field.Zone{X0M: z.X0M, X1M: z.X1M, Y0M: z.Y0M, Y1M: z.Y1M, BodyHeightM: adultHeightM}})
	}
	o.Ways = field.Fan(o.Opening)
	if ask.StraightOnly {
		o.Ways = o.Ways[:1]
	}
	walker, _ := field.BodyNamed("walker")
	o.Bodies = []field.Body{walker}
	if ask.Exposed {
		o.Blown = field.Weather()
	}
	slices.Sort(missing)
	return o, slices.Compact(missing)
}

// called is the people's own word for a side, or its letter.
func (f DoorFacts) called(side string) string {
	if label := f.Side(side).Label; label != "" {
		return label
	}
	return strings.ToUpper(side)
}

// leafName tells leaves apart only where there are several.
func leafName(i, of int) string {
	if of == 1 {
		return "1"
	}
	return string(rune('1' + i))
}

// heightOn is the height at which a device of a side is mounted; nil: not known.
func (p picture) heightOn(side string) *float64 {
	for _, d := range p.devices {
		if s := d.component.Fitting.Side; (s == side || s == "both") && d.sensing == "radar" && d.revision.Device.Mount.HeightM.Known() {
			return d.revision.Device.Mount.HeightM.Value
		}
	}
	return nil
}

// mostModels is more radar models than one company fits.
const mostModels = 200

// readForAdvice fills in what there is to choose from.
func readForAdvice(ctx context.Context, tx Tx, q *advice.Question, out *DoorAdvice) error {
	models, err := tx.ModelPage(ctx, ModelQuery{Limit: mostModels})
	if err != nil {
		return err
	}
	for _, m := range correctedModels(models) {
		if m.Sensing == "radar" && len(m.Antennas) > 0 {
			q.Models = append(q.Models, m.forAdvice())
		}
		if m.Senses != nil && m.Sensing != "beam" && m.Senses.Purpose != "activation" && m.Senses.Purpose != "knowing_act" {
			q.Means = append(q.Means, m.means())
		}
	}
	if len(q.Models) == 0 {
		out.Missing = append(out.Missing, "radar_models")
	}
	accessories, err := tx.AccessoryPage(ctx, AccessoryQuery{Limit: mostModels})
	if err != nil {
		return err
	}
	assumed := false
	for _, a := range correctedAccessories(accessories) {
		one := advice.Accessory{Accessory: a.physics(field.Mount{}), IntoCeiling: a.Kind == "ceiling_recess"}
		switch {
		case a.Effect.ShakeShare != nil:
			one.ShakeShare = *a.Effect.ShakeShare
		case a.Kind == "spacer":
			one.ShakeShare, assumed = spacerShakeShare, true
		}
		q.Accessories = append(q.Accessories, one)
	}
	if out.Assumed = []string{"steps", "start_delay"}; assumed {
		out.Assumed = append(out.Assumed, "shake_share")
	}
	return nil
}

// means is a model that tells of somebody who stands, as advice sees it: steps of our own choice stand for what its fixing allows.
func (m Model) means() advice.Means {
	out := advice.Means{Name: m.Maker + " " + m.Name, OnLeaf: m.Senses.OnLeaf != nil && *m.Senses.OnLeaf, OnFloor: m.Sensing == "mat",
		Volume: func(at field.Mount) (field.Volume, error) { return m.Senses.volume(m.Sensing, at) }}
	if slices.Contains(sensed()[m.Sensing].mount, "tilt_deg") {
		out.TiltDeg, out.YawDeg = []float64{0, 5, 10, 15, 20, 25, 30, 35, 40}, []float64{0, 180}
	}
	return out
}

// spacerShakeShare is what of a header's shaking a spacer on its stiff base lets through: our own choice, where the entry says nothing.
const spacerShakeShare = 0.3

// forAdvice is a model as advice sees it. Which steps its settings have no entry records: steps of our own choice stand for them.
func (m Model) forAdvice() advice.Model {
	out := advice.Model{Name: m.Maker + " " + m.Name, TiltDeg: []float64{0, 6, 12, 18, 24, 30, 36, 42, 48, 54, 60}, ReachDB: []float64{-12, -9, -6, -3, 0},
		ConfirmTravelM: []float64{0, 0.1, 0.2, 0.4}, Direction: []field.Direction{field.Approaching}}
	if m.FrequencyHz != nil {
		out.FrequencyHz = *m.FrequencyHz
	}
	if m.LeastSpeedMPS != nil {
		out.LeastSpeedMps = *m.LeastSpeedMPS
	}
	for _, a := range m.Antennas {
		out.Antennas = append(out.Antennas, advice.Antenna{Name: a.Name, Antenna: field.Antenna{AzimuthBeamwidthDeg: a.AzimuthBeamwidthDeg, ElevationBeamwidthDeg: a.ElevationBeamwidthDeg,
			AttenuationLimitDB: a.AttenuationLimitDB, BoresightRangeM: a.BoresightRangeM}})
	}
	return out
}
