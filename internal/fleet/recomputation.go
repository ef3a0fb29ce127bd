package fleet

import (
	"cmp"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"maps"
	"runtime"
	"slices"
	"strings"
	"sync"
	"time"

	"github.com/google/uuid"
	"golang.org/x/sync/errgroup"

	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/fault"
	"lintel.example/lintel/internal/field"
	"lintel.example/lintel/internal/identity"
	"lintel.example/lintel/internal/rulebook"
)

// Recomputation computes anew what is watched at every door, and what its readings are expected to reach, because something changed that many doors rest on. It goes
// from door to door in the order of their ids, some at a time, each part in a transaction of its own that changes of the
// same doors wait for, or it for them. Cut off anywhere it goes on where it was; what is done twice is the same.
type Recomputation struct {
	RecomputationID uuid.UUID
	Why             string // program: its field model or rule packs; catalogue: an entry was corrected; asked: by a person; packs: others of the company's judge
	Detail          string // which program, which entry, what the person said, or which packs of the company's
	AskedAt         time.Time
	AskedBy         uuid.UUID
	AfterDoor       uuid.UUID // every door up to this one is done
	Done            int       // doors looked at
	Changed         int       // of them, those of which something was computed
	Opened, Cleared int       // findings
	FinishedAt      *time.Time
}

// Reasons of a recomputation.
const (
	RecomputeProgram   = "program"
	RecomputeCatalogue = "catalogue"
	RecomputeAsked     = "asked"
	RecomputePacks     = "packs" // what is expected of readings only
)

type recomputationRows interface {
	// InsertRecomputation answers false when the id is taken, or there is one of that program already.
	InsertRecomputation(ctx context.Context, r Recomputation) (bool, error)
	RecomputationByID(ctx context.Context, id uuid.UUID) (Recomputation, error)
	// Recomputations lists them, the newest first; open only those that are not finished.
	Recomputations(ctx context.Context, open bool, limit int) ([]Recomputation, error)
	// CountRecomputed adds what one part came to.
	CountRecomputed(ctx context.Context, id uuid.UUID, changed, opened, cleared int) error
	// AdvanceRecomputation says how far it is; it never goes back.
	AdvanceRecomputation(ctx context.Context, id, after uuid.UUID, done int, finished *time.Time) error
	// LockDoors is LockDoor for many; in the order of their ids, so that two do not wait for each other.
	LockDoors(ctx context.Context, ids []uuid.UUID) error
	// GiveWay waits while people have transactions under way in this process, but not longer than that: for work of the program's own that nobody
	// waits for and that would take the processors from them.
	GiveWay(ctx context.Context, atMost time.Duration)
	// PresentDoors, PresentComponents and PresentRevisionsOf give what now holds at doors, by door.
	PresentDoors(ctx context.Context, ids []uuid.UUID) ([]Door, error)
	PresentComponents(ctx context.Context, doors []uuid.UUID) ([]Component, error)
	PresentRevisionsOf(ctx context.Context, doors []uuid.UUID) ([]Revision, error)
	// NewestRecomputation gives the detail of the one that was asked for last for a reason; "" when there is none.
	NewestRecomputation(ctx context.Context, why string) (detail string, err error)
	// InspectedAmong gives those of the doors that an inspection was concluded of, signed or not.
	InspectedAmong(ctx context.Context, doors []uuid.UUID) ([]uuid.UUID, error)
	// SiteZones gives every zone in which a site is.
	SiteZones(ctx context.Context) ([]string, error)
	// CoverageInputs gives the hashes that recorded coverages were computed from, by door.
	CoverageInputs(ctx context.Context, doors []uuid.UUID) (map[uuid.UUID][]string, error)
	// OpenComputedFindings gives those that stand, by door.
	OpenComputedFindings(ctx context.Context, doors []uuid.UUID) (map[uuid.UUID][]ComputedFinding, error)
	PutCoveragesOf(ctx context.Context, list []CoverageOf) error
	InsertComputedFindingsOf(ctx context.Context, list []ComputedFindingOf) error
}

// CoverageOf is a coverage with its door. The JSON names are the statement's.
type CoverageOf struct {
	DoorID uuid.UUID `json:"door_id"`
	Coverage
}

// ComputedFindingOf is a computed finding with its door. The JSON names are the statement's.
type ComputedFindingOf struct {
	DoorID uuid.UUID `json:"door_id"`
	ComputedFinding
}

