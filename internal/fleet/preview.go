package fleet

import (
	"context"
	"slices"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/fault"
	"lintel.example/lintel/internal/identity"
)

// Outlook is what a door's devices watch, and what falls short, by computation alone.
type Outlook struct {
	Extent    *Extent // of the device; nil: nobody has recorded how it is mounted and set
	Sensing   string  // of the device's model
	OwnLeaf   string  // whether the device sees the door's own moving leaf; "" without an extent
	Coverages []Coverage
	Causes    []string         // of computed findings; the message finding.<code> has the text of each
	Document  ComplianceReport // for drawings
}

// Preview is what a change of a device's mounting and settings would do.
type Preview struct {
	Before, After Outlook
	Effects       []WhatIfEffect // what the sides of the device ask of it, before and after
}

// PreviewSettings computes what would follow if a device were mounted and set so, and changes nothing.
func (f *Fleet) PreviewSettings(ctx context.Context, by identity.Actor, componentID uuid.UUID, device DeviceFacts) (out Preview, err error) {
	var faults fault.List
	device.check(&faults, "/device")
	if err := faults.Err(); err != nil {
		return Preview{}, err
	}
	err = f.Store.InTxReadOnly(ctx, by, func(ctx context.Context, tx Tx) error {
		c, err := tx.ComponentByID(ctx, componentID, AsOf{})
		if err != nil {
			return err
		}
		planned := Revision{ComponentID: componentID, DoorID: c.DoorID, Device: device}
		if err := checkCatalogue(ctx, tx, c, planned); err != nil {
			return err
		}
		if err := readSteps(ctx, tx, c, &planned); err != nil {
			return err
		}
		p, err := pictureOf(ctx, tx, c.DoorID, AsOf{})
		if err != nil {
			return err
		}
		site, err := tx.SiteByID(ctx, p.door.SiteID)
		if err != nil {
			return err
		}
		if out.Before, err = f.outlook(by, p, componentID, site); err != nil {
			return err
		}
		before := p
		if err := p.mount(ctx, tx, c, planned); err != nil {
			return err
		}
		if out.After, err = f.outlook(by, p, componentID, site); err != nil {
			return err
		}
		out.Effects, err = f.effects(before, p, c)
		return err
	})
	return out, err
}

// effects holds a device against what its sides ask, before and after.
func (f *Fleet) effects(before, after picture, c Component) (list []WhatIfEffect, err error) {
	pack, err := f.basisOf(before.door.Facts)
	if err != nil {
		return nil, err
	}
	for _, side := range []string{"a", "b"} {
		if s := c.Fitting.Side; s == side || s == "both" {
			list = append(list, turns(side, before.checks(pack, side, c.ComponentID), after.checks(pack, side, c.ComponentID))...)
		}
	}
	return list, nil
}

// mount puts a revision into the picture in place of the one that holds.
func (p *picture) mount(ctx context.Context, tx Tx, c Component, r Revision) error {
	if err := p.readCatalogue(ctx, tx, []Revision{r}, AsOf{}); err != nil {
		return err
	}
	d := deviceInPlace{component: c, revision: r}
	d.revision.Device.Fitted = nil
	if c.ModelID != nil {
		d.sensing = p.models[*c.ModelID].Sensing
	}
	p.devices = slices.Clone(p.devices)
	if i := slices.IndexFunc(p.devices, func(d deviceInPlace) bool { return d.component.ComponentID == c.ComponentID }); i >= 0 {
		if present := p.devices[i].revision.Device; present.mountedAs(d.revision.Device) {
			d.revision.Device.Fitted, d.walked = present.Fitted, p.devices[i].walked
		}
		p.devices[i] = d
	} else {
		p.devices = append(p.devices, d)
	}
	return nil
}

func (f *Fleet) outlook(by identity.Actor, p picture, componentID uuid.UUID, site Site) (Outlook, error) {
	pack, err := f.basisOf(p.door.Facts)
	if err != nil {
		return Outlook{}, err
	}
	covers := p.covers(pack)
	out := Outlook{Causes: p.causes(covers), Document: f.drawn(by, p, site)}
	for _, c := range covers {
		out.Coverages = append(out.Coverages, c.coverage(pack, "", f.Now()))
	}
	for _, d := range p.devices {
		if d.component.ComponentID == componentID {
			e, _ := p.extent(d, f.Now())
			out.Extent, out.Sensing, out.OwnLeaf = &e, d.sensing, p.ownLeaf(d)
		}
	}
	return out, nil
}
