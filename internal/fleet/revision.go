package fleet

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/fault"
	"lintel.example/lintel/internal/identity"
)

// Revision is how a device is mounted and set: planned in the office (intended), or found or left at the door.
type Revision struct {
	CustomerID, SiteID, DoorID, ComponentID, RevisionID uuid.UUID
	Standing                                            string // intended, found, left
	EffectiveAt                                         time.Time
	RecordedAt                                          time.Time
	RecordedBy                                          uuid.UUID
	Reason                                              string
	VisitID                                             *uuid.UUID
	SHA256                                              [32]byte
	Device                                              DeviceFacts
}

// DeviceFacts is everything about a device that decides what it watches. The JSON names are the recorded form.
type DeviceFacts struct {
	AntennaID   *uuid.UUID  `json:"antenna_id"`
	Mount       MountFacts  `json:"mount"`
	Accessories []uuid.UUID `json:"accessories"` // from the header outwards
	Settings    Settings    `json:"settings"`
	// Steps are the labels that were read at the device, by setting, where its model is set in steps: the setting then has the value of the step.
	Steps map[string]string `json:"steps,omitempty"`
	// Fitted is what a walk test said of the device. Nobody sends it: accepting a fit puts it there, and it goes with the next change of the
	// antenna, the mount or an accessory.
	Fitted *Fitted `json:"fitted,omitempty"`
}

// MountFacts is where a device sits and where it looks, in its side's frame (see internal/field).
type MountFacts struct {
	HeightM  Quantity `json:"height_m"`
	OffsetXM Quantity `json:"offset_x_m"`
	OffsetYM Quantity `json:"offset_y_m"`
	TiltDeg  Quantity `json:"tilt_deg"`
	YawDeg   Quantity `json:"yaw_deg"`
}

// Settings are the settings of a device by their physical names.
type Settings struct {
	ReachDB         Quantity `json:"reach_db"`         // change of sensitivity relative to full reach, 0 or negative
	MotionDirection string   `json:"motion_direction"` // approach, departure, either, unknown
	HoldWhileMoving *bool    `json:"hold_while_moving"`
	ConfirmTravelMM Quantity `json:"confirm_travel_mm"`
	OutputHoldS     Quantity `json:"output_hold_s"`
	OutputContact   string   `json:"output_contact"` // normally_open, normally_closed, unknown
}

// RevisionQuery asks for the revisions of a device, the newest first.
type RevisionQuery struct {
	ComponentID uuid.UUID
	BeforeAt    time.Time // zero: from the newest on
	BeforeID    uuid.UUID
	Limit       int
}

type revisionRows interface {
	RevisionByID(ctx context.Context, id uuid.UUID) (Revision, error)
	// PresentRevisions gives, for every device of a door, the recorded (found or left) revision that holds as of
	// both times, with the fit of a walk test that still holds; devices without a revision are left out.
	PresentRevisions(ctx context.Context, doorID uuid.UUID, asOf AsOf) ([]Revision, error)
	RevisionsOfDevice(ctx context.Context, q RevisionQuery) ([]Revision, error)
	InsertRevision(ctx context.Context, r Revision) (bool, error)
	InsertExtents(ctx context.Context, list []Extent) error
	Extents(ctx context.Context, revisionIDs []uuid.UUID) ([]Extent, error)
	PutCoverages(ctx context.Context, doorID uuid.UUID, list []Coverage) error
	CoveragesOfDoor(ctx context.Context, doorID uuid.UUID) ([]Coverage, error)
}

// PutRevision records how a device is mounted and set, and recomputes in the same transaction what follows. A
// revision never changes: the same again is success, anything else under its id a conflict.
func (f *Fleet) PutRevision(ctx context.Context, by identity.Actor, r Revision) (saved Revision, created bool, err error) {
	tidy(&r.Reason)
	r.Device.Fitted = nil
	if err := f.checkRevision(r); err != nil {
		return Revision{}, false, err
	}
	if r.SHA256, err = hashOf(r.said()); err != nil {
		return Revision{}, false, err
	}
	err = f.Store.InTx(ctx, by, func(ctx context.Context, tx Tx) error {
		saved, created, err = f.insertRevision(ctx, tx, by, r)
		return err
	})
	return saved, created, err
}

// said is what of a revision is compared when it is sent again.
func (r Revision) said() any {
	var at *time.Time
	if !r.EffectiveAt.IsZero() {
		utc := r.EffectiveAt.UTC()
		at = &utc
	}
	return map[string]any{"component_id": r.ComponentID, "standing": r.Standing, "effective_at": at, "reason": r.Reason, "device": r.Device}
}

