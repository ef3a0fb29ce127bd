package console

import (
	"cmp"
	"context"
	"net/http"
	"slices"
	"strings"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/identity"
)

type visitsData struct {
	Filter filter
	Lines  []visitLine
	More   More
	Narrow []string
}

// visitLine is a visit as lists show it.
type visitLine struct {
	fleet.Visit
	Site  fleet.Name
	By    string
	Doors []doorName
}

// doorName is a door with its name.
type doorName struct {
	ID   uuid.UUID
	Name fleet.Name
}

func (c *Console) visits(ctx context.Context, q *request) (answer, error) {
	f := q.filter()
	query := fleet.VisitQuery{SiteID: f.ID("site"), DoorID: f.ID("door"), Search: f.Value("search"), Limit: perPage + 1}
	var key instantKey
	f.key(&key)
	if err := f.faults.Err(); err != nil {
		return nil, err
	}
	query.BeforeAt, query.BeforeID = key.At, key.ID
	list, err := c.Fleet.Visits(ctx, q.by, query)
	if err != nil {
		return nil, err
	}
	var last any
	if len(list) > perPage {
		list = list[:perPage]
		last = instantKey{list[perPage-1].Attendance.ArrivedAt, list[perPage-1].VisitID}
	}
	ids := fleet.Named{Sites: []uuid.UUID{query.SiteID}, Doors: []uuid.UUID{query.DoorID}}
	for _, v := range list {
		ids.Sites, ids.People = append(ids.Sites, v.SiteID), append(ids.People, v.RecordedBy)
		for _, d := range v.Attendance.Doors {
			ids.Doors = append(ids.Doors, d.DoorID)
		}
	}
	names, err := c.Fleet.Names(ctx, q.by, ids)
	if err != nil {
		return nil, err
	}
	data := visitsData{Filter: f, More: q.more(last)}
	for _, v := range list {
		line := visitLine{Visit: v, Site: names[v.SiteID], By: cmp.Or(names[v.RecordedBy].Text, q.texts.T("console.somebody"))}
		for _, d := range v.Attendance.Doors {
			line.Doors = append(line.Doors, doorName{d.DoorID, names[d.DoorID]})
		}
		data.Lines = append(data.Lines, line)
	}
	for _, id := range []uuid.UUID{query.SiteID, query.DoorID} {
		if n, ok := names[id]; ok {
			data.Narrow = append(data.Narrow, n.Text)
		}
	}
	return page{name: "visits", data: data}, nil
}

type visitData struct {
	Visit  fleet.Visit
	Site   fleet.Name
	Names  fleet.Names
	Doors  []visitDoor
	People []string
	Mine   bool // these eyes may go on with it
	Kinds  []string
	Asked  []oddityLine // what is unusual about it, for those who may see that
}

// visitDoor is a door of a visit with what was entered there.
type visitDoor struct {
	doorName
	Orders  []fleet.WorkOrder
	Entries []entryLine
}

// entryLine is an entry; Corrected tells that another one stands in its place.
type entryLine struct {
	fleet.Entry
	Corrected bool
	By        string
	Device    string // of settings: which one
	Office    bool   // these eyes see what is computed
}

// entryKinds are what can be entered by a form, in the order in which an inspection comes to them.
func entryKinds() []string {
	return []string{"safe_work", "reading", "force_course", "positions", "walk_test", "left_out", "settings", "finding", "securing", "adjustment", "mending", "function_test", "note", "conclusion"}
}

func (c *Console) visit(ctx context.Context, q *request) (answer, error) {
	id, err := q.pathID("visit_id")
	if err != nil {
		return nil, err
	}
	data, err := c.visitOf(ctx, q, id)
	if err != nil {
		return nil, err
	}
	if data.Asked, err = c.odditiesOf(ctx, q, id); err != nil {
		return nil, err
	}
	return page{name: "visit", data: data}, nil
}

