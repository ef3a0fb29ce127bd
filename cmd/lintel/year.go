package main

import (
	"bytes"
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"log/slog"
	"maps"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync/atomic"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/archive"
	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/fault"
	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/identity"
	"lintel.example/lintel/internal/notify/mailcatcher"
	"lintel.example/lintel/internal/store"
	"lintel.example/lintel/internal/words"
	"lintel.example/lintel/jobs"
)

// year tells a year of the invented company: who does what on which day, through the API of a service that listens for
// real, with a real database and a real mail server. Only its clock is not the machine's: it stands at the day that is
// told. No command that serves people can be given such a clock.
type year struct {
	*teller
	clock                                                 atomic.Int64 // microseconds of the day that is told
	night                                                 duedate.Day  // the last one whose jobs ran
	administrator, dispatcher, technician, support, agent *worker
	vennacre, tallowick                                   uuid.UUID // customers
	store                                                 uuid.UUID // the site
	doors                                                 []uuid.UUID
	depot, goods                                          uuid.UUID // another site, and a door of it that is inspected twice a year
	sensor, antenna                                       uuid.UUID
	unsafe                                                uuid.UUID // a finding
	report                                                string    // its SHA-256
}

// worker is somebody who signs in again on every day on which they do something.
type worker struct {
	person
	email, password string
	signedIn        duedate.Day
}

// yearsFirst is a Monday of the past, so that no clock of a machine is behind it.
const yearsFirst = "2025-03-03"

// tellYear plays the year in a folder in which nothing was played.
func tellYear(ctx context.Context, s *settings, catcher *mailcatcher.Catcher, dir string, log *slog.Logger) error {
	y := &year{}
	y.at(yearsFirst, 8*time.Hour)
	y.night = y.today()
	h, err := openAt(ctx, s, asHost, log, y.now)
	if err != nil {
		return err
	}
	defer func() { _ = h.close(context.WithoutCancel(ctx)) }()
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		return fmt.Errorf("listen: %w", err)
	}
	face, err := h.face()
	if err != nil {
		return err
	}
	ctx, end := h.whileDatabaseLives(ctx)
	defer end()
	serving, stop := context.WithCancel(ctx)
	ended := make(chan error, 1)
	go func() { ended <- serve(serving, listener, face) }()
	y.teller = &teller{ctx: ctx, texts: h.words.Printer("en", words.Metric), base: "http://" + listener.Addr().String(), house: h, catcher: catcher, dir: dir, out: os.Stdout}
	err = y.tell(s)
	stop()
	return errors.Join(err, <-ended, endedBy(ctx))
}

// now is the clock of the year.
func (y *year) now() time.Time { return time.UnixMicro(y.clock.Load()).UTC() }

func (y *year) today() duedate.Day { return duedate.DayIn(y.now(), time.UTC) }

// at moves the clock to an hour (UTC) of a day.
func (y *year) at(day string, hour time.Duration) {
	t, err := time.Parse(time.DateOnly, day)
	if err != nil {
		panic(err) // a day of this file
	}
	y.clock.Store(t.Add(hour).UnixMicro())
}

// on lets the nights until a day pass, with what the program does in them, and says which day it is.
func (y *year) on(day string) error {
	until, err := duedate.ParseDay(day)
	if err != nil {
		return err
	}
	for y.night.Before(until) {
		y.night = y.night.AddDays(1)
		y.at(y.night.String(), 5*time.Hour)
		for _, job := range []string{"due_work_orders", "queue_notices"} {
			if _, _, err := jobs.RunOnce(y.ctx, y.house.rooms(), job, y.night, false); err != nil {
				return err
			}
		}
		if err := y.post(); err != nil {
			return err
		}
	}
	y.at(day, 15*time.Hour)
	y.say("year_day", "day", day)
	return nil
}

// post hands over the letters that wait, and tells which have arrived.
func (y *year) post() error {
	before := len(y.catcher.Messages())
	if _, err := jobs.SendWaiting(y.ctx, y.house.fleet); err != nil {
		return err
	}
	arrived := y.catcher.Messages()[before:]
	slices.SortFunc(arrived, func(a, b mailcatcher.Message) int { return strings.Compare(a.To+a.Subject, b.To+b.Subject) })
	for _, m := range arrived {
		y.say("year_mail", "day", y.today().String(), "to", m.To, "subject", m.Subject)
	}
	return nil
}

// as signs somebody in, if they have not been today.
func (y *year) as(w *worker) error {
	if w.signedIn == y.today() {
		return nil
	}
	w.secret = ""
	a, err := w.must(http.MethodPost, "/v1/sessions", object{"email": w.email, "password": w.password}, http.StatusCreated)
	w.secret, w.signedIn = a.text("secret"), y.today()
	return err
}

// do has somebody send a request that must be answered with a status.
func (y *year) do(w *worker, status int, method, path string, body any, header ...string) (answer, error) {
	if err := y.as(w); err != nil {
		return answer{}, err
	}
	a, err := w.ask(method, path, body, header...)
	if err == nil && a.status != status {
		err = fmt.Errorf("%s: %s %s answered %d instead of %d: %s", w.name, method, path, a.status, status, a.raw)
	}
	return a, err
}

