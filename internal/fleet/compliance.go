package fleet

import (
	"errors"
	"fmt"
	"time"
)

// ComplianceReportFormat names the shape of the document. A change that an old
// reader would misread takes the next number; an added member does not.
const ComplianceReportFormat = "lintel-compliance-report/1"

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
	Format string `json:"format"`
	ID     string `json:"id"`
	// MadeAt is the instant at which the snapshot was taken.
	MadeAt string `json:"made_at"`
	// AsOf is the day, in the site's zone, that the report speaks of.
	AsOf string `json:"as_of"`
	// Audience is "customer" or "internal"; only an internal report may hold
	// findings from computation that nobody has confirmed.
	Audience string `json:"audience"`
	// Language is the BCP 47 tag of the texts in this document.
	Language string `json:"language"`

	Company  ReportCompany  `json:"company"`
	Customer ReportCustomer `json:"customer"`
	Site     ReportSite     `json:"site"`
	Parties  []ReportParty  `json:"parties"`
	Door     ReportDoor     `json:"door"`

	// RuleBasis is nil when nobody has recorded which edition the door must meet.
	RuleBasis *ReportRuleBasis `json:"rule_basis"`
	Sides     []ReportSide     `json:"sides"`
	Devices   []ReportDevice   `json:"devices"`
	// LastInspection is nil when no inspection has been signed off.
	LastInspection *ReportInspection `json:"last_inspection"`
	Verdicts       []ReportVerdict   `json:"verdicts"`
	// Findings are the open ones only.
	Findings []ReportFinding `json:"findings"`
	// OutOfService are the open cases, one for each unsafe finding.
	OutOfService []ReportOutOfService `json:"out_of_service"`
	Due          []ReportDue          `json:"due"`
	WorkOrders   []ReportWorkOrder    `json:"work_orders"`
	// Cautions are codes of what the reader must know about this report in
	// particular (limits_from_memory, settings_intended_only, values_unknown …);
	// the general cautions are printed on every report.
	Cautions []string `json:"cautions"`
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
	Purpose     string          `json:"purpose"`
	Antenna     string          `json:"antenna"`
	Accessories []string        `json:"accessories"`
	FittedSince string          `json:"fitted_since"`
	Mount       ReportMount     `json:"mount"`
	Settings    *ReportSettings `json:"settings"`
	Field       *ReportField    `json:"field"`
	// Missing names the values for want of which Field is nil.
	Missing []string `json:"missing"`
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

// ReportField is the computed field of a device on the floor.
type ReportField struct {
	WidthM       float64        `json:"width_m"`
	DepthM       float64        `json:"depth_m"`
	NearM        float64        `json:"near_m"`
	FarM         float64        `json:"far_m"`
	AreaM2       float64        `json:"area_m2"`
	ModelVersion string         `json:"model_version"`
	Polygons     ReportPolygons `json:"polygons"`
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
}

// ReportInspector is who inspected, and by what right.
type ReportInspector struct {
	Name          string `json:"name"`
	Employer      string `json:"employer"`
	Qualification string `json:"qualification"`
	CertificateNo string `json:"certificate_no"`
	ValidUntil    string `json:"valid_until"`
}

