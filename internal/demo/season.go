package demo

import (
	"bytes"
	"context"
	"fmt"
	"image"
	"image/color"
	"image/png"
	"math"
	"strings"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/seal"
)

// site is a site as the history remembers it.
type site struct {
	line   siteLine
	id     uuid.UUID
	loc    *time.Location
	joined duedate.Day
	due    duedate.Day // of the present round
	doors  []*door
	rounds int // inspections done
}

func (s *site) region() string {
	if strings.HasPrefix(s.line.At, "US-") {
		return "America"
	}
	return "Europe" // and what lies farther
}

// near is a place within some 3 km of the middle of a town: of the same number always the same.
func (f *firm) near(town string, number int) *fleet.Position {
	const spreadDeg = 0.03
	middle, known := f.company.Towns[town]
	if !known {
		panic("company.yaml has no town " + town)
	}
	angle := 2.4 * float64(number) // no two of a town lie in one direction
	return &fleet.Position{LatitudeDeg: middle[0] + spreadDeg*math.Sin(angle), LongitudeDeg: middle[1] + spreadDeg*math.Cos(angle)}
}

// takeOver registers a site with all its doors, and plans its first round.
func (h *history) takeOver(ctx context.Context, line siteLine) error {
	s := &site{line: line, id: h.id(), loc: zone(line.Zone)}
	s.joined = duedate.DayIn(h.at, s.loc)
	s.due = s.joined.AddDays(30 + h.dice.IntN(150))
	by := h.dispatcher()
	country, _, _ := strings.Cut(line.At, "-")
	_, _, err := h.PutSite(ctx, by, fleet.Site{CustomerID: h.customers[line.Customer], SiteID: s.id, Name: line.Name, Address: line.Address, City: line.City, Country: country, Region: s.region(),
		Position: h.near(line.City, h.number), Jurisdiction: line.At, TimeZone: line.Zone, OpeningHours: "Mon-Sat 07:00-20:00", AccessNotes: "Report at the desk."}, 0)
	if err != nil {
		return err
	}
	if line.Kind == "school" {
		if _, _, err := h.PutVisitingHours(ctx, by, fleet.VisitingHours{SiteID: s.id, Weekdays: []int{1, 2, 3, 4, 5}, Hours: fleet.DayHours{FromMinute: 7*60 + 30, ToMinute: 15*60 + 30}}, 0); err != nil {
			return err
		}
	}
	parties := []fleet.Standing{{PartyID: h.owners[line.Customer], Role: "owner"}}
	for _, agent := range h.agents[line.Customer] {
		parties = append(parties, fleet.Standing{PartyID: agent, Role: "managing_agent"})
	}
	for _, p := range parties {
		p.SiteID, p.StandingID, p.FromDay = s.id, h.id(), s.joined
		if _, _, err := h.PutStanding(ctx, by, p, 0); err != nil {
			return err
		}
	}
	names := h.company.Places[line.Kind]
	for i := range line.Doors {
		of, name, _ := strings.Cut(names[i%len(names)], " ")
		if again := i / len(names); again > 0 {
			name = fmt.Sprintf("%s %d", name, again+1)
		}
		if err := h.register(ctx, s, name, of); err != nil {
			return err
		}
	}
	h.site = s
	h.planRound(s)
	return nil
}

// planRound plans the inspection of a site for its due day: a little early, sometimes late, and at some sites not at all
// this year.
func (h *history) planRound(s *site) {
	day := s.due.AddDays(-3 - h.dice.IntN(25))
	if h.chance(12) {
		day = s.due.AddDays(5 + h.dice.IntN(40))
	}
	if last := h.options.LastDay; s.line.Late && s.due.AddMonths(12).After(last) {
		return
	}
	for day.Weekday() == time.Saturday || day.Weekday() == time.Sunday {
		day = day.AddDays(1)
	}
	if !day.Before(h.options.LastDay) {
		return
	}
	who := h.certified(s.region(), day)
	h.on(moment(day.AddDays(-3), 9*time.Hour, s.loc), func(ctx context.Context) error { return h.assign(ctx, s, who, day) })
	h.on(moment(day, 8*time.Hour+15*time.Minute, s.loc), func(ctx context.Context) error { return h.inspect(ctx, s, who) })
}

