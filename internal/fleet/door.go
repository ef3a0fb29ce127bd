package fleet

import (
	"context"
	"fmt"
	"slices"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/fault"
	"lintel.example/lintel/internal/identity"
	"lintel.example/lintel/internal/rulebook"
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

// DoorFacts is what is true of a door from one moment on. The JSON names are the recorded form.
type DoorFacts struct {
	Kind            string    `json:"kind"`        // sliding, swinging, folding, revolving
	Energy          string    `json:"energy"`      // full, low, assist, unknown
	Traffic         string    `json:"traffic"`     // one_way_in, one_way_out, two_way, unknown
	PresenceBy      string    `json:"presence_by"` // overhead_sensor, beams, both, none, unknown
	A               SideFacts `json:"side_a"`
	B               SideFacts `json:"side_b"`
	ClearWidthM     Quantity  `json:"clear_width_m"`
	HeaderDepthM    Quantity  `json:"header_depth_m"`
	OpeningTimeS    Quantity  `json:"opening_time_s"`
	ClosingTimeS    Quantity  `json:"closing_time_s"`
	Modes           []string  `json:"modes"`       // day, exit_only, night_locked, held_open, emergency
	GuideRails      string    `json:"guide_rails"` // fitted, walls, none, unknown
	InterlockGroup  string    `json:"interlock_group"`
	Egress          *bool     `json:"egress"`
	FireRated       *bool     `json:"fire_rated"`
	Interior        *bool     `json:"interior,omitempty"` // no side of it is outdoors
	VulnerableUsers *bool     `json:"vulnerable_users"`
	RuleBasis       RuleBasis `json:"rule_basis"`
	Leaves          []Leaf    `json:"leaves"`
}

// SideFacts is what is true of one side of a door.
type SideFacts struct {
	Label      string          `json:"label"`      // the people's own word for the side
	Activation string          `json:"activation"` // sensor, knowing_act, both, none, unknown
	KeptClear  []KeptClearZone `json:"kept_clear"`
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
	What string  `json:"what"`
	X0M  float64 `json:"x0_m"`
	X1M  float64 `json:"x1_m"`
	Y0M  float64 `json:"y0_m"`
	Y1M  float64 `json:"y1_m"`
}

// RuleBasis names the edition that a door must meet, since when, and why that one. All three are empty while nobody has
// recorded it: then no rule judges the door, and what an inspection says of it is the inspector's word alone.
type RuleBasis struct {
	PackID string      `json:"pack"`
	Since  duedate.Day `json:"since,omitzero"`
	Why    string      `json:"why"`
}

// mostLeaves is more than any door has.
const mostLeaves = 8

// Leaf is one leaf of a door. Hinge and sliding direction are as seen from side A.
type Leaf struct {
	Motion       string   `json:"motion"`        // swing, slide, fold, revolve
	Hinge        string   `json:"hinge"`         // left, right, none; unknown
	OpensTowards string   `json:"opens_towards"` // swing, fold: a, b or both sides; slide: left, right or both; revolve: none; unknown
	WidthM       Quantity `json:"width_m"`
	HeightM      Quantity `json:"height_m"`
	MassKg       Quantity `json:"mass_kg"`
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

// DoorQuery asks for doors in the order of their tags, or of their next due days.
type DoorQuery struct {
	Search   string // part of the name, or the beginning of a tag
	Customer uuid.UUID
	Site     uuid.UUID
	Kind     string
	State    string // "" for all; unsecured, secured: unsafe; overdue: the due day has passed at the site; unplanned: no inspection plan
	ByDue    bool   // only those with a plan, the next due first
	AfterTag Tag
	AfterDue duedate.Day            // with ByDue, of the door of AfterTag
	Today    map[string]duedate.Day // by time zone; the use-case fills it in for the state overdue
	Limit    int
}

// DoorLine is a door as lists show it.
type DoorLine struct {
	CustomerID, SiteID, DoorID uuid.UUID
	Tag                        Tag
	Name, SiteName, TimeZone   string
	Kind                       string
	NextDue                    duedate.Day // zero: no plan
	DueBy                      duedate.Day // until then it is in time
	OutOfService               string      // "", unsecured or secured
}

// DoorPut is what somebody says of a door.
type DoorPut struct {
	DoorID      uuid.UUID
	SiteID      uuid.UUID
	Tag         Tag // "" for the next free one
	Name        string
	KnownSince  duedate.Day // zero: the day of effective_at
	Facts       DoorFacts
	EffectiveAt time.Time // zero: now
	Reason      string
	IfMatch     uuid.UUID // the version that a change was made from
}

// PutDoor registers a door or gives it new facts. Site, tag and known-since day never change.
func (f *Fleet) PutDoor(ctx context.Context, by identity.Actor, p DoorPut) (saved Door, created bool, err error) {
	p.tidy()
	if err := f.checkDoor(p); err != nil {
		return Door{}, false, err
	}
	hash, err := hashOf(p.Facts)
	if err != nil {
		return Door{}, false, err
	}
	err = f.Store.InTx(ctx, by, func(ctx context.Context, tx Tx) error {
		created = false
		if err := tx.LockDoor(ctx, p.DoorID); err != nil {
			return err
		}
		site, err := tx.SiteByID(ctx, p.SiteID)
		if err != nil {
			return instead(err, fault.At("/site_id", "site_not_found"))
		}
		present, err := tx.DoorByID(ctx, p.DoorID, AsOf{})
		switch {
		case fault.Is(err, "door_not_found"):
			saved, err = f.registerDoor(ctx, tx, by, p, site, hash)
			created = true
		case err == nil:
			saved, err = f.reviseDoor(ctx, tx, by, p, present, site, hash)
		}
		return err
	})
	return saved, created, err
}

func (f *Fleet) registerDoor(ctx context.Context, tx Tx, by identity.Actor, p DoorPut, site Site, hash [32]byte) (Door, error) {
	now := f.Now()
	if p.EffectiveAt.IsZero() {
		p.EffectiveAt = now
	}
	if p.KnownSince.IsZero() {
		p.KnownSince = duedate.DayIn(p.EffectiveAt, site.Location())
	}
	if err := checkMoment("/effective_at", p.EffectiveAt, now, p.KnownSince, site); err != nil {
		return Door{}, err
	}
	d := Door{CustomerID: site.CustomerID, SiteID: p.SiteID, DoorID: p.DoorID, Tag: p.Tag, Name: p.Name, KnownSince: p.KnownSince,
		RecordedAt: now, RecordedBy: by.PersonID, Facts: p.Facts, Version: f.version(by, p.EffectiveAt, p.Reason, hash)}
	if d.Tag == "" {
		var err error
		if d.Tag, err = freeTag(ctx, tx); err != nil {
			return Door{}, err
		}
	}
	inserted, err := tx.InsertDoor(ctx, d)
	if err != nil {
		return Door{}, err
	}
	if !inserted { // the id belongs to a door that these eyes do not see
		return Door{}, fault.New(fault.NotFound, "door_not_found")
	}
	if err := tx.InsertDoorVersion(ctx, d); err != nil {
		return Door{}, err
	}
	return d, f.recompute(ctx, tx, by, d.DoorID)
}

// freeTag gives the next tag, past those that were given by hand.
func freeTag(ctx context.Context, tx Tx) (Tag, error) {
	for {
		number, err := tx.NextDoorNumber(ctx)
		if err != nil {
			return "", err
		}
		tag, err := TagFor(number)
		if err != nil {
			return "", err
		}
		_, err = tx.DoorByTag(ctx, tag, AsOf{})
		if fault.Is(err, "door_not_found") {
			return tag, nil
		}
		if err != nil {
			return "", err
		}
	}
}

func (f *Fleet) reviseDoor(ctx context.Context, tx Tx, by identity.Actor, p DoorPut, present Door, site Site, hash [32]byte) (Door, error) {
	var faults fault.List
	if p.SiteID != present.SiteID {
		faults.Add("/site_id", "door_stays_on_site")
	}
	if p.Tag != "" && p.Tag != present.Tag {
		faults.Add("/tag", "door_keeps_tag", "tag", present.Tag.String())
	}
	if !p.KnownSince.IsZero() && p.KnownSince != present.KnownSince {
		faults.Add("/known_since", "door_keeps_known_since", "day", present.KnownSince.String())
	}
	if err := faults.Err(); err != nil {
		return Door{}, err
	}
	now := f.Now()
	at := p.EffectiveAt
	if at.IsZero() {
		at = now
	}
	if err := checkMoment("/effective_at", at, now, present.KnownSince, site); err != nil {
		return Door{}, err
	}
	then := present
	if !p.EffectiveAt.IsZero() { // said late, or again: what holds at that moment is what it is compared with
		earlier, err := tx.DoorByID(ctx, p.DoorID, AsOf{Effective: at})
		if err != nil && !fault.Is(err, "door_not_found") {
			return Door{}, err
		}
		then = earlier
	}
	if then.Version.SHA256 == hash && present.Name == p.Name {
		return present, nil
	}
	if err := checkVersionID(p.IfMatch, present.Version.VersionID); err != nil {
		return Door{}, err
	}
	if present.Name != p.Name {
		if err := tx.RenameDoor(ctx, p.DoorID, p.Name); err != nil {
			return Door{}, err
		}
		present.Name = p.Name
	}
	if then.Version.SHA256 == hash {
		return present, nil
	}
	d := present
	d.Facts, d.Version = p.Facts, f.version(by, at, p.Reason, hash)
	if err := tx.InsertDoorVersion(ctx, d); err != nil {
		return Door{}, err
	}
	if err := f.settleTrends(ctx, tx, d.DoorID); err != nil { // another rule basis has other limits
		return Door{}, err
	}
	if err := f.settleCalendarOf(ctx, tx, d.DoorID); err != nil { // and other intervals
		return Door{}, err
	}
	return d, f.recompute(ctx, tx, by, d.DoorID)
}

// version makes the version that a change writes.
func (f *Fleet) version(by identity.Actor, effectiveAt time.Time, reason string, hash [32]byte) Version {
	return Version{VersionID: f.NewID(), EffectiveAt: effectiveAt, RecordedAt: f.Now(), RecordedBy: by.PersonID, Reason: reason, SHA256: hash}
}

// checkMoment refuses what is said to be true before the door was known, or in the future.
func checkMoment(pointer string, at, now time.Time, knownSince duedate.Day, site Site) error {
	switch {
	case at.After(now.Add(5 * time.Minute)):
		return fault.At(pointer, "in_the_future")
	case duedate.DayIn(at, site.Location()).Before(knownSince):
		return fault.At(pointer, "before_the_door", "day", knownSince.String())
	}
	return nil
}

func (p *DoorPut) tidy() {
	tidy(&p.Name)
	tidy(&p.Reason)
	tidy(&p.Facts.A.Label)
	tidy(&p.Facts.B.Label)
	tidy(&p.Facts.InterlockGroup)
	tidy(&p.Facts.RuleBasis.Why)
	p.Facts.Modes = slices.Sorted(slices.Values(p.Facts.Modes)) // a copy, and empty rather than nil
	if p.Facts.Modes == nil {
		p.Facts.Modes = []string{}
	}
}

func (f *Fleet) checkDoor(p DoorPut) error {
	var faults fault.List
	checkLine(&faults, "/name", p.Name, 1, 200)
	checkText(&faults, "/reason", p.Reason, 1, 500)
	f.checkDay(&faults, "/known_since", p.KnownSince)
	f.checkInstant(&faults, "/effective_at", p.EffectiveAt)
	d := p.Facts
	checkOneOf(&faults, "/facts/kind", d.Kind, "sliding", "swinging", "folding", "revolving")
	checkOneOf(&faults, "/facts/energy", d.Energy, "full", "low", "assist", "unknown")
	checkOneOf(&faults, "/facts/traffic", d.Traffic, "one_way_in", "one_way_out", "two_way", "unknown")
	checkOneOf(&faults, "/facts/presence_by", d.PresenceBy, "overhead_sensor", "beams", "both", "none", "unknown")
	checkOneOf(&faults, "/facts/guide_rails", d.GuideRails, "fitted", "walls", "none", "unknown")
	for i, m := range d.Modes {
		checkOneOf(&faults, fmt.Sprintf("/facts/modes/%d", i), m, "day", "exit_only", "night_locked", "held_open", "emergency")
		if i > 0 && m == d.Modes[i-1] { // they are sorted
			faults.Add("/facts/modes", "mode_twice", "mode", m)
		}
	}
	checkLine(&faults, "/facts/interlock_group", d.InterlockGroup, 0, 60)
	d.ClearWidthM.check(&faults, "/facts/clear_width_m", 0.3, 12)
	d.HeaderDepthM.check(&faults, "/facts/header_depth_m", 0, 3)
	d.OpeningTimeS.check(&faults, "/facts/opening_time_s", 0.1, 120)
	d.ClosingTimeS.check(&faults, "/facts/closing_time_s", 0.1, 120)
	checkSide(&faults, "/facts/side_a", d.A)
	checkSide(&faults, "/facts/side_b", d.B)
	checkLeaves(&faults, d)
	f.checkRuleBasis(&faults, d)
	return faults.Err()
}

func (f *Fleet) checkRuleBasis(faults *fault.List, d DoorFacts) {
	basis := d.RuleBasis
	if basis == (RuleBasis{}) {
		return
	}
	switch pack, ok := f.Book.Pack(basis.PackID); {
	case !ok:
		faults.Add("/facts/rule_basis/pack", "pack_not_found", "pack", basis.PackID)
	case pack.Role != rulebook.Basis:
		faults.Add("/facts/rule_basis/pack", "pack_is_no_basis", "pack", basis.PackID)
	case !pack.IsFor(rulebook.DoorKind(d.Kind), rulebook.Energy(d.Energy)):
		faults.Add("/facts/rule_basis/pack", "pack_for_other_doors", "pack", basis.PackID)
	}
	if basis.Since.IsZero() {
		faults.Add("/facts/rule_basis/since", "date_missing")
	}
	f.checkDay(faults, "/facts/rule_basis/since", basis.Since)
	checkText(faults, "/facts/rule_basis/why", basis.Why, 1, 500)
}

// basisOf is the rule pack that judges a door: one without any rule while none is recorded.
func (f *Fleet) basisOf(d DoorFacts) (*rulebook.Pack, error) {
	if d.RuleBasis.PackID == "" {
		return &rulebook.Pack{}, nil
	}
	pack, ok := f.Book.Pack(d.RuleBasis.PackID)
	if !ok {
		return nil, fault.New(fault.Conflict, "pack_not_found", "pack", d.RuleBasis.PackID)
	}
	return pack, nil
}

func checkSide(faults *fault.List, pointer string, s SideFacts) {
	checkLine(faults, pointer+"/label", s.Label, 1, 60)
	checkOneOf(faults, pointer+"/activation", s.Activation, "sensor", "knowing_act", "both", "none", "unknown")
	if len(s.KeptClear) > 20 {
		faults.Add(pointer+"/kept_clear", "too_many", "most", 20)
	}
	for i, z := range s.KeptClear {
		at := fmt.Sprintf("%s/kept_clear/%d", pointer, i)
		checkLine(faults, at+"/what", z.What, 1, 100)
		if z.X0M >= z.X1M || z.Y0M >= z.Y1M {
			faults.Add(at, "rectangle_empty")
		}
		if z.X0M < -30 || z.X1M > 30 || z.Y0M < 0 || z.Y1M > 30 {
			faults.Add(at, "rectangle_too_far", "most", 30)
		}
	}
}

// checkLeaves holds each leaf against the kind of door that it is in.
func checkLeaves(faults *fault.List, d DoorFacts) {
	motion := map[string]string{"sliding": "slide", "swinging": "swing", "folding": "fold", "revolving": "revolve"}[d.Kind]
	if len(d.Leaves) < 1 || len(d.Leaves) > mostLeaves {
		faults.Add("/facts/leaves", "leaf_count", "least", 1, "greatest", mostLeaves)
	}
	for i, l := range d.Leaves {
		at := fmt.Sprintf("/facts/leaves/%d", i)
		if motion != "" && l.Motion != motion {
			faults.Add(at+"/motion", "leaf_motion_of_other_kind", "motion", l.Motion, "kind", d.Kind)
		}
		switch l.Motion {
		case "swing", "fold":
			checkOneOf(faults, at+"/hinge", l.Hinge, "left", "right", "unknown")
			checkOneOf(faults, at+"/opens_towards", l.OpensTowards, "a", "b", "both", "unknown")
		case "slide":
			checkOneOf(faults, at+"/hinge", l.Hinge, "none")
			checkOneOf(faults, at+"/opens_towards", l.OpensTowards, "left", "right", "both", "unknown")
		case "revolve":
			checkOneOf(faults, at+"/hinge", l.Hinge, "none")
			checkOneOf(faults, at+"/opens_towards", l.OpensTowards, "none")
		}
		l.WidthM.check(faults, at+"/width_m", 0.1, 6)
		l.HeightM.check(faults, at+"/height_m", 0.5, 8)
		l.MassKg.check(faults, at+"/mass_kg", 1, 1000)
	}
}

// Door gives a door as of two times.
func (f *Fleet) Door(ctx context.Context, by identity.Actor, id uuid.UUID, asOf AsOf) (d Door, err error) {
	err = f.Store.InTxReadOnly(ctx, by, func(ctx context.Context, tx Tx) error {
		d, err = tx.DoorByID(ctx, id, asOf)
		return err
	})
	return d, err
}

// DoorByTag gives the door that carries a tag, as it is now.
func (f *Fleet) DoorByTag(ctx context.Context, by identity.Actor, tag Tag) (d Door, err error) {
	err = f.Store.InTxReadOnly(ctx, by, func(ctx context.Context, tx Tx) error {
		d, err = tx.DoorByTag(ctx, tag, AsOf{})
		return err
	})
	return d, err
}

// Doors lists doors by tag, or by their next due days.
func (f *Fleet) Doors(ctx context.Context, by identity.Actor, q DoorQuery) (list []DoorLine, err error) {
	err = f.Store.InTxReadOnly(ctx, by, func(ctx context.Context, tx Tx) error {
		if q.State == "overdue" {
			if q.Today, err = f.todays(ctx, tx); err != nil {
				return err
			}
		}
		list, err = tx.DoorPage(ctx, q)
		return err
	})
	return list, err
}

// DoorHistory lists the versions of a door's facts, the newest first.
func (f *Fleet) DoorHistory(ctx context.Context, by identity.Actor, id uuid.UUID) (list []Version, err error) {
	err = f.Store.InTxReadOnly(ctx, by, func(ctx context.Context, tx Tx) error {
		if _, err := tx.DoorByID(ctx, id, AsOf{}); err != nil {
			return err
		}
		list, err = tx.DoorVersions(ctx, id)
		return err
	})
	return list, err
}
