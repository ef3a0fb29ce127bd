package fleet

import (
	"errors"
	"fmt"
	"slices"
	"time"
)

// The shapes of the documents. A change that an old reader would misread takes the next number; an added member does
// not. Documents of format 1 of a door were sealed before verdicts said what they rest on; they still read and print.
const (
	ComplianceReportFormat    = "lintel-compliance-report/2"
	oldComplianceReportFormat = "lintel-compliance-report/1"
)

// ReportHead is what every document begins with.
type ReportHead struct {
	Format string `json:"format"`
	ID     string `json:"id"`
	// MadeAt is the instant at which the snapshot was taken.
	MadeAt string `json:"made_at"`
	// AsOf is the day, in the site's zone, that the report speaks of: how things
	// stood at its end, as they were known at MadeAt.
	AsOf string `json:"as_of"`
	// Audience is "customer" or "internal"; only an internal report may hold
	// findings from computation that nobody has confirmed.
	Audience string `json:"audience"`
	// Language is the BCP 47 tag of the texts in this document.
	Language string `json:"language"`
	// Units (metric, us) and Paper (a4, letter) are those of its prints.
	Units   string        `json:"units"`
	Paper   string        `json:"paper"`
	Company ReportCompany `json:"company"`
}

// Head gives the head of a document.
func (h ReportHead) Head() ReportHead { return h }

// ReportPlace is where, whose it is, and who stands for it.
type ReportPlace struct {
	Customer ReportCustomer `json:"customer"`
	Site     ReportSite     `json:"site"`
	Parties  []ReportParty  `json:"parties"`
}

// DoorContent is everything that a report says about one door.
type DoorContent struct {
	Door ReportDoor `json:"door"`
	// RuleBasis is nil when nobody has recorded which edition the door must meet.
	RuleBasis *ReportRuleBasis `json:"rule_basis"`
	Sides     []ReportSide     `json:"sides"`
	Devices   []ReportDevice   `json:"devices"`
	// LastInspection is nil when no inspection has been signed off.
	LastInspection *ReportInspection `json:"last_inspection"`
	Verdicts       []ReportVerdict   `json:"verdicts"`
	// JudgedToday are the rules of which what is known today says otherwise than the verdict that was sealed with the inspection;
	// absent when there is none.
	JudgedToday []ReportJudgedToday `json:"judged_today,omitempty"`
	// Beside are the packs that judged the last inspection beside the door's rule basis; absent when there was none.
	Beside []ReportBeside `json:"beside,omitempty"`
	// Unjudged are readings of the last inspection that no rule of the door asks for.
	Unjudged []ReportReading `json:"unjudged"`
	// AsFound are readings of the last inspection that were taken again after something that they depend on was changed; LeftOut is
	// what nobody read there, and why not. Both are absent when there was none.
	AsFound []ReportReading `json:"as_found,omitempty"`
	LeftOut []ReportLeftOut `json:"left_out,omitempty"`
	// Findings are the open ones only; Closed are those that ended within the year before.
	Findings []ReportFinding `json:"findings"`
	Closed   []ReportFinding `json:"closed"`
	// OutOfService are the open cases, one for each unsafe finding.
	OutOfService []ReportOutOfService `json:"out_of_service"`
	Due          []ReportDue          `json:"due"`
	WorkOrders   []ReportWorkOrder    `json:"work_orders"`
	// Cautions are codes of what the reader must know about this door in
	// particular (limits_from_memory, register_only, values_unknown …); the
	// general cautions are printed on every report.
	Cautions []string `json:"cautions"`
}

// ComplianceReport is everything that one report says about one door, frozen:
// the register moves on, this document does not. It is what is sealed, stored
// and handed out under ID; every other rendering is made from it alone.
//
// Values are SI with the unit in the member's name, codes are those of the
// register, texts (titles, names, what an inspector wrote) are as they stood on
// the day. Instants are RFC 3339 in UTC, civil dates YYYY-MM-DD, both strings,
// so that the canonical form cannot lose digits. An empty string or a null is
// "not recorded". No secret (programming code, key-safe code) has a member here.
type ComplianceReport struct {
	ReportHead
	ReportPlace
	DoorContent
}

