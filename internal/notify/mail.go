package notify

import (
	"context"
	"errors"
	"strings"
	"sync"
	"time"

	"github.com/wneessen/go-mail"
)

const (
	mostLines         = 4   // connections to the mail server at once
	mostLinesToDomain = 2   // of them with mail for one domain: many servers mistrust more from one sender
	mostOverALine     = 100 // messages, then another line; many servers end one after as many
	idleFor           = 10 * time.Second
)

// Mail is the way to the company's mail server with its lines: one line carries many messages, and few are open at once.
// Safe for concurrent use.
type Mail struct {
	SMTP

	lines chan struct{} // a place for each line in use

	mu      sync.Mutex
	free    []*session
	domains map[string]chan struct{} // a place for each message under way to the domain
	closed  bool
}

// NewMail opens nothing yet.
func NewMail(s SMTP) *Mail {
	return &Mail{SMTP: s, lines: make(chan struct{}, mostLines), domains: map[string]chan struct{}{}}
}

// Close ends the lines that nobody uses; those in use end with their message.
func (m *Mail) Close() error {
	m.mu.Lock()
	free := m.free
	m.free, m.closed = nil, true
	m.mu.Unlock()
	for _, ses := range free {
		ses.idle.Stop()
		ses.leave()
	}
	return nil
}

// Deliver hands one message to the server. It waits for a line and for its turn at the recipient's domain as long as the
// context allows; then it is ended by the context or the timeout, whichever comes first. The error is always a *Failure.
func (m *Mail) Deliver(ctx context.Context, message Message) (Receipt, error) {
	letter, err := m.letter(message)
	if err != nil {
		return Receipt{}, &Failure{Stage: StageMessage, Err: err}
	}
	leave, err := m.enter(ctx, letter)
	if err != nil {
		return Receipt{}, &Failure{Stage: StageConnect, Temporary: true, Err: err}
	}
	defer leave()
	ctx, cancel := context.WithTimeout(ctx, m.Timeout)
	defer cancel()

	answer, err := m.over(ctx, m.takeFree(), letter)
	if errors.Is(err, errLineGone) {
		answer, err = m.over(ctx, nil, letter)
	}
	if err != nil {
		return Receipt{}, err
	}
	return Receipt{MessageID: strings.Trim(letter.GetMessageID(), "<>"), Answer: answerText(answer)}, nil
}

// enter waits for a place on a line and at the domain.
func (m *Mail) enter(ctx context.Context, letter *mail.Msg) (leave func(), err error) {
	to, err := letter.GetRecipients()
	if err != nil {
		return nil, err
	}
	domain := m.domain(strings.ToLower(to[0][strings.LastIndexByte(to[0], '@')+1:]))
	for i, place := range []chan struct{}{domain, m.lines} {
		select {
		case place <- struct{}{}:
		case <-ctx.Done():
			if i == 1 {
				<-domain
			}
			return nil, ctx.Err()
		}
	}
	return func() { <-m.lines; <-domain }, nil
}

func (m *Mail) domain(name string) chan struct{} {
	m.mu.Lock()
	defer m.mu.Unlock()
	if m.domains[name] == nil {
		m.domains[name] = make(chan struct{}, mostLinesToDomain)
	}
	return m.domains[name]
}

// errLineGone is a line that ended while nobody used it: nothing of the message was sent over it.
var errLineGone = errors.New("the line had ended")

// over hands a message over a free line, or over a new one.
func (m *Mail) over(ctx context.Context, ses *session, letter *mail.Msg) (string, error) {
	used := ses != nil
	if !used {
		var err error
		if ses, err = m.connect(ctx); err != nil {
			return "", failure(ctx, StageConnect, err)
		}
	}
	_ = ses.line.SetDeadline(time.Time{}) // the library's; the context has its own
	unwatch := context.AfterFunc(ctx, func() { ses.line.Close() })
	answer, err := ses.send(ctx, letter)
	whole := unwatch()

	var f *Failure
	failed := errors.As(err, &f)
	switch {
	case failed && used && f.Stage == StageSender && ctx.Err() == nil && (f.Code == 0 || f.Code == 421):
		ses.line.Close()
		return "", errLineGone
	case !whole, failed && (f.Code == 0 || f.Code == 421):
		ses.line.Close()
	case failed && ses.client.Reset() != nil:
		ses.line.Close()
	default:
		m.giveBack(ses)
	}
	return answer, err
}

func (m *Mail) takeFree() *session {
	m.mu.Lock()
	defer m.mu.Unlock()
	for len(m.free) > 0 {
		ses := m.free[len(m.free)-1]
		m.free = m.free[:len(m.free)-1]
		if ses.idle.Stop() { // or it is being ended
			return ses
		}
	}
	return nil
}

func (m *Mail) giveBack(ses *session) {
	ses.carried++
	m.mu.Lock()
	keep := !m.closed && ses.carried < mostOverALine
	if keep {
		ses.idle = time.AfterFunc(idleFor, func() { m.drop(ses) })
		m.free = append(m.free, ses)
	}
	m.mu.Unlock()
	if !keep {
		ses.leave()
	}
}

// drop ends a line that nobody has used for a while.
func (m *Mail) drop(ses *session) {
	m.mu.Lock()
	for i, other := range m.free {
		if other == ses {
			m.free = append(m.free[:i], m.free[i+1:]...)
			break
		}
	}
	m.mu.Unlock()
	ses.leave()
}
