package fleet_test

import (
	"math/rand/v2"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/fault"
	"lintel.example/lintel/internal/fleet"
)

// ladderFrom is the built-in ladder from a day on.
func (r *rig) ladderFrom(on string) fleet.Ladder {
	l := fleet.DefaultLadder()
	l.LadderID, l.EffectiveOn, l.Reason = r.id(), day(on), "agreed with the customer"
	return l
}

func (r *rig) putLadder(t testing.TB, l fleet.Ladder) {
	t.Helper()
	if _, created, err := r.PutLadder(t.Context(), dispatcher, l); err != nil || !created {
		t.Fatal(created, err)
	}
}

func TestACustomersOwnLadderGoesBeforeTheCompanysUntilItIsGivenBack(t *testing.T) {
	t.Parallel()
	r, post, plan := noticeWorld(t) // due on 20 March
	others := r.site(t, r.customer(t, "Heron Halls").CustomerID, "Hall")
	r.standing(t, others, r.partyAt(t, fleet.Party{Name: "Heron", Email: "heron@halls.example"}), "owner", "2020-01-01", "")
	r.dueDoor(t, others.SiteID, "Hall door", "2026-03-20")
	r.generate(t, day("2026-03-03"))
	own := r.ladderFrom("2026-03-03")
	own.CustomerID, own.OutOfServiceRungs = plan.CustomerID, nil
	own.Rungs = duedate.Ladder{{Code: "in_ten_days", OffsetDays: -10, To: []string{"owner"}}, {Code: "late", OffsetDays: 20, To: []string{"owner"}}}
	r.putLadder(t, own)
	sent := map[string][]string{}
	night := func(d duedate.Day) {
		t.Helper()
		r.now = fiveUTC(d)
		r.queue(t, d.String())
		r.send(t)
		if list := addresses(post.collect()); len(list) > 0 {
			sent[d.String()] = list
		}
	}
	for d := day("2026-03-03"); d.Before(day("2026-03-23")); d = d.AddDays(1) {
		night(d)
	}
	back := r.ladderFrom("2026-03-23")
	back.CustomerID, back.Rungs, back.OutOfServiceRungs = plan.CustomerID, nil, nil
	r.putLadder(t, back)
	for d := day("2026-03-23"); d.Before(day("2026-04-05")); d = d.AddDays(1) {
		night(d)
	}
	heron := []string{"heron@halls.example"}
	want := map[string][]string{
		"2026-03-03": heron, "2026-03-13": heron, "2026-03-20": heron, "2026-03-21": heron, // by the company's
		"2026-03-10": {"owner@kestrel.example"},                          // by their own
		"2026-03-23": {"agent@kestrel.example", "owner@kestrel.example"}, // that it is overdue, once the company's holds again
		"2026-04-03": {"agent@kestrel.example", "heron@halls.example", "owner@kestrel.example"}}
	for d := day("2026-03-03"); d.Before(day("2026-04-05")); d = d.AddDays(1) {
		if got := sent[d.String()]; !slices.Equal(got, want[d.String()]) {
			t.Errorf("on %s: %v, want %v", d, got, want[d.String()])
		}
	}
}

func TestTheInspectionOfADoorOutOfServiceClimbsItsOwnRungs(t *testing.T) {
	t.Parallel()
	a, post, owner, _ := unsafeDoor(t) // due on 10 March
	named := a.partyAt(t, fleet.Party{Name: "Vale", Email: "vale@board.example"})
	a.standing(t, a.site, named, "named_person", "2020-01-01", "")
	a.now = fiveUTC(day("2026-03-11"))
	a.queue(t, "2026-03-11")
	a.send(t)
	post.collect()
	wantTold(t, a.told(t, named.PartyID), "overdue sent")
	if got := a.told(t, owner.PartyID); !slices.Contains(got, "overdue sent") || !slices.Contains(got, "due_in_14 superseded higher_rung") {
		t.Errorf("the owner's record says %q", got)
	}
}

