package fleet

import (
	"context"
	"slices"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/fault"
	"lintel.example/lintel/internal/identity"
)

// EntryPart is one thing that was fitted or taken out at the door. With the id of a component it acts on the register:
// what was fitted is that component from this moment on, what was taken out is retired. Without one it is only recorded.
// Nothing is told of a component's wiring but what is said here; how a device is set, entries of settings say.
type EntryPart struct {
	Did          string     `json:"did"` // fitted, removed
	ComponentID  *uuid.UUID `json:"component_id,omitempty"`
	Kind         string     `json:"kind"` // of ComponentKinds, or consumable, which is no component
	ModelID      *uuid.UUID `json:"model_id,omitempty"`
	ModelText    string     `json:"model_text,omitempty"`
	Serial       string     `json:"serial,omitempty"`
	Leaf         int        `json:"leaf,omitempty"` // 1 is the first leaf of the door's facts; 0: of the door as a whole
	Side         string     `json:"side"`           // a, b, both, none
	Input        string     `json:"input,omitempty"`
	Contact      string     `json:"contact,omitempty"`
	Quantity     int        `json:"quantity"`
	WorkOrderID  *uuid.UUID `json:"work_order_id,omitempty"`
	BillingBasis string     `json:"billing_basis,omitempty"` // empty: that of the order
	Note         string     `json:"note,omitempty"`
}

// PartOfOrder is a part that belongs to a work order. A correction has taken the place of what it corrects.
type PartOfOrder struct {
	Entry  Entry
	Model  string // of the catalogue, or as it was written; "" when neither the entry nor the register knows
	Serial string // as it was written, or of the component's record
}

type partRows interface {
	// ComponentEver gives what a component is, whether or not a fitting of it counts.
	ComponentEver(ctx context.Context, id uuid.UUID) (Component, error)
	// InsertPartVersion adds the fitting that a part is, unless it is there or its component is not known at the door yet.
	InsertPartVersion(ctx context.Context, c Component) error
	// PartsOfOrder gives the parts whose entry names the order, or whose visit served no other order at the door.
	PartsOfOrder(ctx context.Context, orderID uuid.UUID) ([]PartOfOrder, error)
}

// mostOfAPart is how many of one thing an entry may say: beyond it a serial number was typed into the wrong place.
const mostOfAPart = 1000

func (p *EntryPart) tidy() {
	tidy(&p.ModelText)
	tidy(&p.Serial)
	tidy(&p.Note)
}

// loose tells whether a fitted part may be no component of the register: what wears out and is bought by the piece.
func (p EntryPart) loose() bool {
	return p.Did == "removed" || slices.Contains([]string{"consumable", "battery", "leaf_hardware"}, p.Kind)
}

func (p EntryPart) check(faults *fault.List) {
	checkOneOf(faults, "/part/did", p.Did, "fitted", "removed")
	checkOneOf(faults, "/part/kind", p.Kind, append(ComponentKinds(), "consumable")...)
	switch {
	case p.ModelID != nil && p.ModelText != "":
		faults.Add("/part/model_text", "model_twice")
	case p.ModelID == nil && p.ModelText == "" && (p.Did == "fitted" || p.ComponentID == nil):
		faults.Add("/part/model_text", "model_missing")
	}
	switch {
	case p.ComponentID != nil && p.Kind == "consumable":
		faults.Add("/part/component_id", "consumable_no_component")
	case p.ComponentID == nil && !p.loose():
		faults.Add("/part/component_id", "part_is_component")
	case p.ComponentID != nil && p.Quantity != 1:
		faults.Add("/part/quantity", "component_is_one")
	}
	if p.Quantity < 1 || p.Quantity > mostOfAPart {
		faults.Add("/part/quantity", "count_out_of_range", "least", 1, "greatest", mostOfAPart)
	}
	if p.Leaf < 0 || p.Leaf > mostLeaves {
		faults.Add("/part/leaf", "count_out_of_range", "least", 1, "greatest", mostLeaves)
	}
	checkLine(faults, "/part/model_text", p.ModelText, 0, 200)
	checkLine(faults, "/part/serial", p.Serial, 0, 100)
	checkText(faults, "/part/note", p.Note, 0, 2000)
	checkOneOf(faults, "/part/side", p.Side, "a", "b", "both", "none")
	checkOneOf(faults, "/part/input", p.Input, "", "activate", "protect", "inhibit", "hold", "none", "unknown")
	checkOneOf(faults, "/part/contact", p.Contact, "", "normally_open", "normally_closed", "none", "unknown")
	checkOneOf(faults, "/part/billing_basis", p.BillingBasis, "", "unsettled", "contract", "warranty", "time_and_material", "insurance", "goodwill")
}