// put is do for something new, under an id of its own.
func (y *year) put(w *worker, collection string, body any) (uuid.UUID, answer, error) {
	id := newID()
	a, err := y.do(w, http.StatusCreated, http.MethodPut, collection+"/"+id.String(), body)
	return id, a, err
}

// tell tells the year.
func (y *year) tell(s *settings) error {
	y.say("year_begin")
	for _, chapter := range []func() error{y.staff, y.takeOver, y.bringIn, y.sheets, y.advise, y.dueList, y.inspect, y.overdue, y.inMay, y.refuse, y.acknowledge, y.secure, y.mend, y.changeHands, y.certificate, y.lookAhead, y.reportToOwner, y.callOut, y.reportMore, y.audit, y.leave} {
		if err := chapter(); err != nil {
			return fmt.Errorf("the year broke off on %s: %w", y.today(), err)
		}
	}
	if err := y.backUp(s); err != nil {
		return err
	}
	y.say("year_end")
	return nil
}

// hire has the administrator make a person, who signs in and chooses a password.
func (y *year) hire(name, email, role string, scope object) (*worker, error) {
	body := object{"email": email, "name": name, "role": role, "scope_kind": "all"}
	for k, v := range scope {
		body[k] = v
	}
	_, a, err := y.put(y.administrator, "/v1/people", body)
	if err != nil {
		return nil, err
	}
	return y.welcome(name, email, a.text("one_time_password"))
}

func (y *year) welcome(name, email, oneTime string) (*worker, error) {
	own, err := identity.RandomPassword(rand.Reader)
	if err != nil {
		return nil, err
	}
	w := &worker{person: person{t: y.teller, name: name}, email: email, password: oneTime}
	if err := y.as(w); err != nil {
		return nil, err
	}
	me, err := w.must(http.MethodGet, "/v1/me", nil)
	if err != nil {
		return nil, err
	}
	w.id = uuid.MustParse(me.text("person_id"))
	_, err = w.must(http.MethodPut, "/v1/me/password", object{"present": oneTime, "next": own})
	w.password = own
	return w, err
}

func (y *year) staff() error {
	oneTime, err := y.house.people.MakeFirstAdministrator(y.ctx, "ruth@calder-moss.example", "Ruth Castellane")
	if fault.Is(err, "administrator_exists") {
		return badInput{errors.New("the folder holds a demo already: name another with --data-dir, or start over with --fresh")}
	}
	if err != nil {
		return err
	}
	if err := y.on(yearsFirst); err != nil {
		return err
	}
	if y.administrator, err = y.welcome("Ruth Castellane", "ruth@calder-moss.example", oneTime); err != nil {
		return err
	}
	if y.dispatcher, err = y.hire("Marit Osei", "marit@calder-moss.example", "dispatcher", nil); err != nil {
		return err
	}
	if y.technician, err = y.hire("Ilse Drummond", "ilse@calder-moss.example", "technician", nil); err != nil {
		return err
	}
	if y.support, err = y.hire("Hanna Szabo", "hanna@calder-moss.example", "support", nil); err != nil {
		return err
	}
	_, _, err = y.put(y.dispatcher, "/v1/people/"+y.technician.id.String()+"/qualifications", object{"scheme": "Certified inspector (invented scheme)", "number": "C-3107", "valid_from": "2023-11-01", "valid_until": "2025-10-31"})
	y.say("year_staff")
	return err
}

// takeOver brings in a customer with a site and four doors.
func (y *year) takeOver() error {
	if err := y.on("2025-03-04"); err != nil {
		return err
	}
	var err error
	if y.vennacre, _, err = y.put(y.dispatcher, "/v1/customers", object{"name": "Vennacre Foods", "account": "K-1001"}); err != nil {
		return err
	}
	if y.tallowick, _, err = y.put(y.dispatcher, "/v1/customers", object{"name": "Tallowick Outlets", "account": "K-1013"}); err != nil {
		return err
	}
	if y.store, _, err = y.put(y.dispatcher, "/v1/sites", object{"customer_id": y.vennacre, "name": "Pell Harbor store", "address": "410 Quay Street", "city": "Pell Harbor", "country": "US", "jurisdiction": "US-IL", "time_zone": "America/Chicago"}); err != nil {
		return err
	}
	if y.agent, err = y.hire("Lorne Adeyemi", "lorne@pell-orchard.example", "owner_agent", object{"scope_kind": "customers", "customers": []uuid.UUID{y.vennacre}}); err != nil {
		return err
	}
	for _, p := range []struct{ name, email, role string }{{"Vennacre Foods", "buildings@vennacre-foods.example", "owner"}, {"Pell & Orchard Managing Agents", y.agent.email, "managing_agent"}} {
		if err := y.stand(p.name, p.email, p.role, "2025-03-04"); err != nil {
			return err
		}
	}
	for i, name := range []string{"Main entrance", "Main exit", "Staff door", "Office door"} {
		if err := y.door(name, i < 2); err != nil {
			return err
		}
	}
	y.say("year_taken_over", "doors", len(y.doors))
	return nil
}

