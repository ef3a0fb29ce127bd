package notify

import (
	"bytes"
	"context"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"crypto/x509/pkix"
	"errors"
	"math/big"
	"net"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/emersion/go-smtp"
	"github.com/google/go-cmp/cmp"
	"github.com/google/uuid"
	"go.uber.org/goleak"
	"pgregory.net/rapid"

	"lintel.example/lintel/internal/notify/mailcatcher"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

func catcher(t *testing.T, tlsConfig *tls.Config, hooks mailcatcher.Hooks) *mailcatcher.Catcher {
	t.Helper()
	c, err := mailcatcher.Listen("127.0.0.1:0", tlsConfig, hooks)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := c.Close(); err != nil {
			t.Error(err)
		}
	})
	return c
}

func wayTo(t *testing.T, address string) *Mail {
	t.Helper()
	host, port, err := net.SplitHostPort(address)
	if err != nil {
		t.Fatal(err)
	}
	number, err := strconv.Atoi(port)
	if err != nil {
		t.Fatal(err)
	}
	s := SMTP{Host: host, Port: number, TLS: TLSNone, From: "Lindgren Door Service <service@lindgren.example>", HELO: "lintel.lindgren.example", Timeout: 20 * time.Second}
	if err := s.Validate(); err != nil {
		t.Fatal(err)
	}
	m := NewMail(s)
	t.Cleanup(func() { _ = m.Close() })
	return m
}

func notice() Message {
	return Message{
		ID: uuid.MustParse("0198f3a1-5b7c-7d10-8e2f-0123456789ab"), To: "Anna Berg <anna.berg@example.org>",
		Subject: "Door 1234 5672: inspection due on 14 March 2027",
		Text:    "Harbour Library, main entrance.\n\n.The line that begins with a dot stays.\n.\nGrüße, ½ in\n",
		Date:    time.Date(2027, 2, 12, 8, 30, 0, 0, time.UTC),
	}
}

func failed(t *testing.T, err error) *Failure {
	t.Helper()
	var f *Failure
	if !errors.As(err, &f) {
		t.Fatalf("error %v is no *Failure", err)
	}
	return f
}

func TestNoticeArrivesWithTheHeadersOfANotice(t *testing.T) {
	c := catcher(t, nil, mailcatcher.Hooks{})
	receipt, err := wayTo(t, c.Address()).Deliver(t.Context(), notice())
	if err != nil {
		t.Fatal(err)
	}
	const id = "0198f3a1-5b7c-7d10-8e2f-0123456789ab@lindgren.example"
	if receipt.MessageID != id || !strings.Contains(receipt.Answer, "queued") {
		t.Errorf("receipt %+v", receipt)
	}
	got, err := c.Wait(t.Context(), func(m mailcatcher.Message) bool { return true })
	if err != nil {
		t.Fatal(err)
	}
	if got.From != "service@lindgren.example" || got.To != "anna.berg@example.org" {
		t.Errorf("envelope from %q to %q", got.From, got.To)
	}
	want := map[string][]string{
		"Message-Id": {"<" + id + ">"}, "Date": {"Fri, 12 Feb 2027 08:30:00 +0000"}, "Auto-Submitted": {"auto-generated"},
		"From": {`"Lindgren Door Service" <service@lindgren.example>`}, "To": {`"Anna Berg" <anna.berg@example.org>`},
		"Subject": {notice().Subject}, "Mime-Version": {"1.0"},
		"Content-Type": {"text/plain; charset=UTF-8"}, "Content-Transfer-Encoding": {"quoted-printable"},
	}
	if diff := cmp.Diff(want, map[string][]string(got.Header)); diff != "" {
		t.Errorf("headers (-want +got):\n%s", diff)
	}
	if got.Text != notice().Text {
		t.Errorf("text %q", got.Text)
	}
}

func TestNoticeSentAgainIsTheSameMail(t *testing.T) {
	c := catcher(t, nil, mailcatcher.Hooks{})
	for range 2 {
		if _, err := wayTo(t, c.Address()).Deliver(t.Context(), notice()); err != nil {
			t.Fatal(err)
		}
	}
	got := c.Messages()
	if len(got) != 2 || !bytes.Equal(got[0].Raw, got[1].Raw) {
		t.Fatalf("%d mails: %q", len(got), got)
	}
}