// ReportQuantity is one physical value as the report froze it. Value nil is
// unknown; Basis says how anybody knows, with the codes of Basis.
type ReportQuantity struct {
	Value *float64 `json:"value"`
	Basis string   `json:"basis"`
}

// ReportCompany is the service company that speaks.
type ReportCompany struct {
	Name    string `json:"name"`
	Address string `json:"address"`
	Phone   string `json:"phone"`
	Licence string `json:"licence"`
}

// ReportCustomer is the customer whose site it is.
type ReportCustomer struct {
	ID   string `json:"id"`
	Name string `json:"name"`
}

// ReportSite is where the door stands. Zone is an IANA time zone.
type ReportSite struct {
	ID           string `json:"id"`
	Name         string `json:"name"`
	Address      string `json:"address"`
	Jurisdiction string `json:"jurisdiction"`
	Zone         string `json:"zone"`
}

// ReportParty is one party in its role at the site on the day (owner, occupier,
// managing_agent, payer).
type ReportParty struct {
	Role  string `json:"role"`
	Name  string `json:"name"`
	Since string `json:"since"`
}

// ReportDoor is the opening. Tri-state facts are null when nobody has said.
type ReportDoor struct {
	ID           string           `json:"id"`
	Tag          string           `json:"tag"`
	Name         string           `json:"name"`
	Kind         string           `json:"kind"`
	Energy       string           `json:"energy"`
	Traffic      string           `json:"traffic"`
	PresenceBy   string           `json:"presence_by"`
	GuideRails   string           `json:"guide_rails"`
	KnownSince   string           `json:"known_since"`
	Modes        []string         `json:"modes"`
	Egress       *bool            `json:"egress"`
	FireRated    *bool            `json:"fire_rated"`
	Interior     *bool            `json:"interior,omitempty"` // absent when nobody has said
	Vulnerable   *bool            `json:"vulnerable_users"`
	ClearWidthM  ReportQuantity   `json:"clear_width_m"`
	HeaderDepthM ReportQuantity   `json:"header_depth_m"`
	OpeningTimeS ReportQuantity   `json:"opening_time_s"`
	ClosingTimeS ReportQuantity   `json:"closing_time_s"`
	Leaves       []ReportLeaf     `json:"leaves"`
	Components   []ReportHardware `json:"components"`
}

// ReportLeaf is one leaf. Left and right are those of somebody who stands on
// side A and looks at the door.
type ReportLeaf struct {
	// Motion is swing, slide, fold or revolve.
	Motion string `json:"motion"`
	// Hinge is left, right or none.
	Hinge string `json:"hinge"`
	// OpensTowards is the side (a, b, both) of a leaf that swings or folds, the
	// direction (left, right) of one that slides, else none.
	OpensTowards string         `json:"opens_towards"`
	WidthM       ReportQuantity `json:"width_m"`
	HeightM      ReportQuantity `json:"height_m"`
	MassKg       ReportQuantity `json:"mass_kg"`
}

// ReportHardware is a fitted component that does not sense (operator, control,
// lock, battery …).
type ReportHardware struct {
	Kind        string `json:"kind"`
	Maker       string `json:"maker"`
	Model       string `json:"model"`
	Serial      string `json:"serial"`
	FittedSince string `json:"fitted_since"`
}

// ReportRuleBasis is the edition by which the door is judged, and why.
type ReportRuleBasis struct {
	PackID   string `json:"pack_id"`
	Standard string `json:"standard"`
	Edition  string `json:"edition"`
	Since    string `json:"since"`
	Reason   string `json:"reason"`
	// Caution is what the pack says of itself, in words.
	Caution string `json:"caution"`
}

// ReportPolygons is a list of polygons, each a list of closed rings (outer
// counter-clockwise, then holes), each a list of [x, y] in metres in the frame of
// its side.
type ReportPolygons [][][][2]float64

