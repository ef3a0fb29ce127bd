package fleet

import (
	"context"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/fault"
	"lintel.example/lintel/internal/identity"
)

// within gives the use-cases on a transaction that is already going on: what they do belongs to it.
func (f *Fleet) within(tx Tx) *Fleet {
	parts := f.Parts
	parts.Store = goingOn{tx}
	return New(parts)
}

// goingOn is a Transactor whose one transaction somebody else has begun and will end.
type goingOn struct{ tx Tx }

// InTx implements Transactor.
func (g goingOn) InTx(ctx context.Context, _ identity.Actor, f func(context.Context, Tx) error) error {
	return f(ctx, g.tx)
}

// InTxReadOnly implements Transactor.
func (g goingOn) InTxReadOnly(ctx context.Context, _ identity.Actor, f func(context.Context, Tx) error) error {
	return f(ctx, g.tx)
}

// mostChangedDoors is how many doors that were there before one import may change: each is locked until it ends, and
// PostgreSQL's table of locks has an end (64 for each connection that it takes, by default).
const mostChangedDoors = 4000

// intakeTx is a transaction that does much to many doors: it puts their recomputing off to the end, and knows by heart
// what it has made itself. Nobody else sees that before the commit, so it needs neither a lock nor a look.
type intakeTx struct {
	Tx
	later      map[uuid.UUID]bool // doors to recompute at the end
	fresh      map[uuid.UUID]bool // ids that this transaction gave away
	inserted   map[uuid.UUID]bool // doors of these that were written, perhaps to be taken back
	doors      map[uuid.UUID]Door // made here, by id, as they are now
	components map[uuid.UUID]Component
	sites      map[uuid.UUID]Site
	locked     map[uuid.UUID]bool
	tags       map[Tag]bool // that rows of the list give by hand
}

// NextDoorNumber passes over the tags that other rows give: a door without one must not take it away from them.
func (t *intakeTx) NextDoorNumber(ctx context.Context) (int64, error) {
	for {
		number, err := t.Tx.NextDoorNumber(ctx)
		if err != nil {
			return 0, err
		}
		if tag, err := TagFor(number); err != nil || !t.tags[tag] {
			return number, err
		}
	}
}

// recomputesLater is a transaction in which doors are recomputed at the end, however often they change.
type recomputesLater interface{ recomputeLater(doorID uuid.UUID) }

func (t *intakeTx) recomputeLater(doorID uuid.UUID) { t.later[doorID] = true }

// forget drops what may have been taken back.
func (t *intakeTx) forget() {
	clear(t.doors)
	clear(t.components)
	clear(t.sites)
}

func (t *intakeTx) LockDoor(ctx context.Context, id uuid.UUID) error {
	if t.fresh[id] || t.locked[id] {
		return nil
	}
	if t.locked != nil {
		if t.locked[id] = true; len(t.locked) > mostChangedDoors {
			return fault.New(fault.TooLarge, "import_changes_too_many", "most", mostChangedDoors)
		}
	}
	return t.Tx.LockDoor(ctx, id)
}

func (t *intakeTx) SiteByID(ctx context.Context, id uuid.UUID) (Site, error) {
	if s, ok := t.sites[id]; ok {
		return s, nil
	}
	s, err := t.Tx.SiteByID(ctx, id)
	if err == nil && t.sites != nil {
		t.sites[id] = s
	}
	return s, err
}

func (t *intakeTx) UpdateSite(ctx context.Context, s Site) error {
	delete(t.sites, s.SiteID)
	return t.Tx.UpdateSite(ctx, s)
}

func (t *intakeTx) DoorByID(ctx context.Context, id uuid.UUID, asOf AsOf) (Door, error) {
	if d, ok := t.doors[id]; ok && asOf == (AsOf{}) {
		return d, nil
	}
	if t.fresh[id] && !t.inserted[id] {
		return Door{}, fault.New(fault.NotFound, "door_not_found")
	}
	return t.Tx.DoorByID(ctx, id, asOf)
}

func (t *intakeTx) InsertDoorVersion(ctx context.Context, d Door) error {
	err := t.Tx.InsertDoorVersion(ctx, d)
	if err == nil && t.fresh[d.DoorID] {
		t.doors[d.DoorID], t.inserted[d.DoorID] = d, true
	}
	return err
}

func (t *intakeTx) RenameDoor(ctx context.Context, id uuid.UUID, name string) error {
	delete(t.doors, id)
	return t.Tx.RenameDoor(ctx, id, name)
}

func (t *intakeTx) ComponentByID(ctx context.Context, id uuid.UUID, asOf AsOf) (Component, error) {
	c, ok := t.components[id]
	switch {
	case ok && asOf == (AsOf{}):
		return c, nil
	case t.fresh[id] && !ok:
		return Component{}, fault.New(fault.NotFound, "component_not_found")
	}
	return t.Tx.ComponentByID(ctx, id, asOf)
}

func (t *intakeTx) InsertComponentVersion(ctx context.Context, c Component) error {
	err := t.Tx.InsertComponentVersion(ctx, c)
	if _, known := t.components[c.ComponentID]; err == nil && (known || t.fresh[c.ComponentID]) {
		t.components[c.ComponentID] = c
		delete(t.fresh, c.ComponentID)
	}
	return err
}

func (t *intakeTx) EntriesOfDoor(ctx context.Context, doorID uuid.UUID) ([]Entry, error) {
	if t.fresh[doorID] {
		return nil, nil
	}
	return t.Tx.EntriesOfDoor(ctx, doorID)
}

func (t *intakeTx) HoldPlans(ctx context.Context, doorID uuid.UUID) error {
	if t.fresh[doorID] {
		return nil
	}
	return t.Tx.HoldPlans(ctx, doorID)
}

func (t *intakeTx) InspectionOrders(ctx context.Context, doorID uuid.UUID) ([]WorkOrder, error) {
	if t.fresh[doorID] {
		return nil, nil
	}
	return t.Tx.InspectionOrders(ctx, doorID)
}
