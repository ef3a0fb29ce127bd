package fleet

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"math/bits"
	"slices"
	"strings"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/advice"
	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/fault"
	"lintel.example/lintel/internal/field"
	"lintel.example/lintel/internal/identity"
	"lintel.example/lintel/internal/rulebook"
	"lintel.example/lintel/internal/steps"
	"lintel.example/lintel/internal/words"
)

// SettingsSheet says, for whoever stands at a door, which steps to set at its devices to reach what is intended. It is written when it is asked for
// and not kept: what counts is what is recorded as left. Texts are in the language and the units of who asks.
type SettingsSheet struct {
	ReportHead
	DoorID  uuid.UUID     `json:"door_id"`
	Tag     string        `json:"tag"`
	Door    string        `json:"door"`
	Site    string        `json:"site"`
	Address string        `json:"address"`
	Before  []string      `json:"before" doc:"What comes before anybody touches a device."`
	Devices []SheetDevice `json:"devices"`
	Zones   []SheetZone   `json:"zones" doc:"That the rules ask for on the sides of these devices, as intended and at the steps."`
	After   []string      `json:"after" doc:"What comes after any adjustment."`
}

// SheetDevice is one device of a sheet.
type SheetDevice struct {
	ComponentID uuid.UUID `json:"component_id"`
	Name        string    `json:"name"`
	Side        string    `json:"side"`
	// From says where the intended settings come from: asked (as in a what-if), planned (in the office), recorded (as it stands), nothing.
	From    string         `json:"from" enum:"asked,planned,recorded,nothing"`
	Rows    []SheetRow     `json:"rows" doc:"Settings that the model has steps for."`
	ByHand  []SheetByHand  `json:"by_hand" doc:"What is intended and not set in steps."`
	Wanted  *Extent        `json:"wanted" doc:"What it watches on the floor as intended; null: nothing is on record."`
	AtSteps *Extent        `json:"at_steps" doc:"At the steps to set."`
	Notes   []string       `json:"notes" doc:"How far the field departs, what gets better or worse, how it is addressed and reset, in words."`
	Reset   *steps.Reset   `json:"reset,omitempty"`
	Alone   *steps.Address `json:"alone,omitempty" doc:"How it is addressed alone."`
	Beside  []string       `json:"beside" doc:"Other devices of this maker on the door, that may listen too."`
}

// SheetRow is one setting in the steps of the model.
type SheetRow struct {
	Setting string      `json:"setting"`
	Title   string      `json:"title"`
	Wanted  string      `json:"wanted" doc:"The intended value in words; empty when it is not on record."`
	Stands  string      `json:"stands" doc:"What it stood at, as was last recorded: a label that was read, or what the recorded value comes to."`
	Set     *steps.Step `json:"set" doc:"The step to set; null when nothing can be said."`
	How     string      `json:"how"`
	Departs *float64    `json:"departs,omitempty" doc:"The step's value less the intended one, in the unit that ends the setting's name; absent when they are one."`
	Beyond  bool        `json:"beyond,omitempty" doc:"The intended value is beyond the last step."`
	Kept    bool        `json:"kept,omitempty" doc:"Not the nearest step, which would leave a required zone short, but the one on the other side of the intended value."`
	Note    string      `json:"note,omitempty"`
	Factory string      `json:"factory,omitempty"`
	Cleared bool        `json:"cleared" doc:"A reset brings it back to the factory step."`
}

// SheetByHand is an intended value that the model has no steps for.
type SheetByHand struct {
	Name string `json:"name"`
	Says string `json:"says"`
}

// SheetZone is a required zone as intended and at the steps. Shares are null when they are not computable.
type SheetZone struct {
	Side    string   `json:"side"`
	Zone    string   `json:"zone"`
	Title   string   `json:"title"`
	Wanted  *float64 `json:"wanted_share"`
	AtSteps *float64 `json:"share_at_steps"`
	Says    string   `json:"says"`
	Short   bool     `json:"short" doc:"At the steps it falls short."`
}

