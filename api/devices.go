package api

import (
	"cmp"
	"context"
	"errors"
	"net/http"
	"slices"
	"time"

	"github.com/danielgtaylor/huma/v2"
	"github.com/google/uuid"

	"lintel.example/lintel/internal/fault"
	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/identity"
	"lintel.example/lintel/internal/report"
	"lintel.example/lintel/internal/words"
)

type DevicePath struct {
	ComponentID uuid.UUID `path:"component_id" format:"uuid"`
}

// deviceFacts is how a device is mounted and set, on the wire.
type deviceFacts struct {
	AntennaID   *uuid.UUID        `json:"antenna_id,omitempty" format:"uuid"`
	Mount       deviceMount       `json:"mount"`
	Accessories []uuid.UUID       `json:"accessories,omitempty" maxItems:"8" doc:"From the header outwards."`
	Settings    deviceSettings    `json:"settings"`
	Steps       map[string]string `json:"steps,omitempty" doc:"Labels read at the device, by setting (reach_db: \"4\"), where the catalogue says in which steps its model is set: what is absent or unknown of the setting then is what the step is."`
	Fitted      *fleet.Fitted     `json:"fitted,omitempty" readOnly:"true" doc:"What a walk test says of the device; its range and tilt then count instead of the catalogue's and the mount's. Nobody sends it: accepting a fit puts it there."`
}

type deviceMount struct {
	HeightM  *length   `json:"height_m,omitempty" doc:"Above the finished floor."`
	OffsetXM *length   `json:"offset_x_m,omitempty" doc:"Along the opening, to the right of somebody with the door behind them."`
	OffsetYM *length   `json:"offset_y_m,omitempty" doc:"Away from the mid-plane of the closed leaf."`
	TiltDeg  *quantity `json:"tilt_deg,omitempty" doc:"From straight down (0) to the horizontal (90)."`
	YawDeg   *quantity `json:"yaw_deg,omitempty" doc:"Turn of the aim about the vertical, positive towards +x."`
}

type deviceSettings struct {
	ReachDB         *quantity `json:"reach_db,omitempty" doc:"Change of sensitivity relative to full reach, 0 or negative."`
	MotionDirection string    `json:"motion_direction" enum:"approach,departure,either,unknown"`
	HoldWhileMoving *bool     `json:"hold_while_moving,omitempty"`
	ConfirmTravelMM *quantity `json:"confirm_travel_mm,omitempty"`
	OutputHoldS     *quantity `json:"output_hold_s,omitempty"`
	OutputContact   string    `json:"output_contact" enum:"normally_open,normally_closed,unknown"`
}

type revisionBody struct {
	Standing    string      `json:"standing" enum:"intended,found,left" doc:"Planned in the office, or found or left at the door."`
	EffectiveAt *time.Time  `json:"effective_at,omitempty" doc:"True at the door from this instant on; now if absent."`
	Reason      string      `json:"reason" minLength:"1" maxLength:"500"`
	Device      deviceFacts `json:"device"`
}

type revisionPutIn struct {
	ComponentID uuid.UUID `path:"component_id" format:"uuid"`
	RevisionID  uuid.UUID `path:"revision_id" format:"uuid"`
	Body        revisionBody
}

type revisionItem struct {
	RevisionID  uuid.UUID   `json:"revision_id" format:"uuid"`
	ComponentID uuid.UUID   `json:"component_id" format:"uuid"`
	DoorID      uuid.UUID   `json:"door_id" format:"uuid"`
	Standing    string      `json:"standing"`
	EffectiveAt time.Time   `json:"effective_at"`
	RecordedAt  time.Time   `json:"recorded_at"`
	RecordedBy  uuid.UUID   `json:"recorded_by" format:"uuid"`
	Reason      string      `json:"reason"`
	VisitID     *uuid.UUID  `json:"visit_id,omitempty" format:"uuid"`
	Device      deviceFacts `json:"device"`
	Extent      *extentItem `json:"extent,omitempty" doc:"What it watches on the floor, or what is missing to say so."`
}

