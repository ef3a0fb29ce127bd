package fleet_test

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"image"
	"image/color"
	"image/png"
	"math/rand/v2"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/fault"
	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/identity"
	"lintel.example/lintel/internal/seal"
	"lintel.example/lintel/internal/store"
)

var technician = identity.Actor{PersonID: uuid.MustParse("01950000-0000-7000-8000-00000000ec41"), Name: "Jonas Reber", Role: identity.Technician,
	ScopeKind: identity.ScopeAll, Units: "metric", Language: "en"}

// attended is a door with a control and a radar sensor, an inspection plan with an open order, and a folder for photos.
type attended struct {
	*rig
	site   fleet.Site
	door   fleet.Door
	model  fleet.Model
	sensor fleet.Component
}

func newAttended(t testing.TB) attended {
	t.Helper()
	a := attended{rig: newFleet(t)}
	a.late = 3 * time.Hour
	a.certify(t, technician, day("2027-01-01"))
	photos, err := store.OpenPhotoDir(t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = photos.Close() })
	a.Photos = photos
	a.site = a.rig.site(t, a.customer(t, "Brandt Retail").CustomerID, "Mill")
	a.door = a.rig.door(t, a.site.SiteID, "Main")
	a.model = a.rig.model(t)
	sensor := a.sensorFacts(a.door, a.control(t, a.door))
	sensor.ModelID, sensor.ModelText = &a.model.ModelID, ""
	a.sensor = a.fit(t, sensor)
	plan := fleet.Plan{PlanID: a.id(), DoorID: a.door.DoorID, IntervalMonths: 12, Regime: duedate.Anniversary, ToleranceDays: 30, LeadDays: 30, AnchorOn: day("2026-03-10"), Active: true}
	if _, _, err := a.PutPlan(t.Context(), dispatcher, plan, 0); err != nil {
		t.Fatal(err)
	}
	if made, err := a.OpenDueWorkOrders(t.Context(), day("2026-03-03")); err != nil || made != 1 {
		t.Fatalf("%d orders, %v", made, err)
	}
	return a
}

// certify records a person with a certificate that is valid until a day.
func (r *rig) certify(t testing.TB, who identity.Actor, until duedate.Day) {
	t.Helper()
	ctx := t.Context()
	if _, err := r.db.Admin.Exec(ctx, "insert into person (person_id, email, name, role, scope_kind, created_at) values ($1, $2, $3, 'technician', 'all', now())",
		who.PersonID, who.PersonID.String()+"@example.com", who.Name); err != nil {
		t.Fatal(err)
	}
	if _, err := r.db.Admin.Exec(ctx, "insert into qualification (person_id, qualification_id, scheme, number, valid_from, valid_until, recorded_at) values ($1, $2, 'Inspector', '7', '2025-01-01', $3, now())",
		who.PersonID, r.id(), until.String()); err != nil {
		t.Fatal(err)
	}
}

// attendance is the technician's, at nine o'clock at the site.
func (a attended) attendance() fleet.Attendance {
	return fleet.Attendance{SiteID: a.site.SiteID, ArrivedAt: a.now, People: []uuid.UUID{technician.PersonID}, Doors: []fleet.DoorsOfVisit{{DoorID: a.door.DoorID, WorkOrders: []uuid.UUID{}}}}
}

// at makes the entry that somebody wrote so many minutes after the clock's time.
func (a attended) at(minutes int, body fleet.EntryBody) fleet.EntryBody {
	body.DoorID, body.ObservedAt = a.door.DoorID, a.now.Add(time.Duration(minutes)*time.Minute)
	return body
}

func note(text string) fleet.EntryBody {
	return fleet.EntryBody{Kind: "note", Note: &fleet.EntryNote{Text: text}}
}

func measured(name string, value float64) fleet.EntryBody {
	return fleet.EntryBody{Kind: "reading", Reading: &fleet.EntryReading{Name: name, Value: &value}}
}

func answered(name string, yes bool) fleet.EntryBody {
	return fleet.EntryBody{Kind: "reading", Reading: &fleet.EntryReading{Name: name, Yes: &yes}}
}

func found(severity, what string, photos ...seal.Hash) fleet.EntryBody {
	return fleet.EntryBody{Kind: "finding", Finding: &fleet.EntryFinding{Severity: severity, What: what, Photos: photos}}
}

func secured(how, answer string) fleet.EntryBody {
	return fleet.EntryBody{Kind: "securing", Securing: &fleet.EntrySecuring{How: how, EgressKept: p(true), ToldName: "Rosa Imhof", Answer: answer}}
}

func mended(finding uuid.UUID) fleet.EntryBody {
	return fleet.EntryBody{Kind: "mending", Mending: &fleet.EntryMending{FindingID: finding, What: "new edge fitted"}}
}

func concluded(result string) fleet.EntryBody {
	return fleet.EntryBody{Kind: "conclusion", Conclusion: &fleet.EntryConclusion{Result: result}}
}

func with(body fleet.EntryBody, change func(*fleet.EntryBody)) fleet.EntryBody {
	change(&body)
	return body
}

func correcting(entry uuid.UUID, body fleet.EntryBody) fleet.EntryBody {
	body.Corrects, body.Because = &entry, "looked again"
	return body
}

// set is how the sensor is mounted and set, all but its reach.
func (a attended) set(standing string, reachDB float64) fleet.EntryBody {
	m := func(v float64) fleet.Quantity { return fleet.Q(v, fleet.Measured) }
	return fleet.EntryBody{Kind: "settings", Settings: &fleet.EntrySettings{ComponentID: a.sensor.ComponentID, Standing: standing, Device: fleet.DeviceFacts{
		AntennaID: &a.model.Antennas[0].AntennaID, Accessories: []uuid.UUID{},
		Mount:    fleet.MountFacts{HeightM: m(2.3), OffsetXM: m(0), OffsetYM: m(0.1), TiltDeg: m(30), YawDeg: m(0)},
		Settings: fleet.Settings{ReachDB: m(reachDB), MotionDirection: "approach", HoldWhileMoving: p(true), ConfirmTravelMM: m(100), OutputHoldS: m(1), OutputContact: "normally_open"}}}}
}

