package console

import (
	"context"
	"net/http"
	"slices"
	"strconv"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/identity"
)

type ordersData struct {
	Filter      filter
	Lines       []orderLine
	More        More
	Narrow      []string
	Technicians []option
}

func (c *Console) orders(ctx context.Context, q *request) (answer, error) {
	f := q.filter()
	if !q.URL.Query().Has("state") {
		f.values.Set("state", "open")
	}
	query := fleet.WorkOrderQuery{State: f.Value("state"), Kind: f.Value("kind"), CustomerID: f.ID("customer"), SiteID: f.ID("site"), DoorID: f.ID("door"),
		Assigned: f.ID("assigned"), DueUntil: f.Day("due_until"), Overdue: f.Value("late") != "", Limit: perPage + 1}
	var key dayKey
	f.key(&key)
	if err := f.faults.Err(); err != nil {
		return nil, err
	}
	query.AfterDay, query.AfterID = key.Day, key.ID
	list, err := c.Fleet.WorkOrders(ctx, q.by, query)
	if err != nil {
		return nil, err
	}
	var last any
	if len(list) > perPage {
		list = list[:perPage]
		last = dayKey{list[perPage-1].DueOn, list[perPage-1].WorkOrderID}
	}
	ids := named(nil, list)
	ids.Customers, ids.Sites, ids.Doors = append(ids.Customers, query.CustomerID), append(ids.Sites, query.SiteID), append(ids.Doors, query.DoorID)
	names, err := c.Fleet.Names(ctx, q.by, ids)
	if err != nil {
		return nil, err
	}
	data := ordersData{Filter: f, Lines: c.orderLines(q, list, names), More: q.more(last)}
	if err := c.withCalls(ctx, q, data.Lines); err != nil {
		return nil, err
	}
	for _, id := range []uuid.UUID{query.CustomerID, query.SiteID, query.DoorID} {
		if n, ok := names[id]; ok {
			data.Narrow = append(data.Narrow, n.Text)
		}
	}
	if data.Technicians, err = c.technicians(ctx, q); err != nil {
		return nil, err
	}
	return page{name: "work-orders", data: data}, nil
}

// technicians are the choices of whom to send; nobody outside of the company has any.
func (c *Console) technicians(ctx context.Context, q *request) ([]option, error) {
	list := []option{{Text: q.texts.T("console.nobody")}}
	if !q.by.May(identity.ActReadOffice) {
		return nil, nil
	}
	people, err := c.People.Persons(ctx, q.by, identity.PersonQuery{Role: identity.Technician, Limit: 500})
	for _, p := range people {
		if p.DisabledAt == nil && (p.ExpiresAt == nil || p.ExpiresAt.After(c.Now())) {
			list = append(list, option{Value: p.PersonID.String(), Text: p.Name})
		}
	}
	return list, err
}

// withCalls adds to orders of plans what else is done at the same call.
func (c *Console) withCalls(ctx context.Context, q *request, lines []orderLine) error {
	var doors []uuid.UUID
	wants := func(l orderLine) bool { return l.State == "open" && l.PlanID != nil }
	for _, l := range lines {
		if wants(l) {
			doors = append(doors, l.DoorID)
		}
	}
	if len(doors) == 0 {
		return nil
	}
	all, err := c.Fleet.CallOrders(ctx, q.by, doors)
	for i, l := range lines {
		for _, o := range all {
			if wants(l) && o.DoorID == l.DoorID && o.WorkOrderID != l.WorkOrderID {
				lines[i].Call = append(lines[i].Call, o)
			}
		}
	}
	return err
}

type orderData struct {
	Order       orderLine
	Names       fleet.Names
	Form        form // what it is
	Assign      form // who goes when
	Technicians []option
	Origin      *uuid.UUID // the visit whose findings it mends
	Parts       []fleet.PartOfOrder
	DoBy        fleet.DoBy // of an open one
}

func (c *Console) order(ctx context.Context, q *request) (answer, error) {
	id, err := q.pathID("work_order_id")
	if err != nil {
		return nil, err
	}
	return c.orderPage(ctx, q, id, form{}, form{}, http.StatusOK)
}

