package api

import (
	"context"
	"net/http"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/advice"
	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/identity"
)

type whatIfIn struct {
	DevicePath
	Body struct {
		Changes []fleet.WhatIfChange `json:"changes" minItems:"1" maxItems:"20" doc:"By name, in the unit that ends the name: reach_db, confirm_travel_mm, output_hold_s, motion_direction, hold_while_moving, mount.height_m, mount.offset_x_m, mount.offset_y_m, mount.tilt_deg, mount.yaw_deg, antenna (of the device's model, by name), accessories (by name, separated by commas)."`
	}
}

type whatIfState struct {
	Extent   *extentItem    `json:"extent"`
	OwnLeaf  string         `json:"own_leaf"`
	Coverage []coverageItem `json:"coverage"`
	Causes   []string       `json:"causes" doc:"Of advisory findings that computation opens."`
}

type whatIfEffect struct {
	fleet.WhatIfEffect
	Before advice.Check `json:"before"`
	After  advice.Check `json:"after"`
}

type whatIfOut struct {
	Body struct {
		ComponentID uuid.UUID      `json:"component_id"`
		DoorID      uuid.UUID      `json:"door_id"`
		Before      whatIfState    `json:"before"`
		After       whatIfState    `json:"after"`
		Effects     []whatIfEffect `json:"effects" doc:"What the side asks of its device, before and after: what gets better, what worse."`
		Told        []string       `json:"told" doc:"The same in words."`
		Caution     string         `json:"caution"`
	}
}

func (a *API) whatIfs() {
	add(a, operation("what-if", http.MethodPost, "/v1/components/{component_id}/what-if", identity.ActReadOffice, "What changes of a device would do; nothing is recorded"), a.whatIf)
}

func (a *API) whatIf(ctx context.Context, by identity.Actor, in *whatIfIn) (*whatIfOut, error) {
	w, err := a.Fleet.WhatIf(ctx, by, in.ComponentID, in.Body.Changes)
	if err != nil {
		return nil, err
	}
	out := &whatIfOut{}
	out.Body.ComponentID, out.Body.DoorID = in.ComponentID, w.Component.DoorID
	out.Body.Before, out.Body.After = newWhatIfState(w.Before), newWhatIfState(w.After)
	out.Body.Effects = []whatIfEffect{}
	for _, e := range w.Effects {
		out.Body.Effects = append(out.Body.Effects, whatIfEffect{e, e.Before, e.After})
	}
	p := a.printer(by)
	out.Body.Told, out.Body.Caution = w.Told(p), p.T("advice.caution")
	return out, nil
}

func newWhatIfState(o fleet.Outlook) whatIfState {
	s := whatIfState{OwnLeaf: o.OwnLeaf, Coverage: []coverageItem{}, Causes: append([]string{}, o.Causes...)}
	if o.Extent != nil {
		e := newExtentItem(*o.Extent)
		s.Extent = &e
	}
	for _, c := range o.Coverages {
		s.Coverage = append(s.Coverage, newCoverageItem(c))
	}
	return s
}
