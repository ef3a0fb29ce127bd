// Package mailcatcher is a small SMTP server that keeps what it is given in memory: the other end of the line for
// the demo and for tests. It delivers nothing to anybody.
//
// To add a fault that a test needs: a hook in Hooks, called where the server would notice it.
package mailcatcher

import (
	"bytes"
	"cmp"
	"context"
	"crypto/tls"
	"encoding/base64"
	"errors"
	"fmt"
	"hash/fnv"
	"io"
	"log"
	"mime"
	"mime/multipart"
	"mime/quotedprintable"
	"net"
	"net/mail"
	"slices"
	"strings"
	"sync"

	"github.com/emersion/go-sasl"
	"github.com/emersion/go-smtp"
)

const (
	mostKept   = 1000    // messages, if Hooks.Keep does not say otherwise; the oldest go first
	mostBytes  = 1 << 20 // a message
	mostPeople = 100     // recipients of a message
)

// Message is one mail as it arrived.
type Message struct {
	From, To string // of the envelope; several recipients are joined by ", "
	Header   mail.Header
	Subject  string // decoded
	Text     string // decoded
	HTML     string // decoded; "" where there is none
	Files    []File // that are enclosed
	Raw      []byte
}

// File is an enclosed file, decoded.
type File struct {
	Name, MediaType string
	Bytes           []byte
}

// Hooks let a test play a mail server in a bad mood. Any may be nil. A *smtp.SMTPError is answered as it is.
type Hooks struct {
	Sender    func(from string) error
	Recipient func(to string) error
	// Data is called when the whole message has arrived, before the answer; an error keeps the message out.
	// hangUp drops the line without an answer.
	Data func(m Message, hangUp func()) error
	// SignIn, when set, makes the server ask for name and password.
	SignIn func(username, password string) error
	// Trouble is a bad mood for the whole day; nil: none.
	Trouble *Trouble
	// Keep is how many messages are kept; 0: 1000.
	Keep int
}

// Trouble decides what goes wrong by the recipient's address, so that it is the same in each run: of so many recipients,
// one meets each of them. 0: nobody does.
type Trouble struct {
	RefuseOneIn   int // 550 to the recipient, each time
	GreylistOneIn int // 451 to the recipient, the first time
	BusyOneIn     int // 452 after the message, the first time
	HangOneIn     int // the message is taken, and no answer comes until the other side goes
	CloseOneIn    int // the message is taken, and the line is closed before the answer
	LoseOneIn     int // the line is closed after the message, which is lost, the first time

	mu   sync.Mutex
	seen map[string]bool
}

// hits tells whether the trouble of a kind falls on a recipient.
func (t *Trouble) hits(kind, to string, oneIn int) bool {
	if oneIn == 0 {
		return false
	}
	h := fnv.New32a()
	_, _ = h.Write([]byte(kind + " " + to))
	return h.Sum32()%uint32(oneIn) == 0
}

// first tells whether a kind falls on a recipient for the first time.
func (t *Trouble) first(kind, to string, oneIn int) bool {
	if !t.hits(kind, to, oneIn) {
		return false
	}
	t.mu.Lock()
	defer t.mu.Unlock()
	if t.seen == nil {
		t.seen = map[string]bool{}
	}
	known := t.seen[kind+" "+to]
	t.seen[kind+" "+to] = true
	return !known
}

// Refuses tells whether a recipient is one who is refused for good.
func (t *Trouble) Refuses(to string) bool { return t.hits("refuse", to, t.RefuseOneIn) }

// LeavesOpen tells whether a recipient is one of whose message no answer comes.
func (t *Trouble) LeavesOpen(to string) bool {
	return t.hits("hang", to, t.HangOneIn) || t.hits("close", to, t.CloseOneIn) || t.hits("lose", to, t.LoseOneIn)
}

func (t *Trouble) recipient(to string) error {
	switch {
	case t.Refuses(to):
		return &smtp.SMTPError{Code: 550, EnhancedCode: smtp.EnhancedCode{5, 1, 1}, Message: "nobody of that name here"}
	case t.first("greylist", to, t.GreylistOneIn):
		return &smtp.SMTPError{Code: 451, EnhancedCode: smtp.EnhancedCode{4, 7, 1}, Message: "not known yet, try again in 300 seconds"}
	}
	return nil
}