// allRead are readings on which the door passes its rule basis.
func allRead() []fleet.EntryBody {
	return []fleet.EntryBody{measured("closing_speed_mps", 0.25), measured("latch_check_distance_m", 0.06), measured("closing_force_n", 90),
		measured("hold_open_s", 2), answered("stationary_person_held", true), answered("walk_test_passed", true), answered("daily_check_label_present", true)}
}

// piece is an entry as a device keeps it until it is accepted.
type piece struct {
	visit, entry uuid.UUID
	body         fleet.EntryBody
}

// signOff lists the pieces of a visit with their hashes, as a device computes them by itself.
func (a attended) signOff(t testing.TB, visit uuid.UUID, pieces []piece) fleet.SignOff {
	t.Helper()
	s := fleet.SignOff{SignedAt: a.now.Add(2 * time.Hour), LeftAt: a.now.Add(2 * time.Hour), Statement: "Inspected as recorded.", Signature: "M0 0L9 9"}
	for _, p := range pieces {
		if p.visit != visit {
			continue
		}
		_, hash, err := seal.Marshal(p.body)
		if err != nil {
			t.Fatal(err)
		}
		s.Entries = append(s.Entries, fleet.SignedEntry{EntryID: p.entry, SHA256: hash})
	}
	return s
}

// picture makes the bytes of a small photo, another one for each shade.
func picture(t testing.TB, shade uint8) ([]byte, seal.Hash) {
	t.Helper()
	img := image.NewGray(image.Rect(0, 0, 4, 4))
	img.SetGray(1, 1, color.Gray{Y: shade})
	var b bytes.Buffer
	if err := png.Encode(&b, img); err != nil {
		t.Fatal(err)
	}
	return b.Bytes(), seal.HashOf(b.Bytes())
}

func (a attended) open(t testing.TB) uuid.UUID {
	t.Helper()
	id := a.id()
	if _, created, err := a.PutVisit(t.Context(), technician, id, a.attendance()); err != nil || !created {
		t.Fatal(created, err)
	}
	return id
}

func (a attended) append(t testing.TB, visit uuid.UUID, body fleet.EntryBody) piece {
	t.Helper()
	p := piece{visit, a.id(), body}
	if _, created, err := a.PutEntry(t.Context(), technician, visit, p.entry, body); err != nil || !created {
		t.Fatal(created, err)
	}
	return p
}

// everything is what the database holds, without the times at which it came to be known and what counts the changes:
// these tell of the way, not of the state. Findings of computation that are cleared tell of the way, too.
func (a attended) everything(t testing.TB) string {
	t.Helper()
	const rows = `
select t.name, coalesce(jsonb_pretty(jsonb_agg(t.row order by t.row::text)), '') from (
  select 'visit' as name, to_jsonb(x) - 'received_at' as row from visit x
  union all select 'entry', to_jsonb(x) - 'received_at' from visit_entry x
  union all select 'sign-off', to_jsonb(x) - 'received_at' - 'record_sha256' from visit_sign_off x
  union all select 'oddity', to_jsonb(x) - 'noticed_at' from oddity x
  union all select 'photo', to_jsonb(x) - 'received_at' from photo x
  union all select 'photo of entry', to_jsonb(x) from entry_photo x
  union all select 'finding', to_jsonb(x) - 'recorded_at' from finding x where origin = 'visit'
  union all select 'computed finding', to_jsonb(x) - 'recorded_at' - 'opened_at' - 'finding_id' from finding x where origin = 'computed' and state = 'open'
  union all select 'case', to_jsonb(x) - 'recorded_at' from out_of_service_case x
  union all select 'work order', to_jsonb(x) - 'recorded_at' - 'version' - 'changed_at' from work_order x
  union all select 'plan', to_jsonb(x) - 'recorded_at' from inspection_plan x
  union all select 'revision', to_jsonb(x) - 'recorded_at' from revision x
  union all select 'accessory', to_jsonb(x) from revision_accessory x
  union all select 'coverage', to_jsonb(x) - 'computed_at' from coverage x
  union all select 'expected crossing', to_jsonb(x) - 'computed_at' from expected_crossing x
  union all select 'record', to_jsonb(x) - 'recorded_at' - 'canonical' - 'sha256' - 'seq' from record_log x) t
group by t.name order by t.name`
	result, err := a.db.Admin.Query(context.Background(), rows)
	if err != nil {
		t.Fatal(err)
	}
	defer result.Close()
	var all strings.Builder
	for result.Next() {
		var name, list string
		if err := result.Scan(&name, &list); err != nil {
			t.Fatal(err)
		}
		fmt.Fprintf(&all, "%s %s\n", name, list)
	}
	if err := result.Err(); err != nil {
		t.Fatal(err)
	}
	return all.String()
}

// threeVisits is the life of an unsafe finding: found and secured, mended, re-inspected. What is sent are the
// attendances, the pieces, and the photo's bytes.
func (a attended) threeVisits(photo seal.Hash) (visits []uuid.UUID, attendances []fleet.Attendance, pieces []piece) {
	for range 3 {
		visits = append(visits, a.id())
	}
	add := func(visit, minutes int, body fleet.EntryBody) uuid.UUID {
		p := piece{visits[visit], a.id(), a.at(visit*24*60+minutes, body)}
		pieces = append(pieces, p)
		return p.entry
	}
	for i := range visits {
		att := a.attendance()
		att.ArrivedAt = att.ArrivedAt.AddDate(0, 0, i)
		attendances = append(attendances, att)
	}
	add(0, 4, madeSafe())
	add(0, 5, a.set("found", -18))
	unsafe := add(0, 10, found("unsafe", "closes on people", photo))
	deficient := add(0, 12, found("deficient", "label gone"))
	add(0, 13, secured("not_secured", "refused"))
	add(0, 20, secured("barriered", "acknowledged"))
	slow := add(0, 25, measured("closing_speed_mps", 2.5))
	add(0, 26, correcting(slow, measured("closing_speed_mps", 0.25)))
	add(0, 40, concluded("failed"))

	add(1, 5, mended(unsafe))
	add(1, 6, correcting(deficient, found("advisory", "label is behind a poster")))
	add(1, 7, a.set("left", -3))
	add(1, 7, a.set("left", 0)) // in the same minute: the later id is the later one
	add(1, 9, note("edge ordered for the other leaf"))

	add(2, 9, madeSafe())
	for i, body := range allRead() {
		add(2, 10+i, body)
	}
	add(2, 30, fleet.EntryBody{Kind: "photo", Photo: &fleet.EntryPhoto{SHA256: photo, What: "the new edge"}})
	add(2, 40, concluded("passed"))
	return visits, attendances, pieces
}

