package mailcatcher_test

import (
	"errors"
	"fmt"
	"io"
	"net/smtp"
	"net/textproto"
	"testing"
	"time"

	"lintel.example/lintel/internal/notify/mailcatcher"
)

func TestTroubleFallsOnTheSameRecipientsInEachRun(t *testing.T) {
	for what, c := range map[string]struct {
		trouble *mailcatcher.Trouble
		codes   [2]int // of the first and the second try; 0: taken, -1: no answer
		kept    int
	}{
		"refused":    {&mailcatcher.Trouble{RefuseOneIn: 1}, [2]int{550, 550}, 0},
		"greylisted": {&mailcatcher.Trouble{GreylistOneIn: 1}, [2]int{451, 0}, 1},
		"busy":       {&mailcatcher.Trouble{BusyOneIn: 1}, [2]int{452, 0}, 1},
		"lost":       {&mailcatcher.Trouble{LoseOneIn: 1}, [2]int{-1, 0}, 1},
		"closed":     {&mailcatcher.Trouble{CloseOneIn: 1}, [2]int{-1, -1}, 2},
		"none":       {&mailcatcher.Trouble{}, [2]int{0, 0}, 2},
	} {
		server, err := mailcatcher.Listen("127.0.0.1:0", nil, mailcatcher.Hooks{Trouble: c.trouble})
		if err != nil {
			t.Fatal(err)
		}
		for i, want := range c.codes {
			err := smtp.SendMail(server.Address(), nil, "a@example.org", []string{"b@example.org"}, []byte("Subject: x\r\n\r\nx\r\n"))
			var said *textproto.Error
			got := 0
			switch {
			case errors.As(err, &said):
				got = said.Code
			case errors.Is(err, io.EOF):
				got = -1
			case err != nil:
				got = -1
			}
			if got != want {
				t.Errorf("%s, try %d: %d (%v), want %d", what, i+1, got, err, want)
			}
		}
		for deadline := time.Now().Add(10 * time.Second); len(server.Messages()) < c.kept && time.Now().Before(deadline); { // a line may be closed before the mail is kept
			time.Sleep(time.Millisecond)
		}
		if n := len(server.Messages()); n != c.kept {
			t.Errorf("%s: %d kept, want %d", what, n, c.kept)
		}
		server.Close()
	}
	some := mailcatcher.Trouble{RefuseOneIn: 10}
	n := 0
	for i := range 1000 {
		if some.Refuses(fmt.Sprintf("person%d@example.org", i)) {
			n++
		}
	}
	if n < 50 || n > 200 {
		t.Errorf("%d of 1000 are refused", n)
	}
}
