package api

import (
	"context"
	"net/http"
	"strconv"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/identity"
)

type DoorPath struct {
	DoorID uuid.UUID `path:"door_id" format:"uuid"`
}

// doorBody is what a client says of a door.
type doorBody struct {
	SiteID      uuid.UUID  `json:"site_id" format:"uuid"`
	Tag         string     `json:"tag,omitempty" maxLength:"20" doc:"Eight digits, the last a check digit (ISO 7064 MOD 11,10); the next free one if absent."`
	Name        string     `json:"name" minLength:"1" maxLength:"200"`
	KnownSince  string     `json:"known_since,omitempty" format:"date" doc:"No fact about the door is older. The day of effective_at if absent."`
	EffectiveAt *time.Time `json:"effective_at,omitempty" doc:"True at the door from this instant on; now if absent."`
	Reason      string     `json:"reason" minLength:"1" maxLength:"500" doc:"Why this is said or changed."`
	Facts       doorFacts  `json:"facts"`
}

type doorFacts struct {
	Kind            string     `json:"kind" enum:"sliding,swinging,folding,revolving"`
	Energy          string     `json:"energy" enum:"full,low,assist,unknown"`
	Traffic         string     `json:"traffic" enum:"one_way_in,one_way_out,two_way,unknown"`
	PresenceBy      string     `json:"presence_by" enum:"overhead_sensor,beams,both,none,unknown" doc:"What notices somebody who stands in the doorway."`
	SideA           sideFacts  `json:"side_a"`
	SideB           sideFacts  `json:"side_b"`
	ClearWidthM     *length    `json:"clear_width_m,omitempty"`
	HeaderDepthM    *length    `json:"header_depth_m,omitempty"`
	OpeningTimeS    *quantity  `json:"opening_time_s,omitempty"`
	ClosingTimeS    *quantity  `json:"closing_time_s,omitempty"`
	Modes           []string   `json:"modes,omitempty" maxItems:"5" enum:"day,exit_only,night_locked,held_open,emergency"`
	GuideRails      string     `json:"guide_rails" enum:"fitted,walls,none,unknown"`
	InterlockGroup  string     `json:"interlock_group,omitempty" maxLength:"60"`
	Egress          *bool      `json:"egress,omitempty" doc:"In an egress path; absent when unknown."`
	FireRated       *bool      `json:"fire_rated,omitempty"`
	Interior        *bool      `json:"interior,omitempty" doc:"No side of it is outdoors."`
	VulnerableUsers *bool      `json:"vulnerable_users,omitempty" doc:"Many users are old, frail, disabled or children."`
	RuleBasis       ruleBasis  `json:"rule_basis"`
	Leaves          []doorLeaf `json:"leaves" minItems:"1" maxItems:"8"`
}

type sideFacts struct {
	Label      string          `json:"label" minLength:"1" maxLength:"60" doc:"The people's own word for the side."`
	Activation string          `json:"activation" enum:"sensor,knowing_act,both,none,unknown"`
	KeptClear  []keptClearZone `json:"kept_clear,omitempty" maxItems:"20"`
}

type keptClearZone struct {
	What string  `json:"what" minLength:"1" maxLength:"100"`
	X0M  float64 `json:"x0_m" minimum:"-30" maximum:"30" doc:"In the side's frame: x along the opening, to the right of somebody with the door behind them."`
	X1M  float64 `json:"x1_m" minimum:"-30" maximum:"30"`
	Y0M  float64 `json:"y0_m" minimum:"0" maximum:"30" doc:"Away from the door."`
	Y1M  float64 `json:"y1_m" minimum:"0" maximum:"30"`
}

type ruleBasis struct {
	Pack  string `json:"pack,omitempty" maxLength:"80" doc:"The edition that the door must meet; like the others absent while nobody has recorded it."`
	Since string `json:"since,omitempty" format:"date"`
	Why   string `json:"why,omitempty" maxLength:"500"`
}

