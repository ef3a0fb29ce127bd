package console

import (
	"context"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/fault"
	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/identity"
)

type routePlansData struct {
	Lines []fleet.RoutePlan
	More  More
	Form  form
}

// routePlans lists plans of who drives where, with the form that makes another.
func (c *Console) routePlans(ctx context.Context, q *request) (answer, error) {
	next := duedate.DayIn(c.Now(), time.UTC).AddDays(1)
	for next.Weekday() != time.Monday {
		next = next.AddDays(1)
	}
	return c.routePlansPage(ctx, q, newForm(map[string]string{"route_plan_id": c.NewID().String(), "/from": next.String(), "/days": "5", "/ahead_days": "14", "/factor": "1.3", "/speed_kmh": "45", "/arrival_min": "8"}), http.StatusOK)
}

func (c *Console) routePlansPage(ctx context.Context, q *request, f form, status int) (answer, error) {
	list := q.filter()
	var key instantKey
	list.key(&key)
	if err := list.faults.Err(); err != nil {
		return nil, err
	}
	plans, err := c.Fleet.RoutePlans(ctx, q.by, fleet.RoutePlanQuery{BeforeAt: key.At, BeforeID: key.ID, Limit: perPage + 1})
	if err != nil {
		return nil, err
	}
	var last any
	if len(plans) > perPage {
		plans = plans[:perPage]
		last = instantKey{plans[perPage-1].MadeAt, plans[perPage-1].RoutePlanID}
	}
	return page{name: "route-plans", status: status, data: routePlansData{Lines: plans, More: q.more(last), Form: f}}, nil
}

func (c *Console) routePlanMake(ctx context.Context, q *request) (answer, error) {
	f, err := q.form()
	if err != nil {
		return nil, err
	}
	r := reader{form: &f, texts: q.texts}
	id := r.id("route_plan_id")
	ask := fleet.RouteAsk{}.Filled() // of what the form asks for, a zero is meant
	ask.From, ask.Days, ask.AheadDays = r.day("/from"), r.number("/days"), r.number("/ahead_days")
	ask.Factor, ask.SpeedKmh, ask.ArrivalM = r.decimal("/factor"), r.decimal("/speed_kmh"), r.decimal("/arrival_min")
	if err = r.faults.Err(); err == nil {
		_, _, err = c.Fleet.PlanRoutes(ctx, q.by, id, ask)
	}
	if err != nil {
		return q.again(f, err, func(f form, status int) (answer, error) { return c.routePlansPage(ctx, q, f, status) })
	}
	return seeOther("/route-plans/" + id.String()), nil
}

type routePlanData struct {
	fleet.RoutePlan
	Days   []routeDay
	Passed []uuid.UUID // orders that taking it over has just left as they are
}

// Stays tells whether taking the plan over has just left an order as it is.
func (d routePlanData) Stays(order uuid.UUID) bool { return slices.Contains(d.Passed, order) }

// routeDay is one day of a plan.
type routeDay struct {
	Day    duedate.Day
	Shifts []shiftStrip
}

// shiftStrip is a shift as it is drawn: a bar from 6 to 20 o'clock by the technician's clock.
type shiftStrip struct {
	fleet.RouteShift
	Marks []stripMark
	Hours []stripHour
}

// stripMark is a visit in the bar.
type stripMark struct {
	X, Width float64
	No       int
	Strong   bool // overdue or unsafe
}

type stripHour struct {
	X    float64
	Hour int
}

const (
	stripFromHour, stripToHour = 6, 20
	stripWide                  = 840.0 // 60 for each hour
)

