package fleet

import (
	"context"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/advice"
	"lintel.example/lintel/internal/diagnosis"
	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/fault"
	"lintel.example/lintel/internal/field"
	"lintel.example/lintel/internal/identity"
	"lintel.example/lintel/internal/rulebook"
	"lintel.example/lintel/internal/words"
)

// Diagnosis is why a door may misbehave, by its record and its computed fields.
type Diagnosis struct {
	Door     Door
	Evidence []diagnosis.Evidence // everything that is known, used or not
	diagnosis.Answer
	Foretold [][]WhatIfEffect // of each cause: what its remedy would change; nil where its effect is not computed
}

// Diagnose ranks what may be the cause of a symptom that began on a day (zero: not known). It changes nothing.
func (f *Fleet) Diagnose(ctx context.Context, by identity.Actor, doorID uuid.UUID, symptom string, since duedate.Day) (out Diagnosis, err error) {
	if !slices.Contains(diagnosis.Symptoms(), diagnosis.Symptom(symptom)) {
		return out, fault.At("/symptom", "symptom_unknown", "symptom", symptom)
	}
	err = f.Store.InTxReadOnly(ctx, by, func(ctx context.Context, tx Tx) error {
		p, err := pictureOf(ctx, tx, doorID, AsOf{})
		if err != nil {
			return err
		}
		pack, err := f.basisOf(p.door.Facts)
		if err != nil {
			return err
		}
		site, err := tx.SiteByID(ctx, p.door.SiteID)
		if err != nil {
			return err
		}
		history, err := tx.HistoryOfDoor(ctx, doorID, AsOf{}, folderPart)
		if err != nil {
			return err
		}
		g := gatherer{picture: p, pack: pack}
		g.devicesApart()
		g.devicesTogether()
		g.zones()
		g.lastChange(history, since, site.Location())
		if err := g.codes(ctx, tx); err != nil {
			return err
		}
		out = Diagnosis{Door: p.door, Evidence: g.list}
		if out.Answer, err = diagnosis.Diagnose(diagnosis.Symptom(symptom), g.list); err != nil {
			return err
		}
		for _, c := range out.Causes {
			turns, err := g.foretell(ctx, tx, c)
			if err != nil {
				return err
			}
			out.Foretold = append(out.Foretold, turns)
		}
		return nil
	})
	return out, err
}

// gatherer collects what is known of a door.
type gatherer struct {
	picture
	pack *rulebook.Pack
	list []diagnosis.Evidence
}

func (g *gatherer) add(name string, value float64, subject string, device *deviceInPlace) {
	e := diagnosis.Evidence{Name: name, Value: value, Subject: subject}
	if device != nil {
		e.Device = device.component.ComponentID.String()
	}
	g.list = append(g.list, e)
}

func yes(is bool) float64 {
	if is {
		return 1
	}
	return 0
}

// devicesApart looks at each device by itself.
func (g *gatherer) devicesApart() {
	presence, stillRadars, notWired := 0, 0, 0
	for i := range g.devices {
		d := &g.devices[i]
		if d.purpose() == "presence" {
			presence++
			stillRadars += int(yes(d.sensing == "radar"))
		}
		if in := d.component.Fitting.Input; in == "none" || in == "unknown" || in == "" {
			notWired++
		}
		s := d.revision.Device.Settings
		if s.ConfirmTravelMM.Known() {
			g.add("confirm_travel_mm", *s.ConfirmTravelMM.Value, "", d)
		}
		if s.OutputHoldS.Known() {
			g.add("output_hold_s", *s.OutputHoldS.Value, "", d)
		}
		if s.HoldWhileMoving != nil {
			g.add("hold_while_moving", yes(*s.HoldWhileMoving), "", d)
		}
		if s.MotionDirection != "unknown" && d.purpose() == "activation" && d.sensing == "radar" {
			g.add("answers_to_departure", yes(s.MotionDirection == "departure"), "", d)
			g.add("answers_to_both", yes(s.MotionDirection == "either"), "", d)
		}
		if d.sensing == "radar" {
			g.radar(d)
		}
	}
	g.add("presence_devices", float64(presence), "", nil)
	g.add("radar_for_presence", float64(stillRadars), "", nil)
	g.add("not_wired", float64(notWired), "", nil)
}