// visitOf gathers a visit with its entries by door.
func (c *Console) visitOf(ctx context.Context, q *request, id uuid.UUID) (data visitData, err error) {
	v, entries, err := c.Fleet.Visit(ctx, q.by, id)
	if err != nil {
		return data, err
	}
	ids := fleet.Named{Sites: []uuid.UUID{v.SiteID}, People: []uuid.UUID{v.RecordedBy}}
	if v.SignedBy != nil {
		ids.People = append(ids.People, *v.SignedBy)
	}
	var doors []uuid.UUID
	if v.Attendance != nil {
		ids.People = append(ids.People, v.Attendance.People...)
		for _, d := range v.Attendance.Doors {
			doors = append(doors, d.DoorID)
		}
	}
	for _, e := range entries {
		ids.People = append(ids.People, e.RecordedBy)
		if e.Body.Settings != nil {
			ids.Components = append(ids.Components, e.Body.Settings.ComponentID)
		}
		if !slices.Contains(doors, e.DoorID) {
			doors = append(doors, e.DoorID)
		}
	}
	ids.Doors = doors
	names, err := c.Fleet.Names(ctx, q.by, ids)
	if err != nil {
		return data, err
	}
	data = visitData{Visit: v, Site: names[v.SiteID], Names: names, Mine: q.by.May(identity.ActLogVisit) && v.SignedAt == nil, Kinds: entryKinds()}
	if v.Attendance != nil {
		for _, p := range v.Attendance.People {
			data.People = append(data.People, cmp.Or(names[p].Text, q.texts.T("console.somebody")))
		}
	}
	corrected := map[uuid.UUID]bool{}
	for _, e := range entries {
		if e.Body.Corrects != nil {
			corrected[*e.Body.Corrects] = true
		}
	}
	for _, door := range doors {
		one := visitDoor{doorName: doorName{door, names[door]}}
		for _, e := range entries {
			if e.DoorID == door {
				one.Entries = append(one.Entries, entryLine{Entry: e, Corrected: corrected[e.EntryID], By: cmp.Or(names[e.RecordedBy].Text, q.texts.T("console.somebody")), Device: writer{q.texts}.deviceOf(names, e), Office: q.by.May(identity.ActReadOffice)})
			}
		}
		data.Doors = append(data.Doors, one)
	}
	return data, nil
}

type visitNewData struct {
	Form        form
	Site        fleet.Site
	Doors       []visitDoor
	Technicians []option
}

// mostDoors is how many doors of a site the form shows.
const mostDoors = 200

func (c *Console) visitNew(ctx context.Context, q *request) (answer, error) {
	f := q.filter()
	site, door, order := f.ID("site"), f.ID("door"), f.ID("order")
	if err := f.faults.Err(); err != nil {
		return nil, err
	}
	fresh := newForm(map[string]string{"visit_id": c.NewID().String(), "/site_id": site.String(), "/people": q.by.PersonID.String()})
	if door != uuid.Nil {
		fresh.values.Set("/doors", door.String())
		if err := c.tickOrders(ctx, q, fresh, door, order); err != nil {
			return nil, err
		}
	}
	return c.visitNewPage(ctx, q, fresh, http.StatusOK)
}

// tickOrders chooses the order from which the visit is begun with what else the door's plans want, or else the inspections of the door that are open, too.
func (c *Console) tickOrders(ctx context.Context, q *request, f form, door, order uuid.UUID) error {
	open, err := c.Fleet.WorkOrders(ctx, q.by, fleet.WorkOrderQuery{State: "open", DoorID: door, Limit: 500})
	planned := order == uuid.Nil || slices.ContainsFunc(open, func(o fleet.WorkOrder) bool { return o.WorkOrderID == order && o.PlanID != nil })
	for _, o := range open {
		if o.WorkOrderID == order || planned && o.PlanID != nil || order == uuid.Nil && o.Kind == "inspection" {
			f.values.Add("/orders/"+door.String(), o.WorkOrderID.String())
		}
	}
	return err
}