// ReportSide is one side of the opening ("a" or "b") with what is asked there
// and how much of it is covered.
type ReportSide struct {
	Side       string `json:"side"`
	Label      string `json:"label"`
	Activation string `json:"activation"`
	// Required zones come from the rule pack, kept-clear zones from people.
	Required  []ReportZone     `json:"required_zones"`
	KeptClear []ReportZone     `json:"kept_clear_zones"`
	Coverage  []ReportCoverage `json:"coverage"`
}

// ReportZone is an area of one side. Purpose of a required zone: activation or
// presence; of a kept-clear zone: what it is kept clear of.
type ReportZone struct {
	Purpose  string         `json:"purpose"`
	Title    string         `json:"title"`
	Source   string         `json:"source"`
	Polygons ReportPolygons `json:"polygons"`
}

// ReportCoverage is the computed share of one required zone that the fields of
// the right kind cover. It is never verified on site by itself.
type ReportCoverage struct {
	Purpose string `json:"purpose"`
	// Share is 0 to 1, nil when it is not computable; Missing then names the
	// values that are unknown.
	Share        *float64    `json:"share"`
	Gaps         []ReportGap `json:"gaps"`
	Shortfalls   []string    `json:"shortfalls"`
	Missing      []string    `json:"missing"`
	ModelVersion string      `json:"model_version"`
	// Unfit names devices that are wired for the zone and do not count: they tell something else, or let go of somebody who stands too soon.
	Unfit []string `json:"unfit,omitempty"`
}

// ReportGap is an uncovered piece of a required zone: where the largest circle
// in it lies and that circle's diameter, in metres.
type ReportGap struct {
	XM        float64        `json:"x_m"`
	YM        float64        `json:"y_m"`
	DiameterM float64        `json:"diameter_m"`
	Shortfall bool           `json:"shortfall"`
	Polygons  ReportPolygons `json:"polygons"`
}

// ReportDevice is a fitted component that senses, as it was mounted and set.
type ReportDevice struct {
	ID     string `json:"id"`
	Side   string `json:"side"`
	Maker  string `json:"maker"`
	Model  string `json:"model"`
	Serial string `json:"serial"`
	// Purpose is activation or presence.
	Purpose string `json:"purpose"`
	// Sensing is as the catalogue's, but for radars, and where the model is not in the catalogue.
	Sensing string `json:"sensing,omitempty"`
	Antenna string `json:"antenna"`
	// OneHeight says that the antenna's figures were worked out from extents at one height: at another its field is a guess.
	OneHeight bool `json:"one_height,omitempty"`
	// WalkedOn is the day of the walk test whose fit counts instead of the catalogue's range and the mount's tilt.
	WalkedOn    string          `json:"walked_on,omitempty"`
	Accessories []string        `json:"accessories"`
	FittedSince string          `json:"fitted_since"`
	Mount       ReportMount     `json:"mount"`
	Settings    *ReportSettings `json:"settings"`
	Field       *ReportField    `json:"field"`
	// Missing names the values for want of which Field is nil.
	Missing []string `json:"missing"`
	// OnLeaf says that it is fixed to a leaf and moves with it; its mount is told with the leaf closed.
	OnLeaf bool `json:"on_leaf,omitempty"`
	// Unfit says for which zones it is wired and does not count.
	Unfit []ReportUnfit `json:"unfit,omitempty"`
}

// ReportUnfit is a zone that a device is wired for and does not count for, and why.
type ReportUnfit struct {
	Zone    string `json:"zone"` // its title
	Purpose string `json:"purpose"`
	// Reason is other_purpose (it tells something else) or lets_go (of somebody who stands, before AskedS is over).
	Reason string `json:"reason"`
	// Tells is what the device tells: activation, presence, both, knowing_act.
	Tells  string  `json:"tells"`
	StillS float64 `json:"still_s,omitempty"`
	AskedS float64 `json:"asked_s,omitempty"`
}

