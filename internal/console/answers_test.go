package console_test

import (
	"fmt"
	"net/http"
	"net/url"
	"regexp"
	"testing"
	"time"
)

// letterLink is an address in a letter: the page to take note (answer), or to decline reminders (reminders).
func (w *world) letterLink(path string) string {
	purpose := map[string]string{"answer": "acknowledge", "reminders": "decline"}[path]
	return "/" + path + "/" + w.keys.SignLink(purpose, w.mailed, w.now.Add(time.Hour))
}

func TestARecipientTakesNoteByALinkWithoutSigningIn(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	path := w.letterLink("answer")
	w.nobody().get(t, path).want(t, 200, "A letter", "I have taken note of it", "makes no door safe").lacks(t, "Sign out", "Doors")
	w.nobody().post(t, path, url.Values{"/name": {""}}).want(t, 422)
	w.nobody().post(t, path, url.Values{"/name": {"Ines Holm"}}).leads(t, path)
	w.nobody().get(t, path).want(t, 200, "Ines Holm has taken note").lacks(t, "I have taken note of it")
	w.nobody().get(t, path[:len(path)-3]).want(t, 404, "cut short")
	w.nobody().get(t, "/answer/"+w.keys.SignLink("decline", w.mailed, w.now.Add(time.Hour))).want(t, 404)
	w.now = w.now.Add(61 * time.Minute)
	w.nobody().get(t, path).want(t, 404, "The time of this link is over.")
	w.nobody().post(t, path, url.Values{"/name": {"Late"}}).want(t, 404)
}

// RFC 8058, section 3.2: the mail program posts List-Unsubscribe=One-Click to the same address, without cookies, and looks at no page.
func TestRemindersAreDeclinedByOneClickSeenAndTakenBackByTheOffice(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	path := w.letterLink("reminders")
	w.nobody().get(t, path).want(t, 200, "estates@harbour.example", "No more reminders to this address")
	if n := w.count(t, "select count(*) from declined_address"); n != 0 {
		t.Fatalf("%d addresses declined by looking at the page", n)
	}
	w.nobody().post(t, path, url.Values{"List-Unsubscribe": {"One-Click"}}).want(t, 200, "Done.", "unsafe is told all the same")
	w.support.get(t, "/unanswered").want(t, 200, "estates@harbour.example").lacks(t, "Remind again")
	w.dispatcher.get(t, "/unanswered").want(t, 200, "estates@harbour.example", "Remind again")
	w.dispatcher.post(t, "/declined-addresses/end", url.Values{"address": {"estates@harbour.example"}}).leads(t, "/unanswered#declined")
	w.dispatcher.get(t, "/unanswered").want(t, 200, "No address has declined reminders.")
}

func TestWhatDidNotArriveOrHasNoAnswerIsListedAndCounted(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	w.dispatcher.get(t, "/unanswered").want(t, 200, "There is none")
	w.dispatcher.get(t, "/").lacks(t, "nobody has taken note")
	if _, err := w.WriteLetters(t.Context()); err != nil {
		t.Fatal(err)
	}
	for _, statement := range []string{
		`update letter set state = 'sent', sent_at = made_at where state = 'queued'`,
		`update notice set state = 'sent', sent_at = made_at where state = 'sending'`,
		`update notice set state = 'bounced', because = 'bounced', sent_at = null where notice_id = (select notice_id from notice where case_id is null and role = 'owner' and state = 'sent' order by notice_id limit 1)`,
	} {
		if _, err := w.db.Admin.Exec(t.Context(), statement); err != nil {
			t.Fatal(err)
		}
	}
	w.dispatcher.get(t, "/unanswered").want(t, 200, "came back", "The letter came back.").lacks(t, "Somebody has told us")
	if _, err := w.db.Admin.Exec(t.Context(), `update notice set made_at = made_at - interval '73 hours', sent_at = sent_at - interval '73 hours'`); err != nil {
		t.Fatal(err)
	}
	page := w.dispatcher.get(t, "/unanswered?what=no_word").want(t, 200, "UNSAFE door", "3 days ago", "Somebody has told us that they know").lacks(t, "came back")
	w.dispatcher.get(t, "/unanswered?what=not_arrived").want(t, 200, "came back").lacks(t, "UNSAFE door")
	w.dispatcher.get(t, "/").want(t, 200, "nobody has taken note of")
	action := regexp.MustCompile(`/letters/[0-9a-f-]+/acknowledgement`).FindString(page.body)
	w.dispatcher.post(t, action, url.Values{"/name": {""}}).want(t, 422)
	w.dispatcher.post(t, action, url.Values{"/name": {"Ines Holm"}}).leads(t, "/unanswered")
	w.agent.get(t, "/").lacks(t, "nobody has taken note")
}

// The limit is for all who come by links together; the clock stands, so nothing comes back.
func TestTheyWhoTryLinksInMassesAreKeptOff(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	refused := 0
	for i := range 200 {
		if got := w.nobody().get(t, fmt.Sprintf("/answer/test.%d", i)); got.status == http.StatusTooManyRequests {
			refused++
		} else if got.status != http.StatusNotFound {
			t.Fatalf("got %d", got.status)
		}
	}
	if refused != 80 {
		t.Errorf("%d of 200 were refused, want 80", refused)
	}
	w.now = w.now.Add(time.Minute)
	w.nobody().get(t, w.letterLink("answer")).want(t, 200)
}
