package mailcatcher

import (
	"context"
	"errors"
	"fmt"
	"net/smtp"
	"strings"
	"testing"
)

// Sent with the standard library's client, so that the catcher is not tested by the sender it is made for.
func send(t *testing.T, c *Catcher, subject, text string) {
	t.Helper()
	mail := fmt.Sprintf("From: a@example.org\r\nTo: b@example.org\r\nSubject: %s\r\n\r\n%s\r\n", subject, text)
	if err := smtp.SendMail(c.Address(), nil, "a@example.org", []string{"b@example.org", "c@example.org"}, []byte(mail)); err != nil {
		t.Fatal(err)
	}
}

func TestWaitGivesWhatIsHereAndWhatStillComes(t *testing.T) {
	c, err := Listen("127.0.0.1:0", nil, Hooks{})
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close()
	subject := func(want string) func(Message) bool { return func(m Message) bool { return m.Subject == want } }

	send(t, c, "first", "one")
	got, err := c.Wait(t.Context(), subject("first"))
	if err != nil || got.Text != "one\n" || got.From != "a@example.org" || got.To != "b@example.org, c@example.org" {
		t.Fatalf("%+v, %v", got, err)
	}

	waiting := make(chan error)
	go func() {
		got, err := c.Wait(t.Context(), subject("third"))
		if err == nil && got.Text != "three\n" {
			err = fmt.Errorf("text %q", got.Text)
		}
		waiting <- err
	}()
	send(t, c, "=?utf-8?q?zw=C3=B6lf?=", "two")
	send(t, c, "third", "three")
	if err := <-waiting; err != nil {
		t.Fatal(err)
	}
	if _, err := c.Wait(t.Context(), subject("zwölf")); err != nil {
		t.Fatal(err)
	}

	ended, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := c.Wait(ended, subject("never")); !errors.Is(err, context.Canceled) {
		t.Fatalf("waiting for what never comes: %v", err)
	}
}

func TestCatcherClosesEvenBeforeItHasBegunToServe(t *testing.T) {
	for range 200 {
		c, err := Listen("127.0.0.1:0", nil, Hooks{})
		if err != nil {
			t.Fatal(err)
		}
		if err := c.Close(); err != nil {
			t.Fatal(err)
		}
	}
}

func TestOldestMailGoesWhenThereAreTooMany(t *testing.T) {
	c := &Catcher{arrived: make(chan struct{})}
	for i := range mostKept + 5 {
		c.keep(Message{Subject: fmt.Sprint(i)})
	}
	got := c.Messages()
	if len(got) != mostKept || got[0].Subject != "5" {
		t.Fatalf("%d kept, the oldest is %s", len(got), got[0].Subject)
	}
}

func TestMailThatCannotBeReadIsRefused(t *testing.T) {
	c, err := Listen("127.0.0.1:0", nil, Hooks{})
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close()
	err = smtp.SendMail(c.Address(), nil, "a@example.org", []string{"b@example.org"}, []byte("no header at all\r\n"))
	if err == nil || !strings.HasPrefix(err.Error(), "554") || len(c.Messages()) != 0 {
		t.Fatalf("%v, %d kept", err, len(c.Messages()))
	}
}