// ReportMount is where a device stands, in the frame of its side.
type ReportMount struct {
	HeightM  ReportQuantity `json:"height_m"`
	OffsetXM ReportQuantity `json:"offset_x_m"`
	OffsetYM ReportQuantity `json:"offset_y_m"`
	TiltDeg  ReportQuantity `json:"tilt_deg"`
	YawDeg   ReportQuantity `json:"yaw_deg"`
}

// ReportSettings is the settings revision in force. Standing is found or left
// (at the door), or intended (planned in the office).
type ReportSettings struct {
	Standing        string         `json:"standing"`
	EffectiveAt     string         `json:"effective_at"`
	ReachDB         ReportQuantity `json:"reach_db"`
	ConfirmTravelMM ReportQuantity `json:"confirm_travel_mm"`
	OutputHoldS     ReportQuantity `json:"output_hold_s"`
	MotionDirection string         `json:"motion_direction"`
	HoldWhileMoving *bool          `json:"hold_while_moving"`
	OutputContact   string         `json:"output_contact"`
}

// ReportField is the computed field of a device: on the floor that of radar, and of the others from where a grown person is told of.
type ReportField struct {
	WidthM       float64        `json:"width_m"`
	DepthM       float64        `json:"depth_m"`
	NearM        float64        `json:"near_m"`
	FarM         float64        `json:"far_m"`
	AreaM2       float64        `json:"area_m2"`
	ModelVersion string         `json:"model_version"`
	Polygons     ReportPolygons `json:"polygons"`
	// Rays are the few that stand for a device of light: from and to, each x, y and z.
	Rays [][2][3]float64 `json:"rays,omitempty"`
}

// ReportInspection is the last signed inspection.
type ReportInspection struct {
	VisitID   string          `json:"visit_id"`
	Date      string          `json:"date"`
	Kind      string          `json:"kind"`
	Inspector ReportInspector `json:"inspector"`
	// Result is passed or failed.
	Result   string `json:"result"`
	SignedAt string `json:"signed_at"`
	// RecordSHA256 is the hash, in hex, of the signed record of the visit.
	RecordSHA256 string `json:"record_sha256"`
	// JudgedBy is the rule pack that the verdicts are of; absent without a rule basis.
	JudgedBy string `json:"judged_by,omitempty"`
	// Statement is what the inspector signed, and Signature the strokes, as path data of SVG.
	Statement string `json:"statement,omitempty"`
	Signature string `json:"signature,omitempty"`
}

// ReportLeftOut is something that was not read, and why not.
type ReportLeftOut struct {
	Name   string `json:"name"`
	Title  string `json:"title"`
	Leaf   int    `json:"leaf"` // 0: not of one leaf
	Side   string `json:"side"` // a, b; empty: not of one side
	Reason string `json:"reason"`
	Why    string `json:"why"` // in the inspector's words
}

// ReportInspector is who inspected, and by what right: the certificate that was
// valid on the day, as it was sealed with the signature. Qualification names its scheme.
type ReportInspector struct {
	Name          string `json:"name"`
	Employer      string `json:"employer"`
	Qualification string `json:"qualification"`
	// Allows is the kind of certificate: which inspections it allows. Like Issuer absent where it is not known.
	Allows        string `json:"allows,omitempty"`
	Issuer        string `json:"issuer,omitempty"`
	CertificateNo string `json:"certificate_no"`
	ValidFrom     string `json:"valid_from"`
	ValidUntil    string `json:"valid_until"`
	// Withdrawn: by what is known today it was not valid on the day.
	Withdrawn bool `json:"withdrawn,omitempty"`
}

// ReportJudgedToday is a rule that would be judged differently by what is known
// today: outcomes of the sealed verdict and of today's, empty where the rule was
// not, or would not be, among those judged.
type ReportJudgedToday struct {
	RuleID string `json:"rule_id"`
	Title  string `json:"title"`
	Then   string `json:"then"`
	Now    string `json:"now"`
}

