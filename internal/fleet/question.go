package fleet

import (
	"context"
	"slices"
	"strings"

	"lintel.example/lintel/internal/fault"
	"lintel.example/lintel/internal/identity"
	"lintel.example/lintel/internal/rulebook"
	"lintel.example/lintel/internal/words"
)

// ReadingTitle names a recorded reading: a company's question as it was asked, any other by the texts.
func ReadingTitle(texts words.Printer, name, question string) string {
	switch {
	case question != "":
		return question
	case rulebook.IsOwn(name):
		return name
	}
	return texts.T("reading." + rulebook.NameNow(name) + ".title")
}

// KindTitle names what is to be read.
func KindTitle(texts words.Printer, k rulebook.ReadingKind) string {
	return ReadingTitle(texts, k.Name, k.Title)
}

// Unanswered tells whether nothing was read.
func (r EntryReading) Unanswered() bool { return r.Value == nil && r.Yes == nil && r.Text == "" }

// used is the reading as the rulebook takes it.
func (r EntryReading) used() rulebook.Used {
	u := rulebook.Used{Name: rulebook.NameNow(r.Name), Reading: rulebook.Reading{Number: r.Value, Yes: r.Yes, Text: r.Text, Question: r.Question, Uncertainty: r.Uncertainty, Place: r.Place()}}
	if r.Value != nil {
		u.Unit = unitOf(r.Name)
	}
	return u
}

// OwnReading gives the reading that a company's question of that title declares, by the edition that was added last; false where no
// edition in sight asks it so.
func (f *Fleet) OwnReading(ctx context.Context, by identity.Actor, name, question string) (kind rulebook.ReadingKind, asked bool, err error) {
	err = f.Store.InTxReadOnly(ctx, by, func(ctx context.Context, tx Tx) error {
		kind, asked, err = f.ownReading(ctx, tx, name, question)
		return err
	})
	return kind, asked, err
}

func (f *Fleet) ownReading(ctx context.Context, tx Tx, name, question string) (kind rulebook.ReadingKind, asked bool, err error) {
	kept, err := tx.CompanyPacks(ctx)
	if err != nil {
		return kind, false, err
	}
	slices.SortFunc(kept, func(a, b CompanyPack) int { return b.AddedAt.Compare(a.AddedAt) })
	for _, k := range kept {
		pack, err := f.compile(k)
		if err != nil {
			return kind, false, err
		}
		for _, own := range pack.OwnReadings() {
			if own.Name == name && own.Title == question {
				return own, true, nil
			}
		}
	}
	return kind, false, nil
}

// checkQuestion holds what an entry says of a company's question against the question itself.
func (f *Fleet) checkQuestion(ctx context.Context, tx Tx, b EntryBody) error {
	switch {
	case b.Reading != nil && rulebook.IsOwn(b.Reading.Name):
		kind, asked, err := f.ownReading(ctx, tx, b.Reading.Name, b.Reading.Question)
		if err != nil {
			return err
		}
		if !asked {
			return fault.At("/reading/question", "question_unknown", "name", b.Reading.Name)
		}
		var faults fault.List
		checkReadingOf(&faults, kind, *b.Reading)
		return faults.Err()
	case b.LeftOut != nil && rulebook.IsOwn(b.LeftOut.Name):
		_, asked, err := f.ownReading(ctx, tx, b.LeftOut.Name, b.LeftOut.Question)
		if err == nil && !asked {
			err = fault.At("/left_out/question", "question_unknown", "name", b.LeftOut.Name)
		}
		return err
	}
	return nil
}

// checkQuestionsApart refuses a pack that declares a reading of another pack's: what is read under the name must mean one thing.
func (f *Fleet) checkQuestionsApart(ctx context.Context, tx Tx, pack *rulebook.Pack) error {
	if len(pack.Questions) == 0 {
		return nil
	}
	kept, err := tx.CompanyPacks(ctx)
	if err != nil {
		return err
	}
	var faults fault.List
	for _, k := range kept {
		if strings.HasPrefix(k.PackID, pack.Name()+"@") {
			continue
		}
		other, err := f.compile(k)
		if err != nil {
			return err
		}
		for _, own := range pack.OwnReadings() {
			if slices.ContainsFunc(other.OwnReadings(), func(o rulebook.ReadingKind) bool { return o.Name == own.Name }) {
				faults.Add("/text", "question_taken", "name", own.Name, "pack", other.ID)
			}
		}
	}
	return faults.Err()
}
