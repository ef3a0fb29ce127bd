package console

import (
	"bytes"
	"context"
	"fmt"
	"html/template"
	"io"
	"maps"
	"net/http"
	"slices"
	"strings"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/fault"
	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/report"
	"lintel.example/lintel/internal/words"
)

// quantityField is a physical value as a form asks for it: the value, and how it came to be known.
type quantityField struct{ Value, Basis field }

// deviceFields are the fields of how a device is mounted and set.
type deviceFields struct {
	Antenna     field
	Accessories []field // from the header outwards
	Mount       []quantityField
	Settings    []quantityField
	Choices     []field
}

// fewestAccessories is how many accessories a form has room for.
const fewestAccessories = 3

// deviceUnits are the values of a device, in the order of the form, with their units.
func deviceUnits() []struct {
	name string
	unit words.SI
} {
	return []struct {
		name string
		unit words.SI
	}{{"/mount/height_m", words.Metre}, {"/mount/offset_x_m", words.Metre}, {"/mount/offset_y_m", words.Metre}, {"/mount/tilt_deg", words.Degree}, {"/mount/yaw_deg", words.Degree},
		{"/settings/reach_db", words.Decibel}, {"/settings/confirm_travel_mm", "mm"}, {"/settings/output_hold_s", words.Second}}
}

// quantities gives the values of a device in the order of deviceUnits.
func quantities(d *fleet.DeviceFacts) []*fleet.Quantity {
	return []*fleet.Quantity{&d.Mount.HeightM, &d.Mount.OffsetXM, &d.Mount.OffsetYM, &d.Mount.TiltDeg, &d.Mount.YawDeg,
		&d.Settings.ReachDB, &d.Settings.ConfirmTravelMM, &d.Settings.OutputHoldS}
}

// unknownDevice is a device of which nobody knows anything.
func unknownDevice() fleet.DeviceFacts {
	d := fleet.DeviceFacts{Accessories: []uuid.UUID{}, Settings: fleet.Settings{MotionDirection: "unknown", OutputContact: "unknown"}}
	for _, q := range quantities(&d) {
		*q = fleet.UnknownQuantity()
	}
	return d
}

// fillDevice writes a device into the fields of a form below a prefix.
func fillDevice(f form, prefix string, d fleet.DeviceFacts, texts words.Printer) {
	for i, q := range quantities(&d) {
		name, text := prefix+deviceUnits()[i].name, ""
		if q.Known() {
			text = shownValue(texts, *q.Value, deviceUnits()[i].unit)
		}
		f.values.Set(name, text)
		f.values.Set(name+"/basis", string(q.Basis))
	}
	f.values.Set(prefix+"/antenna_id", optionalText(d.AntennaID))
	for i, a := range d.Accessories {
		f.values.Set(fmt.Sprintf("%s/accessories/%d", prefix, i), a.String())
	}
	f.values.Set(prefix+"/settings/motion_direction", d.Settings.MotionDirection)
	f.values.Set(prefix+"/settings/hold_while_moving", yesText(d.Settings.HoldWhileMoving))
	f.values.Set(prefix+"/settings/output_contact", d.Settings.OutputContact)
}

func yesText(b *bool) string {
	switch {
	case b == nil:
		return ""
	case *b:
		return "yes"
	}
	return "no"
}

// device reads a device out of the fields below a prefix; present is what stood in the form.
func (r *reader) device(prefix string, present fleet.DeviceFacts) fleet.DeviceFacts {
	d := unknownDevice()
	before := quantities(&present)
	for i, q := range quantities(&d) {
		*q = r.quantity(prefix+deviceUnits()[i].name, deviceUnits()[i].unit, *before[i])
	}
	d.AntennaID = r.optionalID(prefix + "/antenna_id")
	for i := range max(fewestAccessories, len(present.Accessories)) {
		if a := r.optionalID(fmt.Sprintf("%s/accessories/%d", prefix, i)); a != nil {
			d.Accessories = append(d.Accessories, *a)
		}
	}
	d.Settings.MotionDirection = r.form.Value(prefix + "/settings/motion_direction")
	d.Settings.HoldWhileMoving = r.yes(prefix + "/settings/hold_while_moving")
	d.Settings.OutputContact = r.form.Value(prefix + "/settings/output_contact")
	return d
}