// bringIn has the dispatcher bring in a list of which one row is bad: nothing of it is kept until that is mended.
func (y *year) bringIn() error {
	if err := y.on("2025-03-06"); err != nil {
		return err
	}
	const list = "Customer,Site,City,Country,Time zone,Door,Door type,Leaves,Leaf height\n" +
		"Vennacre Foods,Elm Street depot,Pell Harbor,US,America/Chicago,Loading side,sliding,2,7'-0\"\n" +
		"Vennacre Foods,Elm Street depot,Pell Harbor,US,America/Chicago,Canteen,swinging,1,7 bananas\n"
	send := func(status int, text string) (answer, error) {
		return y.do(y.dispatcher, status, http.MethodPost, "/v1/imports", object{"file_name": "elm-street.csv", "file": []byte(text)})
	}
	stopped, err := send(http.StatusOK, list)
	if err != nil {
		return err
	}
	for _, c := range stopped.list("complaints") {
		y.say("year_list_stopped", "applied", stopped.body["applied"], "row", fmt.Sprint(c["row"]), "column", fmt.Sprint(c["column"]), "value", fmt.Sprint(c["value"]), "wrong", fmt.Sprint(c["wrong"]))
	}
	taken, err := send(http.StatusCreated, strings.Replace(list, "7 bananas", "84 in", 1))
	if err != nil {
		return err
	}
	for _, c := range taken.list("counts") {
		if c["kind"] == "door" {
			y.say("year_list_taken", "applied", taken.body["applied"], "doors", fmt.Sprint(c["created"]))
		}
	}
	return nil
}

// sheets has the technician enter what was kept on paper of a door that the company has inspected for years.
func (y *year) sheets() error {
	if err := y.on("2025-03-07"); err != nil {
		return err
	}
	a, err := y.do(y.dispatcher, http.StatusOK, http.MethodGet, "/v1/sites?search=Elm", nil)
	if err != nil {
		return err
	}
	y.depot = uuid.MustParse(fmt.Sprint(a.list("sites")[0]["site_id"]))
	facts := y.facts(false)
	if y.goods, _, err = y.put(y.dispatcher, "/v1/doors", object{"site_id": y.depot, "name": "Goods door", "known_since": "2022-05-01", "reason": "Looked after since it was installed.", "effective_at": "2022-05-01T12:00:00Z", "facts": facts}); err != nil {
		return err
	}
	for i, day := range []string{"2023-11-20", "2024-05-21", "2024-11-19"} {
		at, err := time.Parse(time.DateOnly, day)
		if err != nil {
			return err
		}
		if err := y.inspectGoods(at.Add(16*time.Hour), 36.4+5.3*float64(i)); err != nil {
			return err
		}
	}
	why, err := y.ahead()
	y.say("year_sheets", "why", why)
	return err
}

// inspectGoods inspects the goods door, at a time that is past or now, and finds that its closing leaf is held with a force.
func (y *year) inspectGoods(at time.Time, closing float64) error {
	v := &attending{year: y, id: newID(), value: map[string]float64{"closing_force_n": closing}}
	if at.Before(y.now()) {
		v.sheet = at
	}
	if _, err := y.do(y.technician, http.StatusCreated, http.MethodPut, "/v1/visits/"+v.id.String(), object{"site_id": y.depot, "arrived_at": at, "people": []uuid.UUID{y.technician.id},
		"doors": []object{{"door_id": y.goods, "work_orders": []string{}}}}); err != nil {
		return err
	}
	if err := v.read(y.goods, "passed"); err != nil {
		return err
	}
	_, err := v.sign(http.StatusCreated)
	return err
}

// inMay is the half-yearly inspection of the goods door.
func (y *year) inMay() error {
	if err := y.on("2025-05-21"); err != nil {
		return err
	}
	if err := y.inspectGoods(y.now(), 51.8); err != nil {
		return err
	}
	why, err := y.ahead()
	y.say("year_in_may", "why", why)
	return err
}

// lookAhead is the next one, after which the readings bear a forecast; and what a newer edition would say.
func (y *year) lookAhead() error {
	if err := y.on("2025-11-12"); err != nil {
		return err
	}
	if err := y.inspectGoods(y.now(), 57.7); err != nil {
		return err
	}
	when, err := y.ahead()
	if err != nil {
		return err
	}
	y.say("year_ahead", "when", when)
	a, err := y.do(y.support, http.StatusOK, http.MethodGet, "/v1/doors/"+y.goods.String()+"/comparison/a156.19@2019", nil)
	count := map[string]int{}
	for _, r := range a.list("rules") {
		count[fmt.Sprint(r["outcome"])]++
	}
	y.say("year_compared", "pack", a.text("pack"), "basis", a.text("rule_basis"), "passed", count["passed"], "failed", count["failed"], "unread", count["not_judged"], "others", count["not_applicable"])
	return err
}

