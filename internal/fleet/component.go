package fleet

import (
	"context"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/fault"
	"lintel.example/lintel/internal/identity"
)

// Component is anything fitted in a door. A component that senses is a device.
type Component struct {
	CustomerID, SiteID, DoorID, ComponentID uuid.UUID
	Kind                                    string // see device_model.kind
	ModelID                                 *uuid.UUID
	ModelText                               string // when the model is not in the catalogue
	Serial                                  string
	WarrantyUntil                           *duedate.Day
	RecordedAt                              time.Time
	RecordedBy                              uuid.UUID
	Fitting                                 Fitting
	Version                                 Version
}

// Fitting is where a component is and what it is wired to, from one moment on. The JSON names are the recorded form.
type Fitting struct {
	State                string     `json:"state"`                  // fitted, removed
	Side                 string     `json:"side"`                   // a, b, both, none
	WiredTo              *uuid.UUID `json:"wired_to"`               // the control
	Input                string     `json:"input"`                  // activate, protect, inhibit, hold, none, unknown
	Contact              string     `json:"contact"`                // normally_open, normally_closed, none, unknown
	TestedByControl      *bool      `json:"tested_by_control"`      // nil: not known
	InhibitedWhileMoving *bool      `json:"inhibited_while_moving"` // the control ignores it while the leaf moves
}

type componentRows interface {
	ComponentByID(ctx context.Context, id uuid.UUID, asOf AsOf) (Component, error)
	// ComponentsOfDoor gives every component ever fitted with the version that holds as of both times; those
	// that were not there yet are left out.
	ComponentsOfDoor(ctx context.Context, doorID uuid.UUID, asOf AsOf) ([]Component, error)
	InsertComponent(ctx context.Context, c Component) (bool, error)
	InsertComponentVersion(ctx context.Context, c Component) error
	ComponentVersions(ctx context.Context, id uuid.UUID) ([]Version, error)
}

// ComponentPut is what somebody says of a component.
type ComponentPut struct {
	ComponentID   uuid.UUID
	DoorID        uuid.UUID
	Kind          string
	ModelID       *uuid.UUID // either this
	ModelText     string     // or this
	Serial        string
	WarrantyUntil duedate.Day // zero: none known
	Fitting       Fitting
	EffectiveAt   time.Time // zero: now
	Reason        string
	IfMatch       uuid.UUID // the version that a change was made from
}

// PutComponent registers a component or gives it another fitting, and recomputes in the same transaction what
// follows. What a component is (door, kind, model, serial, warranty) never changes: another thing is another
// component. Taken out is a fitting of state removed.
func (f *Fleet) PutComponent(ctx context.Context, by identity.Actor, p ComponentPut) (saved Component, created bool, err error) {
	tidy(&p.ModelText)
	tidy(&p.Serial)
	tidy(&p.Reason)
	if err := f.checkComponent(p); err != nil {
		return Component{}, false, err
	}
	hash, err := hashOf(p.Fitting)
	if err != nil {
		return Component{}, false, err
	}
	err = f.Store.InTx(ctx, by, func(ctx context.Context, tx Tx) error {
		created = false
		if err := tx.LockDoor(ctx, p.DoorID); err != nil {
			return err
		}
		present, err := tx.ComponentByID(ctx, p.ComponentID, AsOf{})
		switch {
		case fault.Is(err, "component_not_found"):
			saved, err = f.registerComponent(ctx, tx, by, p, hash)
			created = true
		case err == nil:
			saved, err = f.refitComponent(ctx, tx, by, p, present, hash)
		}
		return err
	})
	return saved, created, err
}

func (f *Fleet) registerComponent(ctx context.Context, tx Tx, by identity.Actor, p ComponentPut, hash [32]byte) (Component, error) {
	door, at, err := f.fittingMoment(ctx, tx, p)
	if err != nil {
		return Component{}, err
	}
	if p.ModelID != nil {
		m, err := tx.ModelByID(ctx, *p.ModelID)
		if err != nil {
			return Component{}, asMember(err, "/model_id")
		}
		if m.Kind != p.Kind {
			return Component{}, fault.At("/kind", "kind_of_other_model", "kind", m.Kind)
		}
	}
	if err := checkWiring(ctx, tx, p, at); err != nil {
		return Component{}, err
	}
	c := p.component()
	c.CustomerID, c.SiteID, c.RecordedAt, c.RecordedBy = door.CustomerID, door.SiteID, f.Now(), by.PersonID
	c.Version = f.version(by, at, p.Reason, hash)
	inserted, err := tx.InsertComponent(ctx, c)
	if err != nil {
		return Component{}, err
	}
	if !inserted { // the id belongs to a component that these eyes do not see
		return Component{}, fault.New(fault.NotFound, "component_not_found")
	}
	if err := tx.InsertComponentVersion(ctx, c); err != nil {
		return Component{}, err
	}
	return c, f.recompute(ctx, tx, by, c.DoorID)
}

func (f *Fleet) refitComponent(ctx context.Context, tx Tx, by identity.Actor, p ComponentPut, present Component, hash [32]byte) (Component, error) {
	if err := checkSame("component_differs", present.identity(), p.component().identity()); err != nil {
		return Component{}, err
	}
	_, at, err := f.fittingMoment(ctx, tx, p)
	if err != nil {
		return Component{}, err
	}
	then := present
	if !p.EffectiveAt.IsZero() { // said late, or again: what holds at that moment is what it is compared with
		then, err = tx.ComponentByID(ctx, p.ComponentID, AsOf{Effective: at})
		if err != nil && !fault.Is(err, "component_not_found") {
			return Component{}, err
		}
	}
	if then.Version.SHA256 == hash {
		return present, nil
	}
	if err := checkVersionID(p.IfMatch, present.Version.VersionID); err != nil {
		return Component{}, err
	}
	if err := checkWiring(ctx, tx, p, at); err != nil {
		return Component{}, err
	}
	c := present
	c.Fitting, c.Version = p.Fitting, f.version(by, at, p.Reason, hash)
	if err := tx.InsertComponentVersion(ctx, c); err != nil {
		return Component{}, err
	}
	return c, f.recompute(ctx, tx, by, c.DoorID)
}

