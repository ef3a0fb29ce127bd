package console

import (
	"context"
	"net/http"
	"sync"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/fault"
	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/identity"
	"lintel.example/lintel/internal/words"
)

// patience bounds how often the pages that need nobody are asked for, by everybody together: a link cannot be guessed, but trying costs us.
type patience struct {
	mutex sync.Mutex
	left  float64
	at    time.Time
}

const (
	mostPatience  = 120.0 // requests at once,
	patienceComes = 2.0   // and so many a second. Common practice, no source.
)

// spend tells whether one more request is borne.
func (p *patience) spend(now time.Time) error {
	p.mutex.Lock()
	defer p.mutex.Unlock()
	if p.at.IsZero() {
		p.left, p.at = mostPatience, now
	}
	p.left, p.at = min(mostPatience, p.left+max(0, now.Sub(p.at).Seconds())*patienceComes), now
	if p.left < 1 {
		f := fault.New(fault.TooMany, "links_too_many")
		f.Wait = time.Second
		return f
	}
	p.left--
	return nil
}

type linkData struct {
	Letter fleet.Letter
	Note   *fleet.LetterNote
	Token  string
	Form   form
	Done   bool
}

// link answers what a link in a letter leads to, in the letter's language. Nobody signs in.
func (c *Console) link(handle handler) handler {
	return func(ctx context.Context, q *request) (answer, error) {
		if err := c.patience.spend(c.Now()); err != nil {
			return nil, err
		}
		return handle(ctx, q)
	}
}

func (c *Console) speak(q *request, l fleet.Letter) {
	q.texts = c.Words.Printer(l.Language, words.Metric)
}

func (c *Console) answerForm(ctx context.Context, q *request) (answer, error) {
	return c.answerPage(ctx, q, newForm(nil), http.StatusOK)
}

func (c *Console) answerPage(ctx context.Context, q *request, f form, status int) (answer, error) {
	token := q.PathValue("token")
	l, note, err := c.Fleet.LetterToNote(ctx, token)
	if err != nil {
		return nil, err
	}
	c.speak(q, l)
	return page{name: "answer", status: status, data: linkData{Letter: l, Note: note, Token: token, Form: f}}, nil
}

func (c *Console) answerPut(ctx context.Context, q *request) (answer, error) {
	f, err := q.form()
	if err != nil {
		return nil, err
	}
	if err = c.Fleet.TakeNoteByLink(ctx, q.PathValue("token"), f.Value("/name")); err != nil {
		return q.again(f, err, func(f form, status int) (answer, error) { return c.answerPage(ctx, q, f, status) })
	}
	return seeOther("/answer/" + q.PathValue("token")), nil
}

func (c *Console) declineForm(ctx context.Context, q *request) (answer, error) {
	return c.declinePage(ctx, q, false)
}

func (c *Console) declinePage(ctx context.Context, q *request, done bool) (answer, error) {
	token := q.PathValue("token")
	l, err := c.Fleet.LetterToDecline(ctx, token)
	if err != nil {
		return nil, err
	}
	c.speak(q, l)
	return page{name: "decline", data: linkData{Letter: l, Token: token, Done: done}}, nil
}

// declinePut is sent by the page's button, and by mail programs on one click (RFC 8058), which want no other page.
func (c *Console) declinePut(ctx context.Context, q *request) (answer, error) {
	if err := c.Fleet.DeclineByLink(ctx, q.PathValue("token")); err != nil {
		return nil, err
	}
	return c.declinePage(ctx, q, true)
}

type unansweredData struct {
	Filter   filter
	Lines    []unansweredLine
	More     More
	Declined []fleet.DeclinedAddress
	Form     form
}

type unansweredLine struct {
	noticeLine
	Days int // since it was made
}

// mostDeclined is how many addresses without reminders are shown.
const mostDeclined = 200

// unanswered lists notices that did not arrive, or of which nobody has taken note.
func (c *Console) unanswered(ctx context.Context, q *request) (answer, error) {
	return c.unansweredPage(ctx, q, newForm(nil), http.StatusOK)
}

func (c *Console) unansweredPage(ctx context.Context, q *request, sent form, status int) (answer, error) {
	f := q.filter()
	var key instantKey
	f.key(&key)
	query := fleet.UnansweredQuery{What: f.Value("what"), SiteID: f.ID("site"), AfterAt: key.At, AfterID: key.ID, Limit: perPage + 1}
	if err := f.faults.Err(); err != nil {
		return nil, err
	}
	list, err := c.Fleet.Unanswered(ctx, q.by, query)
	if err != nil {
		return nil, err
	}
	var last any
	if len(list) > perPage {
		list = list[:perPage]
		last = instantKey{list[perPage-1].MadeAt, list[perPage-1].NoticeID}
	}
	lines, err := c.noticeLines(ctx, q, list)
	if err != nil {
		return nil, err
	}
	data := unansweredData{Filter: f, More: q.more(last), Form: sent}
	for _, l := range lines {
		data.Lines = append(data.Lines, unansweredLine{l, int(c.Now().Sub(l.MadeAt).Hours() / 24)})
	}
	data.Declined, err = c.Fleet.DeclinedAddresses(ctx, q.by, "", mostDeclined)
	return page{name: "unanswered", status: status, data: data}, err
}

// letterNoted records what the office was told by telephone.
func (c *Console) letterNoted(ctx context.Context, q *request) (answer, error) {
	id, f, err := q.formOf("letter_id")
	if err != nil {
		return nil, err
	}
	if _, _, err = c.Fleet.TakeNoteFor(ctx, q.by, id, f.Value("/name")); err != nil {
		return q.again(f, err, func(f form, status int) (answer, error) { return c.unansweredPage(ctx, q, f, status) })
	}
	return seeOther("/unanswered"), nil
}

// declineEnd lets reminders go to an address again. Pressed twice it has done so.
func (c *Console) declineEnd(ctx context.Context, q *request) (answer, error) {
	f, err := q.form()
	if err != nil {
		return nil, err
	}
	if err := c.Fleet.EndDecline(ctx, q.by, f.Value("address")); err != nil && !fault.Is(err, "address_not_declined") {
		return nil, err
	}
	return seeOther("/unanswered#declined"), nil
}

// mostUnanswered is how many notices the first page counts.
const mostUnanswered = 99

// countUnanswered counts, for whoever may see them, at most one more than mostUnanswered.
func (c *Console) countUnanswered(ctx context.Context, q *request) (int, error) {
	if !q.by.May(identity.ActReadOffice) {
		return 0, nil
	}
	list, err := c.Fleet.Unanswered(ctx, q.by, fleet.UnansweredQuery{Limit: mostUnanswered + 1})
	return len(list), err
}

// noticeLines gives notices the names of where they belong.
func (c *Console) noticeLines(ctx context.Context, q *request, list []fleet.Notice) (lines []noticeLine, err error) {
	var ids fleet.Named
	for _, n := range list {
		if n.SiteID != uuid.Nil {
			ids.Sites = append(ids.Sites, n.SiteID)
		}
		if n.DoorID != nil {
			ids.Doors = append(ids.Doors, *n.DoorID)
		}
	}
	names, err := c.Fleet.Names(ctx, q.by, ids)
	for _, n := range list {
		line := noticeLine{Notice: n, Site: names[n.SiteID]}
		if n.DoorID != nil {
			line.Door = names[*n.DoorID]
		}
		lines = append(lines, line)
	}
	return lines, err
}