// ahead reads what is said of the closing force of the goods door: when it reaches its limit, or why nobody can tell.
func (y *year) ahead() (string, error) {
	a, err := y.do(y.support, http.StatusOK, http.MethodGet, "/v1/doors/"+y.goods.String()+"/trends", nil)
	for _, s := range a.list("series") {
		trend, _ := s["trend"].(map[string]any)
		if s["reading"] != "closing_force_n" || trend == nil {
			continue
		}
		crossing, told := trend["crossing"].(map[string]any)
		if !told {
			return fmt.Sprint(trend["why"]), err
		}
		slope, _ := trend["per_year"].(map[string]any)
		latest := crossing["latest"]
		if latest == nil {
			latest = y.texts.T("demo.year_nobody_knows")
		}
		return y.texts.T("demo.year_crossing", "per_year", fmt.Sprintf("%.1f", slope["likely"]), "bound", fmt.Sprintf("%.1f", crossing["bound"]), "likely", fmt.Sprint(crossing["likely"]),
			"earliest", fmt.Sprint(crossing["earliest"]), "latest", fmt.Sprint(latest)), err
	}
	return "", err
}

func (y *year) stand(name, email, role, from string) error {
	party, _, err := y.put(y.dispatcher, "/v1/parties", object{"name": name, "email": email})
	if err != nil {
		return err
	}
	_, _, err = y.put(y.dispatcher, "/v1/sites/"+y.store.String()+"/parties", object{"party_id": party, "role": role, "from_day": from})
	return err
}

// facts are those of a door of the year.
func (y *year) facts(sliding bool) object {
	basis := object{"pack": "a156.19@2013", "since": "2019-05-01", "why": "Edition in force when it was installed."}
	facts := object{"kind": "swinging", "energy": "low", "traffic": "two_way", "presence_by": "none", "guide_rails": "none", "rule_basis": basis,
		"side_a": object{"label": "outside", "activation": "knowing_act"}, "side_b": object{"label": "inside", "activation": "knowing_act"}, "clear_width_m": object{"entered": "36 in", "basis": "from_paper"},
		"leaves": []object{{"motion": "swing", "hinge": "left", "opens_towards": "b", "width_m": object{"entered": "38 in", "basis": "from_paper"}, "mass_kg": known(58, "assumed")}}}
	if sliding {
		leaf := func(towards string) object {
			return object{"motion": "slide", "hinge": "none", "opens_towards": towards, "width_m": object{"entered": "3 ft 3 in", "basis": "measured"}, "height_m": object{"entered": "7'-2\"", "basis": "measured"}, "mass_kg": known(62, "from_paper")}
		}
		basis["pack"] = "a156.10@2005"
		facts["kind"], facts["energy"], facts["presence_by"], facts["egress"] = "sliding", "full", "overhead_sensor", true
		facts["side_a"], facts["side_b"] = object{"label": "street", "activation": "sensor"}, object{"label": "hall", "activation": "sensor"}
		facts["clear_width_m"], facts["leaves"] = object{"entered": "6 ft 0 in", "basis": "measured"}, []object{leaf("left"), leaf("right")}
	}
	return facts
}

func (y *year) door(name string, sliding bool) error {
	id, _, err := y.put(y.dispatcher, "/v1/doors", object{"site_id": y.store, "name": name, "reason": "Taken over.", "facts": y.facts(sliding)})
	if err != nil {
		return err
	}
	y.doors = append(y.doors, id)
	_, _, err = y.put(y.dispatcher, "/v1/doors/"+id.String()+"/plans", object{"interval_months": 12, "regime": "anniversary", "tolerance_days": 60, "lead_days": 45, "anchor_on": "2025-05-12", "active": true})
	return err
}

func (y *year) device(reachDB float64, basis string) object {
	return object{"antenna_id": y.antenna, "mount": object{"height_m": object{"entered": "7'-6\"", "basis": "measured"}, "offset_x_m": known(0, "measured"), "offset_y_m": known(0.12, "measured"), "tilt_deg": known(23, "measured"), "yaw_deg": known(0, "measured")},
		"settings": object{"reach_db": known(reachDB, basis), "motion_direction": "approach", "output_hold_s": known(1, "measured"), "output_contact": "normally_open"}}
}