func TestThreeVisitsInAnyOrderAndTwiceGiveTheSameState(t *testing.T) {
	t.Parallel()
	var first string
	for order := range 25 {
		t.Run(fmt.Sprintf("order %d", order), func(t *testing.T) {
			if order > 0 { // the others are compared with the first
				t.Parallel()
			}
			a := newAttended(t)
			bytes, photo := picture(t, 200)
			visits, attendances, pieces := a.threeVisits(photo)
			signOffs := make([]fleet.SignOff, len(visits))
			for i, v := range visits {
				signOffs[i] = a.signOff(t, v, pieces)
				signOffs[i].SignedAt, signOffs[i].LeftAt = attendances[i].ArrivedAt.Add(time.Hour), attendances[i].ArrivedAt.Add(time.Hour)
			}
			a.pass(5 * 24 * time.Hour)
			random := rand.New(rand.NewPCG(uint64(order), 7))
			newFor := map[string]int{}
			var sends []func() error
			send := func(name string, f func() (bool, error)) {
				one := func() error {
					created, err := f()
					if created {
						newFor[name]++
					}
					return err
				}
				sends = append(sends, one, one)
			}
			for i, v := range visits {
				send(fmt.Sprint("attendance ", i), func() (bool, error) {
					_, created, err := a.PutVisit(t.Context(), technician, v, attendances[i])
					return created, err
				})
				send(fmt.Sprint("sign-off ", i), func() (bool, error) {
					_, created, err := a.PutSignOff(t.Context(), technician, v, signOffs[i])
					return created && err == nil, err
				})
			}
			for i, p := range pieces {
				send(fmt.Sprint("entry ", i), func() (bool, error) {
					_, created, err := a.PutEntry(t.Context(), technician, p.visit, p.entry, p.body)
					return created, err
				})
			}
			send("photo", func() (bool, error) {
				_, created, err := a.PutPhoto(t.Context(), technician, photo, "image/png", bytes)
				return created, err
			})
			if order > 0 { // the first is in the order of time, but for the sign-offs, which wait
				random.Shuffle(len(sends), func(i, j int) { sends[i], sends[j] = sends[j], sends[i] })
			}
			for waits := 0; len(sends) > 0; {
				one := sends[0]
				sends = sends[1:]
				a.pass(time.Duration(random.IntN(1000)) * time.Millisecond)
				switch err := one(); {
				case err == nil:
				case fault.Is(err, "attendance_missing") || fault.Is(err, "entries_missing") || fault.Is(err, "photos_missing"):
					sends = append(sends, one) // as a device would
					if waits++; waits > 1000 {
						t.Fatal("a sign-off is never accepted: ", err)
					}
				default:
					t.Fatal(err)
				}
			}
			for name, n := range newFor {
				if n != 1 {
					t.Errorf("%s was new %d times", name, n)
				}
			}
			if want := 2*len(visits) + len(pieces) + 1; len(newFor) != want {
				t.Errorf("%d things were new, want %d", len(newFor), want)
			}
			got := a.everything(t)
			if first == "" {
				first = got
				a.wantEnded(t)
				return
			}
			if got != first {
				t.Errorf("another state than in the order of time:\n%s\nwant\n%s", got, first)
			}
		})
	}
}

// wantEnded holds the state after the three visits against what must have come of them.
func (a attended) wantEnded(t *testing.T) {
	t.Helper()
	for what, query := range map[string]string{
		"a case that the passed re-inspection ended":  "select count(*) from out_of_service_case where state = 'ended' and secured_how = 'barriered' and ended_at = '2026-03-05 09:40Z' and not refused",
		"an unsafe finding that was mended":           "select count(*) from finding where severity = 'unsafe' and state = 'mended' and closed_at = '2026-03-04 09:05Z'",
		"a deficient finding that was withdrawn":      "select count(*) from finding where severity = 'deficient' and state = 'withdrawn'",
		"a repair that is done":                       "select count(*) from work_order where kind = 'repair' and state = 'done' and done_on = '2026-03-04' and due_on = '2026-03-03'",
		"an inspection order that is done":            "select count(*) from work_order where kind = 'inspection' and state = 'done' and done_on = '2026-03-03'",
		"a plan whose next inspection is in a year":   "select count(*) from inspection_plan where next_due = '2027-03-05' and regular_due = '2027-03-10'",
		"a zone whose coverage is computed":           "select count(*) from coverage where side = 'a' and zone = 'approach' and covered_share > 0",
		"a revision in force with its extent":         "select count(*) from revision r join extent e using (revision_id) where r.reach_db = 0 and e.area_m2 > 0",
		"a record that holds what it says in its sum": "select count(*) / 3 from record_log r join visit_sign_off s on s.visit_id = r.subject_id where s.record_sha256 = r.sha256 and r.kind = 'visit'",
	} {
		if n := a.count(t, query); n != 1 {
			t.Errorf("want %s, have %d", what, n)
		}
	}
}

