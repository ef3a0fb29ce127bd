package main

import (
	"bytes"
	"context"
	"crypto/rand"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"image"
	"image/color"
	"image/png"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/fault"
	"lintel.example/lintel/internal/identity"
	"lintel.example/lintel/internal/notify/mailcatcher"
	"lintel.example/lintel/jobs"
)

// toldMark is the name of the file that says that the story was told to its end.
const toldMark = "told"

// tell plays the story once; a folder in which it was played goes on as it was left. It gives the visitor's one-time
// password.
func (t *teller) tell() (password string, err error) {
	t.begun = now()
	administrator := &person{t: t, name: "Iris Calder"}
	oneTime, err := t.house.people.MakeFirstAdministrator(t.ctx, "iris@calder-moss.example", administrator.name)
	if fault.Is(err, "administrator_exists") {
		if _, err := os.Stat(filepath.Join(t.dir, toldMark)); err != nil {
			return "", badInput{errors.New("the story in " + t.dir + " was broken off: start over with --fresh")}
		}
		t.say("goes_on")
		return t.passwordAgain(visitor)
	}
	if err != nil {
		return "", err
	}
	t.say("begin")
	if err := administrator.signIn("iris@calder-moss.example", oneTime); err != nil {
		return "", err
	}
	s := &story{teller: t, administrator: administrator}
	for _, chapter := range []func() error{s.people, s.register, s.fitAndSet, s.loosen, s.correct, s.fallDue, s.notify, s.find, s.secure, s.mend, s.report} {
		if err := chapter(); err != nil {
			return "", err
		}
	}
	t.say("end", "seconds", int(now().Sub(t.begun).Seconds()))
	return s.visitorPassword, os.WriteFile(filepath.Join(t.dir, toldMark), nil, 0o644)
}

// passwordAgain gives somebody of the story a new one-time password: the old one was printed long ago, or never.
func (t *teller) passwordAgain(email string) (string, error) {
	list, err := t.house.people.Persons(t.ctx, identity.Program(), identity.PersonQuery{Search: email, Limit: 1})
	if err != nil {
		return "", err
	}
	if len(list) == 0 {
		return "", fmt.Errorf("%s is not among the people any more: start over with --fresh", email)
	}
	return t.house.people.ResetPassword(t.ctx, identity.Program(), list[0].PersonID, "")
}

// story is what the chapters share.
type story struct {
	*teller
	administrator, dispatcher, technician, support *person
	visitorPassword                                string
	customers                                      map[string]uuid.UUID
	market, clinic                                 uuid.UUID // sites
	door                                           uuid.UUID
	ward                                           uuid.UUID // the door whose inspection is overdue: whoever looks around finds its order first
	doorTag                                        string
	sensor, control                                uuid.UUID
	antenna                                        uuid.UUID
	order                                          string
	unsafe                                         uuid.UUID
}

// signIn signs in with a one-time password and chooses one of their own.
func (p *person) signIn(email, oneTime string) error {
	a, err := p.must(http.MethodPost, "/v1/sessions", object{"email": email, "password": oneTime}, http.StatusCreated)
	if err != nil {
		return err
	}
	p.secret, p.id = a.text("secret"), uuid.MustParse(a.text("person_id"))
	own, err := identity.RandomPassword(rand.Reader)
	if err != nil {
		return err
	}
	_, err = p.must(http.MethodPut, "/v1/me/password", object{"present": oneTime, "next": own})
	return err
}

// hire has the administrator make a person, who signs in.
func (s *story) hire(name, email, role string, scope object) (*person, error) {
	id := newID()
	body := object{"email": email, "name": name, "role": role, "scope_kind": "all"}
	for k, v := range scope {
		body[k] = v
	}
	a, err := s.administrator.must(http.MethodPut, "/v1/people/"+id.String(), body, http.StatusCreated)
	if err != nil {
		return nil, err
	}
	p := &person{t: s.teller, name: name}
	if email == visitor { // left for whoever looks around
		s.visitorPassword = a.text("one_time_password")
		return p, nil
	}
	return p, p.signIn(email, a.text("one_time_password"))
}

