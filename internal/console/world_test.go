package console_test

import (
	"bytes"
	"errors"
	"fmt"
	"image"
	"image/png"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/field/oracle"
	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/identity"
	"lintel.example/lintel/internal/seal"
	"lintel.example/lintel/internal/store/storetest"
)

// world is a small company: two customers, three sites, and doors in every state.
type world struct {
	*desk
	admin, dispatcher, technician, support, agent, auditor *somebody

	customer, other          fleet.Customer
	site, coast, foreign     fleet.Site
	door                     fleet.Door // in service, with devices and a history; inspected
	unsafe, held, late, bare fleet.Door // unsafe, not yet secured; secured; overdue; nothing known
	away                     fleet.Door // of the other customer
	sensor                   uuid.UUID
	model                    fleet.Model
	party, partyAway         fleet.Party    // the owner of the site, and of the other customer's
	standing                 fleet.Standing // of that owner
	plan                     fleet.Plan     // of door
	visit                    uuid.UUID      // signed
	open                     uuid.UUID      // not signed
	oddity                   uuid.UUID      // of the signed visit: a note after they had left
	unsafeCase               uuid.UUID      // the open case of the unsafe door
	photo, photoAway         seal.Hash      // of that visit, and of one at the other customer's
	report                   uuid.UUID
	seal                     uuid.UUID // the finding of the torn seal
	shown                    string    // the hash of what was shown of it
	list                     uuid.UUID // that was imported
	order                    string    // open, made by hand
	orderPlan                string    // open, made of a plan

	hook                                     uuid.UUID // another program that is told of events
	rounds, closed                           uuid.UUID // a plan of who drives where, and a public holiday
	orderAway                                string    // the same of the other customer
	pressed, pressedAway                     uuid.UUID // forces over time
	walked                                   uuid.UUID // a walk test
	feed                                     uuid.UUID // a calendar of the site
	feedSecret                               string
	watch                                    uuid.UUID // of the technician, who works alone
	letter, unapproved                       uuid.UUID // texts of letters
	issued, mailed                           uuid.UUID // a letter about the unsafe door, and a mail with it that arrived
	visitAway, reportAway, sensorAway, token uuid.UUID
}

// The world is made once; every test gets a copy of its database and of its photos.
var (
	madeOnce    storetest.Filled
	made        world
	madePhotos  = map[string][]byte{} // by path
	madeCounter uint64                // of ids
)

// someJobs are two of the program's jobs.
func someJobs() (list []fleet.JobSchedule) {
	for _, j := range [][2]string{{"due_work_orders", "15 4 * * *"}, {"queue_notices", "45 4 * * *"}} {
		s, err := duedate.ParseSchedule(j[1])
		if err != nil {
			panic(err)
		}
		list = append(list, fleet.JobSchedule{Job: j[0], Schedule: s})
	}
	return list
}

func newWorld(t testing.TB) *world {
	t.Helper()
	db := madeOnce.New(t, func(db storetest.DB) {
		w := &world{desk: newDeskOn(t, db)}
		w.make(t)
		made, madeCounter = *w, w.ids.Load()
		if err := fs.WalkDir(os.DirFS(w.photos), ".", func(path string, entry fs.DirEntry, err error) error {
			if err == nil && entry.Type().IsRegular() {
				madePhotos[path], err = os.ReadFile(filepath.Join(w.photos, path))
			}
			return err
		}); err != nil {
			t.Fatal(err)
		}
	})
	w := made
	w.desk = newDeskOn(t, db)
	w.ids.Store(madeCounter)
	w.now = made.now
	for path, data := range madePhotos {
		path = filepath.Join(w.photos, path)
		if err := errors.Join(os.MkdirAll(filepath.Dir(path), 0o700), os.WriteFile(path, data, 0o600)); err != nil {
			t.Fatal(err)
		}
	}
	for _, who := range []**somebody{&w.admin, &w.dispatcher, &w.technician, &w.support, &w.agent, &w.auditor} {
		one := **who
		one.desk, *who = w.desk, &one
	}
	return &w
}