// Check is that of a document; a sheet is not kept, so there is nothing to hold it to.
func (SettingsSheet) Check() error { return nil }

// SheetAsk is of what a sheet is asked: of a door with all its devices, or of one device, perhaps with settings that are intended instead of those on
// record, by the names that WhatIf knows.
type SheetAsk struct {
	DoorID      uuid.UUID // zero with ComponentID
	ComponentID uuid.UUID
	Changes     []WhatIfChange // of ComponentID only
}

// SettingsSheet writes a sheet. It records nothing.
func (f *Fleet) SettingsSheet(ctx context.Context, by identity.Actor, ask SheetAsk) (doc SettingsSheet, err error) {
	err = f.Store.InTxReadOnly(ctx, by, func(ctx context.Context, tx Tx) error {
		if ask.ComponentID != uuid.Nil {
			c, err := tx.ComponentByID(ctx, ask.ComponentID, AsOf{})
			if err != nil {
				return err
			}
			ask.DoorID = c.DoorID
		}
		p, err := pictureOf(ctx, tx, ask.DoorID, AsOf{})
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
		w := sheetWriter{Printer: f.Words.Printer(cmp.Or(by.Language, "en"), words.Units(by.Units)), fleet: f, pack: pack, present: p, wanted: p}
		if err := w.read(ctx, tx, ask); err != nil {
			return err
		}
		if err := w.choose(ctx, tx); err != nil {
			return err
		}
		doc = w.sheet()
		doc.ReportHead = f.head("", by, p.door.DoorID, forStaff, duedate.DayIn(f.Now(), site.Location()), paperOf("", site.Jurisdiction))
		doc.DoorID, doc.Tag, doc.Door, doc.Site, doc.Address = p.door.DoorID, p.door.Tag.String(), p.door.Name, site.Name, site.inOneLine()
		return nil
	})
	return doc, err
}

// PrintSettingsSheet prints a sheet as pdf or html.
func (f *Fleet) PrintSettingsSheet(ctx context.Context, by identity.Actor, ask SheetAsk, form string) ([]byte, error) {
	doc, err := f.SettingsSheet(ctx, by, ask)
	if err != nil {
		return nil, err
	}
	prints, err := f.PrintReport(doc, "")
	if err != nil {
		return nil, err
	}
	i := slices.IndexFunc(prints, func(p ReportPrint) bool { return p.Form == form && len(p.Bytes) > 0 })
	if i < 0 {
		return nil, fault.New(fault.NotFound, "report_not_kept_so", "form", form)
	}
	return prints[i].Bytes, nil
}

// sheetWriter puts a sheet together: the door as it stands, as intended, and at the steps to set.
type sheetWriter struct {
	words.Printer
	fleet                    *Fleet
	pack                     *rulebook.Pack
	present, wanted, atSteps picture
	devices                  []sheetTarget
}

// sheetTarget is a device that a sheet is about.
type sheetTarget struct {
	component Component
	chart     *steps.Chart // nil: the catalogue does not say
	from      string
	wanted    DeviceFacts // of nothing while from is nothing
	set       DeviceFacts // at the steps
	other     []string    // settings of which not the nearest step is set
}

// read finds the devices and what is intended of each.
func (w *sheetWriter) read(ctx context.Context, tx Tx, ask SheetAsk) error {
	for _, c := range w.present.components {
		if c.Fitting.State != "fitted" || !c.senses() || ask.ComponentID != uuid.Nil && c.ComponentID != ask.ComponentID {
			continue
		}
		t := sheetTarget{component: c, from: "nothing"}
		if c.ModelID != nil {
			t.chart = w.present.models[*c.ModelID].Steps
		}
		newest, err := tx.RevisionsOfDevice(ctx, RevisionQuery{ComponentID: c.ComponentID, Limit: 1})
		if err != nil {
			return err
		}
		var d deviceInPlace
		if i := w.present.at(c.ComponentID); i >= 0 {
			d, t.from = w.present.devices[i], "recorded"
		}
		if len(newest) > 0 && newest[0].Standing == "intended" {
			d, t.from = deviceInPlace{component: c, revision: newest[0]}, "planned"
		}
		if t.from != "nothing" {
			t.wanted = d.revision.Device
		}
		if len(ask.Changes) > 0 {
			if t.from == "nothing" {
				return fault.New(fault.NotFound, "settings_not_recorded")
			}
			if t.wanted, err = asPlanned(ctx, tx, w.present, d, ask.Changes); err != nil {
				return err
			}
			t.from = "asked"
		}
		if t.from != "nothing" {
			if err := w.wanted.mount(ctx, tx, c, Revision{ComponentID: c.ComponentID, DoorID: c.DoorID, Device: t.wanted}); err != nil {
				return err
			}
		}
		w.devices = append(w.devices, t)
	}
	if len(w.devices) == 0 {
		return fault.New(fault.Conflict, "settings_sheet_of_no_device")
	}
	return nil
}

