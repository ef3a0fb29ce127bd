package fleet_test

import (
	"bytes"
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/uuid"

	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/identity"
	"lintel.example/lintel/internal/report"
	"lintel.example/lintel/internal/words"
)

// reporting is an attended door of a company that prints reports.
func reporting(t testing.TB) attended {
	t.Helper()
	a := newAttended(t)
	catalogue, err := loadWords()
	if err != nil {
		t.Fatal(err)
	}
	a.Words, a.Company = catalogue, fleet.ReportCompany{Name: "Calder Moss Doors"}
	a.PrintReport = func(doc fleet.Document, sha256 string) ([]fleet.ReportPrint, error) {
		return report.Print(doc, sha256, func(language string) report.Texts { return catalogue.Printer(language, words.Metric) })
	}
	return a
}

// inspected is a visit a day later, that is signed.
func (a attended) inspected(t *testing.T, bodies ...fleet.EntryBody) {
	t.Helper()
	a.pass(24 * time.Hour)
	if err := a.inspection(t, technician, bodies...); err != nil {
		t.Fatal(err)
	}
	a.pass(3 * time.Hour)
}

func (a attended) make(t testing.TB, by identity.Actor, ask fleet.ReportAsk) fleet.Report {
	t.Helper()
	r, created, err := a.MakeReport(t.Context(), by, a.id(), ask)
	if err != nil || !created {
		t.Fatal(created, err)
	}
	return r
}

// said reads the document of a report back.
func said[D any](t testing.TB, r fleet.Report) (doc D) {
	t.Helper()
	if err := json.Unmarshal(r.Canonical, &doc); err != nil {
		t.Fatal(err)
	}
	return doc
}

func TestTheSameReportAskedForAgainIsTheSameBytesAndAnotherUnderItsIdIsRefused(t *testing.T) {
	t.Parallel()
	a := reporting(t)
	ask := fleet.ReportAsk{Kind: fleet.KindDoor, DoorID: a.door.DoorID}
	first := a.make(t, dispatcher, ask)
	a.inspected(t, found("unsafe", "closes on people"), concluded("failed"))
	again, created, err := a.MakeReport(t.Context(), dispatcher, first.ReportID, ask)
	if err != nil || created || again.SHA256 != first.SHA256 || !bytes.Equal(again.Canonical, first.Canonical) {
		t.Errorf("created %v, %v", created, err)
	}
	for _, form := range []string{"pdf", "html", "csv"} {
		kept, err := a.ReportIn(t.Context(), dispatcher, first.ReportID, form)
		if made, _ := first.Print(form); err != nil || !bytes.Equal(kept.Bytes, made.Bytes) || kept.SHA256 != made.SHA256 || len(kept.Bytes) == 0 {
			t.Errorf("%s: %v", form, err)
		}
	}
	other := a.rig.door(t, a.site.SiteID, "Side")
	for pointer, change := range map[string]func(*fleet.ReportAsk){
		"/door_id": func(k *fleet.ReportAsk) { k.DoorID = other.DoorID },
		"/kind":    func(k *fleet.ReportAsk) { k.Kind = fleet.KindCertificate },
		"/as_of":   func(k *fleet.ReportAsk) { k.AsOf = day("2026-02-02") },
	} {
		asked := ask
		change(&asked)
		_, _, err := a.MakeReport(t.Context(), dispatcher, first.ReportID, asked)
		wantFault(t, err, "report_differs at "+pointer)
	}
	if n := a.count(t, "select count(*) from record_log where kind = 'report'"); n != 1 {
		t.Errorf("%d records, want 1", n)
	}
}