type extentItem struct {
	ModelVersion string   `json:"model_version"`
	Missing      []string `json:"missing" doc:"Not computable: these are unknown. Empty when computed."`
	WidthM       *float64 `json:"width_m,omitempty"`
	DepthM       *float64 `json:"depth_m,omitempty"`
	NearM        *float64 `json:"near_m,omitempty"`
	FarM         *float64 `json:"far_m,omitempty"`
	AreaM2       *float64 `json:"area_m2,omitempty"`
}

type revisionOut struct {
	Status int
	Body   revisionItem
}

type revisionListIn struct {
	DevicePath
	PageIn
}

type revisionListOut struct {
	Body struct {
		Revisions []revisionItem `json:"revisions"`
		PageOut
	}
}

// fieldItem is what a device watches now.
type fieldItem struct {
	ComponentID uuid.UUID         `json:"component_id" format:"uuid"`
	RevisionID  uuid.UUID         `json:"revision_id" format:"uuid"`
	Side        string            `json:"side"`
	Extent      extentItem        `json:"extent"`
	Fitted      *fleet.Fitted     `json:"fitted,omitempty" doc:"The walk test that it rests on; absent: the catalogue's range and the mount's tilt."`
	Polygons    [][][][2]float64  `json:"polygons" doc:"On the floor, in the side's frame: polygons of closed rings, the outer one counter-clockwise, then holes."`
	OwnLeaf     string            `json:"own_leaf,omitempty" enum:"not_seen,seen,masked,not_computable" doc:"Whether the device sees the door's own moving leaf; masked: the control ignores it meanwhile. Computed, not verified on site: staff only."`
	Leaves      []fleet.LeafSight `json:"leaves,omitempty" doc:"The same of each leaf that moves on this side, with the opening angles between which something of it is seen: staff only."`
}

type fieldOut struct {
	Body fieldItem
}

type coverageItem struct {
	Side         string   `json:"side"`
	Zone         string   `json:"zone" doc:"The zone of the rule pack."`
	RulePack     string   `json:"rule_pack"`
	ModelVersion string   `json:"model_version"`
	Missing      []string `json:"missing" doc:"What is unknown; then nothing is claimed."`
	RequiredM2   *float64 `json:"required_m2,omitempty"`
	CoveredShare *float64 `json:"covered_share,omitempty" doc:"Of the required area, 0 to 1."`
	GapM         *float64 `json:"gap_m,omitempty" doc:"Diameter of the greatest circle that fits into a gap."`
	Shortfall    *bool    `json:"shortfall,omitempty" doc:"A gap is large enough for the rule's test body."`
	Unfit        []string `json:"unfit" doc:"Components that are wired for the zone and do not count: they tell something else (motion only, where somebody stands), or let go too soon."`
}

type coverageOut struct {
	Body struct {
		Coverage []coverageItem `json:"coverage"`
		Caution  string         `json:"caution"`
	}
}

type drawingIn struct {
	DoorPath
	Side   string `path:"side" enum:"a,b"`
	Format string `query:"format" enum:"svg,pdf,png" default:"svg" doc:"An SVG or PNG holds the drawing alone; a PDF is a sheet to print at 100 %, with a length to check it by and the same in words."`
	View   string `query:"view" enum:"top,elevation" default:"top" doc:"From above, or along the wall."`
	Scale  int    `query:"scale" minimum:"5" maximum:"5000" doc:"n of 1:n. If absent, the largest usual scale (1:20, 1:50, 1:100, …; 1:24, 1:48, 1:96, … in US units) with room on A4 or Letter."`
	Units  string `query:"units" enum:"metric,us" doc:"Of lengths; if absent, those of who asks."`
}

type drawingOut struct {
	ContentType string `header:"Content-Type"`
	Body        []byte
}

func (a *API) devices() {
	add(a, operation("revision-list", http.MethodGet, "/v1/devices/{component_id}/revisions", identity.ActReadRegister, "How a device was mounted and set, the newest first"), a.revisionList)
	add(a, operation("revision-put", http.MethodPut, "/v1/devices/{component_id}/revisions/{revision_id}", identity.ActPlanDevice, "Record how a device is mounted and set; what follows is recomputed"), a.revisionPut)
	add(a, operation("field-get", http.MethodGet, "/v1/devices/{component_id}/field", identity.ActReadRegister, "What a device watches now"), a.fieldGet)
	add(a, operation("coverage-get", http.MethodGet, "/v1/doors/{door_id}/coverage", identity.ActReadOffice, "How far the zones that the rules ask for are covered"), a.coverageGet)
	drawing := operation("drawing-get", http.MethodGet, "/v1/doors/{door_id}/sides/{side}/drawing", identity.ActReadRegister, "One side of a door, drawn to scale")
	drawing.Responses = map[string]*huma.Response{"200": {Description: "The drawing", Content: map[string]*huma.MediaType{}}}
	for _, kind := range drawingTypes() {
		drawing.Responses["200"].Content[kind] = &huma.MediaType{Schema: &huma.Schema{Type: "string", Format: "binary"}}
	}
	add(a, drawing, a.drawingGet)
}

