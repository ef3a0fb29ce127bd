package report

import (
	"fmt"
	"math"
	"os"
	"strings"
	"testing"

	"go.yaml.in/yaml/v3"

	"lintel.example/lintel/internal/fleet"
)

// catalogue is the real message file, read strictly: a key that is not there,
// or a place in a text that nobody fills, fails the test.
type catalogue struct {
	t     *testing.T
	texts map[string]string
}

func words(t *testing.T) catalogue {
	t.Helper()
	file, err := os.ReadFile("../words/en/report.yaml")
	if err != nil {
		t.Fatal(err)
	}
	c := catalogue{t, map[string]string{}}
	if err := yaml.Unmarshal(file, &c.texts); err != nil {
		t.Fatal(err)
	}
	return c
}

func (c catalogue) T(key string, args ...any) string {
	text, ok := c.texts[key]
	if !ok {
		c.t.Errorf("no text for %q", key)
	}
	for i := 0; i+1 < len(args); i += 2 {
		place := fmt.Sprintf("{%v}", args[i])
		if !strings.Contains(text, place) {
			c.t.Errorf("text of %q has no place for %v", key, args[i])
		}
		text = strings.ReplaceAll(text, place, "\x00"+fmt.Sprint(args[i+1]))
	}
	if open := strings.Index(text, "{"); open >= 0 && !strings.Contains(text, "\x00") {
		c.t.Errorf("text of %q has a place that nobody fills: %q", key, text)
	}
	return strings.ReplaceAll(text, "\x00", "")
}

func ptr[T any](v T) *T { return &v }

func measured(v float64) fleet.ReportQuantity {
	return fleet.ReportQuantity{Value: &v, Basis: "measured"}
}

func unknown() fleet.ReportQuantity { return fleet.ReportQuantity{Basis: "unknown"} }

// ellipse is a field-like ring about (x, y), counter-clockwise and closed.
func ellipse(x, y, a, b float64) [][2]float64 {
	var ring [][2]float64
	for i := 0; i <= 72; i++ {
		sin, cos := math.Sincos(float64(i%72) * math.Pi / 36)
		ring = append(ring, [2]float64{x + a*cos, y + b*sin})
	}
	return ring
}

func rectangle(x0, y0, x1, y1 float64) [][2]float64 {
	return [][2]float64{{x0, y0}, {x1, y0}, {x1, y1}, {x0, y1}, {x0, y0}}
}

// swingPlan is one side of a swing door with everything a plan can show.
func swingPlan() PlanDrawing {
	return PlanDrawing{
		Title: "Side A: market street", Units: Metric, OpeningM: 0.95, LeafHeightM: 2.1, HeaderDepthM: 0.14,
		Leaves: []PlanLeaf{{Motion: "swing", JambXM: -0.475, WidthM: 0.95, Towards: true}},
		Sensors: []PlanSensor{
			{Name: "Ostrava M2, activation", Purpose: "activation", Placed: true, XM: 0, YM: 0.16, HeightM: ptr(2.2), Aim: &[2]float64{0, 1.5},
				Field: &PlanField{WidthM: 1.98, DepthM: 2.2, NearM: 0.2, FarM: 2.4, Polygons: Polygons{{ellipse(0, 1.3, 0.99, 1.1)}}}},
			{Name: "Ostrava P4, presence", Purpose: "presence", Placed: true, XM: -0.3, YM: 0.1,
				Field: &PlanField{WidthM: 1.1, DepthM: 0.7, NearM: 0.05, FarM: 0.75, Polygons: Polygons{{rectangle(-0.55, 0.05, 0.55, 0.75), rectangle(-0.1, 0.3, 0.1, 0.5)}}}},
			{Name: "Ostrava P4, presence", Purpose: "presence", Missing: "height, tilt"},
		},
		Required:  []PlanZone{{Name: "activation zone", Purpose: "activation", Polygons: Polygons{{rectangle(-0.475, 0.203, 0.475, 1.092)}}}, {Name: "presence zone", Purpose: "presence", Polygons: Polygons{{rectangle(-0.475, 0, 0.475, 0.76)}}}},
		KeptClear: []PlanZone{{Name: "pavement", Polygons: Polygons{{rectangle(-1.6, 2.1, 1.6, 3)}}}},
		Gaps:      Polygons{{[][2]float64{{-0.475, 0.203}, {-0.3, 0.203}, {-0.475, 0.5}, {-0.475, 0.203}}}},
		Spots:     []PlanSpot{{XM: -0.411, YM: 0.267, DiameterM: 0.128}}, // (a+b−c)/2 of the triangle, twice
	}
}