func TestAReportThatCannotBeMadeIsRefusedByItsMember(t *testing.T) {
	t.Parallel()
	a := reporting(t)
	door, site, customer := a.door.DoorID, a.site.SiteID, a.site.CustomerID
	for want, ask := range map[string]fleet.ReportAsk{
		"word_unknown at /kind":                    {Kind: "wall"},
		"word_unknown at /paper":                   {Kind: fleet.KindDoor, DoorID: door, Paper: "a3"},
		"report_subject_missing at /door_id":       {Kind: fleet.KindCertificate},
		"report_subject_missing at /site_id":       {Kind: fleet.KindSite},
		"report_subject_of_other_kind at /site_id": {Kind: fleet.KindDoor, DoorID: door, SiteID: site},
		"report_subject_of_other_kind at /sites":   {Kind: fleet.KindSite, SiteID: site, Sites: []uuid.UUID{site}},
		"report_of_customer_and_sites at /sites":   {Kind: fleet.KindPortfolio, CustomerID: customer, Sites: []uuid.UUID{site}},
		"report_of_the_future at /as_of":           {Kind: fleet.KindDoor, DoorID: door, AsOf: day("2026-03-04")},
		"report_before_the_door at /as_of":         {Kind: fleet.KindDoor, DoorID: door, AsOf: day("2025-12-30")},
		"site_not_found at /sites/1":               {Kind: fleet.KindPortfolio, Sites: []uuid.UUID{site, a.id()}},
		"door_not_found":                           {Kind: fleet.KindDoor, DoorID: a.id()},
		"customer_not_found":                       {Kind: fleet.KindPortfolio, CustomerID: a.id()},
		"report_without_doors":                     {Kind: fleet.KindPortfolio, CustomerID: a.customer(t, "Nobody").CustomerID},
	} {
		_, _, err := a.MakeReport(t.Context(), dispatcher, a.id(), ask)
		wantFault(t, err, want)
	}
	if n := a.count(t, "select count(*) from report"); n != 0 {
		t.Errorf("%d reports were made", n)
	}
}

func TestAReportSaysOfEachVerdictWhatItRestsOnAndOfEachReadingWhatBecameOfIt(t *testing.T) {
	t.Parallel()
	a := reporting(t)
	a.pass(24 * time.Hour)
	a.changed(t, func(f *fleet.DoorFacts) {
		f.Egress = nil
		for i := range f.Leaves {
			f.Leaves[i].MassKg = fleet.UnknownQuantity()
		}
	})
	a.inspected(t, atLeaf(1, measured("latch_check_distance_m", 0.06)), atLeaf(2, measured("latch_check_distance_m", 0.02)), measured("closing_speed_mps", 0.27), measured("hold_open_s", 2),
		measured("breakout_force_n", 190), measured("manual_full_force_n", 85), concluded("failed"))
	doc := said[fleet.ComplianceReport](t, a.make(t, dispatcher, fleet.ReportAsk{Kind: fleet.KindDoor, DoorID: a.door.DoorID}))
	verdict := func(rule string) fleet.ReportVerdict {
		i := slices.IndexFunc(doc.Verdicts, func(v fleet.ReportVerdict) bool { return v.RuleID == rule })
		if i < 0 {
			t.Fatalf("no verdict of %s", rule)
		}
		return doc.Verdicts[i]
	}
	if v := verdict("presence-detection"); v.Ground != "register" || len(v.Facts) != 1 || v.Facts[0] != (fleet.ReportFact{Name: "presence_by", Value: "both"}) {
		t.Errorf("presence detection: %+v", v)
	}
	if !slices.Contains(doc.DoorContent.Cautions, "register_only") || !slices.Contains(doc.DoorContent.Cautions, "presence_device_missing") {
		t.Errorf("cautions %v", doc.DoorContent.Cautions)
	}
	if v := verdict("hold-open-sensors"); v.Ground != "readings" || len(v.Readings) != 1 || !v.Readings[0].Decided {
		t.Errorf("hold-open time: %+v", v)
	}
	// Nobody recorded whether the door is part of a way out, and what its leaves weigh.
	if v := verdict("breakout-force"); v.Outcome != "not_judged" || len(v.Readings) != 1 || *v.Readings[0].Value != 190 || !slices.Equal(v.Missing, []string{"whether it is part of a way out"}) {
		t.Errorf("breakout force: %+v", v)
	}
	if v := verdict("closing-speed"); v.Outcome != "not_judged" || len(v.Readings) != 1 || !slices.Equal(v.Missing, []string{"mass of leaf 1", "mass of leaf 2"}) {
		t.Errorf("closing speed: %+v", v)
	}
	if v := verdict("latch-check"); v.Outcome != "failed" || len(v.Readings) != 2 || v.Readings[0].Decided || !v.Readings[1].Decided || v.Readings[1].Leaf != 2 {
		t.Errorf("latch check: %+v", v)
	}
	if len(doc.Unjudged) != 1 || doc.Unjudged[0].Name != "manual_full_force_n" || *doc.Unjudged[0].Value != 85 {
		t.Errorf("unjudged: %+v", doc.Unjudged)
	}
}