func TestWhoeverTheOwnerHasNamedHearsOfAnOrdinaryDoorLater(t *testing.T) {
	t.Parallel()
	r, _, plan := noticeWorld(t)
	site, err := r.Site(t.Context(), dispatcher, plan.SiteID)
	if err != nil {
		t.Fatal(err)
	}
	named := r.partyAt(t, fleet.Party{Name: "Vale", Email: "vale@board.example"})
	r.standing(t, site, named, "named_person", "2020-01-01", "")
	for _, d := range []string{"2026-03-21", "2026-04-16"} {
		r.queue(t, d)
	}
	wantTold(t, r.told(t, named.PartyID))
	r.queue(t, "2026-04-17") // thirty days past due are on a Sunday
	wantTold(t, r.told(t, named.PartyID), "overdue_30 queued")
}

func TestTheFinalNoticeStatesTheRiskAndIsTheLast(t *testing.T) {
	t.Parallel()
	r, post, _ := noticeWorld(t)
	for _, d := range []string{"2026-09-16", "2026-10-16", "2027-03-01"} { // 180 and 210 days past due, and long after
		r.now = fiveUTC(day(d))
		r.queue(t, d)
		r.send(t)
	}
	list := post.collect()
	if !slices.Equal(addresses(list), []string{"agent@kestrel.example", "owner@kestrel.example"}) {
		t.Fatalf("told %v", addresses(list))
	}
	for _, l := range list {
		for _, part := range []string{"The risk, in plain words", "180 days", "last notice", "keep people away", "authority having jurisdiction", "no legal advice"} {
			if !strings.Contains(strings.ReplaceAll(l.Text, "\n", " "), part) {
				t.Errorf("the final notice lacks %q:\n%s", part, l.Text)
			}
		}
		if !strings.HasPrefix(l.Subject, "FINAL NOTICE") || strings.Contains(l.Text+l.Subject+l.HTML, "⟦") {
			t.Errorf("%s\n%s", l.Subject, l.Text)
		}
	}
}

