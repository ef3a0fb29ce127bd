package console_test

import (
	"net/url"
	"strings"
	"testing"

	"github.com/google/uuid"
)

func TestADispatcherPlansRoutesAndTakesThemOver(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	d := w.dispatcher
	d.get(t, "/route-plans").want(t, 200, "Plan routes", "4 March 2026", "draft")
	plan := d.get(t, "/route-plans/"+w.rounds.String())
	plan.want(t, 200, "Cato Wren", "Take the plan over", "The position of the site is not known.", "great circle times 1.3", "and 8 minutes for each arrival").source(t, `class="strip-visit`)
	w.technician.get(t, "/route-plans/"+w.rounds.String()).want(t, 200, " mi").lacks(t, "Take the plan over")
	d.get(t, "/route-plans/"+w.rounds.String()+"/take-over").want(t, 200, "stay as they are")
	d.post(t, "/route-plans/"+w.rounds.String()+"/take-over", url.Values{}).leads(t, "/route-plans/"+w.rounds.String())
	d.get(t, "/route-plans/"+w.rounds.String()).want(t, 200, "taken over").lacks(t, "Take the plan over</a>")
	d.get(t, "/work-orders/"+w.order).want(t, 200, "Cato Wren, ")

	hold := "/work-orders/" + w.order + "/hold"
	d.post(t, hold, url.Values{"/held": {"yes"}, "/begin": {"11:00"}, "/begin/until": {"10:00"}}).want(t, 422, "earlier to a later time")
	d.post(t, hold, url.Values{"/held": {"yes"}, "/begin": {"10:00"}, "/begin/until": {"10:30"}, "/why": {"agreed by telephone"}}).leads(t, "/work-orders/"+w.order)
	d.get(t, hold).want(t, 200).holds(t, "/begin", "10:00").holds(t, "/why", "agreed by telephone")
	d.post(t, hold, url.Values{}).leads(t, "/work-orders/"+w.order)

	page := d.get(t, "/route-plans")
	form := url.Values{"route_plan_id": {page.hidden(t, "route_plan_id")}, "/from": {"2026-03-04"}, "/days": {"0"}, "/ahead_days": {"900"}, "/factor": {"1.3"}, "/speed_kmh": {"45"}, "/arrival_min": {"8"}}
	d.post(t, "/route-plans", form).want(t, 422, "outside of 0 to 366")
	form.Set("/ahead_days", "10")
	d.post(t, "/route-plans", form).want(t, 422, "outside of 1 to 62")
	form.Set("/days", "3")
	d.post(t, "/route-plans", with(form, "/speed_kmh", "4,5")).want(t, 422, "not a number, such as 4.5")
	d.post(t, "/route-plans", with(with(form, "/speed_kmh", "45"), "/from", "2026-02-27")).want(t, 422, "Nobody drives on days that are over")
	form.Set("/from", "2026-03-04")
	made := d.post(t, "/route-plans", form)
	made.leads(t, "/route-plans/"+form.Get("route_plan_id"))
	d.get(t, "/route-plans/"+form.Get("route_plan_id")).want(t, 200, "Cato Wren")
	d.post(t, "/route-plans", with(form, "/days", "4")).want(t, 409, "another plan was made") // the page before was gone back to
}

func TestADispatcherIsShownWhichOrdersOfAPlanStayAsSomebodyElseHasPlannedThem(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	d, order := w.dispatcher, "/work-orders/"+w.order
	form := url.Values{"version": {d.get(t, order).hidden(t, "version")}, "/assigned_to": {w.technician.actor.PersonID.String()}, "/planned_on": {"2026-03-18"}}
	d.post(t, order+"/assign", form).leads(t, order)
	d.post(t, "/route-plans/"+w.rounds.String()+"/take-over", url.Values{}).want(t, 200, "taken over", "One order stays as it is", "Stays as it is.")
	d.get(t, order).want(t, 200, "18 March 2026")
}

