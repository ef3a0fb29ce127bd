package api

import (
	"context"
	"net/http"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/identity"
)

// CalendarFeedBody is what a client says of a calendar for another program.
type CalendarFeedBody struct {
	PersonID *uuid.UUID `json:"person_id,omitempty" format:"uuid" doc:"The technician whose visits it shows; either this"`
	SiteID   *uuid.UUID `json:"site_id,omitempty" format:"uuid" doc:"or the site whose due days and visits it shows."`
	Note     string     `json:"note,omitempty" maxLength:"200" doc:"Who has the address."`
}

type calendarFeedItem struct {
	FeedID uuid.UUID `json:"feed_id" format:"uuid"`
	CalendarFeedBody
	Path      string     `json:"path,omitempty" doc:"Of the calendar on this server, with the secret in it; given once. Whoever has it reads the calendar without signing in."`
	MadeAt    time.Time  `json:"made_at"`
	MadeBy    uuid.UUID  `json:"made_by" format:"uuid"`
	ReadAt    *time.Time `json:"read_at,omitempty" doc:"When it was last read, to the hour."`
	RevokedAt *time.Time `json:"revoked_at,omitempty"`
	RevokedBy *uuid.UUID `json:"revoked_by,omitempty" format:"uuid"`
}

func newCalendarFeedItem(c fleet.CalendarFeed) calendarFeedItem {
	return calendarFeedItem{FeedID: c.FeedID, CalendarFeedBody: CalendarFeedBody{PersonID: someID(c.PersonID), SiteID: someID(c.SiteID), Note: c.Note},
		MadeAt: c.MadeAt, MadeBy: c.MadeBy, ReadAt: c.ReadAt, RevokedAt: c.RevokedAt, RevokedBy: c.RevokedBy}
}

type CalendarFeedPath struct {
	FeedID uuid.UUID `path:"feed_id" format:"uuid"`
}

type calendarFeedPutIn struct {
	CalendarFeedPath
	Body CalendarFeedBody
}

type calendarFeedOut struct {
	Status int
	Body   calendarFeedItem
}

type calendarFeedListIn struct {
	PageIn
	PersonID string `query:"person_id" format:"uuid"`
	SiteID   string `query:"site_id" format:"uuid"`
}

type calendarFeedListOut struct {
	Body struct {
		CalendarFeeds []calendarFeedItem `json:"calendar_feeds"`
		PageOut
	}
}

func (a *API) calendarFeeds() {
	add(a, operation("calendar-feed-list", http.MethodGet, "/v1/calendar-feeds", identity.ActKeepFeeds, "Calendars that other programs subscribe with, the newest first: one's own, of sites in sight, the office's all"), a.calendarFeedList)
	add(a, operation("calendar-feed-put", http.MethodPut, "/v1/calendar-feeds/{feed_id}", identity.ActKeepFeeds, "Make a secret address at which another program reads a calendar (RFC 5545)"), a.calendarFeedPut)
	add(a, operation("calendar-feed-revoke", http.MethodPost, "/v1/calendar-feeds/{feed_id}/revocation", identity.ActKeepFeeds, "End an address, at once and for good"), a.calendarFeedRevoke)
}

func (a *API) calendarFeedList(ctx context.Context, by identity.Actor, in *calendarFeedListIn) (*calendarFeedListOut, error) {
	var key instantKey
	if err := readCursor(in.After, &key); err != nil {
		return nil, err
	}
	list, err := a.Fleet.CalendarFeeds(ctx, by, fleet.CalendarFeedQuery{PersonID: optionalID(in.PersonID), SiteID: optionalID(in.SiteID), BeforeAt: key.At, BeforeID: key.ID, Limit: in.Limit})
	if err != nil {
		return nil, err
	}
	out := &calendarFeedListOut{}
	out.Body.CalendarFeeds = make([]calendarFeedItem, len(list))
	for i, c := range list {
		out.Body.CalendarFeeds[i] = newCalendarFeedItem(c)
	}
	if len(list) == in.Limit {
		last := list[len(list)-1]
		out.Body.Next = cursor(instantKey{last.MadeAt, last.FeedID})
	}
	return out, nil
}

func (a *API) calendarFeedPut(ctx context.Context, by identity.Actor, in *calendarFeedPutIn) (*calendarFeedOut, error) {
	c := fleet.CalendarFeed{FeedID: in.FeedID, Note: in.Body.Note}
	if in.Body.PersonID != nil {
		c.PersonID = *in.Body.PersonID
	}
	if in.Body.SiteID != nil {
		c.SiteID = *in.Body.SiteID
	}
	saved, secret, isNew, err := a.Fleet.PutCalendarFeed(ctx, by, c)
	if err != nil {
		return nil, err
	}
	out := &calendarFeedOut{Status: created(isNew), Body: newCalendarFeedItem(saved)}
	if isNew {
		out.Body.Path = fleet.CalendarPath(secret)
	}
	return out, nil
}

func (a *API) calendarFeedRevoke(ctx context.Context, by identity.Actor, in *CalendarFeedPath) (*calendarFeedOut, error) {
	c, err := a.Fleet.RevokeCalendarFeed(ctx, by, in.FeedID)
	if err != nil {
		return nil, err
	}
	return &calendarFeedOut{Status: http.StatusOK, Body: newCalendarFeedItem(c)}, nil
}