// What the ladder has looked at is not looked at again before something is otherwise: so no night may find, with all of it
// forgotten, what the night before it passed over.
func TestNothingIsPassedOverForHavingBeenLookedAt(t *testing.T) {
	t.Parallel()
	for range 3 {
		seed := rand.Uint64()
		t.Run(strconv.FormatUint(seed, 10), func(t *testing.T) {
			t.Parallel()
			a, _, owner, _ := unsafeDoor(t) // due on 10 March
			a.dueDoor(t, a.site.SiteID, "Side door", "2026-03-27")
			a.generate(t, day("2026-03-03"))
			agent := a.partyAt(t, fleet.Party{Name: "Reed", Email: "reed@agent.example"})
			occupier := a.partyAt(t, fleet.Party{Name: "Ash"}) // cannot be told
			a.standing(t, a.site, occupier, "occupier", "2026-03-09", "2026-04-02")
			a.standing(t, a.site, agent, "managing_agent", "2026-03-20", "")
			own := a.ladderFrom("2026-03-17")
			own.CustomerID, own.Rungs = a.site.CustomerID, duedate.Ladder{{Code: "soon", OffsetDays: -12, To: []string{"owner", "occupier"}}, {Code: "late", OffsetDays: 3, RepeatDays: 5, Repeats: 4, To: []string{"owner", "managing_agent", "administrator"}}}
			for n := range 25 {
				own.Holidays = map[string][]duedate.Day{"US-CA": append(own.Holidays["US-CA"], day("2026-03-20").AddDays(n))}
			}
			a.putLadder(t, own)
			happens := []string{
				`update work_order set due_on = due_on + 9 where state = 'open' and due_on = (select min(due_on) from work_order where state = 'open')`,
				`update work_order set due_on = due_on - 4 where state = 'open' and due_on = (select max(due_on) from work_order where state = 'open')`,
				`update out_of_service_case set state = 'ended', ended_at = '2026-03-10'`,
				`update out_of_service_case set state = 'unsecured', ended_at = null`,
				`update site_party set to_day = '2026-03-15' where role = 'owner'`,
				`update site_party set to_day = null where role = 'owner'`,
				`update site_party set role = 'payer' where role = 'managing_agent'`,
				`update site_party set party_id = '` + owner.PartyID.String() + `' where role = 'payer'`,
				`update site set jurisdiction = case jurisdiction when 'US-NV' then 'US-CA' else 'US-NV' end`,
				`update site set jurisdiction = case jurisdiction when 'US-NV' then 'US-CA' else 'US-NV' end`,
				`update person set disabled_at = case when disabled_at is null then now() end where role = 'dispatcher'`,
				`insert into person (person_id, email, name, role, scope_kind, created_at) values (gen_random_uuid(), gen_random_uuid() || '@office.example', 'Somebody', 'administrator', 'all', now())`,
				`insert into closed_day (closed_day_id, place, from_on, until_on, name, cancelled, version, recorded_at, recorded_by) select gen_random_uuid(), 'US-NV', min(due_on) - 9, min(due_on) + 9, 'fair', false, 1, now(), gen_random_uuid() from work_order where state = 'open'`,
				`update closed_day set cancelled = not cancelled`,
				`update party set email = 'ash@occupier.example' where name = 'Ash'`,
			}
			random := rand.New(rand.NewPCG(seed, 0))
			made := int64(0)
			for d := day("2026-03-03"); d.Before(day("2026-05-10")); d = d.AddDays(1 + random.IntN(3)) {
				a.now = fiveUTC(d)
				event := ""
				if random.IntN(3) == 0 {
					event = happens[random.IntN(len(happens))]
					if _, err := a.db.Admin.Exec(t.Context(), event); err != nil {
						t.Fatal(event, err)
					}
				}
				made += a.queue(t, d.String())
				if _, err := a.db.Admin.Exec(t.Context(), `truncate ladder_look`); err != nil {
					t.Fatal(err)
				}
				if n := a.queue(t, d.String()); n != 0 {
					t.Fatalf("on %s, after %q, %d notices were passed over", d, event, n)
				}
			}
			if made < 10 {
				t.Errorf("only %d notices were made", made)
			}
		})
	}
}

func TestANoticeGoesBeforePublicHolidaysOfThePlaceWhoeverEnteredThem(t *testing.T) {
	t.Parallel()
	r, _, plan := noticeWorld(t) // due on Friday 20 March, told seven days before, on Friday the 13th
	site, err := r.Site(t.Context(), dispatcher, plan.SiteID)
	if err != nil {
		t.Fatal(err)
	}
	named := r.partyAt(t, fleet.Party{Name: "Vale", Email: "vale@board.example"})
	r.standing(t, site, named, "owner", "2026-03-05", "")
	close := func(place, from, until string) {
		t.Helper()
		if _, _, err := r.PutClosedDay(t.Context(), dispatcher, fleet.ClosedDay{ClosedDayID: r.id(), Place: place, Span: duedate.Span{From: day(from), Until: day(until)}, Name: "Founders' days"}, 0); err != nil {
			t.Fatal(err)
		}
	}
	r.queue(t, "2026-03-05")
	close("US-NY", "2026-03-12", "2026-03-13") // elsewhere
	r.queue(t, "2026-03-11")
	wantTold(t, r.told(t, named.PartyID), "due_in_30 queued")
	close(site.Country, "2026-03-12", "2026-03-13")
	r.queue(t, "2026-03-10")
	wantTold(t, r.told(t, named.PartyID), "due_in_30 queued")
	r.queue(t, "2026-03-11")
	wantTold(t, r.told(t, named.PartyID), "due_in_30 superseded higher_rung", "due_in_7 queued")
}

