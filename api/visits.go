package api

import (
	"context"
	"encoding/json"
	"net/http"
	"strconv"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/identity"
	"lintel.example/lintel/internal/rulebook"
	"lintel.example/lintel/internal/seal"
)

type VisitPath struct {
	VisitID uuid.UUID `path:"visit_id" format:"uuid"`
}

// attendance is who came where, when and for which doors.
type attendance struct {
	SiteID    uuid.UUID     `json:"site_id" format:"uuid"`
	ArrivedAt time.Time     `json:"arrived_at" doc:"By the device's clock."`
	People    []uuid.UUID   `json:"people" minItems:"1" maxItems:"20"`
	Doors     []doorOfVisit `json:"doors" minItems:"1" maxItems:"200"`
	Note      string        `json:"note,omitempty" maxLength:"2000"`
}

type doorOfVisit struct {
	DoorID     uuid.UUID   `json:"door_id" format:"uuid"`
	WorkOrders []uuid.UUID `json:"work_orders,omitempty" maxItems:"50" doc:"The work orders that it serves at this door."`
}

type VisitItem struct {
	VisitID      uuid.UUID   `json:"visit_id" format:"uuid"`
	CustomerID   uuid.UUID   `json:"customer_id" format:"uuid"`
	SiteID       uuid.UUID   `json:"site_id" format:"uuid"`
	Attendance   *attendance `json:"attendance,omitempty" doc:"Absent while only pieces have arrived."`
	SHA256       *seal.Hash  `json:"sha256,omitempty" doc:"Of the attendance as canonical JSON."`
	ReceivedAt   time.Time   `json:"received_at"`
	SignedAt     *time.Time  `json:"signed_at,omitempty" doc:"Absent: not signed off."`
	SignedBy     *uuid.UUID  `json:"signed_by,omitempty" format:"uuid"`
	RecordSHA256 *seal.Hash  `json:"record_sha256,omitempty" doc:"Of the signed record."`
}

func newVisitItem(v fleet.Visit) VisitItem {
	item := VisitItem{VisitID: v.VisitID, CustomerID: v.CustomerID, SiteID: v.SiteID, ReceivedAt: v.ReceivedAt, SignedAt: v.SignedAt, SignedBy: v.SignedBy}
	if a := v.Attendance; a != nil {
		hash := seal.Hash(v.SHA256)
		item.SHA256 = &hash
		item.Attendance = &attendance{SiteID: a.SiteID, ArrivedAt: a.ArrivedAt, People: a.People, Note: a.Note, Doors: make([]doorOfVisit, len(a.Doors))}
		for i, d := range a.Doors {
			item.Attendance.Doors[i] = doorOfVisit(d)
		}
	}
	if v.SignedAt != nil {
		hash := seal.Hash(v.RecordSHA256)
		item.RecordSHA256 = &hash
	}
	return item
}

// entryBody is a piece of a visit on the wire: exactly the member that its kind names.
type entryBody struct {
	DoorID       uuid.UUID          `json:"door_id" format:"uuid"`
	Kind         string             `json:"kind" enum:"safe_work,reading,force_course,positions,walk_test,left_out,photo,settings,finding,securing,adjustment,mending,part,function_test,decision,dismissal,note,conclusion"`
	ObservedAt   time.Time          `json:"observed_at" doc:"By the device's clock."`
	Corrects     *uuid.UUID         `json:"corrects,omitempty" format:"uuid" doc:"The entry of the same door, observed before, that no longer counts."`
	Because      string             `json:"because,omitempty" maxLength:"500" doc:"Why it corrects; must be said."`
	Reading      *entryReading      `json:"reading,omitempty"`
	ForceCourse  *entryForceCourse  `json:"force_course,omitempty"`
	Positions    *entryPositions    `json:"positions,omitempty"`
	WalkTest     *entryWalkTest     `json:"walk_test,omitempty"`
	Photo        *entryPhoto        `json:"photo,omitempty"`
	Settings     *entrySettings     `json:"settings,omitempty"`
	Finding      *entryFinding      `json:"finding,omitempty"`
	Securing     *entrySecuring     `json:"securing,omitempty"`
	Mending      *entryMending      `json:"mending,omitempty"`
	Conclusion   *entryConclusion   `json:"conclusion,omitempty"`
	Note         *entryNote         `json:"note,omitempty"`
	Part         *entryPart         `json:"part,omitempty"`
	SafeWork     *entrySafeWork     `json:"safe_work,omitempty"`
	LeftOut      *entryLeftOut      `json:"left_out,omitempty"`
	Adjustment   *entryAdjustment   `json:"adjustment,omitempty"`
	FunctionTest *entryFunctionTest `json:"function_test,omitempty"`
	Decision     *entryDecision     `json:"decision,omitempty"`
	Dismissal    *entryDismissal    `json:"dismissal,omitempty"`
}

