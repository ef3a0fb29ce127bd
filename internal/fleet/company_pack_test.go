package fleet_test

import (
	"context"
	"encoding/json"
	"strings"
	"testing"
	"time"

	"lintel.example/lintel/internal/fault"
	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/identity"
	"lintel.example/lintel/internal/seal"
)

var administrator = identity.Actor{PersonID: dispatcher.PersonID, Name: "Ada Lindqvist", Role: identity.Administrator, ScopeKind: identity.ScopeAll, Units: "metric", Language: "en"}

// housePack is a pack of the company's own: a door does not press harder than 80 N, where its standard allows 133 N (30 lbf).
const housePack = `id: house@1
title: "House rules"
caution: "Stricter than the standard; invented for tests."
standard: "House rules"
edition: "1"
role: company
jurisdiction: any
applies_to: {kinds: [sliding], energies: [full]}
rules:
  - id: soft-closing
    title: "Closes softly"
    asks: "The closing leaf stops at 80 N or less."
    measured: reading.closing_force_n
    limit: {at_most: 80, unit: N}
    severity: deficient
    standing: common_practice
    source: {note: "rule of the house"}
`

// edition is the house pack in another edition with another limit.
func edition(of, limit string) string {
	return strings.NewReplacer("house@1", "house@"+of, `edition: "1"`, `edition: "`+of+`"`, "at_most: 80", "at_most: "+limit).Replace(housePack)
}

func (r *rig) addPack(t testing.TB, id, text string) {
	t.Helper()
	if _, created, err := r.PutCompanyPack(t.Context(), administrator, fleet.CompanyPack{PackID: id, Text: text, Note: "tried"}); err != nil || !created {
		t.Fatal(created, err)
	}
}

func (r *rig) activate(t testing.TB, id, from string) {
	t.Helper()
	name, _, _ := strings.Cut(id, "@")
	if _, _, err := r.PutPackActivation(t.Context(), administrator, fleet.PackActivation{ActivationID: r.id(), PackName: name, PackID: id, From: day(from), Why: "decided"}); err != nil {
		t.Fatal(err)
	}
}

func TestAStricterRuleOfTheCompanysJudgesFromItsDayOnAndNotBefore(t *testing.T) {
	t.Parallel()
	a := newAttended(t) // the morning of 3 March; the door closes at 90 N, its standard allows 133 N
	a.addPack(t, "house@1", housePack)
	a.activate(t, "house@1", "2026-03-05")
	for _, c := range []struct{ on, want string }{{"2026-03-03", ""}, {"2026-03-04", ""}, {"2026-03-05", "passed_against_rules"}, {"2026-03-06", "passed_against_rules"}} {
		err := a.inspection(t, technician, passing()...)
		switch {
		case c.want == "" && err != nil:
			t.Errorf("%s: %v", c.on, err)
		case c.want != "":
			wantFault(t, err, c.want)
			if err := fault.Of(err)[0].Error(); !strings.Contains(err, "soft-closing") {
				t.Errorf("%s: %s", c.on, err)
			}
		}
		a.pass(24 * time.Hour)
	}
	if err := a.inspection(t, technician, append(allRead(), concluded("failed"))...); err != nil {
		t.Error("a door that fails by the company's rules is signed as failed:", err)
	}
}

func TestAMissingReadingOfTheCompanysRuleKeepsADoorFromPassing(t *testing.T) {
	t.Parallel()
	a := newAttended(t)
	a.addPack(t, "house@1", strings.NewReplacer("closing_force_n", "changing_gap_m", "at_most: 80, unit: N", "at_most: 25, unit: mm").Replace(housePack))
	a.activate(t, "house@1", "2026-03-03")
	err := a.inspection(t, technician, passing()...)
	wantFault(t, err, "readings_missing")
	if err := a.inspection(t, technician, passing(measured("changing_gap_m", 0.02))...); err != nil {
		t.Error(err)
	}
}

func TestACompanysPackThatAsksNothingOfADoorDoesNotKeepItFromPassing(t *testing.T) {
	t.Parallel()
	for name, text := range map[string]string{
		"advice only":           strings.Replace(housePack, "severity: deficient", "severity: advisory", 1),
		"a rule for others":     strings.Replace(housePack, "    measured:", "    when: leaves.exists(l, l.mass_kg > 500.0)\n    measured:", 1),
		"other kinds":           strings.Replace(housePack, "[sliding]", "[revolving]", 1),
		"another jurisdiction":  strings.Replace(housePack, "jurisdiction: any", "jurisdiction: CA", 1),
		"the site's own region": strings.NewReplacer("jurisdiction: any", "jurisdiction: US", "at_most: 80", "at_most: 100").Replace(housePack),
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			a := newAttended(t)
			a.addPack(t, "house@1", text)
			a.activate(t, "house@1", "2026-03-03")
			if err := a.inspection(t, technician, passing()...); err != nil {
				t.Error(err)
			}
		})
	}
}

