package notify

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"net"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/notify/mailcatcher"
)

// counted counts the lines that are opened.
type counted struct {
	net.Listener
	mu sync.Mutex
	n  int
}

func (c *counted) Accept() (net.Conn, error) {
	conn, err := c.Listener.Accept()
	c.mu.Lock()
	defer c.mu.Unlock()
	if err == nil {
		c.n++
	}
	return conn, err
}

func (c *counted) opened() int {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.n
}

func counting(t *testing.T, hooks mailcatcher.Hooks) (*counted, *mailcatcher.Catcher) {
	t.Helper()
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	c := &counted{Listener: listener}
	server := mailcatcher.Serve(c, nil, hooks)
	t.Cleanup(func() { _ = server.Close() })
	return c, server
}

func to(n int, domain string) Message {
	m := notice()
	m.ID[15], m.ID[14] = byte(n), byte(n>>8)
	m.To = fmt.Sprintf("person%d@%s", n, domain)
	return m
}

func TestOneLineCarriesManyMessagesAlsoAfterARefusal(t *testing.T) {
	lines, server := counting(t, mailcatcher.Hooks{Trouble: &mailcatcher.Trouble{RefuseOneIn: 7, BusyOneIn: 7}})
	way := wayTo(t, server.Address())
	refused := 0
	for n := range 60 {
		if _, err := way.Deliver(t.Context(), to(n, "example.org")); err != nil {
			refused++
		}
	}
	if lines.opened() != 1 || refused == 0 || len(server.Messages()) != 60-refused {
		t.Errorf("%d lines, %d refused, %d mails", lines.opened(), refused, len(server.Messages()))
	}
}

func TestALineIsNotUsedForEver(t *testing.T) {
	lines, server := counting(t, mailcatcher.Hooks{})
	way := wayTo(t, server.Address())
	for n := range mostOverALine + 1 {
		if _, err := way.Deliver(t.Context(), to(n, "example.org")); err != nil {
			t.Fatal(err)
		}
	}
	if lines.opened() != 2 {
		t.Errorf("%d lines", lines.opened())
	}
}

func TestALineThatTheServerEndedMeanwhileIsOpenedAnew(t *testing.T) {
	server, err := mailcatcher.Listen("127.0.0.1:0", nil, mailcatcher.Hooks{})
	if err != nil {
		t.Fatal(err)
	}
	way, address := wayTo(t, server.Address()), server.Address()
	if _, err := way.Deliver(t.Context(), to(1, "example.org")); err != nil {
		t.Fatal(err)
	}
	if err := server.Close(); err != nil {
		t.Fatal(err)
	}
	next, err := mailcatcher.Listen(address, nil, mailcatcher.Hooks{})
	if err != nil {
		t.Fatal(err)
	}
	defer next.Close()
	if _, err := way.Deliver(t.Context(), to(2, "example.org")); err != nil || len(next.Messages()) != 1 {
		t.Errorf("%d mails, %v", len(next.Messages()), err)
	}
}

func TestFewLinesAreOpenAtOnceAndFewerToOneDomain(t *testing.T) {
	var mu sync.Mutex
	under, most := map[string]int{}, map[string]int{}
	enter := make(chan struct{}, 100)
	release := make(chan struct{})
	_, server := counting(t, mailcatcher.Hooks{Data: func(m mailcatcher.Message, _ func()) error {
		domain := m.To[strings.IndexByte(m.To, '@')+1:]
		mu.Lock()
		for _, of := range []string{domain, "all"} {
			under[of]++
			most[of] = max(most[of], under[of])
		}
		mu.Unlock()
		enter <- struct{}{}
		<-release
		mu.Lock()
		under[domain]--
		under["all"]--
		mu.Unlock()
		return nil
	}})
	way := wayTo(t, server.Address())
	var senders sync.WaitGroup
	for n := range 24 {
		senders.Go(func() {
			if _, err := way.Deliver(t.Context(), to(n, []string{"one.example", "two.example", "three.example"}[n%3])); err != nil {
				t.Error(err)
			}
		})
	}
	for range mostLines {
		<-enter
	}
	close(release)
	senders.Wait()
	if most["all"] != mostLines {
		t.Errorf("%d at once, want %d", most["all"], mostLines)
	}
	for _, domain := range []string{"one.example", "two.example", "three.example"} {
		if most[domain] > mostLinesToDomain || most[domain] == 0 {
			t.Errorf("%d at once to %s", most[domain], domain)
		}
	}
}

func TestWhoWaitsForALineCanBeToldToStop(t *testing.T) {
	entered, release := make(chan struct{}, 9), make(chan struct{})
	_, server := counting(t, mailcatcher.Hooks{Data: func(mailcatcher.Message, func()) error { entered <- struct{}{}; <-release; return nil }})
	way := wayTo(t, server.Address())
	var busy sync.WaitGroup
	for n := range mostLinesToDomain {
		busy.Go(func() { _, _ = way.Deliver(context.Background(), to(n, "example.org")) })
		<-entered
	}
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	_, err := way.Deliver(ctx, to(9, "example.org"))
	if f := failed(t, err); !f.Temporary || f.Uncertain || !errors.Is(err, context.Canceled) {
		t.Errorf("%+v", f)
	}
	close(release)
	busy.Wait()
}