// orderPage shows one work order; a form that was refused stays as it was sent.
func (c *Console) orderPage(ctx context.Context, q *request, id uuid.UUID, change, assign form, status int) (answer, error) {
	o, err := c.Fleet.WorkOrder(ctx, q.by, id)
	if err != nil {
		return nil, err
	}
	ids := named(nil, []fleet.WorkOrder{o})
	names, err := c.Fleet.Names(ctx, q.by, ids)
	if err != nil {
		return nil, err
	}
	version := strconv.Itoa(o.Version)
	if change.values == nil {
		change = orderForm(o)
	}
	if assign.values == nil {
		assign = newForm(map[string]string{"/assigned_to": optionalText(o.AssignedTo), "/planned_on": o.PlannedOn.String(), "version": version})
	}
	data := orderData{Order: c.orderLines(q, []fleet.WorkOrder{o}, names)[0], Names: names, Form: change, Assign: assign}
	if data.Technicians, err = c.technicians(ctx, q); err != nil {
		return nil, err
	}
	lines := []orderLine{data.Order}
	if err := c.withCalls(ctx, q, lines); err != nil {
		return nil, err
	}
	data.Order = lines[0]
	if o.State == "open" {
		if data.DoBy, err = c.Fleet.OrderDoBy(ctx, q.by, o); err != nil {
			return nil, err
		}
	}
	if data.Parts, err = c.Fleet.PartsOfWorkOrder(ctx, q.by, id); err != nil {
		return nil, err
	}
	return page{name: "work-order", status: status, data: data}, nil
}

func optionalText(id *uuid.UUID) string {
	if id == nil {
		return ""
	}
	return id.String()
}

type orderNewData struct {
	Form form
	Zone string
	Door fleet.Name
	ID   uuid.UUID
}

func (c *Console) orderNew(ctx context.Context, q *request) (answer, error) {
	f := q.filter()
	door := f.ID("door")
	if err := f.faults.Err(); err != nil {
		return nil, err
	}
	fresh := orderForm(fleet.WorkOrder{Priority: "normal", BillingBasis: "unsettled"})
	fresh.values.Set("work_order_id", c.NewID().String())
	fresh.values.Set("/door_id", door.String())
	fresh.values.Set("/kind", "service")
	return c.orderNewPage(ctx, q, fresh, http.StatusOK)
}

func (c *Console) orderNewPage(ctx context.Context, q *request, f form, status int) (answer, error) {
	id, _ := uuid.Parse(f.Value("/door_id"))
	door, err := c.Fleet.Door(ctx, q.by, id, fleet.AsOf{})
	if err != nil {
		return nil, err
	}
	names, err := c.Fleet.Names(ctx, q.by, fleet.Named{Doors: []uuid.UUID{id}})
	if err != nil {
		return nil, err
	}
	return page{name: "work-order-new", status: status, data: orderNewData{f, names[id].TimeZone, fleet.Name{Text: door.Name, Tag: door.Tag}, id}}, nil
}

func (c *Console) orderMake(ctx context.Context, q *request) (answer, error) {
	f, err := q.form()
	if err != nil {
		return nil, err
	}
	r := reader{form: &f, texts: q.texts}
	o := fleet.WorkOrder{WorkOrderID: r.id("work_order_id"), DoorID: r.id("/door_id"), Kind: f.Value("/kind")}
	names, err := c.Fleet.Names(ctx, q.by, fleet.Named{Doors: []uuid.UUID{o.DoorID}})
	if err != nil {
		return nil, err
	}
	r.order(&o, location(names[o.DoorID].TimeZone))
	if err = r.faults.Err(); err == nil {
		_, _, err = c.Fleet.PutWorkOrder(ctx, q.by, o, 0)
	}
	if err != nil {
		return q.again(f, err, func(f form, status int) (answer, error) { return c.orderNewPage(ctx, q, f, status) })
	}
	return seeOther("/work-orders/" + o.WorkOrderID.String()), nil
}

// orderChange changes what a person may of an order: everything else stays as it is.
func (c *Console) orderChange(ctx context.Context, q *request) (answer, error) {
	id, f, err := q.formOf("work_order_id")
	if err != nil {
		return nil, err
	}
	r := reader{form: &f, texts: q.texts}
	o, err := c.Fleet.WorkOrder(ctx, q.by, id)
	if err != nil {
		return nil, err
	}
	version := r.number("version")
	r.order(&o, location(o.TimeZone))
	if err = r.faults.Err(); err == nil {
		_, _, err = c.Fleet.PutWorkOrder(ctx, q.by, o, version)
	}
	if err != nil {
		return q.again(f, err, func(f form, status int) (answer, error) { return c.orderPage(ctx, q, id, f, form{}, status) })
	}
	return seeOther("/work-orders/" + id.String()), nil
}

func (c *Console) orderAssign(ctx context.Context, q *request) (answer, error) {
	id, f, err := q.formOf("work_order_id")
	if err != nil {
		return nil, err
	}
	r := reader{form: &f, texts: q.texts}
	to, on, version := r.optionalID("/assigned_to"), r.day("/planned_on"), r.number("version")
	if err = r.faults.Err(); err == nil {
		_, err = c.Fleet.AssignWorkOrder(ctx, q.by, id, to, on, version)
	}
	if err != nil {
		return q.again(f, err, func(f form, status int) (answer, error) { return c.orderPage(ctx, q, id, form{}, f, status) })
	}
	return seeOther("/work-orders/" + id.String()), nil
}