func TestTheSealedRecordNamesTheCompanysPackAndItsDigest(t *testing.T) {
	t.Parallel()
	a := newAttended(t)
	text := edition("1", "100")
	a.addPack(t, "house@1", text)
	a.activate(t, "house@1", "2026-03-03")
	if err := a.inspection(t, technician, passing()...); err != nil {
		t.Fatal(err)
	}
	var canonical []byte
	if err := a.db.Admin.QueryRow(t.Context(), "select canonical from record_log where kind = 'visit'").Scan(&canonical); err != nil {
		t.Fatal(err)
	}
	var record struct {
		Judged []struct {
			Pack, Beside string
			PackDigest   string `json:"pack_digest"`
			Verdicts     []struct {
				RuleID  string `json:"rule_id"`
				Outcome string
			}
		}
	}
	if err := json.Unmarshal(canonical, &record); err != nil {
		t.Fatal(err)
	}
	for _, j := range record.Judged {
		if j.Pack != "house@1" {
			continue
		}
		if j.Beside != "company" || j.PackDigest != seal.HashOf([]byte(text)).String() || len(j.Verdicts) != 1 || j.Verdicts[0].RuleID != "soft-closing" || j.Verdicts[0].Outcome != "passed" {
			t.Errorf("%+v", j)
		}
		return
	}
	t.Errorf("judged by %+v", record.Judged)
}

func TestANewEditionEndsTheFormerOneOnItsDayAndAnEndEndsAll(t *testing.T) {
	t.Parallel()
	a := newAttended(t)
	for of, limit := range map[string]string{"1": "80", "2": "100", "3": "70"} {
		a.addPack(t, "house@"+of, edition(of, limit))
	}
	a.activate(t, "house@1", "2026-03-03")
	a.activate(t, "house@2", "2026-03-05")
	until := fleet.PackActivation{ActivationID: a.id(), PackName: "house", PackID: "house@3", From: day("2026-03-07"), Until: day("2026-03-08"), Why: "two days"}
	if _, _, err := a.PutPackActivation(t.Context(), administrator, until); err != nil {
		t.Fatal(err)
	}
	a.activate(t, "house@1", "2026-03-10")
	if _, _, err := a.PutPackActivation(t.Context(), administrator, fleet.PackActivation{ActivationID: a.id(), PackName: "house", From: day("2026-03-11"), Why: "enough"}); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		on     string
		passes bool // at 90 N
	}{
		{"2026-03-03", false}, {"2026-03-04", false}, // edition 1
		{"2026-03-05", true}, {"2026-03-06", true}, // edition 2
		{"2026-03-07", false}, {"2026-03-08", false}, // edition 3, for two days
		{"2026-03-09", true},                       // none
		{"2026-03-10", false},                      // edition 1 once more
		{"2026-03-11", true}, {"2026-03-12", true}, // none
	} {
		if err := a.inspection(t, technician, passing()...); (err == nil) != c.passes {
			t.Errorf("%s: %v", c.on, err)
		}
		a.pass(24 * time.Hour)
	}
	p, err := a.RulePack(t.Context(), administrator, "house@1")
	if err != nil || len(p.Periods) != 2 || p.Periods[0].Until != day("2026-03-04") || p.Periods[1].From != day("2026-03-10") || p.InForce {
		t.Errorf("%+v, %v", p.Periods, err)
	}
}

func TestOfActivationsOfOneDayTheLastRecordedCounts(t *testing.T) {
	t.Parallel()
	a := newAttended(t)
	a.addPack(t, "house@1", housePack)
	a.addPack(t, "house@2", edition("2", "100"))
	a.activate(t, "house@1", "2026-03-03")
	a.pass(time.Second)
	a.activate(t, "house@2", "2026-03-03")
	if err := a.inspection(t, technician, passing()...); err != nil {
		t.Error(err)
	}
}

func TestWhatWasConcludedBeforeTheDayAndSignedAfterItIsJudgedByItsOwnDay(t *testing.T) {
	t.Parallel()
	a := newAttended(t)
	a.addPack(t, "house@1", housePack)
	a.pass(-24 * time.Hour) // the visit was on 2 March and reaches the server on 4 March
	a.late = 48 * time.Hour
	a.activate(t, "house@1", "2026-03-04")
	if err := a.inspection(t, technician, passing()...); err != nil {
		t.Error(err)
	}
}

func TestAnActivatedPackIsChangedByNobody(t *testing.T) {
	t.Parallel()
	a := newAttended(t)
	a.addPack(t, "house@1", housePack)
	a.activate(t, "house@1", "2026-03-03")
	_, _, err := a.PutCompanyPack(t.Context(), administrator, fleet.CompanyPack{PackID: "house@1", Text: edition("1", "200")})
	wantFault(t, err, "pack_differs")
	if _, created, err := a.PutCompanyPack(t.Context(), administrator, fleet.CompanyPack{PackID: "house@1", Text: housePack}); err != nil || created {
		t.Error("the same again:", created, err)
	}
	for _, statement := range []string{
		"update company_pack set body = 'id: house@1'", "delete from company_pack", "truncate company_pack cascade",
		"update company_pack_activation set from_day = from_day - 1", "delete from company_pack_activation",
	} {
		for _, role := range []string{"lintel_staff", "lintel_gate", "lintel_jobs", "lintel_customer", "lintel_site"} {
			tx, err := a.db.App.Begin(t.Context())
			if err != nil {
				t.Fatal(err)
			}
			if _, err := tx.Exec(t.Context(), "set local role "+role); err != nil {
				t.Fatal(err)
			}
			if _, err := tx.Exec(t.Context(), statement); err == nil || !strings.Contains(err.Error(), "42501") {
				t.Errorf("%s as %s: %v", statement, role, err)
			}
			_ = tx.Rollback(context.Background())
		}
	}
}

