package console

import (
	"context"
	"strings"
	"time"

	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/identity"
	"lintel.example/lintel/internal/words"
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
	lines, err := c.noticeLines(ctx, q, list)
	return page{name: "notices", data: noticesData{Filter: f, Lines: lines, More: q.more(last)}}, err
}

type jobsData struct {
	Filter   filter
	States   []fleet.JobState
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
	query := fleet.JobRunQuery{State: f.Value("state"), BeforeAt: key.At, BeforeJob: key.Job, Limit: perPage + 1}
	if text := f.Value("search"); text != "" {
		query.Jobs = c.jobsLike(q.texts, text)
	}
	list, err := c.Fleet.JobRuns(ctx, q.by, query)
	if err != nil {
		return nil, err
	}
	var last any
	if len(list) > perPage {
		list = list[:perPage]
		last = jobKey{list[perPage-1].ScheduledFor, list[perPage-1].Job}
	}
	data := jobsData{Filter: f, Lines: list, More: q.more(last), NotReady: c.Ready(ctx), Version: c.Version, MayKnow: q.by.May(identity.ActReadBackups)}
	if data.States, err = c.Fleet.JobStates(ctx, q.by); err != nil {
		return nil, err
	}
	if data.MayKnow {
		if _, data.Backup, err = c.Fleet.Backups(ctx, q.by, fleet.BackupQuery{Limit: 1}); err != nil {
			return nil, err
		}
		data.Age = int(c.Now().Sub(data.Backup).Hours() / 24)
	}
	return page{name: "jobs", data: data}, nil
}

// jobsLike gives the jobs whose titles have a text in them, as the reader reads them.
func (c *Console) jobsLike(texts words.Printer, text string) []string {
	list := []string{}
	for _, key := range c.Words.Keys() {
		name, isJob := strings.CutPrefix(key, "job.")
		name, isTitle := strings.CutSuffix(name, ".title")
		if isJob && isTitle && strings.Contains(strings.ToLower(texts.T(key)), strings.ToLower(text)) {
			list = append(list, name)
		}
	}
	return list
}
