package console

import (
	"context"
	"net/http"
	"strings"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/fleet"
)

// componentFormData is the form of a component that is fitted, is fitted otherwise, or is taken out.
type componentFormData struct {
	New       bool
	Out       bool // it is taken out
	Component fleet.Component
	Names     fleet.Names
	Door      fleet.Name
	DoorID    uuid.UUID
	Form      form
	Kinds     []option
	Models    []option
	Controls  []option // to which it can be wired
	Answers   []option
}

func (c *Console) componentNew(ctx context.Context, q *request) (answer, error) {
	f := q.filter()
	door := f.ID("door")
	if err := f.faults.Err(); err != nil {
		return nil, err
	}
	fresh := newForm(map[string]string{"component_id": c.NewID().String(), "/door_id": door.String(), "/fitting/input": "unknown", "/fitting/contact": "unknown"})
	return c.componentNewPage(ctx, q, fresh, http.StatusOK)
}

func (c *Console) componentNewPage(ctx context.Context, q *request, f form, status int) (answer, error) {
	door, _ := uuid.Parse(f.Value("/door_id"))
	data := componentFormData{New: true, DoorID: door, Form: f, Kinds: writer{q.texts}.options("component_kind", q.texts.T("console.choose"), fleet.ComponentKinds()...)}
	models, err := c.Fleet.Models(ctx, q.by, fleet.ModelQuery{Limit: 1000})
	if err != nil {
		return nil, err
	}
	data.Models = []option{{Text: q.texts.T("console.component.model.none")}}
	for _, m := range models {
		data.Models = append(data.Models, option{Value: m.ModelID.String(), Text: q.texts.T("console.component.model.of", "model", strings.TrimSpace(m.Maker+" "+m.Name), "kind", q.texts.Enum("component_kind", m.Kind))})
	}
	return c.componentFormPage(ctx, q, data, status)
}

// componentFormPage adds what a component can be wired to.
func (c *Console) componentFormPage(ctx context.Context, q *request, data componentFormData, status int) (answer, error) {
	list, err := c.Fleet.Components(ctx, q.by, data.DoorID, fleet.AsOf{})
	if err != nil {
		return nil, err
	}
	ids := fleet.Named{Doors: []uuid.UUID{data.DoorID}}
	for _, one := range list {
		ids.Components = append(ids.Components, one.ComponentID)
		if one.ModelID != nil {
			ids.Models = append(ids.Models, *one.ModelID)
		}
	}
	if data.Names, err = c.Fleet.Names(ctx, q.by, ids); err != nil {
		return nil, err
	}
	data.Door, data.Answers, data.Controls = data.Names[data.DoorID], yesOptions(q.texts), []option{{Text: q.texts.T("console.component.wired.none")}}
	for _, one := range list {
		if one.Kind == "control" && one.Fitting.State == "fitted" && one.ComponentID != data.Component.ComponentID {
			data.Controls = append(data.Controls, option{Value: one.ComponentID.String(), Text: writer{q.texts}.named(data.Names, one.ComponentID)})
		}
	}
	return page{name: "component-form", status: status, data: data}, nil
}

func (c *Console) componentMake(ctx context.Context, q *request) (answer, error) {
	f, err := q.form()
	if err != nil {
		return nil, err
	}
	r := reader{form: &f, texts: q.texts}
	p := fleet.ComponentPut{ComponentID: r.id("component_id"), DoorID: r.id("/door_id"), Kind: r.chosen("/kind"), ModelID: r.optionalID("/model_id"), ModelText: f.Value("/model_text"), Serial: f.Value("/serial"),
		WarrantyUntil: r.day("/warranty_until"), Reason: f.Value("/reason"), Fitting: r.fitting()}
	p.Fitting.State, p.Fitting.Side = "fitted", r.chosen("/fitting/side")
	if err = c.componentSave(ctx, q, &r, p); err != nil {
		return q.again(f, err, func(f form, status int) (answer, error) { return c.componentNewPage(ctx, q, f, status) })
	}
	if p.Kind == "sensor" || p.Kind == "safety_device" { // how it is mounted and set is asked for next
		return seeOther("/devices/" + p.ComponentID.String() + "/settings"), nil
	}
	return seeOther("/doors/" + p.DoorID.String() + "#fitted"), nil
}