// at is where a device stands in a picture, −1 when nothing of it is recorded.
func (p picture) at(id uuid.UUID) int {
	return slices.IndexFunc(p.devices, func(d deviceInPlace) bool { return d.component.ComponentID == id })
}

// choose sets each device to steps: to the nearest, unless a required zone that is covered as intended would then fall short and is not at the step
// on the other side of what is intended.
func (w *sheetWriter) choose(ctx context.Context, tx Tx) error {
	w.atSteps = w.wanted
	for i := range w.devices {
		t := &w.devices[i]
		if t.from == "nothing" {
			continue
		}
		open := w.betweenSteps(*t)
		var nearest picture
		chosen := -1
		for k, mask := range fewestFirst(len(open)) {
			var others []string
			for b, setting := range open {
				if mask&(1<<b) != 0 {
					others = append(others, setting)
				}
			}
			tried := w.atSteps
			facts := t.stepped(others)
			if err := tried.mount(ctx, tx, t.component, Revision{ComponentID: t.component.ComponentID, DoorID: t.component.DoorID, Device: facts}); err != nil {
				return err
			}
			if k == 0 {
				nearest, t.set = tried, facts
			}
			if len(open) == 0 || !w.losesZone(tried) {
				w.atSteps, t.set, t.other, chosen = tried, facts, others, k
				break
			}
		}
		if chosen < 0 {
			w.atSteps = nearest
		}
	}
	return nil
}

// fewestFirst gives all subsets of n things as bits, those of fewer first.
func fewestFirst(n int) []uint {
	list := make([]uint, 1<<n)
	for i := range list {
		list[i] = uint(i)
	}
	slices.SortStableFunc(list, func(a, b uint) int { return bits.OnesCount(a) - bits.OnesCount(b) })
	return list
}

// betweenSteps names the settings that decide what a device watches and whose intended value lies between two steps: three at the most.
func (w *sheetWriter) betweenSteps(t sheetTarget) (list []string) {
	for _, setting := range []string{"reach_db", "mount.tilt_deg", "mount.yaw_deg"} {
		if s, ok := t.scale(setting); ok {
			if q := t.wanted.quantityNamed(setting); q.Known() && s.Nearest(*q.Value).Other != nil {
				list = append(list, setting)
			}
		}
	}
	return list
}

func (t sheetTarget) scale(setting string) (steps.Scale, bool) {
	if t.chart == nil {
		return steps.Scale{}, false
	}
	return t.chart.Of(setting)
}

// stepped is the device with every number that its model has steps for at the nearest step, or at its neighbour where named.
func (t sheetTarget) stepped(others []string) DeviceFacts {
	facts := t.wanted
	facts.Steps = nil
	for _, l := range steppedNumbers() {
		s, ok := t.scale(l.name)
		q := facts.quantityNamed(l.name)
		if !ok || !q.Known() {
			continue
		}
		*q = Q(*stepFor(s, *q.Value, slices.Contains(others, l.name)).Value, q.Basis)
	}
	return facts
}

func stepFor(s steps.Scale, v float64, other bool) steps.Step {
	r := s.Nearest(v)
	if other && r.Other != nil {
		return *r.Other
	}
	return r.Nearest
}