func TestAPackOfTheCompanysIsHeldAgainstEverythingThatCanBeWrong(t *testing.T) {
	t.Parallel()
	r := newFleet(t)
	for name, c := range map[string]struct {
		id, text string
		want     []string
	}{
		"nothing":           {"house@1", "", []string{"text_missing at /text"}},
		"two mistakes":      {"house@1", strings.NewReplacer("unit: N", "unit: stone", "severity: deficient", "severity: bad").Replace(housePack), []string{"pack_mistake at /text"}},
		"no YAML":           {"house@1", "id: [", []string{"pack_mistake at /text"}},
		"a name that ships": {"a156.10@9", strings.NewReplacer("house@1", "a156.10@9", `edition: "1"`, `edition: "9"`).Replace(housePack), []string{"pack_name_shipped at /text"}},
		"a basis":           {"house@1", strings.Replace(housePack, "role: company", "role: basis", 1), []string{"pack_not_of_company at /text"}},
		"another id":        {"house@2", housePack, []string{"pack_of_other_id at /text"}},
	} {
		t.Log(name)
		_, _, err := r.PutCompanyPack(t.Context(), administrator, fleet.CompanyPack{PackID: c.id, Text: c.text})
		wantFault(t, err, c.want...)
	}
	if n := r.count(t, "select count(*) from company_pack"); n != 0 {
		t.Error(n, "packs are there")
	}
}

func TestAnActivationIsHeldAgainstEverythingThatCanBeWrong(t *testing.T) {
	t.Parallel()
	r := newFleet(t)
	r.addPack(t, "house@1", housePack)
	good := fleet.PackActivation{ActivationID: r.id(), PackName: "house", PackID: "house@1", From: day("2026-03-03"), Why: "decided"}
	for name, c := range map[string]struct {
		change func(*fleet.PackActivation)
		want   string
	}{
		"yesterday":         {func(a *fleet.PackActivation) { a.From = day("2026-03-02") }, "activation_in_the_past at /from_day"},
		"no day":            {func(a *fleet.PackActivation) { a.From = day("2026-03-03"); a.From = fleet.PackActivation{}.From }, "date_missing at /from_day"},
		"no reason":         {func(a *fleet.PackActivation) { a.Why = " " }, "text_missing at /why"},
		"the wrong way":     {func(a *fleet.PackActivation) { a.Until = day("2026-03-01") }, "until_before_from at /until_day"},
		"unknown edition":   {func(a *fleet.PackActivation) { a.PackID = "house@7" }, "pack_not_found at /pack"},
		"one of another":    {func(a *fleet.PackActivation) { a.PackName = "home" }, "pack_of_other_name at /pack"},
		"a pack that ships": {func(a *fleet.PackActivation) { a.PackName, a.PackID = "a156.10", "a156.10@2005" }, "pack_not_found at /pack"},
		"nothing to end":    {func(a *fleet.PackActivation) { a.PackID = "" }, "nothing_to_end at /from_day"},
	} {
		t.Log(name)
		a := good
		c.change(&a)
		_, _, err := r.PutPackActivation(t.Context(), administrator, a)
		wantFault(t, err, c.want)
	}
	for i, created := range []bool{true, false} {
		if _, is, err := r.PutPackActivation(t.Context(), administrator, good); err != nil || is != created {
			t.Error(i, is, err)
		}
	}
	other := good
	other.Why = "decided otherwise"
	_, _, err := r.PutPackActivation(t.Context(), administrator, other)
	wantFault(t, err, "activation_differs")
	if n := r.count(t, "select count(*) from change_log where subject_kind in ('company_pack', 'company_pack_activation')"); n != 2 {
		t.Errorf("%d acts are recorded, want the adding and the activation", n)
	}
}

func TestOutsidersSeeTheCompanysPackOnceItJudges(t *testing.T) {
	t.Parallel()
	r := newFleet(t)
	customer := r.customer(t, "Brandt Retail").CustomerID
	r.site(t, customer, "Mill")
	owner := agentOf(customer)
	r.addPack(t, "house@1", housePack)
	r.addPack(t, "house@2", edition("2", "100"))
	_, err := r.RulePack(t.Context(), owner, "house@1")
	wantFault(t, err, "pack_not_found")
	r.activate(t, "house@1", "2026-03-03")
	if p, err := r.RulePack(t.Context(), owner, "house@1"); err != nil || !p.InForce || p.Company.Text != housePack {
		t.Errorf("%+v, %v", p, err)
	}
	list, err := r.RulePacks(t.Context(), owner)
	if err != nil || list[len(list)-1].ID != "house@1" {
		t.Errorf("%v", err)
	}
}