// ReportBeside is what a pack said that judged beside the rule basis, as sealed with the inspection.
type ReportBeside struct {
	PackID string `json:"pack_id"`
	Title  string `json:"title"`
	Role   string `json:"role"` // law, company
	// Jurisdiction is where the pack holds; absent when nothing is known of it any more.
	Jurisdiction string `json:"jurisdiction,omitempty"`
	Caution      string `json:"caution"`
	// Verdicts are of the rules that were judged; NotRead counts those that apply, or may, and were not.
	Verdicts []ReportVerdict `json:"verdicts"`
	NotRead  int             `json:"not_read"`
}

// ReportVerdict is what one rule said, as sealed with the inspection. Measured and the limits are in the unit
// that the standard makes primary: the comparison was made in it.
type ReportVerdict struct {
	RuleID string `json:"rule_id"`
	Title  string `json:"title"`
	// Readings are all that were taken for the rule, also where it was not judged.
	Readings []ReportReading `json:"readings"`
	// Facts of the register that the verdict rests on. Ground is readings where
	// any was taken for it at the door, register where the register alone was
	// judged, empty in documents that did not say so yet.
	Facts  []ReportFact `json:"facts"`
	Ground string       `json:"ground"`
	// Missing says in words what was lacking where it was not judged.
	Missing  []string      `json:"missing"`
	Measured *ReportAmount `json:"measured"`
	AtLeast  *ReportAmount `json:"at_least"`
	AtMost   *ReportAmount `json:"at_most"`
	// Low and High are Measured with its uncertainty; absent when none was stated.
	Low  *ReportAmount `json:"low,omitempty"`
	High *ReportAmount `json:"high,omitempty"`
	// Outcome is passed, failed, undecided, not_judged or not_applicable; Reason says in
	// words why it is one of the last two.
	Outcome string `json:"outcome"`
	Reason  string `json:"reason"`
	// Severity is what a failure is proposed to be: unsafe, deficient, advisory.
	Severity string `json:"severity"`
	// Weight is binding, or unverified where the limit still has to be looked up.
	Weight string `json:"weight"`
	// Source is standard, edition and clause; Standing how well that is known
	// (found, second_hand, common_practice, from_memory).
	Source   string `json:"source"`
	Standing string `json:"standing"`
}

// ReportReading is one thing read at the door: a number in its SI unit, a yes or no, or a text.
type ReportReading struct {
	Name  string   `json:"name"`
	Title string   `json:"title"`
	Leaf  int      `json:"leaf"` // 0: not of one leaf
	Side  string   `json:"side"` // a, b; empty: not of one side
	Value *float64 `json:"value"`
	Unit  string   `json:"unit"`
	Yes   *bool    `json:"yes"`
	Text  string   `json:"text,omitempty"` // answer to a company's question
	// Decided says that the verdict rests on this one: the worst of those taken for the rule.
	Decided bool `json:"decided"`
	// Samples is of how many samples of a gauge, or tried positions, it was worked out; absent: it was typed.
	Samples int `json:"samples,omitempty"`
	// Overtaken says that something which it depends on was changed afterwards in the same visit, and whether somebody has read it since:
	// read_again, not_read_again; absent when nothing was changed.
	Overtaken string `json:"overtaken,omitempty"`
}

// ReportFact is something that the register says of the door, by its name there (presence_by, leaves[].mass_kg). A number is in the
// SI unit that ends its name. What leaves say is listed with commas, "–" for what is not known of one.
type ReportFact struct {
	Name  string `json:"name"`
	Value string `json:"value"`
	// Basis is how a measure is known, of each leaf one; absent of what is no measure.
	Basis string `json:"basis,omitempty"`
}

// ReportAmount is a value in a unit (s, m, mm, in, ft, kg, lb, N, lbf, J, lbf.ft,
// m/s, in/s, ft/s, deg) with its value in the SI unit beside it.
type ReportAmount struct {
	Value  float64 `json:"value"`
	Unit   string  `json:"unit"`
	SI     float64 `json:"si_value"`
	SIUnit string  `json:"si_unit"`
}