func (a *API) revisionList(ctx context.Context, by identity.Actor, in *revisionListIn) (*revisionListOut, error) {
	var key instantKey
	if err := readCursor(in.After, &key); err != nil {
		return nil, err
	}
	list, extents, err := a.Fleet.Revisions(ctx, by, fleet.RevisionQuery{ComponentID: in.ComponentID, BeforeAt: key.At, BeforeID: key.ID, Limit: in.Limit})
	if err != nil {
		return nil, err
	}
	out := &revisionListOut{}
	out.Body.Revisions = make([]revisionItem, len(list))
	for i, r := range list {
		out.Body.Revisions[i] = newRevisionItem(by, r)
		if e, ok := extents[r.RevisionID]; ok {
			item := newExtentItem(e)
			out.Body.Revisions[i].Extent = &item
		}
	}
	if len(list) == in.Limit {
		last := list[len(list)-1]
		out.Body.Next = cursor(instantKey{last.EffectiveAt, last.RevisionID})
	}
	return out, nil
}

func (a *API) revisionPut(ctx context.Context, by identity.Actor, in *revisionPutIn) (*revisionOut, error) {
	var read reader
	r := fleet.Revision{ComponentID: in.ComponentID, RevisionID: in.RevisionID, Standing: in.Body.Standing, Reason: in.Body.Reason,
		Device: read.device("/device", in.Body.Device)}
	r.EffectiveAt = instant(in.Body.EffectiveAt)
	if err := read.faults.Err(); err != nil {
		return nil, err
	}
	saved, isNew, err := a.Fleet.PutRevision(ctx, by, r)
	if err != nil {
		return nil, err
	}
	return &revisionOut{Status: created(isNew), Body: newRevisionItem(by, saved)}, nil
}

func (a *API) fieldGet(ctx context.Context, by identity.Actor, in *DevicePath) (*fieldOut, error) {
	w, err := a.Fleet.Watched(ctx, by, in.ComponentID)
	if err != nil {
		return nil, err
	}
	return &fieldOut{Body: fieldItem{ComponentID: in.ComponentID, RevisionID: w.RevisionID, Side: w.Side, Extent: newExtentItem(w.Extent),
		Fitted: w.Fitted, Polygons: w.Polygons, OwnLeaf: w.OwnLeaf, Leaves: w.Leaves}}, nil
}

func (a *API) coverageGet(ctx context.Context, by identity.Actor, in *DoorPath) (*coverageOut, error) {
	list, err := a.Fleet.Coverages(ctx, by, in.DoorID)
	if err != nil {
		return nil, err
	}
	out := &coverageOut{}
	out.Body.Coverage = make([]coverageItem, len(list))
	for i, c := range list {
		out.Body.Coverage[i] = newCoverageItem(c)
	}
	out.Body.Caution = a.text(by, "caution.computed")
	return out, nil
}

func (a *API) drawingGet(ctx context.Context, by identity.Actor, in *drawingIn) (*drawingOut, error) {
	doc, err := a.Fleet.Compliance(ctx, by, in.DoorID)
	if err != nil {
		return nil, err
	}
	units := report.Units(cmp.Or(in.Units, string(by.Units)))
	texts := a.Words.Printer(by.Language, words.Units(units))
	order := report.DrawingOrder{View: report.View(in.View), Form: report.Form(in.Format), Denominator: float64(in.Scale), Paper: report.A4,
		Name: doc.Door.Name + ", " + doc.Door.Tag, Line: doc.Site.Name, Language: texts.Language(), Made: a.Now()}
	if units == report.US {
		order.Paper = report.Letter
	}
	side := slices.IndexFunc(doc.Sides, func(s fleet.ReportSide) bool { return s.Side == in.Side })
	if side < 0 {
		return nil, fault.New(fault.NotFound, "drawing_without_rules")
	}
	file, err := report.Draw(texts, report.Plans(doc, texts, units)[side], order)
	if err != nil {
		return nil, a.undrawn(ctx, err)
	}
	return &drawingOut{ContentType: drawingTypes()[in.Format], Body: file}, nil
}

