package console

import (
	"context"
	"net/http"
	"strings"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/fault"
	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/identity"
)

// letterSent is what was done with a letter, and what may be done with it now.
type letterSent struct {
	ReportID  uuid.UUID
	Zone      string
	Lines     []deliveryLine // the newest first
	May       bool           // whoever looks may send it and record what was done
	Parties   []option       // to whom it may be sent
	Unreached []string       // parties without an address that takes mail
	Mail      form           // sends it
	Outcome   form           // records what happened outside of the program
}

// deliveryLine is one delivery with its mails.
type deliveryLine struct {
	fleet.DeliveryTold
	Zone, Recorder string
}

// Again gives the mail that a person may have sent once more: the newest, where it did not arrive, or perhaps not.
func (l deliveryLine) Again() *fleet.Letter {
	if len(l.Letters) == 0 {
		return nil
	}
	switch newest := l.Letters[0].Letter; newest.State {
	case "perhaps_sent", "failed", "bounced":
		return &newest
	}
	return nil
}

// Grave tells whether the letter did not reach anybody in this way.
func (l deliveryLine) Grave() bool {
	return l.Notice != nil && (l.Notice.State == "failed" || l.Notice.State == "bounced" || l.Notice.State == "perhaps_sent")
}

// letterSent gathers what a report's page says of a letter. A form that was refused takes the place of a new one.
func (c *Console) letterSent(ctx context.Context, q *request, line reportLine, refused form) (*letterSent, error) {
	if line.Kind != fleet.KindLetter || !q.by.May(identity.ActReadOffice) {
		return nil, nil
	}
	s := &letterSent{ReportID: line.ReportID, Zone: line.Zone, May: q.by.May(identity.ActMindPost),
		Mail:    newForm(map[string]string{"delivery_id": c.NewID().String(), "/way": "mail"}).Apart("mail"),
		Outcome: newForm(map[string]string{"delivery_id": c.NewID().String(), "/by_name": q.by.Name}).Apart("outcome")}
	switch {
	case refused.values == nil:
	case refused.Value("/way") == "mail":
		s.Mail = refused.Apart("mail")
	default:
		s.Outcome = refused.Apart("outcome")
	}
	list, err := c.Fleet.LetterDeliveries(ctx, q.by, line.ReportID)
	if err != nil {
		return nil, err
	}
	var people []uuid.UUID
	for _, d := range list {
		people = append(people, d.RecordedBy)
	}
	names, err := c.Fleet.Names(ctx, q.by, fleet.Named{People: people})
	if err != nil {
		return nil, err
	}
	w := writer{q.texts}
	for _, d := range list {
		s.Lines = append(s.Lines, deliveryLine{d, line.Zone, w.person(names, d.RecordedBy)})
	}
	if !s.May {
		return s, nil
	}
	parties, err := c.Fleet.Addressees(ctx, q.by, line.ReportID)
	for _, p := range parties {
		if len(p.Addresses) == 0 {
			s.Unreached = append(s.Unreached, p.Name)
			continue
		}
		s.Parties = append(s.Parties, option{Value: p.ID.String(), Text: w.T("console.delivery.party", "name", p.Name, "role", w.Enum("party_role", p.Role), "address", p.Addresses[0])})
	}
	return s, err
}

// deliver sends a letter by mail, or records what was done with it.
func (c *Console) deliver(ctx context.Context, q *request) (answer, error) {
	report, f, err := q.formOf("report_id")
	if err != nil {
		return nil, err
	}
	r := reader{form: &f, texts: q.texts}
	d := fleet.Delivery{ReportID: report, DeliveryID: r.id("delivery_id"), Way: r.chosen("/way"), ToName: f.Value("/to_name"), On: r.day("/on"), ByName: f.Value("/by_name"), Note: f.Value("/note")}
	if d.Way == "mail" && r.chosen("/party_id") != "" {
		d.PartyID = r.id("/party_id")
	}
	if err = r.faults.Err(); err == nil {
		_, _, err = c.Fleet.PutDelivery(ctx, q.by, d)
	}
	if err != nil {
		return q.again(f, err, func(f form, status int) (answer, error) { return c.reportPage(ctx, q, f, status) })
	}
	return seeOther("/reports/" + report.String() + "#deliveries"), nil
}

// deliverAgain has the mail of a letter sent once more.
func (c *Console) deliverAgain(ctx context.Context, q *request) (answer, error) {
	report, f, err := q.formOf("report_id")
	if err != nil {
		return nil, err
	}
	id, err := q.pathID("letter_id")
	if err != nil {
		return nil, err
	}
	if _, err := c.Fleet.SendLetterAgain(ctx, q.by, id); err != nil {
		return q.again(f, err, func(f form, status int) (answer, error) { return c.reportPage(ctx, q, f, status) })
	}
	return seeOther("/reports/" + report.String() + "#deliveries"), nil
}

// deliverySaid sums up what was done with a letter, in a list.
func (w writer) deliverySaid(list []fleet.Delivery) string {
	if len(list) == 0 {
		return w.T("console.delivery.none_yet")
	}
	var said []string
	for _, d := range list {
		if d.Notice != nil {
			said = append(said, w.T("console.delivery.mailed", "name", d.ToName, "state", w.Enum("notice_state", d.Notice.State)))
		} else {
			said = append(said, w.T("console.delivery.done", "way", w.Enum("delivery_way", d.Way), "day", d.On))
		}
	}
	return strings.Join(said, "; ")
}

// report shows one report, and what was done with a letter.
func (c *Console) report(ctx context.Context, q *request) (answer, error) {
	return c.reportPage(ctx, q, form{}, http.StatusOK)
}

type reportData struct {
	reportLine
	SHA256 string
	Sent   *letterSent // of a letter, for the office
	Form   form
}

func (c *Console) reportPage(ctx context.Context, q *request, f form, status int) (answer, error) {
	id, err := q.pathID("report_id")
	if err != nil {
		return nil, err
	}
	r, err := c.Fleet.Report(ctx, q.by, id)
	if err != nil {
		return nil, err
	}
	names, err := c.Fleet.Names(ctx, q.by, fleet.Named{Doors: []uuid.UUID{r.DoorID}, Sites: []uuid.UUID{r.SiteID}, Customers: []uuid.UUID{r.PortfolioCustomerID}, People: []uuid.UUID{r.MadeBy}})
	if err != nil {
		return nil, err
	}
	data := reportData{reportLine: reportLineOf(q, r, names), SHA256: hexOf(r.SHA256), Form: f}
	if data.Sent, err = c.letterSent(ctx, q, data.reportLine, f); err != nil {
		return nil, err
	}
	if status != http.StatusOK && data.Sent == nil { // nothing else of this page is sent
		return nil, fault.New(fault.Conflict, "delivery_of_no_letter")
	}
	return page{name: "report", status: status, data: data}, nil
}