// people makes the staff, and certifies the technician.
func (s *story) people() (err error) {
	if s.dispatcher, err = s.hire("Noor Haddad", "noor@calder-moss.example", "dispatcher", nil); err != nil {
		return err
	}
	if s.technician, err = s.hire("Tomas Brandt", inspector, "technician", nil); err != nil {
		return err
	}
	if s.support, err = s.hire("Wei Lindqvist", "wei@calder-moss.example", "support", nil); err != nil {
		return err
	}
	if _, err = s.hire("Visitor", visitor, "dispatcher", nil); err != nil {
		return err
	}
	from := duedate.DayIn(s.begun, time.UTC).AddMonths(-18)
	_, err = s.dispatcher.must(http.MethodPut, "/v1/people/"+s.technician.id.String()+"/qualifications/"+newID().String(), object{
		"scheme": "Certified inspector (invented scheme)", "number": "D-2041", "valid_from": from.String(), "valid_until": from.AddYears(3).String()})
	s.say("people", "administrator", s.administrator.name, "dispatcher", s.dispatcher.name, "technician", s.technician.name, "support", s.support.name)
	return err
}

// marketOwner is where the owner of the market hall reads mail.
const marketOwner = "buildings@quayside.example"

// register brings in customers, sites, parties and doors.
func (s *story) register() error {
	s.customers = map[string]uuid.UUID{}
	for _, name := range []string{"Quayside Markets", "Alder Row Clinics", "Northgate Reading Rooms", "Summit Lockers"} {
		id := newID()
		s.customers[name] = id
		if _, err := s.dispatcher.must(http.MethodPut, "/v1/customers/"+id.String(), object{"name": name}, http.StatusCreated); err != nil {
			return err
		}
	}
	var err error
	if s.market, err = s.site("Quayside Markets", "Market hall", "2 Harbour Road", "Millhaven", "US-IL", "America/Chicago"); err != nil {
		return err
	}
	if s.clinic, err = s.site("Alder Row Clinics", "Day clinic", "77 Alder Row", "Fairmount", "US-CO", "America/Denver"); err != nil {
		return err
	}
	reading, err := s.site("Northgate Reading Rooms", "Reading room", "5 Northgate", "Millhaven", "US-IL", "America/Chicago")
	if err != nil {
		return err
	}
	if err := s.parties(); err != nil {
		return err
	}
	agent := object{"scope_kind": "customers", "customers": []uuid.UUID{s.customers["Quayside Markets"], s.customers["Alder Row Clinics"], s.customers["Northgate Reading Rooms"]}}
	if _, err := s.hire("Lena Okafor", "lena@okafor-estates.example", "owner_agent", agent); err != nil {
		return err
	}
	if _, err := s.hire("Sam Ortega", "sam@stall-nine.example", "owner_agent", object{"scope_kind": "sites", "sites": []uuid.UUID{s.market}}); err != nil {
		return err
	}
	if s.door, s.doorTag, err = s.slidingDoor(s.market, "Main entrance"); err != nil {
		return err
	}
	if s.ward, _, err = s.slidingDoor(s.clinic, "Ward entrance"); err != nil {
		return err
	}
	if err := s.plan(s.ward, -20); err != nil {
		return err
	}
	for _, d := range []struct {
		site uuid.UUID
		name string
		days int // until it is due
	}{{s.clinic, "Garden door", 95}, {reading, "Street door", 25}} {
		id, _, err := s.swingingDoor(d.site, d.name)
		if err != nil {
			return err
		}
		if err := s.plan(id, d.days); err != nil {
			return err
		}
	}
	s.say("registered", "dispatcher", s.dispatcher.name, "customers", len(s.customers), "tag", s.doorTag)
	return nil
}

func (s *story) site(customer, name, address, city, jurisdiction, zone string) (uuid.UUID, error) {
	id := newID()
	_, err := s.dispatcher.must(http.MethodPut, "/v1/sites/"+id.String(), object{"customer_id": s.customers[customer], "name": name, "address": address, "city": city,
		"country": "US", "jurisdiction": jurisdiction, "time_zone": zone}, http.StatusCreated)
	return id, err
}