// deviceFields makes the fields of a device for a form.
func (c *Console) deviceFields(ctx context.Context, q *request, f form, prefix string, component fleet.Component, accessories int) (out deviceFields, err error) {
	t, w := q.texts, writer{q.texts}
	out.Antenna = choose([]option{{Text: t.T("console.unknown")}}, f.Field(prefix+"/antenna_id", t.T("console.device.antenna")))
	step := stepsOf(f, prefix, t, fleet.Model{})
	if component.ModelID != nil {
		model, err := c.Fleet.Model(ctx, q.by, *component.ModelID)
		if err != nil {
			return out, err
		}
		step = stepsOf(f, prefix, t, model)
		list := []option{{Text: t.T("console.unknown")}}
		for _, a := range model.Antennas {
			text := a.Name
			if a.FittedAtOneHeight {
				text = t.T("console.device.antenna.one_height", "antenna", a.Name)
			}
			list = append(list, option{Value: a.AntennaID.String(), Text: text})
		}
		out.Antenna = choose(list, f.Field(prefix+"/antenna_id", t.T("console.device.antenna")))
	}
	known, err := c.Fleet.Accessories(ctx, q.by, fleet.AccessoryQuery{Limit: 200})
	if err != nil {
		return out, err
	}
	list := []option{{Text: t.T("console.none")}}
	for _, a := range known {
		list = append(list, option{Value: a.AccessoryID.String(), Text: a.Name})
	}
	for i := range max(fewestAccessories, accessories) {
		out.Accessories = append(out.Accessories, choose(list, f.Field(fmt.Sprintf("%s/accessories/%d", prefix, i), t.T("console.device.accessory", "number", i+1))))
	}
	labels := []string{t.T("console.device.height"), t.T("console.device.offset_x"), t.T("console.device.offset_y"), t.T("console.device.tilt"), t.T("console.device.yaw"),
		t.T("console.device.reach"), t.T("console.device.confirm_travel"), t.T("console.device.output_hold")}
	for i, u := range deviceUnits() {
		value := hint(step(u.name, u.unit), bare(f.Field(prefix+u.name, labelled(labels[i], u.unit, t))))
		basis := choose(w.options("basis", "", basisNames()...), f.Field(prefix+u.name+"/basis", t.T("console.basis")))
		basis.Unseen = labels[i]
		one := quantityField{value, basis}
		if strings.HasPrefix(u.name, "/mount") {
			out.Mount = append(out.Mount, one)
		} else {
			out.Settings = append(out.Settings, one)
		}
	}
	out.Choices = []field{
		choose(w.options("motion_direction", "", "approach", "departure", "either", "unknown"), f.Field(prefix+"/settings/motion_direction", t.T("console.device.direction"))),
		choose(yesOptions(t), f.Field(prefix+"/settings/hold_while_moving", t.T("console.device.hold_while_moving"))),
		choose(w.options("contact", "", "normally_open", "normally_closed", "unknown"), f.Field(prefix+"/settings/output_contact", t.T("console.device.contact"))),
	}
	for i, name := range []string{"/settings/motion_direction", "/settings/hold_while_moving", "/settings/output_contact"} {
		out.Choices[i].Hint = step(name, "")
	}
	return out, nil
}