// data is what becomes of a message after its last byte: kept or not, and an answer or none.
func (t *Trouble) data(to string, line net.Conn) (kept bool, err error) {
	gone := errors.New("the line is closed")
	switch {
	case t.first("busy", to, t.BusyOneIn):
		return false, &smtp.SMTPError{Code: 452, EnhancedCode: smtp.EnhancedCode{4, 3, 1}, Message: "no room at this moment"}
	case t.first("lose", to, t.LoseOneIn):
		line.Close()
		return false, gone
	case t.hits("hang", to, t.HangOneIn):
		_, _ = io.Copy(io.Discard, line) // until the other side goes
		return true, gone
	case t.hits("close", to, t.CloseOneIn):
		line.Close()
		return true, gone
	}
	return true, nil
}

// Catcher is a running server. Safe for concurrent use.
type Catcher struct {
	server   *smtp.Server
	listener net.Listener
	hooks    Hooks
	served   chan struct{}

	mu       sync.Mutex
	messages []Message
	arrived  chan struct{} // closed and replaced when a message comes
}

// Listen starts a server on address ("127.0.0.1:0" takes a free port). With tlsConfig it offers STARTTLS.
func Listen(address string, tlsConfig *tls.Config, hooks Hooks) (*Catcher, error) {
	listener, err := net.Listen("tcp", address)
	if err != nil {
		return nil, fmt.Errorf("mail catcher: %w", err)
	}
	return Serve(listener, tlsConfig, hooks), nil
}

// Serve starts a server on a listener, which may speak TLS itself.
func Serve(listener net.Listener, tlsConfig *tls.Config, hooks Hooks) *Catcher {
	c := &Catcher{listener: listener, hooks: hooks, served: make(chan struct{}), arrived: make(chan struct{})}
	c.server = smtp.NewServer(smtp.BackendFunc(func(conn *smtp.Conn) (smtp.Session, error) {
		return &session{catcher: c, conn: conn}, nil
	}))
	c.server.Domain = "mailcatcher.invalid"
	c.server.TLSConfig = tlsConfig
	c.server.MaxMessageBytes = mostBytes
	c.server.MaxRecipients = mostPeople
	c.server.ErrorLog = log.New(io.Discard, "", 0) // dropped lines are what it is for
	go func() {
		defer close(c.served) // a second Close does not wait for ever
		_ = c.server.Serve(listener)
	}()
	return c
}

// Address is where it listens, "host:port".
func (c *Catcher) Address() string { return c.listener.Addr().String() }

// Close stops it, drops the open lines and waits until the listener has gone.
func (c *Catcher) Close() error {
	err := c.server.Close()
	_ = c.listener.Close() // the server knows its listener only once its goroutine has come to run
	<-c.served
	return err
}

// Messages gives what has arrived, oldest first.
func (c *Catcher) Messages() []Message {
	c.mu.Lock()
	defer c.mu.Unlock()
	return slices.Clone(c.messages)
}

// Wait gives the first message, of those that are here or still come, that is wanted.
func (c *Catcher) Wait(ctx context.Context, wanted func(Message) bool) (Message, error) {
	for {
		c.mu.Lock()
		at := slices.IndexFunc(c.messages, wanted)
		arrived := c.arrived
		var found Message
		if at >= 0 {
			found = c.messages[at]
		}
		c.mu.Unlock()
		if at >= 0 {
			return found, nil
		}
		select {
		case <-arrived:
		case <-ctx.Done():
			return Message{}, fmt.Errorf("mail catcher: the message has not come: %w", ctx.Err())
		}
	}
}

func (c *Catcher) keep(m Message) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.messages = append(c.messages, m)
	if most := cmp.Or(c.hooks.Keep, mostKept); len(c.messages) > most {
		c.messages = slices.Delete(c.messages, 0, len(c.messages)-most)
	}
	close(c.arrived)
	c.arrived = make(chan struct{})
}

// session is one line; it implements smtp.Session and smtp.AuthSession.
type session struct {
	catcher  *Catcher
	conn     *smtp.Conn
	signedIn bool
	from     string
	to       []string
}