// componentSave reads since when it is so, by the clocks of the door's site, and records it.
func (c *Console) componentSave(ctx context.Context, q *request, r *reader, p fleet.ComponentPut) error {
	names, err := c.Fleet.Names(ctx, q.by, fleet.Named{Doors: []uuid.UUID{p.DoorID}})
	if err != nil {
		return err
	}
	if r.form.Value("/effective_at") != "" {
		p.EffectiveAt = r.instant("/effective_at", location(names[p.DoorID].TimeZone))
	}
	if err := r.faults.Err(); err != nil {
		return err
	}
	_, _, err = c.Fleet.PutComponent(ctx, q.by, p)
	return err
}

func (r *reader) fitting() fleet.Fitting {
	return fleet.Fitting{Side: r.form.Value("/fitting/side"), WiredTo: r.optionalID("/fitting/wired_to"), Input: r.form.Value("/fitting/input"), Contact: r.form.Value("/fitting/contact"),
		TestedByControl: r.yes("/fitting/tested_by_control"), InhibitedWhileMoving: r.yes("/fitting/inhibited_while_moving")}
}

func (c *Console) componentRefit(ctx context.Context, q *request) (answer, error) {
	return c.componentRefitPage(ctx, q, form{}, false, http.StatusOK)
}

func (c *Console) componentOutForm(ctx context.Context, q *request) (answer, error) {
	return c.componentRefitPage(ctx, q, form{}, true, http.StatusOK)
}

func (c *Console) componentRefitPage(ctx context.Context, q *request, f form, out bool, status int) (answer, error) {
	id, err := q.pathID("component_id")
	if err != nil {
		return nil, err
	}
	one, err := c.Fleet.Component(ctx, q.by, id, fleet.AsOf{})
	if err != nil {
		return nil, err
	}
	if f.values == nil {
		t := one.Fitting
		f = newForm(map[string]string{"/fitting/side": t.Side, "/fitting/wired_to": optionalText(t.WiredTo), "/fitting/input": t.Input, "/fitting/contact": t.Contact,
			"/fitting/tested_by_control": yesText(t.TestedByControl), "/fitting/inhibited_while_moving": yesText(t.InhibitedWhileMoving), "version": one.Version.VersionID.String()})
	}
	return c.componentFormPage(ctx, q, componentFormData{Out: out, Component: one, DoorID: one.DoorID, Form: f}, status)
}

// componentPut fits a component otherwise; one that was taken out is in again.
func (c *Console) componentPut(ctx context.Context, q *request) (answer, error) {
	return c.componentChange(ctx, q, false)
}

// componentOut takes a component out. It stays in the record, and fitting it again is the way back.
func (c *Console) componentOut(ctx context.Context, q *request) (answer, error) {
	return c.componentChange(ctx, q, true)
}

func (c *Console) componentChange(ctx context.Context, q *request, out bool) (answer, error) {
	id, f, err := q.formOf("component_id")
	if err != nil {
		return nil, err
	}
	one, err := c.Fleet.Component(ctx, q.by, id, fleet.AsOf{})
	if err != nil {
		return nil, err
	}
	r := reader{form: &f, texts: q.texts}
	p := fleet.ComponentPut{ComponentID: id, DoorID: one.DoorID, Kind: one.Kind, ModelID: one.ModelID, ModelText: one.ModelText, Serial: one.Serial, Fitting: one.Fitting, Reason: f.Value("/reason"), IfMatch: r.id("version")}
	if one.WarrantyUntil != nil {
		p.WarrantyUntil = *one.WarrantyUntil
	}
	if out {
		p.Fitting.State = "removed"
	} else {
		p.Fitting = r.fitting()
		p.Fitting.State = "fitted"
	}
	if err = c.componentSave(ctx, q, &r, p); err != nil {
		return q.again(f, err, func(f form, status int) (answer, error) { return c.componentRefitPage(ctx, q, f, out, status) })
	}
	return seeOther("/doors/" + one.DoorID.String() + "#fitted"), nil
}
