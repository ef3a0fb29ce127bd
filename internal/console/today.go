package console

import (
	"cmp"
	"context"
	"slices"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/identity"
)

// soon is how many days ahead the first page looks, in days.
const soon = 14

// mostOfToday is how many lines each part of the first page shows.
const mostOfToday = 25

type todayData struct {
	Unsecured, Secured []caseLine
	Forgotten          []planLine // overdue plans for which no order is open
	Overdue, Due       []orderLine
	// MoreOverdue and MoreDue tell that there is more than is shown.
	MoreOverdue, MoreDue bool
	Until                duedate.Day
	// Asked is how many unusual entries nobody has explained; MoreAsked: there are more.
	Asked     int
	MoreAsked bool
	// Unanswered is how many notices did not arrive or had no answer; MoreUnanswered: there are more.
	Unanswered     int
	MoreUnanswered bool
}

// caseLine is an out-of-service case as lists show it.
type caseLine struct {
	fleet.OutOfServiceCase
	Door, Site fleet.Name
}

// orderLine is a work order as lists show it.
type orderLine struct {
	fleet.WorkOrder
	Door, Site fleet.Name
	Assigned   string            // "": nobody
	LateDays   int               // how many days the due day has passed at the site; 0: it has not
	Call       []fleet.CallOrder // what else is done at the same call, where it was asked
}

// planLine is an inspection plan as lists show it.
type planLine struct {
	fleet.Plan
	Door, Site fleet.Name
	LateDays   int
}

// today shows what cannot wait, the gravest first.
func (c *Console) today(ctx context.Context, q *request) (answer, error) {
	cases, err := c.Fleet.Cases(ctx, q.by, fleet.CaseQuery{Open: true, Limit: 500})
	if err != nil {
		return nil, err
	}
	overdue, err := c.Fleet.WorkOrders(ctx, q.by, fleet.WorkOrderQuery{State: "open", Overdue: true, Limit: mostOfToday + 1})
	if err != nil {
		return nil, err
	}
	until := duedate.DayIn(c.Now(), location("UTC")).AddDays(soon)
	due, err := c.Fleet.WorkOrders(ctx, q.by, fleet.WorkOrderQuery{State: "open", DueUntil: until, AfterDay: lastDay(overdue), AfterID: lastID(overdue), Limit: mostOfToday + 1})
	if err != nil {
		return nil, err
	}
	forgotten, err := c.Fleet.DuePlans(ctx, q.by, fleet.PlanQuery{Overdue: true, WithoutOrder: true, Limit: mostOfToday})
	if err != nil {
		return nil, err
	}
	ids := named(cases, overdue, due)
	for _, p := range forgotten {
		ids.Doors = append(ids.Doors, p.DoorID)
	}
	names, err := c.Fleet.Names(ctx, q.by, ids)
	if err != nil {
		return nil, err
	}
	data := todayData{Until: until}
	if q.by.May(identity.ActReadOddities) {
		asked, err := c.Fleet.CountOpenOddities(ctx, q.by, mostAsked+1)
		if err != nil {
			return nil, err
		}
		data.Asked, data.MoreAsked = min(asked, mostAsked), asked > mostAsked
	}
	silent, err := c.countUnanswered(ctx, q)
	if err != nil {
		return nil, err
	}
	data.Unanswered, data.MoreUnanswered = min(silent, mostUnanswered), silent > mostUnanswered
	for _, k := range cases {
		line := caseLine{k, names[k.DoorID], names[k.SiteID]}
		if k.State == "unsecured" {
			data.Unsecured = append(data.Unsecured, line)
		} else {
			data.Secured = append(data.Secured, line)
		}
	}
	slices.SortStableFunc(data.Unsecured, func(a, b caseLine) int { return cmp.Compare(rank(a.Refused), rank(b.Refused)) })
	for _, p := range forgotten {
		site := names[p.SiteID]
		data.Forgotten = append(data.Forgotten, planLine{p, names[p.DoorID], site, max(0, p.DueBy.DaysUntil(duedate.DayIn(c.Now(), location(site.TimeZone))))})
	}
	data.Overdue, data.MoreOverdue = cut(c.orderLines(q, overdue, names))
	data.Due, data.MoreDue = cut(c.orderLines(q, due, names))
	data.Due = slices.DeleteFunc(data.Due, func(l orderLine) bool { return l.LateDays > 0 })
	return page{name: "today", data: data}, nil
}

// rank puts first what somebody on site has refused to have secured.
func rank(refused bool) int {
	if refused {
		return 0
	}
	return 1
}

func cut(lines []orderLine) ([]orderLine, bool) {
	if len(lines) > mostOfToday {
		return lines[:mostOfToday], true
	}
	return lines, false
}

// lastDay and lastID are where the list of those that are not late begins.
func lastDay(orders []fleet.WorkOrder) duedate.Day {
	if len(orders) == 0 || len(orders) > mostOfToday {
		return duedate.Day{}
	}
	return orders[len(orders)-1].DueOn
}

func lastID(orders []fleet.WorkOrder) uuid.UUID {
	if len(orders) == 0 || len(orders) > mostOfToday {
		return uuid.Nil
	}
	return orders[len(orders)-1].WorkOrderID
}

func named(cases []fleet.OutOfServiceCase, lists ...[]fleet.WorkOrder) (n fleet.Named) {
	for _, k := range cases {
		n.Doors = append(n.Doors, k.DoorID)
	}
	for _, list := range lists {
		for _, o := range list {
			n.Doors = append(n.Doors, o.DoorID)
			if o.AssignedTo != nil {
				n.People = append(n.People, *o.AssignedTo)
			}
		}
	}
	return n
}

// orderLines gives work orders their names, and how late they are where their doors stand.
func (c *Console) orderLines(q *request, orders []fleet.WorkOrder, names fleet.Names) []orderLine {
	lines := make([]orderLine, len(orders))
	for i, o := range orders {
		lines[i] = orderLine{WorkOrder: o, Door: names[o.DoorID], Site: names[o.SiteID]}
		if o.AssignedTo != nil {
			lines[i].Assigned = cmp.Or(names[*o.AssignedTo].Text, q.texts.T("console.somebody"))
		}
		if o.State == "open" {
			lines[i].LateDays = max(0, o.DueOn.DaysUntil(duedate.DayIn(c.Now(), location(lines[i].Site.TimeZone))))
		}
	}
	return lines
}
