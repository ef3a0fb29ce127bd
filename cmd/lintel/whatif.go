package main

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/identity"
	"lintel.example/lintel/internal/words"
)

// whatIfCmd says what changes of a door's device would do; nothing is recorded.
type whatIfCmd struct {
	settings
	Door   string   `arg:"" help:"The door's tag."`
	Set    []string `required:"" sep:"none" placeholder:"NAME=VALUE" help:"What would be otherwise, as often as needed: reach_db=-6, mount.tilt_deg=28, antenna=narrow, accessories=\"spacer, hood\"."`
	Device string   `placeholder:"ID" help:"The device's id, where the door has several."`
	Units  string   `enum:"metric,us" default:"metric" help:"Units of lengths: metric or us."`
}

// Run prints before and after. Bad input is one line of complaint and exit code 2.
func (c *whatIfCmd) Run(ctx context.Context) error {
	changes, err := changesOf(c.Set)
	if err != nil {
		return err
	}
	return c.within(ctx, func(h *house) error {
		by := identity.Program()
		tag, err := fleet.ParseTag(c.Door)
		if err != nil {
			return told(h.words, err)
		}
		door, err := h.fleet.DoorByTag(ctx, by, tag)
		if err != nil {
			return told(h.words, err)
		}
		device, err := c.device(ctx, h, by, door)
		if err != nil {
			return err
		}
		w, err := h.fleet.WhatIf(ctx, by, device, changes)
		if err != nil {
			return told(h.words, err)
		}
		p := h.words.Printer("en", words.Units(c.Units))
		fmt.Printf("%s %s, %s\n", door.Name, door.Tag, device)
		for _, line := range append(w.Told(p), p.T("advice.caution")) {
			fmt.Println(line)
		}
		return nil
	})
}

// device is the one that is asked about, or the only one there is.
func (c *whatIfCmd) device(ctx context.Context, h *house, by identity.Actor, door fleet.Door) (uuid.UUID, error) {
	if c.Device != "" {
		id, err := uuid.Parse(c.Device)
		if err != nil {
			return id, badInput{errors.New("--device: is no id")}
		}
		return id, nil
	}
	folder, err := h.fleet.Folder(ctx, by, fleet.FolderQuery{DoorID: door.DoorID})
	if err != nil {
		return uuid.Nil, told(h.words, err)
	}
	var ids []string
	for _, component := range folder.Components {
		if component.Fitting.State == "fitted" && slices.Contains([]string{"sensor", "safety_device"}, component.Kind) {
			ids = append(ids, component.ComponentID.String())
		}
	}
	switch len(ids) {
	case 0:
		return uuid.Nil, badInput{errors.New("the door has no device")}
	case 1:
		return uuid.MustParse(ids[0]), nil
	}
	return uuid.Nil, badInput{fmt.Errorf("the door has %d devices: say which with --device: %s", len(ids), strings.Join(ids, ", "))}
}
