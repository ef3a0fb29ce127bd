package fleet

import (
	"context"
	"encoding/json"
	"slices"
	"time"

	"github.com/google/uuid"
)

// noticeOddities asks about a visit that was just signed, and again about those signed before whose answers its entries may change:
// visits of the same people on the same days, inspections a year later with what is beside these, and later uses of its photos.
func (f *Fleet) noticeOddities(ctx context.Context, tx Tx, visitID uuid.UUID, entries []Entry) error {
	q, err := questionsOf(ctx, tx, visitID, entries)
	if err != nil {
		return err
	}
	list := odditiesOf(q)
	if len(list) > 0 {
		if err := f.putOddities(ctx, tx, visitID, list); err != nil {
			return err
		}
	}
	for _, other := range sortedOnce(q.concerned(list)) {
		if _, err := f.askAgain(ctx, tx, other); err != nil {
			return err
		}
	}
	later, err := tx.VisitsHeldAgainst(ctx, visitID)
	if err != nil {
		return err
	}
	var beside []uuid.UUID
	for _, other := range later {
		q, err := f.askAgain(ctx, tx, other)
		if err != nil {
			return err
		}
		beside = append(beside, visitsOf(q.beside)...)
	}
	for _, other := range sortedOnce(beside) {
		if _, err := f.askAgain(ctx, tx, other); err != nil {
			return err
		}
	}
	return nil
}

// concerned are the visits beside one about which its own questions are to be asked, too.
func (q questioned) concerned(list []Oddity) (visits []uuid.UUID) {
	same := slices.ContainsFunc(list, func(o Oddity) bool { return o.Kind == "same_readings" })
	spells := spellsOf(live(q.entries))
	for _, other := range q.beside {
		mine := spells[other.PersonID]
		if same || mine != nil && other.SiteID != q.visit.SiteID && overlap(*mine, other) > clocksApart {
			visits = append(visits, other.VisitID)
		}
	}
	return visits
}

func visitsOf(spells []Spell) (visits []uuid.UUID) {
	for _, s := range spells {
		visits = append(visits, s.VisitID)
	}
	return sortedOnce(visits)
}

// askAgain makes what is asked about a visit that was signed before what follows from the entries that there are now.
func (f *Fleet) askAgain(ctx context.Context, tx Tx, visitID uuid.UUID) (questioned, error) {
	entries, err := tx.EntriesOfVisit(ctx, visitID)
	if err != nil {
		return questioned{}, err
	}
	q, err := questionsOf(ctx, tx, visitID, entries)
	if err != nil {
		return q, err
	}
	return q, f.putOddities(ctx, tx, visitID, odditiesOf(q))
}

func (f *Fleet) putOddities(ctx context.Context, tx Tx, visitID uuid.UUID, list []Oddity) error {
	for i := range list {
		list[i].NoticedAt = f.Now()
	}
	return tx.PutOddities(ctx, visitID, list)
}

// questionsOf reads what the questions about a signed visit follow from. Whoever asks about the same people at once waits, so that each
// of two visits of a day is seen by the other.
func questionsOf(ctx context.Context, tx Tx, visitID uuid.UUID, entries []Entry) (q questioned, err error) {
	q.entries = entries
	var people []uuid.UUID
	for _, e := range entries {
		people = append(people, e.RecordedBy)
	}
	if err := tx.LockOddities(ctx, sortedOnce(people)); err != nil {
		return q, err
	}
	if q.visit, err = tx.VisitByID(ctx, visitID); err != nil {
		return q, err
	}
	if q.left, err = leftAt(ctx, tx, visitID); err != nil {
		return q, err
	}
	site, err := tx.SiteByID(ctx, q.visit.SiteID)
	if err != nil {
		return q, err
	}
	q.zone = site.Location()
	if q.lastYear, err = tx.ReadingsOfLastYear(ctx, visitID); err != nil {
		return q, err
	}
	if q.beside, err = tx.SpellsBeside(ctx, visitID); err != nil {
		return q, err
	}
	if slices.ContainsFunc(entries, func(e Entry) bool { return len(e.Body.Photos()) > 0 }) {
		if q.photos, err = tx.PhotosBefore(ctx, visitID); err != nil {
			return q, err
		}
	}
	q.sameBeside, err = q.sameAtOtherVisits(ctx, tx)
	return q, err
}

// sameAtOtherVisits looks at the other visits of those days, but only when this one has a door that reads as it did a year before.
func (q questioned) sameAtOtherVisits(ctx context.Context, tx Tx) (map[personDay][]uuid.UUID, error) {
	own, beside := false, map[personDay][]uuid.UUID{}
	for _, s := range samenessOf(live(q.entries), q.lastYear, q.zone) {
		own = own || len(s.doors()) > 0
	}
	if !own {
		return nil, nil
	}
	for _, visit := range visitsOf(q.beside) {
		entries, err := tx.EntriesOfVisit(ctx, visit)
		if err != nil {
			return nil, err
		}
		lastYear, err := tx.ReadingsOfLastYear(ctx, visit)
		if err != nil {
			return nil, err
		}
		for day, s := range samenessOf(live(entries), lastYear, q.zone) {
			beside[day] = append(beside[day], s.doors()...)
		}
	}
	return beside, nil
}

// leftAt is when the people of a signed visit left.
func leftAt(ctx context.Context, tx Tx, visitID uuid.UUID) (time.Time, error) {
	signed, err := tx.SignOffOf(ctx, visitID)
	if err != nil {
		return time.Time{}, err
	}
	var s SignOff
	err = json.Unmarshal(signed.Canonical, &s)
	return s.LeftAt, err
}
