package fleet_test

import (
	"bytes"
	"errors"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/seal"
)

// letterOf is a letter of risk about an unsafe finding, and the owner to whom it may be sent.
func (a attended) letterOf(t *testing.T) (letter fleet.Report, owner fleet.Party, post *letters) {
	t.Helper()
	post = a.withPost(t)
	a.dispatcherHere(t)
	owner = a.partyAt(t, fleet.Party{Name: "Rosa Imhof", Email: "rosa@owner.example", FurtherAddresses: "desk@owner.example"})
	a.standing(t, a.site, owner, "owner", "2020-01-01", "")
	unsafe := a.append(t, a.open(t), a.at(1, found("unsafe", "closes on people"))).entry
	template := a.text(t, "At {door} we found:\n{findings}\n{decision}")
	if _, _, err := a.ApproveLetterTemplate(t.Context(), administrator, template.TemplateID, ""); err != nil {
		t.Fatal(err)
	}
	letter = a.make(t, dispatcher, fleet.ReportAsk{Kind: fleet.KindLetter, DoorID: a.door.DoorID, TemplateID: template.TemplateID, Findings: []uuid.UUID{unsafe}})
	a.send(t) // that the door is unsafe
	post.collect()
	return letter, owner, post
}

func (a attended) deliver(t *testing.T, d fleet.Delivery) fleet.Delivery {
	t.Helper()
	d.DeliveryID = a.id()
	saved, created, err := a.PutDelivery(t.Context(), dispatcher, d)
	if err != nil || !created {
		t.Fatal(created, err)
	}
	return saved
}

// enclosing are the mails that a letter was enclosed in, of those handed over since they were asked for last.
func (l *letters) enclosing(letter uuid.UUID) []fleet.Letter {
	return slices.DeleteFunc(l.collect(), func(m fleet.Letter) bool { return m.ReportID != letter })
}

// became is what is on record of the first of a letter's deliveries.
func (a attended) became(t *testing.T, letter uuid.UUID) fleet.DeliveryTold {
	t.Helper()
	list, err := a.LetterDeliveries(t.Context(), dispatcher, letter)
	if err != nil || len(list) == 0 {
		t.Fatal(len(list), err)
	}
	return list[len(list)-1]
}

func TestALetterIsSentToThePartyWithItsPDFAndSaysWhatBecameOfIt(t *testing.T) {
	t.Parallel()
	a := reporting(t)
	letter, owner, post := a.letterOf(t)
	put := fleet.Delivery{ReportID: letter.ReportID, DeliveryID: a.id(), Way: "mail", PartyID: owner.PartyID, Note: "as agreed by telephone"}
	for i, want := range []bool{true, false} {
		if _, created, err := a.PutDelivery(t.Context(), dispatcher, put); err != nil || created != want {
			t.Fatalf("time %d: %v, %v", i+1, created, err)
		}
	}
	if d := a.became(t, letter.ReportID); d.Notice == nil || d.Notice.State != "queued" || d.ToName != "Rosa Imhof" || d.RecordedBy != dispatcher.PersonID {
		t.Fatalf("%+v", d)
	}

	// The first time the mail server puts it off: nothing is known to have arrived, and the same mail is tried again.
	post.answers = []error{&fleet.PostFailure{Stage: "content", Code: 451, Answer: "4.7.1 later", Err: errors.New("451")}}
	a.send(t)
	a.pass(10 * time.Minute)
	a.send(t)
	a.pass(10 * time.Minute)
	a.send(t)
	mails := post.enclosing(letter.ReportID)
	if len(mails) != 2 || mails[0].LetterID != mails[1].LetterID {
		t.Fatalf("%d mails", len(mails))
	}
	pdf, err := a.ReportIn(t.Context(), dispatcher, letter.ReportID, "pdf")
	if err != nil {
		t.Fatal(err)
	}
	for _, m := range mails {
		if m.Address != "rosa@owner.example" || !bytes.Equal(m.Enclosed, pdf.Bytes) || m.HTML != "" || m.Subject != mails[0].Subject || m.Text != mails[0].Text {
			t.Errorf("to %s, %d bytes, HTML %q", m.Address, len(m.Enclosed), m.HTML)
		}
		for _, part := range []string{"letter of risk", "Rosa Imhof", "Mill", a.door.Tag.String(), seal.HashOf(pdf.Bytes).String(), "stays out of use"} {
			if !strings.Contains(m.Text, part) {
				t.Errorf("the mail does not say %q:\n%s", part, m.Text)
			}
		}
	}
	d := a.became(t, letter.ReportID)
	if d.Notice.State != "sent" || d.Notice.SentAt == nil || d.Notice.RecipientEmail != "rosa@owner.example" || len(d.Letters) != 1 || len(d.Letters[0].Tries) != 2 || d.Letters[0].ReportID != letter.ReportID {
		t.Fatalf("%+v", d)
	}

	// It comes back: the next address of the party is tried, the dispatchers are told, and both mails are on record.
	a.bounce(t, d.Letters[0].LetterID, "failed", "5.1.1", "nobody here")
	a.send(t)
	to := addresses(post.enclosing(letter.ReportID))
	if d = a.became(t, letter.ReportID); !slices.Equal(to, []string{"desk@owner.example"}) || d.Notice.State != "sent" || d.Notice.RecipientEmail != "desk@owner.example" || len(d.Letters) != 2 ||
		d.Letters[1].State != "bounced" || len(d.Letters[1].Bounces) != 1 {
		t.Errorf("to %v, %+v", to, d)
	}
	wantTold(t, a.told(t, dispatcher.PersonID)[1:], "bounced sent")
}