type entryReading struct {
	Name         string     `json:"name" minLength:"1" maxLength:"80" doc:"From the list of readings (GET /v1/rule-packs), or own.… of a question that a pack of the company's asks (GET /v1/rule-packs/{pack})."`
	Value        *float64   `json:"value,omitempty" doc:"In the unit that ends the name."`
	Yes          *bool      `json:"yes,omitempty"`
	Text         string     `json:"text,omitempty" maxLength:"1000" doc:"Answer to a question of the company's: one of its choices, or a text."`
	Question     string     `json:"question,omitempty" maxLength:"200" doc:"Of a reading named own.…, and required there: the question's title, as it was asked."`
	Leaf         int        `json:"leaf,omitempty" minimum:"1" maximum:"8" doc:"Which leaf it was read at, in the order of the door's facts; absent: the door as a whole."`
	Side         string     `json:"side,omitempty" enum:"a,b" doc:"Which side it was read at; absent: both."`
	Uncertainty  *float64   `json:"uncertainty,omitempty" doc:"Expanded uncertainty of the value (coverage factor k = 2), in its unit; absent: nobody states one."`
	InstrumentID *uuid.UUID `json:"instrument_id,omitempty" format:"uuid" doc:"What it was read with."`
}

// entryForceCourse is a force over time that a gauge recorded. What it came to is in the entry as it is recorded.
type entryForceCourse struct {
	CSV          string     `json:"csv" minLength:"1" maxLength:"400000" doc:"As the gauge wrote it: time and force, parted by a tab, a semicolon or a comma, with a heading that may name columns and units (s, ms; N, lbf, kgf). At most 400,000 bytes. It is kept as it is; the entry carries its SHA-256 and the readings: the peak, and the force from 0.75 s after the contact on, which a shorter record does not have."`
	Leaf         int        `json:"leaf,omitempty" minimum:"1" maximum:"8" doc:"In the order of the door's facts; absent: the door as a whole."`
	GapM         *float64   `json:"gap_m,omitempty" minimum:"0" maximum:"10" doc:"Width of the gap at which it was measured. Recorded; no limit is chosen by it."`
	UncertaintyN *float64   `json:"uncertainty_n,omitempty" doc:"Expanded uncertainty of the gauge (coverage factor k = 2); absent: that of the instrument, where one is named."`
	InstrumentID *uuid.UUID `json:"instrument_id,omitempty" format:"uuid" doc:"The gauge."`
}

// entryPositions are the positions of a test body that were tried on one side.
type entryPositions struct {
	Zone     string          `json:"zone" enum:"activation,presence"`
	Side     string          `json:"side" enum:"a,b"`
	Body     string          `json:"body" minLength:"1" maxLength:"200" doc:"What stood there."`
	SpacingM float64         `json:"spacing_m" minimum:"0.05" maximum:"1" doc:"Neighbours stand no further apart."`
	Tried    []positionTried `json:"tried" minItems:"4" maxItems:"400" doc:"A grid of at least two columns and two rows. The zone is the largest rectangle, from the row nearest to the door on, in which everything was seen; its edge lies anywhere between two positions, which is the uncertainty of the readings."`
}

type positionTried struct {
	XM   float64 `json:"x_m" minimum:"-12" maximum:"12" doc:"From the middle of the opening to the right of somebody who stands in it with the door behind them."`
	YM   float64 `json:"y_m" minimum:"0" maximum:"12" doc:"From the closed leaf."`
	Seen bool    `json:"seen"`
}

