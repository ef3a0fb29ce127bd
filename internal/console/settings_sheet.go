package console

import (
	"context"
	"strings"

	"lintel.example/lintel/internal/fault"
	"lintel.example/lintel/internal/fleet"
)

// doorSheet is which steps to set at the devices of a door, to print.
func (c *Console) doorSheet(ctx context.Context, q *request) (answer, error) {
	id, err := q.pathID("door_id")
	if err != nil {
		return nil, err
	}
	return c.sheetPrint(ctx, q, fleet.SheetAsk{DoorID: id}, "settings-"+id.String())
}

// deviceSheet is which steps to set at one device, with what is intended as set=NAME=VALUE in the address.
func (c *Console) deviceSheet(ctx context.Context, q *request) (answer, error) {
	id, err := q.pathID("component_id")
	if err != nil {
		return nil, err
	}
	ask := fleet.SheetAsk{ComponentID: id}
	for _, text := range q.URL.Query()["set"] {
		name, value, ok := strings.Cut(text, "=")
		if !ok {
			return nil, fault.New(fault.Invalid, "change_without_value", "text", text)
		}
		ask.Changes = append(ask.Changes, fleet.WhatIfChange{Name: strings.TrimSpace(name), Value: value})
	}
	return c.sheetPrint(ctx, q, ask, "settings-"+id.String())
}

func (c *Console) sheetPrint(ctx context.Context, q *request, ask fleet.SheetAsk, name string) (answer, error) {
	form, ok := strings.CutPrefix(q.PathValue("print"), "sheet.")
	p, known := prints()["report."+form]
	if !ok || !known || form == "csv" {
		return nil, fault.New(fault.NotFound, "route_not_found")
	}
	text, err := c.Fleet.PrintSettingsSheet(ctx, q.by, ask, form)
	if err != nil {
		return nil, err
	}
	q.writer.Header().Set("Content-Security-Policy", p.policy)
	return file{p.mediaType, name + "." + form, text}, nil
}
