package fleet_test

import (
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/fault"
	"lintel.example/lintel/internal/fleet"
)

var linkOf = regexp.MustCompile(`https://doors\.example/(answer|reminders)/(\S+)`)

// linked is the world of notices with links in its letters, to the address.
func linked(t *testing.T) (r *rig, post *letters, plan fleet.Plan, sent func(address string) fleet.Letter) {
	t.Helper()
	r, post, plan = noticeWorld(t)
	r.PublicURL = "https://doors.example/"
	return r, post, plan, func(address string) fleet.Letter {
		t.Helper()
		r.send(t)
		list := post.collect()
		i := slices.IndexFunc(list, func(l fleet.Letter) bool { return l.Address == address })
		if i < 0 {
			t.Fatalf("nothing went to %s, only to %v", address, addresses(list))
		}
		return list[i]
	}
}

// tokenIn is the token of the only link in a text.
func tokenIn(t *testing.T, text, kind string) string {
	t.Helper()
	found := linkOf.FindAllStringSubmatch(text, -1)
	if len(found) != 1 || found[0][1] != kind {
		t.Fatalf("the letter has the links %q, want one of %s:\n%s", found, kind, text)
	}
	return found[0][2]
}

func (r *rig) unanswered(t *testing.T, what string) (list []string) {
	t.Helper()
	notices, err := r.Unanswered(t.Context(), dispatcher, fleet.UnansweredQuery{What: what, Limit: 100})
	if err != nil {
		t.Fatal(err)
	}
	for _, n := range notices {
		list = append(list, n.RecipientName+" "+n.Rung+" "+n.State)
	}
	slices.Sort(list)
	return list
}

func TestWhoDeclinesRemindersIsToldOfWhatIsDueAllTheSame(t *testing.T) {
	t.Parallel()
	r, post, _, sent := linked(t)
	r.queue(t, "2026-03-03") // due on the 20th
	letter := sent("owner@kestrel.example")
	token := tokenIn(t, letter.Text, "reminders")
	if !strings.HasSuffix(letter.DeclineLink, token) || strings.Contains(letter.Text, "cannot be unsubscribed") {
		t.Errorf("%s\n%s", letter.DeclineLink, letter.Text)
	}
	if _, err := r.LetterToDecline(t.Context(), token); err != nil {
		t.Fatal(err)
	}
	if list, err := r.DeclinedAddresses(t.Context(), dispatcher, "", 10); err != nil || len(list) != 0 {
		t.Fatal("looking at the page declines: ", list, err)
	}
	for range 2 {
		if err := r.DeclineByLink(t.Context(), token); err != nil {
			t.Fatal(err)
		}
	}
	r.now = fiveUTC(day("2026-03-13"))
	r.queue(t, "2026-03-13") // a week ahead
	r.send(t)
	if list := addresses(post.collect()); !slices.Equal(list, []string{"agent@kestrel.example"}) {
		t.Errorf("a week ahead went to %v", list)
	}
	r.now = fiveUTC(day("2026-03-20"))
	r.queue(t, "2026-03-20")
	if due := sent("owner@kestrel.example"); due.DeclineLink != "" || !strings.Contains(due.Text, "cannot be unsubscribed") {
		t.Errorf("on the day itself:\n%s", due.Text)
	}
	if n := r.count(t, `select count(*) from notice where state = 'withdrawn' and because = 'declined' and rung = 'due_in_7'`); n != 1 {
		t.Errorf("%d notices on record as declined", n)
	}
	if err := r.EndDecline(t.Context(), dispatcher, "owner@kestrel.example"); err != nil {
		t.Fatal(err)
	}
	if list, err := r.DeclinedAddresses(t.Context(), dispatcher, "", 10); err != nil || len(list) != 0 {
		t.Error(list, err)
	}
	if err := r.EndDecline(t.Context(), dispatcher, "nobody@kestrel.example"); !fault.Is(err, "address_not_declined") {
		t.Error(err)
	}
	if n := r.count(t, `select count(*) from audit_event where action in ('reminders.decline', 'reminders.resume')`); n != 3 {
		t.Errorf("%d lines in the audit", n)
	}
}