// advise shows what less reach would do, before anybody climbs a ladder.
func (y *year) advise() error {
	if err := y.on("2025-03-11"); err != nil {
		return err
	}
	y.antenna = newID()
	model, _, err := y.put(y.support, "/v1/device-models", object{"maker": "Tarnwick (invented)", "name": "Lark 2", "kind": "sensor", "sensing": "radar", "frequency_hz": 24.125e9, "least_speed_mps": 0.1,
		"antennas": []object{{"antenna_id": y.antenna, "name": "wide", "azimuth_beamwidth_deg": 62, "elevation_beamwidth_deg": 38, "boresight_range_m": 6, "source": "invented for the demo"}}})
	if err != nil {
		return err
	}
	if y.sensor, _, err = y.put(y.dispatcher, "/v1/components", object{"door_id": y.doors[0], "kind": "sensor", "model_id": model, "serial": "L-20117", "reason": "Found at takeover.",
		"fitting": object{"state": "fitted", "side": "a", "input": "activate", "contact": "normally_open", "inhibited_while_moving": true}}); err != nil {
		return err
	}
	revisions := "/v1/devices/" + y.sensor.String() + "/revisions"
	if _, _, err := y.put(y.dispatcher, revisions, object{"standing": "found", "reason": "Measured at takeover.", "device": y.device(-1, "measured")}); err != nil {
		return err
	}
	_, _, err = y.put(y.support, revisions, object{"standing": "intended", "reason": "The tenant asks for less opening by passers-by.", "device": y.device(-12, "assumed")})
	if err != nil {
		return err
	}
	present, err := y.do(y.support, http.StatusOK, http.MethodGet, "/v1/devices/"+y.sensor.String()+"/field", nil)
	if err != nil {
		return err
	}
	extent, _ := present.body["extent"].(map[string]any)
	y.say("year_advised", "depth", fmt.Sprintf("%.2f", extent["depth_m"]))
	return nil
}

// open gives the open work orders of a kind, by door.
func (y *year) open(w *worker, kind string) (map[string]string, []map[string]any, error) {
	a, err := y.do(w, http.StatusOK, http.MethodGet, "/v1/work-orders?state=open&kind="+kind, nil)
	byDoor := map[string]string{}
	for _, o := range a.list("work_orders") {
		byDoor[fmt.Sprint(o["door_id"])] = fmt.Sprint(o["work_order_id"])
	}
	return byDoor, a.list("work_orders"), err
}

func (y *year) dueList() error {
	if err := y.on("2025-04-14"); err != nil {
		return err
	}
	_, orders, err := y.open(y.dispatcher, "inspection")
	if err != nil {
		return err
	}
	for _, o := range orders[:3] { // who plans the fourth is on holiday
		if _, err := y.do(y.dispatcher, http.StatusOK, http.MethodPut, fmt.Sprintf("/v1/work-orders/%s/assignment", o["work_order_id"]), object{"assigned_to": y.technician.id, "planned_on": "2025-04-22"}, "If-Match", `"1"`); err != nil {
			return err
		}
	}
	y.say("year_due", "count", len(orders), "due_on", fmt.Sprint(orders[0]["due_on"]))
	return nil
}

// attending is a visit that the technician logs in pieces.
type attending struct {
	*year
	id      uuid.UUID
	entries []object
	sheet   time.Time          // when it was, of a visit that was kept on paper; zero: it is now
	value   map[string]float64 // what is read otherwise than usual
}

// minute is the time of the next piece.
func (v *attending) minute() time.Time {
	if v.sheet.IsZero() {
		v.clock.Add(time.Minute.Microseconds())
		return v.now()
	}
	v.sheet = v.sheet.Add(time.Minute)
	return v.sheet
}

func (y *year) attend(doors ...uuid.UUID) (*attending, error) {
	v := &attending{year: y, id: newID()}
	inspections, _, err := y.open(y.dispatcher, "inspection")
	if err != nil {
		return nil, err
	}
	repairs, _, err := y.open(y.dispatcher, "repair")
	if err != nil {
		return nil, err
	}
	var listed []object
	for _, d := range doors {
		orders := []string{}
		for _, of := range []map[string]string{inspections, repairs} {
			if id := of[d.String()]; id != "" {
				orders = append(orders, id)
			}
		}
		listed = append(listed, object{"door_id": d, "work_orders": orders})
	}
	_, err = y.do(y.technician, http.StatusCreated, http.MethodPut, "/v1/visits/"+v.id.String(), object{"site_id": y.store, "arrived_at": y.now(), "people": []uuid.UUID{y.technician.id}, "doors": listed})
	return v, err
}

// note sends one piece.
func (v *attending) note(door uuid.UUID, kind string, said object) (uuid.UUID, error) {
	id, a, err := v.put(v.technician, "/v1/visits/"+v.id.String()+"/entries", object{"door_id": door, "kind": kind, "observed_at": v.minute(), kind: said})
	v.entries = append(v.entries, object{"entry_id": id, "sha256": a.text("sha256")})
	return id, err
}

