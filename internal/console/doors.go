package console

import (
	"bytes"
	"context"
	"html/template"
	"slices"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/report"
	"lintel.example/lintel/internal/words"
)

type doorsData struct {
	Filter filter
	Lines  []doorLine
	More   More
	Narrow []string // the names of customer and site that the list is narrowed down to
}

type doorLine struct {
	fleet.DoorLine
	LateDays int // how many days the due day has passed at the site; 0: it has not
}

type doorKey struct {
	Tag fleet.Tag
	Due duedate.Day `json:",omitzero"`
}

func (c *Console) doors(ctx context.Context, q *request) (answer, error) {
	f := q.filter()
	query := fleet.DoorQuery{Search: f.Value("search"), Kind: f.Value("kind"), State: f.Value("state"), ByDue: f.Value("sort") == "due",
		Customer: f.ID("customer"), Site: f.ID("site"), Limit: perPage + 1}
	var key doorKey
	f.key(&key)
	if err := f.faults.Err(); err != nil {
		return nil, err
	}
	query.AfterTag, query.AfterDue = key.Tag, key.Due
	list, err := c.Fleet.Doors(ctx, q.by, query)
	if err != nil {
		return nil, err
	}
	names, err := c.Fleet.Names(ctx, q.by, narrowed(query))
	if err != nil {
		return nil, err
	}
	data := doorsData{Filter: f}
	for _, n := range names {
		data.Narrow = append(data.Narrow, n.Text)
	}
	var last any
	if len(list) > perPage {
		list = list[:perPage]
		last = doorKey{list[perPage-1].Tag, list[perPage-1].NextDue}
	}
	data.More = q.more(last)
	data.Lines = c.doorLines(list)
	return page{name: "doors", data: data}, nil
}

// doorLines tells how late the inspections are where the doors stand.
func (c *Console) doorLines(list []fleet.DoorLine) []doorLine {
	lines := make([]doorLine, len(list))
	for i, d := range list {
		lines[i] = doorLine{DoorLine: d}
		if !d.NextDue.IsZero() {
			lines[i].LateDays = max(0, d.DueBy.DaysUntil(duedate.DayIn(c.Now(), location(d.TimeZone))))
		}
	}
	return lines
}

func narrowed(q fleet.DoorQuery) (n fleet.Named) {
	if q.Customer != uuid.Nil {
		n.Customers = append(n.Customers, q.Customer)
	}
	if q.Site != uuid.Nil {
		n.Sites = append(n.Sites, q.Site)
	}
	return n
}

type doorData struct {
	fleet.Folder
	Drawings []template.HTML // of the sides
	// AsOf is the day that is shown; zero: now. Then tells that only what was known then is shown.
	AsOf  duedate.Day
	Then  bool
	Form  filter
	Today duedate.Day
	Late  int // days
	// Planned tells that an inspection plan is in force.
	Planned bool
	// Devices are the components that sense, with how they are set.
	Devices  []deviceLine
	Hardware []fleet.Component
	Open     []findingLine
	Closed   []findingLine
	// Decidable tells that a person made one of the open ones.
	Decidable bool
}

type deviceLine struct {
	fleet.Component
	Facts    fleet.ReportDevice
	Unfit    []string        // for which zones it does not count, and why
	Revision *fleet.Revision // nil: nobody has recorded any
}

// HasPlan tells whether a plan for a purpose is in force.
func (d doorData) HasPlan(purpose string) bool {
	return slices.ContainsFunc(d.Plans, func(p fleet.Plan) bool { return p.Active && p.Purpose == purpose })
}

func (c *Console) door(ctx context.Context, q *request) (answer, error) {
	id, err := q.pathID("door_id")
	if err != nil {
		return nil, err
	}
	f := q.filter()
	asOf, then := f.Day("as_of"), f.Value("then") != ""
	if err := f.faults.Err(); err != nil {
		return nil, err
	}
	folder, err := c.Fleet.Folder(ctx, q.by, fleet.FolderQuery{DoorID: id, On: asOf, Then: then})
	if err != nil {
		return nil, err
	}
	data := doorData{Folder: folder, AsOf: asOf, Then: then && !asOf.IsZero(), Form: f, Today: duedate.DayIn(c.Now(), folder.Site.Location())}
	for _, p := range folder.Plans {
		if p.Active && p.Purpose == fleet.Inspection {
			data.Planned = true
			data.Late = max(0, p.DueBy.DaysUntil(data.Today))
		}
	}
	for _, plan := range report.Plans(folder.Document, q.texts, report.Units(q.texts.Units())) {
		var svg bytes.Buffer
		if err := report.PlanSVG(&svg, q.texts, plan); err != nil {
			return nil, err
		}
		data.Drawings = append(data.Drawings, template.HTML(svg.String())) // every text in it is escaped where it is written
	}
	data.sort(c, q.texts)
	return page{name: "door", data: data}, nil
}

// sort puts the folder's contents where the page shows them.
func (d *doorData) sort(c *Console, texts words.Printer) {
	for _, one := range d.Components {
		i := slices.IndexFunc(d.Document.Devices, func(r fleet.ReportDevice) bool { return r.ID == one.ComponentID.String() })
		if i < 0 {
			d.Hardware = append(d.Hardware, one)
			continue
		}
		line := deviceLine{Component: one, Facts: d.Document.Devices[i], Unfit: report.Unfitness(texts, d.Document.Devices[i])}
		for _, r := range d.Revisions {
			if r.ComponentID == one.ComponentID {
				line.Revision = &r
			}
		}
		d.Devices = append(d.Devices, line)
	}
	for _, f := range d.Findings {
		if f.State == "open" {
			d.Open = append(d.Open, c.findingLine(f))
			d.Decidable = d.Decidable || f.Origin == "visit"
		} else {
			d.Closed = append(d.Closed, c.findingLine(f))
		}
	}
}