// losesZone tells whether a zone that is covered as intended falls short.
func (w *sheetWriter) losesZone(p picture) bool {
	intended := w.wanted.covers(w.pack)
	for i, c := range p.covers(w.pack) {
		if before := intended[i].cover; before != nil && !before.Shortfall() && c.cover != nil && c.cover.Shortfall() {
			return true
		}
	}
	return false
}

// sheet writes what was chosen.
func (w *sheetWriter) sheet() SettingsSheet {
	doc := SettingsSheet{Devices: []SheetDevice{}, Zones: w.zones(), Before: []string{w.T("settings_sheet.before.maker"), w.T("settings_sheet.before.people"), w.T("settings_sheet.before.ladder"), w.T("settings_sheet.before.code")},
		After: []string{w.T("settings_sheet.after.test"), w.T("settings_sheet.after.unsafe"), w.T("settings_sheet.after.record"), w.T("settings_sheet.after.computed")}}
	for _, t := range w.devices {
		doc.Devices = append(doc.Devices, w.device(t))
	}
	return doc
}

func (w *sheetWriter) device(t sheetTarget) SheetDevice {
	maker, model := w.present.nameOf(t.component)
	d := SheetDevice{ComponentID: t.component.ComponentID, Name: strings.TrimSpace(strings.Join([]string{maker, model, t.component.Serial}, " ")), Side: t.component.Fitting.Side, From: t.from,
		Rows: []SheetRow{}, ByHand: []SheetByHand{}, Notes: []string{}, Beside: []string{}}
	if t.chart == nil {
		d.Notes = append(d.Notes, w.T("settings_sheet.no_steps"))
	} else {
		d.Reset, d.Alone = t.chart.Reset, t.chart.Address
		for _, s := range t.chart.Scales {
			d.Rows = append(d.Rows, w.row(t, s))
		}
		w.alone(&d, t)
	}
	if t.from == "nothing" {
		d.Notes = append(d.Notes, w.T("settings_sheet.nothing"))
		return d
	}
	d.ByHand = w.byHand(t)
	d.Wanted, d.AtSteps = w.extentOf(w.wanted, t), w.extentOf(w.atSteps, t)
	d.Notes = append(d.Notes, w.departure(t, d.Wanted, d.AtSteps))
	for _, side := range []string{"a", "b"} {
		if s := t.component.Fitting.Side; s != side && s != "both" {
			continue
		}
		for _, e := range turns(side, w.wanted.checks(w.pack, side, d.ComponentID), w.atSteps.checks(w.pack, side, d.ComponentID)) {
			if e.Turn == "worse" || e.Before.Holds != e.After.Holds {
				d.Notes = append(d.Notes, w.T("settings_sheet."+e.Turn, "before", advice.TellCheck(w.Printer, e.Before), "after", advice.TellCheck(w.Printer, e.After)))
			}
		}
	}
	return d
}

func (w *sheetWriter) extentOf(p picture, t sheetTarget) *Extent {
	i := p.at(t.component.ComponentID)
	if i < 0 {
		return nil
	}
	e, _ := p.extent(p.devices[i], w.fleet.Now())
	return &e
}

// departure says how far the field at the steps is from the intended one.
func (w *sheetWriter) departure(t sheetTarget, wanted, atSteps *Extent) string {
	switch {
	case wanted == nil || wanted.WidthM == nil || atSteps == nil || atSteps.WidthM == nil:
		return w.T("settings_sheet.field_unknown")
	case t.chart == nil:
		return w.T("settings_sheet.field_as_intended", "field", told(w.Printer, wanted))
	case steps.Same(*wanted.AreaM2, *atSteps.AreaM2) && steps.Same(*wanted.FarM, *atSteps.FarM) && steps.Same(*wanted.WidthM, *atSteps.WidthM):
		return w.T("settings_sheet.field_same", "field", told(w.Printer, wanted))
	}
	share := "–"
	if *wanted.AreaM2 > 0 {
		share = fmt.Sprintf("%+.0f %%", 100*(*atSteps.AreaM2 / *wanted.AreaM2 - 1))
	}
	return w.T("settings_sheet.field", "wanted", told(w.Printer, wanted), "steps", told(w.Printer, atSteps), "share", share)
}

