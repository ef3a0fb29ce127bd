package fleet

import (
	"cmp"
	"context"
	"slices"
	"strings"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/fault"
	"lintel.example/lintel/internal/identity"
	"lintel.example/lintel/internal/rulebook"
	"lintel.example/lintel/internal/seal"
	"lintel.example/lintel/internal/words"
)

// CompanyPack is one edition of a rule pack that the company wrote. It never changes: a correction is a new edition.
type CompanyPack struct {
	PackID  string    `json:"pack"` // name@edition
	Text    string    `json:"text"` // the YAML as it was given
	SHA256  seal.Hash `json:"sha256"`
	Note    string    `json:"note"`
	AddedAt time.Time `json:"added_at"`
	AddedBy uuid.UUID `json:"added_by"`
}

// PackActivation says that from a day on an edition of a company's pack judges, or that none of that name does. Days are those of the
// site where an inspection is concluded.
type PackActivation struct {
	ActivationID uuid.UUID   `json:"activation_id"`
	PackName     string      `json:"pack_name"`
	PackID       string      `json:"pack,omitempty"`  // "": no edition of the name judges from then on
	SHA256       seal.Hash   `json:"sha256,omitzero"` // of the edition's text
	From         duedate.Day `json:"from_day"`
	Until        duedate.Day `json:"until_day,omitzero"` // the last day; zero: until another activation of the name begins
	Why          string      `json:"why"`
	RecordedAt   time.Time   `json:"recorded_at"`
	RecordedBy   uuid.UUID   `json:"recorded_by"`
}

// Edition is the pack's, without its name; "" when none is to judge.
func (a PackActivation) Edition() string {
	_, edition, _ := strings.Cut(a.PackID, "@")
	return edition
}

// PackPeriod is a time in which an edition of a company's pack judges.
type PackPeriod struct {
	PackID      string
	SHA256      seal.Hash   // of its text
	From, Until duedate.Day // both included; Until is zero while no end is known
}

type companyPackRows interface {
	CompanyPackByID(ctx context.Context, id string) (CompanyPack, error)
	// CompanyPacks gives all that are in sight, by id.
	CompanyPacks(ctx context.Context) ([]CompanyPack, error)
	// InsertCompanyPack answers false when the id is taken.
	InsertCompanyPack(ctx context.Context, p CompanyPack) (bool, error)
	// LockPackName makes other transactions that activate an edition of the name wait.
	LockPackName(ctx context.Context, name string) error
	// PackActivations gives every activation in sight, the one recorded last first.
	PackActivations(ctx context.Context) ([]PackActivation, error)
	PackActivationByID(ctx context.Context, id uuid.UUID) (PackActivation, error)
	InsertPackActivation(ctx context.Context, a PackActivation) (bool, error)
}

// MostPackText bounds the text of a pack, in characters: some ten times the largest that comes with the program.
const MostPackText = 200_000

// CheckCompanyPack compiles the text of a company's pack, or gives a fault for every mistake, each with its line, its column and what to
// do about it.
func (f *Fleet) CheckCompanyPack(text string) (*rulebook.Pack, error) {
	var faults fault.List
	if checkText(&faults, "/text", text, 1, MostPackText); len(faults) > 0 {
		return nil, faults.Err()
	}
	pack, mistakes, err := rulebook.Check([]byte(text))
	if err != nil {
		return nil, err
	}
	for _, m := range mistakes {
		faults.Add("/text", "pack_mistake", "line", max(m.Line, 1), "column", max(m.Column, 1), "what", m.What, "hint", m.Hint)
	}
	if err := faults.Err(); err != nil {
		return nil, err
	}
	if pack.Role != rulebook.Company {
		faults.Add("/text", "pack_not_of_company", "role", string(pack.Role))
	}
	if slices.ContainsFunc(f.Book.Packs(), func(p *rulebook.Pack) bool { return p.Name() == pack.Name() }) {
		faults.Add("/text", "pack_name_shipped", "name", pack.Name())
	}
	return pack, faults.Err()
}