func TestTheSameEntryFromManySendersAtOnceIsAcceptedOnce(t *testing.T) {
	t.Parallel()
	a := newAttended(t)
	visit, entry := a.id(), a.id()
	body := a.at(5, found("unsafe", "closes on people"))
	var all sync.WaitGroup
	var created atomic.Int64
	for range 8 {
		all.Go(func() {
			_, isNew, err := a.PutEntry(t.Context(), technician, visit, entry, body)
			if err != nil {
				t.Error(err)
			}
			if isNew {
				created.Add(1)
			}
		})
	}
	all.Wait()
	if created.Load() != 1 {
		t.Errorf("new for %d senders", created.Load())
	}
	for _, rows := range []string{"visit", "visit_entry", "finding where origin = 'visit'", "out_of_service_case", "work_order where kind = 'repair'"} {
		if n := a.count(t, "select count(*) from "+rows); n != 1 {
			t.Errorf("%d rows in %s", n, rows)
		}
	}
}

func TestOneEntryIDSentToTwoVisitsAtOnceBelongsToOne(t *testing.T) {
	t.Parallel()
	a := newAttended(t)
	elsewhere := a.newDoor(t)
	for range 10 {
		entry := a.id()
		var all sync.WaitGroup
		var accepted, refused atomic.Int64
		for _, door := range []fleet.Door{a.door, elsewhere} { // not held up by one lock
			visit, body := a.id(), a.at(5, note("hello"))
			body.DoorID = door.DoorID
			all.Go(func() {
				switch _, isNew, err := a.PutEntry(t.Context(), technician, visit, entry, body); {
				case err == nil && isNew:
					accepted.Add(1)
				case fault.Is(err, "entry_of_other_visit"):
					refused.Add(1)
				default:
					t.Error(isNew, err)
				}
			})
		}
		all.Wait()
		if accepted.Load() != 1 || refused.Load() != 1 {
			t.Errorf("accepted %d, refused %d", accepted.Load(), refused.Load())
		}
	}
}

func TestTheSameAgainIsSuccessAndAnotherBodyNamesTheDifference(t *testing.T) {
	t.Parallel()
	a := newAttended(t)
	visit := a.open(t)
	read := a.append(t, visit, a.at(5, measured("hold_open_s", 2)))
	if _, created, err := a.PutVisit(t.Context(), technician, visit, a.attendance()); err != nil || created {
		t.Error(created, err)
	}
	again, created, err := a.PutEntry(t.Context(), technician, visit, read.entry, read.body)
	if err != nil || created || *again.Body.Reading.Value != 2 {
		t.Error(again, created, err)
	}
	later := a.attendance()
	later.Note = "by the back door"
	_, _, err = a.PutVisit(t.Context(), technician, visit, later)
	wantFault(t, err, "visit_differs at /note")
	other := a.attendance()
	other.SiteID = a.rig.site(t, a.door.CustomerID, "Annex").SiteID
	other.Doors[0].DoorID = a.rig.door(t, other.SiteID, "Annex").DoorID
	_, _, err = a.PutVisit(t.Context(), technician, visit, other)
	wantFault(t, err, "visit_differs at /site_id")
	_, _, err = a.PutEntry(t.Context(), technician, visit, read.entry, a.at(5, measured("hold_open_s", 3)))
	wantFault(t, err, "entry_differs at /reading/value")
	_, _, err = a.PutEntry(t.Context(), technician, visit, read.entry, a.at(6, measured("hold_open_s", 2)))
	wantFault(t, err, "entry_differs at /observed_at")
	_, _, err = a.PutEntry(t.Context(), technician, a.id(), read.entry, read.body)
	wantFault(t, err, "entry_of_other_visit")

	signed := a.signOff(t, visit, []piece{read})
	v, created, err := a.PutSignOff(t.Context(), technician, visit, signed)
	if err != nil || !created || v.SignedAt == nil {
		t.Fatal(v, created, err)
	}
	record := v.RecordSHA256
	a.pass(time.Hour)
	if v, created, err = a.PutSignOff(t.Context(), technician, visit, signed); err != nil || created || v.RecordSHA256 != record {
		t.Error(v, created, err)
	}
	signed.Statement = "Inspected in part."
	_, _, err = a.PutSignOff(t.Context(), technician, visit, signed)
	wantFault(t, err, "sign_off_differs at /statement")
	if _, created, err = a.PutEntry(t.Context(), technician, visit, read.entry, read.body); err != nil || created {
		t.Error("the same entry after the sign-off:", created, err)
	}
	if n := a.count(t, "select count(*) from visit_entry"); n != 1 {
		t.Errorf("%d entries", n)
	}
}

func TestTheRecordedEntryKeepsTheInstantThatWasSent(t *testing.T) {
	t.Parallel()
	a := newAttended(t)
	visit := a.open(t)
	body := a.at(5, note("hello"))
	body.ObservedAt = body.ObservedAt.Add(123456789)
	sent := a.append(t, visit, body)
	_, list, err := a.Visit(t.Context(), technician, visit)
	if err != nil || len(list) != 1 {
		t.Fatal(list, err)
	}
	if got := list[0].Body.ObservedAt; !got.Equal(body.ObservedAt) {
		t.Errorf("recorded %s, sent %s", got, body.ObservedAt)
	}
	if _, created, err := a.PutEntry(t.Context(), technician, visit, sent.entry, body); err != nil || created {
		t.Error(created, err)
	}
}