type doorLeaf struct {
	Motion       string    `json:"motion" enum:"swing,slide,fold,revolve"`
	Hinge        string    `json:"hinge" enum:"left,right,none,unknown" doc:"As seen from side A."`
	OpensTowards string    `json:"opens_towards" enum:"a,b,both,left,right,none,unknown" doc:"Swing: the side; slide: the direction as seen from side A."`
	WidthM       *length   `json:"width_m,omitempty"`
	HeightM      *length   `json:"height_m,omitempty"`
	MassKg       *quantity `json:"mass_kg,omitempty"`
}

// doorItem is a door as it is answered.
type doorItem struct {
	CustomerID uuid.UUID  `json:"customer_id" format:"uuid"`
	SiteID     uuid.UUID  `json:"site_id" format:"uuid"`
	DoorID     uuid.UUID  `json:"door_id" format:"uuid"`
	Tag        string     `json:"tag" doc:"In two groups, for the telephone."`
	Name       string     `json:"name"`
	KnownSince string     `json:"known_since" format:"date"`
	Facts      doorFacts  `json:"facts"`
	Version    versionOut `json:"version"`
}

type doorOut struct {
	Status int
	ETag   string `header:"ETag"`
	Body   doorItem
}

type doorPutIn struct {
	DoorPath
	IfMatchID
	Body doorBody
}

type doorGetIn struct {
	DoorPath
	AsOfIn
}

type doorByTagIn struct {
	Tag string `path:"tag" maxLength:"20"`
}

type doorListIn struct {
	PageIn
	Search     string `query:"search" maxLength:"100" doc:"Part of the name, or the beginning of the tag."`
	CustomerID string `query:"customer_id" format:"uuid"`
	SiteID     string `query:"site_id" format:"uuid"`
	Kind       string `query:"kind" enum:"sliding,swinging,folding,revolving"`
}

type doorLine struct {
	CustomerID   uuid.UUID `json:"customer_id" format:"uuid"`
	SiteID       uuid.UUID `json:"site_id" format:"uuid"`
	DoorID       uuid.UUID `json:"door_id" format:"uuid"`
	Tag          string    `json:"tag"`
	Name         string    `json:"name"`
	SiteName     string    `json:"site_name"`
	Kind         string    `json:"kind"`
	NextDue      string    `json:"next_due,omitempty" format:"date" doc:"Absent without an inspection plan."`
	OutOfService string    `json:"out_of_service,omitempty" enum:"unsecured,secured" doc:"Unsafe: not yet secured, or secured."`
}

type doorListOut struct {
	Body struct {
		Doors []doorLine `json:"doors"`
		PageOut
	}
}

type doorVersionsOut struct {
	Body struct {
		Versions []versionOut `json:"versions"`
	}
}

func (a *API) doors() {
	add(a, operation("door-list", http.MethodGet, "/v1/doors", identity.ActReadRegister, "Doors by tag"), a.doorList)
	add(a, operation("door-get", http.MethodGet, "/v1/doors/{door_id}", identity.ActReadRegister, "One door, as of two times"), a.doorGet)
	add(a, operation("door-by-tag", http.MethodGet, "/v1/doors/by-tag/{tag}", identity.ActReadRegister, "The door that carries a tag"), a.doorByTag)
	add(a, operation("door-put", http.MethodPut, "/v1/doors/{door_id}", identity.ActWriteRegister, "Register a door or give it new facts"), a.doorPut)
	add(a, operation("door-versions", http.MethodGet, "/v1/doors/{door_id}/versions", identity.ActReadRegister, "What was said of a door and when"), a.doorVersions)
}