// stepsOf says beside a value that stands in a form which of the model's steps is it, or the nearest; nothing where the model has none for it.
func stepsOf(f form, prefix string, t words.Printer, m fleet.Model) func(name string, unit words.SI) string {
	return func(name string, unit words.SI) string {
		if m.Steps == nil {
			return ""
		}
		scale, ok := m.Steps.Of(strings.ReplaceAll(strings.TrimPrefix(strings.TrimPrefix(name, "/"), "settings/"), "/", "."))
		if !ok {
			return ""
		}
		if unit == "" {
			step, ok := scale.Saying(f.Value(prefix + name))
			if !ok {
				return ""
			}
			return t.T("console.device.set_at", "control", scale.Control, "step", step.Label)
		}
		r := reader{form: &f, texts: t}
		v := r.value(prefix+name, unit, nil)
		if v == nil {
			return ""
		}
		reached := scale.Nearest(*v)
		key := "console.device.set_near"
		if reached.Exact {
			key = "console.device.set_at"
		}
		return t.T(key, "control", scale.Control, "step", reached.Nearest.Label, "value", shownValue(t, *reached.Nearest.Value, unit))
	}
}

// labelled puts the unit behind a label, or how lengths may be written.
func labelled(label string, unit words.SI, t words.Printer) string {
	if symbol := words.Symbol(unit, t.Units()); symbol != "" {
		return t.T("console.label.unit", "label", label, "unit", symbol)
	}
	return t.T("console.label.length", "label", label)
}

func basisNames() (list []string) {
	for _, b := range fleet.Bases() {
		list = append(list, string(b))
	}
	return list
}

func yesOptions(t words.Printer) []option {
	return []option{{Text: t.T("console.unknown")}, {Value: "yes", Text: t.T("console.yes")}, {Value: "no", Text: t.T("console.no")}}
}

type deviceData struct {
	Component fleet.Component
	Door      fleet.Name
	Names     fleet.Names
	Lines     []revisionLine
	More      More
	Leaves    []string // what it sees of the door's leaves, in words
}

type revisionLine struct {
	fleet.Revision
	Extent *fleet.Extent
	By     string
	Read   []stepRead
}

// stepRead is a label that was read at the device.
type stepRead struct{ Setting, Label string }

// stepsRead lists the labels of a revision in the order of their settings' names.
func stepsRead(t words.Printer, read map[string]string) (list []stepRead) {
	for _, setting := range slices.Sorted(maps.Keys(read)) {
		list = append(list, stepRead{t.T("settings_sheet.setting." + setting), read[setting]})
	}
	return list
}

// device shows how a device was mounted and set, the newest first.
func (c *Console) device(ctx context.Context, q *request) (answer, error) {
	id, err := q.pathID("component_id")
	if err != nil {
		return nil, err
	}
	f := q.filter()
	var key instantKey
	f.key(&key)
	if err := f.faults.Err(); err != nil {
		return nil, err
	}
	component, err := c.Fleet.Component(ctx, q.by, id, fleet.AsOf{})
	if err != nil {
		return nil, err
	}
	list, extents, err := c.Fleet.Revisions(ctx, q.by, fleet.RevisionQuery{ComponentID: id, BeforeAt: key.At, BeforeID: key.ID, Limit: perPage + 1})
	if err != nil {
		return nil, err
	}
	var last any
	if len(list) > perPage {
		list = list[:perPage]
		last = instantKey{list[perPage-1].EffectiveAt, list[perPage-1].RevisionID}
	}
	ids := fleet.Named{Doors: []uuid.UUID{component.DoorID}}
	if component.ModelID != nil {
		ids.Models = append(ids.Models, *component.ModelID)
	}
	for _, r := range list {
		ids.People = append(ids.People, r.RecordedBy)
	}
	names, err := c.Fleet.Names(ctx, q.by, ids)
	if err != nil {
		return nil, err
	}
	data := deviceData{Component: component, Door: names[component.DoorID], Names: names, More: q.more(last)}
	if data.Leaves, err = c.leavesSeen(ctx, q, id); err != nil {
		return nil, err
	}
	for _, r := range list {
		line := revisionLine{Revision: r, By: writer{q.texts}.person(names, r.RecordedBy), Read: stepsRead(q.texts, r.Device.Steps)}
		if e, ok := extents[r.RevisionID]; ok {
			line.Extent = &e
		}
		data.Lines = append(data.Lines, line)
	}
	return page{name: "device", data: data}, nil
}