// entryWalkTest is a walk test of one device.
type entryWalkTest struct {
	ComponentID uuid.UUID `json:"component_id" format:"uuid" doc:"The device."`
	WalkTestBody
}

type entryPhoto struct {
	SHA256 string `json:"sha256" pattern:"^[0-9a-f]{64}$" doc:"The bytes go to PUT /v1/photos/{sha256}, before or after."`
	What   string `json:"what,omitempty" maxLength:"300"`
}

type entrySettings struct {
	ComponentID uuid.UUID   `json:"component_id" format:"uuid"`
	Standing    string      `json:"standing" enum:"found,left"`
	Device      deviceFacts `json:"device"`
}

type entryFinding struct {
	Severity  string     `json:"severity" enum:"unsafe,deficient,advisory" doc:"Unsafe takes the door out of service at once."`
	What      string     `json:"what" minLength:"1" maxLength:"2000"`
	Rule      string     `json:"rule,omitempty" maxLength:"120" doc:"Of the rule pack. By it a finding is known again when it comes back."`
	Confirms  *uuid.UUID `json:"confirms,omitempty" format:"uuid" doc:"The computed finding that it confirms."`
	Photos    []string   `json:"photos,omitempty" maxItems:"20"`
	SafeUntil string     `json:"safe_until,omitempty" format:"date" doc:"Of a deficient one: the last day on which the door may stand so. After it, it is a danger."`
}

type entrySecuring struct {
	How        string `json:"how" enum:"operator_off,locked_open,barriered,locked,not_secured"`
	OtherExit  string `json:"other_exit,omitempty" maxLength:"300" doc:"Must be named when the door is locked."`
	EgressKept *bool  `json:"egress_kept" doc:"People can still get out."`
	ToldName   string `json:"told_name,omitempty" maxLength:"200"`
	ToldRole   string `json:"told_role,omitempty" maxLength:"100"`
	Answer     string `json:"answer" enum:"acknowledged,refused,nobody_there"`
	Note       string `json:"note,omitempty" maxLength:"2000"`
}

type entryMending struct {
	FindingID uuid.UUID `json:"finding_id" format:"uuid"`
	What      string    `json:"what" minLength:"1" maxLength:"2000"`
	Photos    []string  `json:"photos,omitempty" maxItems:"20"`
	Touched   []string  `json:"touched,omitempty" maxItems:"5" enum:"sensing,motion,latch,fabric,signs" doc:"What was touched by it: what depends on it is read again. Absent: whatever can be read at a door."`
}

type entryConclusion struct {
	Result string `json:"result" enum:"passed,failed"`
	Note   string `json:"note,omitempty" maxLength:"2000"`
}

type entryNote struct {
	Text string `json:"text" minLength:"1" maxLength:"4000"`
}

// entryPart is one thing that was fitted or taken out.
type entryPart struct {
	Did          string     `json:"did" enum:"fitted,removed"`
	ComponentID  *uuid.UUID `json:"component_id,omitempty" format:"uuid" doc:"The component that it is: fitted it is registered at the door, removed it is retired. Absent: only recorded."`
	Kind         string     `json:"kind" enum:"operator,control,power_supply,battery,mode_selector,lock,sensor,activation,safety_device,leaf_hardware,consumable" doc:"Of a component; a consumable is none. What is fitted is a component, but for consumables, batteries and hardware of a leaf, which may be one."`
	ModelID      *uuid.UUID `json:"model_id,omitempty" format:"uuid" doc:"Of the catalogue; else in words."`
	ModelText    string     `json:"model_text,omitempty" maxLength:"200"`
	Serial       string     `json:"serial,omitempty" maxLength:"100"`
	Leaf         int        `json:"leaf,omitempty" minimum:"1" maximum:"8" doc:"In the order of the door's facts; absent: the door as a whole."`
	Side         string     `json:"side" enum:"a,b,both,none"`
	Input        string     `json:"input,omitempty" enum:"activate,protect,inhibit,hold,none,unknown" doc:"Of the control that it was wired to; unknown if absent."`
	Contact      string     `json:"contact,omitempty" enum:"normally_open,normally_closed,none,unknown" doc:"Unknown if absent."`
	Quantity     int        `json:"quantity" minimum:"1" maximum:"1000" doc:"1 of a component."`
	WorkOrderID  *uuid.UUID `json:"work_order_id,omitempty" format:"uuid" doc:"Absent: the only order that the visit serves at the door, if it is one."`
	BillingBasis string     `json:"billing_basis,omitempty" enum:"unsettled,contract,warranty,time_and_material,insurance,goodwill" doc:"Absent: that of the order."`
	Note         string     `json:"note,omitempty" maxLength:"2000"`
}

