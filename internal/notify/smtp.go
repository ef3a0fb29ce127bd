package notify

import (
	"bytes"
	"context"
	"crypto/tls"
	"crypto/x509"
	"errors"
	"fmt"
	"mime/multipart"
	"mime/quotedprintable"
	"net"
	netmail "net/mail"
	"net/textproto"
	"os"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/wneessen/go-mail"
	"github.com/wneessen/go-mail/smtp"
)

// TLSMode is how the line to the mail server is protected. There is no "if the server offers it": whoever sits in
// between takes the offer away.
type TLSMode string

const (
	TLSStartTLS TLSMode = "starttls" // required after the greeting, usually port 587
	TLSImplicit TLSMode = "implicit" // from the first byte, usually port 465
	TLSNone     TLSMode = "none"     // a relay on the same machine
)

// SMTP is the way to the company's mail server.
type SMTP struct {
	Host         string
	Port         int
	Username     string // empty: no sign-in
	PasswordFile string // read at each delivery, so a changed password needs no restart; one line end after it is dropped
	TLS          TLSMode
	RootCAs      *x509.CertPool // nil: the system's
	From         string         // `Company <service@example.org>`; its domain makes the Message-IDs
	// Bounces is the mailbox that takes what comes back: the envelope names it with the message's id after a plus sign
	// (bounces+ID@example.org), so that a report says by its address what it is about. "": the sender's, without an id.
	Bounces string
	HELO    string        // this machine's name as the server shall see it
	Timeout time.Duration // for one delivery as a whole
}

// Validate names every fault at once.
func (s SMTP) Validate() error {
	var faults []error
	fault := func(format string, args ...any) { faults = append(faults, fmt.Errorf("smtp: "+format, args...)) }
	if s.Host == "" || strings.ContainsAny(s.Host, " :/\r\n") && net.ParseIP(s.Host) == nil {
		fault("host %q is not a host name or address", s.Host)
	}
	if s.Port < 1 || s.Port > 65535 {
		fault("port %d is not between 1 and 65535", s.Port)
	}
	switch s.TLS {
	case TLSStartTLS, TLSImplicit:
	case TLSNone:
		if s.Username != "" {
			fault("username with tls none: the password would travel in the clear")
		}
	default:
		fault("tls %q is not starttls, implicit or none", s.TLS)
	}
	if (s.Username == "") != (s.PasswordFile == "") {
		fault("username and password file come together")
	}
	if _, err := parseAddress(s.From); err != nil {
		fault("from: %w", err)
	}
	if _, err := parseAddress(s.Bounces); s.Bounces != "" && err != nil {
		fault("bounces: %w", err)
	}
	if s.HELO == "" || strings.ContainsAny(s.HELO, " \t\r\n") {
		fault("helo %q is not a host name", s.HELO)
	}
	if s.Timeout <= 0 {
		fault("timeout %s is not positive", s.Timeout)
	}
	return errors.Join(faults...)
}