func newShiftStrip(s fleet.RouteShift) shiftStrip {
	strip := shiftStrip{RouteShift: s}
	zone := location(s.TimeZone)
	y, m, d := s.Day.Date()
	zero := time.Date(y, m, d, stripFromHour, 0, 0, 0, zone)
	x := func(at time.Time) float64 { return max(0, min(stripWide, at.Sub(zero).Minutes())) }
	for i, stop := range s.Stops {
		from := x(stop.Begin)
		strip.Marks = append(strip.Marks, stripMark{X: from, Width: x(stop.Leave) - from, No: i + 1, Strong: stop.Urgency == "unsafe" || stop.Urgency == "overdue"})
	}
	for hour := stripFromHour; hour <= stripToHour; hour += 2 {
		strip.Hours = append(strip.Hours, stripHour{X: float64(hour-stripFromHour) * 60, Hour: hour})
	}
	return strip
}

// Span is the drive, from setting off to being back, in the bar.
func (s shiftStrip) Span() stripMark {
	y, m, d := s.Day.Date()
	zero := time.Date(y, m, d, stripFromHour, 0, 0, 0, location(s.TimeZone))
	from, to := max(0, s.Begins.Sub(zero).Minutes()), min(stripWide, s.Ends.Sub(zero).Minutes())
	return stripMark{X: from, Width: max(0, to-from)}
}

// Middle is where the number of a visit stands.
func (m stripMark) Middle() float64 { return m.X + m.Width/2 }

func (c *Console) routePlan(ctx context.Context, q *request) (answer, error) {
	id, err := q.pathID("route_plan_id")
	if err != nil {
		return nil, err
	}
	p, err := c.Fleet.RoutePlan(ctx, q.by, id)
	if err != nil {
		return nil, err
	}
	return routePlanPage(p, nil), nil
}

func routePlanPage(p fleet.RoutePlan, passed []uuid.UUID) page {
	data := routePlanData{RoutePlan: p, Passed: passed}
	for _, s := range p.Shifts {
		if n := len(data.Days); n == 0 || data.Days[n-1].Day != s.Day {
			data.Days = append(data.Days, routeDay{Day: s.Day})
		}
		one := &data.Days[len(data.Days)-1]
		one.Shifts = append(one.Shifts, newShiftStrip(s))
	}
	return page{name: "route-plan", data: data}
}

func (c *Console) routePlanSure(ctx context.Context, q *request) (answer, error) {
	id, err := q.pathID("route_plan_id")
	if err != nil {
		return nil, err
	}
	p, err := c.Fleet.RoutePlan(ctx, q.by, id)
	if err != nil {
		return nil, err
	}
	at := "/route-plans/" + id.String()
	return c.sure(q.texts.T("console.route.take_over.ask", "count", p.Visits), q.texts.T("console.route.take_over"), at+"/take-over", at), nil
}

func (c *Console) routePlanTakeOver(ctx context.Context, q *request) (answer, error) {
	id, err := q.pathID("route_plan_id")
	if err != nil {
		return nil, err
	}
	p, done, err := c.Fleet.TakeOverRoutePlan(ctx, q.by, id)
	if err != nil {
		return nil, err
	}
	if len(done.Passed) > 0 {
		return routePlanPage(p, done.Passed), nil
	}
	return seeOther("/route-plans/" + id.String()), nil
}

// hours reads a span of the day from two fields.
func (r *reader) hours(from, until string) fleet.DayHours {
	h, ok := fleet.ParseDayHours(r.form.Value(from), r.form.Value(until))
	if !ok {
		r.faults.Add(from, "hours_wrong")
	}
	return h
}

// setHours writes a span of the day into two fields.
func (f form) setHours(from, until string, h fleet.DayHours) {
	a, b := h.Texts()
	f.values.Set(from, a)
	f.values.Set(until, b)
}

// setWeekdays ticks days of the week.
func (f form) setWeekdays(days ...int) {
	for _, d := range days {
		f.values.Add("/weekdays", strconv.Itoa(d))
	}
}

// seenVersion reads the version that a form was made of; 0 when there was none.
func (r *reader) seenVersion() int {
	if r.form.Value("version") == "" {
		return 0
	}
	return r.number("version")
}