// Marked before the mail server sees it: a program that dies in between leaves "perhaps sent", and a person decides.
func TestALetterWhoseSenderDiesIsPerhapsSentAndAPersonSendsTheSameMailAgain(t *testing.T) {
	t.Parallel()
	a := reporting(t)
	letter, owner, post := a.letterOf(t)
	a.deliver(t, fleet.Delivery{ReportID: letter.ReportID, Way: "mail", PartyID: owner.PartyID})
	post.answers = []error{&fleet.PostFailure{Stage: "content", Uncertain: true, Err: errors.New("gone")}}
	a.send(t)
	a.pass(time.Hour)
	a.send(t)
	first := post.enclosing(letter.ReportID)
	d := a.became(t, letter.ReportID)
	if len(first) != 1 || d.Notice.State != "perhaps_sent" || d.Notice.Because != "no_answer" {
		t.Fatalf("%d mails, %+v", len(first), d.Notice)
	}
	if _, err := a.SendLetterAgain(t.Context(), dispatcher, first[0].LetterID); err != nil {
		t.Fatal(err)
	}
	a.send(t)
	again := post.enclosing(letter.ReportID)
	if d = a.became(t, letter.ReportID); len(again) != 1 || again[0].LetterID != first[0].LetterID || !bytes.Equal(again[0].Enclosed, first[0].Enclosed) || d.Notice.State != "sent" {
		t.Errorf("%d mails, %+v", len(again), d.Notice)
	}
}