// PutCompanyPack keeps an edition of a company's pack; it judges nothing before it is activated. The same again changes nothing, another
// text under the id is refused.
func (f *Fleet) PutCompanyPack(ctx context.Context, by identity.Actor, p CompanyPack) (saved CompanyPack, created bool, err error) {
	tidy(&p.Note)
	pack, err := f.CheckCompanyPack(p.Text)
	if err != nil {
		return CompanyPack{}, false, err
	}
	var faults fault.List
	if pack.ID != p.PackID {
		faults.Add("/text", "pack_of_other_id", "pack", pack.ID)
	}
	checkText(&faults, "/note", p.Note, 0, 2000)
	if err := faults.Err(); err != nil {
		return CompanyPack{}, false, err
	}
	p.SHA256, p.AddedAt, p.AddedBy = seal.HashOf([]byte(p.Text)), f.Now(), by.PersonID
	err = f.Store.InTx(ctx, by, func(ctx context.Context, tx Tx) error {
		if err := f.checkQuestionsApart(ctx, tx, pack); err != nil {
			return err
		}
		if created, err = tx.InsertCompanyPack(ctx, p); err != nil {
			return err
		}
		if saved, err = tx.CompanyPackByID(ctx, p.PackID); err != nil {
			return err
		}
		if !created {
			if saved.SHA256 != p.SHA256 {
				return fault.New(fault.Conflict, "pack_differs", "pack", p.PackID)
			}
			return nil
		}
		return f.record(ctx, tx, by, "company_pack", f.NewID(), map[string]any{"pack": p.PackID, "sha256": p.SHA256, "note": p.Note})
	})
	return saved, created, err
}

// PutPackActivation has an edition judge from a day on, today at the earliest, or none of that name. The edition before ends on that
// day. The same again changes nothing.
func (f *Fleet) PutPackActivation(ctx context.Context, by identity.Actor, a PackActivation) (saved PackActivation, created bool, err error) {
	tidy(&a.Why)
	var faults fault.List
	checkText(&faults, "/why", a.Why, 1, 2000)
	if a.From.IsZero() {
		faults.Add("/from_day", "date_missing")
	}
	f.checkDay(&faults, "/from_day", a.From)
	f.checkDay(&faults, "/until_day", a.Until)
	if !a.Until.IsZero() && a.Until.Before(a.From) {
		faults.Add("/until_day", "until_before_from")
	}
	if a.PackID != "" && !strings.HasPrefix(a.PackID, a.PackName+"@") {
		faults.Add("/pack", "pack_of_other_name", "name", a.PackName)
	}
	if err := faults.Err(); err != nil {
		return PackActivation{}, false, err
	}
	err = f.Store.InTx(ctx, by, func(ctx context.Context, tx Tx) error {
		if err := tx.LockPackName(ctx, a.PackName); err != nil {
			return err
		}
		a.RecordedAt, a.RecordedBy = f.Now(), by.PersonID
		present, err := tx.PackActivationByID(ctx, a.ActivationID)
		switch {
		case err == nil:
			saved, created = present, false
			a.RecordedAt, a.RecordedBy, a.SHA256 = present.RecordedAt, present.RecordedBy, present.SHA256
			if a != present {
				return fault.New(fault.Conflict, "activation_differs")
			}
			return nil
		case !fault.Is(err, "activation_not_found"):
			return err
		}
		if a.SHA256, err = f.checkActivation(ctx, tx, a); err != nil {
			return err
		}
		if created, err = tx.InsertPackActivation(ctx, a); err != nil {
			return err
		}
		if !created { // under another name, a moment ago
			return fault.New(fault.Conflict, "activation_differs")
		}
		saved = a
		return f.record(ctx, tx, by, "company_pack_activation", a.ActivationID, a)
	})
	return saved, created, err
}