// orders gives the open work orders of a site by door.
func (h *history) orders(ctx context.Context, s *site) (map[uuid.UUID][]fleet.WorkOrder, error) {
	list, err := h.WorkOrders(ctx, h.staff["Marit Osei"].Actor, fleet.WorkOrderQuery{SiteID: s.id, State: "open", Limit: 200})
	byDoor := map[uuid.UUID][]fleet.WorkOrder{}
	for _, o := range list {
		byDoor[o.DoorID] = append(byDoor[o.DoorID], o)
	}
	return byDoor, err
}

// assign says who goes and when.
func (h *history) assign(ctx context.Context, s *site, who *person, day duedate.Day) error {
	orders, err := h.orders(ctx, s)
	if err != nil {
		return err
	}
	by := h.dispatcher()
	for _, d := range s.doors {
		for _, o := range orders[d.id] {
			if _, err := h.AssignWorkOrder(ctx, by, o.WorkOrderID, &who.PersonID, day, o.Version); err != nil {
				return err
			}
		}
	}
	return nil
}

// attendance is a visit that is going on.
type attendance struct {
	h       *history
	site    *site
	who     *person
	id      uuid.UUID
	entries []fleet.SignedEntry
}

// arrive opens a visit for some doors of a site.
func (h *history) arrive(ctx context.Context, s *site, who *person, doors []*door) (*attendance, error) {
	orders, err := h.orders(ctx, s)
	if err != nil {
		return nil, err
	}
	v := &attendance{h: h, site: s, who: who, id: h.id()}
	a := fleet.Attendance{SiteID: s.id, ArrivedAt: h.at, People: []uuid.UUID{who.PersonID}}
	for _, d := range doors {
		served := fleet.DoorsOfVisit{DoorID: d.id, WorkOrders: []uuid.UUID{}}
		for _, o := range orders[d.id] {
			served.WorkOrders = append(served.WorkOrders, o.WorkOrderID)
		}
		a.Doors = append(a.Doors, served)
	}
	_, _, err = h.PutVisit(ctx, who.Actor, v.id, a)
	h.pass(10 * time.Minute)
	return v, err
}

// note appends an entry.
func (v *attendance) note(ctx context.Context, d *door, e fleet.EntryBody) (uuid.UUID, error) {
	v.h.pass(90 * time.Second)
	e.DoorID, e.ObservedAt = d.id, v.h.at
	saved, _, err := v.h.PutEntry(ctx, v.who.Actor, v.id, v.h.id(), e)
	if err != nil {
		return uuid.Nil, fmt.Errorf("%s at %s, %s: %w", e.Kind, v.site.line.Name, d.name, err)
	}
	v.entries = append(v.entries, fleet.SignedEntry{EntryID: saved.EntryID, SHA256: saved.SHA256})
	return saved.EntryID, nil
}

// leave ends the visit; its signature is recorded at the end of the week.
func (v *attendance) leave() {
	v.h.pass(5 * time.Minute)
	at := v.h.at
	v.h.atLast(func(ctx context.Context) error {
		_, _, err := v.h.PutSignOff(ctx, v.who.Actor, v.id, fleet.SignOff{SignedAt: at, LeftAt: at, Entries: v.entries, Statement: v.h.company.Statement, Signature: "M 2 8 C 6 1 9 15 14 6 S 22 9 27 4"})
		if err != nil {
			return fmt.Errorf("sign-off at %s: %w", v.site.line.Name, err)
		}
		return nil
	})
}

