package fleet

import (
	"context"
	"crypto/sha256"
	"encoding/json"
	"errors"
	"strings"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/fault"
	"lintel.example/lintel/internal/identity"
	"lintel.example/lintel/internal/sheet"
	"lintel.example/lintel/internal/words"
)

// ImportOrder is a list that somebody brings in.
type ImportOrder struct {
	FileName string
	Data     []byte
	Mapping  sheet.Mapping
	DryRun   bool                // do it, look, and take it back
	GoodRows bool                // bad rows are left out; otherwise one bad row stops all
	Progress func(done, all int) // nil: nobody looks
}

// ImportRun is a list that was brought in, or tried, and what came of it.
type ImportRun struct {
	RunID      uuid.UUID
	FileName   string
	FileSHA256 [32]byte
	At         time.Time
	PersonID   uuid.UUID
	Applied    bool // false: tried only, or stopped by a bad row; nothing of it is kept then
	Summary    ImportSummary
	UndoneAt   *time.Time
	UndoneBy   *uuid.UUID
}

// ImportSummary is what came of an import. The JSON names are the recorded form.
type ImportSummary struct {
	Format     string                 `json:"format"`
	Encoding   string                 `json:"encoding,omitempty"`
	Separator  string                 `json:"separator,omitempty"`
	Sheet      string                 `json:"sheet,omitempty"`
	HeadingRow int                    `json:"heading_row"`
	Columns    []sheet.Taken          `json:"columns"`
	Rows       int                    `json:"rows"`
	BadRows    int                    `json:"bad_rows"`
	Counts     map[string]ImportCount `json:"counts"` // by kind: customer, site, party, standing, door, component, revision, plan
	Complaints []ImportComplaint      `json:"complaints"`
	Warnings   []ImportComplaint      `json:"warnings"`
	Notes      []sheet.Note           `json:"notes"`
	Mapping    sheet.Mapping          `json:"-"` // in force
}

// ImportCount counts things of one kind.
type ImportCount struct {
	Created   int `json:"created"`
	Updated   int `json:"updated"`
	Unchanged int `json:"unchanged"`
}

// ImportComplaint is what is wrong, or worth a look, in one cell or one row.
type ImportComplaint struct {
	Row    int    `json:"row"`
	Column string `json:"column,omitempty"` // its heading, or the field that has no column
	Value  string `json:"value,omitempty"`  // what stands there
	Code   string `json:"code"`
	Fault  bool   `json:"fault,omitempty"` // found by the rules of the register, not by the reading of the list
	Args   []any  `json:"args,omitempty"`
}

// Texts says to a person what is wrong and what to do.
func (c ImportComplaint) Texts(p words.Printer) (wrong, do string) {
	length, isLength := strings.CutPrefix(c.Code, "length_")
	switch {
	case c.Fault:
		return p.T("problem."+c.Code, c.Args...), p.T("import.do.fault", c.Args...)
	case isLength:
		return p.T("length." + length), p.T("import.do.length")
	case strings.HasPrefix(c.Code, "amount_"):
		return p.T("import.wrong."+c.Code, c.Args...), p.T("import.do.amount", c.Args...)
	}
	return p.T("import.wrong."+c.Code, c.Args...), p.T("import.do."+c.Code, c.Args...)
}

// ImportItem is one thing that an import made or changed.
type ImportItem struct {
	Row       int
	Kind      string // customer, site, party, standing, door, component, revision, plan
	SubjectID uuid.UUID
	Made      bool
	Versions  []string        // that the import wrote: ids, or the numbers of things that count their states
	Before    json.RawMessage // what a changed thing was; nil of a made one
}

// ImportObstacle is what keeps an import from being undone: something was added to what it made, or changed since.
type ImportObstacle struct {
	Kind string // of the import's thing
	Name string
	What string // see the texts import.obstacle.*
}

// Text says to a person what stands in the way.
func (o ImportObstacle) Text(p words.Printer) string {
	return p.T("import.obstacle", "kind", p.T("import.thing."+o.Kind), "name", o.Name, "what", p.T("import.obstacle."+o.What))
}

// ImportKinds are the kinds of things that an import brings, from the top down.
func ImportKinds() []string {
	return []string{"customer", "site", "party", "standing", "door", "component", "revision", "plan"}
}

// ImportQuery asks for imports, the newest first.
type ImportQuery struct {
	BeforeAt time.Time // zero: from the newest on
	BeforeID uuid.UUID
	Limit    int
}

// NamedDoor is a door as imports look for it.
type NamedDoor struct {
	DoorID uuid.UUID
	Name   string
}