func TestALetterPastDueIsUnansweredUntilSomebodyTakesNote(t *testing.T) {
	t.Parallel()
	r, _, _, sent := linked(t)
	r.now = fiveUTC(day("2026-03-23"))
	r.queue(t, "2026-03-23")
	letter := sent("owner@kestrel.example")
	token := tokenIn(t, letter.Text, "answer")
	if letter.DeclineLink != "" {
		t.Error("what is overdue can be declined")
	}
	if got := r.unanswered(t, ""); got != nil {
		t.Errorf("on the same day the office sees %q", got)
	}
	r.pass(73 * time.Hour)
	if got := r.unanswered(t, "no_word"); !slices.Equal(got, []string{"agent overdue sent", "owner overdue sent"}) {
		t.Errorf("after three days the office sees %q", got)
	}
	if l, note, err := r.LetterToNote(t.Context(), token); err != nil || note != nil || l.LetterID != letter.LetterID {
		t.Fatal(l.LetterID, note, err)
	}
	if got := r.unanswered(t, ""); len(got) != 2 {
		t.Errorf("looking at the page takes note: %q", got)
	}
	if err := r.TakeNoteByLink(t.Context(), token, " "); len(fault.Of(err)) != 1 || fault.Of(err)[0].Pointer != "/name" {
		t.Errorf("nobody has taken note: %v", err)
	}
	for _, name := range []string{"Ines Holm", "somebody after her"} {
		if err := r.TakeNoteByLink(t.Context(), token, name); err != nil {
			t.Fatal(err)
		}
	}
	if _, note, err := r.LetterToNote(t.Context(), token); err != nil || note == nil || note.Name != "Ines Holm" || note.PersonID != nil || !note.At.Equal(r.now) {
		t.Errorf("%+v %v", note, err)
	}
	if got := r.unanswered(t, ""); !slices.Equal(got, []string{"agent overdue sent"}) {
		t.Errorf("in the end the office sees %q", got)
	}
	r.pass(60 * 24 * time.Hour)
	if err := r.TakeNoteByLink(t.Context(), token, "Too late"); !fault.Is(err, "link_ended") {
		t.Errorf("after its time: %v", err)
	}
	if err := r.TakeNoteByLink(t.Context(), r.Keys.SignLink("acknowledge", uuid.New(), r.now), "Nobody"); !fault.Is(err, "link_unknown") {
		t.Errorf("of a letter that is none: %v", err)
	}
}

func TestTheOfficeRecordsThatSomebodyHasTakenNote(t *testing.T) {
	t.Parallel()
	r, _, _, sent := linked(t)
	r.now = fiveUTC(day("2026-03-23"))
	r.queue(t, "2026-03-23")
	letter := sent("owner@kestrel.example")
	for _, again := range []bool{false, true} {
		n, created, err := r.TakeNoteFor(t.Context(), dispatcher, letter.LetterID, "Ines Holm, by telephone")
		if err != nil || created == again || n.PersonID == nil || *n.PersonID != dispatcher.PersonID {
			t.Fatal(n, created, err)
		}
	}
	r.pass(73 * time.Hour)
	if got := r.unanswered(t, ""); !slices.Equal(got, []string{"agent overdue sent"}) {
		t.Errorf("the office sees %q", got)
	}
}

func TestWhatDidNotArriveIsSeenUntilALaterNoticeOrTheWorkSettlesIt(t *testing.T) {
	t.Parallel()
	r, post, plan := noticeWorld(t)
	post.answers = []error{nobodyHere} // one of two
	r.queue(t, "2026-03-03")
	r.send(t)
	if got := r.unanswered(t, "not_arrived"); len(got) != 1 || !strings.HasSuffix(got[0], " due_in_30 failed") {
		t.Errorf("the office sees %q", got)
	}
	if got := r.unanswered(t, "no_word"); got != nil {
		t.Errorf("a reminder asks for an answer: %q", got)
	}
	if _, err := r.db.Admin.Exec(t.Context(), `update work_order set state = 'cancelled' where plan_id = $1`, plan.PlanID); err != nil {
		t.Fatal(err)
	}
	if got := r.unanswered(t, ""); got != nil {
		t.Errorf("of an order that is none any more the office sees %q", got)
	}
}

func TestAnUnsafeDoorIsNotToldAgainOnceItsLetterIsAcknowledgedByItsLink(t *testing.T) {
	t.Parallel()
	a, post, _, _ := unsafeDoor(t)
	a.PublicURL = "https://doors.example"
	a.send(t)
	token := ""
	for _, l := range post.collect() {
		if office := l.Address == "ada@office.example"; office && linkOf.MatchString(l.Text) {
			t.Errorf("the office, which has pages, is given a link:\n%s", l.Text)
		} else if !office {
			token = tokenIn(t, l.Text, "answer")
		}
	}
	if err := a.TakeNoteByLink(t.Context(), token, "Ines Holm"); err != nil {
		t.Fatal(err)
	}
	a.pass(25 * time.Hour)
	a.send(t)
	for _, l := range post.collect() {
		if l.Kind == "urgent" {
			t.Errorf("told %s again: %s", l.Address, l.Subject)
		}
	}
}

func TestLettersCarryNoLinksWhereThePagesHaveNoAddress(t *testing.T) {
	t.Parallel()
	r, post, _ := noticeWorld(t)
	r.queue(t, "2026-03-03")
	r.send(t)
	for _, l := range post.collect() {
		if strings.Contains(l.Text, "://") || l.DeclineLink != "" || !strings.Contains(l.Text, "cannot be unsubscribed") {
			t.Errorf("%s", l.Text)
		}
	}
}