func TestAnEntryThatCannotBeRightChangesNothing(t *testing.T) {
	t.Parallel()
	a := newAttended(t)
	visit := a.open(t)
	present := a.append(t, visit, a.at(1, note("hello")))
	elsewhere := a.newDoor(t)
	control := a.control(t, elsewhere)
	signed := a.open(t)
	only := a.append(t, signed, a.at(1, note("done")))
	if _, _, err := a.PutSignOff(t.Context(), technician, signed, a.signOff(t, signed, []piece{only})); err != nil {
		t.Fatal(err)
	}
	before := a.everything(t)
	itself := a.id()
	for name, c := range map[string]struct {
		visit, entry uuid.UUID
		body         fleet.EntryBody
		want         []string
	}{
		"a door that nobody knows":      {visit, a.id(), with(a.at(5, note("x")), func(b *fleet.EntryBody) { b.DoorID = a.id() }), []string{"door_not_found at /door_id"}},
		"a door of another customer":    {visit, a.id(), with(a.at(5, note("x")), func(b *fleet.EntryBody) { b.DoorID = elsewhere.DoorID }), []string{"door_of_other_site at /door_id"}},
		"before the door was known":     {visit, a.id(), with(a.at(5, note("x")), func(b *fleet.EntryBody) { b.ObservedAt = time.Date(2025, 12, 31, 0, 0, 0, 0, time.UTC) }), []string{"before_the_door at /observed_at"}},
		"a clock that is days ahead":    {visit, a.id(), a.at(25*60, note("x")), []string{"clock_ahead at /observed_at"}},
		"a clock beyond the calendar":   {visit, a.id(), with(a.at(5, note("x")), func(b *fleet.EntryBody) { b.ObservedAt = time.Date(12026, 1, 1, 0, 0, 0, 0, time.UTC) }), []string{"clock_ahead at /observed_at"}},
		"a clock of the year one":       {visit, a.id(), with(a.at(5, note("x")), func(b *fleet.EntryBody) { b.ObservedAt = time.Time{} }), []string{"date_implausible at /observed_at"}},
		"a visit that is signed off":    {signed, a.id(), a.at(5, note("x")), []string{"visit_signed"}},
		"a kind that is none":           {visit, a.id(), a.at(5, fleet.EntryBody{Kind: "poem"}), []string{"word_unknown at /kind"}},
		"a kind without its member":     {visit, a.id(), a.at(5, fleet.EntryBody{Kind: "note"}), []string{"member_of_kind_missing at /note"}},
		"a kind with another's member":  {visit, a.id(), a.at(5, with(note("x"), func(b *fleet.EntryBody) { b.Finding = found("unsafe", "x").Finding })), []string{"member_of_other_kind at /finding"}},
		"a correction of itself":        {visit, itself, a.at(5, correcting(itself, note("x"))), []string{"corrects_itself at /corrects"}},
		"a correction at another door":  {a.id(), a.id(), with(a.at(5, correcting(present.entry, note("x"))), func(b *fleet.EntryBody) { b.DoorID = elsewhere.DoorID }), []string{"entry_of_other_door at /corrects"}},
		"a reading that nobody knows":   {visit, a.id(), a.at(5, measured("temperature_k", 1)), []string{"reading_unknown at /reading/name"}},
		"a reading that cannot be":      {visit, a.id(), a.at(5, measured("hold_open_s", 4000)), []string{"reading_impossible at /reading/value"}},
		"an answer where a number goes": {visit, a.id(), a.at(5, answered("hold_open_s", true)), []string{"reading_impossible at /reading/value"}},
		"a number where an answer goes": {visit, a.id(), a.at(5, measured("walk_test_passed", 1)), []string{"reading_impossible at /reading/yes"}},
		"a finding without words":       {visit, a.id(), a.at(5, found("terrible", " ")), []string{"text_missing at /finding/what", "word_unknown at /finding/severity"}},
		"a finding too long for a form": {visit, a.id(), a.at(5, found("unsafe", strings.Repeat("x", 2001))), []string{"text_length at /finding/what"}},
		"a finding in binary":           {visit, a.id(), a.at(5, found("unsafe", "x\x00y")), []string{"text_binary at /finding/what"}},
		"a confirmation of nothing": {visit, a.id(), a.at(5, with(found("deficient", "x"), func(b *fleet.EntryBody) { b.Finding.Confirms = p(a.id()) })),
			[]string{"finding_not_computed at /finding/confirms"}},
		"secured with people inside": {visit, a.id(), a.at(5, with(secured("locked", "acknowledged"), func(b *fleet.EntryBody) { b.Securing.EgressKept = p(false) })),
			[]string{"nobody_locked_in at /securing/egress_kept", "other_exit_missing at /securing/other_exit"}},
		"secured, the way out unsaid": {visit, a.id(), a.at(5, with(secured("barriered", "acknowledged"), func(b *fleet.EntryBody) { b.Securing.EgressKept, b.Securing.ToldName = nil, "" })),
			[]string{"must_be_answered at /securing/egress_kept", "text_missing at /securing/told_name"}},
		"mended in no words":    {visit, a.id(), a.at(5, with(mended(a.id()), func(b *fleet.EntryBody) { b.Mending.What = "" })), []string{"text_missing at /mending/what"}},
		"concluded undecidedly": {visit, a.id(), a.at(5, concluded("so so")), []string{"word_unknown at /conclusion/result"}},
		"planned settings":      {visit, a.id(), a.at(5, a.set("intended", 0)), []string{"word_unknown at /settings/standing"}},
		"settings that cannot be": {visit, a.id(), a.at(5, with(a.set("found", 3), func(b *fleet.EntryBody) { b.Settings.Device.Mount.HeightM = fleet.Q(20, fleet.Measured) })),
			[]string{"out_of_range at /settings/device/settings/reach_db/value", "out_of_range at /settings/device/mount/height_m/value"}},
		"settings of another door's component": {visit, a.id(), a.at(5, with(a.set("found", 0), func(b *fleet.EntryBody) { b.Settings.ComponentID = control.ComponentID })),
			[]string{"component_not_on_door at /settings/component_id"}},
		"settings of no component": {visit, a.id(), a.at(5, with(a.set("found", 0), func(b *fleet.EntryBody) { b.Settings.ComponentID = a.id() })),
			[]string{"component_not_on_door at /settings/component_id"}},
		"settings with things of no catalogue": {visit, a.id(), a.at(5, with(a.set("found", 0), func(b *fleet.EntryBody) {
			b.Settings.Device.AntennaID, b.Settings.Device.Accessories = p(a.id()), []uuid.UUID{a.id()}
		})), []string{"antenna_not_found at /settings/device/antenna_id", "accessory_not_found at /settings/device/accessories/0"}},
	} {
		t.Run(name, func(t *testing.T) {
			_, _, err := a.PutEntry(t.Context(), technician, c.visit, c.entry, c.body)
			wantFault(t, err, c.want...)
			if a.everything(t) != before {
				t.Error("something changed")
			}
		})
	}
}