type intakeRows interface {
	// Keep runs f and keeps what it writes until a statement of another kind comes, SendKept, or the end of the transaction: an error with ErrKept.
	Keep(ctx context.Context, f func() error) error
	SendKept(ctx context.Context) error
	// Savepoint runs f and takes back what it wrote when it fails; the transaction goes on, unless it is an ErrKept.
	Savepoint(ctx context.Context, f func(context.Context) error) error
	// LockImports lets one import at a time go on.
	LockImports(ctx context.Context) error
	AllCustomers(ctx context.Context) ([]Customer, error)
	SitesOfCustomer(ctx context.Context, customerID uuid.UUID) ([]Site, error)
	DoorsOfSite(ctx context.Context, siteID uuid.UUID) ([]NamedDoor, error)
	NextDoorNumbers(ctx context.Context, count int) ([]int64, error)
	TagsInUse(ctx context.Context, tags []Tag) ([]Tag, error)
	// PartiesNamed gives the parties of a name, whatever the case, that stand to a site of the customer or have the address.
	PartiesNamed(ctx context.Context, name string, customerID uuid.UUID, email string) ([]Party, error)
	InsertImport(ctx context.Context, r ImportRun, items []ImportItem) error
	ImportByID(ctx context.Context, id uuid.UUID) (ImportRun, error)
	ImportPage(ctx context.Context, q ImportQuery) ([]ImportRun, error)
	ImportItems(ctx context.Context, id uuid.UUID) ([]ImportItem, error)
	ImportObstacles(ctx context.Context, id uuid.UUID) ([]ImportObstacle, error)
	MarkImportUndone(ctx context.Context, id uuid.UUID, at time.Time, by uuid.UUID) error
	// DeleteMadeBy removes what an import made; something that hangs on it is a conflict.
	DeleteMadeBy(ctx context.Context, id uuid.UUID) error
}

// errTakeBack ends the transaction of an import of which nothing is to stay.
var errTakeBack = errors.New("nothing of this import is to stay")

// Import brings a list into the register in ONE transaction, through the same use-cases as everybody else's changes: the
// dry run is the real run, taken back. All of it or none, or the good rows. The same list again changes nothing. err is
// for a file that is no list, or a mapping that is none; bad rows are complaints of the summary.
func (f *Fleet) Import(ctx context.Context, by identity.Actor, o ImportOrder) (run ImportRun, err error) {
	tidy(&o.FileName)
	var faults fault.List
	checkText(&faults, "/file_name", o.FileName, 1, 200)
	if err := faults.Err(); err != nil {
		return ImportRun{}, err
	}
	if err := o.Mapping.Check(); err != nil {
		return ImportRun{}, fault.At("/mapping", "mapping_impossible", "reason", err.Error())
	}
	list, err := sheet.Read(o.Data, o.Mapping)
	var unreadable *sheet.Error
	if errors.As(err, &unreadable) {
		return ImportRun{}, fault.New(fault.Invalid, "sheet_"+unreadable.Code, unreadable.Args...)
	}
	if err != nil {
		return ImportRun{}, err
	}
	run, err = f.bring(ctx, by, o, list, false)
	if errors.Is(err, ErrKept) && ctx.Err() == nil { // somebody came between: which row it hits is found one by one
		run, err = f.bring(ctx, by, o, list, true)
	}
	return run, err
}

// bring does what a list says in one transaction.
func (f *Fleet) bring(ctx context.Context, by identity.Actor, o ImportOrder, list sheet.List, oneByOne bool) (run ImportRun, err error) {
	err = f.Store.InTx(ctx, by, func(ctx context.Context, tx Tx) error {
		if err := tx.LockImports(ctx); err != nil {
			return err
		}
		in := newIntake(f, tx, by, o, list, oneByOne)
		if err := in.takeRows(ctx); err != nil {
			return err
		}
		run = ImportRun{RunID: f.NewID(), FileName: o.FileName, FileSHA256: sha256.Sum256(o.Data), At: f.Now(), PersonID: by.PersonID, Summary: in.summary()}
		if o.DryRun || run.Summary.BadRows > 0 && !o.GoodRows {
			return errTakeBack
		}
		run.Applied = true
		return tx.InsertImport(ctx, run, in.items)
	})
	if errors.Is(err, errTakeBack) {
		err = nil
	}
	return run, err
}

// ImportRun gives one import.
func (f *Fleet) ImportRun(ctx context.Context, by identity.Actor, id uuid.UUID) (r ImportRun, err error) {
	err = f.Store.InTxReadOnly(ctx, by, func(ctx context.Context, tx Tx) error {
		r, err = tx.ImportByID(ctx, id)
		return err
	})
	return r, err
}

// ImportRuns lists imports, the newest first.
func (f *Fleet) ImportRuns(ctx context.Context, by identity.Actor, q ImportQuery) (list []ImportRun, err error) {
	err = f.Store.InTxReadOnly(ctx, by, func(ctx context.Context, tx Tx) error {
		list, err = tx.ImportPage(ctx, q)
		return err
	})
	return list, err
}