// read reads everything that a door's rules ask for at a work place that was made safe, tries the door, and concludes.
func (v *attending) read(door uuid.UUID, result string) error {
	if _, err := v.note(door, "safe_work", madeSafe()); err != nil {
		return err
	}
	numbers := []string{"opening_time_s", "opening_force_n", "closing_force_n", "manual_start_force_n"}
	answers := []string{"walk_test_passed"}
	value := map[string]float64{"opening_time_s": 4.1, "manual_start_force_n": 95, "closing_speed_mps": 0.27, "latch_check_distance_m": 0.06, "opening_force_n": 48, "closing_force_n": 52, "breakout_force_n": 190, "hold_open_s": 2.1}
	if door == v.doors[0] || door == v.doors[1] {
		numbers, answers = []string{"closing_speed_mps", "latch_check_distance_m", "closing_force_n", "breakout_force_n", "hold_open_s"}, append(answers, "stationary_person_held")
	}
	maps.Copy(value, v.value)
	for _, name := range numbers {
		if _, err := v.note(door, "reading", object{"name": name, "value": value[name]}); err != nil {
			return err
		}
	}
	for _, name := range answers {
		if _, err := v.note(door, "reading", object{"name": name, "yes": result == "passed"}); err != nil {
			return err
		}
	}
	if _, err := v.note(door, "function_test", functionTest(result == "passed")); err != nil {
		return err
	}
	_, err := v.note(door, "conclusion", object{"result": result})
	return err
}

func (v *attending) sign(status int, done ...uuid.UUID) (answer, error) {
	left := v.minute()
	return v.do(v.technician, status, http.MethodPut, "/v1/visits/"+v.id.String()+"/sign-off", object{"signed_at": left, "left_at": left, "entries": v.entries, "done_orders": append([]uuid.UUID{}, done...), "statement": "I inspected these doors as recorded here.", "signature": "M 2 8 C 6 1 9 15 14 6 S 22 9 27 4"})
}

func (y *year) inspect() error {
	if err := y.on("2025-04-22"); err != nil {
		return err
	}
	v, err := y.attend(y.doors[:2]...)
	if err != nil {
		return err
	}
	for _, d := range y.doors[:2] {
		if err := v.read(d, "passed"); err != nil {
			return err
		}
	}
	if _, err := v.sign(http.StatusCreated); err != nil {
		return err
	}
	y.say("year_inspected", "pieces", len(v.entries))
	return nil
}

func (y *year) overdue() error {
	if err := y.on("2025-05-20"); err != nil {
		return err
	}
	a, err := y.do(y.agent, http.StatusOK, http.MethodGet, "/v1/work-orders?overdue=true", nil)
	y.say("year_overdue", "count", len(a.list("work_orders")))
	return err
}

// refuse is an unsafe door whose owner's man refuses.
func (y *year) refuse() error {
	if err := y.on("2025-05-27"); err != nil {
		return err
	}
	v, err := y.attend(y.doors[2:]...)
	if err != nil {
		return err
	}
	if err := v.read(y.doors[3], "passed"); err != nil {
		return err
	}
	if y.unsafe, err = v.note(y.doors[2], "finding", object{"severity": "unsafe", "what": "The closing leaf cannot be held by hand where it should be.", "rule": "stop-force"}); err != nil {
		return err
	}
	if _, err := v.note(y.doors[2], "securing", object{"how": "not_secured", "egress_kept": true, "told_name": "Dorian Feld", "told_role": "store manager", "answer": "refused", "note": "Wants the door until the delivery is in."}); err != nil {
		return err
	}
	if err := v.read(y.doors[2], "failed"); err != nil {
		return err
	}
	if _, err := v.sign(http.StatusCreated); err != nil {
		return err
	}
	y.say("year_refused")
	if err := y.post(); err != nil {
		return err
	}
	return y.standing()
}

// standing has the dispatcher look how the door stands.
func (y *year) standing() error {
	a, err := y.do(y.dispatcher, http.StatusOK, http.MethodGet, "/v1/out-of-service-cases?door_id="+y.doors[2].String(), nil)
	for _, c := range a.list("cases") {
		y.say("year_case", "state", y.texts.Enum("case_state", fmt.Sprint(c["state"])))
	}
	return err
}

// acknowledge is the managing agent's answer to the notice of an unsafe door.
func (y *year) acknowledge() error {
	cases, err := y.do(y.agent, http.StatusOK, http.MethodGet, "/v1/out-of-service-cases?door_id="+y.doors[2].String(), nil)
	if err != nil {
		return err
	}
	for _, c := range cases.list("cases") {
		a, err := y.do(y.agent, http.StatusCreated, http.MethodPut, fmt.Sprintf("/v1/out-of-service-cases/%s/acknowledgement", c["case_id"]), object{"note": "I am calling the store manager now."})
		if err != nil {
			return err
		}
		y.say("year_acknowledged", "what", fmt.Sprint(c["what"]), "note", a.text("note"))
	}
	return nil
}

func (y *year) secure() error {
	if err := y.on("2025-05-28"); err != nil {
		return err
	}
	v, err := y.attend(y.doors[2])
	if err != nil {
		return err
	}
	if _, err := v.note(y.doors[2], "securing", object{"how": "locked_open", "egress_kept": true, "told_name": "Lorne Adeyemi", "told_role": "managing agent", "answer": "acknowledged", "note": "Operator off, leaf pushed open by hand."}); err != nil {
		return err
	}
	if _, err := v.sign(http.StatusCreated); err != nil {
		return err
	}
	y.say("year_secured")
	return y.standing()
}