func TestTheItemsOfAFireDoorClimbTheLadderUnderTheirOwnNameAndServiceDoesNot(t *testing.T) {
	t.Parallel()
	r, post, plan := noticeWorld(t)
	for purpose, on := range map[string]string{"fire_door": "2026-03-10", "service": "2026-03-09"} {
		if _, _, err := r.PutPlan(t.Context(), dispatcher, fleet.Plan{DoorID: plan.DoorID, PlanID: r.id(), Purpose: purpose, IntervalMonths: 12, Regime: duedate.Anniversary, ToleranceDays: 60, LeadDays: 45, AnchorOn: day(on), Active: true}, 0); err != nil {
			t.Fatal(err)
		}
	}
	r.generate(t, day("2026-03-03"))
	r.now = fiveUTC(day("2026-03-12"))
	r.queue(t, "2026-03-12")
	r.now = r.now.Add(12 * time.Hour)
	r.send(t)
	for _, l := range post.collect() {
		if !strings.Contains(l.Text, "items of a fire door OVERDUE since 10 March 2026, by 2 days") || !strings.Contains(l.Text, "inspection due on 20 March 2026") || strings.Contains(l.Text, "9 March") {
			t.Errorf("%s is told\n%s", l.Address, l.Text)
		}
	}
	if n := r.count(t, `select count(distinct recipient_id) from notice where rung = 'overdue' and state = 'sent'`); n != 2 {
		t.Errorf("%d were told", n)
	}
}

func TestANightOnWhichNothingIsOtherwiseLooksAtNothing(t *testing.T) {
	t.Parallel()
	r, _, plan := noticeWorld(t) // due on 20 March; told thirty days before, next seven days before
	looked := func() string {
		t.Helper()
		var mark string
		if err := r.db.Admin.QueryRow(t.Context(), `select through || ' ' || xmin from ladder_look`).Scan(&mark); err != nil {
			t.Fatal(err)
		}
		return mark
	}
	r.queue(t, "2026-03-03")
	first := looked()
	if r.queue(t, "2026-03-12"); looked() != first || !strings.HasPrefix(first, "2026-03-12") {
		t.Errorf("looked at as of %s, then as of %s", first, looked())
	}
	if _, err := r.db.Admin.Exec(t.Context(), `update work_order set due_on = due_on + 1 where door_id = $1`, plan.DoorID); err != nil {
		t.Fatal(err)
	}
	if r.queue(t, "2026-03-12"); looked() == first {
		t.Error("a due day that was moved was not looked at")
	}
}

func TestALadderThatMakesNoSenseIsRefusedByItsMember(t *testing.T) {
	t.Parallel()
	r := newFleet(t)
	customer := r.customer(t, "Kestrel").CustomerID
	for what, c := range map[string]struct {
		change  func(l *fleet.Ladder)
		pointer string
	}{
		"the company's without rungs":               {func(l *fleet.Ladder) { l.Rungs, l.OutOfServiceRungs = nil, nil }, "/rungs"},
		"an unknown customer":                       {func(l *fleet.Ladder) { l.CustomerID = uuid.Nil; l.CustomerID[0] = 1 }, "/customer_id"},
		"given back, but not for unsafe doors":      {func(l *fleet.Ladder) { l.CustomerID, l.Rungs = customer, nil }, "/out_of_service_rungs"},
		"somebody unknown is told of unsafe doors":  {func(l *fleet.Ladder) { l.OutOfServiceRungs[2].To = []string{"mayor"} }, "/out_of_service_rungs/2/to/0"},
		"a final notice before the due day":         {func(l *fleet.Ladder) { l.Rungs[1].Final = true }, "/rungs"},
		"a final notice that comes again and again": {func(l *fleet.Ladder) { l.OutOfServiceRungs[6].Final = true }, "/out_of_service_rungs"},
	} {
		l := r.ladderFrom("2026-03-05")
		c.change(&l)
		_, _, err := r.PutLadder(t.Context(), dispatcher, l)
		if list := fault.Of(err); len(list) == 0 || list[0].Pointer != c.pointer {
			t.Errorf("%s: %v, want a fault at %s", what, err, c.pointer)
		}
	}
	if n := r.count(t, `select count(*) from ladder`); n != 0 {
		t.Errorf("%d ladders are there", n)
	}
}