// checkActivation refuses what began before today, and the end of what does not judge. It gives the digest of the edition's text.
func (f *Fleet) checkActivation(ctx context.Context, tx Tx, a PackActivation) (seal.Hash, error) {
	today, err := f.officeDay(ctx, tx)
	if err != nil {
		return seal.Hash{}, err
	}
	if a.From.Before(today) {
		return seal.Hash{}, fault.At("/from_day", "activation_in_the_past", "today", today.String())
	}
	if a.PackID != "" {
		pack, err := tx.CompanyPackByID(ctx, a.PackID)
		return pack.SHA256, instead(err, fault.At("/pack", "pack_not_found", "pack", a.PackID))
	}
	activations, err := tx.PackActivations(ctx)
	if err != nil {
		return seal.Hash{}, err
	}
	for _, p := range periodsOf(activations) {
		if p.name() == a.PackName && p.holds(a.From) {
			return seal.Hash{}, nil
		}
	}
	return seal.Hash{}, fault.At("/from_day", "nothing_to_end", "name", a.PackName)
}

// officeDay is the day that it is for the company's own people.
func (f *Fleet) officeDay(ctx context.Context, tx Tx) (duedate.Day, error) {
	now := f.Now()
	ladder, err := f.ladderOn(ctx, tx, duedate.DayIn(now, time.UTC))
	return duedate.DayIn(now, ladder.office()), err
}

// periodsOf gives the times in which editions judge, by name and day. Of activations of one name that begin on one day the one recorded
// last counts; each ends with its own last day, or when the next begins.
func periodsOf(activations []PackActivation) (periods []PackPeriod) {
	rows := slices.Clone(activations)
	slices.SortFunc(rows, func(a, b PackActivation) int {
		return cmp.Or(strings.Compare(a.PackName, b.PackName), a.From.Compare(b.From), a.RecordedAt.Compare(b.RecordedAt), strings.Compare(a.ActivationID.String(), b.ActivationID.String()))
	})
	for i, a := range rows {
		p := PackPeriod{PackID: a.PackID, SHA256: a.SHA256, From: a.From, Until: a.Until}
		if i+1 < len(rows) && rows[i+1].PackName == a.PackName {
			if end := rows[i+1].From.AddDays(-1); p.Until.IsZero() || end.Before(p.Until) {
				p.Until = end
			}
		}
		if p.PackID != "" && (p.Until.IsZero() || !p.Until.Before(p.From)) {
			periods = append(periods, p)
		}
	}
	return periods
}

// name is the pack's, without its edition.
func (p PackPeriod) name() string {
	name, _, _ := strings.Cut(p.PackID, "@")
	return name
}

func (p PackPeriod) holds(day duedate.Day) bool {
	return !day.Before(p.From) && (p.Until.IsZero() || !day.After(p.Until))
}

// companyPacksFor gives the company's packs that judge such a door in a jurisdiction on a day, by id.
func (f *Fleet) companyPacksFor(ctx context.Context, tx Tx, d DoorFacts, jurisdiction string, day duedate.Day) (packs []*rulebook.Pack, err error) {
	activations, err := tx.PackActivations(ctx)
	if err != nil {
		return nil, err
	}
	for _, p := range periodsOf(activations) {
		if !p.holds(day) {
			continue
		}
		pack, ok := f.packs.Get(p.SHA256)
		if !ok {
			kept, err := tx.CompanyPackByID(ctx, p.PackID)
			if err != nil {
				return nil, err
			}
			if pack, err = f.compile(kept); err != nil {
				return nil, err
			}
		}
		if pack.HoldsAt(jurisdiction) && pack.IsFor(rulebook.DoorKind(d.Kind), rulebook.Energy(d.Energy)) {
			packs = append(packs, pack)
		}
	}
	return packs, nil
}

// compile gives a company's pack, compiled once for each text.
func (f *Fleet) compile(kept CompanyPack) (*rulebook.Pack, error) {
	if pack, ok := f.packs.Get(kept.SHA256); ok {
		return pack, nil
	}
	pack, mistakes, err := rulebook.Check([]byte(kept.Text))
	if err != nil {
		return nil, err
	}
	if len(mistakes) > 0 { // it was sound when it came, and judging without it would be silent
		return nil, fault.New(fault.Conflict, "pack_outdated", "pack", kept.PackID, "what", mistakes[0].What)
	}
	f.packs.Add(kept.SHA256, pack)
	return pack, nil
}

