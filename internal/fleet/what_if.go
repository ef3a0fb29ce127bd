package fleet

import (
	"context"
	"fmt"
	"maps"
	"slices"
	"strconv"
	"strings"

	"github.com/agnivade/levenshtein"
	"github.com/google/uuid"

	"lintel.example/lintel/internal/advice"
	"lintel.example/lintel/internal/fault"
	"lintel.example/lintel/internal/field"
	"lintel.example/lintel/internal/identity"
	"lintel.example/lintel/internal/rulebook"
	"lintel.example/lintel/internal/words"
)

// WhatIfChange is one thing that would be otherwise about a device, by name, as people type it. ChangeNames lists the names.
type WhatIfChange struct {
	Name  string `json:"name"`
	Value string `json:"value"`
}

// ChangeNames are the names of a WhatIfChange: settings and the mount in the unit that ends the name, an antenna of the device's model by name, and
// accessories by name from the header outwards, separated by commas ("" for none).
func ChangeNames() []string {
	return []string{"reach_db", "confirm_travel_mm", "output_hold_s", "motion_direction", "hold_while_moving", "mount.height_m", "mount.offset_x_m", "mount.offset_y_m",
		"mount.tilt_deg", "mount.yaw_deg", "antenna", "accessories"}
}

// radarChanges are those of ChangeNames that only a radar has.
func radarChanges() []string {
	return []string{"reach_db", "confirm_travel_mm", "motion_direction", "hold_while_moving", "antenna"}
}

// WhatIf is what changes of a device would do.
type WhatIf struct {
	Component Component
	Preview
}

// WhatIfEffect is one thing that an opening asks of its device, before and after.
type WhatIfEffect struct {
	advice.Asked
	Side          string       `json:"side"`
	Before, After advice.Check `json:"-"`
	Turn          string       `json:"turn" enum:"better,worse,same"`
}

// WhatIf computes what would follow from changes of a device, and records nothing.
func (f *Fleet) WhatIf(ctx context.Context, by identity.Actor, componentID uuid.UUID, changes []WhatIfChange) (out WhatIf, err error) {
	var planned DeviceFacts
	err = f.Store.InTxReadOnly(ctx, by, func(ctx context.Context, tx Tx) error {
		if out.Component, err = tx.ComponentByID(ctx, componentID, AsOf{}); err != nil {
			return err
		}
		present, err := pictureOf(ctx, tx, out.Component.DoorID, AsOf{})
		if err != nil {
			return err
		}
		i := slices.IndexFunc(present.devices, func(d deviceInPlace) bool { return d.component.ComponentID == componentID })
		if i < 0 {
			return fault.New(fault.NotFound, "settings_not_recorded")
		}
		planned, err = asPlanned(ctx, tx, present, present.devices[i], changes)
		return err
	})
	if err != nil {
		return out, err
	}
	out.Preview, err = f.PreviewSettings(ctx, by, componentID, planned)
	return out, err
}

// asPlanned is how a device would be mounted and set.
func asPlanned(ctx context.Context, tx Tx, p picture, d deviceInPlace, changes []WhatIfChange) (DeviceFacts, error) {
	facts := d.revision.Device
	facts.Accessories = slices.Clone(facts.Accessories)
	facts.Steps = maps.Clone(facts.Steps)
	var faults fault.List
	for i, c := range changes {
		at := fmt.Sprintf("/changes/%d", i)
		value := strings.TrimSpace(c.Value)
		if _, other := sensed()[d.sensing]; other && slices.Contains(radarChanges(), c.Name) {
			faults.Add(at+"/name", "change_of_radar", "name", c.Name)
			continue
		}
		delete(facts.Steps, c.Name) // whatever label was read there, it is another now
		if q := facts.quantityNamed(c.Name); q != nil {
			v, err := strconv.ParseFloat(strings.Replace(value, ",", ".", 1), 64)
			if err != nil {
				faults.Add(at+"/value", "change_no_number", "name", c.Name)
				continue
			}
			*q = Q(v, Assumed)
			continue
		}
		switch c.Name {
		case "motion_direction":
			facts.Settings.MotionDirection = value
		case "hold_while_moving":
			yes, err := strconv.ParseBool(value)
			if err != nil {
				faults.Add(at+"/value", "change_no_yes_or_no")
			}
			facts.Settings.HoldWhileMoving = &yes
		case "antenna":
			i := slices.IndexFunc(p.antennasOf(d), func(a Antenna) bool { return a.Name == value })
			if i < 0 {
				faults.Add(at+"/value", "change_antenna_unknown", "antenna", value)
				continue
			}
			facts.AntennaID = &p.antennasOf(d)[i].AntennaID
		case "accessories":
			ids, err := accessoriesNamed(ctx, tx, value)
			if err != nil {
				return facts, err
			}
			if ids == nil {
				faults.Add(at+"/value", "change_accessory_unknown", "accessories", value)
			}
			facts.Accessories = ids
		default:
			nearest := slices.MinFunc(ChangeNames(), func(a, b string) int {
				return levenshtein.ComputeDistance(c.Name, a) - levenshtein.ComputeDistance(c.Name, b)
			})
			faults.Add(at+"/name", "change_unknown", "name", c.Name, "nearest", nearest)
		}
	}
	if len(changes) == 0 {
		faults.Add("/changes", "change_none")
	}
	if err := faults.Err(); err != nil {
		return facts, err
	}
	facts.check(&faults, "/device")
	return facts, faults.Err()
}

