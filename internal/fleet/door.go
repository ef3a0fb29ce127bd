package fleet

import (
	"context"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/duedate"
)

// Door is the opening. It keeps its tag when everything in it is replaced.
type Door struct {
	CustomerID, SiteID, DoorID uuid.UUID
	Tag                        Tag
	Name                       string
	KnownSince                 duedate.Day // no fact about the door is older
	RecordedAt                 time.Time
	RecordedBy                 uuid.UUID
	Facts                      DoorFacts // the version asked for: the present one, or one as of two times
	Version                    Version
}

// Version says when something is true at the door and since when it is known here.
type Version struct {
	VersionID   uuid.UUID
	EffectiveAt time.Time
	RecordedAt  time.Time
	RecordedBy  uuid.UUID
	Reason      string
	SHA256      [32]byte // of the canonical JSON of what was sent
}

// DoorFacts is what is true of a door from one moment on.
type DoorFacts struct {
	Kind            string // sliding, swinging, folding, revolving
	Energy          string // full, low, assist
	Traffic         string // one_way_in, one_way_out, two_way
	PresenceBy      string // overhead_sensor, beams, both, none, unknown
	A, B            SideFacts
	ClearWidthM     Quantity
	HeaderDepthM    Quantity
	OpeningTimeS    Quantity
	ClosingTimeS    Quantity
	Modes           []string // day, exit_only, night_locked, held_open, emergency
	GuideRails      string   // fitted, walls, none, unknown
	InterlockGroup  string
	Egress          *bool
	FireRated       *bool
	VulnerableUsers *bool
	RuleBasis       RuleBasis
	Leaves          []Leaf
}

// SideFacts is what is true of one side of a door.
type SideFacts struct {
	Label      string // the people's own word for the side
	Activation string // sensor, knowing_act, both, none
	KeptClear  []KeptClearZone
}

// Side picks the facts of side "a" or "b".
func (f DoorFacts) Side(side string) SideFacts {
	if side == "b" {
		return f.B
	}
	return f.A
}

// KeptClearZone is a rectangle on the floor of a side, in that side's frame, that no sensor may see.
type KeptClearZone struct {
	What               string
	X0M, X1M, Y0M, Y1M float64
}

// RuleBasis names the edition that a door must meet, since when, and why that one.
type RuleBasis struct {
	PackID string
	Since  duedate.Day
	Why    string
}

// Leaf is one leaf of a door. Hinge and sliding direction are as seen from side A.
type Leaf struct {
	Motion       string // swing, slide, fold, revolve
	Hinge        string // left, right, none
	OpensTowards string // swing: a, b or both sides; slide: left or right; revolve: none
	WidthM       Quantity
	HeightM      Quantity
	MassKg       Quantity
}

// AsOf asks for what was true at one time as it was known at another; a zero time means now.
type AsOf struct {
	Effective time.Time
	Recorded  time.Time
}

type doorRows interface {
	// DoorByID gives a door with the version that holds as of both times; a zero time means no bound.
	DoorByID(ctx context.Context, id uuid.UUID, asOf AsOf) (Door, error)
	DoorByTag(ctx context.Context, tag Tag, asOf AsOf) (Door, error)
	// LockDoor makes other transactions that change the door wait until this one has ended.
	LockDoor(ctx context.Context, id uuid.UUID) error
	NextDoorNumber(ctx context.Context) (int64, error)
	InsertDoor(ctx context.Context, d Door) (bool, error)
	RenameDoor(ctx context.Context, id uuid.UUID, name string) error
	InsertDoorVersion(ctx context.Context, d Door) error
	DoorVersions(ctx context.Context, id uuid.UUID) ([]Version, error)
	DoorPage(ctx context.Context, q DoorQuery) ([]DoorLine, error)
}

// DoorQuery asks for doors in the order of their tags.
type DoorQuery struct {
	Search   string // part of the name, or the beginning of a tag
	Customer uuid.UUID
	Site     uuid.UUID
	Kind     string
	AfterTag Tag
	Limit    int
}

// DoorLine is a door as lists show it.
type DoorLine struct {
	CustomerID, SiteID, DoorID uuid.UUID
	Tag                        Tag
	Name, SiteName             string
	Kind                       string
	NextDue                    *duedate.Day // nil: no plan
	OutOfService               string       // "", unsecured or secured
}