func TestThatALetterWasHandedOverRefusedOrBroughtToNobodyIsOnRecord(t *testing.T) {
	t.Parallel()
	a := reporting(t)
	letter, owner, post := a.letterOf(t)
	today := day("2026-03-03")
	for _, d := range []fleet.Delivery{
		{Way: "handed_over", ToName: "ROSA IMHOF", On: today, ByName: "Jonas Reber", Note: "at the desk"},
		{Way: "posted", ToName: "Rosa Imhof", On: today, ByName: "Ada Lindqvist"},
		{Way: "refused", ToName: "the caretaker", On: today, ByName: "Jonas Reber"},
		{Way: "absent", On: today, ByName: "Jonas Reber"},
	} {
		d.ReportID = letter.ReportID
		if saved := a.deliver(t, d); saved.Way != d.Way || saved.ToName != d.ToName || saved.On != d.On || saved.ByName != d.ByName || saved.Note != d.Note || saved.Notice != nil {
			t.Errorf("%+v", saved)
		}
	}
	if list, err := a.LetterDeliveries(t.Context(), technician, letter.ReportID); err != nil || len(list) != 4 {
		t.Errorf("%d, %v", len(list), err)
	}
	a.send(t)
	if mails := post.collect(); len(mails) != 0 {
		t.Errorf("%d mails", len(mails))
	}

	door := a.make(t, dispatcher, fleet.ReportAsk{Kind: fleet.KindDoor, DoorID: a.door.DoorID})
	silent := a.partyAt(t, fleet.Party{Name: "Ruiz"})
	a.standing(t, a.site, silent, "occupier", "2020-01-01", "")
	stranger := a.partyAt(t, fleet.Party{Name: "Holm", Email: "holm@else.example"})
	before := a.count(t, "select count(*) from report_delivery")
	for name, c := range map[string]struct {
		d    fleet.Delivery
		want []string
	}{
		"no way":                  {fleet.Delivery{Way: "pigeon", ToName: "x", ByName: "x", On: today}, []string{"word_unknown at /way"}},
		"to nobody":               {fleet.Delivery{Way: "mail"}, []string{"delivery_to_whom at /party_id"}},
		"to a stranger":           {fleet.Delivery{Way: "mail", PartyID: stranger.PartyID}, []string{"delivery_to_no_party at /party_id"}},
		"to a party of no mail":   {fleet.Delivery{Way: "mail", PartyID: silent.PartyID}, []string{"delivery_without_address at /party_id"}},
		"mail on a day of theirs": {fleet.Delivery{Way: "mail", PartyID: owner.PartyID, On: today, ByName: "x", ToName: "y"}, []string{"delivery_by_mail_alone at /by_name", "delivery_by_mail_alone at /on", "delivery_by_mail_alone at /to_name"}},
		"handed to nobody":        {fleet.Delivery{Way: "handed_over", On: today, ByName: "x"}, []string{"text_missing at /to_name"}},
		"handed by nobody, never": {fleet.Delivery{Way: "handed_over", ToName: "x"}, []string{"delivery_day_missing at /on", "text_missing at /by_name"}},
		"posted to a party":       {fleet.Delivery{Way: "posted", ToName: "x", ByName: "y", On: today, PartyID: owner.PartyID}, []string{"delivery_of_mail_alone at /party_id"}},
		"before it was written":   {fleet.Delivery{Way: "posted", ToName: "x", ByName: "y", On: day("2026-03-02")}, []string{"delivery_before_the_letter at /on"}},
		"tomorrow":                {fleet.Delivery{Way: "posted", ToName: "x", ByName: "y", On: day("2026-03-04")}, []string{"done_in_the_future at /on"}},
		"of a report of a door":   {fleet.Delivery{ReportID: door.ReportID, Way: "posted", ToName: "x", ByName: "y", On: today}, []string{"delivery_of_no_letter"}},
		"of nothing":              {fleet.Delivery{ReportID: a.id(), Way: "posted", ToName: "x", ByName: "y", On: today}, []string{"report_not_found"}},
	} {
		if c.d.DeliveryID = a.id(); c.d.ReportID == uuid.Nil {
			c.d.ReportID = letter.ReportID
		}
		_, _, err := a.PutDelivery(t.Context(), dispatcher, c.d)
		t.Log(name)
		wantFault(t, err, c.want...)
	}
	same := fleet.Delivery{ReportID: letter.ReportID, DeliveryID: a.id(), Way: "posted", ToName: "Rosa Imhof", On: today, ByName: "Ada Lindqvist"}
	for _, want := range []bool{true, false} {
		if _, created, err := a.PutDelivery(t.Context(), dispatcher, same); err != nil || created != want {
			t.Error(created, err)
		}
	}
	same.ByName = "Jonas Reber"
	_, _, err := a.PutDelivery(t.Context(), dispatcher, same)
	wantFault(t, err, "delivery_differs")
	if n := a.count(t, "select count(*) from report_delivery"); n != before+1 {
		t.Errorf("%d deliveries, want %d", n, before+1)
	}
	_, err = a.LetterDeliveries(t.Context(), dispatcher, door.ReportID)
	wantFault(t, err, "delivery_of_no_letter")
}

// Once it is settled that an address refuses mail, nobody can be sent a letter there.
func TestALetterIsNotSentToAnAddressThatRefusesMail(t *testing.T) {
	t.Parallel()
	a := reporting(t)
	letter, _, post := a.letterOf(t)
	agent := a.partyAt(t, fleet.Party{Name: "Holm", Email: "holm@gone.example"})
	a.standing(t, a.site, agent, "managing_agent", "2020-01-01", "")
	a.deliver(t, fleet.Delivery{ReportID: letter.ReportID, Way: "mail", PartyID: agent.PartyID})
	post.answers = []error{nobodyHere}
	a.send(t)
	if d := a.became(t, letter.ReportID); d.Notice.State != "failed" || d.Notice.Because != "address_refused" {
		t.Fatalf("%+v", d.Notice)
	}
	_, _, err := a.PutDelivery(t.Context(), dispatcher, fleet.Delivery{ReportID: letter.ReportID, DeliveryID: a.id(), Way: "mail", PartyID: agent.PartyID})
	wantFault(t, err, "delivery_without_address at /party_id")
	parties, err := a.Addressees(t.Context(), dispatcher, letter.ReportID)
	if err != nil || len(parties) != 2 {
		t.Fatal(len(parties), err)
	}
	for _, p := range parties {
		if (p.ID == agent.PartyID) != (len(p.Addresses) == 0) {
			t.Errorf("%s: %v", p.Name, p.Addresses)
		}
	}
}