// alone says how the device is addressed alone, among those of its maker on the door, and how it is reset.
func (w *sheetWriter) alone(d *SheetDevice, t sheetTarget) {
	maker, _ := w.present.nameOf(t.component)
	for _, c := range w.present.components {
		other, model := w.present.nameOf(c)
		if c.ComponentID == t.component.ComponentID || c.Fitting.State != "fitted" || !c.senses() || other != maker {
			continue
		}
		d.Beside = append(d.Beside, strings.TrimSpace(model+" "+c.Serial)+", "+w.Enum("side", c.Fitting.Side))
	}
	switch {
	case d.Alone == nil && len(d.Beside) > 0:
		d.Notes = append(d.Notes, w.T("settings_sheet.alone_unknown", "others", strings.Join(d.Beside, "; ")))
	case d.Alone != nil && len(d.Beside) > 0:
		d.Notes = append(d.Notes, w.T("settings_sheet.alone", "others", strings.Join(d.Beside, "; "), "by", w.Enum("addressed_by", d.Alone.By), "how", d.Alone.How))
	case d.Alone != nil:
		d.Notes = append(d.Notes, w.T("settings_sheet.alone_by_itself", "by", w.Enum("addressed_by", d.Alone.By), "how", d.Alone.How))
	}
	if d.Reset == nil {
		return
	}
	var cleared []string
	for _, setting := range d.Reset.Clears {
		name := w.T("settings_sheet.setting." + setting)
		if s, ok := t.scale(setting); ok {
			name = w.T("settings_sheet.cleared_to", "setting", name, "label", s.Factory)
		}
		cleared = append(cleared, name)
	}
	if len(cleared) == 0 {
		d.Notes = append(d.Notes, w.T("settings_sheet.reset_nothing", "how", d.Reset.How))
		return
	}
	d.Notes = append(d.Notes, w.T("settings_sheet.reset", "how", d.Reset.How, "cleared", strings.Join(cleared, "; ")))
}

func (w *sheetWriter) row(t sheetTarget, s steps.Scale) SheetRow {
	r := SheetRow{Setting: s.Setting, Title: w.T("settings_sheet.setting." + s.Setting), Stands: w.stands(t, s), Factory: s.Factory, Cleared: t.chart.Clears(s.Setting)}
	if t.from == "nothing" {
		return r
	}
	var step steps.Step
	if q := t.wanted.quantityNamed(s.Setting); q != nil {
		if !q.Known() {
			r.Note = w.T("settings_sheet.not_on_record")
			return r
		}
		r.Wanted, r.Kept = w.number(s.Setting, *q.Value), slices.Contains(t.other, s.Setting)
		step = stepFor(s, *q.Value, r.Kept)
		w.departs(&r, s, *q.Value, step)
	} else {
		word := t.wanted.wordOf(s.Setting)
		if word == "" {
			r.Note = w.T("settings_sheet.not_on_record")
			return r
		}
		r.Wanted = w.word(s.Setting, word)
		var ok bool
		if step, ok = s.Saying(word); !ok {
			r.Note = w.T("settings_sheet.no_step_of_word", "word", r.Wanted)
			return r
		}
	}
	r.Set, r.How = &step, w.how(s, step)
	return r
}

// departs says how a step departs from the intended number.
func (w *sheetWriter) departs(r *SheetRow, s steps.Scale, v float64, step steps.Step) {
	reached := s.Nearest(v)
	if reached.Exact {
		return
	}
	off := *step.Value - v
	r.Departs, r.Beyond = &off, reached.Beyond
	is := w.number(s.Setting, *step.Value)
	if reached.Beyond {
		r.Note = w.T("settings_sheet.beyond", "label", step.Label, "is", is)
		return
	}
	key := "settings_sheet.between"
	switch {
	case r.Kept:
		key = "settings_sheet.kept"
	case steps.Same(math.Abs(*reached.Nearest.Value-v), math.Abs(*reached.Other.Value-v)):
		key = "settings_sheet.midway"
	}
	r.Note = w.T(key, "label", step.Label, "is", is, "nearest", reached.Nearest.Label, "nearest_is", w.number(s.Setting, *reached.Nearest.Value),
		"other", reached.Other.Label, "other_is", w.number(s.Setting, *reached.Other.Value))
}