// parties says who owns and who manages.
func (s *story) parties() error {
	for _, p := range []struct {
		name, email, role string
		sites             []uuid.UUID
	}{
		{"Okafor Estates", "lena@okafor-estates.example", "managing_agent", []uuid.UUID{s.market, s.clinic}},
		{"Quayside Holdings", marketOwner, "owner", []uuid.UUID{s.market}},
	} {
		id := newID()
		if _, err := s.dispatcher.must(http.MethodPut, "/v1/parties/"+id.String(), object{"name": p.name, "email": p.email}, http.StatusCreated); err != nil {
			return err
		}
		for _, site := range p.sites {
			_, err := s.dispatcher.must(http.MethodPut, "/v1/sites/"+site.String()+"/parties/"+newID().String(), object{"party_id": id, "role": p.role,
				"from_day": duedate.DayIn(s.begun, time.UTC).AddYears(-2).String()}, http.StatusCreated)
			if err != nil {
				return err
			}
		}
	}
	return nil
}

func known(value any, basis string) object { return object{"value": value, "basis": basis} }

func (s *story) side(label, activation string) object {
	return object{"label": label, "activation": activation}
}

// yearAgo is when the demo's doors were taken over.
func (s *story) yearAgo() time.Time { return s.begun.AddDate(-1, 0, 0) }

func (s *story) slidingDoor(site uuid.UUID, name string) (id uuid.UUID, tag string, err error) {
	leaf := func(towards string) object {
		return object{"motion": "slide", "hinge": "none", "opens_towards": towards, "width_m": object{"entered": "3 ft 3 in", "basis": "measured"},
			"height_m": object{"entered": "7'-2\"", "basis": "measured"}, "mass_kg": known(62, "from_paper")}
	}
	return s.putDoor(site, name, object{"kind": "sliding", "energy": "full", "traffic": "two_way", "presence_by": "overhead_sensor", "side_a": s.side("street", "sensor"),
		"side_b": s.side("hall", "sensor"), "clear_width_m": object{"entered": "6 ft 0 in", "basis": "measured"}, "header_depth_m": known(0.2, "measured"),
		"opening_time_s": known(1.8, "measured"), "closing_time_s": known(6.5, "measured"), "modes": []string{"day", "night_locked"}, "guide_rails": "none",
		"egress": true, "rule_basis": object{"pack": "a156.10@2005", "since": s.yearAgo().Format(time.DateOnly), "why": "Edition in force when it was installed."},
		"leaves": []object{leaf("left"), leaf("right")}})
}

func (s *story) swingingDoor(site uuid.UUID, name string) (id uuid.UUID, tag string, err error) {
	return s.putDoor(site, name, object{"kind": "swinging", "energy": "low", "traffic": "two_way", "presence_by": "none", "side_a": s.side("outside", "knowing_act"),
		"side_b": s.side("inside", "knowing_act"), "clear_width_m": object{"entered": "36 in", "basis": "from_paper"}, "guide_rails": "none",
		"rule_basis": object{"pack": "a156.19@2013", "since": s.yearAgo().Format(time.DateOnly), "why": "Edition in force when it was installed."},
		"leaves":     []object{{"motion": "swing", "hinge": "left", "opens_towards": "b", "width_m": object{"entered": "38 in", "basis": "from_paper"}, "mass_kg": known(58, "assumed")}}})
}

func (s *story) putDoor(site uuid.UUID, name string, facts object) (uuid.UUID, string, error) {
	id := newID()
	a, err := s.dispatcher.must(http.MethodPut, "/v1/doors/"+id.String(), object{"site_id": site, "name": name, "reason": "Taken over.", "effective_at": s.yearAgo(), "facts": facts}, http.StatusCreated)
	return id, a.text("tag"), err
}

func (s *story) plan(door uuid.UUID, dueInDays int) error {
	due := duedate.DayIn(s.begun, time.UTC).AddDays(dueInDays)
	_, err := s.dispatcher.must(http.MethodPut, "/v1/doors/"+door.String()+"/plans/"+newID().String(), object{"interval_months": 12, "regime": "anniversary", "tolerance_days": 60,
		"lead_days": 45, "anchor_on": due.String(), "active": true}, http.StatusCreated)
	return err
}