// entrySafeWork is how the work place was made safe before anything was touched.
type entrySafeWork struct {
	Traffic         string `json:"traffic" enum:"barriered,watched,door_closed,building_closed,not_kept_away" doc:"How people were kept away. Not at all: only when the work was stopped."`
	Power           string `json:"power" enum:"isolated,stayed_on" doc:"Isolated before the leaf is touched, or why it stayed on."`
	PowerWhy        string `json:"power_why,omitempty" maxLength:"500" doc:"Must be said when the power stayed on."`
	Ladder          string `json:"ladder" enum:"not_used,stands_safe,not_safe" doc:"Not safe: only when the work was stopped."`
	SecondPerson    string `json:"second_person" enum:"there,not_needed,missing" doc:"Missing: only when the work was stopped."`
	SecondPersonWhy string `json:"second_person_why,omitempty" maxLength:"500" doc:"Must be said when none was needed."`
	Stopped         string `json:"stopped,omitempty" maxLength:"2000" doc:"Why the work was stopped; absent: it went on. What was stopped does not pass."`
	Note            string `json:"note,omitempty" maxLength:"2000"`
}

// entryLeftOut is a reading that was not taken.
type entryLeftOut struct {
	Name     string `json:"name" minLength:"1" maxLength:"80" doc:"From the list of readings (GET /v1/rule-packs), or own.… of a question of the company's."`
	Question string `json:"question,omitempty" maxLength:"200" doc:"Of own.…, and required there: the question's title, as it was asked."`
	Leaf     int    `json:"leaf,omitempty" minimum:"1" maximum:"8" doc:"In the order of the door's facts; absent: the door as a whole."`
	Side     string `json:"side,omitempty" enum:"a,b" doc:"Absent: both."`
	Reason   string `json:"reason" enum:"not_applicable,not_possible,refused,unsafe_to_try" doc:"No rule passes by it. Where the rulebook asks what cannot apply, correct the facts of the door."`
	Why      string `json:"why" minLength:"1" maxLength:"1000"`
}

// entryAdjustment is something that was set or put right without being the mending of a finding.
type entryAdjustment struct {
	What    string   `json:"what" minLength:"1" maxLength:"2000"`
	Touched []string `json:"touched,omitempty" maxItems:"5" enum:"sensing,motion,latch,fabric,signs" doc:"As of a mending."`
}

// entryFunctionTest is what was tried before the door was left.
type entryFunctionTest struct {
	Activation  string `json:"activation" enum:"yes,no,does_not_apply" doc:"It opens and closes by each activation."`
	Presence    string `json:"presence" enum:"yes,no,does_not_apply" doc:"It holds while somebody stands in the doorway."`
	Contact     string `json:"contact" enum:"yes,no,does_not_apply" doc:"It stops or reverses on contact."`
	ByHand      string `json:"by_hand" enum:"yes,no,does_not_apply" doc:"It breaks out or opens by hand without power."`
	Modes       string `json:"modes" enum:"yes,no,does_not_apply" doc:"The mode selector does in each position what it says."`
	Latching    string `json:"latching" enum:"yes,no,does_not_apply" doc:"It closes fully and latches."`
	FreeOfNoise string `json:"free_of_noise" enum:"yes,no,does_not_apply" doc:"It runs without noise and rubbing."`
	Note        string `json:"note,omitempty" maxLength:"2000"`
}

