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
	Foretold [][]Foretelling      // of each cause: what its remedy would change; nil where its effect is not computed
	devices  map[string]Component // by id, of those that evidence is of
}

// Foretelling is what one try of a remedy would change.
type Foretelling struct {
	Changes []WhatIfChange
	Effects []WhatIfEffect
	After   []diagnosis.Evidence // what then speaks for the cause that no effect tells, where it is another number
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
		g := gatherer{picture: p, pack: pack, mainsHz: mainsHz(site.Country)}
		g.devicesApart()
		g.devicesTogether()
		g.sides()
		g.zones()
		g.lastChange(history, since, site.Location())
		if err := g.codes(ctx, tx); err != nil {
			return err
		}
		out = Diagnosis{Door: p.door, Evidence: g.list, devices: map[string]Component{}}
		for _, d := range p.devices {
			out.devices[d.component.ComponentID.String()] = d.component
		}
		if out.Answer, err = diagnosis.Diagnose(diagnosis.Symptom(symptom), g.list); err != nil {
			return err
		}
		for _, c := range out.Causes {
			foretold, err := g.foretell(ctx, tx, c)
			if err != nil {
				return err
			}
			out.Foretold = append(out.Foretold, foretold)
		}
		return nil
	})
	return out, err
}

// gatherer collects what is known of a door.
type gatherer struct {
	picture
	pack    *rulebook.Pack
	mainsHz float64
	list    []diagnosis.Evidence
}

// mainsHz is the frequency of the mains in a country: 60 Hz in those where all or most of it is, else 50 Hz (from memory).
func mainsHz(country string) float64 {
	if slices.Contains([]string{"BR", "CA", "CO", "CR", "CU", "DO", "EC", "GT", "GU", "HN", "KR", "MX", "NI", "PA", "PE", "PH", "PR", "SA", "SV", "TW", "US", "VE", "VI"}, country) {
		return 60
	}
	return 50
}

func (g *gatherer) add(name string, value float64, subject string, device *deviceInPlace) {
	e := diagnosis.Evidence{Name: name, Value: value, Subject: subject}
	if device != nil {
		e.Device = device.component.ComponentID.String()
	}
	g.list = append(g.list, e)
}

// against adds what is held against a limit of the device.
func (g *gatherer) against(name string, value, limit float64, subject string, device *deviceInPlace) {
	g.add(name, value, subject, device)
	g.list[len(g.list)-1].Limit = &limit
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
	if model := g.models[*d.component.ModelID]; model.FrequencyHz != nil && model.LeastSpeedMPS != nil {
		g.against("lamp_mps", m.LampMps(g.mainsHz), m.LeastSpeedMps, strconv.FormatFloat(g.mainsHz, 'f', -1, 64), d)
	}
	hood := slices.ContainsFunc(d.revision.Device.Accessories, func(id uuid.UUID) bool { return g.accessories[id].Kind == "rain_hood" })
	g.add("hood", yes(hood), "", d)
	g.weather(v, m, d)
	if d.purpose() == "activation" {
		g.add("field_m2", v.Footprint(0, true).AreaM2, "", d)
		g.beyond(v, m, d)
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
				g.add("in_time_s", c.Value, c.Worst.Way, d)
				g.way(v, m, side, *c.Worst, d)
				g.slowWalker(v, m, side, d)
			}
		}
		g.leaves(v, side, d)
	}
}

// weather looks at what the wind and its weight move before a door in the open. Indoors there is none of it: nothing of it travels.
func (g *gatherer) weather(v field.Device, m field.Motion, d *deviceInPlace) {
	indoors := g.door.Facts.Interior != nil && *g.door.Facts.Interior
	for _, b := range field.Weather() {
		travelMM := 0.0
		if !indoors {
			travelMM = 1000 * v.Rejects(m, b).MostTravelM
		}
		g.against(b.Name+"_travel_mm", travelMM, 1000*m.ConfirmTravelM, "", d)
	}
}

// watchesNothingM2 is how little floor counts as none: our own choice, as in the rules.
const watchesNothingM2 = 0.05