// ReportFinding is one finding.
type ReportFinding struct {
	ID       string `json:"id"`
	Severity string `json:"severity"`
	Title    string `json:"title"`
	Detail   string `json:"detail"`
	Repair   string `json:"repair"`
	OpenedOn string `json:"opened_on"`
	// MendBy is the day until which the door may stand so, if one was set.
	MendBy string `json:"mend_by"`
	// Danger is that day when it has passed: the door is to be treated as unsafe.
	Danger bool `json:"danger,omitempty"`
	// Times is how often the rule's finding has come within some years, absent for the first; FirstOn the day of the first of them.
	Times   int    `json:"times,omitempty"`
	FirstOn string `json:"first_on,omitempty"`
	RuleID  string `json:"rule_id"`
	// Origin is visit, or computed: found by arithmetic, not verified on site.
	Origin string `json:"origin"`
	// State is open, mended, withdrawn or cleared (a later inspection passed);
	// ClosedOn the day of the last three.
	State    string `json:"state"`
	ClosedOn string `json:"closed_on"`
}

// ReportOutOfService is an open out-of-service case. Secured is nil until a
// person has recorded how the door was secured: software alone never shows it so.
type ReportOutOfService struct {
	ID        string          `json:"id"`
	FindingID string          `json:"finding_id"`
	OpenedAt  string          `json:"opened_at"`
	OpenedBy  string          `json:"opened_by"`
	Reason    string          `json:"reason"`
	Secured   *ReportSecuring `json:"secured"`
	Told      []ReportTold    `json:"told"`
}

// ReportSecuring is how a person left the door. How is a code (operator_off,
// locked_open, barriered, locked) or words.
type ReportSecuring struct {
	How       string `json:"how"`
	At        string `json:"at"`
	By        string `json:"by"`
	OtherExit string `json:"other_exit"`
	// CanGetOut says that people can still get out; nil when not recorded.
	CanGetOut *bool  `json:"can_get_out"`
	Note      string `json:"note"`
}

// ReportTold is somebody on site who was told, and whether they took it
// (acknowledged, refused, or empty when no answer is recorded).
type ReportTold struct {
	Name   string `json:"name"`
	Role   string `json:"role"`
	At     string `json:"at"`
	How    string `json:"how"`
	Answer string `json:"answer"`
}

// ReportDue is one inspection plan's due date on the report's day.
type ReportDue struct {
	IntervalMonths int    `json:"interval_months"`
	LastOn         string `json:"last_on"`
	NextDueOn      string `json:"next_due_on"`
	// OverdueDays is 0 when it is not overdue.
	OverdueDays int `json:"overdue_days"`
}

// ReportWorkOrder is a recent work order of the door.
type ReportWorkOrder struct {
	ID     string `json:"id"`
	Kind   string `json:"kind"`
	Note   string `json:"note"`
	State  string `json:"state"`
	DueOn  string `json:"due_on"`
	DoneOn string `json:"done_on"`
}

// States are the answers to "how does this door stand?", gravest first; one or
// more of StateOrder, and in_order only when nothing else holds. They follow from
// the document alone, so that no rendering can say less than it.
func (d DoorContent) States() []string {
	var is Condition
	for _, c := range d.OutOfService {
		is.Unsecured = is.Unsecured || c.Secured == nil
		is.Secured = is.Secured || c.Secured != nil
	}
	is.Unsafe, is.Deficient, is.Danger = d.hasFinding("unsafe"), d.hasFinding("deficient"), d.inDanger()
	for _, due := range d.Due {
		is.Overdue = is.Overdue || due.OverdueDays > 0
		is.Planned = is.Planned || due.NextDueOn != ""
	}
	is.Inspected, is.HasBasis = d.LastInspection != nil, d.RuleBasis != nil
	is.Failed = is.Inspected && d.LastInspection.Result != "passed"
	return is.states()
}