// fleet reads an entry; texts that stand for values become values here, so that the record holds SI.
func (b entryBody) fleet(read *reader) fleet.EntryBody {
	out := fleet.EntryBody{DoorID: b.DoorID, Kind: b.Kind, ObservedAt: b.ObservedAt, Corrects: b.Corrects, Because: b.Because, Reading: (*fleet.EntryReading)(b.Reading),
		Securing: (*fleet.EntrySecuring)(b.Securing), Conclusion: (*fleet.EntryConclusion)(b.Conclusion), Note: (*fleet.EntryNote)(b.Note), Part: (*fleet.EntryPart)(b.Part),
		SafeWork: (*fleet.EntrySafeWork)(b.SafeWork), LeftOut: (*fleet.EntryLeftOut)(b.LeftOut), FunctionTest: (*fleet.EntryFunctionTest)(b.FunctionTest),
		Dismissal: (*fleet.EntryDismissal)(b.Dismissal)}
	if c := b.ForceCourse; c != nil {
		out.ForceCourse = &fleet.EntryForceCourse{CSV: c.CSV, Leaf: c.Leaf, GapM: c.GapM, UncertaintyN: c.UncertaintyN, InstrumentID: c.InstrumentID}
	}
	if p := b.Positions; p != nil {
		out.Positions = &fleet.EntryPositions{Zone: rulebook.ZoneKind(p.Zone), Side: p.Side, Body: p.Body, SpacingM: p.SpacingM}
		for _, at := range p.Tried {
			out.Positions.Tried = append(out.Positions.Tried, rulebook.Position(at))
		}
	}
	if w := b.WalkTest; w != nil {
		walk := w.WalkTestBody.fleet(w.ComponentID)
		out.WalkTest = &walk
	}
	if p := b.Photo; p != nil {
		out.Photo = &fleet.EntryPhoto{SHA256: read.hash("/photo/sha256", p.SHA256), What: p.What}
	}
	if s := b.Settings; s != nil {
		out.Settings = &fleet.EntrySettings{ComponentID: s.ComponentID, Standing: s.Standing, Device: read.device("/settings/device", s.Device)}
	}
	if f := b.Finding; f != nil {
		out.Finding = &fleet.EntryFinding{Severity: f.Severity, What: f.What, Rule: f.Rule, Confirms: f.Confirms, Photos: read.hashes("/finding/photos", f.Photos),
			SafeUntil: read.day("/finding/safe_until", f.SafeUntil)}
	}
	if d := b.Decision; d != nil {
		out.Decision = d.fleet(read)
	}
	if m := b.Mending; m != nil {
		out.Mending = &fleet.EntryMending{FindingID: m.FindingID, What: m.What, Photos: read.hashes("/mending/photos", m.Photos), Touched: groups(m.Touched)}
	}
	if a := b.Adjustment; a != nil {
		out.Adjustment = &fleet.EntryAdjustment{What: a.What, Touched: groups(a.Touched)}
	}
	return out
}

func groups(names []string) []rulebook.Group {
	var list []rulebook.Group
	for _, n := range names {
		list = append(list, rulebook.Group(n))
	}
	return list
}

func (l *reader) hash(pointer, text string) seal.Hash {
	h, err := seal.ParseHash(text)
	if err != nil {
		l.faults.Add(pointer, "hash_unreadable")
	}
	return h
}

func (l *reader) hashes(pointer string, texts []string) []seal.Hash {
	var list []seal.Hash
	for i, t := range texts {
		list = append(list, l.hash(pointer+"/"+strconv.Itoa(i), t))
	}
	return list
}

// entryItem is an entry as it was accepted.
type entryItem struct {
	EntryID    uuid.UUID       `json:"entry_id" format:"uuid"`
	VisitID    uuid.UUID       `json:"visit_id" format:"uuid"`
	ReceivedAt time.Time       `json:"received_at"`
	RecordedBy uuid.UUID       `json:"recorded_by" format:"uuid"`
	SHA256     seal.Hash       `json:"sha256" doc:"Of the entry as canonical JSON: what the sign-off lists."`
	Entry      json.RawMessage `json:"entry" doc:"The entry as it is recorded, canonical JSON in SI units."`
}