func TestAReportOfAPastDaySaysHowThingsStoodThen(t *testing.T) {
	t.Parallel()
	a := reporting(t)
	a.inspected(t, found("unsafe", "closes on people"), secured("locked_open", "acknowledged"), concluded("failed"))
	then := day("2026-03-04")
	a.inspected(t, passing()...)
	ask := fleet.ReportAsk{Kind: fleet.KindDoor, DoorID: a.door.DoorID, AsOf: then}
	past, now := said[fleet.ComplianceReport](t, a.make(t, dispatcher, ask)), said[fleet.ComplianceReport](t, a.make(t, dispatcher, fleet.ReportAsk{Kind: fleet.KindDoor, DoorID: a.door.DoorID}))
	if got := past.States(); past.AsOf != "2026-03-04" || got[0] != "unsafe_secured" || past.LastInspection.Result != "failed" || len(past.Closed) != 0 {
		t.Errorf("then: %v, %+v", got, past.LastInspection)
	}
	if got := now.States(); got[0] != "in_order" || now.LastInspection.Result != "passed" || len(now.Closed) != 1 || now.Closed[0].State != "cleared" {
		t.Errorf("now: %v, %+v", got, now.Closed)
	}
	site := said[fleet.SiteDocument](t, a.make(t, dispatcher, fleet.ReportAsk{Kind: fleet.KindSite, SiteID: a.site.SiteID, AsOf: then}))
	portfolio := said[fleet.PortfolioDocument](t, a.make(t, dispatcher, fleet.ReportAsk{Kind: fleet.KindPortfolio, CustomerID: a.site.CustomerID, AsOf: then}))
	for _, l := range []fleet.OverviewLine{site.Overview[0], portfolio.Overview[0]} {
		if !slices.Equal(l.States, past.States()) || l.LastResult != "failed" {
			t.Errorf("in an overview: %+v", l)
		}
	}
}

// What is learnt after the signature changes nothing of what was signed; it stands apart. An owner is told the same.
func TestAReportShowsTheVerdictsAsTheyWereSealedAndApartWhatIsJudgedOtherwiseToday(t *testing.T) {
	t.Parallel()
	a := reporting(t)
	a.pass(24 * time.Hour)
	before := a.now
	a.inspected(t, passing()...)
	ask := fleet.ReportAsk{Kind: fleet.KindDoor, DoorID: a.door.DoorID}
	signed := said[fleet.ComplianceReport](t, a.make(t, dispatcher, ask))
	if len(signed.Verdicts) == 0 || len(signed.JudgedToday) != 0 || signed.LastInspection.JudgedBy != "a156.10@2005" {
		t.Fatalf("%d verdicts, today otherwise %v, by %q", len(signed.Verdicts), signed.JudgedToday, signed.LastInspection.JudgedBy)
	}
	a.changedFrom(t, before, func(f *fleet.DoorFacts) {
		for i := range f.Leaves {
			f.Leaves[i].MassKg = fleet.UnknownQuantity()
		}
	})
	for _, by := range []identity.Actor{dispatcher, agentOf(a.site.CustomerID), tenantOf(a.site.SiteID)} {
		r := a.make(t, by, ask)
		doc := said[fleet.ComplianceReport](t, r)
		if diff := cmp.Diff(signed.Verdicts, doc.Verdicts); diff != "" {
			t.Errorf("the verdicts are no longer the signed ones (-signed +now), to scope of %s:\n%s", by.ScopeKind, diff)
		}
		if !slices.ContainsFunc(doc.JudgedToday, func(j fleet.ReportJudgedToday) bool {
			return j.RuleID == "closing-speed" && j.Then == "passed" && j.Now == "not_judged"
		}) || slices.Contains(doc.DoorContent.Cautions, "judged_by_todays_knowledge") {
			t.Errorf("judged today otherwise: %+v, cautions %v", doc.JudgedToday, doc.DoorContent.Cautions)
		}
		csv, err := a.ReportIn(t.Context(), by, r.ReportID, "csv")
		if err != nil || !strings.Contains(string(csv.Bytes), "judged_today,closing-speed") {
			t.Errorf("%v: no line of what is judged otherwise today in\n%s", err, csv.Bytes)
		}
	}
	certificate := said[fleet.CertificateDocument](t, a.make(t, dispatcher, fleet.ReportAsk{Kind: fleet.KindCertificate, DoorID: a.door.DoorID}))
	if len(certificate.JudgedToday) == 0 {
		t.Error("the certificate does not say what would be judged otherwise today")
	}
}