func TestAnAttendanceThatCannotBeRightChangesNothing(t *testing.T) {
	t.Parallel()
	a := newAttended(t)
	elsewhere := a.newDoor(t)
	before := a.everything(t)
	for name, c := range map[string]struct {
		change func(*fleet.Attendance)
		want   []string
	}{
		"a site that nobody knows":     {func(v *fleet.Attendance) { v.SiteID = a.id() }, []string{"site_not_found at /site_id"}},
		"a door of another site":       {func(v *fleet.Attendance) { v.Doors[0].DoorID = elsewhere.DoorID }, []string{"door_of_other_site at /doors/0/door_id"}},
		"a door that nobody knows":     {func(v *fleet.Attendance) { v.Doors = append(v.Doors, fleet.DoorsOfVisit{DoorID: a.id()}) }, []string{"door_of_other_site at /doors/1/door_id"}},
		"a work order of another door": {func(v *fleet.Attendance) { v.Doors[0].WorkOrders = []uuid.UUID{a.id()} }, []string{"work_order_of_other_door at /doors/0/work_orders/0"}},
		"nobody came":                  {func(v *fleet.Attendance) { v.People, v.Doors = nil, nil }, []string{"count_out_of_range at /doors", "count_out_of_range at /people"}},
		"somebody else came":           {func(v *fleet.Attendance) { v.People = []uuid.UUID{a.id()} }, []string{"sender_not_present at /people"}},
		"a stranger came along":        {func(v *fleet.Attendance) { v.People = append(v.People, a.id()) }, []string{"person_not_found at /people/1"}},
		"one person came twice":        {func(v *fleet.Attendance) { v.People = append(v.People, v.People[0]) }, []string{"named_twice at /people/1"}},
		"a door twice":                 {func(v *fleet.Attendance) { v.Doors = append(v.Doors, v.Doors[0]) }, []string{"named_twice at /doors/1/door_id"}},
		"in three days":                {func(v *fleet.Attendance) { v.ArrivedAt = a.now.AddDate(0, 0, 3) }, []string{"clock_ahead at /arrived_at"}},
		"a note in binary":             {func(v *fleet.Attendance) { v.Note = "x\x01" }, []string{"text_binary at /note"}},
	} {
		t.Run(name, func(t *testing.T) {
			att := a.attendance()
			c.change(&att)
			_, _, err := a.PutVisit(t.Context(), technician, a.id(), att)
			wantFault(t, err, c.want...)
			if a.everything(t) != before {
				t.Error("something changed")
			}
		})
	}
}

func TestASignOffWaitsForEverythingThatItLists(t *testing.T) {
	t.Parallel()
	a := newAttended(t)
	bytes, photo := picture(t, 100)
	visit := a.id()
	one, two := piece{visit, a.id(), a.at(5, note("one"))}, piece{visit, a.id(), a.at(6, found("deficient", "worn", photo))}
	both := a.signOff(t, visit, []piece{one, two})
	refused := func(s fleet.SignOff, want string, names ...string) {
		t.Helper()
		before := a.everything(t)
		_, _, err := a.PutSignOff(t.Context(), technician, visit, s)
		wantFault(t, err, want)
		for _, n := range names {
			if err != nil && !strings.Contains(err.Error(), n) {
				t.Errorf("%v does not name %s", err, n)
			}
		}
		if a.everything(t) != before {
			t.Error("something changed")
		}
	}
	send := func(p piece) {
		t.Helper()
		if _, _, err := a.PutEntry(t.Context(), technician, visit, p.entry, p.body); err != nil {
			t.Fatal(err)
		}
	}
	refused(both, "attendance_missing")
	send(one)
	refused(both, "attendance_missing")
	if _, created, err := a.PutVisit(t.Context(), technician, visit, a.attendance()); err != nil || !created {
		t.Fatal("an attendance that comes after pieces is new:", created, err)
	}
	refused(both, "entries_missing", both.Entries[1].SHA256.String())
	send(two)
	refused(both, "photos_missing", photo.String())
	if _, created, err := a.PutPhoto(t.Context(), technician, photo, "image/png", bytes); err != nil || !created {
		t.Fatal(created, err)
	}
	refused(a.signOff(t, visit, []piece{one}), "entries_unlisted", two.entry.String())
	wrong := a.signOff(t, visit, []piece{one, two})
	wrong.Entries[0].SHA256[0]++
	refused(wrong, "entries_differ", one.entry.String())
	twice := a.signOff(t, visit, []piece{one, two, one})
	refused(twice, "entry_twice at /entries/2/entry_id")
	early := a.signOff(t, visit, []piece{one, two})
	early.LeftAt = a.now.Add(-time.Hour)
	refused(early, "left_before_arrival at /left_at")
	_, _, err := a.PutSignOff(t.Context(), identity.Actor{PersonID: a.id(), Role: identity.Technician, ScopeKind: identity.ScopeAll}, visit, both)
	wantFault(t, err, "signer_not_present")
	slices.Reverse(both.Entries) // their order says nothing
	if v, created, err := a.PutSignOff(t.Context(), technician, visit, both); err != nil || !created || v.SignedBy == nil || *v.SignedBy != technician.PersonID {
		t.Fatal(v, created, err)
	}
}