func (a *API) doorList(ctx context.Context, by identity.Actor, in *doorListIn) (*doorListOut, error) {
	q := fleet.DoorQuery{Search: in.Search, Customer: optionalID(in.CustomerID), Site: optionalID(in.SiteID), Kind: in.Kind, Limit: in.Limit}
	if err := readCursor(in.After, &q.AfterTag); err != nil {
		return nil, err
	}
	list, err := a.Fleet.Doors(ctx, by, q)
	if err != nil {
		return nil, err
	}
	out := &doorListOut{}
	out.Body.Doors = make([]doorLine, len(list))
	for i, d := range list {
		out.Body.Doors[i] = doorLine{CustomerID: d.CustomerID, SiteID: d.SiteID, DoorID: d.DoorID, Tag: d.Tag.String(), Name: d.Name,
			SiteName: d.SiteName, Kind: d.Kind, NextDue: d.NextDue.String(), OutOfService: d.OutOfService}
	}
	if len(list) == in.Limit {
		out.Body.Next = cursor(list[len(list)-1].Tag)
	}
	return out, nil
}

func (a *API) doorGet(ctx context.Context, by identity.Actor, in *doorGetIn) (*doorOut, error) {
	d, err := a.Fleet.Door(ctx, by, in.DoorID, in.AsOfIn.fleet())
	if err != nil {
		return nil, err
	}
	return newDoorOut(by, d, false), nil
}

func (a *API) doorByTag(ctx context.Context, by identity.Actor, in *doorByTagIn) (*doorOut, error) {
	tag, err := fleet.ParseTag(in.Tag)
	if err != nil {
		return nil, err
	}
	d, err := a.Fleet.DoorByTag(ctx, by, tag)
	if err != nil {
		return nil, err
	}
	return newDoorOut(by, d, false), nil
}

func (a *API) doorPut(ctx context.Context, by identity.Actor, in *doorPutIn) (*doorOut, error) {
	put, err := in.fleet()
	if err != nil {
		return nil, err
	}
	d, isNew, err := a.Fleet.PutDoor(ctx, by, put)
	if err != nil {
		return nil, err
	}
	return newDoorOut(by, d, isNew), nil
}

func (a *API) doorVersions(ctx context.Context, by identity.Actor, in *DoorPath) (*doorVersionsOut, error) {
	list, err := a.Fleet.DoorHistory(ctx, by, in.DoorID)
	if err != nil {
		return nil, err
	}
	out := &doorVersionsOut{}
	out.Body.Versions = make([]versionOut, len(list))
	for i, v := range list {
		out.Body.Versions[i] = newVersionOut(v)
	}
	return out, nil
}

// fleet reads the wire: shapes are checked by huma, meaning by fleet; here only texts that stand for values are read.
func (in *doorPutIn) fleet() (fleet.DoorPut, error) {
	b := in.Body
	p := fleet.DoorPut{DoorID: in.DoorID, SiteID: b.SiteID, Name: b.Name, Reason: b.Reason}
	var err error
	if p.IfMatch, err = in.version(); err != nil {
		return p, err
	}
	p.EffectiveAt = instant(b.EffectiveAt)
	var read reader
	if b.Tag != "" {
		if p.Tag, err = fleet.ParseTag(b.Tag); err != nil {
			read.at("/tag", err)
		}
	}
	p.KnownSince = read.day("/known_since", b.KnownSince)
	f := b.Facts
	p.Facts = fleet.DoorFacts{Kind: f.Kind, Energy: f.Energy, Traffic: f.Traffic, PresenceBy: f.PresenceBy,
		A: f.SideA.fleet(), B: f.SideB.fleet(),
		ClearWidthM: read.length("/facts/clear_width_m", f.ClearWidthM), HeaderDepthM: read.length("/facts/header_depth_m", f.HeaderDepthM),
		OpeningTimeS: f.OpeningTimeS.fleet(), ClosingTimeS: f.ClosingTimeS.fleet(),
		Modes: append([]string{}, f.Modes...), GuideRails: f.GuideRails, InterlockGroup: f.InterlockGroup,
		Egress: f.Egress, FireRated: f.FireRated, Interior: f.Interior, VulnerableUsers: f.VulnerableUsers,
		RuleBasis: fleet.RuleBasis{PackID: f.RuleBasis.Pack, Since: read.day("/facts/rule_basis/since", f.RuleBasis.Since), Why: f.RuleBasis.Why}}
	for i, l := range f.Leaves {
		at := "/facts/leaves/" + strconv.Itoa(i)
		p.Facts.Leaves = append(p.Facts.Leaves, fleet.Leaf{Motion: l.Motion, Hinge: l.Hinge, OpensTowards: l.OpensTowards,
			WidthM: read.length(at+"/width_m", l.WidthM), HeightM: read.length(at+"/height_m", l.HeightM), MassKg: l.MassKg.fleet()})
	}
	return p, read.faults.Err()
}