// fitAndSet fits the components of the doors that sensors open, and records how these are mounted and set.
func (s *story) fitAndSet() error {
	model, antenna := newID(), newID()
	s.antenna = antenna
	_, err := s.support.must(http.MethodPut, "/v1/device-models/"+model.String(), object{"maker": "Brightmere (invented)", "name": "Halden 24", "kind": "sensor", "sensing": "radar",
		"frequency_hz": 24.125e9, "least_speed_mps": 0.1, "antennas": []object{{"antenna_id": antenna, "name": "wide", "azimuth_beamwidth_deg": 58, "elevation_beamwidth_deg": 38,
			"boresight_range_m": 6, "source": "invented for the demo"}}}, http.StatusCreated)
	if err != nil {
		return err
	}
	presence := newID()
	_, err = s.support.must(http.MethodPut, "/v1/device-models/"+presence.String(), object{"maker": "Brightmere (invented)", "name": "Stillwater 2", "kind": "safety_device",
		"sensing": "infrared_presence"}, http.StatusCreated)
	if err != nil {
		return err
	}
	if s.control, s.sensor, err = s.fit(s.door, model, presence, 77); err != nil {
		return err
	}
	if _, _, err = s.fit(s.ward, model, presence, 87); err != nil {
		return err
	}
	if _, err := s.dispatcher.must(http.MethodPut, "/v1/components/"+s.sensor.String()+"/lock-code", object{"code": "4417"}); err != nil {
		return err
	}
	s.say("set", "dispatcher", s.dispatcher.name)
	return s.watched()
}

// fit fits a control, a sensor and a guard on each side of a door, with serial numbers that begin somewhere, and gives the control and
// the sensor on the outer side.
func (s *story) fit(door, model, presence uuid.UUID, first int) (control, sensor uuid.UUID, err error) {
	control, sensor = newID(), newID()
	inner := newID()                           // its twin on the other side
	outerGuard, innerGuard := newID(), newID() // what holds the door for somebody who stands in it
	fittings := []struct {
		id   uuid.UUID
		body object
	}{
		{control, object{"kind": "control", "model_text": "Control unit (invented)", "serial": fmt.Sprint("C-", first), "fitting": object{"state": "fitted", "side": "none", "input": "none", "contact": "none"}}},
		{sensor, object{"kind": "sensor", "model_id": model, "serial": fmt.Sprintf("H24-%04d", 40+first), "fitting": object{"state": "fitted", "side": "a", "wired_to": control, "input": "activate",
			"contact": "normally_open", "inhibited_while_moving": true}}},
		{inner, object{"kind": "sensor", "model_id": model, "serial": fmt.Sprintf("H24-%04d", 41+first), "fitting": object{"state": "fitted", "side": "b", "wired_to": control, "input": "activate",
			"contact": "normally_open", "inhibited_while_moving": true}}},
		{outerGuard, object{"kind": "safety_device", "model_id": presence, "serial": fmt.Sprintf("S2-%04d", 274+first), "fitting": object{"state": "fitted", "side": "a", "wired_to": control,
			"input": "protect", "contact": "normally_closed"}}},
		{innerGuard, object{"kind": "safety_device", "model_id": presence, "serial": fmt.Sprintf("S2-%04d", 275+first), "fitting": object{"state": "fitted", "side": "b", "wired_to": control,
			"input": "protect", "contact": "normally_closed"}}},
	}
	for _, f := range fittings {
		f.body["door_id"], f.body["reason"], f.body["effective_at"] = door, "Fitted at takeover.", s.yearAgo()
		if _, err := s.dispatcher.must(http.MethodPut, "/v1/components/"+f.id.String(), f.body, http.StatusCreated); err != nil {
			return control, sensor, err
		}
	}
	for _, sensor := range []uuid.UUID{sensor, inner} {
		if err := s.set(sensor, 0, "measured", s.yearAgo().Add(time.Hour), "Measured at takeover."); err != nil {
			return control, sensor, err
		}
	}
	for _, guard := range []uuid.UUID{outerGuard, innerGuard} {
		if err := s.setGuard(guard); err != nil {
			return control, sensor, err
		}
	}
	return control, sensor, nil
}

// set records a sensor's settings as found.
func (s *story) set(sensor uuid.UUID, reachDB float64, basis string, at time.Time, reason string) error {
	_, err := s.dispatcher.must(http.MethodPut, "/v1/devices/"+sensor.String()+"/revisions/"+newID().String(), object{"standing": "found", "effective_at": at, "reason": reason,
		"device": s.device(reachDB, basis)}, http.StatusCreated)
	return err
}