func TestWorkingTermsAndVisitingHoursAreKept(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	d := w.dispatcher
	terms := "/people/" + w.technician.actor.PersonID.String() + "/working-terms"
	page := d.get(t, terms)
	page.want(t, 200).holds(t, "/hours", "07:00").holds(t, "/break/until", "12:30").holds(t, "/home/latitude_deg", "38.5")
	form := url.Values{"version": {page.hidden(t, "version")}, "/time_zone": {"America/Los_Angeles"}, "/home/latitude_deg": {"38.5"}, "/home/longitude_deg": {"-121.4"}, "/hours": {"08:00"}, "/hours/until": {"17:00"},
		"/weekdays": {"1", "3"}, "/regions": {"California\nNevada"}}
	d.post(t, terms, form).leads(t, strings.TrimSuffix(terms, "/working-terms"))
	d.get(t, terms).want(t, 200, "Nevada", "Wednesday").holds(t, "/hours/until", "17:00").source(t, `id="weekday-3" name="/weekdays" value="3" checked`)
	d.post(t, terms, with(form, "/hours", "18:00")).want(t, 422, "earlier to a later time")
	d.post(t, terms, with(with(form, "/hours", "08:00"), "/time_zone", "Mars/Base")).want(t, 422, "IANA")
	hours := "/sites/" + w.site.SiteID.String() + "/visiting-hours"
	d.post(t, hours, url.Values{"/hours": {"07:00"}, "/hours/until": {"15:00"}}).want(t, 422, "at least one")
	d.post(t, hours, url.Values{"/hours": {"07:00"}, "/hours/until": {"15:00"}, "/weekdays": {"2"}}).leads(t, "/sites/"+w.site.SiteID.String())
	d.get(t, hours).want(t, 200).holds(t, "/hours/until", "15:00")
}

func TestClosedDaysAreEnteredShownAndTakenBack(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	d := w.dispatcher
	d.get(t, "/closed-days").want(t, 200, "Memorial Day", "25 May 2026", "US")
	own := "/closed-days?site=" + w.site.SiteID.String()
	page := d.get(t, own)
	page.want(t, 200, w.site.Name, "Memorial Day")
	form := url.Values{"closed_day_id": {page.hidden(t, "closed_day_id")}, "site": {w.site.SiteID.String()}, "customer": {""}, "/from": {"2026-03-12"}, "/until": {"2026-03-11"}, "/name": {"stocktaking"}}
	d.post(t, "/closed-days", form).want(t, 422, "from 2026-03-12 to 2027-03-12 at most", w.site.Name)
	d.post(t, "/closed-days", with(form, "/until", "")).leads(t, own)
	d.get(t, own).want(t, 200, "stocktaking", "12 March 2026", "Memorial Day")
	d.get(t, "/closed-days?site="+w.foreign.SiteID.String()).want(t, 200, "Memorial Day").lacks(t, "stocktaking")
	order := "/work-orders/" + w.order // due on Thursday, 12 March
	d.get(t, order).want(t, 200, "To be done by", "11 March 2026", "stocktaking")
	w.agent.get(t, order).want(t, 200).lacks(t, "To be done by")
	d.get(t, "/doors/"+w.door.DoorID.String()+"/due").want(t, 200, "To be done by")
	cancel := "/closed-days/" + form.Get("closed_day_id") + "/cancel"
	d.get(t, cancel).want(t, 200, "stocktaking, 12 March 2026", "no closed day any more")
	d.post(t, cancel, url.Values{}).leads(t, own)
	d.get(t, own).want(t, 200).lacks(t, "stocktaking")
	d.get(t, order).want(t, 200).lacks(t, "To be done by")
}

func TestADoorIsGivenAPlanOfServiceWhoseOrderIsDoneAtTheCallOfItsInspection(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	d, door := w.dispatcher, "/doors/"+w.late.DoorID.String()
	page := d.get(t, door+"/plans/new")
	page.want(t, 200, "What for", "items of a fire door")
	form := url.Values{"plan_id": {page.hidden(t, "plan_id")}, "/purpose": {"service"}, "/interval_months": {"6"}, "/regime": {"anniversary"}, "/anchor_on": {"2026-03-20"}, "/tolerance_days": {"30"}, "/grace_days": {"0"}, "/lead_days": {"5"}}
	d.post(t, door+"/plans", form).leads(t, door+"#work")
	d.get(t, door).want(t, 200, "For service, every 6 months", "A plan for another purpose")
	d.get(t, door+"/due").want(t, 200, "For service: Every 6 months")
	if _, err := w.OpenDueWorkOrders(t.Context(), day("2026-03-04")); err != nil {
		t.Fatal(err)
	}
	order := d.get(t, "/work-orders/"+w.orderPlan)
	order.want(t, 200, "At the same call", "due on 20 March 2026")
	d.get(t, "/work-orders?door="+w.late.DoorID.String()).want(t, 200, "and one more at the same call")
	list, err := w.CallOrders(t.Context(), d.actor, []uuid.UUID{w.late.DoorID})
	if err != nil || len(list) != 2 {
		t.Fatal(list, err)
	}
	begun := w.technician.get(t, "/visits/new?site="+w.late.SiteID.String()+"&door="+w.late.DoorID.String()+"&order="+w.orderPlan)
	for _, o := range list {
		begun.source(t, `value="`+o.WorkOrderID.String()+`" checked`)
	}
}