// stands says at which step a setting was last recorded.
func (w *sheetWriter) stands(t sheetTarget, s steps.Scale) string {
	i := w.present.at(t.component.ComponentID)
	if i < 0 {
		return w.T("settings_sheet.not_on_record")
	}
	facts := w.present.devices[i].revision.Device
	if label := facts.Steps[s.Setting]; label != "" {
		return w.T("settings_sheet.read", "label", label)
	}
	if q := facts.quantityNamed(s.Setting); q != nil {
		if !q.Known() {
			return w.T("settings_sheet.not_on_record")
		}
		switch reached := s.Nearest(*q.Value); {
		case reached.Exact:
			return w.T("settings_sheet.comes_to", "label", reached.Nearest.Label)
		case reached.Beyond:
			return w.T("settings_sheet.comes_beyond", "label", reached.Nearest.Label, "value", w.number(s.Setting, *q.Value))
		default:
			return w.T("settings_sheet.comes_between", "label", reached.Nearest.Label, "other", reached.Other.Label, "value", w.number(s.Setting, *q.Value))
		}
	}
	word := facts.wordOf(s.Setting)
	step, ok := s.Saying(word)
	switch {
	case word == "":
		return w.T("settings_sheet.not_on_record")
	case !ok:
		return w.word(s.Setting, word)
	}
	return w.T("settings_sheet.comes_to", "label", step.Label)
}

// how says how a step is set at the device.
func (w *sheetWriter) how(s steps.Scale, x steps.Step) string {
	switch s.Way {
	case steps.Presses:
		return w.T("settings_sheet.how.presses", "control", s.Control, "count", *x.Presses)
	case steps.Switches:
		var list []string
		for i, name := range s.Switches {
			key := "settings_sheet.switch_off"
			if x.On[i] {
				key = "settings_sheet.switch_on"
			}
			list = append(list, w.T(key, "switch", name))
		}
		return w.T("settings_sheet.how.switches", "control", s.Control, "switches", strings.Join(list, ", "))
	case steps.Remote:
		return w.T("settings_sheet.how.remote", "control", s.Control, "keys", x.Keys)
	case steps.Screw:
		return w.T("settings_sheet.how.screw", "control", s.Control, "turns", *x.Turns)
	}
	return w.T("settings_sheet.how.dial", "control", s.Control, "label", x.Label)
}

// byHand lists what is intended and not set in steps.
func (w *sheetWriter) byHand(t sheetTarget) []SheetByHand {
	list := []SheetByHand{}
	for _, l := range deviceLimits() {
		if _, stepped := t.scale(l.name); stepped {
			continue
		}
		if q := t.wanted.quantityNamed(l.name); q.Known() {
			list = append(list, SheetByHand{w.T("settings_sheet.setting." + l.name), w.number(l.name, *q.Value)})
		}
	}
	for _, name := range []string{"motion_direction", "hold_while_moving", "output_contact"} {
		if _, stepped := t.scale(name); stepped {
			continue
		}
		if word := t.wanted.wordOf(name); word != "" {
			list = append(list, SheetByHand{w.T("settings_sheet.setting." + name), w.word(name, word)})
		}
	}
	if id := t.wanted.AntennaID; id != nil {
		list = append(list, SheetByHand{w.T("settings_sheet.setting.antenna"), w.wanted.antennas[*id].Name})
	}
	var names []string
	for _, id := range t.wanted.Accessories {
		names = append(names, w.wanted.accessories[id].Name)
	}
	if len(names) > 0 {
		list = append(list, SheetByHand{w.T("settings_sheet.setting.accessories"), strings.Join(names, ", ")})
	}
	return list
}

