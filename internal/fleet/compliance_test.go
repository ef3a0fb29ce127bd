package fleet

import (
	"reflect"
	"slices"
	"strings"
	"testing"
)

// orderly is a report of a door on which nothing is amiss.
func orderly() ComplianceReport {
	return ComplianceReport{
		ReportHead: ReportHead{Format: ComplianceReportFormat, ID: "r1", MadeAt: "2026-11-25T14:49:01Z", AsOf: "2026-11-25", Audience: "customer"},
		DoorContent: DoorContent{Door: ReportDoor{Tag: "10000018"}, RuleBasis: &ReportRuleBasis{}, LastInspection: &ReportInspection{Result: "passed"},
			Due: []ReportDue{{NextDueOn: "2027-01-01"}}},
	}
}

func TestStatesOfAComplianceReportFollowFromItsContent(t *testing.T) {
	for name, c := range map[string]struct {
		change func(r *ComplianceReport)
		want   []string
	}{
		"nothing amiss":              {func(*ComplianceReport) {}, []string{"in_order"}},
		"nothing known":              {func(r *ComplianceReport) { *r = ComplianceReport{} }, []string{"never_inspected", "no_due_date", "no_rule_basis"}},
		"case without securing":      {func(r *ComplianceReport) { r.OutOfService = []ReportOutOfService{{}} }, []string{"unsafe_not_secured"}},
		"case with securing":         {func(r *ComplianceReport) { r.OutOfService = []ReportOutOfService{{Secured: &ReportSecuring{}}} }, []string{"unsafe_secured"}},
		"one of two cases unsecured": {func(r *ComplianceReport) { r.OutOfService = []ReportOutOfService{{Secured: &ReportSecuring{}}, {}} }, []string{"unsafe_not_secured"}},
		"unsafe finding":             {func(r *ComplianceReport) { r.Findings = []ReportFinding{{Severity: "unsafe", Origin: "visit"}} }, []string{"unsafe_finding"}},
		"a danger since yesterday": {func(r *ComplianceReport) {
			r.Findings = []ReportFinding{{Severity: "deficient", Origin: "visit", MendBy: "2026-03-01", Danger: true}}
		}, []string{"unsafe_by_date", "deficient"}},
		"computed is never unsafe": {func(r *ComplianceReport) { r.Findings = []ReportFinding{{Severity: "unsafe", Origin: "computed"}} }, []string{"in_order"}},
		"overdue, failed and deficient": {func(r *ComplianceReport) {
			r.Due[0].OverdueDays, r.LastInspection.Result = 1, "failed"
			r.Findings = []ReportFinding{{Severity: "deficient", Origin: "visit"}}
		}, []string{"overdue", "last_failed", "deficient"}},
	} {
		r := orderly()
		c.change(&r)
		if got := r.States(); !slices.Equal(got, c.want) {
			t.Errorf("%s: %v, want %v", name, got, c.want)
		}
	}
}

func TestComplianceReportThatMustNotBeSealedIsRefusedByMember(t *testing.T) {
	if err := orderly().Check(); err != nil {
		t.Fatalf("an orderly report is refused: %v", err)
	}
	for member, change := range map[string]func(r *ComplianceReport){
		"format":      func(r *ComplianceReport) { r.Format = "" },
		"id":          func(r *ComplianceReport) { r.ID = "" },
		"made_at":     func(r *ComplianceReport) { r.MadeAt = "2026-11-25T14:49:01+00:00" },
		"as_of":       func(r *ComplianceReport) { r.AsOf = "2026-02-30" },
		"audience":    func(r *ComplianceReport) { r.Audience = "everybody" },
		"door.tag":    func(r *ComplianceReport) { r.Door.Tag = "" },
		"findings[0]": func(r *ComplianceReport) { r.Findings = []ReportFinding{{Origin: "computed", Severity: "advisory"}} },
		"findings[0].severity": func(r *ComplianceReport) {
			r.Audience, r.Findings = "internal", []ReportFinding{{Origin: "computed", Severity: "unsafe"}}
		},
	} {
		r := orderly()
		change(&r)
		if err := r.Check(); err == nil || !strings.Contains(err.Error(), ": "+member+": ") {
			t.Errorf("%s: error %v does not name it", member, err)
		}
	}
}

func TestComplianceReportHasNoMemberForSecrets(t *testing.T) {
	seen := map[reflect.Type]bool{}
	var walk func(ty reflect.Type)
	walk = func(ty reflect.Type) {
		switch ty.Kind() {
		case reflect.Pointer, reflect.Slice, reflect.Array:
			walk(ty.Elem())
		case reflect.Struct:
			if seen[ty] {
				return
			}
			seen[ty] = true
			for i := range ty.NumField() {
				f := ty.Field(i)
				tag := f.Tag.Get("json")
				if tag == "" && !f.Anonymous {
					t.Errorf("%s.%s has no JSON name", ty, f.Name)
				}
				for _, secret := range []string{"code", "lock", "secret", "password", "token"} {
					if strings.Contains(tag, secret) {
						t.Errorf("%s.%s is called %q", ty, f.Name, tag)
					}
				}
				walk(f.Type)
			}
		}
	}
	walk(reflect.TypeFor[ComplianceReport]())
	if len(seen) < 25 {
		t.Errorf("only %d types looked at", len(seen))
	}
}