// packNamed gives the pack of an id, one that comes with the program or one of the company's; false when there is none in sight.
func (f *Fleet) packNamed(ctx context.Context, tx Tx, id string) (*rulebook.Pack, bool, error) {
	if pack, ok := f.Book.Pack(id); ok || id == "" {
		return pack, ok, nil
	}
	kept, err := tx.CompanyPackByID(ctx, id)
	if fault.Is(err, "pack_not_found") {
		return nil, false, nil
	}
	if err != nil {
		return nil, false, err
	}
	pack, err := f.compile(kept)
	return pack, err == nil, err
}

// RulePack is a pack with what is known of it here.
type RulePack struct {
	*rulebook.Pack
	Company *CompanyPack // nil: it comes with the program
	Periods []PackPeriod // in which it judges, of a company's
	InForce bool         // today, UTC; what comes with the program always is
}

// RulePacks gives the packs that come with the program, then the company's that are in sight, each by id.
func (f *Fleet) RulePacks(ctx context.Context, by identity.Actor) (list []RulePack, err error) {
	err = f.Store.InTxReadOnly(ctx, by, func(ctx context.Context, tx Tx) error {
		list = nil
		for _, p := range f.Book.Packs() {
			list = append(list, RulePack{Pack: p, InForce: true})
		}
		kept, err := tx.CompanyPacks(ctx)
		if err != nil {
			return err
		}
		own, err := f.ofCompany(ctx, tx, kept)
		list = append(list, own...)
		return err
	})
	return list, err
}

// RulePack gives one pack by its id.
func (f *Fleet) RulePack(ctx context.Context, by identity.Actor, id string) (p RulePack, err error) {
	if pack, ok := f.Book.Pack(id); ok {
		return RulePack{Pack: pack, InForce: true}, nil
	}
	err = f.Store.InTxReadOnly(ctx, by, func(ctx context.Context, tx Tx) error {
		kept, err := tx.CompanyPackByID(ctx, id)
		if err != nil {
			return err
		}
		own, err := f.ofCompany(ctx, tx, []CompanyPack{kept})
		if err == nil {
			p = own[0]
		}
		return err
	})
	return p, err
}

// ofCompany says of the company's packs when they judge.
func (f *Fleet) ofCompany(ctx context.Context, tx Tx, kept []CompanyPack) (list []RulePack, err error) {
	activations, err := tx.PackActivations(ctx)
	if err != nil {
		return nil, err
	}
	periods, today := periodsOf(activations), duedate.DayIn(f.Now(), time.UTC)
	for _, k := range kept {
		p := RulePack{Company: &k}
		if p.Pack, err = f.compile(k); err != nil {
			return nil, err
		}
		for _, period := range periods {
			if period.PackID == k.PackID {
				p.Periods = append(p.Periods, period)
				p.InForce = p.InForce || period.holds(today)
			}
		}
		list = append(list, p)
	}
	return list, nil
}

// PackActivations lists every activation that was ever recorded, the newest first.
func (f *Fleet) PackActivations(ctx context.Context, by identity.Actor) (list []PackActivation, err error) {
	err = f.Store.InTxReadOnly(ctx, by, func(ctx context.Context, tx Tx) error {
		list, err = tx.PackActivations(ctx)
		return err
	})
	return list, err
}

// ChangeText says in words what differs between two packs.
func ChangeText(texts words.Printer, c rulebook.Change) string {
	rule := c.Rule
	if rule == "" {
		rule = texts.T("pack.change.whole")
	}
	if c.Kind != rulebook.Changed {
		return texts.T("pack.change."+string(c.Kind), "rule", rule, "title", c.From+c.To)
	}
	nothing := texts.T("pack.change.nothing")
	return texts.T("pack.change.changed", "rule", rule, "what", texts.T("pack.member."+c.What), "from", cmp.Or(c.From, nothing), "to", cmp.Or(c.To, nothing))
}