// fieldExample is the first worked example of the field model.
func fieldExample() FieldDrawing {
	return FieldDrawing{
		Title: "Example 1", Units: Metric, HeightM: 2.13, TiltDeg: 24, OffsetYM: 0.05, AzimuthBeamwidthDeg: 29, ElevationBeamwidthDeg: 36,
		BoresightRangeM: 6, AttenuationLimitDB: 25, ClipAtDoorPlane: true,
		WidthM: 1.98, DepthM: 2.438, NearM: 0, FarM: 2.438, AreaM2: 3.924,
		Polygons: Polygons{{clipped(ellipse(0, 1.1, 0.99, 1.338))}},
	}
}

func clipped(ring [][2]float64) [][2]float64 {
	out := append([][2]float64(nil), ring...)
	for i := range out {
		out[i][1] = math.Max(0, out[i][1])
	}
	return out
}

// report is a full report of a sliding door with an open unsafe finding that
// somebody has secured.
func fullReport() fleet.ComplianceReport {
	amount := func(v float64, unit string, si float64, siUnit string) *fleet.ReportAmount {
		return &fleet.ReportAmount{Value: v, Unit: unit, SI: si, SIUnit: siUnit}
	}
	number := func(name, title string, v float64, unit string, leaf int, side string) fleet.ReportReading {
		return fleet.ReportReading{Name: name, Title: title, Value: &v, Unit: unit, Leaf: leaf, Side: side}
	}
	decided := func(r fleet.ReportReading) fleet.ReportReading { r.Decided = true; return r }
	zone := fleet.ReportPolygons{{rectangle(-0.61, 0.127, 0.61, 1.092)}}
	near := fleet.ReportPolygons{{rectangle(-0.61, 0, 0.61, 0.3)}}
	mount := fleet.ReportMount{HeightM: measured(2.2), OffsetXM: measured(0), OffsetYM: measured(0.12), TiltDeg: measured(28), YawDeg: measured(0)}
	settings := &fleet.ReportSettings{Standing: "left", EffectiveAt: "2026-03-11T09:42:00Z", ReachDB: measured(-3), ConfirmTravelMM: measured(150),
		OutputHoldS: measured(1), MotionDirection: "approach", HoldWhileMoving: ptr(true), OutputContact: "normally_open"}
	head := fleet.ReportHead{Format: fleet.ComplianceReportFormat, ID: "0198f3a2-6b1c-7e44-9d0a-5c7b2f31aa07", MadeAt: "2026-11-25T14:49:01Z", AsOf: "2026-11-25",
		Audience: "customer", Language: "en", Units: "metric", Paper: "a4",
		Company: fleet.ReportCompany{Name: "Brackwater Door Service", Address: "14 Quarry Lane, Millbrook", Phone: "+1 555 0142", Licence: "C-20417"}}
	place := fleet.ReportPlace{
		Customer: fleet.ReportCustomer{ID: "c1", Name: "Harrow & Finch Markets"},
		Site:     fleet.ReportSite{ID: "s1", Name: "Market Hall North", Address: "200 Market Street, Millbrook", Jurisdiction: "US-CA", Zone: "America/Los_Angeles"},
		Parties:  []fleet.ReportParty{{Role: "owner", Name: "Millbrook Halls Trust", Since: "2011-05-01"}, {Role: "managing_agent", Name: "Pell & Daughters", Since: "2024-01-01"}}}
	content := fleet.DoorContent{
		Door: fleet.ReportDoor{ID: "d1", Tag: "10000018", Name: "North entrance, outer", Kind: "sliding", Energy: "full", Traffic: "two_way", PresenceBy: "both",
			GuideRails: "none", KnownSince: "2019-06-03", Modes: []string{"day", "exit_only", "night_locked"}, Egress: ptr(true), FireRated: ptr(false),
			ClearWidthM: measured(1.22), HeaderDepthM: fleet.ReportQuantity{Value: ptr(0.15), Basis: "from_paper"}, OpeningTimeS: measured(1.6), ClosingTimeS: unknown(),
			Leaves: []fleet.ReportLeaf{
				{Motion: "slide", Hinge: "none", OpensTowards: "left", WidthM: measured(0.66), HeightM: measured(2.1), MassKg: fleet.ReportQuantity{Value: ptr(48.0), Basis: "told"}},
				{Motion: "slide", Hinge: "none", OpensTowards: "right", WidthM: measured(0.66), HeightM: measured(2.1), MassKg: unknown()}},
			Components: []fleet.ReportHardware{{Kind: "operator", Maker: "Ostrava", Model: "Glide 7", Serial: "OG7-55182", FittedSince: "2019-06-03"}, {Kind: "battery", Model: "24 V 1.2 Ah", FittedSince: "2024-02-19"}}},
		RuleBasis: &fleet.ReportRuleBasis{PackID: "a156.10@2005", Standard: "ANSI/BHMA A156.10", Edition: "2005", Since: "2019-06-03",
			Reason: "Edition in force at the building permit", Caution: "Most limits of this pack are second-hand; whoever relies on one opens the standard."},
		Sides: []fleet.ReportSide{
			{Side: "a", Label: "market street", Activation: "sensor",
				Required:  []fleet.ReportZone{{Purpose: "activation", Title: "activation zone", Polygons: zone}, {Purpose: "presence", Title: "presence zone", Polygons: near}},
				KeptClear: []fleet.ReportZone{{Purpose: "pavement", Title: "pavement", Polygons: fleet.ReportPolygons{{rectangle(-2, 2.2, 2, 3.2)}}}},
				Coverage: []fleet.ReportCoverage{
					{Purpose: "activation", Share: ptr(0.9712), ModelVersion: "1", Gaps: []fleet.ReportGap{{XM: -0.5, YM: 0.2, DiameterM: 0.21, Shortfall: true,
						Polygons: fleet.ReportPolygons{{[][2]float64{{-0.61, 0.127}, {-0.35, 0.127}, {-0.61, 0.42}, {-0.61, 0.127}}}}}},
						Shortfalls: []string{"A person 28 in tall can stand in the gap at the left jamb unnoticed."}},
					{Purpose: "presence", Missing: []string{"height_m", "antenna"}}}},
			{Side: "b", Label: "hall", Activation: "both",
				Required: []fleet.ReportZone{{Purpose: "activation", Title: "activation zone", Polygons: zone}},
				Coverage: []fleet.ReportCoverage{{Purpose: "activation", Share: ptr(1.0), ModelVersion: "1"}}},
		},
		Devices: []fleet.ReportDevice{
			{ID: "x1", Side: "a", Maker: "Ostrava", Model: "M2", Serial: "M2-0091", Purpose: "activation", Antenna: "narrow 29° × 36°", Accessories: []string{"rain hood"}, WalkedOn: "2026-02-17", FittedSince: "2021-04-12",
				Mount: mount, Settings: settings, Field: &fleet.ReportField{WidthM: 1.84, DepthM: 2.31, NearM: 0.06, FarM: 2.37, AreaM2: 3.31, ModelVersion: "1", Polygons: fleet.ReportPolygons{{ellipse(0, 1.215, 0.92, 1.155)}}}},
			{ID: "x2", Side: "a", Maker: "Ostrava", Model: "P4", Purpose: "presence", Mount: fleet.ReportMount{HeightM: unknown(), OffsetXM: measured(0.2), OffsetYM: measured(0.1), TiltDeg: unknown(), YawDeg: unknown()},
				Missing: []string{"height_m", "tilt_deg", "antenna"}},
			{ID: "x3", Side: "b", Maker: "Ostrava", Model: "M2", Serial: "M2-0092", Purpose: "activation", Antenna: "wide 58° × 29°", FittedSince: "2021-04-12",
				Mount: mount, Settings: settings, Field: &fleet.ReportField{WidthM: 3.9, DepthM: 1.95, NearM: 0, FarM: 1.95, AreaM2: 6.1, ModelVersion: "1", Polygons: fleet.ReportPolygons{{clipped(ellipse(0, 0.8, 1.95, 1.15))}}}},
		},
		LastInspection: &fleet.ReportInspection{VisitID: "0198f3a2-0000-7000-8000-00000000beef", Date: "2026-11-24", Kind: "inspection", Result: "failed", SignedAt: "2026-11-24T23:10:00Z",
			Inspector:    fleet.ReportInspector{Name: "Ines Calloway", Employer: "Brackwater Door Service", Qualification: "certified inspector, automatic pedestrian doors", CertificateNo: "4471", Allows: "full_energy", Issuer: "Guild of Door Inspectors (invented)", ValidFrom: "2024-09-01", ValidUntil: "2027-08-31"},
			RecordSHA256: strings.Repeat("4be1", 16)},
		Verdicts: []fleet.ReportVerdict{
			{RuleID: "closing-speed", Title: "Closing speed", Ground: "readings", Readings: []fleet.ReportReading{number("closing_speed_mps", "closing speed", 0.29, "m/s", 1, ""), decided(number("closing_speed_mps", "closing speed", 0.4, "m/s", 2, ""))},
				Facts:    []fleet.ReportFact{{Name: "leaves[].mass_kg", Value: "48, –"}},
				Measured: amount(0.4/0.3048, "ft/s", 0.4, "m/s"), AtMost: amount(1, "ft/s", 0.3048, "m/s"), Outcome: "failed", Severity: "unsafe", Weight: "binding", Source: "ANSI/BHMA A156.10-2005, 10.1.1", Standing: "second_hand"},
			{RuleID: "latch-check", Title: "Distance of the latch check", Ground: "readings", Readings: []fleet.ReportReading{number("latch_check_distance_m", "latch check", 0.06, "m", 0, "")},
				Measured: amount(0.06/0.0254, "in", 0.06, "m"), AtLeast: amount(2, "in", 0.0508, "m"), Outcome: "passed", Severity: "deficient", Weight: "binding", Source: "ANSI/BHMA A156.10-2005, 10.1.2", Standing: "second_hand"},
			{RuleID: "stopped-leaf-force", Title: "Force that keeps a stopped leaf from closing", Ground: "readings", Readings: []fleet.ReportReading{number("closing_force_n", "stopped leaf force", 118, "N", 0, "")},
				Measured: amount(118/4.4482216152605, "lbf", 118, "N"), AtMost: amount(30, "lbf", 133.446648457815, "N"), Outcome: "passed", Severity: "unsafe", Weight: "binding", Source: "ANSI/BHMA A156.10-2005, 10.1.3", Standing: "second_hand"},
			{RuleID: "breakout-force", Title: "Force that breaks the leaf out", Ground: "readings", Readings: []fleet.ReportReading{number("breakout_force_n", "breakout force", 190, "N", 1, "a")},
				Missing: []string{"whether leaves break out for escape"}, Reason: "Values are missing or impossible.", Outcome: "not_judged", Severity: "unsafe", Weight: "binding", Source: "ANSI/BHMA A156.10-2005, 10.1.4", Standing: "second_hand"},
			{RuleID: "presence-detection", Title: "Presence detection", Ground: "register", Facts: []fleet.ReportFact{{Name: "presence_by", Value: "both"}}, Outcome: "passed", Severity: "unsafe", Weight: "binding", Source: "ANSI/BHMA A156.10-2005, 8.3.2.1-8.3.2.4", Standing: "second_hand"},
			{RuleID: "walk-test", Title: "Walk test", Ground: "readings", Readings: []fleet.ReportReading{{Name: "walk_test_passed", Title: "walk test passed", Yes: ptr(true)}}, Outcome: "passed", Severity: "unsafe", Weight: "binding", Source: "common practice", Standing: "common_practice"},
			{RuleID: "beam-height", Title: "Height of the lowest beam", Outcome: "not_judged", Reason: "Values are missing or impossible.", Missing: []string{"lowest beam"}, Severity: "deficient", Weight: "unverified", Source: "ANSI/BHMA A156.10-2005", Standing: "from_memory"},
			{RuleID: "hold-open-beams", Title: "Hold-open time with beams alone", Outcome: "not_applicable", Reason: "The rule is for other doors.", Readings: []fleet.ReportReading{number("hold_open_s", "hold-open time", 2, "s", 0, "")}, Ground: "readings", Severity: "deficient", Weight: "binding", Source: "ANSI/BHMA A156.10-2005, 8.3.2.1", Standing: "second_hand"},
		},
		JudgedToday: []fleet.ReportJudgedToday{
			{RuleID: "breakout-force", Title: "Force that breaks the leaf out", Then: "not_judged", Now: "failed"},
			{RuleID: "guide-rails", Title: "Guide rails", Now: "passed"},
		},
		Beside: []fleet.ReportBeside{{PackID: "egress-fire@2018", Title: "Ways out and fire doors (IBC, IFC, NFPA)", Role: "law", Caution: "The local fire authority decides.", NotRead: 3, Verdicts: []fleet.ReportVerdict{
			{RuleID: "manual-start", Title: "By hand: setting a powered leaf in motion", Ground: "readings", Readings: []fleet.ReportReading{number("manual_start_force_n", "force that sets in motion", 240, "N", 0, "")},
				Measured: amount(240/4.4482216152605, "lbf", 240, "N"), AtMost: amount(50, "lbf", 222.41108076302504, "N"), Outcome: "failed", Severity: "unsafe", Weight: "binding", Source: "IBC/IFC-2018, 1010.1.4.2", Standing: "found"},
			{RuleID: "breakout-force", Title: "Breakout force", Ground: "readings", Readings: []fleet.ReportReading{number("breakout_force_n", "breakout force", 220, "N", 0, "")},
				Measured: amount(220/4.4482216152605, "lbf", 220, "N"), Low: amount(212/4.4482216152605, "lbf", 212, "N"), High: amount(228/4.4482216152605, "lbf", 228, "N"), AtMost: amount(50, "lbf", 222.41108076302504, "N"),
				Outcome: "undecided", Severity: "unsafe", Weight: "binding", Source: "IBC/IFC-2018, 1010.1.4.2", Standing: "found"},
		}}},
		Unjudged: []fleet.ReportReading{number("manual_full_force_n", "manual opening force", 85, "N", 0, "")},
		Closed:   []fleet.ReportFinding{{ID: "f0", Severity: "deficient", Title: "Threshold loose", OpenedOn: "2026-02-02", ClosedOn: "2026-02-20", State: "mended", Origin: "visit"}},
		Findings: []fleet.ReportFinding{
			{ID: "f1", Severity: "unsafe", Title: "Leaves close faster than allowed", Detail: "1.31 ft/s in three runs; the checking screw of the left leaf turns freely.", Repair: "Replace the checking valve, set the speed, measure again.", OpenedOn: "2026-11-24", RuleID: "closing-speed", Origin: "visit"},
			{ID: "f2", Severity: "deficient", Title: "Sign missing on side B", Repair: "Fit the sign.", OpenedOn: "2026-11-24", MendBy: "2026-12-24", Origin: "visit"},
		},
		OutOfService: []fleet.ReportOutOfService{{ID: "o1", FindingID: "f1", OpenedAt: "2026-11-24T22:31:00Z", OpenedBy: "Ines Calloway", Reason: "Leaves close faster than allowed",
			Secured: &fleet.ReportSecuring{How: "locked_open", At: "2026-11-24T22:40:00Z", By: "Ines Calloway", CanGetOut: ptr(true), OtherExit: "", Note: "tape across both leaves"},
			Told:    []fleet.ReportTold{{Name: "Jo Pell", Role: "duty manager", At: "2026-11-24T22:45:00Z", How: "in person", Answer: "acknowledged"}}}},
		Due:        []fleet.ReportDue{{IntervalMonths: 12, LastOn: "2025-10-30", NextDueOn: "2026-10-30", OverdueDays: 26}},
		WorkOrders: []fleet.ReportWorkOrder{{ID: "w1", Kind: "repair", State: "open", DueOn: "2026-11-25", Note: "Corrective work for 1 finding"}, {ID: "w2", Kind: "inspection", State: "done", DueOn: "2026-10-30", DoneOn: "2026-11-24"}},
		Cautions:   []string{"limits_from_memory", "register_only", "values_unknown"},
	}
	return fleet.ComplianceReport{ReportHead: head, ReportPlace: place, DoorContent: content}
}

func options(t *testing.T) Options {
	return Options{Texts: words(t), Units: Metric, Paper: A4, DocumentSHA256: strings.Repeat("9c3f", 16), Link: "https://doors.brackwater.example/r/0198f3a2-6b1c-7e44-9d0a-5c7b2f31aa07"}
}
