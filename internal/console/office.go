package console

import (
	"context"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/identity"
)

type noticesData struct {
	Filter filter
	Lines  []noticeLine
	More   More
}

type noticeLine struct {
	fleet.Notice
	Site fleet.Name
	Door fleet.Name
}

func (c *Console) notices(ctx context.Context, q *request) (answer, error) {
	f := q.filter()
	var key instantKey
	f.key(&key)
	query := fleet.NoticeQuery{State: f.Value("state"), SiteID: f.ID("site"), BeforeAt: key.At, BeforeID: key.ID, Limit: perPage + 1}
	if err := f.faults.Err(); err != nil {
		return nil, err
	}
	list, err := c.Fleet.Notices(ctx, q.by, query)
	if err != nil {
		return nil, err
	}
	var last any
	if len(list) > perPage {
		list = list[:perPage]
		last = instantKey{list[perPage-1].MadeAt, list[perPage-1].NoticeID}
	}
	var ids fleet.Named
	for _, n := range list {
		ids.Sites = append(ids.Sites, n.SiteID)
		if n.DoorID != nil {
			ids.Doors = append(ids.Doors, *n.DoorID)
		}
	}
	names, err := c.Fleet.Names(ctx, q.by, ids)
	if err != nil {
		return nil, err
	}
	data := noticesData{Filter: f, More: q.more(last)}
	for _, n := range list {
		line := noticeLine{Notice: n, Site: names[n.SiteID]}
		if n.DoorID != nil {
			line.Door = names[*n.DoorID]
		}
		data.Lines = append(data.Lines, line)
	}
	return page{name: "notices", data: data}, nil
}

type jobsData struct {
	Filter   filter
	Lines    []fleet.JobRun
	More     More
	NotReady error
	Backup   time.Time // the end of the last good one; zero: none
	Age      int       // days since then
	Version  string
	MayKnow  bool // of backups
}

type jobKey struct {
	At  time.Time
	Job string
}

// jobs shows what ran by the clock, whether the program can serve, and how old the last good backup is.
func (c *Console) jobs(ctx context.Context, q *request) (answer, error) {
	f := q.filter()
	var key jobKey
	f.key(&key)
	if err := f.faults.Err(); err != nil {
		return nil, err
	}
	list, err := c.Fleet.JobRuns(ctx, q.by, fleet.JobRunQuery{Job: f.Value("job"), BeforeAt: key.At, BeforeJob: key.Job, Limit: perPage + 1})
	if err != nil {
		return nil, err
	}
	var last any
	if len(list) > perPage {
		list = list[:perPage]
		last = jobKey{list[perPage-1].ScheduledFor, list[perPage-1].Job}
	}
	data := jobsData{Filter: f, Lines: list, More: q.more(last), NotReady: c.Ready(ctx), Version: c.Version, MayKnow: q.by.May(identity.ActReadBackups)}
	if data.MayKnow {
		if _, data.Backup, err = c.Fleet.Backups(ctx, q.by, fleet.BackupQuery{Limit: 1}); err != nil {
			return nil, err
		}
		data.Age = int(c.Now().Sub(data.Backup).Hours() / 24)
	}
	return page{name: "jobs", data: data}, nil
}

type reportMadeData struct {
	Report fleet.Report
	Door   fleet.Name
	By     string
	SHA256 string
}

// reportMake takes the snapshot of a door under the id that the form was given.
func (c *Console) reportMake(ctx context.Context, q *request) (answer, error) {
	door, f, err := q.formOf("door_id")
	if err != nil {
		return nil, err
	}
	r := reader{form: &f, texts: q.texts}
	id := r.id("report_id")
	if err := r.faults.Err(); err != nil {
		return nil, err
	}
	if _, _, err := c.Fleet.MakeReport(ctx, q.by, id, fleet.ReportAsk{Kind: fleet.KindDoor, DoorID: door}); err != nil {
		return nil, err
	}
	return seeOther("/reports/" + id.String()), nil
}

func (c *Console) report(ctx context.Context, q *request) (answer, error) {
	id, err := q.pathID("report_id")
	if err != nil {
		return nil, err
	}
	r, err := c.Fleet.Report(ctx, q.by, id)
	if err != nil {
		return nil, err
	}
	names, err := c.Fleet.Names(ctx, q.by, fleet.Named{Doors: []uuid.UUID{r.DoorID}, People: []uuid.UUID{r.MadeBy}})
	if err != nil {
		return nil, err
	}
	return page{name: "report", data: reportMadeData{r, names[r.DoorID], writer{q.texts}.person(names, r.MadeBy), hexOf(r.SHA256)}}, nil
}

func (c *Console) reportPDF(ctx context.Context, q *request) (answer, error) {
	id, err := q.pathID("report_id")
	if err != nil {
		return nil, err
	}
	pdf, err := c.Fleet.ReportIn(ctx, q.by, id, "pdf")
	if err != nil {
		return nil, err
	}
	return file{"application/pdf", "report-" + id.String() + ".pdf", pdf.Bytes}, nil
}

type doorReportsData struct {
	Door    fleet.Name
	ID      uuid.UUID
	Lines   []fleet.Report
	Names   fleet.Names
	FreshID uuid.UUID
	More    More
}

// reports lists the reports of a door, and offers another.
func (c *Console) reports(ctx context.Context, q *request) (answer, error) {
	door, err := q.pathID("door_id")
	if err != nil {
		return nil, err
	}
	f := q.filter()
	var key instantKey
	f.key(&key)
	if err := f.faults.Err(); err != nil {
		return nil, err
	}
	list, err := c.Fleet.Reports(ctx, q.by, fleet.ReportQuery{DoorID: door, BeforeAt: key.At, BeforeID: key.ID, Limit: perPage + 1})
	if err != nil {
		return nil, err
	}
	var last any
	if len(list) > perPage {
		list = list[:perPage]
		last = instantKey{list[perPage-1].MadeAt, list[perPage-1].ReportID}
	}
	ids := fleet.Named{Doors: []uuid.UUID{door}}
	for _, r := range list {
		ids.People = append(ids.People, r.MadeBy)
	}
	names, err := c.Fleet.Names(ctx, q.by, ids)
	if err != nil {
		return nil, err
	}
	return page{name: "reports", data: doorReportsData{names[door], door, list, names, c.NewID(), q.more(last)}}, nil
}