func newEntryItem(e fleet.Entry) entryItem {
	return entryItem{EntryID: e.EntryID, VisitID: e.VisitID, ReceivedAt: e.ReceivedAt, RecordedBy: e.RecordedBy, SHA256: e.SHA256, Entry: e.Canonical}
}

type visitPutIn struct {
	VisitPath
	Body attendance
}

type visitOut struct {
	Status int
	Body   VisitItem
}

type visitGetOut struct {
	Body struct {
		VisitItem
		Entries []entryItem `json:"entries"`
	}
}

type visitListIn struct {
	PageIn
	SiteID string `query:"site_id" format:"uuid"`
	DoorID string `query:"door_id" format:"uuid"`
	Order  string `query:"work_order_id" format:"uuid" doc:"Only visits whose attendance lists the work order."`
}

type visitListOut struct {
	Body struct {
		Visits []VisitItem `json:"visits"`
		PageOut
	}
}

type entryPutIn struct {
	VisitID uuid.UUID `path:"visit_id" format:"uuid"`
	EntryID uuid.UUID `path:"entry_id" format:"uuid"`
	Body    entryBody
}

// mostEntry is the greatest size of an entry, in bytes: a series may have two characters for each of its own in JSON.
const mostEntry = 2*rulebook.MostForceBytes + maxBody

type forceSeriesIn struct {
	VisitID uuid.UUID `path:"visit_id" format:"uuid"`
	EntryID uuid.UUID `path:"entry_id" format:"uuid"`
}

type entryOut struct {
	Status int
	Body   entryItem
}

type signOffPutIn struct {
	VisitPath
	Body struct {
		SignedAt  time.Time     `json:"signed_at"`
		LeftAt    time.Time     `json:"left_at"`
		Entries   []signedEntry `json:"entries" minItems:"1" maxItems:"5000" doc:"Every entry of the visit."`
		Statement string        `json:"statement" minLength:"1" maxLength:"2000" doc:"What the signer states."`
		Signature string        `json:"signature" minLength:"1" maxLength:"50000" pattern:"^[Mm][MmZzLlHhVvCcSsQqTtAaEe0-9 ,.+-]*$" doc:"Strokes as path data of SVG: letters and numbers."`
		Done      []uuid.UUID   `json:"done_orders,omitempty" maxItems:"500" doc:"The work orders that are thereby done; absent: all that the attendance lists for doors with an entry. Those of plans and findings end by what the entries say."`
	}
}

type signedEntry struct {
	EntryID uuid.UUID `json:"entry_id" format:"uuid"`
	SHA256  string    `json:"sha256" pattern:"^[0-9a-f]{64}$"`
}

func (a *API) visits() {
	add(a, operation("visit-list", http.MethodGet, "/v1/visits", identity.ActReadWork, "Visits, the newest first"), a.visitList)
	add(a, operation("visit-get", http.MethodGet, "/v1/visits/{visit_id}", identity.ActReadWork, "A visit with its entries"), a.visitGet)
	add(a, operation("visit-put", http.MethodPut, "/v1/visits/{visit_id}", identity.ActLogVisit, "Open the attendance"), a.visitPut)
	entry := operation("entry-put", http.MethodPut, "/v1/visits/{visit_id}/entries/{entry_id}", identity.ActLogVisit, "Append an entry, which never changes")
	entry.MaxBodyBytes = mostEntry
	add(a, entry, a.entryPut)
	add(a, answering("text/csv", operation("force-series-get", http.MethodGet, "/v1/visits/{visit_id}/entries/{entry_id}/force-series", identity.ActReadWork, "The series of a force course, as the gauge wrote it")), a.forceSeriesGet)
	signOff := operation("sign-off-put", http.MethodPut, "/v1/visits/{visit_id}/sign-off", identity.ActLogVisit, "Sign off and close the visit")
	signOff.MaxBodyBytes = 2 << 20
	add(a, signOff, a.signOffPut)
}