// season is a customer with two sites and doors that stand in every way.
func (a attended) season(t *testing.T) (second fleet.Site) {
	t.Helper()
	second = a.rig.site(t, a.site.CustomerID, "Yard")
	a.rig.door(t, second.SiteID, "never looked at")
	a.inspected(t, found("unsafe", "closes on people"), concluded("failed"))
	quiet := a
	quiet.door = a.rig.door(t, a.site.SiteID, "quiet")
	quiet.inspected(t, passing()...)
	worn := a
	worn.site, worn.door = second, a.rig.door(t, second.SiteID, "worn")
	worn.inspected(t, found("deficient", "edge worn"), concluded("failed"))
	mended := a
	mended.door = a.rig.door(t, a.site.SiteID, "secured")
	mended.inspected(t, found("unsafe", "sharp edge"), secured("barriered", "acknowledged"), concluded("failed"))
	return second
}

func TestASiteAndAPortfolioSayTheSameOfEachDoorGravestFirst(t *testing.T) {
	t.Parallel()
	a := reporting(t)
	second := a.season(t)
	first := said[fleet.SiteDocument](t, a.make(t, dispatcher, fleet.ReportAsk{Kind: fleet.KindSite, SiteID: a.site.SiteID}))
	other := said[fleet.SiteDocument](t, a.make(t, dispatcher, fleet.ReportAsk{Kind: fleet.KindSite, SiteID: second.SiteID}))
	portfolio := said[fleet.PortfolioDocument](t, a.make(t, dispatcher, fleet.ReportAsk{Kind: fleet.KindPortfolio, CustomerID: a.site.CustomerID}))
	var states []string
	byDoor := map[string]fleet.OverviewLine{}
	for _, l := range portfolio.Overview {
		states = append(states, l.States[0])
		byDoor[l.DoorID] = l
	}
	if want := []string{"unsafe_not_secured", "unsafe_secured", "last_failed", "never_inspected", "no_due_date"}; !slices.Equal(states, want) {
		t.Errorf("order %v, want %v", states, want)
	}
	for _, l := range append(first.Overview, other.Overview...) {
		if got, want := fmt.Sprint(byDoor[l.DoorID]), fmt.Sprint(l); got != want {
			t.Errorf("the portfolio says %s, the site %s", got, want)
		}
	}
	for i, d := range first.Doors {
		if d.Door.ID != first.Overview[i].DoorID {
			t.Errorf("door %d stands elsewhere than in the overview", i+1)
		}
	}
}

func TestOutsidersMakeAndReadPortfoliosOfWhatTheySee(t *testing.T) {
	t.Parallel()
	a := reporting(t)
	second := a.season(t)
	strange := a.rig.site(t, a.customer(t, "Other Stores").CustomerID, "Else")
	a.rig.door(t, strange.SiteID, "theirs")
	all := fleet.ReportAsk{Kind: fleet.KindPortfolio}
	owner, tenant := agentOf(a.site.CustomerID), tenantOf(a.site.SiteID)
	everything, own, part := a.make(t, dispatcher, all), a.make(t, owner, all), a.make(t, tenant, all)
	for name, c := range map[string]struct {
		r     fleet.Report
		sites int
		see   []identity.Actor
		not   []identity.Actor
	}{
		"everything":   {everything, 3, []identity.Actor{dispatcher}, []identity.Actor{owner, tenant}},
		"a customer's": {own, 2, []identity.Actor{dispatcher, owner, tenantOf(a.site.SiteID, second.SiteID)}, []identity.Actor{tenant, agentOf(strange.CustomerID)}},
		"a tenant's":   {part, 1, []identity.Actor{dispatcher, owner, tenant}, []identity.Actor{agentOf(strange.CustomerID), tenantOf(second.SiteID)}},
	} {
		if doc := said[fleet.PortfolioDocument](t, c.r); len(doc.Sites) != c.sites {
			t.Errorf("%s speaks of %d sites, want %d", name, len(doc.Sites), c.sites)
		}
		for _, by := range c.see {
			if _, err := a.ReportIn(t.Context(), by, c.r.ReportID, "csv"); err != nil {
				t.Errorf("%s: not read by scope of %s: %v", name, by.ScopeKind, err)
			}
		}
		for _, by := range c.not {
			_, err := a.Report(t.Context(), by, c.r.ReportID)
			wantFault(t, err, "report_not_found")
			list, err := a.Reports(t.Context(), by, fleet.ReportQuery{BeforeID: c.r.ReportID, Limit: 50})
			if err != nil || slices.ContainsFunc(list, func(r fleet.Report) bool { return r.ReportID == c.r.ReportID }) {
				t.Errorf("%s is in the list of scope of %s (%v)", name, by.ScopeKind, err)
			}
		}
	}
	_, _, err := a.MakeReport(t.Context(), owner, a.id(), fleet.ReportAsk{Kind: fleet.KindPortfolio, Sites: []uuid.UUID{a.site.SiteID, strange.SiteID}})
	wantFault(t, err, "site_not_found at /sites/1")
	_, _, err = a.MakeReport(t.Context(), tenant, a.id(), fleet.ReportAsk{Kind: fleet.KindSite, SiteID: second.SiteID})
	wantFault(t, err, "site_not_found")
}