func (s *story) device(reachDB float64, basis string) object {
	return object{"antenna_id": s.antenna,
		"mount": object{"height_m": object{"entered": "7'-6\"", "basis": "measured"}, "offset_x_m": known(0, "measured"), "offset_y_m": known(0.12, "measured"),
			"tilt_deg": known(23, "measured"), "yaw_deg": known(0, "measured")},
		"settings": object{"reach_db": known(reachDB, basis), "motion_direction": "approach", "output_hold_s": known(1.0, "measured"), "output_contact": "normally_open"}}
}

// setGuard records how a presence device is mounted. What it watches is not computed: its catalogue entry does not say how it senses.
func (s *story) setGuard(id uuid.UUID) error {
	_, err := s.dispatcher.must(http.MethodPut, "/v1/devices/"+id.String()+"/revisions/"+newID().String(), object{"standing": "found", "effective_at": s.yearAgo().Add(time.Hour),
		"reason": "Measured at takeover.", "device": object{
			"mount": object{"height_m": object{"entered": "7'-4\"", "basis": "measured"}, "offset_x_m": known(0, "measured"), "offset_y_m": known(0.06, "measured"),
				"tilt_deg": known(4, "measured"), "yaw_deg": known(0, "measured")},
			"settings": object{"motion_direction": "either", "output_hold_s": known(1.5, "measured"), "output_contact": "normally_closed"}}}, http.StatusCreated)
	return err
}

// watched tells what the sensor watches, what of the zone is covered, and what computation finds.
func (s *story) watched() error {
	field, err := s.dispatcher.must(http.MethodGet, "/v1/devices/"+s.sensor.String()+"/field", nil)
	if err != nil {
		return err
	}
	coverage, err := s.dispatcher.must(http.MethodGet, "/v1/doors/"+s.door.String()+"/coverage", nil)
	if err != nil {
		return err
	}
	extent, _ := field.body["extent"].(map[string]any)
	s.say("watched", "width", fmt.Sprintf("%.2f", extent["width_m"]), "depth", fmt.Sprintf("%.2f", extent["depth_m"]), "area", fmt.Sprintf("%.2f", extent["area_m2"]))
	for _, c := range coverage.list("coverage") {
		if c["side"] == "a" && c["zone"] == "approach" {
			share, _ := c["covered_share"].(float64)
			s.say("covered", "share", fmt.Sprintf("%.0f %%", 100*share))
		}
	}
	findings, err := s.dispatcher.must(http.MethodGet, "/v1/findings?state=open&door_id="+s.door.String(), nil)
	if err != nil {
		return err
	}
	list := findings.list("findings")
	if len(list) == 0 {
		s.say("no_finding")
	}
	for _, f := range list {
		s.say("finding", "severity", fmt.Sprint(f["severity"]), "what", fmt.Sprint(f["what"]))
	}
	return nil
}

// loosenedDB leaves the sensor a small patch of floor, and a person room to come between.
const loosenedDB = 15

// loosen changes a setting: the field shrinks, and computation says what that does.
func (s *story) loosen() error {
	if err := s.set(s.sensor, -loosenedDB, "told", s.begun.Add(-2*time.Hour), "A stallholder turned the sensor down because the door opened for passers-by."); err != nil {
		return err
	}
	s.say("loosened", "db", loosenedDB)
	return s.watched()
}

// correct sets it back.
func (s *story) correct() error {
	if err := s.set(s.sensor, -1, "told", s.begun.Add(-time.Hour), "Set back on our advice by telephone."); err != nil {
		return err
	}
	s.say("corrected", "support", s.support.name)
	return s.watched()
}

// fallDue runs the nightly job three times at once: one work order.
func (s *story) fallDue() error {
	if err := s.plan(s.door, 12); err != nil {
		return err
	}
	day := duedate.DayIn(s.begun, time.UTC)
	var wait sync.WaitGroup
	problems := make([]error, 3)
	for i := range problems {
		wait.Go(func() { _, problems[i] = s.house.fleet.OpenDueWorkOrders(s.ctx, day) })
	}
	wait.Wait()
	if err := errors.Join(problems...); err != nil {
		return err
	}
	if _, _, err := jobs.RunOnce(s.ctx, s.house.rooms(), "due_work_orders", day, false); err != nil {
		return err
	}
	a, err := s.dispatcher.must(http.MethodGet, "/v1/work-orders?state=open&kind=inspection&door_id="+s.door.String(), nil)
	if err != nil {
		return err
	}
	orders := a.list("work_orders")
	if len(orders) != 1 {
		return fmt.Errorf("%d work orders instead of one", len(orders))
	}
	s.order = fmt.Sprint(orders[0]["work_order_id"])
	_, err = s.dispatcher.ask(http.MethodPut, "/v1/work-orders/"+s.order+"/assignment", object{"assigned_to": s.technician.id, "planned_on": day.String()}, "If-Match", `"1"`)
	s.say("due", "count", len(orders), "due_on", fmt.Sprint(orders[0]["due_on"]), "technician", s.technician.name)
	return err
}