func (w *world) make(t testing.TB) {
	t.Helper()
	w.staff(t)
	w.places(t)
	w.fit(t)
	w.inspect(t)
	w.outsiders(t)
	w.night(t)
	w.abroad(t)
	w.ownRules(t)
	w.ownLetters(t)
	w.planRounds(t)
	w.hook = w.id()
	if _, _, _, err := w.PutWebhook(t.Context(), w.admin.actor, fleet.Webhook{WebhookID: w.hook, Address: "http://127.0.0.1:1/told", Types: fleet.WebhookTypes(), Note: "the accounts"}, true, 0); err != nil {
		t.Fatal(err)
	}
}

func (w *world) staff(t testing.TB) {
	w.admin = w.administrator(t)
	w.dispatcher = w.hire(t, w.admin, identity.Person{Email: "bo@lintel.example", Name: "Bo Tanager", Role: identity.Dispatcher})
	w.technician = w.hire(t, w.admin, identity.Person{Email: "cato@lintel.example", Name: "Cato Wren", Role: identity.Technician, Units: "us"})
	w.support = w.hire(t, w.admin, identity.Person{Email: "dee@lintel.example", Name: "Dee Alder", Role: identity.Support})
	if _, _, err := w.people.PutQualification(t.Context(), w.admin.actor, identity.Qualification{PersonID: w.technician.actor.PersonID, QualificationID: w.id(),
		Scheme: "Certified inspector", Number: "CI-2211", ValidFrom: day("2025-01-01"), ValidUntil: day("2027-12-31")}, ""); err != nil {
		t.Fatal(err)
	}
}

// night is an order made by hand, the jobs' runs and the notices that they queue.
func (w *world) night(t testing.TB) {
	w.watch = w.id()
	if _, _, err := w.PutWatch(t.Context(), w.technician.actor, fleet.Watch{WatchID: w.watch, Place: "Quay House, roof", Note: "Porter: +1 555 0142", BackBy: w.now.Add(30 * time.Minute)}); err != nil {
		t.Fatal(err)
	}
	feed, secret, _, err := w.PutCalendarFeed(t.Context(), w.dispatcher.actor, fleet.CalendarFeed{FeedID: w.id(), SiteID: w.site.SiteID, Note: "The caretaker's telephone"})
	if err != nil {
		t.Fatal(err)
	}
	w.feed, w.feedSecret = feed.FeedID, secret
	o := must[fleet.WorkOrder](t)(w.PutWorkOrder(t.Context(), w.dispatcher.actor, fleet.WorkOrder{WorkOrderID: w.id(), DoorID: w.door.DoorID, Kind: "service", DueOn: day("2026-03-12"), Note: "Squeaks in the morning."}, 0))
	w.order = o.WorkOrderID.String()
	due, err := w.WorkOrders(t.Context(), w.dispatcher.actor, fleet.WorkOrderQuery{DoorID: w.late.DoorID, State: "open", Limit: 1})
	if err != nil || len(due) != 1 {
		t.Fatal(len(due), err)
	}
	w.orderPlan = due[0].WorkOrderID.String()
	if _, err := w.QueueNotices(t.Context(), day("2026-03-03")); err != nil {
		t.Fatal(err)
	}
}