// orderForm is what people say of an order, in the fields of a form.
func orderForm(o fleet.WorkOrder) form {
	f := newForm(map[string]string{"/due_on": o.DueOn.String(), "/note": o.Note, "/priority": o.Priority, "/respond_by": "", "/caller/name": o.Caller.Name, "/caller/telephone": o.Caller.Telephone,
		"/caller/role": o.Caller.Role, "/symptom": o.Symptom, "/billing_basis": o.BillingBasis, "/customer_order_number": o.CustomerOrderNumber, "version": strconv.Itoa(o.Version)})
	if o.RespondBy != nil {
		f.values.Set("/respond_by", o.RespondBy.In(location(o.TimeZone)).Format(localTime))
	}
	if o.ReportedUnsafe {
		f.values.Set("/reported_unsafe", "yes")
	}
	if a := o.Accident; a != nil {
		f.values.Set("/accident/what", a.What)
		f.values.Set("/accident/told", a.Told)
		f.values.Set("/accident/kept_as_found", yesText(a.KeptAsFound))
	}
	if o.PeopleHurt {
		f.values.Set("/people_hurt", "yes")
	}
	return f
}

// order reads what people say of an order; everything else of it stays.
func (r *reader) order(o *fleet.WorkOrder, zone *time.Location) {
	f := r.form
	if f.values.Has("/due_on") { // it is no field of an order whose due day follows from something else
		o.DueOn = r.day("/due_on")
	}
	o.Note, o.Priority, o.Symptom = f.Value("/note"), f.Value("/priority"), f.Value("/symptom")
	o.Caller = fleet.Caller{Name: f.Value("/caller/name"), Telephone: f.Value("/caller/telephone"), Role: f.Value("/caller/role")}
	o.BillingBasis, o.CustomerOrderNumber, o.ReportedUnsafe = f.Value("/billing_basis"), f.Value("/customer_order_number"), f.Value("/reported_unsafe") != ""
	o.RespondBy, o.Accident, o.PeopleHurt = nil, nil, false
	if f.Value("/respond_by") != "" {
		o.RespondBy = ref(r.instant("/respond_by", zone))
	}
	if o.Kind == "accident" {
		o.Accident = &fleet.Accident{What: f.Value("/accident/what"), Told: f.Value("/accident/told"), KeptAsFound: r.yes("/accident/kept_as_found")}
		o.PeopleHurt = f.Value("/people_hurt") != ""
	}
}

// decisions are what a dispatcher may decide about an order, by the last part of the address.
func decisions() []string { return []string{"cancel", "done", "reopen"} }

type decisionData struct {
	orderData
	What string // cancel, done, reopen
}

// orderDecideForm asks before anything is decided.
func (c *Console) orderDecideForm(ctx context.Context, q *request) (answer, error) {
	id, err := q.pathID("work_order_id")
	if err != nil {
		return nil, err
	}
	return c.orderDecidePage(ctx, q, id, form{}, http.StatusOK)
}

func (c *Console) orderDecidePage(ctx context.Context, q *request, id uuid.UUID, f form, status int) (answer, error) {
	what := q.PathValue("what")
	if !slices.Contains(decisions(), what) {
		return c.nowhere(ctx, q)
	}
	o, err := c.Fleet.WorkOrder(ctx, q.by, id)
	if err != nil {
		return nil, err
	}
	names, err := c.Fleet.Names(ctx, q.by, named(nil, []fleet.WorkOrder{o}))
	if err != nil {
		return nil, err
	}
	if f.values == nil {
		f = newForm(map[string]string{"version": strconv.Itoa(o.Version)})
	}
	return page{name: "work-order-decide", status: status, data: decisionData{orderData{Order: c.orderLines(q, []fleet.WorkOrder{o}, names)[0], Form: f}, what}}, nil
}

func (c *Console) orderDecide(ctx context.Context, q *request) (answer, error) {
	id, f, err := q.formOf("work_order_id")
	if err != nil {
		return nil, err
	}
	r := reader{form: &f, texts: q.texts}
	version, done := r.number("version"), r.day("/done_on")
	if err = r.faults.Err(); err == nil {
		switch q.PathValue("what") {
		case "cancel":
			_, err = c.Fleet.CancelWorkOrder(ctx, q.by, id, f.Value("/reason"), version)
		case "done":
			_, err = c.Fleet.EndWorkOrder(ctx, q.by, id, done, f.Value("/reason"), version)
		case "reopen":
			_, err = c.Fleet.ReopenWorkOrder(ctx, q.by, id, f.Value("/reason"), version)
		default:
			return c.nowhere(ctx, q)
		}
	}
	if err != nil {
		return q.again(f, err, func(f form, status int) (answer, error) { return c.orderDecidePage(ctx, q, id, f, status) })
	}
	return seeOther("/work-orders/" + id.String()), nil
}
