package fleet

import (
	"context"
	"encoding/json"
	"slices"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/fault"
	"lintel.example/lintel/internal/identity"
	"lintel.example/lintel/internal/seal"
	"lintel.example/lintel/internal/words"
)

// Delivery is what was done with a letter about findings. By mail it is a notice of its own, and the notice says what
// became of it; everything else happened outside of the program, and somebody says so. That it was refused, or that
// nobody was there, is an outcome like any other.
type Delivery struct {
	CustomerID, SiteID, ReportID, DeliveryID uuid.UUID
	Way                                      string      // mail, handed_over, posted, refused, absent
	PartyID                                  uuid.UUID   // by mail: a party of the site
	ToName                                   string      // to whom; by mail: the party's name when it was sent; absent: who was sought, or ""
	On                                       duedate.Day // at the site; zero by mail
	ByName                                   string      // whose hand it was; "" by mail
	Note                                     string
	RecordedAt                               time.Time
	RecordedBy                               uuid.UUID

	Notice *Notice // by mail
}

// DeliveryWays lists what can be done with a letter.
func DeliveryWays() []string {
	return append([]string{"mail"}, DeliveryOutcomes()...)
}

// DeliveryOutcomes are those that happen outside of the program.
func DeliveryOutcomes() []string { return []string{"handed_over", "posted", "refused", "absent"} }

type deliveryRows interface {
	// DeliveriesOf gives what was done with reports, the newest first, with the notices of what went by mail.
	DeliveriesOf(ctx context.Context, reports []uuid.UUID) ([]Delivery, error)
	DeliveryByID(ctx context.Context, id uuid.UUID) (Delivery, error)
	// InsertDelivery answers false when the id is taken.
	InsertDelivery(ctx context.Context, d Delivery) (bool, error)
}

func (d Delivery) reason() string { return "delivery:" + d.DeliveryID.String() }

func (f *Fleet) checkDelivery(d Delivery) error {
	var faults fault.List
	checkOneOf(&faults, "/way", d.Way, DeliveryWays()...)
	checkText(&faults, "/note", d.Note, 0, 2000)
	f.checkDay(&faults, "/on", d.On)
	if d.Way == "mail" {
		if d.PartyID == uuid.Nil {
			faults.Add("/party_id", "delivery_to_whom")
		}
		checkNone(&faults, "/to_name", d.ToName, "delivery_by_mail_alone")
		checkNone(&faults, "/by_name", d.ByName, "delivery_by_mail_alone")
		if !d.On.IsZero() {
			faults.Add("/on", "delivery_by_mail_alone")
		}
		return faults.Err()
	}
	if d.PartyID != uuid.Nil {
		faults.Add("/party_id", "delivery_of_mail_alone")
	}
	least := 1
	if d.Way == "absent" {
		least = 0
	}
	checkLine(&faults, "/to_name", d.ToName, least, 200)
	checkLine(&faults, "/by_name", d.ByName, 1, 200)
	if d.On.IsZero() {
		faults.Add("/on", "delivery_day_missing")
	}
	return faults.Err()
}

// PutDelivery sends a letter by mail to a party of its site, or records what somebody did with it. The same again
// changes nothing: the notice of a delivery is made once.
func (f *Fleet) PutDelivery(ctx context.Context, by identity.Actor, d Delivery) (saved Delivery, created bool, err error) {
	for _, text := range []*string{&d.ToName, &d.ByName, &d.Note} {
		tidy(text)
	}
	if err := f.checkDelivery(d); err != nil {
		return Delivery{}, false, err
	}
	err = f.Store.InTx(ctx, by, func(ctx context.Context, tx Tx) error {
		report, err := f.letterReport(ctx, tx, d.ReportID)
		if err != nil {
			return err
		}
		switch saved, err = tx.DeliveryByID(ctx, d.DeliveryID); {
		case err == nil:
			created = false
			return saved.same(d)
		case !fault.Is(err, "delivery_not_found"):
			return err
		}
		site, err := tx.SiteByID(ctx, report.SiteID)
		if err != nil {
			return err
		}
		d.CustomerID, d.SiteID, d.RecordedAt, d.RecordedBy = report.CustomerID, report.SiteID, f.Now(), by.PersonID
		if d.Way == "mail" {
			if err := f.mailLetter(ctx, tx, report, site, &d); err != nil {
				return err
			}
		} else if err := d.checkOn(report, site, f.Now()); err != nil {
			return err
		}
		if created, err = tx.InsertDelivery(ctx, d); err != nil {
			return err
		}
		if !created { // somebody else's, a moment ago
			return fault.New(fault.Conflict, "delivery_differs")
		}
		saved, err = tx.DeliveryByID(ctx, d.DeliveryID)
		return err
	})
	return saved, created, err
}

// letterReport is a report that is a letter: nothing else is delivered.
func (f *Fleet) letterReport(ctx context.Context, tx Tx, id uuid.UUID) (Report, error) {
	r, err := tx.ReportByID(ctx, id)
	if err == nil && r.Kind != KindLetter {
		err = fault.New(fault.Conflict, "delivery_of_no_letter")
	}
	return r, err
}

// same refuses another delivery under the id of one that is there.
func (d Delivery) same(asked Delivery) error {
	toSame := d.Way == "mail" || d.ToName == asked.ToName
	if d.ReportID != asked.ReportID || d.Way != asked.Way || d.PartyID != asked.PartyID || !toSame || d.On != asked.On || d.ByName != asked.ByName || d.Note != asked.Note {
		return fault.New(fault.Conflict, "delivery_differs")
	}
	return nil
}