// decimal reads a decimal number that must be there.
func (r *reader) decimal(name string) float64 {
	v, err := strconv.ParseFloat(r.form.Value(name), 64)
	if err != nil {
		r.faults.Add(name, "decimal_unreadable")
	}
	return v
}

// weekdays reads the days of the week that were ticked.
func (r *reader) weekdays() (days []int) {
	for d := 1; d <= 7; d++ {
		if r.form.Has("/weekdays", strconv.Itoa(d)) {
			days = append(days, d)
		}
	}
	return days
}

type termsFormData struct {
	Person identity.Person
	Form   form
}

func (c *Console) termsForm(ctx context.Context, q *request) (answer, error) {
	id, err := q.pathID("person_id")
	if err != nil {
		return nil, err
	}
	f := newForm(map[string]string{"/time_zone": "", "/hours": "07:00", "/hours/until": "16:00", "/break": "12:00", "/break/until": "12:30"})
	f.setWeekdays(1, 2, 3, 4, 5)
	list, err := c.Fleet.WorkingTerms(ctx, q.by, fleet.WorkingTermsQuery{PersonID: id, Limit: 1})
	if err != nil {
		return nil, err
	}
	if len(list) > 0 {
		f = termsFormOf(list[0])
	}
	return c.termsPage(ctx, q, id, f, http.StatusOK)
}

func termsFormOf(w fleet.WorkingTerms) form {
	f := newForm(map[string]string{"/time_zone": w.TimeZone, "/home/latitude_deg": strconv.FormatFloat(w.Home.LatitudeDeg, 'f', -1, 64), "/home/longitude_deg": strconv.FormatFloat(w.Home.LongitudeDeg, 'f', -1, 64),
		"version": strconv.Itoa(w.Version)})
	f.setHours("/hours", "/hours/until", w.Hours)
	if w.Break.FromMinute < w.Break.ToMinute {
		f.setHours("/break", "/break/until", w.Break)
	}
	f.setWeekdays(w.Weekdays...)
	f.values.Set("/regions", strings.Join(w.Regions, "\n"))
	return f
}

func (c *Console) termsPage(ctx context.Context, q *request, id uuid.UUID, f form, status int) (answer, error) {
	p, err := c.People.Person(ctx, q.by, id)
	if err != nil {
		return nil, err
	}
	return page{name: "working-terms", status: status, data: termsFormData{Person: p, Form: f}}, nil
}

func (c *Console) termsPut(ctx context.Context, q *request) (answer, error) {
	id, f, err := q.formOf("person_id")
	if err != nil {
		return nil, err
	}
	r := reader{form: &f, texts: q.texts}
	w := fleet.WorkingTerms{PersonID: id, TimeZone: f.Value("/time_zone"), Home: fleet.Position{LatitudeDeg: r.decimal("/home/latitude_deg"), LongitudeDeg: r.decimal("/home/longitude_deg")},
		Weekdays: r.weekdays(), Hours: r.hours("/hours", "/hours/until"), Break: r.hours("/break", "/break/until"), Regions: slices.DeleteFunc(strings.Split(f.Value("/regions"), "\n"), func(line string) bool { return strings.TrimSpace(line) == "" })}
	version := r.seenVersion()
	if err = r.faults.Err(); err == nil {
		_, _, err = c.Fleet.PutWorkingTerms(ctx, q.by, w, version)
	}
	if err != nil {
		return q.again(f, err, func(f form, status int) (answer, error) { return c.termsPage(ctx, q, id, f, status) })
	}
	return seeOther("/people/" + id.String()), nil
}

type hoursFormData struct {
	Site fleet.Site
	Form form
}