// insertRevision is PutRevision within a transaction; visits use it for the settings that a technician found or left.
func (f *Fleet) insertRevision(ctx context.Context, tx Tx, by identity.Actor, r Revision) (Revision, bool, error) {
	component, err := tx.ComponentByID(ctx, r.ComponentID, AsOf{})
	if err != nil {
		return Revision{}, false, err
	}
	if err := tx.LockDoor(ctx, component.DoorID); err != nil {
		return Revision{}, false, err
	}
	door, err := tx.DoorByID(ctx, component.DoorID, AsOf{})
	if err != nil {
		return Revision{}, false, err
	}
	site, err := tx.SiteByID(ctx, door.SiteID)
	if err != nil {
		return Revision{}, false, err
	}
	r.CustomerID, r.SiteID, r.DoorID = component.CustomerID, component.SiteID, component.DoorID
	r.RecordedAt, r.RecordedBy = f.Now(), by.PersonID
	if r.EffectiveAt.IsZero() {
		r.EffectiveAt = r.RecordedAt
	}
	if r.Standing != "intended" && r.VisitID == nil { // of a visit's entries the visit has said it
		if err := checkMoment("/effective_at", r.EffectiveAt, r.RecordedAt, door.KnownSince, site); err != nil {
			return Revision{}, false, err
		}
	}
	if err := checkCatalogue(ctx, tx, component, r); err != nil {
		return Revision{}, false, err
	}
	if err := readSteps(ctx, tx, component, &r); err != nil {
		return Revision{}, false, err
	}
	inserted, err := tx.InsertRevision(ctx, r)
	if err != nil {
		return Revision{}, false, err
	}
	if !inserted {
		present, err := tx.RevisionByID(ctx, r.RevisionID)
		if err != nil {
			return Revision{}, false, err
		}
		if present.SHA256 != r.SHA256 {
			return Revision{}, false, fault.New(fault.Conflict, "revision_differs")
		}
		return present, false, nil
	}
	return r, true, f.recompute(ctx, tx, by, r.DoorID)
}

// checkCatalogue holds the antenna against the model of the device that is said to have it, and the accessories
// against the catalogue.
func checkCatalogue(ctx context.Context, tx Tx, c Component, r Revision) error {
	var faults fault.List
	if r.Device.AntennaID != nil {
		list, err := tx.AntennasByIDs(ctx, []uuid.UUID{*r.Device.AntennaID})
		switch {
		case err != nil:
			return err
		case len(list) == 0:
			faults.Add(r.pointer()+"/antenna_id", "antenna_not_found")
		case c.ModelID == nil || list[0].ModelID != *c.ModelID:
			faults.Add(r.pointer()+"/antenna_id", "antenna_of_other_model")
		}
	}
	if len(r.Device.Accessories) > 0 {
		list, err := tx.AccessoriesByIDs(ctx, r.Device.Accessories)
		if err != nil {
			return err
		}
		for i, id := range r.Device.Accessories {
			if !slices.ContainsFunc(list, func(a Accessory) bool { return a.AccessoryID == id }) {
				faults.Add(fmt.Sprintf("%s/accessories/%d", r.pointer(), i), "accessory_not_found")
			}
		}
	}
	return faults.Err()
}

// pointer is where the device's facts stand in the body that was sent.
func (r Revision) pointer() string {
	if r.VisitID != nil {
		return "/settings/device"
	}
	return "/device"
}

func (f *Fleet) checkRevision(r Revision) error {
	var faults fault.List
	checkOneOf(&faults, "/standing", r.Standing, "intended", "found", "left")
	f.checkInstant(&faults, "/effective_at", r.EffectiveAt)
	checkText(&faults, "/reason", r.Reason, 1, 500)
	r.Device.check(&faults, r.pointer())
	return faults.Err()
}

// check holds the facts of a device against what can be; pointer is where they stand in the body.
func (d DeviceFacts) check(faults *fault.List, pointer string) {
	for _, l := range deviceLimits() {
		d.quantityNamed(l.name).check(faults, pointer+memberOf(l.name), l.least, l.greatest)
	}
	s := pointer + "/settings"
	checkOneOf(faults, s+"/motion_direction", d.Settings.MotionDirection, append(settingWords()["motion_direction"], "unknown")...)
	checkOneOf(faults, s+"/output_contact", d.Settings.OutputContact, append(settingWords()["output_contact"], "unknown")...)
	if len(d.Accessories) > 8 {
		faults.Add(pointer+"/accessories", "too_many", "most", 8)
	}
}

// deviceLimit is what a number of a device may be, inclusive, in the unit that ends its name (as quantityNamed has it).
type deviceLimit struct {
	name            string
	least, greatest float64
}

func deviceLimits() []deviceLimit {
	return []deviceLimit{{"mount.height_m", 0.3, 12}, {"mount.offset_x_m", -20, 20}, {"mount.offset_y_m", -20, 20}, {"mount.tilt_deg", 0, 90}, {"mount.yaw_deg", -180, 180},
		{"reach_db", -60, 0}, {"confirm_travel_mm", 0, 2000}, {"output_hold_s", 0, 600}}
}

// memberOf is where a setting or a part of the mount stands below a device, by its name.
func memberOf(name string) string {
	if part, ok := strings.CutPrefix(name, "mount."); ok {
		return "/mount/" + part
	}
	return "/settings/" + name
}

// Revisions lists the revisions of a device with what each watches, the newest first.
func (f *Fleet) Revisions(ctx context.Context, by identity.Actor, q RevisionQuery) (list []Revision, extents map[uuid.UUID]Extent, err error) {
	err = f.Store.InTxReadOnly(ctx, by, func(ctx context.Context, tx Tx) error {
		if _, err := tx.ComponentByID(ctx, q.ComponentID, AsOf{}); err != nil {
			return err
		}
		if list, err = tx.RevisionsOfDevice(ctx, q); err != nil {
			return err
		}
		extents, err = extentsOf(ctx, tx, list)
		return err
	})
	return list, extents, err
}

// extentsOf gives the newest extent of each revision, by its id.
func extentsOf(ctx context.Context, tx Tx, revisions []Revision) (map[uuid.UUID]Extent, error) {
	ids := make([]uuid.UUID, len(revisions))
	for i, r := range revisions {
		ids[i] = r.RevisionID
	}
	list, err := tx.Extents(ctx, ids)
	if err != nil {
		return nil, err
	}
	byID := make(map[uuid.UUID]Extent, len(list))
	for _, e := range list {
		byID[e.RevisionID] = e
	}
	return byID, nil
}