// fittingMoment finds the door and when the fitting is said to begin: not before the door, not in the future.
func (f *Fleet) fittingMoment(ctx context.Context, tx Tx, p ComponentPut) (door Door, at time.Time, err error) {
	door, err = tx.DoorByID(ctx, p.DoorID, AsOf{})
	if err != nil {
		return Door{}, time.Time{}, asMember(err, "/door_id")
	}
	site, err := tx.SiteByID(ctx, door.SiteID)
	if err != nil {
		return Door{}, time.Time{}, err
	}
	now := f.Now()
	at = p.EffectiveAt
	if at.IsZero() {
		at = now
	}
	return door, at, checkMoment("/effective_at", at, now, door.KnownSince, site)
}

// checkWiring holds the control that a component is wired to against the door: it is a control, of the same door,
// and fitted at that moment.
func checkWiring(ctx context.Context, tx Tx, p ComponentPut, at time.Time) error {
	const pointer = "/fitting/wired_to"
	if p.Fitting.WiredTo == nil {
		return nil
	}
	control, err := tx.ComponentByID(ctx, *p.Fitting.WiredTo, AsOf{Effective: at})
	switch {
	case err != nil:
		return asMember(err, pointer)
	case control.DoorID != p.DoorID:
		return fault.At(pointer, "component_of_other_door")
	case control.Kind != "control":
		return fault.At(pointer, "component_not_control", "kind", control.Kind)
	case control.Fitting.State != "fitted":
		return fault.At(pointer, "component_removed")
	}
	return nil
}

func (p ComponentPut) component() Component {
	c := Component{DoorID: p.DoorID, ComponentID: p.ComponentID, Kind: p.Kind, ModelID: p.ModelID, ModelText: p.ModelText, Serial: p.Serial,
		Fitting: p.Fitting}
	if !p.WarrantyUntil.IsZero() {
		c.WarrantyUntil = &p.WarrantyUntil
	}
	return c
}

// identity is what never changes of a component.
func (c Component) identity() any {
	until := ""
	if c.WarrantyUntil != nil {
		until = c.WarrantyUntil.String()
	}
	return map[string]any{"door_id": c.DoorID, "kind": c.Kind, "model_id": c.ModelID, "model_text": c.ModelText, "serial": c.Serial, "warranty_until": until}
}

// ComponentKinds are the kinds of what can be fitted.
func ComponentKinds() []string {
	return []string{"operator", "control", "power_supply", "battery", "mode_selector", "lock", "sensor", "activation", "safety_device", "leaf_hardware"}
}

func (f *Fleet) checkComponent(p ComponentPut) error {
	var faults fault.List
	checkOneOf(&faults, "/kind", p.Kind, ComponentKinds()...)
	switch {
	case p.ModelID == nil && p.ModelText == "":
		faults.Add("/model_text", "model_missing")
	case p.ModelID != nil && p.ModelText != "":
		faults.Add("/model_text", "model_twice")
	}
	checkLine(&faults, "/model_text", p.ModelText, 0, 200)
	checkLine(&faults, "/serial", p.Serial, 0, 100)
	checkText(&faults, "/reason", p.Reason, 1, 500)
	f.checkDay(&faults, "/warranty_until", p.WarrantyUntil)
	t := p.Fitting
	checkOneOf(&faults, "/fitting/state", t.State, "fitted", "removed")
	checkOneOf(&faults, "/fitting/side", t.Side, "a", "b", "both", "none")
	checkOneOf(&faults, "/fitting/input", t.Input, "activate", "protect", "inhibit", "hold", "none", "unknown")
	checkOneOf(&faults, "/fitting/contact", t.Contact, "normally_open", "normally_closed", "none", "unknown")
	if t.WiredTo != nil && *t.WiredTo == p.ComponentID {
		faults.Add("/fitting/wired_to", "wired_to_itself")
	}
	return faults.Err()
}

// Component gives one component as of two times.
func (f *Fleet) Component(ctx context.Context, by identity.Actor, id uuid.UUID, asOf AsOf) (c Component, err error) {
	err = f.Store.InTxReadOnly(ctx, by, func(ctx context.Context, tx Tx) error {
		c, err = tx.ComponentByID(ctx, id, asOf)
		return err
	})
	return c, err
}

// Components gives what was ever fitted in a door, with the fittings as of two times.
func (f *Fleet) Components(ctx context.Context, by identity.Actor, doorID uuid.UUID, asOf AsOf) (list []Component, err error) {
	err = f.Store.InTxReadOnly(ctx, by, func(ctx context.Context, tx Tx) error {
		if _, err := tx.DoorByID(ctx, doorID, AsOf{}); err != nil {
			return err
		}
		list, err = tx.ComponentsOfDoor(ctx, doorID, asOf)
		return err
	})
	return list, err
}

// ComponentHistory lists the fittings of a component, the newest first.
func (f *Fleet) ComponentHistory(ctx context.Context, by identity.Actor, id uuid.UUID) (list []Version, err error) {
	err = f.Store.InTxReadOnly(ctx, by, func(ctx context.Context, tx Tx) error {
		if _, err := tx.ComponentByID(ctx, id, AsOf{}); err != nil {
			return err
		}
		list, err = tx.ComponentVersions(ctx, id)
		return err
	})
	return list, err
}
