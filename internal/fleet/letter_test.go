package fleet_test

import (
	"crypto/sha256"
	"errors"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/fleet"
)

// withPost gives the fleet a mail server that the test plays.
func (r *rig) withPost(t testing.TB) *letters {
	t.Helper()
	catalogue, err := loadWords()
	if err != nil {
		t.Fatal(err)
	}
	post := &letters{}
	r.Words, r.Post, r.Company = catalogue, post, fleet.ReportCompany{Name: "Lindqvist Doors", Phone: "+1 555 0100"}
	return post
}

// dispatcherHere makes a dispatcher with an address.
func (r *rig) dispatcherHere(t testing.TB) {
	t.Helper()
	if _, err := r.db.Admin.Exec(t.Context(), `insert into person (person_id, email, name, role, scope_kind, created_at) values ($1, 'ada@office.example', $2, 'dispatcher', 'all', now())`,
		dispatcher.PersonID, dispatcher.Name); err != nil {
		t.Fatal(err)
	}
}

func (r *rig) siteIn(t testing.TB, customer uuid.UUID, name, zone string) fleet.Site {
	t.Helper()
	put := r.siteFacts(customer, name)
	put.TimeZone = zone
	s, _, err := r.PutSite(t.Context(), dispatcher, put, 0)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func (r *rig) partyAt(t testing.TB, p fleet.Party) fleet.Party {
	t.Helper()
	p.PartyID = r.id()
	saved, _, err := r.PutParty(t.Context(), dispatcher, p, 0)
	if err != nil {
		t.Fatal(err)
	}
	return saved
}

// dueDoor is a door at a site whose inspection is due on a day.
func (r *rig) dueDoor(t testing.TB, site uuid.UUID, name, on string) fleet.Plan {
	t.Helper()
	plan, _, err := r.PutPlan(t.Context(), dispatcher, fleet.Plan{DoorID: r.door(t, site, name).DoorID, PlanID: r.id(), IntervalMonths: 12, Regime: duedate.Anniversary,
		ToleranceDays: 60, LeadDays: 45, AnchorOn: day(on), Active: true}, 0)
	if err != nil {
		t.Fatal(err)
	}
	return plan
}

// collect gives what was handed over since it was asked last, by address.
func (l *letters) collect() (list []fleet.Letter) {
	l.mu.Lock()
	defer l.mu.Unlock()
	list, l.taken = l.taken, nil
	slices.SortFunc(list, func(a, b fleet.Letter) int { return strings.Compare(a.Address+a.Subject, b.Address+b.Subject) })
	return list
}

func addresses(list []fleet.Letter) (out []string) {
	for _, l := range list {
		out = append(out, l.Address)
	}
	return out
}

// fiveUTC is nine in the morning in Los Angeles.
func fiveUTC(d duedate.Day) time.Time {
	y, m, n := d.Date()
	return time.Date(y, m, n, 17, 0, 0, 0, time.UTC)
}

// told is what the record says of the notices of a recipient: "rung state because", oldest first.
func (r *rig) told(t testing.TB, recipient uuid.UUID) (list []string) {
	t.Helper()
	rows, err := r.db.Admin.Query(t.Context(), `select trim(rung || ' ' || state || ' ' || because) from notice where recipient_id = $1 order by turn_on, made_at, notice_id`, recipient)
	if err != nil {
		t.Fatal(err)
	}
	defer rows.Close()
	for rows.Next() {
		var line string
		if err := rows.Scan(&line); err != nil {
			t.Fatal(err)
		}
		list = append(list, line)
	}
	return list
}

func wantTold(t testing.TB, got []string, want ...string) {
	t.Helper()
	if !slices.Equal(got, want) {
		t.Errorf("the record says %q, want %q", got, want)
	}
}

var nobodyHere = &fleet.PostFailure{Stage: "recipient", Permanent: true, BadAddress: true, Code: 550, Answer: "5.1.1 nobody", Err: errors.New("550")}

func TestARecipientGetsOneDigestADayAtTheirOwnMorning(t *testing.T) {
	t.Parallel()
	r := newFleet(t)
	post := r.withPost(t)
	customer := r.customer(t, "Kestrel Arcades").CustomerID
	west, far := r.siteIn(t, customer, "Pier", "America/Los_Angeles"), r.siteIn(t, customer, "Quay", "Pacific/Auckland")
	// One owner of both sites lives by the clock of Auckland, another at the pier by its own.
	both := r.partyAt(t, fleet.Party{Name: "Holm", Email: "holm@both.example", TimeZone: "Pacific/Auckland"})
	one := r.partyAt(t, fleet.Party{Name: "Ruiz", Email: "ruiz@west.example"})
	r.standing(t, west, both, "owner", "2020-01-01", "")
	r.standing(t, far, both, "owner", "2020-01-01", "")
	r.standing(t, west, one, "managing_agent", "2020-01-01", "")
	r.dueDoor(t, west.SiteID, "Front", "2026-03-20")
	r.dueDoor(t, west.SiteID, "Back", "2026-03-25")
	r.dueDoor(t, far.SiteID, "Jetty", "2026-03-20")

	r.now = time.Date(2026, 3, 3, 4, 45, 0, 0, time.UTC) // 17:45 in Auckland, 20:45 of the day before in Los Angeles
	r.generate(t, day("2026-03-03"))
	if n := r.queue(t, "2026-03-03"); n != 5 {
		t.Fatalf("%d notices", n)
	}
	r.send(t)
	list := post.collect()
	if !slices.Equal(addresses(list), []string{"holm@both.example"}) || list[0].Day != day("2026-03-03") {
		t.Fatalf("before six in the evening in Auckland: %v", list)
	}
	for _, part := range []string{"Pier", "Quay", "Front", "Back", "Jetty"} {
		if !strings.Contains(list[0].Text, part) {
			t.Errorf("the digest does not speak of %s:\n%s", part, list[0].Text)
		}
	}
	r.now = time.Date(2026, 3, 3, 15, 59, 0, 0, time.UTC)
	if r.send(t); len(post.collect()) != 0 {
		t.Error("a letter before eight in the morning in Los Angeles")
	}
	r.now = time.Date(2026, 3, 3, 16, 0, 0, 0, time.UTC)
	r.send(t)
	list = post.collect()
	if !slices.Equal(addresses(list), []string{"ruiz@west.example"}) || strings.Contains(list[0].Text, "Quay") {
		t.Errorf("at eight in Los Angeles: %v", list)
	}
	// What comes up later on the same day is in tomorrow's.
	r.dueDoor(t, west.SiteID, "Side", "2026-03-21")
	r.generate(t, day("2026-03-03"))
	if n := r.queue(t, "2026-03-03"); n != 2 {
		t.Fatalf("%d notices of another door", n)
	}
	r.now = time.Date(2026, 3, 3, 17, 0, 0, 0, time.UTC)
	r.send(t)
	if list = post.collect(); slices.Contains(addresses(list), "ruiz@west.example") {
		t.Errorf("a second digest on one day: %v", list)
	}
	r.now = time.Date(2026, 3, 4, 16, 0, 0, 0, time.UTC)
	r.send(t)
	if list = append(list, post.collect()...); len(list) != 2 || !strings.Contains(list[1].Text, "Side") || strings.Contains(list[1].Text, "Front") {
		t.Errorf("on the next day: %v", list)
	}
}

func TestTwoRecipientsInFarZonesMayShareAnAddress(t *testing.T) {
	t.Parallel()
	r := newFleet(t)
	post := r.withPost(t)
	customer := r.customer(t, "Kestrel Arcades").CustomerID
	west, far := r.siteIn(t, customer, "Pier", "Pacific/Honolulu"), r.siteIn(t, customer, "Quay", "Pacific/Auckland")
	r.standing(t, west, r.partyAt(t, fleet.Party{Name: "Holm", Email: "office@shared.example"}), "owner", "2020-01-01", "")
	r.standing(t, far, r.partyAt(t, fleet.Party{Name: "Ruiz", Email: "office@shared.example"}), "owner", "2020-01-01", "")
	r.dueDoor(t, west.SiteID, "Front", "2026-03-20")
	r.dueDoor(t, far.SiteID, "Jetty", "2026-03-20")
	r.now = time.Date(2026, 3, 3, 21, 0, 0, 0, time.UTC) // eleven in the morning in Honolulu, ten of the next in Auckland
	r.generate(t, day("2026-03-03"))
	r.queue(t, "2026-03-03")
	r.send(t)
	if list := post.collect(); len(list) != 1 || !strings.Contains(list[0].Text, "Front") || !strings.Contains(list[0].Text, "Jetty") {
		t.Errorf("%v", list)
	}
	// More on the same day, of both: the older notice is withdrawn meanwhile, the other waits for the next digest.
	gone := r.dueDoor(t, west.SiteID, "Side", "2026-03-21")
	r.generate(t, day("2026-03-03"))
	r.queue(t, "2026-03-03")
	r.pass(time.Second)
	r.dueDoor(t, far.SiteID, "Slip", "2026-03-21")
	r.generate(t, day("2026-03-03"))
	r.queue(t, "2026-03-03")
	gone.Active = false
	if _, _, err := r.PutPlan(t.Context(), dispatcher, gone, gone.Version); err != nil {
		t.Fatal(err)
	}
	r.send(t)
	if list := post.collect(); len(list) != 0 {
		t.Errorf("a second digest on one day: %v", list)
	}
	r.pass(24 * time.Hour)
	r.send(t)
	if list := post.collect(); len(list) != 1 || !strings.Contains(list[0].Text, "Slip") || strings.Contains(list[0].Text, "Side") {
		t.Errorf("on the next day: %v", list)
	}
}

func TestADueDayThatMovesBetweenNoticeAndLetterIsNotSaidAnyMore(t *testing.T) {
	t.Parallel()
	r, post, plan := noticeWorld(t)
	r.now = time.Date(2026, 3, 3, 4, 45, 0, 0, time.UTC) // before the hours of mail
	r.queue(t, "2026-03-03")
	plan.AnchorOn = day("2026-03-27")
	if _, _, err := r.PutPlan(t.Context(), dispatcher, plan, plan.Version); err != nil {
		t.Fatal(err)
	}
	r.now = time.Date(2026, 3, 3, 17, 0, 0, 0, time.UTC)
	r.send(t)
	if list := post.collect(); len(list) != 0 {
		t.Errorf("told %v", list)
	}
	if n := r.count(t, `select count(*) from notice where state = 'withdrawn' and because in ('due_day_moved', 'order_superseded')`); n != 2 {
		t.Errorf("%d withdrawn", n)
	}
	// Nobody was told of the old day, so the new one is told from the rung that has its turn.
	r.generate(t, day("2026-03-04"))
	r.queue(t, "2026-03-04")
	r.now = time.Date(2026, 3, 4, 17, 0, 0, 0, time.UTC)
	r.send(t)
	if list := post.collect(); len(list) != 2 || !strings.Contains(list[0].Text, "2026-03-27") && !strings.Contains(list[0].Text, "27") {
		t.Errorf("of the new day: %v", list)
	}
	// Now they know of that day: when it moves again, what lies behind by then is not said again, what lies ahead is.
	plan, err := r.planOf(t, plan.DoorID)
	if err != nil {
		t.Fatal(err)
	}
	plan.AnchorOn = day("2026-03-30")
	if _, _, err := r.PutPlan(t.Context(), dispatcher, plan, plan.Version); err != nil {
		t.Fatal(err)
	}
	for d := day("2026-03-05"); d.Before(day("2026-03-23")); d = d.AddDays(1) {
		r.now = fiveUTC(d)
		r.generate(t, d)
		r.queue(t, d.String())
		r.send(t)
		if list := post.collect(); len(list) != 0 {
			t.Errorf("on %s: %v", d, list)
		}
	}
	r.now = time.Date(2026, 3, 23, 17, 0, 0, 0, time.UTC)
	r.queue(t, "2026-03-23")
	r.send(t)
	if list := post.collect(); len(list) != 2 {
		t.Errorf("a week before the new day: %v", list)
	}
	if n := r.count(t, `select count(*) from notice where rung = 'due_in_30' and due_on = '2026-03-30' and state = 'superseded'`); n != 2 {
		t.Errorf("%d rungs passed over on record", n)
	}
}

func (r *rig) planOf(t testing.TB, door uuid.UUID) (fleet.Plan, error) {
	list, err := r.Plans(t.Context(), dispatcher, door)
	if err != nil {
		return fleet.Plan{}, err
	}
	return list[0], nil
}

func TestASiteThatChangesHandsTellsItsNewOwnerAndNotTheOld(t *testing.T) {
	t.Parallel()
	r := newFleet(t)
	post := r.withPost(t)
	site := r.site(t, r.customer(t, "Kestrel Arcades").CustomerID, "Arcade")
	old := r.partyAt(t, fleet.Party{Name: "Holm", Email: "holm@old.example"})
	agent := r.partyAt(t, fleet.Party{Name: "Care", Email: "care@agent.example"})
	r.standing(t, site, old, "owner", "2020-01-01", "")
	r.standing(t, site, agent, "managing_agent", "2020-01-01", "")
	r.dueDoor(t, site.SiteID, "Front", "2026-03-20")
	r.now = time.Date(2026, 3, 3, 9, 0, 0, 0, time.UTC) // one at night at the site
	r.generate(t, day("2026-03-03"))
	r.queue(t, "2026-03-03")

	next := r.customer(t, "Brandt Retail")
	site, err := r.HandOverSite(t.Context(), dispatcher, fleet.HandOver{SiteID: site.SiteID, CustomerID: next.CustomerID, Day: day("2026-03-03")}, site.Version)
	if err != nil {
		t.Fatal(err)
	}
	owner := r.partyAt(t, fleet.Party{Name: "Brandt", Email: "brandt@new.example"})
	r.standing(t, site, owner, "owner", "2026-03-03", "")
	r.now = time.Date(2026, 3, 3, 17, 0, 0, 0, time.UTC)
	r.send(t)
	if got := addresses(post.collect()); !slices.Equal(got, []string{"care@agent.example"}) {
		t.Errorf("told on the day of the hand-over: %v", got)
	}
	wantTold(t, r.told(t, old.PartyID), "due_in_30 withdrawn standing_ended")
	r.now = r.now.Add(24 * time.Hour)
	r.queue(t, "2026-03-04")
	r.send(t)
	if got := addresses(post.collect()); !slices.Equal(got, []string{"brandt@new.example"}) {
		t.Errorf("told on the day after: %v", got)
	}
	if n := r.count(t, `select count(*) from notice where customer_id <> $1`, next.CustomerID); n != 0 {
		t.Errorf("%d notices are left with the old customer", n)
	}
}

// bounce makes the fleet read a report about a letter; its bytes are told apart by their text.
func (r *rig) bounce(t testing.TB, id uuid.UUID, action, status, text string) {
	t.Helper()
	r.ReadBounce = func(raw []byte) (fleet.Bounce, error) {
		return fleet.Bounce{LetterID: id, SHA256: sha256.Sum256(raw), Action: action, Status: status, Answer: text}, nil
	}
	if _, err := r.ReceiveBounce(t.Context(), dispatcher, []byte(text)); err != nil {
		t.Fatal(err)
	}
}

func TestWhatBouncedGoesToTheNextAddressAndTheAddressIsMarked(t *testing.T) {
	t.Parallel()
	r := newFleet(t)
	post := r.withPost(t)
	r.dispatcherHere(t)
	site := r.site(t, r.customer(t, "Kestrel Arcades").CustomerID, "Arcade")
	owner := r.partyAt(t, fleet.Party{Name: "Holm", Email: "holm@first.example", FurtherAddresses: "second@holm.example, third@holm.example"})
	r.standing(t, site, owner, "owner", "2020-01-01", "")
	r.dueDoor(t, site.SiteID, "Front", "2026-03-20")
	r.now = time.Date(2026, 3, 3, 17, 0, 0, 0, time.UTC)
	r.generate(t, day("2026-03-03"))
	r.queue(t, "2026-03-03")
	r.send(t)
	toOwner := func() fleet.Letter {
		t.Helper()
		for _, l := range post.collect() {
			if l.Address != "ada@office.example" {
				return l
			}
		}
		t.Fatal("no letter to the owner")
		return fleet.Letter{}
	}
	first := toOwner()
	r.bounce(t, first.LetterID, "delayed", "4.4.1", "not yet")
	wantTold(t, r.told(t, owner.PartyID), "due_in_30 sent")
	r.bounce(t, first.LetterID, "failed", "5.1.1", "nobody of that name")
	r.bounce(t, first.LetterID, "failed", "5.1.1", "nobody of that name") // the same report again
	r.send(t)
	second := toOwner()
	if second.Address != "second@holm.example" || second.LetterID == first.LetterID {
		t.Errorf("then to %s", second.Address)
	}
	r.bounce(t, second.LetterID, "failed", "4.4.7", "given up") // says nothing about the address
	r.send(t)
	third := toOwner()
	if third.Address != "third@holm.example" {
		t.Errorf("then to %s", third.Address)
	}
	r.bounce(t, third.LetterID, "failed", "5.2.1", "closed")
	wantTold(t, r.told(t, owner.PartyID), "due_in_30 bounced bounced")
	r.bounce(t, first.LetterID, "failed", "5.1.1", "another server says so too") // of a letter that has ended
	if n := r.count(t, `select count(*) from refused_address`); n != 2 {
		t.Errorf("%d addresses are marked", n)
	}
	r.now = time.Date(2026, 3, 4, 17, 0, 0, 0, time.UTC)
	r.send(t)
	if n := r.count(t, `select count(*) from notice where reason like 'letter:%' and rung = 'bounced' and state = 'sent'`); n != 3 {
		t.Errorf("the dispatcher is told of %d letters", n)
	}
	// The next rung knows which addresses are of no use.
	r.now = time.Date(2026, 3, 13, 17, 0, 0, 0, time.UTC)
	post.collect()
	r.queue(t, "2026-03-13")
	r.send(t)
	if l := toOwner(); l.Address != "second@holm.example" {
		t.Errorf("the next rung goes to %s", l.Address)
	}
}

func TestAnAddressThatIsRefusedAtOnceIsFollowedByTheNext(t *testing.T) {
	t.Parallel()
	r := newFleet(t)
	post := r.withPost(t)
	site := r.site(t, r.customer(t, "Kestrel Arcades").CustomerID, "Arcade")
	owner := r.partyAt(t, fleet.Party{Name: "Holm", Email: "holm@first.example", FurtherAddresses: "second@holm.example"})
	r.standing(t, site, owner, "owner", "2020-01-01", "")
	r.dueDoor(t, site.SiteID, "Front", "2026-03-20")
	r.now = time.Date(2026, 3, 3, 17, 0, 0, 0, time.UTC)
	r.generate(t, day("2026-03-03"))
	r.queue(t, "2026-03-03")
	post.answers = []error{nobodyHere}
	r.send(t)
	r.send(t)
	if got := addresses(post.collect()); !slices.Equal(got, []string{"holm@first.example", "second@holm.example"}) {
		t.Errorf("tried %v", got)
	}
	wantTold(t, r.told(t, owner.PartyID), "due_in_30 sent")
	if err := r.ClearAddress(t.Context(), dispatcher, "holm@first.example"); err != nil {
		t.Fatal(err)
	}
	r.now = time.Date(2026, 3, 13, 17, 0, 0, 0, time.UTC)
	r.queue(t, "2026-03-13")
	r.send(t)
	if got := addresses(post.collect()); !slices.Equal(got, []string{"holm@first.example"}) {
		t.Errorf("once somebody cleared it: %v", got)
	}
}

func TestAPartyWithoutAnAddressIsOnRecordAndTheDispatcherIsTold(t *testing.T) {
	t.Parallel()
	r := newFleet(t)
	post := r.withPost(t)
	r.dispatcherHere(t)
	customer := r.customer(t, "Kestrel Arcades").CustomerID
	site, nobody := r.site(t, customer, "Arcade"), r.site(t, customer, "Annexe")
	mute := r.partyAt(t, fleet.Party{Name: "Mute & Sons", Telephone: "+1 555 0199"})
	r.standing(t, site, mute, "owner", "2020-01-01", "")
	r.dueDoor(t, site.SiteID, "Front", "2026-03-20")
	r.dueDoor(t, nobody.SiteID, "Gate", "2026-03-20")
	r.now = time.Date(2026, 3, 3, 17, 0, 0, 0, time.UTC)
	r.generate(t, day("2026-03-03"))
	r.queue(t, "2026-03-03")
	r.queue(t, "2026-03-03")
	r.send(t)
	wantTold(t, r.told(t, mute.PartyID), "due_in_30 failed no_address")
	list := post.collect()
	if !slices.Equal(addresses(list), []string{"ada@office.example"}) || !strings.Contains(list[0].Text, "Mute & Sons") || !strings.Contains(list[0].Text, "Gate") {
		t.Errorf("the dispatcher is told %v", list)
	}
	// The address is found: the next rung reaches them.
	mute.Email = "found@mute.example"
	if _, _, err := r.PutParty(t.Context(), dispatcher, mute, mute.Version); err != nil {
		t.Fatal(err)
	}
	r.now = time.Date(2026, 3, 13, 17, 0, 0, 0, time.UTC)
	r.queue(t, "2026-03-13")
	r.send(t)
	if got := addresses(post.collect()); !slices.Contains(got, "found@mute.example") {
		t.Errorf("told %v", got)
	}
}

func TestWhoLeftTheOfficeIsNotToldAnyMore(t *testing.T) {
	t.Parallel()
	for _, leaves := range []string{`update person set role = 'technician'`, `update person set disabled_at = now()`} {
		r, post, _ := noticeWorld(t)
		r.dispatcherHere(t)
		r.now = r.now.AddDate(0, 0, 22)
		r.queue(t, "2026-03-25") // overdue: the office is told, too
		if _, err := r.db.Admin.Exec(t.Context(), leaves); err != nil {
			t.Fatal(err)
		}
		r.send(t)
		if got := addresses(post.collect()); !slices.Equal(got, []string{"agent@kestrel.example", "owner@kestrel.example"}) {
			t.Errorf("%s: told %v", leaves, got)
		}
		wantTold(t, r.told(t, dispatcher.PersonID), "order_made superseded higher_rung", "overdue withdrawn standing_ended")
	}
}

func TestAPerhapsSentLetterWaitsForAPersonAndGoesAgainUnderTheSameID(t *testing.T) {
	t.Parallel()
	r, post, _ := noticeWorld(t)
	r.dispatcherHere(t)
	r.queue(t, "2026-03-03")
	post.answers = []error{&fleet.PostFailure{Stage: "content", Uncertain: true, Err: errors.New("the line broke")}}
	r.send(t)
	first := post.collect()
	for range 3 {
		r.pass(26 * time.Hour) // nothing sends it by itself, however long
		r.send(t)
	}
	for _, l := range post.collect() {
		if l.Address != "ada@office.example" {
			t.Errorf("sent by itself: %v", l)
		}
	}
	var open uuid.UUID
	if err := r.db.Admin.QueryRow(t.Context(), `select letter_id from letter where state = 'perhaps_sent'`).Scan(&open); err != nil {
		t.Fatal(err)
	}
	for range 2 { // pressing twice is once
		if l, err := r.SendLetterAgain(t.Context(), dispatcher, open); err != nil || l.State != "queued" {
			t.Fatalf("%+v, %v", l, err)
		}
	}
	r.send(t)
	r.send(t)
	again := post.collect()
	i := slices.IndexFunc(first, func(l fleet.Letter) bool { return l.LetterID == open })
	if len(again) != 1 || i < 0 || again[0].LetterID != open || again[0].Text != first[i].Text || !again[0].MadeAt.Equal(first[i].MadeAt) {
		t.Errorf("sent again: %v, the first was %v", again, first)
	}
	_, err := r.SendLetterAgain(t.Context(), dispatcher, open)
	wantFault(t, err, "letter_settled")
	if n := r.count(t, `select count(*) from notice where state = 'sent' and rung = 'due_in_30'`); n != 2 {
		t.Errorf("%d are told in the end", n)
	}
	if n := r.count(t, `select count(*) from audit_event where action = 'letter.send_again'`); n != 1 {
		t.Errorf("%d decisions on record", n)
	}
}

func TestAnotherLadderTellsNothingTwiceAndGoesOnFromWhereEverybodyIs(t *testing.T) {
	t.Parallel()
	r, post, _ := noticeWorld(t)
	r.queue(t, "2026-03-03") // due_in_30
	r.send(t)
	post.collect()
	other := fleet.DefaultLadder()
	other.LadderID, other.EffectiveOn, other.Reason = r.id(), day("2026-03-05"), "the owners want it so"
	other.Rungs = duedate.Ladder{
		{Code: "early", OffsetDays: -28, To: []string{"owner"}}, // had its turn before they were told
		{Code: "soon", OffsetDays: -10, To: []string{"owner", "managing_agent"}},
		{Code: "late", OffsetDays: 3, To: []string{"owner"}}}
	if _, created, err := r.PutLadder(t.Context(), dispatcher, other); err != nil || !created {
		t.Fatal(created, err)
	}
	sent := map[string][]string{}
	for d := day("2026-03-04"); d.Before(day("2026-03-30")); d = d.AddDays(1) {
		r.now = fiveUTC(d)
		r.queue(t, d.String())
		r.send(t)
		for _, l := range post.collect() {
			sent[d.String()] = append(sent[d.String()], l.Address)
		}
	}
	for d, want := range map[string]int{"2026-03-10": 2, "2026-03-23": 1} {
		if len(sent[d]) != want {
			t.Errorf("on %s: %v, want %d letters", d, sent[d], want)
		}
		delete(sent, d)
	}
	if len(sent) != 0 {
		t.Errorf("on other days: %v", sent)
	}
}

// unsafeDoor is a door that a technician has just found unsafe, with an owner and a dispatcher to be told.
func unsafeDoor(t *testing.T) (a attended, post *letters, owner fleet.Party, caseID uuid.UUID) {
	t.Helper()
	a = newAttended(t)
	post = a.withPost(t)
	a.dispatcherHere(t)
	owner = a.partyAt(t, fleet.Party{Name: "Holm", Email: "holm@owner.example"})
	a.standing(t, a.site, owner, "owner", "2020-01-01", "")
	a.queue(t, "2026-03-03") // a notice for the owner's digest waits
	visit := a.id()
	if _, _, err := a.PutVisit(t.Context(), technician, visit, a.attendance()); err != nil {
		t.Fatal(err)
	}
	if _, _, err := a.PutEntry(t.Context(), technician, visit, a.id(), a.at(5, found("unsafe", "closes on people"))); err != nil {
		t.Fatal(err)
	}
	if err := a.db.Admin.QueryRow(t.Context(), `select case_id from out_of_service_case`).Scan(&caseID); err != nil {
		t.Fatal(err)
	}
	return a, post, owner, caseID
}

func TestAnUnsafeDoorIsToldAtOnceOutsideOfTheDigest(t *testing.T) {
	t.Parallel()
	a, post, _, _ := unsafeDoor(t) // noon UTC: four in the morning at the site
	a.send(t)
	list := post.collect()
	if !slices.Equal(addresses(list), []string{"ada@office.example", "holm@owner.example"}) {
		t.Fatalf("told at night: %v", list)
	}
	for _, l := range list {
		if l.Kind != "urgent" || !strings.Contains(l.Text, "closes on people") || strings.Contains(l.Text+l.Subject, "⟦") {
			t.Errorf("%s letter %s\n%s", l.Kind, l.Subject, l.Text)
		}
	}
	a.pass(5 * time.Hour)
	a.send(t)
	if list = post.collect(); len(list) != 1 || list[0].Kind != "digest" || strings.Contains(list[0].Text, "closes on people") {
		t.Errorf("in the morning: %v", list)
	}
}

func TestAnUnsafeDoorIsToldAgainUntilSomebodyAcknowledges(t *testing.T) {
	t.Parallel()
	a, post, owner, caseID := unsafeDoor(t)
	a.send(t)
	post.collect()
	urgent := func() (n int) {
		for _, l := range post.collect() {
			if l.Kind == "urgent" && l.Address == "holm@owner.example" {
				n++
			}
		}
		return n
	}
	for _, step := range []struct {
		after time.Duration
		want  int
	}{{23 * time.Hour, 0}, {time.Hour, 1}, {time.Hour, 0}, {23 * time.Hour, 1}, {5 * 24 * time.Hour, 1}, {time.Minute, 0}} {
		a.pass(step.after)
		a.send(t)
		if n := urgent(); n != step.want {
			t.Errorf("after %s more: %d letters, want %d", step.after, n, step.want)
		}
	}
	if n := a.count(t, `select count(*) from notice where recipient_id = $1 and rung like 'unsafe_again%' and state = 'superseded' and because = 'higher_rung'`, owner.PartyID); n != 4 {
		t.Errorf("%d reminders passed over are on record", n)
	}
	for _, again := range []bool{false, true} {
		if _, created, err := a.AcknowledgeCase(t.Context(), dispatcher, caseID, "On it."); err != nil || created == again {
			t.Fatal(created, err)
		}
	}
	a.pass(10 * 24 * time.Hour)
	a.send(t)
	if n := urgent(); n != 0 {
		t.Errorf("%d letters after somebody acknowledged", n)
	}
}

func TestAReminderThatWaitsIsNotSentOnceSomebodyAcknowledges(t *testing.T) {
	t.Parallel()
	a, post, owner, caseID := unsafeDoor(t)
	a.send(t)
	post.collect()
	a.pass(24 * time.Hour)
	if n, err := a.RemindOfUnsafeDoors(t.Context()); err != nil || n != 2 {
		t.Fatal(n, err)
	}
	if _, _, err := a.AcknowledgeCase(t.Context(), dispatcher, caseID, ""); err != nil {
		t.Fatal(err)
	}
	a.send(t)
	for _, l := range post.collect() {
		if l.Kind == "urgent" {
			t.Errorf("told %s: %s", l.Address, l.Subject)
		}
	}
	if n := a.count(t, `select count(*) from notice where recipient_id = $1 and state = 'withdrawn' and because = 'acknowledged'`, owner.PartyID); n != 1 {
		t.Errorf("%d withdrawn", n)
	}
}

func TestALadderWithOtherHoursRemindsFromTheLastReminderOn(t *testing.T) {
	t.Parallel()
	a, post, _, _ := unsafeDoor(t)
	a.send(t)
	ladder := func(hours int) {
		t.Helper()
		l := fleet.DefaultLadder()
		l.LadderID, l.EffectiveOn, l.Reason, l.UnsafeAgainHours = a.id(), duedate.DayIn(a.now.Add(a.late), time.UTC), "other hours", hours
		if _, _, err := a.PutLadder(t.Context(), dispatcher, l); err != nil {
			t.Fatal(err)
		}
	}
	reminders := func(hours int) (n int) {
		for range hours / 6 {
			a.pass(6 * time.Hour)
			a.send(t)
		}
		for _, l := range post.collect() {
			if l.Kind == "urgent" && l.Address == "holm@owner.example" {
				n++
			}
		}
		return n
	}
	reminders(0)
	ladder(6)
	if n := reminders(48); n != 8 {
		t.Errorf("%d reminders in two days by the six hours", n)
	}
	ladder(24)
	if n := reminders(48); n != 2 {
		t.Errorf("%d reminders in two days by the day, after there were more", n)
	}
	ladder(12)
	if n := reminders(48); n != 4 {
		t.Errorf("%d reminders in two days by the half day", n)
	}
}