func TestWhatIsEnclosedArrivesByteForByteAndTheSameMailEachTime(t *testing.T) {
	c := catcher(t, nil, mailcatcher.Hooks{})
	m := notice()
	m.Enclosed = &Enclosure{Name: "letter-1.pdf", MediaType: "application/pdf", Bytes: []byte("%PDF-1.7\r\n\x00\xff.\r\n.\r\n" + strings.Repeat("a line\n", 2000) + "b-0198f3a1-5b7c-7d10-8e2f-0123456789ab")}
	for range 2 {
		if _, err := wayTo(t, c.Address()).Deliver(t.Context(), m); err != nil {
			t.Fatal(err)
		}
	}
	got := c.Messages()
	if len(got) != 2 || !bytes.Equal(got[0].Raw, got[1].Raw) {
		t.Fatalf("%d mails, or not the same", len(got))
	}
	want := []mailcatcher.File{{Name: "letter-1.pdf", MediaType: "application/pdf", Bytes: m.Enclosed.Bytes}}
	if diff := cmp.Diff(want, got[0].Files); diff != "" || got[0].Text != m.Text {
		t.Errorf("text %q, files (-want +got):\n%s", got[0].Text, diff)
	}
}

func TestACalendarGoesBesideTextAndHTMLAndTheSameMailEachTime(t *testing.T) {
	c := catcher(t, nil, mailcatcher.Hooks{})
	m := notice()
	m.HTML = "<p>Grüße,<br>\n.\n" + strings.Repeat("a long line ", 40) + "</p>\n"
	m.Enclosed = &Enclosure{Name: "due.ics", MediaType: "text/calendar; charset=UTF-8; method=PUBLISH", Bytes: []byte("BEGIN:VCALENDAR\r\nSUMMARY:Tür\r\nEND:VCALENDAR\r\n")}
	for range 2 {
		if _, err := wayTo(t, c.Address()).Deliver(t.Context(), m); err != nil {
			t.Fatal(err)
		}
	}
	got := c.Messages()
	if len(got) != 2 || !bytes.Equal(got[0].Raw, got[1].Raw) {
		t.Fatalf("%d mails, or not the same", len(got))
	}
	if got[0].Text != m.Text || got[0].HTML != m.HTML {
		t.Errorf("text %q, HTML %q", got[0].Text, got[0].HTML)
	}
	want := []mailcatcher.File{{Name: "due.ics", MediaType: "text/calendar", Bytes: m.Enclosed.Bytes}}
	if diff := cmp.Diff(want, got[0].Files); diff != "" {
		t.Errorf("files (-want +got):\n%s", diff)
	}
	for line := range strings.SplitSeq(string(got[0].Raw), "\r\n") {
		if len(line) > 998 || strings.ContainsAny(line, "\r\n") { // RFC 5322, 2.1.1
			t.Errorf("line %q", line)
		}
	}
}