func (s sideFacts) fleet() fleet.SideFacts {
	out := fleet.SideFacts{Label: s.Label, Activation: s.Activation}
	for _, z := range s.KeptClear {
		out.KeptClear = append(out.KeptClear, fleet.KeptClearZone(z))
	}
	return out
}

func newDoorOut(by identity.Actor, d fleet.Door, isNew bool) *doorOut {
	f := d.Facts
	item := doorItem{CustomerID: d.CustomerID, SiteID: d.SiteID, DoorID: d.DoorID, Tag: d.Tag.String(), Name: d.Name,
		KnownSince: d.KnownSince.String(), Version: newVersionOut(d.Version),
		Facts: doorFacts{Kind: f.Kind, Energy: f.Energy, Traffic: f.Traffic, PresenceBy: f.PresenceBy,
			SideA: newSideFacts(f.A), SideB: newSideFacts(f.B), ClearWidthM: show(by, f.ClearWidthM), HeaderDepthM: show(by, f.HeaderDepthM),
			OpeningTimeS: newQuantity(f.OpeningTimeS), ClosingTimeS: newQuantity(f.ClosingTimeS), Modes: f.Modes, GuideRails: f.GuideRails,
			InterlockGroup: f.InterlockGroup, Egress: f.Egress, FireRated: f.FireRated, Interior: f.Interior, VulnerableUsers: f.VulnerableUsers,
			RuleBasis: ruleBasis{Pack: f.RuleBasis.PackID, Since: f.RuleBasis.Since.String(), Why: f.RuleBasis.Why}}}
	for _, l := range f.Leaves {
		item.Facts.Leaves = append(item.Facts.Leaves, doorLeaf{Motion: l.Motion, Hinge: l.Hinge, OpensTowards: l.OpensTowards,
			WidthM: show(by, l.WidthM), HeightM: show(by, l.HeightM), MassKg: newQuantity(l.MassKg)})
	}
	return &doorOut{Status: created(isNew), ETag: etagID(d.Version.VersionID), Body: item}
}

func newSideFacts(s fleet.SideFacts) sideFacts {
	out := sideFacts{Label: s.Label, Activation: s.Activation}
	for _, z := range s.KeptClear {
		out.KeptClear = append(out.KeptClear, keptClearZone(z))
	}
	return out
}

// optionalID reads an id from the query, whose form huma has checked; none is the zero id.
func optionalID(text string) uuid.UUID {
	id, _ := uuid.Parse(text)
	return id
}

// instant reads an instant that may be absent, which is the zero one. One that is given must not be taken for that.
func instant(given *time.Time) time.Time {
	switch {
	case given == nil:
		return time.Time{}
	case given.IsZero():
		return given.Add(1)
	}
	return *given
}

// day reads a civil date; an absent one is the zero day.
func (l *reader) day(pointer, text string) duedate.Day {
	if text == "" {
		return duedate.Day{}
	}
	d, err := duedate.ParseDay(text)
	if err != nil {
		l.faults.Add(pointer, "date_unreadable")
	}
	return d
}