func drawingTypes() map[string]string {
	return map[string]string{"svg": "image/svg+xml", "pdf": "application/pdf", "png": "image/png"}
}

// undrawn says what of an order cannot be.
func (a *API) undrawn(ctx context.Context, err error) error {
	var room report.NoRoom
	var nothing report.NothingToSee
	switch {
	case errors.As(err, &room) && room.Fits != 0:
		return a.parameterProblem(ctx, "scale", fault.New(fault.Invalid, "drawing_no_room", "scale", room.Denominator, "fits", room.Fits))
	case errors.As(err, &nothing):
		return a.parameterProblem(ctx, "view", fault.New(fault.Invalid, "drawing_of_nothing"))
	}
	return err
}

// device reads how a device is mounted and set; pointer is where it stands in the body.
func (l *reader) device(pointer string, d deviceFacts) fleet.DeviceFacts {
	m, s := d.Mount, d.Settings
	return fleet.DeviceFacts{AntennaID: d.AntennaID, Accessories: append([]uuid.UUID{}, d.Accessories...), Steps: d.Steps,
		Mount: fleet.MountFacts{HeightM: l.length(pointer+"/mount/height_m", m.HeightM), OffsetXM: l.offset(pointer+"/mount/offset_x_m", m.OffsetXM),
			OffsetYM: l.offset(pointer+"/mount/offset_y_m", m.OffsetYM), TiltDeg: m.TiltDeg.fleet(), YawDeg: m.YawDeg.fleet()},
		Settings: fleet.Settings{ReachDB: s.ReachDB.fleet(), MotionDirection: s.MotionDirection, HoldWhileMoving: s.HoldWhileMoving,
			ConfirmTravelMM: s.ConfirmTravelMM.fleet(), OutputHoldS: s.OutputHoldS.fleet(), OutputContact: s.OutputContact}}
}

func newRevisionItem(by identity.Actor, r fleet.Revision) revisionItem {
	m, s := r.Device.Mount, r.Device.Settings
	return revisionItem{RevisionID: r.RevisionID, ComponentID: r.ComponentID, DoorID: r.DoorID, Standing: r.Standing, EffectiveAt: r.EffectiveAt,
		RecordedAt: r.RecordedAt, RecordedBy: r.RecordedBy, Reason: r.Reason, VisitID: r.VisitID,
		Device: deviceFacts{AntennaID: r.Device.AntennaID, Accessories: r.Device.Accessories,
			Mount: deviceMount{HeightM: show(by, m.HeightM), OffsetXM: show(by, m.OffsetXM), OffsetYM: show(by, m.OffsetYM),
				TiltDeg: newQuantity(m.TiltDeg), YawDeg: newQuantity(m.YawDeg)},
			Settings: deviceSettings{ReachDB: newQuantity(s.ReachDB), MotionDirection: s.MotionDirection, HoldWhileMoving: s.HoldWhileMoving,
				ConfirmTravelMM: newQuantity(s.ConfirmTravelMM), OutputHoldS: newQuantity(s.OutputHoldS), OutputContact: s.OutputContact},
			Steps: r.Device.Steps, Fitted: r.Device.Fitted}}
}

func newCoverageItem(c fleet.Coverage) coverageItem {
	return coverageItem{Side: c.Side, Zone: c.Zone, RulePack: c.RulePack, ModelVersion: c.ModelVersion, Missing: c.Missing,
		RequiredM2: c.RequiredM2, CoveredShare: c.CoveredShare, GapM: c.GapM, Shortfall: c.Shortfall, Unfit: c.Unfit}
}

func newExtentItem(e fleet.Extent) extentItem {
	return extentItem{ModelVersion: e.ModelVersion, Missing: e.Missing, WidthM: e.WidthM, DepthM: e.DepthM, NearM: e.NearM, FarM: e.FarM, AreaM2: e.AreaM2}
}