func TestACertificateIsThereOnlyOfAPassedInspectionByACertifiedInspectorWhileNothingIsUnsafe(t *testing.T) {
	t.Parallel()
	a := reporting(t)
	ask := fleet.ReportAsk{Kind: fleet.KindCertificate, DoorID: a.door.DoorID}
	refused := func(want string) {
		t.Helper()
		_, _, err := a.MakeReport(t.Context(), dispatcher, a.id(), ask)
		wantFault(t, err, want)
	}
	refused("certificate_without_passed_inspection")
	a.inspected(t, concluded("failed"))
	refused("certificate_without_passed_inspection")
	a.inspected(t, passing()...)
	doc := said[fleet.CertificateDocument](t, a.make(t, dispatcher, ask))
	if i := doc.Inspection; i.Result != "passed" || i.Inspector.Name != technician.Name || i.Inspector.CertificateNo != "7" || i.Inspector.Qualification != "Inspector" ||
		i.Inspector.ValidUntil != "2027-01-01" || len(i.RecordSHA256) != 64 {
		t.Errorf("%+v", i)
	}
	if _, err := a.db.Admin.Exec(t.Context(), "update qualification set valid_until = '2026-03-01'"); err != nil { // as if it had ended before
		t.Fatal(err)
	}
	refused("certificate_by_uncertified")
	if _, err := a.db.Admin.Exec(t.Context(), "update qualification set valid_until = '2027-01-01'"); err != nil {
		t.Fatal(err)
	}
	visit := a.open(t)
	a.append(t, visit, a.at(1, found("unsafe", "closes on people"))) // nobody has signed that yet
	a.pass(time.Hour)
	refused("certificate_of_unsafe_door")
}

func TestACSVOfADoorHoldsWhatItsDocumentSays(t *testing.T) {
	t.Parallel()
	a := reporting(t)
	a.inspected(t, found("deficient", "=1+1"), concluded("failed"))
	r := a.make(t, dispatcher, fleet.ReportAsk{Kind: fleet.KindDoor, DoorID: a.door.DoorID})
	p, err := a.ReportIn(t.Context(), dispatcher, r.ReportID, "csv")
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{",finding,", ",deficient,'=1+1,", ",last_failed,", ",clear_width,1.8,m,measured,"} {
		if !strings.Contains(string(p.Bytes), want) {
			t.Errorf("%q is missing in\n%s", want, p.Bytes)
		}
	}
}