func (c *Console) visitNewPage(ctx context.Context, q *request, f form, status int) (answer, error) {
	id, _ := uuid.Parse(f.Value("/site_id"))
	site, err := c.Fleet.Site(ctx, q.by, id)
	if err != nil {
		return nil, err
	}
	if f.Value("/arrived_at") == "" {
		f.values.Set("/arrived_at", c.Now().In(site.Location()).Format(localTime))
	}
	doors, err := c.Fleet.Doors(ctx, q.by, fleet.DoorQuery{Site: id, Limit: mostDoors})
	if err != nil {
		return nil, err
	}
	orders, err := c.Fleet.WorkOrders(ctx, q.by, fleet.WorkOrderQuery{State: "open", SiteID: id, Limit: 500})
	if err != nil {
		return nil, err
	}
	data := visitNewData{Form: f, Site: site}
	for _, d := range doors {
		one := visitDoor{doorName: doorName{d.DoorID, fleet.Name{Text: d.Name, Tag: d.Tag}}}
		for _, o := range orders {
			if o.DoorID == d.DoorID {
				one.Orders = append(one.Orders, o)
			}
		}
		data.Doors = append(data.Doors, one)
	}
	if data.Technicians, err = c.technicians(ctx, q); err != nil {
		return nil, err
	}
	data.Technicians = slices.DeleteFunc(data.Technicians, func(o option) bool { return o.Value == "" })
	return page{name: "visit-new", status: status, data: data}, nil
}

func (c *Console) visitOpen(ctx context.Context, q *request) (answer, error) {
	f, err := q.form()
	if err != nil {
		return nil, err
	}
	r := reader{form: &f, texts: q.texts}
	id, a := r.id("visit_id"), fleet.Attendance{SiteID: r.id("/site_id"), People: r.ids("/people"), Doors: []fleet.DoorsOfVisit{}, Note: f.Value("/note")}
	site, err := c.Fleet.Site(ctx, q.by, a.SiteID)
	if err != nil {
		return nil, err
	}
	a.ArrivedAt = r.instant("/arrived_at", site.Location())
	for _, door := range r.ids("/doors") {
		a.Doors = append(a.Doors, fleet.DoorsOfVisit{DoorID: door, WorkOrders: r.ids("/orders/" + door.String())})
	}
	if err = r.faults.Err(); err == nil {
		_, _, err = c.Fleet.PutVisit(ctx, q.by, id, a)
	}
	if err != nil {
		return q.again(f, err, func(f form, status int) (answer, error) { return c.visitNewPage(ctx, q, f, status) })
	}
	return seeOther("/visits/" + id.String()), nil
}

// deviceOf names the device that an entry is about; "" for one that is about none.
func (w writer) deviceOf(names fleet.Names, e fleet.Entry) string {
	if e.Body.Settings == nil {
		return ""
	}
	return w.named(names, e.Body.Settings.ComponentID)
}

// settings writes how a device was found or left, as far as it is known.
func (w writer) settings(s fleet.EntrySettings) string {
	d, labels := s.Device, []string{"height", "offset_x", "offset_y", "tilt", "yaw", "reach", "confirm_travel", "output_hold"}
	var said []string
	for i, q := range quantities(&d) {
		if q.Known() {
			said = append(said, w.T("console.reading", "title", w.T("console.device."+labels[i]), "said", w.value(*q, string(deviceUnits()[i].unit))))
		}
	}
	if d.Settings.MotionDirection != "unknown" && d.Settings.MotionDirection != "" {
		said = append(said, w.T("console.reading", "title", w.T("console.device.direction"), "said", w.Enum("motion_direction", d.Settings.MotionDirection)))
	}
	if said == nil {
		return w.T("console.unknown")
	}
	return strings.Join(said, "; ")
}