// component is what a fitted part is; it never changes.
func (p EntryPart) component(e Entry) Component {
	return Component{CustomerID: e.CustomerID, SiteID: e.SiteID, DoorID: e.DoorID, ComponentID: *p.ComponentID, Kind: p.Kind, ModelID: p.ModelID,
		ModelText: p.ModelText, Serial: p.Serial, RecordedAt: e.ReceivedAt, RecordedBy: e.RecordedBy}
}

// fitting is how the component is from then on. It is a function of the entry alone, or the order of arrival would matter.
func (p EntryPart) fitting() Fitting {
	if p.Did == "removed" {
		return Fitting{State: "removed", Side: p.Side, Input: "none", Contact: "none"}
	}
	f := Fitting{State: "fitted", Side: p.Side, Input: p.Input, Contact: p.Contact}
	if f.Input == "" {
		f.Input = "unknown"
	}
	if f.Contact == "" {
		f.Contact = "unknown"
	}
	return f
}

// checkPart holds what a part names against the door, the catalogue and the register.
func checkPart(ctx context.Context, tx Tx, door Door, e Entry) error {
	p := e.Body.Part
	if p.Leaf > len(door.Facts.Leaves) {
		return fault.At("/part/leaf", "leaf_not_of_door", "leaves", len(door.Facts.Leaves))
	}
	if p.ModelID != nil {
		m, err := tx.ModelByID(ctx, *p.ModelID)
		if err != nil {
			return asMember(err, "/part/model_id")
		}
		if m.Kind != p.Kind {
			return fault.At("/part/kind", "kind_of_other_model", "kind", m.Kind)
		}
	}
	if p.WorkOrderID != nil {
		order, err := tx.WorkOrderByID(ctx, *p.WorkOrderID)
		if err != nil {
			return instead(err, fault.At("/part/work_order_id", "work_order_of_other_door"))
		}
		if order.DoorID != e.DoorID {
			return fault.At("/part/work_order_id", "work_order_of_other_door")
		}
	}
	if p.ComponentID == nil {
		return nil
	}
	present, err := tx.ComponentEver(ctx, *p.ComponentID)
	switch {
	case fault.Is(err, "component_not_found"): // it is made by this entry, or its fitting is still on its way
		return nil
	case err != nil:
		return err
	case present.DoorID != e.DoorID:
		return fault.At("/part/component_id", "component_not_on_door")
	case p.Did == "fitted":
		said := p.component(e)
		said.WarrantyUntil = present.WarrantyUntil
		if checkSame("component_differs", present.identity(), said.identity()) != nil {
			return &fault.Error{Kind: fault.Conflict, Code: "component_differs", Pointer: "/part/component_id"}
		}
	}
	return nil
}