// StateOrder lists the states, gravest first.
func StateOrder() []string {
	return []string{"unsafe_not_secured", "unsafe_secured", "unsafe_finding", "unsafe_by_date", "overdue", "last_failed", "deficient", "never_inspected", "no_due_date", "no_rule_basis", "in_order"}
}

// Condition is what the states of a door follow from.
type Condition struct {
	Unsecured, Secured bool // an open out-of-service case of either kind
	Unsafe, Deficient  bool // an open finding that a person made
	Danger             bool // an open finding with which the door was safe until a day that has passed
	Overdue, Planned   bool
	Inspected, Failed  bool
	HasBasis           bool
}

func (is Condition) states() (list []string) {
	holds := map[string]bool{
		"unsafe_not_secured": is.Unsecured, "unsafe_secured": is.Secured && !is.Unsecured, "unsafe_finding": is.Unsafe && !is.Secured && !is.Unsecured,
		"unsafe_by_date": is.Danger, "overdue": is.Overdue, "last_failed": is.Failed, "deficient": is.Deficient, "never_inspected": !is.Inspected,
		"no_due_date": !is.Planned, "no_rule_basis": !is.HasBasis,
	}
	for _, state := range StateOrder() {
		if holds[state] {
			list = append(list, state)
		}
	}
	if len(list) == 0 {
		list = []string{"in_order"}
	}
	return list
}

func (d DoorContent) hasFinding(severity string) bool {
	for _, f := range d.Findings {
		// What nobody has confirmed is never unsafe, whatever it was filed as.
		if f.Severity == severity && f.Origin != "computed" {
			return true
		}
	}
	return false
}

// inDanger tells whether the day until which the door was safe with an open finding has passed.
func (d DoorContent) inDanger() bool {
	return slices.ContainsFunc(d.Findings, func(f ReportFinding) bool { return f.Danger })
}

// Check reports every fault that would make the document unfit to be sealed,
// each naming its member.
func (r ComplianceReport) Check() error {
	return errors.Join(r.ReportHead.check(ComplianceReportFormat), r.DoorContent.check("", r.Audience))
}

func documentFault(member, why string, args ...any) error {
	return fmt.Errorf("report: %s: %s", member, fmt.Sprintf(why, args...))
}

func (h ReportHead) check(format string) error {
	var faults []error
	fault := func(member, why string, args ...any) { faults = append(faults, documentFault(member, why, args...)) }
	if h.Format != format {
		fault("format", "is %q, want %q", h.Format, format)
	}
	if h.ID == "" {
		fault("id", "is missing")
	}
	if _, err := time.Parse("2006-01-02T15:04:05Z", h.MadeAt); err != nil {
		fault("made_at", "%q is not an RFC 3339 instant in UTC (YYYY-MM-DDThh:mm:ssZ)", h.MadeAt)
	}
	if _, err := time.Parse(time.DateOnly, h.AsOf); err != nil {
		fault("as_of", "%q is not a date (YYYY-MM-DD)", h.AsOf)
	}
	if h.Audience != forCustomer && h.Audience != forStaff {
		fault("audience", "is %q, want customer or internal", h.Audience)
	}
	return errors.Join(faults...)
}

// check names the members below the pointer within.
func (d DoorContent) check(within, audience string) error {
	var faults []error
	fault := func(member, why string, args ...any) {
		faults = append(faults, documentFault(within+member, why, args...))
	}
	if d.Door.Tag == "" {
		fault("door.tag", "is missing")
	}
	for i, f := range d.Findings {
		if f.Origin != "computed" {
			continue
		}
		if audience == forCustomer {
			fault(fmt.Sprintf("findings[%d]", i), "comes from computation alone and nobody has confirmed it: not for a customer")
		}
		if f.Severity != "advisory" {
			fault(fmt.Sprintf("findings[%d].severity", i), "is %q, but a finding from computation alone is advisory", f.Severity)
		}
	}
	return errors.Join(faults...)
}