// leaves says at which angles the leaves of a side are seen, and what would hide all of them.
func (g *gatherer) leaves(v field.Device, side string, d *deviceInPlace) {
	clearDB, clearAtM, hides := v.ReachDB, v.OffsetYM, [2]bool{true, true}
	for i, l := range g.door.Facts.Leaves {
		surface, ok := g.leafSurface(l, side)
		if !ok || surface == nil {
			continue
		}
		check := v.CheckLeaf(surface)
		if !check.Seen {
			continue
		}
		if check.LastDeg > 0 {
			name := leafName(i, len(g.door.Facts.Leaves))
			g.add("leaf_from_deg", check.FirstDeg, name, d)
			g.add("leaf_to_deg", check.LastDeg, name, d)
		}
		if hides[0] = hides[0] && check.ClearReachDB != nil; hides[0] {
			clearDB = min(clearDB, *check.ClearReachDB)
		}
		out, found := v.OffsetClearOf(surface)
		hides[1] = hides[1] && found
		clearAtM = max(clearAtM, v.OffsetYM+out)
	}
	blinded := v
	blinded.ReachDB = clearDB
	if hides[0] && clearDB < v.ReachDB && blinded.Footprint(0, true).AreaM2 > watchesNothingM2 { // a reach that blinds it is no remedy
		g.add("leaf_clear_db", clearDB, "", d)
	}
	if hides[1] && clearAtM > v.OffsetYM {
		g.add("leaf_clear_at_m", math.Ceil(clearAtM*100)/100, "", d)
	}
}

// way says what the device makes of somebody all along the way on which they are noticed latest, up to where they are.
func (g *gatherer) way(v field.Device, m field.Motion, side string, worst advice.Arrival, d *deviceInPlace) {
	o, _ := g.openingFor(g.pack, side, AdviceAsk{})
	i := slices.IndexFunc(o.Ways, func(a field.Approach) bool { return a.Name == worst.Way })
	body, known := field.BodyNamed(worst.Body)
	if i < 0 || !known {
		return
	}
	lengths := map[field.Unseen]float64{}
	for _, s := range v.Stretches(m, body, o.Ways[i].Path) {
		if s.Why == "" {
			break
		}
		lengths[s.Why] += s.ToM - s.FromM
	}
	for _, part := range []struct {
		name string
		why  field.Unseen
	}{{"way_outside_m", field.NeverInside}, {"way_slow_m", field.TooSlow}, {"way_other_direction_m", field.WrongDirection}, {"way_unconfirmed_m", field.TravelTooShort}} {
		g.add(part.name, lengths[part.why], worst.Way, d)
	}
}

// slowWalker says how long the output is still held when a slow walker who comes straight has reached the door.
func (g *gatherer) slowWalker(v field.Device, m field.Motion, side string, d *deviceInPlace) {
	if !d.revision.Device.Settings.OutputHoldS.Known() {
		return
	}
	o, _ := g.openingFor(g.pack, side, AdviceAsk{})
	slow, _ := field.BodyNamed("slow_walker")
	if leftS, w := v.StaysOpen(m, slow, o.Ways[0], 0); w.Triggers {
		g.add("slow_walker_s", leftS, "", d)
	}
}

// Where people walk on the other side of an open door: our own choice.
const (
	overThereM  = 4.0 // how far they walk away, and to each side when they pass
	passBehindM = 1.0 // how far from the door they pass
)

// beyond looks through the open doorway.
func (g *gatherer) beyond(v field.Device, m field.Motion, d *deviceInPlace) {
	clear := g.door.Facts.ClearWidthM
	i := slices.IndexFunc(g.door.Facts.Leaves, func(l Leaf) bool { return l.HeightM.Known() })
	if !clear.Known() || i < 0 || v.OffsetYM < 0 {
		return
	}
	w := field.Doorway{WidthM: *clear.Value, HeightM: *g.door.Facts.Leaves[i].HeightM.Value}
	walker, _ := field.BodyNamed("walker")
	g.add("beyond_m2", v.Beyond(w, walker.HeightM).AreaM2, "", d)
	away, across := field.Path{{0, -0.1}, {0, -overThereM}}, field.Path{{-overThereM, -passBehindM}, {overThereM, -passBehindM}}
	g.add("beyond_held_s", v.WalkBeyond(w, m, walker, away).HeldS, "away", d)
	g.add("beyond_held_s", v.WalkBeyond(w, m, walker, across).HeldS, "across", d)
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
			g.shared(a, b)
		}
	}
	g.add("devices_of_one_frequency", float64(alike), "", nil)
	if compared {
		g.add("contact_unlike", yes(unlike), "", nil)
	}
}