func (s *session) Reset()        { s.from, s.to = "", nil }
func (s *session) Logout() error { return nil }

func (s *session) AuthMechanisms() []string {
	if s.catcher.hooks.SignIn == nil {
		return nil
	}
	return []string{sasl.Plain}
}

func (s *session) Auth(string) (sasl.Server, error) {
	return sasl.NewPlainServer(func(_, username, password string) error {
		if err := s.catcher.hooks.SignIn(username, password); err != nil {
			return err
		}
		s.signedIn = true
		return nil
	}), nil
}

func (s *session) Mail(from string, _ *smtp.MailOptions) error {
	if s.catcher.hooks.SignIn != nil && !s.signedIn {
		return smtp.ErrAuthRequired
	}
	if hook := s.catcher.hooks.Sender; hook != nil {
		if err := hook(from); err != nil {
			return err
		}
	}
	s.from = from
	return nil
}

func (s *session) Rcpt(to string, _ *smtp.RcptOptions) error {
	if hook := s.catcher.hooks.Recipient; hook != nil {
		if err := hook(to); err != nil {
			return err
		}
	}
	if trouble := s.catcher.hooks.Trouble; trouble != nil {
		if err := trouble.recipient(to); err != nil {
			return err
		}
	}
	s.to = append(s.to, to)
	return nil
}

func (s *session) Data(r io.Reader) error {
	raw, err := io.ReadAll(r)
	if err != nil {
		return err
	}
	m, err := read(raw)
	if err != nil {
		return &smtp.SMTPError{Code: 554, EnhancedCode: smtp.EnhancedCode{5, 6, 0}, Message: err.Error()}
	}
	m.From, m.To = s.from, strings.Join(s.to, ", ")
	if hook := s.catcher.hooks.Data; hook != nil {
		if err := hook(m, func() { s.conn.Conn().Close() }); err != nil {
			return err
		}
	}
	if trouble := s.catcher.hooks.Trouble; trouble != nil {
		kept, err := trouble.data(m.To, s.conn.Conn())
		if kept {
			s.catcher.keep(m)
		}
		return err
	}
	s.catcher.keep(m)
	return nil
}

// read takes a mail apart as far as Lintel sends it: plain text, HTML that says the same, enclosed files.
func read(raw []byte) (Message, error) {
	parsed, err := mail.ReadMessage(bytes.NewReader(raw))
	if err != nil {
		return Message{}, err
	}
	m := Message{Header: parsed.Header, Raw: raw}
	if m.Subject, err = new(mime.WordDecoder).DecodeHeader(parsed.Header.Get("Subject")); err != nil {
		return Message{}, fmt.Errorf("subject: %w", err)
	}
	return m, m.readBody(parsed.Header.Get("Content-Type"), parsed.Header.Get("Content-Transfer-Encoding"), "", parsed.Body)
}

// readBody takes plain text, or plain text with HTML that says the same, or with files, which have a name.
func (m *Message) readBody(kind, encoding, file string, body io.Reader) error {
	kind, parameters, err := mime.ParseMediaType(cmp.Or(kind, "text/plain"))
	if err != nil {
		return fmt.Errorf("content type: %w", err)
	}
	if kind == "multipart/alternative" || kind == "multipart/mixed" {
		for parts := multipart.NewReader(body, parameters["boundary"]); ; {
			part, err := parts.NextRawPart()
			if errors.Is(err, io.EOF) {
				return nil
			}
			if err == nil {
				err = m.readBody(part.Header.Get("Content-Type"), part.Header.Get("Content-Transfer-Encoding"), part.FileName(), part)
			}
			if err != nil {
				return fmt.Errorf("part: %w", err)
			}
		}
	}
	switch strings.ToLower(encoding) {
	case "quoted-printable":
		body = quotedprintable.NewReader(body)
	case "base64":
		body = base64.NewDecoder(base64.StdEncoding, body)
	}
	text, err := io.ReadAll(body)
	if err != nil {
		return fmt.Errorf("text: %w", err)
	}
	if file != "" {
		m.Files = append(m.Files, File{file, kind, text})
		return nil
	}
	if said := strings.ReplaceAll(string(text), "\r\n", "\n"); kind == "text/html" {
		m.HTML = said
	} else {
		m.Text = said
	}
	return nil
}
