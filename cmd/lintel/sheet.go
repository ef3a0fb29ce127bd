package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"strings"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/identity"
	"lintel.example/lintel/internal/words"
)

// sheetCmd writes which steps to set at a door's devices; nothing is recorded.
type sheetCmd struct {
	settings
	Door   string   `arg:"" help:"The door's tag."`
	Set    []string `sep:"none" placeholder:"NAME=VALUE" help:"What is intended instead of what is planned or on record, as often as needed: reach_db=-6, mount.tilt_deg=28. Of one device."`
	Device string   `placeholder:"ID" help:"The device's id: of this one alone. With --set needed where the door has several."`
	Format string   `enum:"text,json,pdf" default:"text" help:"text, json or pdf."`
	Out    string   `placeholder:"FILE" help:"Write to this file, which must not be there yet. A PDF needs one."`
	Units  string   `enum:"metric,us" default:"metric" help:"Units of lengths: metric or us."`
}

// Run writes the sheet. Bad input is one line of complaint and exit code 2.
func (c *sheetCmd) Run(ctx context.Context) error {
	changes, err := changesOf(c.Set)
	if err != nil {
		return err
	}
	if c.Format == "pdf" && c.Out == "" {
		return badInput{errors.New("--format pdf needs --out FILE")}
	}
	return c.within(ctx, func(h *house) error {
		by := identity.Program()
		by.Units = c.Units
		tag, err := fleet.ParseTag(c.Door)
		if err != nil {
			return told(h.words, err)
		}
		door, err := h.fleet.DoorByTag(ctx, by, tag)
		if err != nil {
			return told(h.words, err)
		}
		ask := fleet.SheetAsk{DoorID: door.DoorID, Changes: changes}
		if c.Device != "" || len(changes) > 0 {
			of := whatIfCmd{Device: c.Device}
			if ask.ComponentID, err = of.device(ctx, h, by, door); err != nil {
				return err
			}
			if err := onDoor(ctx, h, by, ask.ComponentID, door); err != nil {
				return err
			}
		}
		text, err := c.write(ctx, h, by, ask)
		if err != nil {
			return err
		}
		if c.Out == "" {
			_, err = os.Stdout.Write(text)
			return err
		}
		return writeNew(c.Out, text)
	})
}

// changesOf reads NAME=VALUE.
func changesOf(set []string) (changes []fleet.WhatIfChange, err error) {
	for _, text := range set {
		name, value, ok := strings.Cut(text, "=")
		if !ok {
			return nil, badInput{fmt.Errorf("--set %s: write NAME=VALUE", text)}
		}
		changes = append(changes, fleet.WhatIfChange{Name: strings.TrimSpace(name), Value: value})
	}
	return changes, nil
}

// onDoor refuses a device of another door: a sheet that names one door must not set another's.
func onDoor(ctx context.Context, h *house, by identity.Actor, device uuid.UUID, door fleet.Door) error {
	c, err := h.fleet.Component(ctx, by, device, fleet.AsOf{})
	if err != nil {
		return told(h.words, err)
	}
	if c.DoorID != door.DoorID {
		return badInput{errors.New("--device: is on another door")}
	}
	return nil
}

func (c *sheetCmd) write(ctx context.Context, h *house, by identity.Actor, ask fleet.SheetAsk) ([]byte, error) {
	if c.Format == "pdf" {
		pdf, err := h.fleet.PrintSettingsSheet(ctx, by, ask, "pdf")
		if err != nil {
			return nil, told(h.words, err)
		}
		return pdf, nil
	}
	doc, err := h.fleet.SettingsSheet(ctx, by, ask)
	if err != nil {
		return nil, told(h.words, err)
	}
	if c.Format == "json" {
		text, err := json.MarshalIndent(doc, "", "  ")
		return append(text, '\n'), err
	}
	return []byte(strings.Join(doc.Told(h.words.Printer("en", words.Units(c.Units))), "\n") + "\n"), nil
}

// writeNew writes a file that is not there yet: nobody's sheet is written over.
func writeNew(name string, text []byte) error {
	f, err := os.OpenFile(name, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644)
	if err != nil {
		return badInput{fmt.Errorf("--out: %w", err)}
	}
	if _, err := f.Write(text); err != nil {
		return errors.Join(err, f.Close())
	}
	return f.Close()
}
