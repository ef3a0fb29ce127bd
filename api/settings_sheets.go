package api

import (
	"context"
	"net/http"
	"slices"
	"strings"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/fault"
	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/identity"
)

type settingsSheetIn struct {
	DevicePath
	Set []string `query:"set,explode" maxItems:"20" doc:"What is intended instead of what is planned or on record, as NAME=VALUE, as often as needed, by the names of a what-if: reach_db=-6, mount.tilt_deg=28, antenna=narrow."`
}

type settingsSheetOut struct {
	Body fleet.SettingsSheet
}

func (a *API) settingsSheets() {
	add(a, operation("settings-sheet-of-door", http.MethodGet, "/v1/doors/{door_id}/settings-sheet", identity.ActReadOffice, "Which steps to set at each device of a door to reach what is planned, or else on record"), a.doorSheet)
	add(a, answering("application/pdf", operation("settings-sheet-of-door-pdf", http.MethodGet, "/v1/doors/{door_id}/settings-sheet.pdf", identity.ActReadOffice, "The same as PDF, to take along")), a.doorSheetPDF)
	add(a, operation("settings-sheet-of-device", http.MethodGet, "/v1/devices/{component_id}/settings-sheet", identity.ActReadOffice, "Which steps to set at one device; nothing is recorded"), a.deviceSheet)
	add(a, answering("application/pdf", operation("settings-sheet-of-device-pdf", http.MethodGet, "/v1/devices/{component_id}/settings-sheet.pdf", identity.ActReadOffice, "The same as PDF, to take along")), a.deviceSheetPDF)
}

func (a *API) doorSheet(ctx context.Context, by identity.Actor, in *DoorPath) (*settingsSheetOut, error) {
	doc, err := a.Fleet.SettingsSheet(ctx, by, fleet.SheetAsk{DoorID: in.DoorID})
	if err != nil {
		return nil, err
	}
	return &settingsSheetOut{doc}, nil
}

func (a *API) doorSheetPDF(ctx context.Context, by identity.Actor, in *DoorPath) (*bytesOut, error) {
	return a.sheetPDF(ctx, by, fleet.SheetAsk{DoorID: in.DoorID}, in.DoorID)
}

func (a *API) deviceSheet(ctx context.Context, by identity.Actor, in *settingsSheetIn) (*settingsSheetOut, error) {
	ask, err := a.sheetAsk(ctx, in)
	if err != nil {
		return nil, err
	}
	doc, err := a.Fleet.SettingsSheet(ctx, by, ask)
	if err != nil {
		return nil, a.setProblem(ctx, err)
	}
	return &settingsSheetOut{doc}, nil
}

func (a *API) deviceSheetPDF(ctx context.Context, by identity.Actor, in *settingsSheetIn) (*bytesOut, error) {
	ask, err := a.sheetAsk(ctx, in)
	if err != nil {
		return nil, err
	}
	out, err := a.sheetPDF(ctx, by, ask, in.ComponentID)
	if err != nil {
		return nil, a.setProblem(ctx, err)
	}
	return out, nil
}

func (a *API) sheetPDF(ctx context.Context, by identity.Actor, ask fleet.SheetAsk, of uuid.UUID) (*bytesOut, error) {
	pdf, err := a.Fleet.PrintSettingsSheet(ctx, by, ask, "pdf")
	if err != nil {
		return nil, err
	}
	return &bytesOut{ContentType: "application/pdf", ContentDisposition: `inline; filename="settings-` + of.String() + `.pdf"`, ContentSecurityPolicy: "default-src 'none'", Body: pdf}, nil
}

// sheetAsk reads what is intended.
func (a *API) sheetAsk(ctx context.Context, in *settingsSheetIn) (fleet.SheetAsk, error) {
	ask := fleet.SheetAsk{ComponentID: in.ComponentID}
	for _, text := range in.Set {
		name, value, ok := strings.Cut(text, "=")
		if !ok {
			return ask, a.parameterProblem(ctx, "set", fault.New(fault.Invalid, "change_without_value", "text", text))
		}
		ask.Changes = append(ask.Changes, fleet.WhatIfChange{Name: strings.TrimSpace(name), Value: value})
	}
	return ask, nil
}

// setProblem says of what is wrong with what is intended that it stands in the address.
func (a *API) setProblem(ctx context.Context, err error) error {
	faults := fault.Of(err)
	if len(faults) == 0 || slices.ContainsFunc(faults, func(f *fault.Error) bool { return f.Kind != fault.Invalid || f.Pointer == "" }) {
		return err
	}
	p := newProblem(ctx, a.Words, http.StatusUnprocessableEntity, faults)
	for i := range p.Errors {
		p.Errors[i].Pointer, p.Errors[i].Parameter = "", "set"
	}
	return p
}