// letter builds the mail. Everything in it comes from the message, nothing from the clock or this machine.
func (s SMTP) letter(m Message) (*mail.Msg, error) {
	to, err := m.check()
	if err != nil {
		return nil, err
	}
	from, err := parseAddress(s.From)
	if err != nil {
		return nil, fmt.Errorf("from: %w", err)
	}
	letter := mail.NewMsg(mail.WithNoDefaultUserAgent(), mail.WithBoundary("b-"+m.ID.String()))
	letter.FromMailAddress(from)
	if s.Bounces != "" {
		bounces, err := parseAddress(s.Bounces)
		if err != nil {
			return nil, fmt.Errorf("bounces: %w", err)
		}
		at := strings.LastIndexByte(bounces.Address, '@')
		if err := letter.EnvelopeFrom(bounces.Address[:at] + "+" + m.ID.String() + bounces.Address[at:]); err != nil {
			return nil, fmt.Errorf("bounces: %w", err)
		}
	}
	letter.ToMailAddress(to)
	letter.Subject(strings.ReplaceAll(oneLine(m.Subject), "=?", "= ?")) // or the reader's program would decode what is plain text
	letter.SetMessageIDWithValue(m.ID.String() + "@" + domain(from))
	letter.SetDateWithValue(m.Date)
	letter.SetGenHeader("Auto-Submitted", "auto-generated") // RFC 3834: no out-of-office answers, please
	if m.Unsubscribe != "" {
		letter.SetGenHeader("List-Unsubscribe", "<"+m.Unsubscribe+">")
		if strings.HasPrefix(m.Unsubscribe, "https:") {
			letter.SetGenHeader("List-Unsubscribe-Post", "List-Unsubscribe=One-Click")
		}
	}
	switch {
	case m.HTML == "":
		letter.SetBodyString(mail.TypeTextPlain, m.Text)
	case m.Enclosed == nil:
		letter.SetBodyString(mail.TypeTextPlain, m.Text)
		letter.AddAlternativeString(mail.TypeTextHTML, m.HTML)
	default:
		kind, both, err := alternative("a-"+m.ID.String(), m.Text, m.HTML)
		if err != nil {
			return nil, fmt.Errorf("text: %w", err)
		}
		letter.SetBodyString(mail.ContentType(kind), both, mail.WithPartEncoding(mail.NoEncoding))
	}
	if e := m.Enclosed; e != nil {
		if err := letter.AttachReader(e.Name, bytes.NewReader(e.Bytes), mail.WithFileContentType(mail.ContentType(e.MediaType))); err != nil {
			return nil, fmt.Errorf("enclosed: %w", err)
		}
	}
	return letter, nil
}

// alternative writes a text and the HTML that says the same as one part, under a boundary of its own: the library has one for all
// levels of a message, or new ones each time, and a letter sent again is to be the same mail.
func alternative(boundary, text, html string) (kind, part string, err error) {
	var out strings.Builder
	w := multipart.NewWriter(&out)
	if err := w.SetBoundary(boundary); err != nil {
		return "", "", err
	}
	for _, p := range []struct{ kind, text string }{{"text/plain; charset=UTF-8", text}, {"text/html; charset=UTF-8", html}} {
		body, err := w.CreatePart(textproto.MIMEHeader{"Content-Type": {p.kind}, "Content-Transfer-Encoding": {"quoted-printable"}})
		if err != nil {
			return "", "", err
		}
		q := quotedprintable.NewWriter(body)
		if _, err := q.Write([]byte(p.text)); err != nil {
			return "", "", err
		}
		if err := q.Close(); err != nil {
			return "", "", err
		}
	}
	if err := w.Close(); err != nil {
		return "", "", err
	}
	return "multipart/alternative; boundary=" + boundary, out.String(), nil
}

func domain(address *netmail.Address) string {
	return address.Address[strings.LastIndexByte(address.Address, '@')+1:]
}

// session is one line. Several messages may go over it, one after the other.
type session struct {
	line    net.Conn
	client  *smtp.Client
	carried int         // messages so far
	idle    *time.Timer // closes the line when nobody uses it; nil while somebody does
}

// connect greets, secures the line and signs in. The context ends that by closing the line: the client library looks at
// the context only while it dials.
func (s SMTP) connect(ctx context.Context) (*session, error) {
	line, err := s.dial(ctx)
	if err != nil {
		return nil, err
	}
	defer context.AfterFunc(ctx, func() { line.Close() })()
	ses := &session{line: line}
	client, err := s.client(line)
	if err == nil {
		ses.client, err = client.DialToSMTPClientWithContext(ctx)
	}
	if err != nil {
		line.Close() // the library leaves it open when TLS or the sign-in fails
		return nil, err
	}
	return ses, nil
}

func (s SMTP) dial(ctx context.Context) (net.Conn, error) {
	address := net.JoinHostPort(s.Host, strconv.Itoa(s.Port))
	if s.TLS == TLSImplicit {
		return (&tls.Dialer{Config: s.tlsConfig()}).DialContext(ctx, "tcp", address)
	}
	return (&net.Dialer{}).DialContext(ctx, "tcp", address)
}