// checkParts refuses what would make the order of arrival matter: two fittings of one component in one moment, and two
// corrections of one part. Whichever of the two comes second is refused.
func checkParts(entries []Entry) error {
	moments := momentsOf(entries)
	type place struct {
		component uuid.UUID
		at        int64
	}
	taken := map[place]bool{}
	for _, e := range live(entries) {
		at, known := moments[e.EntryID]
		if !known || e.Body.Part.ComponentID == nil {
			continue
		}
		here := place{*e.Body.Part.ComponentID, at.UnixMicro()}
		if taken[here] {
			return &fault.Error{Kind: fault.Conflict, Code: "part_same_moment", Pointer: "/observed_at"}
		}
		taken[here] = true
	}
	corrections := map[uuid.UUID]bool{}
	for _, e := range entries {
		if e.Body.Part == nil || e.Body.Corrects == nil {
			continue
		}
		if corrections[*e.Body.Corrects] || slices.ContainsFunc(entries, func(other Entry) bool {
			return other.EntryID != e.EntryID && other.Body.Corrects != nil && *other.Body.Corrects == *e.Body.Corrects
		}) {
			return &fault.Error{Kind: fault.Conflict, Code: "part_corrected_already", Pointer: "/corrects"}
		}
		corrections[*e.Body.Corrects] = true
	}
	return nil
}

// momentsOf gives since when each part of a door has been as it says: a correction has been true as long as what it
// corrects was said to be. A part that corrects an entry which has not arrived yet has no moment yet.
func momentsOf(entries []Entry) map[uuid.UUID]time.Time {
	byID := map[uuid.UUID]Entry{}
	for _, e := range entries {
		byID[e.EntryID] = e
	}
	moments := map[uuid.UUID]time.Time{}
	for _, e := range entries {
		if e.Body.Part == nil {
			continue
		}
		root, known := e, true
		for root.Body.Corrects != nil && known {
			wrong, here := byID[*root.Body.Corrects]
			if here && !after(wrong, root) {
				break // it takes nothing back
			}
			if known = here && wrong.Body.Part != nil; known {
				root = wrong
			}
		}
		if known {
			moments[e.EntryID] = root.ObservedAt
		}
	}
	return moments
}

// followPart registers what was fitted, and writes the fittings that the parts of the door add up to.
func (f *Fleet) followPart(ctx context.Context, tx Tx, by identity.Actor, e Entry) error {
	entries, err := tx.EntriesOfDoor(ctx, e.DoorID)
	if err != nil {
		return err
	}
	if err := checkParts(entries); err != nil {
		return err
	}
	if p := e.Body.Part; p.ComponentID != nil && p.Did == "fitted" {
		inserted, err := tx.InsertComponent(ctx, p.component(e))
		if err != nil {
			return err
		}
		if !inserted {
			if _, err := tx.ComponentEver(ctx, *p.ComponentID); err != nil { // the id belongs to what these eyes do not see
				return asMember(err, "/part/component_id")
			}
		}
	}
	moments := momentsOf(entries)
	for _, one := range entries {
		at, known := moments[one.EntryID]
		if !known || one.Body.Part.ComponentID == nil {
			continue
		}
		c := one.Body.Part.component(one)
		c.Fitting = one.Body.Part.fitting()
		c.Version = Version{VersionID: one.EntryID, EffectiveAt: at, RecordedAt: f.Now(), RecordedBy: one.RecordedBy, Reason: "visit"}
		if c.Version.SHA256, err = hashOf(c.Fitting); err != nil {
			return err
		}
		if err := tx.InsertPartVersion(ctx, c); err != nil {
			return err
		}
	}
	return f.recompute(ctx, tx, by, e.DoorID)
}

// PartsOfWorkOrder lists what was fitted and taken out under a work order, in the order of observation.
func (f *Fleet) PartsOfWorkOrder(ctx context.Context, by identity.Actor, orderID uuid.UUID) (list []PartOfOrder, err error) {
	err = f.Store.InTxReadOnly(ctx, by, func(ctx context.Context, tx Tx) error {
		if _, err := tx.WorkOrderByID(ctx, orderID); err != nil {
			return err
		}
		list, err = tx.PartsOfOrder(ctx, orderID)
		return err
	})
	return list, err
}