func TestADoorsReportShowsADangerAndWhatCameBack(t *testing.T) {
	t.Parallel()
	a := reporting(t)
	a.late = 0
	a.pass(-time.Hour)
	visit := a.open(t)
	again := func(what string) fleet.EntryBody {
		return with(a.at(0, found("deficient", what)), func(b *fleet.EntryBody) { b.Finding.Rule = "signs" })
	}
	first := a.append(t, visit, again("sign gone")).entry
	a.pass(time.Minute)
	a.append(t, visit, a.at(0, mended(first)))
	a.pass(time.Minute)
	a.append(t, visit, again("sign gone once more"))
	a.append(t, visit, with(a.at(0, found("deficient", "edge worn")), func(b *fleet.EntryBody) { b.Finding.SafeUntil = day("2026-03-10") }))
	lines := func() (list []string) {
		t.Helper()
		doc := said[fleet.DoorContent](t, a.make(t, dispatcher, fleet.ReportAsk{Kind: fleet.KindDoor, DoorID: a.door.DoorID}))
		for _, f := range doc.Findings {
			list = append(list, fmt.Sprint(f.Title, ", mend by ", f.MendBy, ", danger ", f.Danger, ", times ", f.Times, " since ", f.FirstOn))
		}
		return list
	}
	if got, want := lines(), []string{"sign gone once more, mend by , danger false, times 2 since 2026-03-03", "edge worn, mend by 2026-03-10, danger false, times 0 since "}; !slices.Equal(got, want) {
		t.Errorf("the report tells %q, want %q", got, want)
	}
	a.now = time.Date(2026, 3, 11, 20, 0, 0, 0, time.UTC)
	if got := lines(); len(got) != 2 || got[0] != "edge worn, mend by 2026-03-10, danger true, times 0 since " {
		t.Errorf("once the day has passed it tells %q", got)
	}
	for kind, states := range map[string][]string{
		"door":      said[fleet.DoorContent](t, a.make(t, dispatcher, fleet.ReportAsk{Kind: fleet.KindDoor, DoorID: a.door.DoorID})).States(),
		"site":      said[fleet.SiteDocument](t, a.make(t, dispatcher, fleet.ReportAsk{Kind: fleet.KindSite, SiteID: a.site.SiteID})).Overview[0].States,
		"portfolio": said[fleet.PortfolioDocument](t, a.make(t, dispatcher, fleet.ReportAsk{Kind: fleet.KindPortfolio})).Overview[0].States,
	} {
		if states[0] != "unsafe_by_date" {
			t.Errorf("a report of kind %s is headed %v", kind, states)
		}
	}
}

func TestACertificateSaysWhatWasReadBeforeTheWorkWhatWasLeftOutWhatWasMendedAndHowItWasSigned(t *testing.T) {
	t.Parallel()
	a := reporting(t)
	visit := a.open(t)
	var pieces []piece
	add := func(body fleet.EntryBody) piece {
		a.pass(time.Minute)
		one := a.append(t, visit, a.at(0, body))
		pieces = append(pieces, one)
		return one
	}
	add(madeSafe())
	add(measured("closing_force_n", 160))
	add(measured("peak_force_n", 300)) // no rule of the basis asks for it, and nobody reads it again
	worn := add(found("deficient", "valve worn"))
	add(mended(worn.entry))
	add(leftOut("breakout_force_n", "not_applicable"))
	for _, body := range passing() {
		add(body)
	}
	a.pass(2 * time.Hour)
	signOff := a.signOff(t, visit, pieces)
	signOff.SignedAt, signOff.LeftAt = a.now, a.now
	if _, _, err := a.PutSignOff(t.Context(), technician, visit, signOff); err != nil {
		t.Fatal(err)
	}
	doc := said[fleet.CertificateDocument](t, a.make(t, dispatcher, fleet.ReportAsk{Kind: fleet.KindCertificate, DoorID: a.door.DoorID}))
	tell := func(list []fleet.ReportReading) (lines []string) {
		for _, r := range list {
			lines = append(lines, fmt.Sprint(r.Name, " ", *r.Value, " ", r.Overtaken))
		}
		return lines
	}
	if got := tell(doc.AsFound); !slices.Equal(got, []string{"closing_force_n 160 read_again"}) {
		t.Errorf("as found: %q", got)
	}
	if got := tell(doc.Unjudged); !slices.Equal(got, []string{"peak_force_n 300 not_read_again"}) {
		t.Errorf("unjudged: %q", got)
	}
	for _, v := range doc.Verdicts {
		for _, r := range v.Readings {
			if r.Overtaken != "" {
				t.Errorf("%s was read after the work and is %q", r.Name, r.Overtaken)
			}
		}
	}
	if got := doc.LeftOut; len(got) != 1 || got[0].Name != "breakout_force_n" || got[0].Reason != "not_applicable" || got[0].Why != "the header is bricked in" {
		t.Errorf("left out: %+v", got)
	}
	if got := doc.Mended; len(got) != 1 || got[0].Title != "valve worn" || got[0].State != "mended" || got[0].ClosedOn != doc.Inspection.Date {
		t.Errorf("mended: %+v", got)
	}
	if i := doc.Inspection; i.Statement != signOff.Statement || i.Signature != signOff.Signature || i.Inspector.CertificateNo != "7" || len(i.RecordSHA256) != 64 {
		t.Errorf("signed: %+v", i)
	}
}