// leavesSeen says what a device sees of the door's leaves; nothing where nobody has recorded how it is mounted and set, or to whom that is not told.
func (c *Console) leavesSeen(ctx context.Context, q *request, id uuid.UUID) (list []string, err error) {
	w, err := c.Fleet.Watched(ctx, q.by, id)
	if err != nil {
		if slices.ContainsFunc(fault.Of(err), func(e *fault.Error) bool { return e.Code == "settings_not_recorded" }) {
			return nil, nil
		}
		return nil, err
	}
	for _, l := range w.Leaves {
		key := "console.device.leaf.unseen"
		switch {
		case l.Seen && l.ToDeg > 0:
			key = "console.device.leaf.angles"
		case l.Seen:
			key = "console.device.leaf.closing"
		case l.OnIt:
			key = "console.device.leaf.on_it"
		}
		list = append(list, q.texts.T(key, "leaf", l.Leaf, "from", q.texts.Quantity(l.FromDeg, words.Degree), "to", q.texts.Quantity(l.ToDeg, words.Degree)))
	}
	return list, nil
}

type settingsData struct {
	Component fleet.Component
	Door      fleet.Name
	Names     fleet.Names
	Form      form
	Fields    deviceFields
	Preview   *previewData // nil: not asked for yet
}

type previewData struct {
	fleet.Preview
	Opened, Cleared []fleet.Finding // that the change would open and clear
	Told            []string        // what it would do, in words
	Over            template.HTML   // the side of the device after the change, drawn over what it watches now
	Before, After   template.HTML   // and each by itself
	Zones           []zoneLine

	UnfitBefore, UnfitAfter string // for which zones the device does not count, and why
}

// zoneLine is a required zone before and after.
type zoneLine struct {
	Side, Zone    string
	Before, After fleet.Coverage
}

func (c *Console) settingsForm(ctx context.Context, q *request) (answer, error) {
	id, err := q.pathID("component_id")
	if err != nil {
		return nil, err
	}
	present, err := c.presentDevice(ctx, q, id)
	if err != nil {
		return nil, err
	}
	f := newForm(map[string]string{"revision_id": c.NewID().String(), "/standing": "intended", "/reason": ""})
	fillDevice(f, "/device", present, q.texts)
	return c.settingsPage(ctx, q, id, f, nil, http.StatusOK)
}

// presentDevice is how a device was last recorded to be, or unknown in everything.
func (c *Console) presentDevice(ctx context.Context, q *request, id uuid.UUID) (fleet.DeviceFacts, error) {
	list, _, err := c.Fleet.Revisions(ctx, q.by, fleet.RevisionQuery{ComponentID: id, Limit: 20})
	if err != nil {
		return fleet.DeviceFacts{}, err
	}
	for _, r := range list {
		if r.Standing != "intended" {
			return r.Device, nil
		}
	}
	return unknownDevice(), nil
}

func (c *Console) settingsPage(ctx context.Context, q *request, id uuid.UUID, f form, preview *previewData, status int) (answer, error) {
	component, err := c.Fleet.Component(ctx, q.by, id, fleet.AsOf{})
	if err != nil {
		return nil, err
	}
	ids := fleet.Named{Doors: []uuid.UUID{component.DoorID}}
	if component.ModelID != nil {
		ids.Models = append(ids.Models, *component.ModelID)
	}
	names, err := c.Fleet.Names(ctx, q.by, ids)
	if err != nil {
		return nil, err
	}
	data := settingsData{Component: component, Door: names[component.DoorID], Names: names, Form: f, Preview: preview}
	if data.Fields, err = c.deviceFields(ctx, q, f, "/device", component, fewestAccessories); err != nil {
		return nil, err
	}
	return page{name: "settings", status: status, data: data}, nil
}