// notify has the administrator let mail go out at any hour, for the story may be played at night; then it queues the
// notices and waits for one at the mail server.
func (s *story) notify() error {
	a, err := s.administrator.must(http.MethodGet, "/v1/ladder", nil, http.StatusOK)
	if err != nil {
		return err
	}
	rungs := a.list("rungs")
	if _, err := s.administrator.must(http.MethodPut, "/v1/ladders/"+newID().String(), object{"effective_on": duedate.DayIn(s.begun, time.UTC).String(), "reason": "Mail may go out at any hour.",
		"rungs": rungs, "unsafe_again_hours": 24, "office_time_zone": "UTC", "mail_from": "00:00", "mail_until": "00:00", "rest_days": []string{"saturday", "sunday"}}, http.StatusCreated); err != nil {
		return err
	}
	if _, _, err := jobs.RunOnce(s.ctx, s.house.rooms(), "queue_notices", duedate.DayIn(s.begun, time.UTC), false); err != nil {
		return err
	}
	return s.mail("order_mail", func(m mailcatcher.Message) bool { return m.To == marketOwner && strings.Contains(m.Text, s.doorTag) })
}

// mail hands over what waits, and tells of a message that has arrived at the mail server.
func (s *story) mail(key string, is func(mailcatcher.Message) bool) error {
	if _, err := jobs.SendWaiting(s.ctx, s.house.fleet); err != nil {
		return err
	}
	ctx, cancel := context.WithTimeout(s.ctx, 30*time.Second)
	defer cancel()
	m, err := s.catcher.Wait(ctx, is)
	if err != nil {
		return fmt.Errorf("no such mail arrived: %w", err)
	}
	s.say(key, "to", m.To, "subject", m.Subject)
	return nil
}

// visit is a visit that the technician logs in pieces.
type visit struct {
	*story
	id      uuid.UUID
	began   time.Time
	entries []uuid.UUID
	bodies  map[uuid.UUID]object
	hashes  map[uuid.UUID]string
}

func (s *story) newVisit(began time.Time) *visit {
	return &visit{story: s, id: newID(), began: began, bodies: map[uuid.UUID]object{}, hashes: map[uuid.UUID]string{}}
}

// note writes an entry on the device; it is sent later.
func (v *visit) note(after time.Duration, kind string, said object) uuid.UUID {
	id := newID()
	v.entries = append(v.entries, id)
	v.bodies[id] = object{"door_id": v.door, "kind": kind, "observed_at": v.began.Add(after), kind: said}
	return id
}

func (v *visit) attend() error {
	_, err := v.technician.must(http.MethodPut, "/v1/visits/"+v.id.String(), object{"site_id": v.market, "arrived_at": v.began, "people": []uuid.UUID{v.technician.id},
		"doors": []object{{"door_id": v.door, "work_orders": []string{v.order}}}})
	return err
}

// send sends an entry, again and again if need be: the id makes it one.
func (v *visit) send(id uuid.UUID) (int, error) {
	a, err := v.technician.must(http.MethodPut, "/v1/visits/"+v.id.String()+"/entries/"+id.String(), v.bodies[id])
	v.hashes[id] = a.text("sha256")
	return a.status, err
}

func (v *visit) signOff(after time.Duration) (answer, error) {
	var listed []object
	for _, id := range v.entries {
		hash := v.hashes[id]
		if hash == "" {
			hash = hex.EncodeToString(make([]byte, 32)) // not sent yet: the server will say what it misses
		}
		listed = append(listed, object{"entry_id": id, "sha256": hash})
	}
	return v.technician.ask(http.MethodPut, "/v1/visits/"+v.id.String()+"/sign-off", object{"signed_at": v.began.Add(after), "left_at": v.began.Add(after), "entries": listed,
		"statement": "I inspected this door as recorded here.", "signature": "M 2 8 C 6 1 9 15 14 6 S 22 9 27 4"})
}