// ThisProgram names what the program computes with: its field model and its rule packs. Of two programs with the same
// name the results are the same.
func (f *Fleet) ThisProgram() string {
	hash := sha256.New()
	for _, p := range f.Book.Packs() {
		fmt.Fprintln(hash, p.ID, p.Digest)
	}
	return field.ModelVersion + ", rule packs " + hex.EncodeToString(hash.Sum(nil))[:12]
}

// EnsureRecomputation asks for the recomputation that this program makes necessary, once for each program, and for that of the
// company's packs, each time others of them judge than when it was asked for last. A day begins at each site by its own clock, so
// that a pack may ask for several.
func (f *Fleet) EnsureRecomputation(ctx context.Context) error {
	return f.Store.InTx(ctx, identity.Program(), func(ctx context.Context, tx Tx) error {
		asked := Recomputation{RecomputationID: f.NewID(), Why: RecomputeProgram, Detail: f.ThisProgram(), AskedAt: f.Now(), AskedBy: identity.Program().PersonID}
		if _, err := tx.InsertRecomputation(ctx, asked); err != nil {
			return err
		}
		now, before, err := f.packsNow(ctx, tx)
		if err != nil || now == before {
			return err
		}
		asked.RecomputationID, asked.Why, asked.Detail = f.NewID(), RecomputePacks, now
		_, err = tx.InsertRecomputation(ctx, asked)
		return err
	})
}

// noPacks is the detail of a recomputation when no pack of the company's judges.
const noPacks = "none"

// packsNow names the packs of the company's that judge at this moment, with the zones where they do if that is not everywhere the
// same, and what was named when it was asked for last. Two servers do not ask at once.
func (f *Fleet) packsNow(ctx context.Context, tx Tx) (now, before string, err error) {
	activations, err := tx.PackActivations(ctx)
	if err != nil || len(activations) == 0 {
		return "", "", err
	}
	if err := tx.LockPackName(ctx, ""); err != nil { // no pack has this name
		return "", "", err
	}
	zones, err := tx.SiteZones(ctx)
	if err != nil {
		return "", "", err
	}
	in := map[string][]string{} // the packs that judge, the zones in which they do
	for _, zone := range zones {
		day := duedate.DayIn(f.Now(), zoneOr(zone, time.UTC))
		var packs []string
		for _, p := range periodsOf(activations) {
			if p.holds(day) {
				packs = append(packs, p.PackID)
			}
		}
		named := cmp.Or(strings.Join(packs, ", "), noPacks)
		in[named] = append(in[named], zone)
	}
	var parts []string
	for _, packs := range slices.Sorted(maps.Keys(in)) {
		if len(in) > 1 {
			packs += " in " + strings.Join(in[packs], ", ")
		}
		parts = append(parts, packs)
	}
	before, err = tx.NewestRecomputation(ctx, RecomputePacks)
	return cmp.Or(strings.Join(parts, "; "), noPacks), cmp.Or(before, noPacks), err
}

// AskRecomputation asks for one by hand. It computes every door, also where nothing is known to have changed.
func (f *Fleet) AskRecomputation(ctx context.Context, by identity.Actor, id uuid.UUID, detail string) (r Recomputation, err error) {
	tidy(&detail)
	var faults fault.List
	if checkLine(&faults, "/detail", detail, 1, 200); faults != nil {
		return r, faults
	}
	err = f.Store.InTx(ctx, by, func(ctx context.Context, tx Tx) error {
		r = Recomputation{RecomputationID: id, Why: RecomputeAsked, Detail: detail, AskedAt: f.Now(), AskedBy: by.PersonID}
		added, err := tx.InsertRecomputation(ctx, r)
		if err == nil && !added {
			r, err = tx.RecomputationByID(ctx, id)
		}
		return err
	})
	return r, err
}

// Recomputations lists them, the newest first.
func (f *Fleet) Recomputations(ctx context.Context, by identity.Actor, limit int) (list []Recomputation, err error) {
	err = f.Store.InTxReadOnly(ctx, by, func(ctx context.Context, tx Tx) error {
		list, err = tx.Recomputations(ctx, false, limit)
		return err
	})
	return list, err
}

