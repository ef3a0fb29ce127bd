package console

import (
	"context"
	"net/http"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/identity"
)

// watchLine is somebody who works alone, as the page shows them.
type watchLine struct {
	fleet.Watch
	Who, Taker string
	Minutes    int  // late; 0: not late
	Own        bool // of whoever looks
	May        bool // whoever looks may extend and end it
	Form       form
}

type watchesData struct {
	Lines  []watchLine
	Zone   string // of the office
	Form   form
	People []option // of whom somebody may begin a watch; none: only their own
}

// watches shows who works alone and is not back, those who are late first.
func (c *Console) watches(ctx context.Context, q *request) (answer, error) {
	return c.watchesPage(ctx, q, newForm(map[string]string{"watch_id": c.NewID().String()}), http.StatusOK)
}

func (c *Console) watchesPage(ctx context.Context, q *request, f form, status int) (answer, error) {
	zone, err := c.officeZone(ctx, q)
	if err != nil {
		return nil, err
	}
	list, err := c.Fleet.WatchesOpen(ctx, q.by)
	if err != nil {
		return nil, err
	}
	var people []uuid.UUID
	for _, one := range list {
		people = append(people, one.PersonID, one.TakenBy)
	}
	names, err := c.Fleet.Names(ctx, q.by, fleet.Named{People: people})
	if err != nil {
		return nil, err
	}
	w, office := writer{q.texts}, q.by.May(identity.ActPlanWork)
	data := watchesData{Zone: zone.String(), Form: f}
	for _, one := range list {
		line := watchLine{Watch: one, Who: w.person(names, one.PersonID), Own: one.PersonID == q.by.PersonID}
		line.May = line.Own || office
		line.Form = newForm(map[string]string{"event_id": c.NewID().String(), "/back_by": one.BackBy.In(zone).Format(localTime)}).Apart(one.WatchID.String())
		if late := one.Late(c.Now()); late > 0 {
			line.Minutes = max(1, int(late/time.Minute))
		}
		if one.TakenAt != nil {
			line.Taker = w.person(names, one.TakenBy)
		}
		data.Lines = append(data.Lines, line)
	}
	if office {
		data.People, err = c.technicians(ctx, q)
		data.People = anyOf(q.texts.T("console.alone.self"), data.People)
	}
	return page{name: "alone", status: status, data: data}, err
}

// officeZone is the zone of the company's own people.
func (c *Console) officeZone(ctx context.Context, q *request) (*time.Location, error) {
	l, err := c.Fleet.LadderOn(ctx, q.by, duedate.Day{}, uuid.Nil)
	return location(l.OfficeTimeZone), err
}

func (c *Console) watchBegin(ctx context.Context, q *request) (answer, error) {
	f, err := q.form()
	if err != nil {
		return nil, err
	}
	zone, err := c.officeZone(ctx, q)
	if err != nil {
		return nil, err
	}
	r := reader{form: &f, texts: q.texts}
	w := fleet.Watch{WatchID: r.id("watch_id"), Place: f.Value("/place"), Note: f.Value("/note"), BackBy: r.instant("/back_by", zone)}
	if who := r.optionalID("/person_id"); who != nil {
		w.PersonID = *who
	}
	if err = r.faults.Err(); err == nil {
		_, _, err = c.Fleet.PutWatch(ctx, q.by, w)
	}
	if err != nil {
		return q.again(f, err, func(f form, status int) (answer, error) { return c.watchesPage(ctx, q, f, status) })
	}
	return seeOther("/alone"), nil
}

// watchEvent is that somebody needs longer, is back, or sees to an alarm.
func (c *Console) watchEvent(ctx context.Context, q *request) (answer, error) {
	id, f, err := q.formOf("watch_id")
	if err != nil {
		return nil, err
	}
	r := reader{form: &f, texts: q.texts}
	e := fleet.WatchEvent{WatchID: id, EventID: r.id("event_id"), Kind: f.Value("/kind"), Note: f.Value("/note")}
	if e.Kind == "extended" {
		zone, err := c.officeZone(ctx, q)
		if err != nil {
			return nil, err
		}
		e.BackBy = ref(r.instant("/back_by", zone))
	}
	if err = r.faults.Err(); err == nil {
		_, _, err = c.Fleet.PutWatchEvent(ctx, q.by, e)
	}
	if err != nil {
		fresh := newForm(map[string]string{"watch_id": c.NewID().String()})
		return q.again(fresh, err, func(f form, status int) (answer, error) { return c.watchesPage(ctx, q, f, status) })
	}
	return seeOther("/alone"), nil
}