func TestADoorPassesOnlyOnReadingsAndWithNothingUnsafe(t *testing.T) {
	t.Parallel()
	a := newAttended(t)
	visit := a.open(t)
	var pieces []piece
	add := func(minutes int, body fleet.EntryBody) piece {
		t.Helper()
		pieces = append(pieces, a.append(t, visit, a.at(minutes, body)))
		return pieces[len(pieces)-1]
	}
	signOff := func() error {
		_, _, err := a.PutSignOff(t.Context(), technician, visit, a.signOff(t, visit, pieces))
		return err
	}
	passed := add(40, concluded("passed"))
	wantFault(t, signOff(), "safe_work_missing")
	add(8, madeSafe())
	wantFault(t, signOff(), "readings_missing")
	for i, body := range allRead()[1:] {
		add(10+i, body)
	}
	add(9, measured("closing_speed_mps", 0.25))
	force := add(20, measured("closing_force_n", 400)) // a later reading than the 90 N above
	wantFault(t, signOff(), "passed_against_rules")
	add(21, correcting(force.entry, note("the scale was set to pounds")))
	unsafe := add(22, found("unsafe", "closes on people"))
	wantFault(t, signOff(), "passed_while_unsafe")
	add(30, mended(unsafe.entry))
	wantFault(t, signOff(), "as_left_missing", "function_test_missing")
	for i, body := range allRead() {
		add(31+i, body)
	}
	add(39, tried("yes"))
	other := add(41, concluded("passed"))
	wantFault(t, signOff(), "concluded_twice")
	add(42, correcting(passed.entry, note("said too early")))
	if err := signOff(); err != nil {
		t.Fatal(err)
	}
	if n := a.count(t, "select count(*) from out_of_service_case where state = 'ended' and ended_by_entry = $1", other.entry); n != 1 {
		t.Errorf("%d cases are ended by the conclusion that counts", n)
	}
	var record struct {
		Format  string
		Entries []struct {
			EntryID uuid.UUID `json:"entry_id"`
		}
		Judged []struct {
			Pack, Beside string
			Verdicts     []struct {
				RuleID  string `json:"rule_id"`
				Outcome string `json:"outcome"`
			}
		}
	}
	var canonical []byte
	if err := a.db.Admin.QueryRow(t.Context(), "select canonical from record_log").Scan(&canonical); err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(canonical, &record); err != nil {
		t.Fatal(err)
	}
	if record.Format != fleet.VisitRecordFormat || len(record.Entries) != len(pieces) || len(record.Judged) != 3 || len(record.Judged[0].Verdicts) == 0 ||
		record.Judged[1].Pack != "accessibility@2010" || record.Judged[2].Pack != "egress-fire@2018" || record.Judged[2].Beside != "law" {
		t.Errorf("record %s", canonical)
	}
}

func TestAVisitBeforeTheFirstRecordedFactsIsJudgedByThem(t *testing.T) {
	t.Parallel()
	a := newAttended(t) // known since January, facts recorded in March
	a.now = time.Date(2026, 2, 2, 18, 0, 0, 0, time.UTC)
	visit := a.open(t)
	pieces := []piece{a.append(t, visit, a.at(4, madeSafe())), a.append(t, visit, a.at(5, concluded("failed")))}
	a.now = time.Date(2026, 3, 4, 9, 0, 0, 0, time.UTC)
	late := a.signOff(t, visit, pieces)
	if _, _, err := a.PutSignOff(t.Context(), technician, visit, late); err != nil {
		t.Fatal(err)
	}
	if n := a.count(t, "select count(*) from record_log where convert_from(canonical, 'UTF8') like '%a156.10@2005%'"); n != 1 {
		t.Error("the record names no rule basis")
	}
}

func TestACorrectionOfSettingsTakesThemBack(t *testing.T) {
	t.Parallel()
	a := newAttended(t)
	visit := a.open(t)
	right := a.append(t, visit, a.at(5, a.set("found", -3)))
	wrong := a.append(t, visit, a.at(6, a.set("left", -40)))
	inForce := func() uuid.UUID {
		t.Helper()
		w, err := a.Watched(t.Context(), technician, a.sensor.ComponentID)
		if err != nil {
			t.Fatal(err)
		}
		return w.RevisionID
	}
	if inForce() != wrong.entry {
		t.Fatal("the settings left are not in force")
	}
	elsewhere := a.newDoor(t)
	stray := correcting(wrong.entry, note("of another door"))
	stray.DoorID, stray.ObservedAt = elsewhere.DoorID, a.now
	_, _, err := a.PutEntry(t.Context(), technician, a.id(), a.id(), stray)
	wantFault(t, err, "entry_of_other_door at /corrects")
	a.append(t, visit, a.at(7, correcting(wrong.entry, note("never left so"))))
	if inForce() != right.entry {
		t.Error("corrected settings are still in force")
	}
}

// A correction that arrives before what it corrects may name an entry of another door: nobody can know. It must take
// nothing back then either.
func TestACorrectionThatArrivesFirstTakesNothingBackAtAnotherDoor(t *testing.T) {
	t.Parallel()
	a := newAttended(t)
	elsewhere := a.newDoor(t)
	settings := a.id()
	stray := correcting(settings, note("of another door"))
	stray.DoorID, stray.ObservedAt = elsewhere.DoorID, a.now
	if _, _, err := a.PutEntry(t.Context(), technician, a.id(), a.id(), stray); err != nil {
		t.Fatal(err)
	}
	if _, _, err := a.PutEntry(t.Context(), technician, a.id(), settings, a.at(5, a.set("found", 0))); err != nil {
		t.Fatal(err)
	}
	if w, err := a.Watched(t.Context(), technician, a.sensor.ComponentID); err != nil || w.RevisionID != settings {
		t.Errorf("in force %s, %v", w.RevisionID, err)
	}
}

func TestAComputedFindingThatIsConfirmedStaysInternal(t *testing.T) {
	t.Parallel()
	a := newAttended(t)
	visit := a.open(t)
	a.append(t, visit, a.at(5, a.set("found", -40)))
	computed, err := a.Findings(t.Context(), technician, fleet.FindingQuery{DoorID: a.door.DoorID, Origin: "computed", State: "open", Limit: 10})
	if err != nil || len(computed) == 0 {
		t.Fatal(computed, err)
	}
	said := found("deficient", "does not open for people who come along the wall")
	said.Finding.Confirms = &computed[0].FindingID
	a.append(t, visit, a.at(6, said))
	seen, err := a.Findings(t.Context(), agentOf(a.door.CustomerID), fleet.FindingQuery{DoorID: a.door.DoorID, Limit: 10})
	if err != nil || len(seen) != 1 || seen[0].Origin != "visit" || seen[0].Severity != "deficient" {
		t.Errorf("the agent sees %+v, %v", seen, err)
	}
	still, err := a.Findings(t.Context(), technician, fleet.FindingQuery{DoorID: a.door.DoorID, Origin: "computed", State: "open", Limit: 10})
	if err != nil || len(still) != len(computed) {
		t.Errorf("computed findings %+v, %v", still, err)
	}
}