func (d *DeviceFacts) quantityNamed(name string) *Quantity {
	switch name {
	case "reach_db":
		return &d.Settings.ReachDB
	case "confirm_travel_mm":
		return &d.Settings.ConfirmTravelMM
	case "output_hold_s":
		return &d.Settings.OutputHoldS
	case "mount.height_m":
		return &d.Mount.HeightM
	case "mount.offset_x_m":
		return &d.Mount.OffsetXM
	case "mount.offset_y_m":
		return &d.Mount.OffsetYM
	case "mount.tilt_deg":
		return &d.Mount.TiltDeg
	case "mount.yaw_deg":
		return &d.Mount.YawDeg
	}
	return nil
}

func (p picture) antennasOf(d deviceInPlace) []Antenna {
	if d.component.ModelID == nil {
		return nil
	}
	return p.models[*d.component.ModelID].Antennas
}

// accessoriesNamed finds accessories by their whole names; nil when one of them is not in the catalogue.
func accessoriesNamed(ctx context.Context, tx Tx, names string) ([]uuid.UUID, error) {
	ids := []uuid.UUID{}
	if names == "" {
		return ids, nil
	}
	for _, name := range strings.Split(names, ",") {
		name = strings.TrimSpace(name)
		page, err := tx.AccessoryPage(ctx, AccessoryQuery{Search: name, Limit: mostModels})
		if err != nil {
			return nil, err
		}
		i := slices.IndexFunc(page, func(a Accessory) bool { return a.Name == name })
		if i < 0 {
			return nil, nil
		}
		ids = append(ids, page[i].AccessoryID)
	}
	return ids, nil
}

// checks holds a device in place against everything that its side asks; nothing when its field cannot be computed.
func (p picture) checks(pack *rulebook.Pack, side string, componentID uuid.UUID) []advice.Check {
	i := slices.IndexFunc(p.devices, func(d deviceInPlace) bool { return d.component.ComponentID == componentID })
	if i < 0 {
		return nil
	}
	d := p.devices[i]
	v, missing := p.watch(d)
	if len(missing) > 0 {
		return nil
	}
	o, _ := p.openingFor(pack, side, AdviceAsk{Exposed: true, Inhibited: d.component.Fitting.InhibitedWhileMoving != nil && *d.component.Fitting.InhibitedWhileMoving})
	if p.door.Facts.OpeningTimeS.Value == nil || p.door.Facts.ClearWidthM.Value == nil {
		o.Bodies = nil // nobody can say whether it is open in time
	}
	if d.purpose() != "activation" {
		o.Required, o.Bodies = nil, nil
		if d.sensing != "radar" {
			o.Required, o.KeptClear = o.Standing, nil
		}
	}
	_, on := p.carrierOf(d)
	return o.HoldAny(v, p.motion(d), on)
}

// motion is what a device makes of movement, as far as it is recorded; what is not counts as no obstacle.
func (p picture) motion(d deviceInPlace) field.Motion {
	m := field.Motion{Direction: field.Either}
	if id := d.component.ModelID; id != nil {
		if hz := p.models[*id].FrequencyHz; hz != nil {
			m.FrequencyHz = *hz
		}
		if least := p.models[*id].LeastSpeedMPS; least != nil {
			m.LeastSpeedMps = *least
		}
	}
	s := d.revision.Device.Settings
	if s.ConfirmTravelMM.Known() {
		m.ConfirmTravelM = *s.ConfirmTravelMM.Value / 1000
	}
	if s.OutputHoldS.Known() {
		m.HoldS = *s.OutputHoldS.Value
	}
	m.HoldWhileMoving = s.HoldWhileMoving != nil && *s.HoldWhileMoving
	switch s.MotionDirection {
	case "approach":
		m.Direction = field.Approaching
	case "departure":
		m.Direction = field.Departing
	}
	return m
}

// turns pairs what was asked before and after, in the order of before.
func turns(side string, before, after []advice.Check) (list []WhatIfEffect) {
	for _, b := range before {
		i := slices.IndexFunc(after, func(a advice.Check) bool { return a.Asked == b.Asked })
		if i < 0 {
			continue
		}
		list = append(list, WhatIfEffect{Asked: b.Asked, Side: side, Before: b, After: after[i], Turn: advice.Turn(b, after[i])})
	}
	return list
}

// Told puts the effects into words, the field's measures first.
func (w Preview) Told(p words.Printer) []string {
	extent := "what_if.extent"
	if w.After.Sensing != "radar" {
		extent = "what_if.extent.body"
	}
	list := []string{p.T(extent, "before", told(p, w.Before.Extent), "after", told(p, w.After.Extent))}
	for _, e := range w.Effects {
		list = append(list, p.T("what_if."+e.Turn, "before", advice.TellCheck(p, e.Before), "after", advice.TellCheck(p, e.After)))
	}
	return list
}

func told(p words.Printer, e *Extent) string {
	if e == nil || e.WidthM == nil {
		return p.T("what_if.unknown")
	}
	if *e.AreaM2 == 0 {
		return p.T("what_if.nothing")
	}
	return p.T("what_if.field", "width", p.Length(*e.WidthM), "depth", p.Length(*e.DepthM), "near", p.Length(*e.NearM), "far", p.Length(*e.FarM))
}