// inspect is the yearly round of a site.
func (h *history) inspect(ctx context.Context, s *site, who *person) error {
	var reached []*door
	for _, d := range s.doors {
		if d.stayed = h.chance(4); !d.stayed {
			reached = append(reached, d)
		}
	}
	v, err := h.arrive(ctx, s, who, reached)
	if err != nil {
		return err
	}
	for _, d := range reached {
		if err := v.inspect(ctx, d); err != nil {
			return err
		}
	}
	v.leave()
	s.rounds++
	if h.chance(40) {
		by, report := h.dispatcher(), h.id()
		h.pass(time.Hour)
		h.atLast(func(ctx context.Context) error {
			_, _, err := h.MakeReport(ctx, by, report, fleet.ReportAsk{Kind: fleet.KindDoor, DoorID: reached[0].id})
			return err
		})
	}
	h.planRepairs(s, who, reached)
	s.due = s.due.AddMonths(12)
	h.planRound(s)
	return nil
}

// inspect inspects one door: what comes of it is as at real doors, mostly nothing.
func (v *attendance) inspect(ctx context.Context, d *door) error {
	h := v.h
	if d.line.Paper && d.site.rounds == 0 {
		if err := h.measure(ctx, d); err != nil {
			return err
		}
	}
	if err := v.makeSafe(ctx, d); err != nil {
		return err
	}
	if err := v.settings(ctx, d); err != nil {
		return err
	}
	family := map[string]string{"sliding": "slide", "swinging": "swing"}[d.facts.Kind]
	if family == "" || d.facts.Energy != "low" && family == "swing" || d.pattern == "slide_one_way" {
		family = "other"
	}
	switch n := h.dice.IntN(100); {
	case n < 77:
		return v.conclude(ctx, d, "", "passed")
	case n < 84:
		if _, err := v.find(ctx, d, "advisory", "advisory"); err != nil {
			return err
		}
		return v.conclude(ctx, d, "", "passed")
	case n < 95:
		if _, err := v.find(ctx, d, "deficient", family+"_deficient"); err != nil {
			return err
		}
		return v.conclude(ctx, d, family+"_deficient", "failed")
	}
	if _, err := v.find(ctx, d, "unsafe", family+"_unsafe"); err != nil {
		return err
	}
	yes := true
	if _, err := v.note(ctx, d, fleet.EntryBody{Kind: "securing", Securing: &fleet.EntrySecuring{How: []string{"operator_off", "locked_open", "barriered"}[h.dice.IntN(3)], EgressKept: &yes,
		ToldName: "Front desk", ToldRole: "reception", Answer: "acknowledged", Note: "Operator off, leaf free by hand."}}); err != nil {
		return err
	}
	return v.conclude(ctx, d, family+"_unsafe", "failed")
}

// measure replaces what paper said by what is there, and records the rule basis, once somebody is on site.
func (h *history) measure(ctx context.Context, d *door) error {
	sure := func(q *fleet.Quantity, value float64) {
		if !q.Known() {
			q.Value = &value
		}
		q.Basis = fleet.Measured
	}
	f := d.facts
	p := patterns()[d.pattern]
	sure(&f.ClearWidthM, roundTo(float64(p.leaves)*p.leafM*0.94, 0.01))
	sure(&f.OpeningTimeS, 2.2)
	sure(&f.ClosingTimeS, 5.5)
	f.PresenceBy = p.presence
	f.Leaves = append([]fleet.Leaf{}, f.Leaves...)
	for i := range f.Leaves {
		sure(&f.Leaves[i].WidthM, p.leafM)
		sure(&f.Leaves[i].HeightM, 2.15)
		if !f.Leaves[i].MassKg.Known() {
			f.Leaves[i].MassKg = fleet.Q(55, fleet.Assumed)
		}
	}
	f.RuleBasis = d.basis(d.pattern)
	saved, _, err := h.PutDoor(ctx, h.dispatcher(), fleet.DoorPut{DoorID: d.id, SiteID: d.site.id, Name: d.name, Facts: f, EffectiveAt: h.at, Reason: "Measured at the first inspection.", IfMatch: d.version})
	if err != nil {
		return fmt.Errorf("measured at %s, %s: %w", d.line.Name, d.name, err)
	}
	d.facts, d.version = f, saved.Version.VersionID
	return nil
}