// radar computes what a radar sees that it should not, and what it sees too late.
func (g *gatherer) radar(d *deviceInPlace) {
	v, missing := g.volume(d.revision.Device)
	if len(missing) > 0 {
		return
	}
	m := g.motion(*d)
	if hz := g.models[*d.component.ModelID].FrequencyHz; hz != nil && g.models[*d.component.ModelID].LeastSpeedMPS != nil {
		g.add("looks_like_lamps", yes(m.LeastSpeedMps <= m.LampMps(50)), "", d)
	}
	hood := slices.ContainsFunc(d.revision.Device.Accessories, func(id uuid.UUID) bool { return g.accessories[id].Kind == "rain_hood" })
	g.add("hood", yes(hood), "", d)
	for _, b := range field.Weather() {
		r := v.Rejects(m, b)
		trigger := map[string]string{"drops": "drops_trigger", "litter": "litter_triggers"}[b.Name]
		g.add(trigger, yes(r.Triggers), "", d)
		g.add("travel_of_"+b.Name+"_m", r.MostTravelM, "", d)
	}
	if d.purpose() == "activation" {
		g.add("field_m2", v.Footprint(0, true).AreaM2, "", d)
	}
	for _, side := range []string{"a", "b"} {
		if s := d.component.Fitting.Side; s != side && s != "both" {
			continue
		}
		for _, c := range g.checks(g.pack, side, d.component.ComponentID) {
			switch c.Of {
			case advice.LeafUnseen:
				name := "leaf_seen_share"
				if c.Masked {
					name = "leaf_masked_share"
				}
				g.add(name, c.Value, c.Name, d)
			case advice.LetPass:
				g.add("let_pass_share", c.Value, c.Name, d)
			case advice.InTime:
				g.add("in_time_s", c.Value, "", d)
			}
		}
		for _, l := range g.door.Facts.Leaves {
			if surface, ok := g.leafSurface(l, side); ok && surface != nil {
				if check := v.CheckLeaf(surface); check.Seen && check.ClearReachDB != nil {
					g.add("leaf_clear_db", *check.ClearReachDB, "", d)
				}
			}
		}
	}
}

// sameCarrierHz is how near two carriers must be to count as one frequency: our own choice, wider than what makers' tolerances leave.
const sameCarrierHz = 50e6

// devicesTogether looks at pairs of devices.
func (g *gatherer) devicesTogether() {
	alike, unlike, compared := 0, false, false
	for i := range g.devices {
		for j := i + 1; j < len(g.devices); j++ {
			a, b := &g.devices[i], &g.devices[j]
			fa, fb := a.component.Fitting, b.component.Fitting
			if fa.WiredTo != nil && fb.WiredTo != nil && *fa.WiredTo == *fb.WiredTo && fa.Input == fb.Input && sense(fa.Contact) && sense(fb.Contact) {
				compared, unlike = true, unlike || fa.Contact != fb.Contact
			}
			alike += int(yes(g.oneFrequency(a, b)))
		}
	}
	g.add("devices_of_one_frequency", float64(alike), "", nil)
	if compared {
		g.add("contact_unlike", yes(unlike), "", nil)
	}
}

func sense(contact string) bool { return contact == "normally_open" || contact == "normally_closed" }

// oneFrequency says whether two radars may answer to each other.
func (g *gatherer) oneFrequency(a, b *deviceInPlace) bool {
	if a.sensing != "radar" || b.sensing != "radar" {
		return false
	}
	va, lacksA := g.volume(a.revision.Device)
	vb, lacksB := g.volume(b.revision.Device)
	ma, mb := g.motion(*a), g.motion(*b)
	if len(lacksA)+len(lacksB) > 0 || ma.FrequencyHz == 0 || mb.FrequencyHz == 0 {
		return false
	}
	if a.component.Fitting.Side != b.component.Fitting.Side { // the other side's frame looks the other way from the same place
		vb = field.Frame{TurnDeg: 180}.Device(vb)
	}
	return va.Face(ma, vb, mb, sameCarrierHz).MayAnswerToOther
}

// zones looks at the gaps that all devices together leave.
func (g *gatherer) zones() {
	for _, c := range g.covers(g.pack) {
		if c.cover == nil {
			continue
		}
		widest := 0.0
		for _, gap := range c.cover.Gaps {
			widest = max(widest, gap.CircleM)
		}
		name := "activation_gap_m"
		if c.zone.Kind == rulebook.PresenceZone {
			name = "presence_gap_m"
		}
		g.add(name, widest, c.zone.Title+", "+g.door.Facts.called(c.side), nil)
	}
}

// lastChange finds what was changed last before it began.
func (g *gatherer) lastChange(history []HistoryLine, since duedate.Day, zone *time.Location) {
	if since.IsZero() {
		return
	}
	nearest := math.Inf(1)
	why := ""
	for _, h := range history {
		if h.Of == "door" || h.Kind == "intended" {
			continue
		}
		if days := float64(duedate.DayIn(h.EffectiveAt, zone).DaysUntil(since)); days >= 0 && days < nearest {
			nearest, why = days, h.Reason
		}
	}
	if !math.IsInf(nearest, 1) {
		g.add("changed_days_before", nearest, why, nil)
	}
}

