package console

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"net"
	"net/http"
	"strings"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/identity"
)

// calendar gives the calendar at a secret address. What is not there any more and what never was are answered alike.
func (c *Console) calendar(ctx context.Context, q *request) (answer, error) {
	secret, isCalendar := strings.CutSuffix(q.PathValue("file"), ".ics")
	if !isCalendar {
		return c.nowhere(ctx, q)
	}
	b, err := c.Fleet.ReadCalendarFeed(ctx, secret)
	return calendarFile(b), err
}

// calendarFile is a calendar (RFC 5545) that a program asks for again and again.
type calendarFile []byte

func (f calendarFile) send(_ *Console, q *request) error {
	hash := sha256.Sum256(f)
	h := q.writer.Header()
	h.Set("Content-Type", "text/calendar; charset=utf-8; method=PUBLISH")
	h.Set("Cache-Control", "private, no-cache") // kept by that program alone, and asked about each time: it may have been taken back
	h.Set("Referrer-Policy", "no-referrer")
	h.Set("ETag", `"`+hex.EncodeToString(hash[:])+`"`)
	http.ServeContent(q.writer, q.Request, "", time.Time{}, bytes.NewReader(f))
	return nil
}

// feedLine is a feed as the page shows it.
type feedLine struct {
	fleet.CalendarFeed
	Of, Maker string
}

type feedsData struct {
	Filter  filter
	Of      string // whose calendar the form makes; "": none can be made here
	Form    form
	Lines   []feedLine
	More    More
	Address string // of a feed that was just made: shown this once
}

// calendarFeeds lists the calendars that other programs subscribe with; those of a site or of a technician where one is chosen.
func (c *Console) calendarFeeds(ctx context.Context, q *request) (answer, error) {
	f := q.filter()
	person, site := f.ID("person"), f.ID("site")
	if err := f.faults.Err(); err != nil {
		return nil, err
	}
	return c.feedsPage(ctx, q, fleet.CalendarFeed{PersonID: person, SiteID: site}, form{}, "", http.StatusOK)
}

func (c *Console) feedsPage(ctx context.Context, q *request, of fleet.CalendarFeed, sent form, address string, status int) (answer, error) {
	if q.by.Role == identity.Technician {
		of = fleet.CalendarFeed{PersonID: q.by.PersonID}
	}
	f := q.filter()
	var key instantKey
	f.key(&key)
	if err := f.faults.Err(); err != nil {
		return nil, err
	}
	list, err := c.Fleet.CalendarFeeds(ctx, q.by, fleet.CalendarFeedQuery{PersonID: of.PersonID, SiteID: of.SiteID, BeforeAt: key.At, BeforeID: key.ID, Limit: perPage + 1})
	if err != nil {
		return nil, err
	}
	var last any
	if len(list) > perPage {
		list = list[:perPage]
		last = instantKey{list[perPage-1].MadeAt, list[perPage-1].FeedID}
	}
	ids := fleet.Named{People: []uuid.UUID{of.PersonID}, Sites: []uuid.UUID{of.SiteID}}
	for _, one := range list {
		ids.People, ids.Sites = append(ids.People, one.PersonID, one.MadeBy), append(ids.Sites, one.SiteID)
	}
	names, err := c.Fleet.Names(ctx, q.by, ids)
	if err != nil {
		return nil, err
	}
	if sent.values == nil {
		sent = newForm(map[string]string{"feed_id": c.NewID().String()})
	}
	data := feedsData{Filter: f, Of: names[of.PersonID].Text + names[of.SiteID].Text, Form: sent, More: q.more(last), Address: address}
	if of.PersonID != uuid.Nil {
		data.Form.values.Set("/person_id", of.PersonID.String())
	}
	if of.SiteID != uuid.Nil {
		data.Form.values.Set("/site_id", of.SiteID.String())
	}
	w := writer{q.texts}
	for _, one := range list {
		maker := w.person(names, one.MadeBy)
		if one.MadeBy == q.by.PersonID {
			maker = q.by.Name
		}
		data.Lines = append(data.Lines, feedLine{CalendarFeed: one, Of: names[one.PersonID].Text + names[one.SiteID].Text, Maker: maker})
	}
	return page{name: "calendar-feeds", status: status, data: data}, nil
}

func (c *Console) calendarFeedMake(ctx context.Context, q *request) (answer, error) {
	f, err := q.form()
	if err != nil {
		return nil, err
	}
	r := reader{form: &f, texts: q.texts}
	feed := fleet.CalendarFeed{FeedID: r.id("feed_id"), Note: f.Value("/note")}
	if id := r.optionalID("/person_id"); id != nil {
		feed.PersonID = *id
	}
	if id := r.optionalID("/site_id"); id != nil {
		feed.SiteID = *id
	}
	secret, isNew := "", false
	if err = r.faults.Err(); err == nil {
		feed, secret, isNew, err = c.Fleet.PutCalendarFeed(ctx, q.by, feed)
	}
	if err != nil {
		return q.again(f, err, func(f form, status int) (answer, error) { return c.feedsPage(ctx, q, feed, f, "", status) })
	}
	address := ""
	if isNew { // sent twice, the secret is gone: it is shown once
		address = q.origin() + fleet.CalendarPath(secret)
	}
	return c.feedsPage(ctx, q, fleet.CalendarFeed{PersonID: feed.PersonID, SiteID: feed.SiteID}, form{}, address, http.StatusOK)
}

// origin is where this server is for whoever asks. A session's cookie comes over TLS, or from the machine itself.
func (q *request) origin() string {
	host := q.Host
	name, _, err := net.SplitHostPort(host)
	if err != nil {
		name = host
	}
	if ip := net.ParseIP(name); q.TLS == nil && (name == "localhost" || ip != nil && ip.IsLoopback()) {
		return "http://" + host
	}
	return "https://" + host
}

func (c *Console) calendarFeedAsk(_ context.Context, q *request) (answer, error) {
	id, err := q.pathID("feed_id")
	if err != nil {
		return nil, err
	}
	return c.sure(q.texts.T("console.feed.revoke.sure"), q.texts.T("console.feed.revoke"), "/calendar-feeds/"+id.String()+"/revoke", "/calendar-feeds"), nil
}

func (c *Console) calendarFeedRevoke(ctx context.Context, q *request) (answer, error) {
	id, err := q.pathID("feed_id")
	if err != nil {
		return nil, err
	}
	feed, err := c.Fleet.RevokeCalendarFeed(ctx, q.by, id)
	if err != nil {
		return nil, err
	}
	if feed.SiteID != uuid.Nil {
		return seeOther("/calendar-feeds?site=" + feed.SiteID.String()), nil
	}
	return seeOther("/calendar-feeds?person=" + feed.PersonID.String()), nil
}
