package api

import (
	"context"
	"net/http"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/identity"
)

type ComponentPath struct {
	ComponentID uuid.UUID `path:"component_id" format:"uuid"`
}

// componentBody is what a client says of a component.
type componentBody struct {
	DoorID        uuid.UUID  `json:"door_id" format:"uuid"`
	Kind          string     `json:"kind" enum:"operator,control,power_supply,battery,mode_selector,lock,sensor,activation,safety_device,leaf_hardware"`
	ModelID       *uuid.UUID `json:"model_id,omitempty" format:"uuid" doc:"A device model of the catalogue."`
	ModelText     string     `json:"model_text,omitempty" maxLength:"200" doc:"Instead of model_id, when the catalogue has no such model."`
	Serial        string     `json:"serial,omitempty" maxLength:"100"`
	WarrantyUntil string     `json:"warranty_until,omitempty" format:"date"`
	Fitting       fitting    `json:"fitting"`
	EffectiveAt   *time.Time `json:"effective_at,omitempty" doc:"True at the door from this instant on; now if absent."`
	Reason        string     `json:"reason" minLength:"1" maxLength:"500" doc:"Why this is said or changed."`
}

type fitting struct {
	State                string     `json:"state" enum:"fitted,removed"`
	Side                 string     `json:"side" enum:"a,b,both,none"`
	WiredTo              *uuid.UUID `json:"wired_to,omitempty" format:"uuid" doc:"The control of the same door that the output goes to."`
	Input                string     `json:"input,omitempty" enum:"activate,protect,inhibit,hold,none,unknown" default:"unknown" doc:"The input of the control."`
	Contact              string     `json:"contact,omitempty" enum:"normally_open,normally_closed,none,unknown" default:"unknown" doc:"The sense of the output's contact."`
	TestedByControl      *bool      `json:"tested_by_control,omitempty" doc:"Whether the control tests it before it moves the leaf; absent when unknown."`
	InhibitedWhileMoving *bool      `json:"inhibited_while_moving,omitempty" doc:"Whether the control ignores it while the leaf moves; absent when unknown."`
}

// componentItem is a component as it is answered.
type componentItem struct {
	CustomerID    uuid.UUID  `json:"customer_id" format:"uuid"`
	SiteID        uuid.UUID  `json:"site_id" format:"uuid"`
	DoorID        uuid.UUID  `json:"door_id" format:"uuid"`
	ComponentID   uuid.UUID  `json:"component_id" format:"uuid"`
	Kind          string     `json:"kind"`
	ModelID       *uuid.UUID `json:"model_id,omitempty" format:"uuid"`
	ModelText     string     `json:"model_text,omitempty"`
	Serial        string     `json:"serial,omitempty"`
	WarrantyUntil string     `json:"warranty_until,omitempty" format:"date"`
	Fitting       fitting    `json:"fitting"`
	Version       versionOut `json:"version"`
}

func newComponentItem(c fleet.Component) componentItem {
	item := componentItem{CustomerID: c.CustomerID, SiteID: c.SiteID, DoorID: c.DoorID, ComponentID: c.ComponentID, Kind: c.Kind,
		ModelID: c.ModelID, ModelText: c.ModelText, Serial: c.Serial, Fitting: fitting(c.Fitting), Version: newVersionOut(c.Version)}
	if c.WarrantyUntil != nil {
		item.WarrantyUntil = c.WarrantyUntil.String()
	}
	return item
}

type componentPutIn struct {
	ComponentPath
	IfMatchID
	Body componentBody
}

type componentGetIn struct {
	ComponentPath
	AsOfIn
}

type componentListIn struct {
	DoorPath
	AsOfIn
}

type componentOut struct {
	Status int
	ETag   string `header:"ETag"`
	Body   componentItem
}

func newComponentOut(c fleet.Component, isNew bool) *componentOut {
	return &componentOut{Status: created(isNew), ETag: etagID(c.Version.VersionID), Body: newComponentItem(c)}
}

type componentListOut struct {
	Body struct {
		Components []componentItem `json:"components"`
	}
}

type componentVersionsOut struct {
	Body struct {
		Versions []versionOut `json:"versions"`
	}
}

func (a *API) components() {
	add(a, operation("component-list", http.MethodGet, "/v1/doors/{door_id}/components", identity.ActReadRegister, "What is or was fitted in a door, as of two times"), a.componentList)
	add(a, operation("component-get", http.MethodGet, "/v1/components/{component_id}", identity.ActReadRegister, "One component, as of two times"), a.componentGet)
	add(a, operation("component-put", http.MethodPut, "/v1/components/{component_id}", identity.ActWriteRegister, "Register a component or give it another fitting"), a.componentPut)
	add(a, operation("component-versions", http.MethodGet, "/v1/components/{component_id}/versions", identity.ActReadRegister, "The fittings of a component and when they were said"), a.componentVersions)
}

func (a *API) componentList(ctx context.Context, by identity.Actor, in *componentListIn) (*componentListOut, error) {
	list, err := a.Fleet.Components(ctx, by, in.DoorID, in.AsOfIn.fleet())
	if err != nil {
		return nil, err
	}
	out := &componentListOut{}
	out.Body.Components = make([]componentItem, len(list))
	for i, c := range list {
		out.Body.Components[i] = newComponentItem(c)
	}
	return out, nil
}

func (a *API) componentGet(ctx context.Context, by identity.Actor, in *componentGetIn) (*componentOut, error) {
	c, err := a.Fleet.Component(ctx, by, in.ComponentID, in.AsOfIn.fleet())
	if err != nil {
		return nil, err
	}
	return newComponentOut(c, false), nil
}

func (a *API) componentPut(ctx context.Context, by identity.Actor, in *componentPutIn) (*componentOut, error) {
	put, err := in.fleet()
	if err != nil {
		return nil, err
	}
	c, isNew, err := a.Fleet.PutComponent(ctx, by, put)
	if err != nil {
		return nil, err
	}
	return newComponentOut(c, isNew), nil
}

func (in *componentPutIn) fleet() (fleet.ComponentPut, error) {
	b := in.Body
	p := fleet.ComponentPut{ComponentID: in.ComponentID, DoorID: b.DoorID, Kind: b.Kind, ModelID: b.ModelID, ModelText: b.ModelText,
		Serial: b.Serial, Fitting: fleet.Fitting(b.Fitting), Reason: b.Reason}
	var err error
	if p.IfMatch, err = in.version(); err != nil {
		return p, err
	}
	p.EffectiveAt = instant(b.EffectiveAt)
	var read reader
	p.WarrantyUntil = read.day("/warranty_until", b.WarrantyUntil)
	return p, read.faults.Err()
}

func (a *API) componentVersions(ctx context.Context, by identity.Actor, in *ComponentPath) (*componentVersionsOut, error) {
	list, err := a.Fleet.ComponentHistory(ctx, by, in.ComponentID)
	if err != nil {
		return nil, err
	}
	out := &componentVersionsOut{}
	out.Body.Versions = make([]versionOut, len(list))
	for i, v := range list {
		out.Body.Versions[i] = newVersionOut(v)
	}
	return out, nil
}