// madeSafe is the work place made safe, as it usually is.
func madeSafe() object {
	return object{"traffic": "barriered", "power": "isolated", "ladder": "stands_safe", "second_person": "there"}
}

// functionTest is a door without a latch that does everything as it should, or goes on when somebody is touched.
func functionTest(right bool) object {
	contact := map[bool]string{true: "yes", false: "no"}[right]
	return object{"activation": "yes", "presence": "yes", "contact": contact, "by_hand": "yes", "modes": "yes", "latching": "does_not_apply", "free_of_noise": "yes"}
}

// find logs the inspection: pieces out of order and twice, an unsafe finding.
func (s *story) find() error {
	v := s.newVisit(s.begun.Add(-50 * time.Minute))
	photo, hash, err := picture()
	if err != nil {
		return err
	}
	v.note(5*time.Minute, "safe_work", madeSafe())
	for name, value := range map[string]float64{"closing_speed_mps": 0.29, "latch_check_distance_m": 0.06, "hold_open_s": 2.0, "breakout_force_n": 190} {
		v.note(10*time.Minute, "reading", object{"name": name, "value": value})
	}
	force := v.note(14*time.Minute, "reading", object{"name": "closing_force_n", "value": 171.0})
	v.note(15*time.Minute, "photo", object{"sha256": hash, "what": "Leading edge, seal torn off"})
	s.unsafe = v.note(16*time.Minute, "finding", object{"severity": "unsafe", "what": "The right leaf presses with 171 N and its seal is torn off.", "rule": "slide-close-force", "photos": []string{hash}})
	v.note(20*time.Minute, "settings", object{"component_id": s.sensor, "standing": "found", "device": s.device(-1, "measured")})
	v.note(30*time.Minute, "conclusion", object{"result": "failed", "note": "Out of service until mended."})

	// The phone has no signal at first: the last piece arrives before the attendance.
	for i := len(v.entries) - 1; i >= 0; i-- {
		if _, err := v.send(v.entries[i]); err != nil {
			return err
		}
		if i == 3 {
			if err := v.attend(); err != nil {
				return err
			}
			early, err := v.signOff(31 * time.Minute)
			if err != nil {
				return err
			}
			s.say("signed_early", "status", early.status, "detail", early.text("code"))
		}
	}
	again, err := v.send(force)
	if err != nil {
		return err
	}
	other, err := s.technician.ask(http.MethodPut, "/v1/visits/"+v.id.String()+"/entries/"+force.String(), object{"door_id": s.door, "kind": "reading",
		"observed_at": v.began.Add(14 * time.Minute), "reading": object{"name": "closing_force_n", "value": 120.0}})
	if err != nil {
		return err
	}
	s.say("pieces", "technician", s.technician.name, "count", len(v.entries), "again", again, "other", other.status, "pointer", pointerOf(other))
	if _, err := s.technician.must(http.MethodPut, "/v1/photos/"+hash, photo); err != nil {
		return err
	}
	if err := s.caseState(); err != nil {
		return err
	}
	if err := s.mail("unsafe_mail", func(m mailcatcher.Message) bool { return m.To == marketOwner && strings.Contains(m.Subject, "UNSAFE") }); err != nil {
		return err
	}
	return s.secureWithin(v)
}

// secureWithin secures the door before the technician leaves, and signs off.
func (s *story) secureWithin(v *visit) error {
	id := v.note(32*time.Minute, "securing", object{"how": "locked_open", "egress_kept": true, "told_name": "Sam Ortega", "told_role": "stallholder", "answer": "acknowledged",
		"note": "Operator off, leaves pushed open by hand, barrier set."})
	if _, err := v.send(id); err != nil {
		return err
	}
	a, err := v.signOff(40 * time.Minute)
	if err != nil {
		return err
	}
	if a.status != http.StatusCreated {
		return fmt.Errorf("sign-off answered %d: %s", a.status, a.raw)
	}
	s.say("signed", "hash", a.text("record_sha256"))
	return nil
}

func pointerOf(a answer) string {
	for _, e := range a.list("errors") {
		return fmt.Sprint(e["pointer"])
	}
	return ""
}