func (y *year) mend() error {
	if err := y.on("2025-06-03"); err != nil {
		return err
	}
	v, err := y.attend(y.doors[2])
	if err != nil {
		return err
	}
	if _, err := v.note(y.doors[2], "safe_work", madeSafe()); err != nil {
		return err
	}
	if _, err := v.note(y.doors[2], "mending", object{"finding_id": y.unsafe, "what": "Closing force set down."}); err != nil {
		return err
	}
	if err := v.read(y.doors[2], "passed"); err != nil {
		return err
	}
	if _, err := v.sign(http.StatusCreated); err != nil {
		return err
	}
	y.say("year_mended")
	return y.standing()
}

func (y *year) changeHands() error {
	if err := y.on("2025-09-01"); err != nil {
		return err
	}
	if _, err := y.do(y.dispatcher, http.StatusOK, http.MethodPut, "/v1/sites/"+y.store.String()+"/customer", object{"customer_id": y.tallowick, "day": "2025-09-01"}, "If-Match", `"1"`); err != nil {
		return err
	}
	if err := y.stand("Tallowick Outlets", "buildings@tallowick-outlets.example", "owner", "2025-09-01"); err != nil {
		return err
	}
	door := "/v1/doors/" + y.doors[0].String()
	if _, err := y.do(y.agent, http.StatusNotFound, http.MethodGet, door, nil); err != nil {
		return err
	}
	y.say("year_changed_hands", "status", http.StatusNotFound)
	return nil
}

// certificate has the technician come with a certificate that ran out.
func (y *year) certificate() error {
	if err := y.on("2025-11-10"); err != nil {
		return err
	}
	v, err := y.attend(y.doors[1])
	if err != nil {
		return err
	}
	if err := v.read(y.doors[1], "passed"); err != nil {
		return err
	}
	refused, err := v.sign(http.StatusConflict)
	if err != nil {
		return err
	}
	if _, _, err := y.put(y.dispatcher, "/v1/people/"+y.technician.id.String()+"/qualifications", object{"scheme": "Certified inspector (invented scheme)", "number": "C-3107/2", "valid_from": "2025-11-01", "valid_until": "2027-10-31"}); err != nil {
		return err
	}
	if _, err := v.sign(http.StatusCreated); err != nil {
		return err
	}
	y.say("year_certified", "status", refused.status, "code", refused.text("code"))
	return nil
}

func (y *year) reportToOwner() error {
	if err := y.on("2025-12-01"); err != nil {
		return err
	}
	path := "/v1/doors/" + y.doors[2].String() + "/reports/" + newID().String()
	first, err := y.do(y.dispatcher, http.StatusCreated, http.MethodPut, path, nil)
	if err != nil {
		return err
	}
	again, err := y.do(y.dispatcher, http.StatusOK, http.MethodPut, path, nil)
	if err != nil {
		return err
	}
	pdf, err := y.do(y.dispatcher, http.StatusOK, http.MethodGet, "/v1/reports/"+first.text("report_id")+"/report.pdf", nil)
	if err != nil {
		return err
	}
	y.report = first.text("report_id")
	y.say("year_reported", "is_pdf", bytes.HasPrefix(pdf.raw, []byte("%PDF-")), "same", first.text("sha256") != "" && first.text("sha256") == again.text("sha256"))
	return nil
}

// callOut is a call that somebody goes out for, and work of the other kinds in the book.
func (y *year) callOut() error {
	if err := y.on("2025-12-08"); err != nil {
		return err
	}
	door := y.doors[0]
	call, made, err := y.put(y.dispatcher, "/v1/work-orders", object{"door_id": door, "kind": "call_out", "priority": "urgent", "caller": object{"name": "Dorian Feld", "role": "store manager"},
		"symptom": "Stays open and lets the cold in.", "respond_by": y.now().Add(4 * time.Hour), "customer_order_number": "TO-4471"})
	if err != nil {
		return err
	}
	y.say("year_called", "symptom", made.text("symptom"), "by", made.text("respond_by"), "number", made.text("customer_order_number"))
	for _, o := range []object{{"kind": "service", "note": "Grease the carriages."}, {"kind": "handover", "note": "New operator for the office door."}, {"kind": "repair", "note": "New lower guide."},
		{"kind": "accident", "accident": object{"what": "A trolley struck the open leaf; nobody was hurt.", "told": "The store manager."}}} {
		o["door_id"], o["due_on"] = door, "2026-01-12"
		if _, _, err := y.put(y.dispatcher, "/v1/work-orders", o); err != nil {
			return err
		}
	}
	v := &attending{year: y, id: newID()}
	if _, err := y.do(y.technician, http.StatusCreated, http.MethodPut, "/v1/visits/"+v.id.String(), object{"site_id": y.store, "arrived_at": y.now(), "people": []uuid.UUID{y.technician.id},
		"doors": []object{{"door_id": door, "work_orders": []uuid.UUID{call}}}}); err != nil {
		return err
	}
	if _, err := v.note(door, "reading", object{"name": "hold_open_s", "value": 2.2}); err != nil {
		return err
	}
	if _, err := v.sign(http.StatusCreated, call); err != nil {
		return err
	}
	done, err := y.do(y.dispatcher, http.StatusOK, http.MethodGet, "/v1/work-orders/"+call.String(), nil)
	if err != nil {
		return err
	}
	a, err := y.do(y.dispatcher, http.StatusOK, http.MethodGet, "/v1/work-orders?state=open&site_id="+y.store.String(), nil)
	var kinds []string
	for _, o := range a.list("work_orders") {
		kinds = append(kinds, y.texts.Enum("work_order_kind", fmt.Sprint(o["kind"])))
	}
	slices.Sort(kinds)
	y.say("year_called_out", "state", done.text("state"), "on", done.text("done_on"), "kinds", strings.Join(kinds, ", "))
	return err
}