func sense(contact string) bool { return contact == "normally_open" || contact == "normally_closed" }

// shared is the floor on which two devices for people who come see the same people.
func (g *gatherer) shared(a, b *deviceInPlace) {
	side := a.component.Fitting.Side
	if side == "none" || side != b.component.Fitting.Side || a.purpose() != "activation" || b.purpose() != "activation" {
		return
	}
	va, lacksA := g.watch(*a)
	vb, lacksB := g.watch(*b)
	if len(lacksA)+len(lacksB) == 0 {
		g.add("shared_m2", field.Shared(va, vb, adultHeightM, true).AreaM2, "", nil)
	}
}

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

// sides counts what is fitted for people who come, on each side that is said to have something that senses them.
func (g *gatherer) sides() {
	for _, side := range []string{"a", "b"} {
		if by := g.door.Facts.Side(side).Activation; by != "sensor" && by != "both" {
			continue
		}
		g.add("activation_devices", float64(g.fitted(side, "activation")), g.door.Facts.called(side), nil)
	}
}

// fitted counts the devices of a side that are for people who come, or stand, whether or not anybody recorded their settings.
func (g *gatherer) fitted(side, purpose string) (n int) {
	for _, c := range g.components {
		there := c.Fitting.State == "fitted" && (c.Fitting.Side == side || c.Fitting.Side == "both")
		n += int(yes(there && c.senses() && (deviceInPlace{component: c}).purpose() == purpose))
	}
	return n
}