func TestServersAnswerDecidesWhetherTryingAgainHelps(t *testing.T) {
	answer := func(code int, text string) error {
		return &smtp.SMTPError{Code: code, EnhancedCode: smtp.EnhancedCode{code / 100, 1, 1}, Message: text}
	}
	refuse := func(code int, text string) func(string) error {
		return func(string) error { return answer(code, text) }
	}
	spam := &smtp.SMTPError{Code: 554, EnhancedCode: smtp.EnhancedCode{5, 7, 1}, Message: "spam"}
	for _, c := range []struct {
		name  string
		hooks mailcatcher.Hooks
		want  Failure
	}{
		{"sender not welcome", mailcatcher.Hooks{Sender: refuse(550, "not you")}, Failure{Stage: StageSender, Code: 550, Answer: "5.1.1 not you"}},
		{"sign-in wanted", mailcatcher.Hooks{Sender: refuse(530, "who are you")}, Failure{Stage: StageSender, Temporary: true, Code: 530, Answer: "5.1.1 who are you"}},
		{"mailbox full", mailcatcher.Hooks{Recipient: refuse(452, "full")}, Failure{Stage: StageRecipient, Temporary: true, Code: 452, Answer: "4.1.1 full"}},
		{"nobody there", mailcatcher.Hooks{Recipient: refuse(550, "no such person")}, Failure{Stage: StageRecipient, Code: 550, Answer: "5.1.1 no such person"}},
		{"come back later", mailcatcher.Hooks{Data: func(mailcatcher.Message, func()) error { return answer(451, "greylisted") }}, Failure{Stage: StageContent, Temporary: true, Code: 451, Answer: "4.1.1 greylisted"}},
		{"not this text", mailcatcher.Hooks{Data: func(mailcatcher.Message, func()) error { return spam }}, Failure{Stage: StageContent, Code: 554, Answer: "5.7.1 spam"}},
		{"nobody there, said late", mailcatcher.Hooks{Data: func(mailcatcher.Message, func()) error { return answer(550, "no such person") }}, Failure{Stage: StageContent, Code: 550, Answer: "5.1.1 no such person"}},
		{"come back then", mailcatcher.Hooks{Recipient: refuse(451, "try again in 5 minutes")}, Failure{Stage: StageRecipient, Temporary: true, Code: 451, Answer: "4.1.1 try again in 5 minutes", RetryAfter: 5 * time.Minute}},
		{"many lines", mailcatcher.Hooks{Recipient: refuse(550, "no\tsuch\nperson\x07 "+strings.Repeat("really ", 200))}, Failure{
			Stage: StageRecipient, Code: 550, Answer: ("no such 5.1.1 person " + strings.Repeat("really ", 200))[:499] + "…"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			server := catcher(t, nil, c.hooks)
			_, err := wayTo(t, server.Address()).Deliver(t.Context(), notice())
			got := *failed(t, err)
			got.Err = nil
			if diff := cmp.Diff(c.want, got); diff != "" {
				t.Errorf("failure (-want +got):\n%s", diff)
			}
			if got.BadAddress() != (c.want.Code == 550 && c.want.Stage != StageSender) {
				t.Errorf("bad address: %v", got.BadAddress())
			}
			if n := len(server.Messages()); n != 0 {
				t.Errorf("%d mails arrived all the same", n)
			}
		})
	}
}

func TestServerThatIsNotThereIsATemporaryFailure(t *testing.T) {
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	address := listener.Addr().String()
	listener.Close()
	_, err = wayTo(t, address).Deliver(t.Context(), notice())
	if f := failed(t, err); f.Stage != StageConnect || !f.Temporary || f.Uncertain || f.Code != 0 {
		t.Errorf("failure %+v", f)
	}
}

func TestServerThatHangsIsLeftAtTheDeadline(t *testing.T) {
	t.Run("before the greeting", func(t *testing.T) {
		listener, err := net.Listen("tcp", "127.0.0.1:0") // takes the line, says nothing
		if err != nil {
			t.Fatal(err)
		}
		defer listener.Close()
		ctx, cancel := context.WithTimeout(t.Context(), 100*time.Millisecond)
		defer cancel()
		_, err = wayTo(t, listener.Addr().String()).Deliver(ctx, notice())
		if f := failed(t, err); f.Stage != StageConnect || !f.Temporary || f.Uncertain || !errors.Is(err, context.DeadlineExceeded) {
			t.Errorf("failure %+v", f)
		}
	})
	hanging := func(t *testing.T) *mailcatcher.Catcher {
		release := make(chan struct{})
		c := catcher(t, nil, mailcatcher.Hooks{Data: func(mailcatcher.Message, func()) error { <-release; return nil }})
		t.Cleanup(func() { close(release) }) // runs before the catcher closes
		return c
	}
	t.Run("after the message, by the caller's deadline", func(t *testing.T) {
		ctx, cancel := context.WithTimeout(t.Context(), 200*time.Millisecond)
		defer cancel()
		_, err := wayTo(t, hanging(t).Address()).Deliver(ctx, notice())
		if f := failed(t, err); !f.Temporary || !errors.Is(err, context.DeadlineExceeded) { // how far it came depends on the machine
			t.Errorf("failure %+v", f)
		}
	})
	t.Run("after the message, by the caller's going away", func(t *testing.T) {
		ctx, cancel := context.WithCancel(t.Context())
		release := make(chan struct{})
		c := catcher(t, nil, mailcatcher.Hooks{Data: func(mailcatcher.Message, func()) error { cancel(); <-release; return nil }})
		t.Cleanup(func() { close(release) })
		_, err := wayTo(t, c.Address()).Deliver(ctx, notice())
		if f := failed(t, err); f.Stage != StageContent || !f.Temporary || !f.Uncertain || !errors.Is(err, context.Canceled) {
			t.Errorf("failure %+v", f)
		}
	})
	t.Run("after the message, by the timeout", func(t *testing.T) {
		way := wayTo(t, hanging(t).Address())
		way.Timeout = 200 * time.Millisecond
		_, err := way.Deliver(t.Context(), notice())
		if f := failed(t, err); !f.Temporary || f.Code != 0 {
			t.Errorf("failure %+v", f)
		}
	})
}