func (g *gatherer) codes(ctx context.Context, tx Tx) error {
	for i := range g.devices {
		d := &g.devices[i]
		_, err := tx.PresentCode(ctx, LockOf(d.component.ComponentID))
		switch {
		case err == nil:
			g.add("lock_code_on_record", 1, d.component.Serial, d)
		case slices.ContainsFunc(fault.Of(err), func(e *fault.Error) bool { return e.Kind == fault.NotFound }):
			g.add("lock_code_on_record", 0, d.component.Serial, d)
		default:
			return err
		}
	}
	return nil
}

// foretell computes what the remedy of a cause would change of the device that the cause is seen in.
func (g *gatherer) foretell(ctx context.Context, tx Tx, c diagnosis.Cause) ([]WhatIfEffect, error) {
	if len(c.Remedy.Changes) == 0 || c.Because[0].Device == "" {
		return nil, nil
	}
	id, err := uuid.Parse(c.Because[0].Device)
	if err != nil {
		return nil, err
	}
	var changes []WhatIfChange
	for _, change := range c.Remedy.Changes {
		value := change.Value
		if slices.Contains(diagnosis.Names(), value) {
			least := math.Inf(1)
			for _, e := range g.list {
				if e.Name == value && e.Device == c.Because[0].Device {
					least = min(least, e.Value)
				}
			}
			if math.IsInf(least, 1) {
				return nil, nil
			}
			value = strconv.FormatFloat(least, 'f', 1, 64)
		}
		changes = append(changes, WhatIfChange{change.Name, value})
	}
	i := slices.IndexFunc(g.devices, func(d deviceInPlace) bool { return d.component.ComponentID == id })
	planned, err := asPlanned(ctx, tx, g.picture, g.devices[i], changes)
	if err != nil {
		return nil, err
	}
	after := g.picture
	if err := after.mount(ctx, tx, g.devices[i].component, Revision{ComponentID: id, DoorID: g.door.DoorID, Device: planned}); err != nil {
		return nil, err
	}
	list := []WhatIfEffect{}
	for _, side := range []string{"a", "b"} {
		if s := g.devices[i].component.Fitting.Side; s == side || s == "both" {
			list = append(list, turns(side, g.checks(g.pack, side, id), after.checks(g.pack, side, id))...)
		}
	}
	return list, nil
}

// Told puts the diagnosis into words: each cause with what speaks for it, how to tell it from the others, and the remedy with its
// foretold effect; then what to find out; then the caution.
func (d Diagnosis) Told(p words.Printer) []advice.Section {
	var list []advice.Section
	for i, c := range d.Causes {
		s := advice.Section{Heading: p.T("diagnosis.ranked", "place", i+1, "cause", p.T("diagnosis.cause."+c.Name), "score", c.Score)}
		for _, r := range c.Because {
			s.Sentences = append(s.Sentences, p.T("diagnosis.because", "evidence", evidenceIn(p, r.Evidence), "weight", r.Weight))
		}
		s.Sentences = append(s.Sentences, p.T("diagnosis.check", "check", p.T("diagnosis.check."+c.Name)), p.T("diagnosis.remedy", "remedy", p.T("diagnosis.remedy."+c.Remedy.Name)))
		for _, e := range d.Foretold[i] {
			if e.Turn != "same" {
				s.Sentences = append(s.Sentences, p.T("what_if."+e.Turn, "before", advice.TellCheck(p, e.Before), "after", advice.TellCheck(p, e.After)))
			}
		}
		list = append(list, s)
	}
	if len(d.Causes) == 0 {
		list = append(list, advice.Section{Heading: p.T("diagnosis.none"), Sentences: []string{p.T("diagnosis.none.why")}})
	}
	if len(d.FindOut) > 0 {
		s := advice.Section{Heading: p.T("diagnosis.find_out")}
		for _, name := range d.FindOut {
			s.Sentences = append(s.Sentences, p.T("diagnosis.find_out."+name))
		}
		list = append(list, s)
	}
	return append(list, advice.Section{Heading: p.T("advice.caution.heading"), Sentences: []string{p.T("diagnosis.caution"), p.T("advice.caution")}})
}

// evidenceIn words.
func evidenceIn(p words.Printer, e diagnosis.Evidence) string {
	value := ""
	switch {
	case strings.HasSuffix(e.Name, "_share"):
		value = p.T("diagnosis.percent", "number", math.Round(e.Value*1000)/10)
	case strings.HasSuffix(e.Name, "_mm"):
		value = p.T("diagnosis.mm", "number", math.Round(e.Value))
	case strings.HasSuffix(e.Name, "_m2"):
		value = p.Quantity(e.Value, words.SquareMetre)
	case strings.HasSuffix(e.Name, "_m"):
		value = p.Length(e.Value)
	case strings.HasSuffix(e.Name, "_s"):
		value = p.Quantity(e.Value, words.Second)
	default:
		value = p.T("diagnosis.number", "number", e.Value)
	}
	return p.T("diagnosis.evidence."+e.Name, "value", value, "subject", e.Subject)
}