func TestALetterSaysTheSameInPlainTextAndInHTML(t *testing.T) {
	c := catcher(t, nil, mailcatcher.Hooks{})
	m := notice()
	m.HTML = "<p>Harbour Library, main entrance. Grüße</p>"
	way := wayTo(t, c.Address())
	for range 2 {
		if _, err := way.Deliver(t.Context(), m); err != nil {
			t.Fatal(err)
		}
	}
	got := c.Messages()
	if len(got) != 2 || string(got[0].Raw) != string(got[1].Raw) || got[0].Text != m.Text || strings.TrimSpace(got[0].HTML) != m.HTML {
		t.Errorf("%d mails, text %q, HTML %q", len(got), got[0].Text, got[0].HTML)
	}
	if kind := got[0].Header.Get("Content-Type"); !strings.HasPrefix(kind, "multipart/alternative") {
		t.Error(kind)
	}
}

func TestTheEnvelopeSaysWhichLetterABounceIsAbout(t *testing.T) {
	c := catcher(t, nil, mailcatcher.Hooks{})
	way := wayTo(t, c.Address())
	way.Bounces = "bounces@lindgren.example"
	if _, err := way.Deliver(t.Context(), notice()); err != nil {
		t.Fatal(err)
	}
	got := c.Messages()[0]
	if got.From != "bounces+"+notice().ID.String()+"@lindgren.example" || !strings.Contains(got.Header.Get("From"), "service@lindgren.example") {
		t.Errorf("envelope %s, from %s", got.From, got.Header.Get("From"))
	}
}

func TestHowLongAServerAsksToWait(t *testing.T) {
	for answer, want := range map[string]time.Duration{
		"4.7.1 greylisted, try again in 300 seconds": 5 * time.Minute, "please retry in 10 minutes": 10 * time.Minute, "wait 2h": 2 * time.Hour,
		"try later": 0, "4.2.0 mailbox 12 is busy": 0, "come back in 99999 hours": longestWait, "": 0, "5min": 5 * time.Minute,
	} {
		if got := retryAfter(answer); got != want {
			t.Errorf("%q: %s, want %s", answer, got, want)
		}
	}
}

const about = "0198f3a1-5b7c-7d10-8e2f-0123456789ab"

// report is a report as mail servers write them (RFC 3464, the example of its appendix in our words).
func report(to, status, messageID string) string {
	return strings.ReplaceAll(`From: Mail Delivery System <postmaster@relay.example>
To: <`+to+`>
Subject: Undelivered mail
Content-Type: multipart/report; report-type=delivery-status; boundary="cut"
MIME-Version: 1.0

--cut
Content-Type: text/plain

The mail did not arrive.

--cut
Content-Type: message/delivery-status

Reporting-MTA: dns; relay.example
Arrival-Date: Fri, 12 Feb 2027 08:30:00 +0000

`+status+`
--cut
Content-Type: text/rfc822-headers

From: service@lindgren.example
Message-ID: `+messageID+`
Subject: Door

--cut--
`, "\n", "\r\n")
}

const (
	failedStatus  = "Final-Recipient: rfc822; anna.berg@example.org\nAction: failed\nStatus: 5.1.1 (bad mailbox)\nDiagnostic-Code: smtp; 550 5.1.1 nobody of that name\n"
	delayedStatus = "Final-Recipient: rfc822; anna.berg@example.org\nAction: delayed\nStatus: 4.4.1\n"
)

func TestAReportIsReadForWhatItIsAboutAndWhatHappened(t *testing.T) {
	plain, plus, id := "service@lindgren.example", "bounces+"+about+"@lindgren.example", "<"+about+"@lindgren.example>"
	for name, c := range map[string]struct {
		raw  string
		want Bounce
	}{
		"by the message":            {report(plain, failedStatus, id), Bounce{Action: "failed", Status: "5.1.1", Answer: "5.1.1 550 5.1.1 nobody of that name"}},
		"by the address":            {report(plus, failedStatus, "<stranger@relay.example>"), Bounce{Action: "failed", Status: "5.1.1", Answer: "5.1.1 550 5.1.1 nobody of that name"}},
		"by both":                   {report(plus, delayedStatus, id), Bounce{Action: "delayed", Status: "4.4.1", Answer: "4.4.1"}},
		"the gravest of several":    {report(plain, delayedStatus+"\n"+failedStatus+"\n"+delayedStatus, id), Bounce{Action: "failed", Status: "5.1.1", Answer: "5.1.1 550 5.1.1 nobody of that name"}},
		"a status that is none":     {report(plain, strings.Replace(failedStatus, "5.1.1 (bad mailbox)", "bad", 1), id), Bounce{Action: "failed", Answer: "550 5.1.1 nobody of that name"}},
		"delivered after all":       {report(plain, strings.Replace(delayedStatus, "delayed", "Delivered", 1), id), Bounce{Action: "delivered", Status: "4.4.1", Answer: "4.4.1"}},
		"address in another header": {strings.Replace(report(plain, failedStatus, ""), "Subject:", "Delivered-To: "+plus+"\r\nSubject:", 1), Bounce{Action: "failed", Status: "5.1.1", Answer: "5.1.1 550 5.1.1 nobody of that name"}},
	} {
		c.want.MessageID = uuid.MustParse(about)
		if got, err := ReadBounce([]byte(c.raw)); err != nil || got != c.want {
			t.Errorf("%s: %+v, %v, want %+v", name, got, err, c.want)
		}
	}
}