func (a *API) visitList(ctx context.Context, by identity.Actor, in *visitListIn) (*visitListOut, error) {
	var key instantKey
	if err := readCursor(in.After, &key); err != nil {
		return nil, err
	}
	list, err := a.Fleet.Visits(ctx, by, fleet.VisitQuery{SiteID: optionalID(in.SiteID), DoorID: optionalID(in.DoorID), WorkOrderID: optionalID(in.Order), BeforeAt: key.At, BeforeID: key.ID, Limit: in.Limit})
	if err != nil {
		return nil, err
	}
	out := &visitListOut{}
	out.Body.Visits = make([]VisitItem, len(list))
	for i, v := range list {
		out.Body.Visits[i] = newVisitItem(v)
	}
	if len(list) == in.Limit {
		last := list[len(list)-1]
		out.Body.Next = cursor(instantKey{last.Attendance.ArrivedAt, last.VisitID})
	}
	return out, nil
}

func (a *API) visitGet(ctx context.Context, by identity.Actor, in *VisitPath) (*visitGetOut, error) {
	v, entries, err := a.Fleet.Visit(ctx, by, in.VisitID)
	if err != nil {
		return nil, err
	}
	out := &visitGetOut{}
	out.Body.VisitItem = newVisitItem(v)
	out.Body.Entries = make([]entryItem, len(entries))
	for i, e := range entries {
		out.Body.Entries[i] = newEntryItem(e)
	}
	return out, nil
}

func (a *API) visitPut(ctx context.Context, by identity.Actor, in *visitPutIn) (*visitOut, error) {
	b := in.Body
	att := fleet.Attendance{SiteID: b.SiteID, ArrivedAt: b.ArrivedAt, People: b.People, Note: b.Note}
	for _, d := range b.Doors {
		att.Doors = append(att.Doors, fleet.DoorsOfVisit{DoorID: d.DoorID, WorkOrders: append([]uuid.UUID{}, d.WorkOrders...)})
	}
	v, isNew, err := a.Fleet.PutVisit(ctx, by, in.VisitID, att)
	if err != nil {
		return nil, err
	}
	return &visitOut{Status: created(isNew), Body: newVisitItem(v)}, nil
}

func (a *API) entryPut(ctx context.Context, by identity.Actor, in *entryPutIn) (*entryOut, error) {
	var read reader
	body := in.Body.fleet(&read)
	if err := read.faults.Err(); err != nil {
		return nil, err
	}
	e, isNew, err := a.Fleet.PutEntry(ctx, by, in.VisitID, in.EntryID, body)
	if err != nil {
		return nil, err
	}
	return &entryOut{Status: created(isNew), Body: newEntryItem(e)}, nil
}

func (a *API) forceSeriesGet(ctx context.Context, by identity.Actor, in *forceSeriesIn) (*bytesOut, error) {
	r, err := a.Fleet.RecordedForce(ctx, by, in.VisitID, in.EntryID)
	if err != nil {
		return nil, err
	}
	hash := r.Entry.Body.ForceCourse.SeriesSHA256.String()
	return &bytesOut{ContentType: "text/csv; charset=utf-8", ContentDisposition: `attachment; filename="force-` + hash[:8] + `.csv"`, ETag: `"` + hash + `"`, Body: []byte(r.CSV)}, nil
}

func (a *API) signOffPut(ctx context.Context, by identity.Actor, in *signOffPutIn) (*visitOut, error) {
	var read reader
	s := fleet.SignOff{SignedAt: in.Body.SignedAt, LeftAt: in.Body.LeftAt, Statement: in.Body.Statement, Signature: in.Body.Signature, DoneOrders: in.Body.Done}
	for i, e := range in.Body.Entries {
		s.Entries = append(s.Entries, fleet.SignedEntry{EntryID: e.EntryID, SHA256: read.hash("/entries/"+strconv.Itoa(i)+"/sha256", e.SHA256)})
	}
	if err := read.faults.Err(); err != nil {
		return nil, err
	}
	v, isNew, err := a.Fleet.PutSignOff(ctx, by, in.VisitID, s)
	if err != nil {
		return nil, err
	}
	return &visitOut{Status: created(isNew), Body: newVisitItem(v)}, nil
}
