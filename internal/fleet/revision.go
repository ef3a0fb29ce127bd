package fleet

import (
	"context"
	"time"

	"github.com/google/uuid"
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
	AntennaID                                           *uuid.UUID
	Mount                                               MountFacts
	Accessories                                         []uuid.UUID // from the header outwards
	Settings                                            Settings
}

// MountFacts is where a device sits and where it looks, in its side's frame (see internal/field).
type MountFacts struct {
	HeightM, OffsetXM, OffsetYM, TiltDeg, YawDeg Quantity
}

// Settings are the settings of a device by their physical names.
type Settings struct {
	ReachDB         Quantity // change of sensitivity relative to full reach, 0 or negative
	MotionDirection string   // approach, departure, either, unknown
	HoldWhileMoving *bool
	ConfirmTravelMM Quantity
	OutputHoldS     Quantity
	OutputContact   string // normally_open, normally_closed, unknown
}

type revisionRows interface {
	RevisionByID(ctx context.Context, id uuid.UUID) (Revision, error)
	// PresentRevisions gives, for every device of a door, the recorded (found or left) revision that holds as of
	// both times; devices without one are left out.
	PresentRevisions(ctx context.Context, doorID uuid.UUID, asOf AsOf) ([]Revision, error)
	RevisionsOfDevice(ctx context.Context, componentID uuid.UUID) ([]Revision, error)
	InsertRevision(ctx context.Context, r Revision) (bool, error)
}