// abroad is what the outsiders must not see: everything of the other customer.
func (w *world) abroad(t testing.TB) {
	ctx, by := t.Context(), w.dispatcher.actor
	o := must[fleet.WorkOrder](t)(w.PutWorkOrder(ctx, by, fleet.WorkOrder{WorkOrderID: w.id(), DoorID: w.away.DoorID, Kind: "service", DueOn: day("2026-05-12")}, 0))
	w.orderAway = o.WorkOrderID.String()
	w.visitAway = w.attend(t, w.now.Add(-72*time.Hour), w.foreign, w.away)
	w.pressedAway = w.enter(t, w.visitAway, w.away, w.now.Add(-71*time.Hour), gauged("North doors"))
	w.photoAway = w.picture(t, w.visitAway, w.away, w.now.Add(-71*time.Hour), "North doors.", 0x20)
	w.reportAway = w.id()
	must[fleet.Report](t)(w.MakeReport(ctx, by, w.reportAway, fleet.ReportAsk{Kind: fleet.KindDoor, DoorID: w.away.DoorID}))
	w.partyAway = must[fleet.Party](t)(w.PutParty(ctx, by, fleet.Party{PartyID: w.id(), Name: "Arcade Holdings"}, 0))
	must[fleet.Standing](t)(w.PutStanding(ctx, by, fleet.Standing{SiteID: w.foreign.SiteID, StandingID: w.id(), PartyID: w.partyAway.PartyID, Role: "owner", FromDay: day("2025-01-01")}, 0))
	sensor := must[fleet.Component](t)(w.PutComponent(ctx, by, fleet.ComponentPut{ComponentID: w.id(), DoorID: w.away.DoorID, Kind: "sensor", ModelID: &w.model.ModelID,
		Fitting: fleet.Fitting{State: "fitted", Side: "a", Input: "activate", Contact: "normally_open"}, Reason: "seen"}))
	w.sensorAway = sensor.ComponentID
	run, err := w.Import(ctx, by, fleet.ImportOrder{FileName: "depot.csv", Data: []byte("Customer,Site,Country,Jurisdiction,Time zone,Door,Kind,Leaves\nElm Depots,Depot,US,US-IL,America/Chicago,Gate,sliding,2\n")})
	if err != nil || !run.Applied {
		t.Fatal(run.Summary.Complaints, err)
	}
	w.list = run.RunID
	_, token, err := w.people.CreateToken(ctx, w.admin.actor, identity.Token{PersonID: w.technician.actor.PersonID, Name: "tablet", Scopes: []identity.TokenScope{identity.TokenRead}, ExpiresAt: w.now.AddDate(0, 1, 0)}, "")
	if err != nil {
		t.Fatal(err)
	}
	w.token = token.TokenID
}

// planRounds is a plan of who drives where: one technician, one site whose place is known, another whose is not.
func (w *world) planRounds(t testing.TB) {
	ctx, by := t.Context(), w.dispatcher.actor
	site, err := w.Site(ctx, by, w.site.SiteID)
	if err != nil {
		t.Fatal(err)
	}
	site.Position = &fleet.Position{LatitudeDeg: 38.58, LongitudeDeg: -121.49}
	w.site = must[fleet.Site](t)(w.PutSite(ctx, by, site, site.Version))
	must[fleet.WorkingTerms](t)(w.PutWorkingTerms(ctx, by, fleet.WorkingTerms{PersonID: w.technician.actor.PersonID, TimeZone: "America/Los_Angeles", Home: fleet.Position{LatitudeDeg: 38.5, LongitudeDeg: -121.4},
		Weekdays: []int{1, 2, 3, 4, 5}, Hours: fleet.DayHours{FromMinute: 7 * 60, ToMinute: 16 * 60}, Break: fleet.DayHours{FromMinute: 12 * 60, ToMinute: 12*60 + 30}}, 0))
	w.closed = w.id()
	_, _, err = w.PutClosedDay(ctx, by, fleet.ClosedDay{ClosedDayID: w.closed, Place: "US", Span: duedate.Span{From: day("2026-05-25")}, Name: "Memorial Day"}, 0)
	if err != nil {
		t.Fatal(err)
	}
	w.rounds = w.id()
	must[fleet.RoutePlan](t)(w.PlanRoutes(ctx, by, w.rounds, fleet.RouteAsk{From: day("2026-03-04"), Days: 5, AheadDays: 60, Steps: 200}.Filled()))
}

// standingEnd and planPath are addresses of the owner's standing and of the plan of the main entrance.
func (w *world) standingEnd() string {
	return "/sites/" + w.site.SiteID.String() + "/parties/" + w.standing.StandingID.String() + "/end"
}

func (w *world) planPath() string {
	return "/doors/" + w.door.DoorID.String() + "/plans/" + w.plan.PlanID.String()
}

func (w *world) outsiders(t testing.TB) {
	w.agent = w.hire(t, w.admin, identity.Person{Email: "eve@harbour.example", Name: "Eve Sorrel", Role: identity.OwnerAgent, ScopeKind: identity.ScopeCustomers, Customers: []uuid.UUID{w.customer.CustomerID}})
	w.auditor = w.hire(t, w.admin, identity.Person{Email: "finn@assessors.example", Name: "Finn Ashby", Role: identity.Auditor, ScopeKind: identity.ScopeSites, Sites: []uuid.UUID{w.site.SiteID},
		ExpiresAt: p(w.now.AddDate(0, 1, 0))})
}