// ReportVerdict is what one rule said. Measured and the limits are in the unit
// that the standard makes primary: the comparison was made in it.
type ReportVerdict struct {
	RuleID   string          `json:"rule_id"`
	Title    string          `json:"title"`
	Readings []ReportReading `json:"readings"`
	Measured *ReportAmount   `json:"measured"`
	AtLeast  *ReportAmount   `json:"at_least"`
	AtMost   *ReportAmount   `json:"at_most"`
	// Outcome is passed, failed, not_judged or not_applicable; Reason says in
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

// ReportReading is one thing read at the door: a number in its SI unit, or a yes
// or no.
type ReportReading struct {
	Title string   `json:"title"`
	Value *float64 `json:"value"`
	Unit  string   `json:"unit"`
	Yes   *bool    `json:"yes"`
}

// ReportAmount is a value in a unit (s, m, mm, in, ft, kg, lb, N, lbf, J, lbf.ft,
// m/s, in/s, ft/s, deg) with its value in the SI unit beside it.
type ReportAmount struct {
	Value  float64 `json:"value"`
	Unit   string  `json:"unit"`
	SI     float64 `json:"si_value"`
	SIUnit string  `json:"si_unit"`
}

// ReportFinding is one open finding.
type ReportFinding struct {
	ID       string `json:"id"`
	Severity string `json:"severity"`
	Title    string `json:"title"`
	Detail   string `json:"detail"`
	Repair   string `json:"repair"`
	OpenedOn string `json:"opened_on"`
	// MendBy is the day until which the door may stand so, if one was set.
	MendBy string `json:"mend_by"`
	RuleID string `json:"rule_id"`
	// Origin is visit, or computed: found by arithmetic, not verified on site.
	Origin string `json:"origin"`
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
// more of unsafe_not_secured, unsafe_secured, unsafe_finding, overdue,
// never_inspected, no_due_date, no_rule_basis, last_failed, deficient, and
// in_order only when nothing else holds. They follow from the document alone, so that no rendering
// can say less than it.
func (r ComplianceReport) States() []string {
	var s []string
	if len(r.OutOfService) > 0 {
		state := "unsafe_secured"
		for _, c := range r.OutOfService {
			if c.Secured == nil {
				state = "unsafe_not_secured"
			}
		}
		s = append(s, state)
	} else if r.hasFinding("unsafe") {
		s = append(s, "unsafe_finding")
	}
	for _, d := range r.Due {
		if d.OverdueDays > 0 {
			s = append(s, "overdue")
			break
		}
	}
	if r.LastInspection == nil {
		s = append(s, "never_inspected")
	}
	if !r.hasDueDate() {
		s = append(s, "no_due_date")
	}
	if r.RuleBasis == nil {
		s = append(s, "no_rule_basis")
	}
	if r.LastInspection != nil && r.LastInspection.Result != "passed" {
		s = append(s, "last_failed")
	}
	if r.hasFinding("deficient") {
		s = append(s, "deficient")
	}
	if len(s) == 0 {
		s = append(s, "in_order")
	}
	return s
}

func (r ComplianceReport) hasDueDate() bool {
	for _, d := range r.Due {
		if d.NextDueOn != "" {
			return true
		}
	}
	return false
}

func (r ComplianceReport) hasFinding(severity string) bool {
	for _, f := range r.Findings {
		// What nobody has confirmed is never unsafe, whatever it was filed as.
		if f.Severity == severity && f.Origin != "computed" {
			return true
		}
	}
	return false
}

// Check reports every fault that would make the document unfit to be sealed,
// each naming its member.
func (r ComplianceReport) Check() error {
	var faults []error
	fault := func(member, why string, args ...any) {
		faults = append(faults, fmt.Errorf("compliance report: %s: %s", member, fmt.Sprintf(why, args...)))
	}
	if r.Format != ComplianceReportFormat {
		fault("format", "is %q, want %q", r.Format, ComplianceReportFormat)
	}
	if r.ID == "" {
		fault("id", "is missing")
	}
	if _, err := time.Parse("2006-01-02T15:04:05Z", r.MadeAt); err != nil {
		fault("made_at", "%q is not an RFC 3339 instant in UTC (YYYY-MM-DDThh:mm:ssZ)", r.MadeAt)
	}
	if _, err := time.Parse(time.DateOnly, r.AsOf); err != nil {
		fault("as_of", "%q is not a date (YYYY-MM-DD)", r.AsOf)
	}
	if r.Audience != "customer" && r.Audience != "internal" {
		fault("audience", "is %q, want customer or internal", r.Audience)
	}
	if r.Door.Tag == "" {
		fault("door.tag", "is missing")
	}
	for i, f := range r.Findings {
		if f.Origin != "computed" {
			continue
		}
		if r.Audience == "customer" {
			fault(fmt.Sprintf("findings[%d]", i), "comes from computation alone and nobody has confirmed it: not for a customer")
		}
		if f.Severity != "advisory" {
			fault(fmt.Sprintf("findings[%d].severity", i), "is %q, but a finding from computation alone is advisory", f.Severity)
		}
	}
	return errors.Join(faults...)
}