// zones looks at the gaps that all devices of a side together leave; where there is none, there is no field to have one.
func (g *gatherer) zones() {
	for _, c := range g.covers(g.pack) {
		if c.cover == nil || g.fitted(c.side, string(c.zone.Kind)) == 0 {
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

// lastChange finds what was changed last of each part before it began.
func (g *gatherer) lastChange(history []HistoryLine, since duedate.Day, zone *time.Location) {
	if since.IsZero() {
		return
	}
	nearest := map[uuid.UUID]float64{}
	for _, h := range history {
		if h.Of == "door" || h.Kind == "intended" {
			continue
		}
		days := float64(duedate.DayIn(h.EffectiveAt, zone).DaysUntil(since))
		if known, ok := nearest[h.SubjectID]; days < 0 || ok && known <= days {
			continue
		}
		nearest[h.SubjectID] = days
		var device *deviceInPlace // nil: something that is no device, such as the control
		if i := slices.IndexFunc(g.devices, func(d deviceInPlace) bool { return d.component.ComponentID == h.SubjectID }); i >= 0 {
			device = &g.devices[i]
		}
		g.add("changed_days_before", days, h.Reason, device)
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

// foretell computes what each try of a cause's remedy would change of the device that it is a cause in.
func (g *gatherer) foretell(ctx context.Context, tx Tx, c diagnosis.Cause) (list []Foretelling, err error) {
	i := slices.IndexFunc(g.devices, func(d deviceInPlace) bool { return d.component.ComponentID.String() == c.Device })
	if i < 0 || g.devices[i].sensing != "radar" {
		return nil, nil
	}
	d := g.devices[i]
	for _, try := range c.Remedy.Tries {
		changes := g.changes(try, d)
		if len(changes) == 0 {
			continue
		}
		planned, err := asPlanned(ctx, tx, g.picture, d, changes)
		if err != nil {
			if len(fault.Of(err)) > 0 {
				continue // out of what can be set
			}
			return nil, err
		}
		after := gatherer{picture: g.picture, pack: g.pack, mainsHz: g.mainsHz}
		if err := after.mount(ctx, tx, d.component, Revision{ComponentID: d.component.ComponentID, DoorID: g.door.DoorID, Device: planned}); err != nil {
			return nil, err
		}
		f := Foretelling{Changes: changes}
		for _, side := range []string{"a", "b"} {
			if s := d.component.Fitting.Side; s == side || s == "both" {
				f.Effects = append(f.Effects, turns(side, g.checks(g.pack, side, d.component.ComponentID), after.checks(g.pack, side, d.component.ComponentID))...)
			}
		}
		after.devicesApart()
		for _, e := range append(evidenceOf(c.Because), c.Tells...) {
			i := slices.IndexFunc(after.list, func(a diagnosis.Evidence) bool {
				return a.Name == e.Name && a.Subject == e.Subject && a.Device == e.Device
			})
			if slices.Contains(foretellable, e.Name) && e.Device == c.Device && i >= 0 && after.list[i].Value != e.Value {
				f.After = append(f.After, after.list[i])
			}
		}
		list = append(list, f)
	}
	return list, nil
}

// changes are those of a try that would change something, with their values.
func (g *gatherer) changes(try []diagnosis.Change, d deviceInPlace) (list []WhatIfChange) {
	facts := d.revision.Device
	for _, c := range try {
		value := c.Value
		if slices.Contains(diagnosis.Names(), value) {
			i := slices.IndexFunc(g.list, func(e diagnosis.Evidence) bool {
				return e.Name == c.Value && e.Device == d.component.ComponentID.String()
			})
			if i < 0 {
				return nil
			}
			value = strconv.FormatFloat(math.Round(g.list[i].Value*1000)/1000, 'f', -1, 64)
		}
		if q := facts.quantityNamed(c.Name); q != nil && q.Known() {
			to, err := strconv.ParseFloat(value, 64)
			if err != nil || to == *q.Value || c.Only == diagnosis.Raise && to < *q.Value || c.Only == diagnosis.Lower && to > *q.Value {
				continue
			}
		}
		if c.Name == "motion_direction" && facts.Settings.MotionDirection == value {
			continue
		}
		list = append(list, WhatIfChange{c.Name, value})
	}
	return list
}

// foretellable are the evidence that a change alters and that no effect tells.
var foretellable = []string{"beyond_m2", "beyond_held_s", "field_m2", "lamp_mps", "slow_walker_s", "way_outside_m", "way_slow_m", "way_other_direction_m", "way_unconfirmed_m"}

func evidenceOf(reasons []diagnosis.Reason) (list []diagnosis.Evidence) {
	for _, r := range reasons {
		list = append(list, r.Evidence)
	}
	return list
}

// Told puts the diagnosis into words: each cause with what speaks for it, how to tell it from the others, and the remedy with its
// foretold effect; then what to find out; then the caution.
func (d Diagnosis) Told(p words.Printer) []advice.Section {
	var list []advice.Section
	for i, c := range d.Causes {
		s := advice.Section{Heading: p.T("diagnosis.ranked", "place", i+1, "cause", p.T("diagnosis.cause."+c.Name), "score", c.Score)}
		if component, ok := d.devices[c.Device]; ok {
			s.Sentences = append(s.Sentences, p.T("diagnosis.device", "device", d.called(p, component)))
		}
		for _, r := range c.Because {
			s.Sentences = append(s.Sentences, p.T("diagnosis.because", "evidence", evidenceIn(p, r.Evidence), "weight", r.Weight))
		}
		for _, e := range c.Tells {
			s.Sentences = append(s.Sentences, p.T("diagnosis.tells", "evidence", evidenceIn(p, e)))
		}
		s.Sentences = append(s.Sentences, p.T("diagnosis.check", "check", p.T("diagnosis.check."+c.Name)), p.T("diagnosis.remedy", "remedy", p.T("diagnosis.remedy."+c.Remedy.Name)))
		for _, f := range d.Foretold[i] {
			s.Sentences = append(s.Sentences, f.told(p)...)
		}
		list = append(list, s)
	}
	if len(d.Causes) == 0 {
		why := "diagnosis.none.why"
		if len(d.FindOut) == 0 {
			why = "diagnosis.none.all_known"
		}
		list = append(list, advice.Section{Heading: p.T("diagnosis.none"), Sentences: []string{p.T(why)}})
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

// called is how people find a device: its kind, the side that it is on, its serial number where there is one.
func (d Diagnosis) called(p words.Printer, c Component) string {
	side := ""
	if s := c.Fitting.Side; s == "a" || s == "b" {
		side = d.Door.Facts.called(s)
	}
	key := "diagnosis.device.named"
	switch {
	case c.Serial == "" && side == "":
		key = "diagnosis.device.only"
	case c.Serial == "":
		key = "diagnosis.device.side"
	case side == "":
		key = "diagnosis.device.serial"
	}
	return p.T(key, "side", side, "serial", c.Serial)
}

// told says what is tried and what would come of it, or that nothing that is computed would change.
func (f Foretelling) told(p words.Printer) []string {
	changes := make([]string, len(f.Changes))
	for i, c := range f.Changes {
		value := c.Value
		if v, err := strconv.ParseFloat(value, 64); err == nil && c.Name == "mount.offset_y_m" {
			value = p.Length(v)
		}
		changes[i] = p.T("diagnosis.change."+c.Name, "value", value)
	}
	list := []string{p.T("diagnosis.tried", "changes", strings.Join(changes, p.T("diagnosis.and")))}
	for _, e := range f.Effects {
		if e.Turn != "same" {
			list = append(list, p.T("what_if."+e.Turn, "before", advice.TellCheck(p, e.Before), "after", advice.TellCheck(p, e.After)))
		}
	}
	for _, e := range f.After {
		list = append(list, p.T("diagnosis.then", "evidence", evidenceIn(p, e)))
	}
	if len(list) == 1 {
		list = append(list, p.T("diagnosis.no_effect"))
	}
	return list
}

// toldOtherwise are evidence of which nothing, or no, is another sentence.
var toldOtherwise = []string{"hold_while_moving", "answers_to_departure", "answers_to_both", "contact_unlike", "hood", "lock_code_on_record", "beyond_held_s",
	"changed_days_before", "activation_devices", "presence_devices"}

// evidenceIn words.
func evidenceIn(p words.Printer, e diagnosis.Evidence) string {
	key, subject := "diagnosis.evidence."+e.Name, e.Subject
	switch {
	case e.Value == 0 && slices.Contains(toldOtherwise, e.Name):
		key += ".not"
	case e.Name == "in_time_s" && e.Value <= advice.UnseenS:
		key += ".never"
	case e.Name == "slow_walker_s" && e.Value < 0:
		key, e.Value = key+".before", -e.Value
	}
	switch {
	case e.Name == "in_time_s" || strings.HasPrefix(e.Name, "way_"):
		subject = p.T("advice.way." + e.Subject)
	case e.Name == "beyond_held_s":
		subject = p.T("diagnosis.over_there." + e.Subject)
	}
	limit := ""
	if e.Limit != nil {
		limit = valueIn(p, e.Name, *e.Limit)
	}
	return p.T(key, "count", int(e.Value), "value", valueIn(p, e.Name, e.Value), "limit", limit, "subject", subject)
}

// valueIn is a number of evidence in the unit that its name ends with.
func valueIn(p words.Printer, name string, value float64) string {
	switch {
	case strings.HasSuffix(name, "_share"):
		return p.T("diagnosis.percent", "number", math.Round(value*1000)/10)
	case strings.HasSuffix(name, "_mm"):
		return p.T("diagnosis.mm", "number", math.Round(value))
	case strings.HasSuffix(name, "_m2"):
		return p.Quantity(value, words.SquareMetre)
	case strings.HasSuffix(name, "_m"):
		return p.Length(value)
	case strings.HasSuffix(name, "_mps"):
		return p.Quantity(value, words.MetrePerSecond)
	case strings.HasSuffix(name, "_s"):
		return p.Quantity(value, words.Second)
	case strings.HasSuffix(name, "_deg"):
		return p.Quantity(value, words.Degree)
	case strings.HasSuffix(name, "_db"):
		return p.Quantity(value, words.Decibel)
	}
	return p.T("diagnosis.number", "number", value)
}