// settingsPut shows what a change would do, or records it.
func (c *Console) settingsPut(ctx context.Context, q *request) (answer, error) {
	id, f, err := q.formOf("component_id")
	if err != nil {
		return nil, err
	}
	present, err := c.presentDevice(ctx, q, id)
	if err != nil {
		return nil, err
	}
	r := reader{form: &f, texts: q.texts}
	revision := fleet.Revision{ComponentID: id, RevisionID: r.id("revision_id"), Standing: f.Value("/standing"), Reason: f.Value("/reason"), Device: r.device("/device", present)}
	again := func(f form, status int) (answer, error) { return c.settingsPage(ctx, q, id, f, nil, status) }
	if err := r.faults.Err(); err != nil {
		return q.again(f, err, again)
	}
	if f.Value("do") == "preview" {
		preview, err := c.preview(ctx, q, id, revision.Device)
		if err != nil {
			return q.again(f, err, again)
		}
		return c.settingsPage(ctx, q, id, f, preview, http.StatusOK)
	}
	saved, _, err := c.Fleet.PutRevision(ctx, q.by, revision)
	if err != nil {
		return q.again(f, err, again)
	}
	return seeOther("/doors/" + saved.DoorID.String() + "#devices"), nil
}

func (c *Console) preview(ctx context.Context, q *request, id uuid.UUID, device fleet.DeviceFacts) (*previewData, error) {
	p, err := c.Fleet.PreviewSettings(ctx, q.by, id, device)
	if err != nil {
		return nil, err
	}
	out := &previewData{Preview: p}
	out.Opened, out.Cleared = causes(p.After.Causes, p.Before.Causes), causes(p.Before.Causes, p.After.Causes)
	for i, z := range p.Before.Coverages {
		out.Zones = append(out.Zones, zoneLine{z.Side, z.Zone, z, p.After.Coverages[i]})
	}
	out.Told = p.Told(q.texts)
	units := report.Units(q.texts.Units())
	for _, one := range []struct {
		into     *template.HTML
		drawings []report.PlanDrawing
		draw     func(io.Writer, report.Texts, report.PlanDrawing) error
	}{
		{&out.Before, report.Plans(p.Before.Document, q.texts, units), report.NarrowPlanSVG},
		{&out.After, report.Plans(p.After.Document, q.texts, units), report.NarrowPlanSVG},
		{&out.Over, report.PlansOver(p.Before.Document, p.After.Document, q.texts, units), report.PlanSVG},
	} {
		if *one.into, err = drawn(p.After.Document, id, one.drawings, q.texts, one.draw); err != nil {
			return nil, err
		}
	}
	out.UnfitBefore, out.UnfitAfter = unfitOf(q.texts, p.Before.Document, id), unfitOf(q.texts, p.After.Document, id)
	return out, nil
}

// causes gives those of a that are not in b, as findings.
func causes(a, b []string) (list []fleet.Finding) {
	for _, cause := range a {
		if !strings.Contains("\n"+strings.Join(b, "\n")+"\n", "\n"+cause+"\n") {
			list = append(list, fleet.Finding{Origin: "computed", Severity: "advisory", Cause: cause, State: "open"})
		}
	}
	return list
}

// unfitOf says for which zones a device does not count, and why.
func unfitOf(texts words.Printer, doc fleet.ComplianceReport, id uuid.UUID) string {
	for _, d := range doc.Devices {
		if list := report.Unfitness(texts, d); d.ID == id.String() && len(list) > 0 {
			return strings.Join(list, ". ") + "."
		}
	}
	return texts.T("console.none")
}

// drawn draws the sides on which a device is.
func drawn(doc fleet.ComplianceReport, id uuid.UUID, drawings []report.PlanDrawing, texts words.Printer, draw func(io.Writer, report.Texts, report.PlanDrawing) error) (template.HTML, error) {
	side := ""
	for _, d := range doc.Devices {
		if d.ID == id.String() {
			side = d.Side
		}
	}
	var svg bytes.Buffer
	for i, plan := range drawings {
		if s := doc.Sides[i].Side; side == s || side == "both" {
			if err := draw(&svg, texts, plan); err != nil {
				return "", err
			}
		}
	}
	return template.HTML(svg.String()), nil // every text in it is escaped where it is written
}