// settings records how a sensor is found at some doors; where its mount has drifted it is set right.
func (v *attendance) settings(ctx context.Context, d *door) error {
	if len(d.radars) == 0 || !v.h.chance(30) {
		return nil
	}
	r := d.radars[v.h.dice.IntN(len(d.radars))]
	found := r.device
	drifted := v.h.chance(25) && found.Mount.TiltDeg.Known()
	if drifted {
		found.Mount.TiltDeg = fleet.Q(max(0, *r.device.Mount.TiltDeg.Value-v.h.between(4, 12, 1)), fleet.Measured)
	}
	if _, err := v.note(ctx, d, fleet.EntryBody{Kind: "settings", Settings: &fleet.EntrySettings{ComponentID: r.id, Standing: "found", Device: found}}); err != nil || !drifted {
		return err
	}
	_, err := v.note(ctx, d, fleet.EntryBody{Kind: "settings", Settings: &fleet.EntrySettings{ComponentID: r.id, Standing: "left", Device: r.device}})
	return err
}

// find notes a finding; an unsafe one with a photo.
func (v *attendance) find(ctx context.Context, d *door, severity, text string) (uuid.UUID, error) {
	said := v.h.company.Findings[text]
	f := fleet.EntryFinding{Severity: severity, What: said.What}
	if d.facts.RuleBasis.PackID != "" {
		f.Rule = said.Rule
	}
	if severity == "unsafe" {
		photo, err := v.photo(ctx)
		if err != nil {
			return uuid.Nil, err
		}
		f.Photos = []seal.Hash{photo}
	}
	id, err := v.note(ctx, d, fleet.EntryBody{Kind: "finding", Finding: &f})
	if severity != "advisory" {
		d.open = append(d.open, openFinding{id: id, unsafe: severity == "unsafe", mended: said.Mended})
	}
	return id, err
}

// photo sends a photo of its own.
func (v *attendance) photo(ctx context.Context) (seal.Hash, error) {
	img := image.NewGray(image.Rect(0, 0, 48, 36))
	for i := range img.Pix {
		img.Pix[i] = uint8(150 + v.h.dice.IntN(40))
	}
	edge := 20 + v.h.dice.IntN(8)
	for y := range 36 {
		img.SetGray(edge+y/9, y, color.Gray{Y: 20})
	}
	var b bytes.Buffer
	if err := png.Encode(&b, img); err != nil {
		return seal.Hash{}, err
	}
	hash := seal.HashOf(b.Bytes())
	_, _, err := v.h.PutPhoto(ctx, v.who.Actor, hash, "image/png", b.Bytes())
	return hash, err
}

// makeSafe makes the work place safe before anything is touched.
func (v *attendance) makeSafe(ctx context.Context, d *door) error {
	_, err := v.note(ctx, d, fleet.EntryBody{Kind: "safe_work", SafeWork: &fleet.EntrySafeWork{Traffic: "barriered", Power: "isolated", Ladder: "stands_safe", SecondPerson: "not_needed",
		SecondPersonWhy: "The ladder is low and the door is barriered."}})
	return err
}

// conclude reads what has to be read, with what is wrong if something is, tries the door, and says what came of it.
func (v *attendance) conclude(ctx context.Context, d *door, wrong, result string) error {
	for _, r := range v.readings(d, wrong) {
		if _, err := v.note(ctx, d, fleet.EntryBody{Kind: "reading", Reading: &r}); err != nil {
			return err
		}
	}
	right := map[bool]string{true: "yes", false: "no"}[!strings.HasSuffix(wrong, "unsafe")]
	if _, err := v.note(ctx, d, fleet.EntryBody{Kind: "function_test", FunctionTest: &fleet.EntryFunctionTest{Activation: "yes", Presence: "yes", Contact: right, ByHand: "yes", Modes: "yes",
		Latching: "does_not_apply", FreeOfNoise: "yes"}}); err != nil {
		return err
	}
	_, err := v.note(ctx, d, fleet.EntryBody{Kind: "conclusion", Conclusion: &fleet.EntryConclusion{Result: result}})
	return err
}