func TestLineDroppedAfterTheMessageIsUncertainAndSafeToRepeat(t *testing.T) {
	var mu sync.Mutex // a session may still be ending when the next one begins
	drops := 1
	var swallowed []string
	c := catcher(t, nil, mailcatcher.Hooks{Data: func(m mailcatcher.Message, hangUp func()) error {
		mu.Lock()
		defer mu.Unlock()
		if drops > 0 {
			drops--
			swallowed = append(swallowed, m.Header.Get("Message-Id"))
			hangUp()
			return errors.New("gone")
		}
		return nil
	}})
	way := wayTo(t, c.Address())
	_, err := way.Deliver(t.Context(), notice())
	if f := failed(t, err); f.Stage != StageContent || !f.Temporary || !f.Uncertain || f.Code != 0 {
		t.Fatalf("failure %+v", f)
	}
	receipt, err := way.Deliver(t.Context(), notice())
	if err != nil {
		t.Fatal(err)
	}
	mu.Lock()
	defer mu.Unlock()
	if !slices.Equal(swallowed, []string{"<" + receipt.MessageID + ">"}) {
		t.Errorf("first copy %v, second copy %s: the receiver cannot tell that they are one", swallowed, receipt.MessageID)
	}
}

// dropAfter drops the line once a text was sent on it.
type dropAfter struct {
	net.Listener
	text string
}

type droppingLine struct {
	net.Conn
	text string
}

func (l dropAfter) Accept() (net.Conn, error) {
	conn, err := l.Listener.Accept()
	if err != nil {
		return nil, err
	}
	return &droppingLine{conn, l.text}, nil
}

func (l *droppingLine) Write(p []byte) (int, error) {
	n, err := l.Conn.Write(p)
	if bytes.Contains(p, []byte(l.text)) {
		l.Close()
	}
	return n, err
}

func TestMessageThatWasTakenIsDeliveredWhateverComesAfter(t *testing.T) {
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	c := mailcatcher.Serve(dropAfter{listener, "queued"}, nil, mailcatcher.Hooks{})
	defer c.Close()
	if _, err := wayTo(t, c.Address()).Deliver(t.Context(), notice()); err != nil {
		t.Errorf("the server took the message and dropped the line: %v", err)
	}
	if n := len(c.Messages()); n != 1 {
		t.Errorf("%d mails", n)
	}
}

// certificate makes a server's certificate for 127.0.0.1 and the pool that trusts it.
func certificate(t *testing.T) (*tls.Config, *x509.CertPool) {
	t.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	template := &x509.Certificate{
		SerialNumber: big.NewInt(1), Subject: pkix.Name{CommonName: "mail"}, NotBefore: time.Now().Add(-time.Hour), NotAfter: time.Now().Add(time.Hour),
		IPAddresses: []net.IP{net.IPv4(127, 0, 0, 1)}, IsCA: true, BasicConstraintsValid: true, KeyUsage: x509.KeyUsageDigitalSignature | x509.KeyUsageCertSign,
	}
	der, err := x509.CreateCertificate(rand.Reader, template, template, &key.PublicKey, key)
	if err != nil {
		t.Fatal(err)
	}
	parsed, err := x509.ParseCertificate(der)
	if err != nil {
		t.Fatal(err)
	}
	pool := x509.NewCertPool()
	pool.AddCert(parsed)
	return &tls.Config{Certificates: []tls.Certificate{{Certificate: [][]byte{der}, PrivateKey: key}}}, pool
}