// RecomputeAll works off every recomputation that is not finished and that this program may do, the oldest first, and
// tells progress. It returns without an error when the context ends: what is left is for the next time.
func (f *Fleet) RecomputeAll(ctx context.Context, progress func(r Recomputation, doors int)) error {
	var open []Recomputation
	err := f.Store.InTxReadOnly(ctx, identity.Program(), func(ctx context.Context, tx Tx) (err error) {
		open, err = tx.Recomputations(ctx, true, 100)
		return err
	})
	for _, r := range slices.Backward(open) {
		if r.Why == RecomputeProgram && r.Detail != f.ThisProgram() {
			continue // of another version of the program: its results are for that one to make
		}
		if err == nil {
			err = f.recomputeFrom(ctx, r, progress)
		}
	}
	if ctx.Err() != nil {
		return nil
	}
	return err
}

const (
	recomputedTogether = 64   // doors in a part: few enough that whoever changes one of them hardly waits
	doorsBeforeGlance  = 3    // after so many it looks whether people are at work, which take a millisecond or two
	doorsAhead         = 2048 // ids read at once
	doorsBetween       = 2048 // after so many it is written down how far a recomputation is
)

const (
	longestWay    = 100 * time.Millisecond // what is waited for people before a part
	longestGlance = 30 * time.Millisecond  // and in it, where it holds doors that they may be waiting for
)

// doorPart is some doors that are recomputed together.
type doorPart struct {
	number int
	doors  []uuid.UUID
}

// recomputeFrom does the doors that a recomputation has not done yet, on every processor, and gives way to whoever works meanwhile.
func (f *Fleet) recomputeFrom(ctx context.Context, r Recomputation, progress func(Recomputation, int)) error {
	var doors int
	err := f.Store.InTxReadOnly(ctx, identity.Program(), func(ctx context.Context, tx Tx) (err error) {
		doors, err = tx.CountDoors(ctx)
		return err
	})
	if err != nil {
		return err
	}
	g, ctx := errgroup.WithContext(ctx)
	parts := make(chan doorPart)
	g.Go(func() error {
		defer close(parts)
		return f.partsAfter(ctx, r.AfterDoor, parts)
	})
	done := doneInOrder{r: r, written: r.Done}
	for range runtime.GOMAXPROCS(0) {
		g.Go(func() error {
			for part := range parts {
				if err := f.recomputePart(ctx, r, part.doors); err != nil {
					return err
				}
				now, due := done.add(part)
				if !due {
					continue
				}
				if err := f.advance(ctx, now, nil); err != nil {
					return err
				}
				progress(now, doors)
			}
			return nil
		})
	}
	if err := g.Wait(); err != nil {
		return err
	}
	finished := f.Now()
	if err := f.advance(context.WithoutCancel(ctx), done.r, &finished); err != nil {
		return err
	}
	progress(done.r, doors)
	return nil
}

func (f *Fleet) advance(ctx context.Context, r Recomputation, finished *time.Time) error {
	return f.Store.InTx(ctx, identity.Program(), func(ctx context.Context, tx Tx) error {
		return tx.AdvanceRecomputation(ctx, r.RecomputationID, r.AfterDoor, r.Done, finished)
	})
}

// partsAfter gives the doors after one in parts, by id.
func (f *Fleet) partsAfter(ctx context.Context, after uuid.UUID, parts chan<- doorPart) error {
	for number := 0; ; {
		var ids []uuid.UUID
		err := f.Store.InTxReadOnly(ctx, identity.Program(), func(ctx context.Context, tx Tx) (err error) {
			ids, err = tx.DoorIDs(ctx, after, doorsAhead)
			return err
		})
		if err != nil || len(ids) == 0 {
			return err
		}
		after = ids[len(ids)-1]
		for doors := range slices.Chunk(ids, recomputedTogether) {
			select {
			case parts <- doorPart{number, doors}:
				number++
			case <-ctx.Done():
				return ctx.Err()
			}
		}
	}
}

// doneInOrder knows how far a recomputation is when parts end out of order.
type doneInOrder struct {
	mu      sync.Mutex
	r       Recomputation
	next    int
	ahead   map[int][]uuid.UUID // parts that ended before one with a lower number
	written int                 // doors that were done when it was last written down
}

// add takes a part that has ended; due tells that it is time to write down how far it is.
func (d *doneInOrder) add(part doorPart) (now Recomputation, due bool) {
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.ahead == nil {
		d.ahead = map[int][]uuid.UUID{}
	}
	d.ahead[part.number] = part.doors
	for {
		doors, ok := d.ahead[d.next]
		if !ok {
			break
		}
		delete(d.ahead, d.next)
		d.next++
		d.r.AfterDoor, d.r.Done = doors[len(doors)-1], d.r.Done+len(doors)
	}
	if due = d.r.Done >= d.written+doorsBetween; due {
		d.written = d.r.Done
	}
	return d.r, due
}