func (s SMTP) tlsConfig() *tls.Config {
	return &tls.Config{ServerName: s.Host, RootCAs: s.RootCAs, MinVersion: tls.VersionTLS12}
}

// client prepares the library's client to speak over a line that is there already.
func (s SMTP) client(line net.Conn) (*mail.Client, error) {
	policy := mail.NoTLS
	if s.TLS == TLSStartTLS {
		policy = mail.TLSMandatory
	}
	options := []mail.Option{
		mail.WithPort(s.Port), mail.WithTLSPolicy(policy), mail.WithTLSConfig(s.tlsConfig()), mail.WithHELO(s.HELO),
		mail.WithTimeout(s.Timeout), mail.WithoutSMTPUTF8(),
		mail.WithDialContextFunc(func(context.Context, string, string) (net.Conn, error) { return line, nil }),
	}
	if s.Username != "" {
		password, err := os.ReadFile(s.PasswordFile)
		if err != nil {
			return nil, fmt.Errorf("password file: %w", err)
		}
		// The order is ours, because the library's discovery does not see that a line dialled for it is encrypted already.
		// Without TLS no name and password go out: Validate refuses that, and so does the library but for localhost.
		options = append(options, mail.WithOpportunisticSMTPAuth(mail.SMTPAuthSCRAMSHA256, mail.SMTPAuthPlain, mail.SMTPAuthLogin),
			mail.WithUsername(s.Username), mail.WithPassword(strings.TrimRight(string(password), "\r\n")))
	}
	return mail.NewClient(s.Host, options...)
}

// send speaks the commands itself: the library's own Send calls a message failed when the server took it and then
// dropped the line, and it takes a broken line for a permanent failure.
func (ses *session) send(ctx context.Context, letter *mail.Msg) (answer string, err error) {
	from, err := letter.GetSender(false)
	if err != nil {
		return "", &Failure{Stage: StageMessage, Err: err}
	}
	to, err := letter.GetRecipients()
	if err != nil {
		return "", &Failure{Stage: StageMessage, Err: err}
	}
	if err := ses.client.Mail(from); err != nil {
		return "", failure(ctx, StageSender, err)
	}
	if err := ses.client.Rcpt(to[0]); err != nil {
		return "", failure(ctx, StageRecipient, err)
	}
	body, err := ses.client.Data()
	if err != nil {
		return "", failure(ctx, StageContent, err)
	}
	if _, err := letter.WriteTo(body); err != nil {
		return "", failure(ctx, StageContent, err)
	}
	if err := body.Close(); err != nil {
		f := failure(ctx, StageContent, err)
		f.Uncertain = f.Code == 0
		return "", f
	}
	if closer, ok := body.(*smtp.DataCloser); ok {
		answer = closer.ServerResponse()
	}
	return answer, nil
}

// farewell is how long a server that has given its answer may take over the last word.
const farewell = 2 * time.Second

// leave says QUIT; what goes wrong here changes nothing any more.
func (ses *session) leave() {
	_ = ses.line.SetDeadline(time.Now().Add(farewell))
	_ = ses.client.Quit()
	_ = ses.line.Close()
}

// failure sorts what went wrong: only the server's own 5xx about this message is permanent. A server that wants a
// sign-in, or a better one, says so with a 5xx as well (RFC 4954: 530, 534, 535, 538); that is for the operator to mend.
func failure(ctx context.Context, stage Stage, err error) *Failure {
	f := &Failure{Stage: stage, Temporary: true, Err: err}
	var said *textproto.Error
	if errors.As(err, &said) {
		f.Code, f.Answer = said.Code, answerText(said.Msg)
		f.RetryAfter = retryAfter(f.Answer)
		f.Temporary = said.Code < 500 || stage == StageConnect || slices.Contains([]int{530, 534, 535, 538}, said.Code)
		f.Err = fmt.Errorf("the server answered %d %s", f.Code, f.Answer)
	} else if ctx.Err() != nil {
		f.Err = ctx.Err() // the closed line is only its consequence
	}
	return f
}
