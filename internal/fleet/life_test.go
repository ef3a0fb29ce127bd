package fleet_test

import (
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/identity"
	"lintel.example/lintel/internal/seal"
)

var support = identity.Actor{PersonID: uuid.MustParse("01950000-0000-7000-8000-000000005077"), Name: "Dee Alder", Role: identity.Support, ScopeKind: identity.ScopeAll, Units: "metric", Language: "en"}

// one gives a finding as it stands.
func (a attended) one(t testing.TB, id uuid.UUID) fleet.Finding {
	t.Helper()
	f, err := a.FindingByID(t.Context(), dispatcher, id)
	if err != nil {
		t.Fatal(err)
	}
	return f
}

func (a attended) show(t testing.TB, findings ...uuid.UUID) fleet.ShownText {
	t.Helper()
	s, err := a.MakeShownText(t.Context(), dispatcher, a.door.DoorID, findings)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// decided is the word of somebody to whom a text was shown.
func decided(s fleet.ShownText, what string) fleet.EntryBody {
	d := fleet.EntryDecision{Findings: s.Findings, Decision: what, ShownSHA256: s.SHA256, Outcome: "signed", Name: "ROSA IMHOF", Role: "owner", Signature: "M0 0L9 9"}
	if what == "deferred" {
		d.Until = day("2026-06-30")
	}
	return fleet.EntryBody{Kind: "decision", Decision: &d}
}

func dismissed(finding uuid.UUID) fleet.EntryBody {
	return fleet.EntryBody{Kind: "dismissal", Dismissal: &fleet.EntryDismissal{FindingID: finding, Reason: "the label hangs behind the plant"}}
}

func TestWhatWasShownIsKeptAndTheDecisionStandsBesideTheFinding(t *testing.T) {
	t.Parallel()
	a := newAttended(t)
	visit := a.open(t)
	label := a.append(t, visit, a.at(1, found("deficient", "label gone"))).entry
	unsafe := a.append(t, visit, a.at(2, found("unsafe", "closes on people"))).entry
	s := a.show(t, unsafe, label)
	if s.SHA256 != seal.HashOf([]byte(s.Text)) {
		t.Errorf("%s is not the hash of what was shown", s.SHA256)
	}
	if again := a.show(t, label, unsafe); again.SHA256 != s.SHA256 || again.MadeAt != s.MadeAt {
		t.Error("the same findings were told in another way")
	}
	for _, want := range []string{"label gone", "closes on people", "Main", "Mill", "People can be hurt", "no legal advice"} {
		if !strings.Contains(s.Text, want) {
			t.Errorf("it does not say %q: %s", want, s.Text)
		}
	}
	if strings.Index(s.Text, "closes on people") > strings.Index(s.Text, "label gone") {
		t.Error("the gravest does not come first")
	}
	a.append(t, visit, a.at(5, decided(s, "quoted")))
	if _, created, err := a.PutFromOffice(t.Context(), dispatcher, a.id(), with(a.at(10, decided(s, "declined")), func(b *fleet.EntryBody) {
		b.Decision.Outcome, b.Decision.Signature, b.Decision.Witness = "by_telephone", "", "Ada Lindqvist took the call"
	})); err != nil || !created {
		t.Fatal(created, err)
	}
	for _, id := range []uuid.UUID{label, unsafe} {
		f := a.one(t, id)
		if f.State != "open" || f.Decided == nil || f.Decided.Decision != "declined" || f.Decided.Name != "ROSA IMHOF" || f.Decided.Outcome != "by_telephone" {
			t.Errorf("%s: %+v", f.State, f.Decided)
		}
	}
	cases, err := a.Cases(t.Context(), dispatcher, fleet.CaseQuery{DoorID: a.door.DoorID, Open: true, Limit: 10})
	if err != nil || len(cases) != 1 || cases[0].State != "unsecured" {
		t.Errorf("a word of the owner changed the case: %+v, %v", cases, err)
	}
	// The owner sees what was shown to them; another customer does not.
	if got, err := a.ShownText(t.Context(), agentOf(a.site.CustomerID), a.door.DoorID, s.SHA256); err != nil || got.Text != s.Text {
		t.Errorf("the owner: %v", err)
	}
	_, err = a.ShownText(t.Context(), agentOf(a.customer(t, "Others").CustomerID), a.door.DoorID, s.SHA256)
	wantFault(t, err, "shown_text_not_found")
}

func TestADecisionThatCannotBeRightChangesNothing(t *testing.T) {
	t.Parallel()
	a := newAttended(t)
	visit := a.open(t)
	label := a.append(t, visit, a.at(1, found("deficient", "label gone"))).entry
	unsafe := a.append(t, visit, a.at(2, found("unsafe", "closes on people"))).entry
	s := a.show(t, label)
	change := func(f func(d *fleet.EntryDecision)) fleet.EntryBody {
		return with(a.at(5, decided(s, "declined")), func(b *fleet.EntryBody) { f(b.Decision) })
	}
	before := a.everything(t)
	for name, c := range map[string]struct {
		body fleet.EntryBody
		want []string
	}{
		"about nothing":               {change(func(d *fleet.EntryDecision) { d.Findings = nil }), []string{"count_out_of_range at /decision/findings"}},
		"about what was not shown":    {change(func(d *fleet.EntryDecision) { d.Findings = []uuid.UUID{label, unsafe} }), []string{"shown_of_others at /decision/findings"}},
		"after nothing was shown":     {change(func(d *fleet.EntryDecision) { d.ShownSHA256 = seal.HashOf([]byte("else")) }), []string{"shown_text_not_found at /decision/shown_sha256"}},
		"put off for ever":            {change(func(d *fleet.EntryDecision) { d.Decision = "deferred" }), []string{"until_missing at /decision/until"}},
		"put off until yesterday":     {change(func(d *fleet.EntryDecision) { d.Decision, d.Until = "deferred", day("2026-03-02") }), []string{"until_passed at /decision/until"}},
		"declined until a day":        {change(func(d *fleet.EntryDecision) { d.Until = day("2026-06-30") }), []string{"until_of_deferred at /decision/until"}},
		"in small letters":            {change(func(d *fleet.EntryDecision) { d.Name = "Rosa Imhof" }), []string{"not_in_capitals at /decision/name"}},
		"signed by nobody":            {change(func(d *fleet.EntryDecision) { d.Name, d.Role, d.Signature = "", "", "" }), []string{"text_missing at /decision/name", "text_missing at /decision/role", "text_missing at /decision/signature"}},
		"signed, and nothing decided": {change(func(d *fleet.EntryDecision) { d.Decision = "none" }), []string{"signed_decides at /decision/decision"}},
		"refused, and signed":         {change(func(d *fleet.EntryDecision) { d.Outcome, d.Witness = "refused_to_sign", "the porter stood by" }), []string{"signature_of_nobody at /decision/signature"}},
		"refused before nobody":       {change(func(d *fleet.EntryDecision) { d.Outcome, d.Signature = "refused_to_sign", "" }), []string{"text_missing at /decision/witness"}},
		"declined by nobody": {change(func(d *fleet.EntryDecision) {
			d.Outcome, d.Name, d.Role, d.Signature, d.Witness = "nobody_there", "", "", "", "rang three times"
		}), []string{"nobody_decided at /decision/decision"}},
		"nobody with a name": {change(func(d *fleet.EntryDecision) {
			d.Outcome, d.Decision, d.Signature, d.Witness = "nobody_there", "none", "", "rang three times"
		}), []string{"nobody_has_no_name at /decision/name", "nobody_has_no_name at /decision/role"}},
		"words that nobody knows": {change(func(d *fleet.EntryDecision) { d.Decision, d.Outcome, d.Witness = "perhaps", "waved", "seen" }), []string{
			"word_unknown at /decision/decision", "word_unknown at /decision/outcome", "signature_of_nobody at /decision/signature"}},
		"an unsafe finding dismissed":       {a.at(5, dismissed(unsafe)), []string{"unsafe_not_dismissed at /dismissal/finding_id"}},
		"dismissed without a reason":        {with(a.at(5, dismissed(label)), func(b *fleet.EntryBody) { b.Dismissal.Reason = "" }), []string{"text_missing at /dismissal/reason"}},
		"what is no finding dismissed":      {a.at(5, dismissed(a.append(t, visit, a.at(3, note("called at the desk"))).entry)), []string{"finding_not_found at /dismissal/finding_id"}},
		"safe until yesterday":              {with(a.at(5, found("deficient", "edge worn")), func(b *fleet.EntryBody) { b.Finding.SafeUntil = day("2026-03-02") }), []string{"until_passed at /finding/safe_until"}},
		"an unsafe finding, safe until":     {with(a.at(5, found("unsafe", "edge worn")), func(b *fleet.EntryBody) { b.Finding.SafeUntil = day("2026-04-02") }), []string{"safe_until_of_deficient at /finding/safe_until"}},
		"a dismissal that says more":        {with(a.at(5, dismissed(label)), func(b *fleet.EntryBody) { b.Note = &fleet.EntryNote{Text: "n"} }), []string{"member_of_other_kind at /note"}},
		"a decision that decides not a bit": {with(a.at(5, dismissed(label)), func(b *fleet.EntryBody) { b.Kind, b.Dismissal = "decision", nil }), []string{"member_of_kind_missing at /decision"}},
	} {
		if name == "what is no finding dismissed" {
			before = a.everything(t)
		}
		t.Run(name, func(t *testing.T) {
			_, _, err := a.PutEntry(t.Context(), technician, visit, a.id(), c.body)
			wantFault(t, err, c.want...)
		})
	}
	if a.everything(t) != before {
		t.Error("something was changed")
	}
	_, err := a.MakeShownText(t.Context(), dispatcher, a.door.DoorID, []uuid.UUID{a.id()})
	wantFault(t, err, "finding_not_open at /findings/0")
	_, err = a.MakeShownText(t.Context(), dispatcher, a.door.DoorID, nil)
	wantFault(t, err, "count_out_of_range at /findings")
	_, _, err = a.PutFromOffice(t.Context(), dispatcher, a.id(), a.at(5, note("called at the desk")))
	wantFault(t, err, "word_unknown at /kind")
}

// Refusal and absence are outcomes: they are written down and close nothing.
func TestRefusalAndAbsenceAreDecisionsToo(t *testing.T) {
	t.Parallel()
	a := newAttended(t)
	visit := a.open(t)
	label := a.append(t, visit, a.at(1, found("deficient", "label gone"))).entry
	s := a.show(t, label)
	a.append(t, visit, with(a.at(5, decided(s, "none")), func(b *fleet.EntryBody) {
		*b.Decision = fleet.EntryDecision{Findings: s.Findings, Decision: "none", ShownSHA256: s.SHA256, Outcome: "nobody_there", Witness: "rang three times"}
	}))
	if f := a.one(t, label); f.State != "open" || f.Decided.Outcome != "nobody_there" {
		t.Errorf("%s %+v", f.State, f.Decided)
	}
	a.append(t, visit, with(a.at(6, decided(s, "declined")), func(b *fleet.EntryBody) {
		b.Decision.Outcome, b.Decision.Signature, b.Decision.Witness = "refused_to_sign", "", "the porter stood by"
	}))
	if f := a.one(t, label); f.State != "open" || f.Decided.Outcome != "refused_to_sign" || f.Decided.Decision != "declined" {
		t.Errorf("%s %+v", f.State, f.Decided)
	}
}

func TestADismissalFromTheOfficeClosesWhatIsNotUnsafe(t *testing.T) {
	t.Parallel()
	a := newAttended(t)
	visit := a.open(t)
	label := a.append(t, visit, a.at(1, found("deficient", "label gone"))).entry
	if _, _, err := a.PutFromOffice(t.Context(), support, a.id(), a.at(5, dismissed(label))); err != nil {
		t.Fatal(err)
	}
	if f := a.one(t, label); f.State != "dismissed" || f.ClosedByEntry == nil {
		t.Errorf("%+v", f)
	}
	orders, err := a.WorkOrders(t.Context(), dispatcher, fleet.WorkOrderQuery{DoorID: a.door.DoorID, Kind: "repair", Limit: 10})
	if err != nil || len(orders) != 1 || orders[0].State != "cancelled" {
		t.Errorf("%+v, %v", orders, err)
	}
}

func TestTheOfficeIsToldOnceWhenASafeDayHasPassedAtTheSite(t *testing.T) {
	t.Parallel()
	a := newAttended(t)
	a.withPost(t)
	a.dispatcherHere(t)
	a.late = 0
	a.pass(-time.Hour)
	visit := a.open(t)
	edge := a.append(t, visit, with(a.at(0, found("deficient", "edge worn")), func(b *fleet.EntryBody) { b.Finding.SafeUntil = day("2026-03-10") })).entry
	gone := a.append(t, visit, with(a.at(0, found("deficient", "guide loose")), func(b *fleet.EntryBody) { b.Finding.SafeUntil = day("2026-03-10") })).entry
	label := a.append(t, visit, a.at(0, found("deficient", "label gone"))).entry
	s := a.show(t, label)
	a.pass(time.Minute)
	a.append(t, visit, with(a.at(0, decided(s, "deferred")), func(b *fleet.EntryBody) { b.Decision.Until = day("2026-03-12") }))
	a.append(t, visit, a.at(0, mended(gone)))
	orders, err := a.WorkOrders(t.Context(), dispatcher, fleet.WorkOrderQuery{DoorID: a.door.DoorID, Kind: "repair", Limit: 10})
	if err != nil || len(orders) != 1 || orders[0].DueOn != day("2026-03-10") {
		t.Errorf("the repair is not due on the last safe day: %+v, %v", orders, err)
	}
	tell := func(at time.Time, want int64) {
		t.Helper()
		a.now = at
		if n, err := a.TellOfPassedDays(t.Context()); err != nil || n != want {
			t.Errorf("%s: %d notices, want %d (%v)", at, n, want, err)
		}
	}
	tell(time.Date(2026, 3, 11, 6, 59, 0, 0, time.UTC), 0) // summer time since the 8th: a minute before midnight in Los Angeles
	if got := a.one(t, edge).PressesAt(a.now); got != "" {
		t.Errorf("%q before the day has passed", got)
	}
	tell(time.Date(2026, 3, 11, 7, 0, 0, 0, time.UTC), 1)
	tell(time.Date(2026, 3, 11, 7, 1, 0, 0, time.UTC), 0)
	if got := a.one(t, edge).PressesAt(a.now); got != "danger" {
		t.Errorf("%q after it", got)
	}
	if cases, err := a.Cases(t.Context(), dispatcher, fleet.CaseQuery{DoorID: a.door.DoorID, Limit: 10}); err != nil || len(cases) != 0 {
		t.Errorf("the program took a door out of service: %+v, %v", cases, err)
	}
	wantTold(t, a.told(t, dispatcher.PersonID), "danger queued")
	tell(time.Date(2026, 3, 13, 7, 0, 0, 0, time.UTC), 1)
	wantTold(t, a.told(t, dispatcher.PersonID), "danger queued", "deferral_over queued")
	// What was mended before the letter is written is not told any more.
	a.append(t, visit, a.at(0, mended(label)))
	a.now = time.Date(2026, 3, 13, 20, 0, 0, 0, time.UTC)
	if _, err := a.WriteLetters(t.Context()); err != nil {
		t.Fatal(err)
	}
	wantTold(t, a.told(t, dispatcher.PersonID), "danger sending", "deferral_over withdrawn finding_closed")
	var text string
	if err := a.db.Admin.QueryRow(t.Context(), `select body from letter`).Scan(&text); err != nil || !strings.Contains(text, "DANGER") || !strings.Contains(text, "2026") {
		t.Errorf("the letter says %q, %v", text, err)
	}
}

func TestAFindingThatComesBackSaysSo(t *testing.T) {
	t.Parallel()
	a := newAttended(t)
	visit := a.open(t)
	ofRule := func(b *fleet.EntryBody) { b.Finding.Rule = "9.1" }
	first := a.append(t, visit, with(a.at(1, found("deficient", "closes fast")), ofRule)).entry
	a.append(t, visit, a.at(2, mended(first)))
	second := a.append(t, visit, with(a.at(3, found("deficient", "closes fast again")), ofRule)).entry
	if f := a.one(t, second); f.Times != 2 || f.RecursOf == nil || *f.RecursOf != first || f.FirstAt == nil || !f.FirstAt.Equal(a.now.Add(time.Minute)) {
		t.Errorf("%+v", f)
	}
	if f := a.one(t, first); f.Times != 1 || f.RecursOf != nil || f.FirstAt != nil {
		t.Errorf("%+v", f)
	}
	folder, err := a.Folder(t.Context(), dispatcher, fleet.FolderQuery{DoorID: a.door.DoorID})
	if err != nil || !slices.ContainsFunc(folder.Findings, func(f fleet.Finding) bool { return f.FindingID == second && f.Times == 2 }) {
		t.Errorf("the door's folder does not say so: %v", err)
	}
}

func TestTheTimeToMendIsCountedBySeverity(t *testing.T) {
	t.Parallel()
	a := newAttended(t)
	visit := a.open(t)
	for i, minutes := range []int{10, 20, 60} {
		id := a.append(t, visit, a.at(i, found("deficient", "label gone"))).entry
		a.append(t, visit, a.at(i+minutes, mended(id)))
	}
	gone := a.append(t, visit, a.at(1, found("deficient", "guide loose"))).entry
	a.append(t, visit, a.at(100, dismissed(gone)))
	a.append(t, visit, a.at(0, found("unsafe", "closes on people")))
	a.append(t, visit, a.at(60, found("unsafe", "glass cracked")))
	want := []fleet.MendTime{
		{Severity: "unsafe", Open: 2, OpenMedian: a.late - 30*time.Minute, OpenLongest: a.late},
		{Severity: "deficient", Mended: 3, Median: 20 * time.Minute, Longest: time.Hour}}
	elsewhere := a.rig.door(t, a.site.SiteID, "Back")
	other := a.rig.site(t, a.customer(t, "Others").CustomerID, "Quay")
	for name, c := range map[string]struct {
		by   identity.Actor
		q    fleet.MendTimeQuery
		want []fleet.MendTime
	}{
		"at the door":             {dispatcher, fleet.MendTimeQuery{DoorID: a.door.DoorID}, want},
		"at its site":             {dispatcher, fleet.MendTimeQuery{SiteID: a.site.SiteID}, want},
		"everywhere":              {dispatcher, fleet.MendTimeQuery{}, want},
		"everywhere, its owner":   {agentOf(a.site.CustomerID), fleet.MendTimeQuery{}, want},
		"at another door":         {dispatcher, fleet.MendTimeQuery{DoorID: elsewhere.DoorID}, nil},
		"everywhere, other owner": {agentOf(other.CustomerID), fleet.MendTimeQuery{}, nil},
	} {
		if got, err := a.MendTimes(t.Context(), c.by, c.q); err != nil || !slices.Equal(got, c.want) {
			t.Errorf("%s: got %+v, want %+v (%v)", name, got, c.want, err)
		}
	}
}