// recomputePart computes some doors anew in one transaction.
func (f *Fleet) recomputePart(ctx context.Context, r Recomputation, ids []uuid.UUID) error {
	return f.Store.InTx(ctx, identity.Program(), func(ctx context.Context, tx Tx) error {
		tx.GiveWay(ctx, longestWay)
		if err := tx.LockDoors(ctx, ids); err != nil {
			return err
		}
		settled, err := f.settleRulesOf(ctx, tx, r, ids)
		if err != nil {
			return err
		}
		if r.Why == RecomputePacks {
			return tx.CountRecomputed(ctx, r.RecomputationID, settled, 0, 0)
		}
		tx.GiveWay(ctx, longestGlance)
		pictures, err := picturesOf(ctx, tx, ids)
		if err != nil {
			return err
		}
		recorded, err := tx.CoverageInputs(ctx, ids)
		if err != nil {
			return err
		}
		standing, err := tx.OpenComputedFindings(ctx, ids)
		if err != nil {
			return err
		}
		all := recomputedDoors{fleet: f, at: f.Now()}
		for i, p := range pictures {
			if i%doorsBeforeGlance == 0 {
				tx.GiveWay(ctx, longestGlance)
			}
			if err := all.add(p, r.Why == RecomputeAsked, recorded[p.door.DoorID], standing[p.door.DoorID]); err != nil {
				return err
			}
		}
		tx.GiveWay(ctx, longestGlance)
		return all.write(ctx, tx, r.RecomputationID)
	})
}

// settleRulesOf writes anew what follows from what rules ask of some doors: what readings are expected to reach, and due dates under the longest interval. It
// tells of how many doors.
func (f *Fleet) settleRulesOf(ctx context.Context, tx Tx, r Recomputation, ids []uuid.UUID) (settled int, err error) {
	if r.Why == RecomputeCatalogue {
		return 0, nil
	}
	inspected, err := tx.InspectedAmong(ctx, ids)
	if err != nil {
		return 0, err
	}
	for _, door := range inspected {
		if err := f.settleTrends(ctx, tx, door); err != nil {
			return 0, err
		}
		if err := f.settleCalendarOf(ctx, tx, door); err != nil {
			return 0, err
		}
	}
	return len(inspected), nil
}

// recomputedDoors is what came of some doors.
type recomputedDoors struct {
	fleet     *Fleet
	at        time.Time
	changed   int
	extents   []Extent
	coverages []CoverageOf
	gone      []uuid.UUID
	fresh     []ComputedFindingOf
}

// add computes a door, unless nothing that its coverage rests on is another than before.
func (all *recomputedDoors) add(p picture, anyway bool, recorded []string, stand []ComputedFinding) error {
	f, door := all.fleet, p.door.DoorID
	pack, err := f.basisOf(p.door.Facts)
	if err != nil {
		return err
	}
	if !anyway && slices.Equal(recorded, []string{p.inputs(pack)}) {
		return nil
	}
	c, err := f.compute(p, picture.coversAfresh)
	if err != nil {
		return err
	}
	all.changed++
	all.extents = append(all.extents, c.extents...)
	for _, one := range c.coverages {
		all.coverages = append(all.coverages, CoverageOf{door, one})
	}
	gone, fresh := f.standing(stand, c.causes, all.at)
	all.gone = append(all.gone, gone...)
	for _, one := range fresh {
		all.fresh = append(all.fresh, ComputedFindingOf{door, one})
	}
	return nil
}

func (p picture) coversAfresh(pack *rulebook.Pack) ([]zoneCover, string) {
	return p.covers(pack), p.inputs(pack)
}

func (all *recomputedDoors) write(ctx context.Context, tx Tx, id uuid.UUID) error {
	if all.changed == 0 {
		return nil
	}
	if len(all.extents) > 0 {
		if err := tx.InsertExtents(ctx, all.extents); err != nil {
			return err
		}
	}
	if len(all.coverages) > 0 {
		if err := tx.PutCoveragesOf(ctx, all.coverages); err != nil {
			return err
		}
	}
	if len(all.gone) > 0 {
		if err := tx.ClearComputedFindings(ctx, all.gone, all.at); err != nil {
			return err
		}
	}
	if len(all.fresh) > 0 {
		if err := tx.InsertComputedFindingsOf(ctx, all.fresh); err != nil {
			return err
		}
	}
	return tx.CountRecomputed(ctx, id, all.changed, len(all.fresh), len(all.gone))
}