func TestPersonsSeeTheVisitsCasesAndPhotosOfTheirScopeOnly(t *testing.T) {
	t.Parallel()
	a := newAttended(t)
	bytes, photo := picture(t, 50)
	visit := a.open(t)
	unsafe := a.append(t, visit, a.at(5, found("unsafe", "closes on people", photo)))
	if _, _, err := a.PutPhoto(t.Context(), technician, photo, "image/png", bytes); err != nil {
		t.Fatal(err)
	}
	unnamed, other := picture(t, 51)
	if _, _, err := a.PutPhoto(t.Context(), technician, other, "image/png", unnamed); err != nil {
		t.Fatal(err)
	}
	elsewhere := a.newDoor(t)
	for name, c := range map[string]struct {
		by   identity.Actor
		sees bool
	}{
		"the agent of the customer": {agentOf(elsewhere.CustomerID, a.door.CustomerID), true},
		"the tenant of the site":    {tenantOf(a.site.SiteID), true},
		"another customer's agent":  {agentOf(elsewhere.CustomerID), false},
		"another site's tenant":     {tenantOf(elsewhere.SiteID), false},
		"an agent of nobody":        {agentOf(), false},
	} {
		t.Run(name, func(t *testing.T) {
			ctx := t.Context()
			check := func(what, code string, err error) {
				t.Helper()
				if c.sees && err != nil || !c.sees && !fault.Is(err, code) {
					t.Errorf("%s: %v", what, err)
				}
			}
			_, entries, err := a.Visit(ctx, c.by, visit)
			check("the visit", "visit_not_found", err)
			if c.sees && len(entries) != 1 {
				t.Errorf("%d entries", len(entries))
			}
			_, err = a.Case(ctx, c.by, unsafe.entry)
			check("the case", "case_not_found", err)
			_, file, err := a.Photo(ctx, c.by, photo)
			check("the photo", "photo_not_found", err)
			if file != nil {
				_ = file.Close()
			}
			_, _, err = a.Photo(ctx, c.by, other)
			wantFault(t, err, "photo_not_found")
			visits, err := a.Visits(ctx, c.by, fleet.VisitQuery{Limit: 10})
			if err != nil || len(visits) == 1 != c.sees {
				t.Errorf("visits %v, %v", visits, err)
			}
			cases, err := a.Cases(ctx, c.by, fleet.CaseQuery{Limit: 10})
			if err != nil || len(cases) == 1 != c.sees {
				t.Errorf("cases %v, %v", cases, err)
			}
		})
	}
	_, file, err := a.Photo(t.Context(), technician, other)
	if err != nil {
		t.Fatal("staff see every photo:", err)
	}
	_ = file.Close()
}

func TestVisitsAndCasesPageByKey(t *testing.T) {
	t.Parallel()
	a := newAttended(t)
	var visits, cases []uuid.UUID
	for i := range 5 {
		a.pass(time.Duration(i%2) * time.Hour) // some at one instant
		v := a.open(t)
		visits = append(visits, v)
		cases = append(cases, a.append(t, v, a.at(0, found("unsafe", "closes on people"))).entry)
	}
	q := fleet.VisitQuery{DoorID: a.door.DoorID, Limit: 2}
	var seen []uuid.UUID
	for {
		page, err := a.Visits(t.Context(), technician, q)
		if err != nil {
			t.Fatal(err)
		}
		for _, v := range page {
			seen = append(seen, v.VisitID)
			q.BeforeAt, q.BeforeID = v.Attendance.ArrivedAt, v.VisitID
		}
		if len(page) < q.Limit {
			break
		}
	}
	slices.Reverse(visits)
	if !slices.Equal(seen, visits) {
		t.Errorf("visits %v, want %v", seen, visits)
	}
	k := fleet.CaseQuery{DoorID: a.door.DoorID, Open: true, Limit: 2}
	seen = nil
	for {
		page, err := a.Cases(t.Context(), technician, k)
		if err != nil {
			t.Fatal(err)
		}
		for _, c := range page {
			seen = append(seen, c.CaseID)
			k.AfterAt, k.AfterID = c.OpenedAt, c.CaseID
		}
		if len(page) < k.Limit {
			break
		}
	}
	if !slices.Equal(seen, cases) {
		t.Errorf("cases %v, want %v", seen, cases)
	}
}

func TestAPhotoIsTakenUnderItsOwnHashOnly(t *testing.T) {
	t.Parallel()
	a := newAttended(t)
	bytes, hash := picture(t, 7)
	other := hash
	other[0]++
	text := []byte("not a picture at all")
	for name, c := range map[string]struct {
		hash  seal.Hash
		media string
		bytes []byte
		want  string
	}{
		"other bytes":             {other, "image/png", bytes, "photo_hash_differs"},
		"no bytes":                {hash, "image/png", nil, "photo_hash_differs"},
		"another type":            {hash, "image/jpeg", bytes, "photo_of_other_type"},
		"a type that is no photo": {seal.HashOf(text), "text/plain; charset=utf-8", text, "photo_of_other_type"},
		"text as a picture":       {seal.HashOf(text), "image/png", text, "photo_of_other_type"},
		"too large":               {hash, "image/png", make([]byte, fleet.MostPhotoBytes+1), "photo_too_large"},
	} {
		t.Run(name, func(t *testing.T) {
			_, _, err := a.PutPhoto(t.Context(), technician, c.hash, c.media, c.bytes)
			wantFault(t, err, c.want)
			if _, err := a.Photos.Open(c.hash); err == nil {
				t.Error("the bytes were kept")
			}
		})
	}
	if n := a.count(t, "select count(*) from photo"); n != 0 {
		t.Errorf("%d photos", n)
	}
	for _, isNew := range []bool{true, false} {
		p, created, err := a.PutPhoto(t.Context(), technician, hash, "image/png", bytes)
		if err != nil || created != isNew || p.Size != int64(len(bytes)) {
			t.Errorf("%+v %v %v", p, created, err)
		}
	}
}