// finely is how lengths of a sheet are written: a millimetre, a sixteenth of an inch.
func finely() words.Fineness { return words.Fineness{Decimals: 3, InchParts: 16} }

// number writes a setting in the reader's units.
func (w *sheetWriter) number(setting string, v float64) string {
	switch {
	case strings.HasSuffix(setting, "_db"):
		return w.Quantity(v, words.Decibel)
	case strings.HasSuffix(setting, "_deg"):
		return w.Quantity(v, words.Degree)
	case strings.HasSuffix(setting, "_s"):
		return w.Quantity(v, words.Second)
	case strings.HasSuffix(setting, "_mm"):
		return w.LengthTo(v/1000, finely())
	}
	return w.LengthTo(v, finely())
}

// word writes a setting that is a word.
func (w *sheetWriter) word(setting, word string) string {
	switch setting {
	case "motion_direction":
		return w.Enum("motion_direction", word)
	case "output_contact":
		return w.Enum("contact", word)
	}
	return w.T("settings_sheet." + word)
}

// zones holds the zones of the devices' sides as intended against those at the steps.
func (w *sheetWriter) zones() []SheetZone {
	list := []SheetZone{}
	intended := w.wanted.covers(w.pack)
	for i, c := range w.atSteps.covers(w.pack) {
		if !slices.ContainsFunc(w.devices, func(t sheetTarget) bool {
			s := t.component.Fitting.Side
			return (s == c.side || s == "both") && (deviceInPlace{component: t.component}).purpose() == string(c.zone.Kind)
		}) {
			continue
		}
		z := SheetZone{Side: c.side, Zone: c.zone.ID, Title: c.zone.Title}
		before, after := intended[i].cover, c.cover
		if before == nil || after == nil {
			z.Says = w.T("settings_sheet.zone_unknown")
			list = append(list, z)
			continue
		}
		z.Wanted, z.AtSteps, z.Short = &before.CoveredShare, &after.CoveredShare, after.Shortfall()
		z.Says = w.zone(before, after)
		list = append(list, z)
	}
	return list
}

func (w *sheetWriter) zone(before, after *field.Coverage) string {
	switch {
	case !before.Shortfall() && after.Shortfall():
		return w.T("settings_sheet.zone_lost", "gap", w.Length(widest(after)))
	case before.Shortfall() && after.Shortfall():
		return w.T("settings_sheet.zone_short", "gap", w.Length(widest(after)))
	case before.Shortfall():
		return w.T("settings_sheet.zone_gained", "gap", w.Length(widest(before)))
	}
	return w.T("settings_sheet.zone_kept")
}

// widest is the diameter of the greatest circle in the gaps of a zone.
func widest(c *field.Coverage) (m float64) {
	for _, g := range c.Gaps {
		m = max(m, g.CircleM)
	}
	return m
}

// Told puts a sheet into lines, the cautions around the steps as on paper.
func (d SettingsSheet) Told(p words.Printer) []string {
	list := append([]string{strings.TrimSpace(d.Door + " " + Tag(d.Tag).String() + ", " + d.Site)}, d.Before...)
	for _, x := range d.Devices {
		list = append(list, "", x.Name+", "+p.Enum("side", x.Side)+": "+p.T("settings_sheet.from."+x.From))
		for _, r := range x.Rows {
			line := p.T("settings_sheet.told_nothing", "title", r.Title, "note", r.Note)
			if r.Set != nil {
				line = p.T("settings_sheet.told", "title", r.Title, "label", r.Set.Label, "how", r.How, "wanted", r.Wanted, "stands", r.Stands, "note", r.Note)
			}
			list = append(list, "  "+strings.TrimSpace(line))
		}
		for _, h := range x.ByHand {
			list = append(list, "  "+h.Name+": "+h.Says)
		}
		for _, n := range x.Notes {
			list = append(list, "  "+n)
		}
	}
	list = append(list, "")
	for _, z := range d.Zones {
		list = append(list, p.Enum("side", z.Side)+", "+z.Title+": "+z.Says)
	}
	return append(list, d.After...)
}