// readings are what is read at a door of a kind, within limits but for what is wrong.
func (v *attendance) readings(d *door, wrong string) []fleet.EntryReading {
	var list []fleet.EntryReading
	number := func(name string, value float64) { list = append(list, fleet.EntryReading{Name: name, Value: &value}) }
	answer := func(name string, yes bool) { list = append(list, fleet.EntryReading{Name: name, Yes: &yes}) }
	h := v.h
	switch {
	case d.facts.Kind == "sliding":
		number("closing_speed_mps", h.between(0.2, 0.29, 0.01))
		number("latch_check_distance_m", map[bool]float64{false: h.between(0.055, 0.08, 0.005), true: 0.03}[wrong == "slide_deficient"])
		number("closing_force_n", map[bool]float64{false: h.between(85, 130, 1), true: 171}[wrong == "slide_unsafe"])
		number("breakout_force_n", h.between(150, 210, 5))
		number("hold_open_s", h.between(2.6, 3.5, 0.1))
		if d.facts.PresenceBy == "beams" {
			number("lowest_beam_height_m", h.between(0.2, 0.6, 0.01))
			number("top_beam_height_m", h.between(1.2, 1.38, 0.01))
		}
		answer("stationary_person_held", true)
	case d.facts.Energy == "low" && d.facts.Kind == "swinging":
		number("opening_time_s", map[bool]float64{false: h.between(3.4, 5, 0.1), true: 2.1}[wrong == "swing_deficient"])
		number("closing_time_s", h.between(4.2, 6, 0.1))
		stops := map[bool]float64{false: h.between(38, 62, 1), true: 96}[wrong == "swing_unsafe"]
		number("opening_force_n", math.Min(stops, 62)-4) // it is the closing leaf that may push too hard
		number("closing_force_n", stops)
		number("manual_start_force_n", h.between(70, 120, 5))
	case d.facts.Energy == "assist":
		number("manual_start_force_n", h.between(40, 90, 5))
		number("manual_full_force_n", h.between(25, 55, 5))
	default:
		number("hold_open_s", h.between(1.5, 3.5, 0.1))
		number("closing_force_n", h.between(60, 110, 5))
	}
	answer("walk_test_passed", !strings.HasSuffix(wrong, "unsafe"))
	if wrong == "other_deficient" {
		answer("signs_present", false)
	}
	return list
}

// planRepairs plans a second visit for what was found.
func (h *history) planRepairs(s *site, who *person, doors []*door) {
	var broken []*door
	within, urgent := 18+h.dice.IntN(20), false
	for _, d := range doors {
		if len(d.open) > 0 {
			broken = append(broken, d)
		}
		for _, f := range d.open {
			if f.unsafe {
				within, urgent = 1+h.dice.IntN(4), true
			}
		}
	}
	if len(broken) == 0 || !urgent && h.chance(25) { // the customer has not ordered it
		return
	}
	day := duedate.DayIn(h.at, s.loc).AddDays(within)
	if !day.Before(h.options.LastDay) {
		return
	}
	if day.After(who.validUntil) {
		who = h.certified(s.region(), day)
	}
	h.on(moment(day, 9*time.Hour, s.loc), func(ctx context.Context) error { return h.mend(ctx, s, who, broken) })
}

// mend mends what was found, reads everything again, and passes the doors.
func (h *history) mend(ctx context.Context, s *site, who *person, doors []*door) error {
	v, err := h.arrive(ctx, s, who, doors)
	if err != nil {
		return err
	}
	for _, d := range doors {
		if err := v.makeSafe(ctx, d); err != nil {
			return err
		}
		for _, f := range d.open {
			if _, err := v.note(ctx, d, fleet.EntryBody{Kind: "mending", Mending: &fleet.EntryMending{FindingID: f.id, What: f.mended}}); err != nil {
				return err
			}
		}
		d.open = nil
		if err := v.conclude(ctx, d, "", "passed"); err != nil {
			return err
		}
	}
	v.leave()
	return nil
}