func TestStartTLSIsRequiredNotHopedFor(t *testing.T) {
	config, pool := certificate(t)
	for _, c := range []struct {
		name   string
		server *tls.Config
		roots  *x509.CertPool
		ok     bool
	}{
		{"offered and trusted", config, pool, true},
		{"not offered", nil, pool, false},
		{"offered by somebody else", config, x509.NewCertPool(), false},
	} {
		t.Run(c.name, func(t *testing.T) {
			server := catcher(t, c.server, mailcatcher.Hooks{})
			way := wayTo(t, server.Address())
			way.TLS, way.RootCAs = TLSStartTLS, c.roots
			_, err := way.Deliver(t.Context(), notice())
			if c.ok {
				if err != nil || len(server.Messages()) != 1 {
					t.Fatalf("%d mails, %v", len(server.Messages()), err)
				}
				return
			}
			if f := failed(t, err); f.Stage != StageConnect || !f.Temporary || len(server.Messages()) != 0 {
				t.Errorf("%d mails, failure %+v", len(server.Messages()), f)
			}
		})
	}
}

func TestImplicitTLSAndSignIn(t *testing.T) {
	config, pool := certificate(t)
	listener, err := tls.Listen("tcp", "127.0.0.1:0", config)
	if err != nil {
		t.Fatal(err)
	}
	server := mailcatcher.Serve(listener, nil, mailcatcher.Hooks{SignIn: func(username, password string) error {
		if username != "lindgren" || password != "a password with a space " {
			return smtp.ErrAuthFailed
		}
		return nil
	}})
	defer server.Close()
	way := wayTo(t, server.Address())
	way.TLS, way.RootCAs = TLSImplicit, pool
	way.Username, way.PasswordFile = "lindgren", filepath.Join(t.TempDir(), "password")

	if _, err := way.Deliver(t.Context(), notice()); !failed(t, err).Temporary || !errors.Is(err, os.ErrNotExist) {
		t.Errorf("no password file: %v", err)
	}
	write := func(password string) {
		if err := os.WriteFile(way.PasswordFile, []byte(password), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	write("wrong\n")
	_, err = way.Deliver(t.Context(), notice())
	if f := failed(t, err); f.Stage != StageConnect || !f.Temporary || f.Code != 535 || strings.Contains(err.Error(), "wrong") {
		t.Errorf("wrong password: %+v", f)
	}
	write("a password with a space \n") // changed without a restart
	if _, err := way.Deliver(t.Context(), notice()); err != nil || len(server.Messages()) != 1 {
		t.Errorf("%d mails, %v", len(server.Messages()), err)
	}
}

func TestMessageThatCannotBeSentIsRefusedBeforeAnyConnection(t *testing.T) {
	server := catcher(t, nil, mailcatcher.Hooks{})
	for name, change := range map[string]func(*Message){
		"no id":                   func(m *Message) { m.ID = uuid.Nil },
		"no date":                 func(m *Message) { m.Date = time.Time{} },
		"no subject":              func(m *Message) { m.Subject = " \n\x00" },
		"no text":                 func(m *Message) { m.Text = "\n\t " },
		"not UTF-8":               func(m *Message) { m.Text = "\xff" },
		"no address":              func(m *Message) { m.To = "" },
		"two addresses":           func(m *Message) { m.To = "a@example.org, b@example.org" },
		"address with line break": func(m *Message) { m.To = "a@example.org\r\nBcc: b@example.org" },
		"name with line break":    func(m *Message) { m.To = "\"Anna\r\nBcc: b@example.org\" <a@example.org>" },
		"enclosed nothing":        func(m *Message) { m.Enclosed = &Enclosure{"a.pdf", "application/pdf", nil} },
		"enclosed with a header": func(m *Message) {
			m.Enclosed = &Enclosure{"a.pdf\r\nBcc: b@example.org", "application/pdf", []byte("x")}
		},
		"address with NUL":     func(m *Message) { m.To = "a\x00@example.org" },
		"address not in ASCII": func(m *Message) { m.To = "anna@bücher.example" },
	} {
		m := notice()
		change(&m)
		_, err := wayTo(t, server.Address()).Deliver(t.Context(), m)
		if f := failed(t, err); f.Stage != StageMessage || f.Temporary {
			t.Errorf("%s: %+v", name, f)
		}
	}
	if n := len(server.Messages()); n != 0 {
		t.Errorf("%d mails arrived", n)
	}
}

func TestNoTextCanAddAHeaderARecipientOrASecondMail(t *testing.T) {
	server := catcher(t, nil, mailcatcher.Hooks{})
	way := wayTo(t, server.Address())
	nasty := rapid.OneOf(
		rapid.String(),
		rapid.SampledFrom([]string{
			"x\r\nBcc: evil@example.net", "x\nBcc: evil@example.net", "x\r\n\r\nbody", "x\r\n.\r\nMAIL FROM:<evil@example.net>\r\n",
			"=?utf-8?q?x=0D=0ABcc:_evil=40example.net?=", strings.Repeat("long ", 400), strings.Repeat("ü", 2000), ".", "..\n.\n", "x\n.\ny",
		}),
	)
	sent := 0
	rapid.Check(t, func(t *rapid.T) {
		m := notice()
		m.Subject, m.Text = "S"+nasty.Draw(t, "subject"), "T"+nasty.Draw(t, "text")
		if _, err := way.Deliver(context.Background(), m); err != nil {
			t.Fatal(err)
		}
		sent++
		got := server.Messages()
		if len(got) != min(sent, 1000) {
			t.Fatalf("%d mails for %d notices", len(got), sent)
		}
		last := got[len(got)-1]
		if last.To != "anna.berg@example.org" || len(last.Header) != 9 || last.Header["Bcc"] != nil {
			t.Fatalf("to %q, headers %v", last.To, last.Header)
		}
		if !strings.HasPrefix(last.Subject, "S") || strings.ContainsAny(last.Subject, "\r\n") || !strings.HasPrefix(last.Text, "T") {
			t.Fatalf("subject %q text %q", last.Subject, last.Text)
		}
		for line := range bytes.Lines(last.Raw) {
			if len(line) > 998 {
				t.Fatalf("a line of %d bytes (RFC 5322 allows 998)", len(line))
			}
		}
	})
}

func TestFaultyConfigurationIsNamedAsAWhole(t *testing.T) {
	err := SMTP{Host: "mail example", Port: 70000, Username: "u", TLS: "maybe", From: "nobody", HELO: "a b", Timeout: -1}.Validate()
	if err == nil {
		t.Fatal("accepted")
	}
	for _, want := range []string{"host", "port 70000", `tls "maybe"`, "username and password file", "from:", "helo", "timeout"} {
		if !strings.Contains(err.Error(), "smtp: "+want) {
			t.Errorf("%q is missing in:\n%v", want, err)
		}
	}
	clear := SMTP{Host: "::1", Port: 25, Username: "u", PasswordFile: "f", TLS: TLSNone, From: "a@example.org", HELO: "h", Timeout: 1}
	if err := clear.Validate(); err == nil || !strings.Contains(err.Error(), "in the clear") {
		t.Errorf("a password in the clear: %v", err)
	}
}

func FuzzParseAddress(f *testing.F) {
	for _, seed := range []string{"a@example.org", "Anna <a@example.org>", "", "a@b\r\nBcc: c@d", "\"\\\r\"@x", "a@b, c@d", "<>", "ü@x"} {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, text string) {
		address, err := parseAddress(text)
		if err != nil {
			return
		}
		if strings.ContainsAny(address.String(), "\r\n\x00") || !strings.Contains(address.Address, "@") {
			t.Fatalf("%q became %q", text, address)
		}
	})
}