// caseState tells how the door stands.
func (s *story) caseState() error {
	a, err := s.dispatcher.must(http.MethodGet, "/v1/out-of-service-cases?door_id="+s.door.String(), nil)
	if err != nil {
		return err
	}
	for _, c := range a.list("cases") {
		s.say("case", "state", s.texts.Enum("case_state", fmt.Sprint(c["state"])), "what", fmt.Sprint(c["what"]))
	}
	orders, err := s.dispatcher.must(http.MethodGet, "/v1/work-orders?kind=repair&door_id="+s.door.String(), nil)
	if err != nil {
		return err
	}
	for _, o := range orders.list("work_orders") {
		s.say("repair", "state", fmt.Sprint(o["state"]), "due_on", fmt.Sprint(o["due_on"]))
	}
	return nil
}

// secure shows that a person has secured the door.
func (s *story) secure() error { return s.caseState() }

// mend mends and re-inspects in a second visit.
func (s *story) mend() error {
	v := s.newVisit(s.begun.Add(-8 * time.Minute))
	if err := v.attend(); err != nil {
		return err
	}
	v.note(1*time.Minute, "safe_work", madeSafe())
	v.note(2*time.Minute, "mending", object{"finding_id": s.unsafe, "what": "Closing force set down, seal replaced."})
	v.note(2*time.Minute, "settings", object{"component_id": s.sensor, "standing": "left", "device": s.device(-1, "measured")})
	for name, value := range map[string]float64{"closing_speed_mps": 0.28, "latch_check_distance_m": 0.06, "hold_open_s": 2.0, "closing_force_n": 118, "breakout_force_n": 190} {
		v.note(3*time.Minute, "reading", object{"name": name, "value": value})
	}
	for _, name := range []string{"stationary_person_held", "walk_test_passed", "signs_present", "breakout_sign_present", "daily_check_label_present"} {
		v.note(4*time.Minute, "reading", object{"name": name, "yes": true})
	}
	v.note(5*time.Minute, "function_test", functionTest(true))
	v.note(6*time.Minute, "conclusion", object{"result": "passed"})
	for _, id := range v.entries {
		if _, err := v.send(id); err != nil {
			return err
		}
	}
	a, err := v.signOff(7 * time.Minute)
	if err != nil {
		return err
	}
	if a.status != http.StatusCreated {
		return fmt.Errorf("sign-off answered %d: %s", a.status, a.raw)
	}
	s.say("mended", "technician", s.technician.name)
	if err := s.caseState(); err != nil {
		return err
	}
	plans, err := s.dispatcher.must(http.MethodGet, "/v1/doors/"+s.door.String()+"/plans", nil)
	if err != nil {
		return err
	}
	for _, p := range plans.list("plans") {
		s.say("next_due", "day", fmt.Sprint(p["next_due"]))
	}
	return nil
}

// report takes the snapshot that the owner files.
func (s *story) report() error {
	path := "/v1/doors/" + s.door.String() + "/reports/" + newID().String()
	first, err := s.dispatcher.must(http.MethodPut, path, nil)
	if err != nil {
		return err
	}
	second, err := s.dispatcher.must(http.MethodPut, path, nil)
	if err != nil {
		return err
	}
	pdf, err := s.dispatcher.must(http.MethodGet, "/v1/reports/"+first.text("report_id")+"/report.pdf", nil)
	if err != nil {
		return err
	}
	file := filepath.Join(s.dir, "report.pdf")
	if err := os.WriteFile(file, pdf.raw, 0o644); err != nil {
		return err
	}
	s.say("reported", "bytes", len(pdf.raw), "file", file, "same", first.text("sha256") == second.text("sha256"))
	return nil
}

// picture makes a photo for the demo: a torn seal, as well as a few pixels can say it.
func picture() (data []byte, hash string, err error) {
	img := image.NewRGBA(image.Rect(0, 0, 160, 120))
	for y := range 120 {
		for x := range 160 {
			shade := uint8(200 - y)
			if x > 76 && x < 84+y/12 {
				shade = uint8(40 + x%7)
			}
			img.Set(x, y, color.Gray{Y: shade})
		}
	}
	var b bytes.Buffer
	if err := png.Encode(&b, img); err != nil {
		return nil, "", err
	}
	sum := sha256.Sum256(b.Bytes())
	return b.Bytes(), hex.EncodeToString(sum[:]), nil
}