func (c *Console) siteHoursForm(ctx context.Context, q *request) (answer, error) {
	id, err := q.pathID("site_id")
	if err != nil {
		return nil, err
	}
	f := newForm(map[string]string{"/hours": "07:00", "/hours/until": "16:00"})
	f.setWeekdays(1, 2, 3, 4, 5)
	v, err := c.Fleet.VisitingHours(ctx, q.by, id)
	switch {
	case err == nil:
		f = newForm(map[string]string{"version": strconv.Itoa(v.Version)})
		f.setHours("/hours", "/hours/until", v.Hours)
		f.setWeekdays(v.Weekdays...)
	case !slices.ContainsFunc(fault.Of(err), func(e *fault.Error) bool { return e.Code == "hours_not_said" }):
		return nil, err
	}
	return c.siteHoursPage(ctx, q, id, f, http.StatusOK)
}

func (c *Console) siteHoursPage(ctx context.Context, q *request, id uuid.UUID, f form, status int) (answer, error) {
	site, err := c.Fleet.Site(ctx, q.by, id)
	if err != nil {
		return nil, err
	}
	return page{name: "visiting-hours", status: status, data: hoursFormData{Site: site, Form: f}}, nil
}

func (c *Console) siteHoursPut(ctx context.Context, q *request) (answer, error) {
	id, f, err := q.formOf("site_id")
	if err != nil {
		return nil, err
	}
	r := reader{form: &f, texts: q.texts}
	v := fleet.VisitingHours{SiteID: id, Weekdays: r.weekdays(), Hours: r.hours("/hours", "/hours/until")}
	version := r.seenVersion()
	if err = r.faults.Err(); err == nil {
		_, _, err = c.Fleet.PutVisitingHours(ctx, q.by, v, version)
	}
	if err != nil {
		return q.again(f, err, func(f form, status int) (answer, error) { return c.siteHoursPage(ctx, q, id, f, status) })
	}
	return seeOther("/sites/" + id.String()), nil
}

// orderHold keeps an order where it is planned, or lets go of it.
func (c *Console) orderHold(ctx context.Context, q *request) (answer, error) {
	id, f, err := q.formOf("work_order_id")
	if err != nil {
		return nil, err
	}
	r := reader{form: &f, texts: q.texts}
	if f.Value("/held") == "" {
		err = c.Fleet.FreeOrder(ctx, q.by, id)
	} else {
		h := fleet.OrderHold{WorkOrderID: id, Why: f.Value("/why")}
		if f.Value("/begin") != "" || f.Value("/begin/until") != "" {
			begin := r.hours("/begin", "/begin/until")
			h.Begin = &begin
		}
		if err = r.faults.Err(); err == nil {
			_, err = c.Fleet.HoldOrder(ctx, q.by, h)
		}
	}
	if err != nil {
		return q.again(f, err, func(f form, status int) (answer, error) { return c.orderHoldPage(ctx, q, id, f, status) })
	}
	return seeOther("/work-orders/" + id.String()), nil
}

type holdFormData struct {
	Order fleet.WorkOrder
	Door  fleet.Name
	Form  form
}

func (c *Console) orderHoldForm(ctx context.Context, q *request) (answer, error) {
	id, err := q.pathID("work_order_id")
	if err != nil {
		return nil, err
	}
	h, err := c.Fleet.OrderHold(ctx, q.by, id)
	if err != nil {
		return nil, err
	}
	f := newForm(map[string]string{"/held": "yes"})
	if h != nil {
		f.values.Set("/why", h.Why)
		if h.Begin != nil {
			f.setHours("/begin", "/begin/until", *h.Begin)
		}
	}
	return c.orderHoldPage(ctx, q, id, f, http.StatusOK)
}

func (c *Console) orderHoldPage(ctx context.Context, q *request, id uuid.UUID, f form, status int) (answer, error) {
	o, err := c.Fleet.WorkOrder(ctx, q.by, id)
	if err != nil {
		return nil, err
	}
	names, err := c.Fleet.Names(ctx, q.by, fleet.Named{Doors: []uuid.UUID{o.DoorID}})
	if err != nil {
		return nil, err
	}
	return page{name: "work-order-hold", status: status, data: holdFormData{Order: o, Door: names[o.DoorID], Form: f}}, nil
}