func must[T any](t testing.TB) func(v T, created bool, err error) T {
	return func(v T, _ bool, err error) T {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
}

func (w *world) places(t testing.TB) {
	by := w.dispatcher.actor
	ctx := t.Context()
	w.customer = must[fleet.Customer](t)(w.PutCustomer(ctx, by, fleet.Customer{CustomerID: w.id(), Name: "Harbour Clinics", Account: "HC-104"}, 0))
	w.other = must[fleet.Customer](t)(w.PutCustomer(ctx, by, fleet.Customer{CustomerID: w.id(), Name: "Juniper Arcade"}, 0))
	site := func(customer uuid.UUID, name, city, zone, jurisdiction string) fleet.Site {
		return must[fleet.Site](t)(w.PutSite(ctx, by, fleet.Site{CustomerID: customer, SiteID: w.id(), Name: name, Address: "12 Ferry Road", City: city, Country: "US",
			Jurisdiction: jurisdiction, TimeZone: zone, OpeningHours: "Mon–Fri 7–19", AccessNotes: "Report at the front desk."}, 0))
	}
	w.site = site(w.customer.CustomerID, "Clinic East", "Sacramento", "America/Los_Angeles", "US-CA")
	w.coast = site(w.customer.CustomerID, "Clinic on the Coast", "Portland", "America/New_York", "US-ME")
	w.foreign = site(w.other.CustomerID, "Arcade", "Chicago", "America/Chicago", "US-IL")
	w.party = must[fleet.Party](t)(w.PutParty(ctx, by, fleet.Party{PartyID: w.id(), Name: "Harbour Estates", Email: "estates@harbour.example"}, 0))
	w.standing = must[fleet.Standing](t)(w.PutStanding(ctx, by, fleet.Standing{SiteID: w.site.SiteID, StandingID: w.id(), PartyID: w.party.PartyID, Role: "owner", FromDay: day("2025-01-01")}, 0))
	w.door = w.register(t, w.site, "Main entrance")
	w.unsafe = w.register(t, w.site, "Ambulance bay")
	w.held = w.register(t, w.coast, "Pharmacy")
	w.late = w.register(t, w.coast, "Staff entrance")
	w.bare = w.register(t, w.site, "Garden door")
	w.away = w.register(t, w.foreign, "North doors")
	for _, d := range []struct {
		door   fleet.Door
		anchor string
	}{{w.door, "2026-06-01"}, {w.late, "2026-01-15"}, {w.unsafe, "2026-03-10"}, {w.away, "2026-02-01"}} {
		made := must[fleet.Plan](t)(w.PutPlan(ctx, by, fleet.Plan{DoorID: d.door.DoorID, PlanID: w.id(), IntervalMonths: 12, Regime: "anniversary", ToleranceDays: 30, LeadDays: 30,
			AnchorOn: day(d.anchor), Active: true}, 0))
		if d.door.DoorID == w.door.DoorID {
			w.plan = made
		}
	}
	if _, err := w.OpenDueWorkOrders(ctx, day("2026-03-03")); err != nil {
		t.Fatal(err)
	}
}

func (w *world) register(t testing.TB, site fleet.Site, name string) fleet.Door {
	t.Helper()
	leaf := fleet.Leaf{Motion: "slide", Hinge: "none", OpensTowards: "left", WidthM: fleet.Q(1, fleet.Measured), HeightM: fleet.Q(2.2, fleet.Measured), MassKg: fleet.UnknownQuantity()}
	other := leaf
	other.OpensTowards = "right"
	return must[fleet.Door](t)(w.PutDoor(t.Context(), w.dispatcher.actor, fleet.DoorPut{DoorID: w.id(), SiteID: site.SiteID, Name: name, KnownSince: day("2025-01-01"),
		EffectiveAt: time.Date(2025, 1, 2, 12, 0, 0, 0, time.UTC), Reason: "taken over with the contract", Facts: fleet.DoorFacts{
			Kind: "sliding", Energy: "full", Traffic: "two_way", PresenceBy: "both",
			A:           fleet.SideFacts{Label: "street", Activation: "sensor", KeptClear: []fleet.KeptClearZone{{What: "footpath", X0M: -3, X1M: 3, Y0M: 2.4, Y1M: 3.4}}},
			B:           fleet.SideFacts{Label: "hall", Activation: "sensor"},
			ClearWidthM: fleet.Q(1.8, fleet.Measured), HeaderDepthM: fleet.Q(0.2, fleet.Measured),
			OpeningTimeS: fleet.Q(2.1, fleet.Measured), ClosingTimeS: fleet.UnknownQuantity(), Modes: []string{"day", "night_locked"}, GuideRails: "none", Egress: p(true),
			RuleBasis: fleet.RuleBasis{PackID: "a156.10@2005", Since: day("2025-01-01"), Why: "in force when the door was built"},
			Leaves:    []fleet.Leaf{leaf, other}}}))
}

// facts is a sensor as it is mounted over an entrance.
func (w *world) facts(reachDB float64) fleet.DeviceFacts {
	return fleet.DeviceFacts{AntennaID: &w.model.Antennas[0].AntennaID, Accessories: []uuid.UUID{},
		Mount: fleet.MountFacts{HeightM: fleet.Q(2.3, fleet.Measured), OffsetXM: fleet.Q(0, fleet.Measured), OffsetYM: fleet.Q(0.12, fleet.Measured), TiltDeg: fleet.Q(28, fleet.SeenOnSite), YawDeg: fleet.Q(0, fleet.Assumed)},
		Settings: fleet.Settings{ReachDB: fleet.Q(reachDB, fleet.SeenOnSite), MotionDirection: "either", HoldWhileMoving: p(true), ConfirmTravelMM: fleet.Q(120, fleet.FromPaper),
			OutputHoldS: fleet.Q(1, fleet.SeenOnSite), OutputContact: "normally_open"}}
}

// fit puts a control and two sensors into the main entrance.
func (w *world) fit(t testing.TB) {
	ctx := t.Context()
	w.model = must[fleet.Model](t)(w.PutModel(ctx, w.support.actor, fleet.Model{ModelID: w.id(), Kind: "sensor", Maker: "Fenwick", Name: "Motion 2", Sensing: "radar",
		Antennas: []fleet.Antenna{{AntennaID: w.id(), Name: "wide", AzimuthBeamwidthDeg: 60, ElevationBeamwidthDeg: 36, AttenuationLimitDB: 25, BoresightRangeM: 5, Source: "data sheet"}}}))
	by := w.dispatcher.actor
	control := must[fleet.Component](t)(w.PutComponent(ctx, by, fleet.ComponentPut{ComponentID: w.id(), DoorID: w.door.DoorID, Kind: "control", ModelText: "Fenwick Control 4", Serial: "C-77",
		Fitting: fleet.Fitting{State: "fitted", Side: "none", Input: "none", Contact: "none"}, EffectiveAt: time.Date(2025, 1, 2, 12, 0, 0, 0, time.UTC), Reason: "seen at the take-over"}))
	for _, side := range []string{"a", "b"} {
		sensor := must[fleet.Component](t)(w.PutComponent(ctx, by, fleet.ComponentPut{ComponentID: w.id(), DoorID: w.door.DoorID, Kind: "sensor", ModelID: &w.model.ModelID, Serial: "S-" + side,
			Fitting: fleet.Fitting{State: "fitted", Side: side, WiredTo: &control.ComponentID, Input: "activate", Contact: "normally_open", TestedByControl: p(true)}, EffectiveAt: time.Date(2025, 1, 2, 12, 0, 0, 0, time.UTC), Reason: "seen at the take-over"}))
		must[fleet.Revision](t)(w.PutRevision(ctx, by, fleet.Revision{ComponentID: sensor.ComponentID, RevisionID: w.id(), Standing: "found", EffectiveAt: time.Date(2025, 1, 3, 15, 0, 0, 0, time.UTC), Reason: "from the old card", Device: w.facts(-6)}))
		must[fleet.Revision](t)(w.PutRevision(ctx, by, fleet.Revision{ComponentID: sensor.ComponentID, RevisionID: w.id(), Standing: "left", EffectiveAt: time.Date(2025, 9, 1, 15, 0, 0, 0, time.UTC), Reason: "opened too late for wheelchairs", Device: w.facts(-1)}))
		if side == "a" {
			w.sensor = sensor.ComponentID
		}
	}
}

// inspect plays three visits: one that is signed, one that finds a door unsafe and leaves it so, one that secures.
func (w *world) inspect(t testing.TB) {
	at := w.now.Add(-48 * time.Hour)
	w.visit = w.attend(t, at, w.site, w.door)
	w.enter(t, w.visit, w.door, at.Add(2*time.Minute), fleet.EntryBody{Kind: "note", Note: &fleet.EntryNote{Text: "Floor wet, cleaned."}})
	w.enter(t, w.visit, w.door, at.Add(3*time.Minute), fleet.EntryBody{Kind: "reading", Reading: &fleet.EntryReading{Name: "closing_force_n", Value: p(118.0)}})
	w.seal = w.enter(t, w.visit, w.door, at.Add(4*time.Minute), fleet.EntryBody{Kind: "finding", Finding: &fleet.EntryFinding{Severity: "deficient", What: "Weather seal torn at the floor.", SafeUntil: day("2026-05-01")}})
	w.photo = w.picture(t, w.visit, w.door, at.Add(5*time.Minute), "The seal, torn at the floor.", 0x90)
	w.walked = w.enter(t, w.visit, w.door, at.Add(6*time.Minute), fleet.EntryBody{Kind: "walk_test", WalkTest: w.marks()})
	w.enter(t, w.visit, w.door, at.Add(17*time.Minute), fleet.EntryBody{Kind: "note", Note: &fleet.EntryNote{Text: "The floor has dried."}})
	w.sign(t, w.visit, at.Add(10*time.Minute))
	asked, err := w.Oddities(t.Context(), w.dispatcher.actor, fleet.OddityQuery{VisitID: w.visit, Limit: 2})
	if err != nil || len(asked) != 1 {
		t.Fatal(asked, err)
	}
	w.oddity = asked[0].OddityID
	w.open = w.attend(t, at.Add(time.Hour), w.site, w.unsafe)
	w.unsafeCase = w.enter(t, w.open, w.unsafe, at.Add(62*time.Minute), fleet.EntryBody{Kind: "finding", Finding: &fleet.EntryFinding{Severity: "unsafe", What: "Closes on a standing person."}})
	w.enter(t, w.open, w.unsafe, at.Add(63*time.Minute), fleet.EntryBody{Kind: "securing", Securing: &fleet.EntrySecuring{How: "not_secured", EgressKept: p(true), ToldName: "Gil Marsh", Answer: "refused"}})
	w.pressed = w.enter(t, w.open, w.unsafe, at.Add(64*time.Minute), gauged("gauge"))
	held := w.attend(t, at.Add(3*time.Hour), w.coast, w.held)
	w.enter(t, held, w.held, at.Add(181*time.Minute), fleet.EntryBody{Kind: "finding", Finding: &fleet.EntryFinding{Severity: "unsafe", What: "Safety beam dead."}})
	w.enter(t, held, w.held, at.Add(182*time.Minute), fleet.EntryBody{Kind: "securing", Securing: &fleet.EntrySecuring{How: "operator_off", EgressKept: p(true), ToldName: "Hana Reed", Answer: "acknowledged"}})
	shown, err := w.MakeShownText(t.Context(), w.dispatcher.actor, w.door.DoorID, []uuid.UUID{w.seal})
	if err != nil {
		t.Fatal(err)
	}
	w.shown = shown.SHA256.String()
	must[fleet.Entry](t)(w.PutFromOffice(t.Context(), w.dispatcher.actor, w.id(), fleet.EntryBody{DoorID: w.door.DoorID, Kind: "decision", ObservedAt: at.Add(20 * time.Minute), Decision: &fleet.EntryDecision{
		Findings: shown.Findings, Decision: "deferred", Until: day("2026-04-01"), ShownSHA256: shown.SHA256, Outcome: "by_telephone", Name: "GIL MARSH", Role: "caretaker", Witness: "Bo Tanager took the call."}}))
	w.report = w.id()
	must[fleet.Report](t)(w.MakeReport(t.Context(), w.dispatcher.actor, w.report, fleet.ReportAsk{Kind: fleet.KindDoor, DoorID: w.door.DoorID}))
}

// marks is a walk test of the sensor over the street: the walks of oracle.Mount, rounded to the centimetre.
func (w *world) marks() *fleet.EntryWalkTest {
	hangs := oracle.Mount{HeightM: 2.3, OffsetYM: 0.12, TiltDeg: 30, AzimuthBeamwidthDeg: 60, ElevationBeamwidthDeg: 36, AttenuationLimitDB: 25, BoresightRangeM: 4.7, ReachDB: -1}
	walk := &fleet.EntryWalkTest{ComponentID: w.sensor, BodyHeightM: 1.7}
	for i, k := range hangs.WalkTest(oracle.Tester{TallM: 1.7, SpeedMps: 1, ConfirmM: 0.12}, 0, 0, func() float64 { return 0.5 }, func() float64 { return 0 }) {
		heading := math.Atan2(k.TowardsX, k.TowardsY) * 180 / math.Pi
		m := fleet.WalkMark{XM: math.Round(k.X*100) / 100, YM: math.Round(k.Y*100) / 100, HeadingDeg: &heading}
		if i == 12 {
			m.YM += 0.8
		}
		walk.Marks = append(walk.Marks, m)
	}
	return walk
}

// gauged is a knock of 300 N that leaves 90 N for a second and a half, as a gauge writes it at 1 kHz.
func gauged(head string) fleet.EntryBody {
	var csv strings.Builder
	csv.WriteString(head + "\nTime [ms];Force [N]\n")
	for ms := range 1600 {
		force := 90 + 210*math.Exp(-float64((ms-60)*(ms-60))/800)
		if ms < 20 {
			force = float64(ms)
		}
		fmt.Fprintf(&csv, "%d;%.1f\n", ms, force)
	}
	return fleet.EntryBody{Kind: "force_course", ForceCourse: &fleet.EntryForceCourse{CSV: csv.String(), Leaf: 1, GapM: p(0.2)}}
}

func (w *world) attend(t testing.TB, at time.Time, site fleet.Site, door fleet.Door) uuid.UUID {
	t.Helper()
	id := w.id()
	must[fleet.Visit](t)(w.PutVisit(t.Context(), w.technician.actor, id, fleet.Attendance{SiteID: site.SiteID, ArrivedAt: at, People: []uuid.UUID{w.technician.actor.PersonID},
		Doors: []fleet.DoorsOfVisit{{DoorID: door.DoorID, WorkOrders: []uuid.UUID{}}}}))
	return id
}

func (w *world) enter(t testing.TB, visit uuid.UUID, door fleet.Door, at time.Time, body fleet.EntryBody) uuid.UUID {
	t.Helper()
	id := w.id()
	body.DoorID, body.ObservedAt = door.DoorID, at
	must[fleet.Entry](t)(w.PutEntry(t.Context(), w.technician.actor, visit, id, body))
	return id
}

// picture takes a photo of one shade and enters it.
func (w *world) picture(t testing.TB, visit uuid.UUID, door fleet.Door, at time.Time, what string, shade uint8) seal.Hash {
	t.Helper()
	data := drawnPNG(t, shade)
	hash := seal.HashOf(data)
	must[fleet.Photo](t)(w.PutPhoto(t.Context(), w.technician.actor, hash, "image/png", data))
	w.enter(t, visit, door, at, fleet.EntryBody{Kind: "photo", Photo: &fleet.EntryPhoto{SHA256: hash, What: what}})
	return hash
}

// drawnPNG is a picture of one shade.
func drawnPNG(t testing.TB, shade uint8) []byte {
	t.Helper()
	gray := image.NewGray(image.Rect(0, 0, 320, 240))
	for i := range gray.Pix {
		gray.Pix[i] = shade
	}
	var out bytes.Buffer
	if err := png.Encode(&out, gray); err != nil {
		t.Fatal(err)
	}
	return out.Bytes()
}

func (w *world) sign(t testing.TB, visit uuid.UUID, at time.Time) {
	t.Helper()
	_, entries, err := w.Visit(t.Context(), w.technician.actor, visit)
	if err != nil {
		t.Fatal(err)
	}
	s := fleet.SignOff{SignedAt: at, LeftAt: at, Statement: "As recorded.", Signature: "M0 0L10 10"}
	for _, e := range entries {
		s.Entries = append(s.Entries, fleet.SignedEntry{EntryID: e.EntryID, SHA256: seal.Hash(e.SHA256)})
	}
	must[fleet.Visit](t)(w.PutSignOff(t.Context(), w.technician.actor, visit, s))
}