// checkOn holds the day of a delivery between the day of the letter and the present one at the site.
func (d Delivery) checkOn(report Report, site Site, now time.Time) error {
	made, today := duedate.DayIn(report.MadeAt, site.Location()), duedate.DayIn(now, site.Location())
	switch {
	case d.On.Before(made):
		return fault.At("/on", "delivery_before_the_letter", "day", made)
	case d.On.After(today):
		return fault.At("/on", "done_in_the_future", "day", today)
	}
	return nil
}

// mailLetter makes the notice that a letter is sent to a party. Its mail is written and handed over like any other.
func (f *Fleet) mailLetter(ctx context.Context, tx Tx, report Report, site Site, d *Delivery) error {
	r, err := f.newRound(ctx, tx, duedate.DayIn(f.Now(), site.Location()), []uuid.UUID{site.CustomerID})
	if err != nil {
		return err
	}
	if err := r.read(ctx, []uuid.UUID{site.SiteID}, nil); err != nil {
		return err
	}
	i := slices.IndexFunc(r.parties[site.SiteID], func(p Recipient) bool { return p.ID == d.PartyID })
	if i < 0 {
		return fault.At("/party_id", "delivery_to_no_party")
	}
	to := r.parties[site.SiteID][i]
	d.ToName = to.Name
	n := r.to(Notice{CustomerID: report.CustomerID, SiteID: report.SiteID, DoorID: &report.DoorID, Reason: d.reason(), Rung: "letter", Urgent: true, Why: Why{AsOf: r.asOf}}, to)
	if n.RecipientEmail == "" {
		return fault.At("/party_id", "delivery_without_address", "name", to.Name)
	}
	r.fresh = append(r.fresh, n)
	_, err = r.write(ctx)
	return err
}

// Deliveries gives what was done with letters, the newest first.
func (f *Fleet) Deliveries(ctx context.Context, by identity.Actor, reports []uuid.UUID) (list []Delivery, err error) {
	err = f.Store.InTxReadOnly(ctx, by, func(ctx context.Context, tx Tx) error {
		list, err = tx.DeliveriesOf(ctx, reports)
		return err
	})
	return list, err
}

// DeliveryTold is a delivery with the mails that carried it, the newest first.
type DeliveryTold struct {
	Delivery
	Letters []LetterTold
}

// LetterDeliveries gives what was done with one letter, the newest first, with every try and bounce of its mails.
func (f *Fleet) LetterDeliveries(ctx context.Context, by identity.Actor, reportID uuid.UUID) (list []DeliveryTold, err error) {
	err = f.Store.InTxReadOnly(ctx, by, func(ctx context.Context, tx Tx) error {
		list = nil
		if _, err := f.letterReport(ctx, tx, reportID); err != nil {
			return err
		}
		known, err := tx.DeliveriesOf(ctx, []uuid.UUID{reportID})
		if err != nil {
			return err
		}
		for _, d := range known {
			told := DeliveryTold{Delivery: d}
			if d.Notice != nil {
				if told.Letters, err = tx.LettersOf(ctx, d.Notice.NoticeID); err != nil {
					return err
				}
			}
			list = append(list, told)
		}
		return nil
	})
	return list, err
}

// Addressees are the parties that stand to the site of a report on the present day, nobody twice, with the addresses that
// have not refused mail.
func (f *Fleet) Addressees(ctx context.Context, by identity.Actor, reportID uuid.UUID) (list []Recipient, err error) {
	err = f.Store.InTxReadOnly(ctx, by, func(ctx context.Context, tx Tx) error {
		list = nil
		report, err := f.letterReport(ctx, tx, reportID)
		if err != nil {
			return err
		}
		site, err := tx.SiteByID(ctx, report.SiteID)
		if err != nil {
			return err
		}
		r, err := f.newRound(ctx, tx, duedate.DayIn(f.Now(), site.Location()), []uuid.UUID{site.CustomerID})
		if err != nil {
			return err
		}
		if err := r.read(ctx, []uuid.UUID{site.SiteID}, nil); err != nil {
			return err
		}
		for _, p := range r.parties[site.SiteID] {
			if slices.ContainsFunc(list, func(other Recipient) bool { return other.ID == p.ID }) {
				continue
			}
			p.Addresses = slices.DeleteFunc(slices.Clone(p.Addresses), func(a string) bool { return r.refused[a] })
			list = append(list, p)
		}
		return nil
	})
	return list, err
}

// letterWording is the mail that a letter is enclosed in.
func (f *Fleet) letterWording(p words.Printer, n NoticeDue, report Report, args []any) (subject, text string, err error) {
	var doc LetterDocument
	if err := json.Unmarshal(report.Canonical, &doc); err != nil {
		return "", "", err
	}
	pdf, _ := report.Print("pdf")
	subject, text = p.Mail("letter", append(args, "kind", p.Enum("letter_kind", doc.Letter.Kind), "tag", Tag(doc.Door.Tag).String(), "door", doc.Door.Name, "site", doc.Site.Name,
		"name", n.RecipientName, "date", doc.AsOf, "sha256", seal.Hash(pdf.SHA256).String())...)
	return subject, text, nil
}