// reportMore has the dispatcher make a report of the site, of everything, and the certificate of a passed inspection.
func (y *year) reportMore() error {
	if err := y.on("2025-12-15"); err != nil {
		return err
	}
	for _, ask := range []object{{"kind": "site", "site_id": y.store}, {"kind": "portfolio"}, {"kind": "certificate", "door_id": y.doors[1]}} {
		id, _, err := y.put(y.dispatcher, "/v1/reports", ask)
		if err != nil {
			return err
		}
		doc, err := y.do(y.dispatcher, http.StatusOK, http.MethodGet, "/v1/reports/"+id.String(), nil)
		if err != nil {
			return err
		}
		if inspection, ok := doc.body["inspection"].(map[string]any); ok {
			by, _ := inspection["inspector"].(map[string]any)
			y.say("year_certificate", "day", fmt.Sprint(inspection["date"]), "name", fmt.Sprint(by["name"]), "number", fmt.Sprint(by["certificate_no"]))
			continue
		}
		y.say("year_report_of", "kind", fmt.Sprint(ask["kind"]), "doors", len(doc.list("overview")))
	}
	return nil
}

// leave is somebody who leaves: the sign-in that worked this morning ends at once.
func (y *year) leave() error {
	if err := y.on("2026-02-02"); err != nil {
		return err
	}
	if err := y.as(y.support); err != nil {
		return err
	}
	if _, err := y.do(y.administrator, http.StatusOK, http.MethodPut, "/v1/people/"+y.support.id.String()+"/disabled", object{"disabled": true}); err != nil {
		return err
	}
	a, err := y.support.ask(http.MethodGet, "/v1/doors", nil)
	y.say("year_left", "status", a.status)
	return err
}

// audit lets an auditor in, who reads and may do nothing else.
func (y *year) audit() error {
	if err := y.on("2026-01-19"); err != nil {
		return err
	}
	auditor, err := y.hire("Sunniva Achterberg", "sunniva@achterberg-review.example", "auditor", object{"scope_kind": "customers", "customers": []uuid.UUID{y.tallowick}, "expires_at": y.now().AddDate(0, 0, 14)})
	if err != nil {
		return err
	}
	doors, err := y.do(auditor, http.StatusOK, http.MethodGet, "/v1/doors", nil)
	if err != nil {
		return err
	}
	if _, err := y.do(auditor, http.StatusOK, http.MethodGet, "/v1/reports/"+y.report, nil); err != nil {
		return err
	}
	if _, err := y.do(auditor, http.StatusForbidden, http.MethodPut, "/v1/customers/"+newID().String(), object{"name": "Nobody"}); err != nil {
		return err
	}
	log, err := y.do(y.administrator, http.StatusOK, http.MethodGet, "/v1/audit?person_id="+auditor.id.String(), nil)
	if err != nil {
		return err
	}
	y.say("year_audited", "doors", len(doors.list("doors")), "status", http.StatusForbidden, "events", len(log.list("events")))
	return nil
}

// backUp is the operator's part, on the machine itself; that it was done stands where the administrator reads it.
func (y *year) backUp(s *settings) error {
	if err := y.on("2026-02-27"); err != nil {
		return err
	}
	photos, err := store.OpenPhotoDir(s.photoDir())
	if err != nil {
		return err
	}
	defer photos.Close()
	run := fleet.BackupRun{BackupID: newID(), BeganAt: y.now(), Outcome: "good"}
	name, m, err := archive.Backup(y.ctx, archive.Source{AdminURL: y.house.private.URL("postgres", "lintel"), RolePrefix: s.RolePrefix, Photos: photos, BinDir: s.PostgresBin, Program: version, Now: y.now}, filepath.Join(y.dir, "backups"), 0)
	if err != nil {
		return err
	}
	run.Folder, run.EndedAt, run.SizeBytes = name, y.now(), m.SizeBytes
	if err := y.house.fleet.RecordBackup(y.ctx, run); err != nil {
		return err
	}
	a, err := y.do(y.administrator, http.StatusOK, http.MethodGet, "/v1/backup-runs", nil)
	y.say("year_backed_up", "at", a.text("last_good_at"), "records", m.SignedRecords)
	return err
}