func TestWhatIsNoReportAboutALetterOfOursIsRefused(t *testing.T) {
	good := report("bounces+"+about+"@lindgren.example", failedStatus, "<"+about+"@lindgren.example>")
	for want, raw := range map[string]string{
		"no mail":              "not a mail at all",
		"no report":            "From: a@example.org\r\nContent-Type: text/plain\r\n\r\nI am on holiday.\r\n",
		"names no message":     report("service@lindgren.example", failedStatus, "<hello@relay.example>"),
		"names two messages":   strings.Replace(good, "Message-ID: <0198f3a1", "Message-ID: <0198f3a2", 1),
		"says of no recipient": report("bounces+"+about+"@lindgren.example", "Action: eaten\n", "<"+about+"@lindgren.example>"),
		"longer than":          good + strings.Repeat("x", MostBounceBytes),
		"the returned message": good[:strings.Index(good, "--cut--")],
	} {
		if b, err := ReadBounce([]byte(raw)); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%s: %+v, %v", want, b, err)
		}
	}
}

func FuzzReadBounce(f *testing.F) {
	for _, status := range []string{failedStatus, delayedStatus, "", "Action: failed", "Status: 5.1.1\n\nAction: failed"} {
		f.Add([]byte(report("bounces+"+about+"@lindgren.example", status, "<"+about+"@lindgren.example>")))
	}
	f.Add([]byte("Content-Type: multipart/report; report-type=delivery-status; boundary=x\n\n--x\nContent-Transfer-Encoding: base64\nContent-Type: message/delivery-status\n\nQQ=="))
	f.Fuzz(func(t *testing.T, raw []byte) {
		b, err := ReadBounce(raw)
		if err != nil {
			return
		}
		if b.MessageID == uuid.Nil || gravity(b.Action) == 0 || len([]rune(b.Answer)) > longestAnswer || strings.ContainsAny(b.Answer+b.Status, "\r\n\x00") {
			t.Fatalf("%+v", b)
		}
	})
}

// RFC 2369, section 3.2, and RFC 8058, section 3.1: both headers of a letter that may be declined, the second only where the address is https.
func TestALetterThatMayBeDeclinedSaysSoToMailPrograms(t *testing.T) {
	_, server := counting(t, mailcatcher.Hooks{})
	way := wayTo(t, server.Address())
	for i, c := range []struct{ link, unsubscribe, post string }{
		{"", "", ""},
		{"https://doors.example/reminders/k.AbC-_9", "<https://doors.example/reminders/k.AbC-_9>", "List-Unsubscribe=One-Click"},
		{"http://10.0.0.7:8080/reminders/k.AbC", "<http://10.0.0.7:8080/reminders/k.AbC>", ""},
	} {
		m := to(i, "example.org")
		m.Unsubscribe = c.link
		for range 2 {
			if _, err := way.Deliver(t.Context(), m); err != nil {
				t.Fatal(err)
			}
		}
		got := server.Messages()[2*i:]
		if !bytes.Equal(got[0].Raw, got[1].Raw) {
			t.Errorf("%s: sent again it is another letter", c.link)
		}
		if h := got[0].Header; h.Get("List-Unsubscribe") != c.unsubscribe || h.Get("List-Unsubscribe-Post") != c.post {
			t.Errorf("%s: %q and %q, want %q and %q", c.link, h.Get("List-Unsubscribe"), h.Get("List-Unsubscribe-Post"), c.unsubscribe, c.post)
		}
	}
	for _, wrong := range []string{"mailto:stop@doors.example", "https://doors.example/> , <https://elsewhere.example", "https://doors.example/a b", "https://doors.example/\r\nBcc: x@example.org"} {
		m := to(9, "example.org")
		m.Unsubscribe = wrong
		if _, err := way.Deliver(t.Context(), m); err == nil {
			t.Errorf("%q was put into a header", wrong)
		}
	}
}