// UndoImport takes a whole import back: what it made goes, unless something was added to it since, and what it changed gets
// its former state as a new version, unless it was changed since. With obstacles nothing is done. Undone again changes nothing.
func (f *Fleet) UndoImport(ctx context.Context, by identity.Actor, id uuid.UUID) (run ImportRun, obstacles []ImportObstacle, err error) {
	err = f.Store.InTx(ctx, by, func(ctx context.Context, tx Tx) error {
		if err := tx.LockImports(ctx); err != nil {
			return err
		}
		if run, err = tx.ImportByID(ctx, id); err != nil || run.UndoneAt != nil {
			return err
		}
		if obstacles, err = tx.ImportObstacles(ctx, id); err != nil || len(obstacles) > 0 {
			return err
		}
		items, err := tx.ImportItems(ctx, id)
		if err != nil {
			return err
		}
		now := f.Now()
		if err := tx.MarkImportUndone(ctx, id, now, by.PersonID); err != nil {
			return err
		}
		run.UndoneAt, run.UndoneBy = &now, &by.PersonID
		return f.undo(ctx, tx, by, run, items)
	})
	return run, obstacles, err
}

// undo puts back first, so that what was made and only serves what was changed can go.
func (f *Fleet) undo(ctx context.Context, tx Tx, by identity.Actor, run ImportRun, items []ImportItem) error {
	changed := map[uuid.UUID]bool{} // doors that stay
	made := map[uuid.UUID]bool{}
	for _, item := range items {
		if item.Made {
			made[item.SubjectID] = true
		}
	}
	late := &intakeTx{Tx: tx, later: changed}
	inner := f.within(late)
	for _, item := range items {
		switch {
		case !item.Made:
			if err := inner.putBack(ctx, tx, by, run, item); err != nil {
				return err
			}
		case item.Kind == "component", item.Kind == "revision":
			door, err := doorOf(ctx, tx, item)
			if err != nil {
				return err
			}
			if !made[door] {
				changed[door] = true
			}
		}
	}
	if err := tx.DeleteMadeBy(ctx, run.RunID); err != nil {
		return err
	}
	for door := range changed {
		if err := f.recompute(ctx, tx, by, door); err != nil {
			return err
		}
	}
	return nil
}

// doorOf gives the door of a component or of a revision of one.
func doorOf(ctx context.Context, tx Tx, item ImportItem) (uuid.UUID, error) {
	if item.Kind == "revision" {
		r, err := tx.RevisionByID(ctx, item.SubjectID)
		return r.DoorID, err
	}
	c, err := tx.ComponentByID(ctx, item.SubjectID, AsOf{})
	return c.DoorID, err
}

// putBack gives a thing the state that it had before an import, as a new version.
func (f *Fleet) putBack(ctx context.Context, tx Tx, by identity.Actor, run ImportRun, item ImportItem) error {
	switch item.Kind {
	case "customer":
		var was Customer
		if err := json.Unmarshal(item.Before, &was); err != nil {
			return err
		}
		is, err := tx.CustomerByID(ctx, item.SubjectID)
		if err == nil {
			_, _, err = f.PutCustomer(ctx, by, was, is.Version)
		}
		return err
	case "site":
		var was Site
		if err := json.Unmarshal(item.Before, &was); err != nil {
			return err
		}
		is, err := tx.SiteByID(ctx, item.SubjectID)
		if err == nil {
			_, _, err = f.PutSite(ctx, by, was, is.Version)
		}
		return err
	case "party":
		var was Party
		if err := json.Unmarshal(item.Before, &was); err != nil {
			return err
		}
		is, err := tx.PartyByID(ctx, item.SubjectID)
		if err == nil {
			_, _, err = f.PutParty(ctx, by, was, is.Version)
		}
		return err
	case "plan":
		var was Plan
		if err := json.Unmarshal(item.Before, &was); err != nil {
			return err
		}
		was.Regime = was.Regime.NamedNow()
		is, err := tx.PlanByID(ctx, item.SubjectID)
		if err == nil {
			_, _, err = f.PutPlan(ctx, by, was, is.Version)
		}
		return err
	}
	var was doorBefore
	if err := json.Unmarshal(item.Before, &was); err != nil {
		return err
	}
	is, err := tx.DoorByID(ctx, item.SubjectID, AsOf{})
	if err != nil {
		return err
	}
	_, _, err = f.PutDoor(ctx, by, DoorPut{DoorID: is.DoorID, SiteID: is.SiteID, Name: was.Name, Facts: was.Facts,
		Reason: f.reason("import.reason_undone", "file", run.FileName), IfMatch: is.Version.VersionID})
	return err
}

// doorBefore is what a door was before an import. The JSON names are the recorded form.
type doorBefore struct {
	Name  string    `json:"name"`
	Facts DoorFacts `json:"facts"`
}

// reason is a text that is recorded, in the language that all of the company reads.
func (f *Fleet) reason(key string, args ...any) string {
	text := []rune(f.Words.Printer("en", words.Metric).T(key, args...))
	return string(text[:min(len(text), 500)])
}
