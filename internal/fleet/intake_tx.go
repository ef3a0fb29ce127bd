package fleet

import (
	"bytes"
	"context"
	"errors"
	"slices"

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

// ErrKept is in the chain of what goes wrong when writes that were kept (intakeRows.Keep) go to the database together.
var ErrKept = errors.New("what was kept could not be written")

// intakeTx is a transaction that does much to many doors: it puts their recomputing off to the end, knows by heart what it
// has made itself, and has its writes sent together. Nobody else sees what it made before the commit, so that needs
// neither a lock nor a look.
type intakeTx struct {
	Tx
	oneByOne  bool               // every write is sent at once, so that one that fails is one row's
	later     map[uuid.UUID]bool // doors to recompute at the end
	ending    bool
	locked    map[uuid.UUID]bool
	tags      map[Tag]bool // that rows of the list give by hand
	free      map[Tag]bool // that no door carried when looked for
	numbers   []int64      // payloads of free tags, for the doors to come
	fetched   int          // how many payloads were fetched last
	models    map[uuid.UUID]Model
	fresh     map[uuid.UUID]bool // ids that this transaction gave away
	customers map[uuid.UUID]Customer
	sites     map[uuid.UUID]Site

	// Made here, as they are now.
	doors      map[uuid.UUID]Door
	byTag      map[Tag]uuid.UUID
	components map[uuid.UUID]Component
	fitted     map[uuid.UUID][]uuid.UUID // components by door
	revisions  map[uuid.UUID][]Revision  // that hold, by door
	plans      map[uuid.UUID]Plan        // of doors made here
	planned    map[uuid.UUID][]uuid.UUID // plans by door
	activated  []PackActivation          // of the company's packs, once somebody has asked
	asked      bool

	forget []func() // takes back what is known by heart since the row began
}

func newIntakeTx(tx Tx, oneByOne bool) *intakeTx {
	return &intakeTx{Tx: tx, oneByOne: oneByOne, later: map[uuid.UUID]bool{}, locked: map[uuid.UUID]bool{}, tags: map[Tag]bool{}, free: map[Tag]bool{},
		models: map[uuid.UUID]Model{}, fresh: map[uuid.UUID]bool{}, customers: map[uuid.UUID]Customer{}, sites: map[uuid.UUID]Site{}, doors: map[uuid.UUID]Door{},
		byTag: map[Tag]uuid.UUID{}, components: map[uuid.UUID]Component{}, fitted: map[uuid.UUID][]uuid.UUID{}, revisions: map[uuid.UUID][]Revision{},
		plans: map[uuid.UUID]Plan{}, planned: map[uuid.UUID][]uuid.UUID{}}
}

// learn keeps a thing by heart until the row that is going on turns out to be bad.
func learn[K comparable, V any](t *intakeTx, known map[K]V, key K, v V) {
	if known == nil {
		return
	}
	before, had := known[key]
	t.forget = append(t.forget, func() {
		if delete(known, key); had {
			known[key] = before
		}
	})
	known[key] = v
}

// unlearn takes back what the row taught that has just been taken back.
func (t *intakeTx) unlearn() {
	for _, back := range slices.Backward(t.forget) {
		back()
	}
	t.forget = nil
}

// keep has the writes of f sent later, together with others.
func (t *intakeTx) keep(ctx context.Context, f func() error) error {
	if t.oneByOne {
		return f()
	}
	return t.Tx.Keep(ctx, f)
}

// keepOne is keep for what adds a thing with an id that this transaction gave away: that is not taken.
func (t *intakeTx) keepOne(ctx context.Context, f func() (bool, error)) (added bool, err error) {
	err = t.keep(ctx, func() error {
		added, err = f()
		return err
	})
	return added, err
}

// NextDoorNumber fetches some at once, as many again each time. It passes over the tags that other rows give: a door without one must not take
// it away from them; and over those that doors carry.
func (t *intakeTx) NextDoorNumber(ctx context.Context) (int64, error) {
	for len(t.numbers) == 0 {
		t.fetched = min(max(1, 2*t.fetched), mostFetchedNumbers)
		list, err := t.Tx.NextDoorNumbers(ctx, t.fetched)
		if err != nil {
			return 0, err
		}
		var tags []Tag
		for _, number := range list {
			tag, err := TagFor(number)
			if err != nil {
				return number, err
			}
			if !t.tags[tag] {
				t.numbers, tags = append(t.numbers, number), append(tags, tag)
			}
		}
		if err := t.lookForTags(ctx, tags); err != nil {
			return 0, err
		}
	}
	number := t.numbers[0]
	t.numbers = t.numbers[1:]
	return number, nil
}

// mostFetchedNumbers is how many tags may be lost when the list has fewer doors without one than thought.
const mostFetchedNumbers = 256

// lookForTags learns which tags no door carries.
func (t *intakeTx) lookForTags(ctx context.Context, tags []Tag) error {
	inUse, err := t.Tx.TagsInUse(ctx, tags)
	for _, tag := range tags {
		t.free[tag] = err == nil && !slices.Contains(inUse, tag)
	}
	return err
}

// recomputesLater is a transaction in which doors are recomputed at the end, however often they change.
type recomputesLater interface {
	// recomputeLater answers false when the end has come.
	recomputeLater(doorID uuid.UUID) bool
}

func (t *intakeTx) recomputeLater(doorID uuid.UUID) bool {
	if !t.ending {
		t.later[doorID] = true
	}
	return !t.ending
}

func (t *intakeTx) LockDoor(ctx context.Context, id uuid.UUID) error {
	if t.fresh[id] || t.locked[id] {
		return nil
	}
	if t.locked != nil && len(t.locked) >= mostChangedDoors {
		return fault.New(fault.TooLarge, "import_changes_too_many", "most", mostChangedDoors)
	}
	err := t.Tx.LockDoor(ctx, id)
	if err == nil {
		learn(t, t.locked, id, true)
	}
	return err
}

func (t *intakeTx) InsertChange(ctx context.Context, c Change) error {
	return t.keep(ctx, func() error { return t.Tx.InsertChange(ctx, c) })
}

func (t *intakeTx) CustomerByID(ctx context.Context, id uuid.UUID) (Customer, error) {
	if c, ok := t.customers[id]; ok {
		return c, nil
	}
	c, err := t.Tx.CustomerByID(ctx, id)
	if err == nil {
		learn(t, t.customers, id, c)
	}
	return c, err
}

func (t *intakeTx) InsertCustomer(ctx context.Context, c Customer) (bool, error) {
	if _, made := t.customers[c.CustomerID]; made || !t.fresh[c.CustomerID] {
		return t.Tx.InsertCustomer(ctx, c)
	}
	learn(t, t.customers, c.CustomerID, c)
	return t.keepOne(ctx, func() (bool, error) { return t.Tx.InsertCustomer(ctx, c) })
}

func (t *intakeTx) UpdateCustomer(ctx context.Context, c Customer) error {
	learn(t, t.customers, c.CustomerID, c)
	return t.Tx.UpdateCustomer(ctx, c)
}

func (t *intakeTx) SitesOfCustomer(ctx context.Context, id uuid.UUID) ([]Site, error) {
	if t.fresh[id] { // asked before there are any
		return nil, nil
	}
	return t.Tx.SitesOfCustomer(ctx, id)
}

func (t *intakeTx) SiteByID(ctx context.Context, id uuid.UUID) (Site, error) {
	if s, ok := t.sites[id]; ok {
		return s, nil
	}
	s, err := t.Tx.SiteByID(ctx, id)
	if err == nil {
		learn(t, t.sites, id, s)
	}
	return s, err
}

func (t *intakeTx) InsertSite(ctx context.Context, s Site) (bool, error) {
	if _, made := t.sites[s.SiteID]; made || !t.fresh[s.SiteID] {
		return t.Tx.InsertSite(ctx, s)
	}
	learn(t, t.sites, s.SiteID, s)
	return t.keepOne(ctx, func() (bool, error) { return t.Tx.InsertSite(ctx, s) })
}

func (t *intakeTx) UpdateSite(ctx context.Context, s Site) error {
	learn(t, t.sites, s.SiteID, s)
	return t.Tx.UpdateSite(ctx, s)
}

func (t *intakeTx) ModelByID(ctx context.Context, id uuid.UUID) (Model, error) {
	if m, ok := t.models[id]; ok {
		return m, nil
	}
	return t.Tx.ModelByID(ctx, id)
}

func (t *intakeTx) ModelsByIDs(ctx context.Context, ids []uuid.UUID) ([]Model, error) {
	list := make([]Model, 0, len(ids))
	for _, id := range ids {
		m, ok := t.models[id]
		if !ok {
			return t.Tx.ModelsByIDs(ctx, ids)
		}
		list = append(list, m)
	}
	return list, nil
}

func (t *intakeTx) DoorsOfSite(ctx context.Context, id uuid.UUID) ([]NamedDoor, error) {
	if t.fresh[id] { // asked before there are any
		return nil, nil
	}
	return t.Tx.DoorsOfSite(ctx, id)
}

func (t *intakeTx) DoorByID(ctx context.Context, id uuid.UUID, asOf AsOf) (Door, error) {
	d, made := t.doors[id]
	switch {
	case made && asOf == (AsOf{}):
		return d, nil
	case t.fresh[id] && !made:
		return Door{}, fault.New(fault.NotFound, "door_not_found")
	}
	return t.Tx.DoorByID(ctx, id, asOf)
}

func (t *intakeTx) DoorByTag(ctx context.Context, tag Tag, asOf AsOf) (Door, error) {
	if id, made := t.byTag[tag]; made {
		return t.DoorByID(ctx, id, asOf)
	}
	if t.free[tag] {
		return Door{}, fault.New(fault.NotFound, "door_not_found")
	}
	return t.Tx.DoorByTag(ctx, tag, asOf)
}

func (t *intakeTx) InsertDoor(ctx context.Context, d Door) (bool, error) {
	if !t.fresh[d.DoorID] {
		return t.Tx.InsertDoor(ctx, d)
	}
	return t.keepOne(ctx, func() (bool, error) { return t.Tx.InsertDoor(ctx, d) })
}

func (t *intakeTx) InsertDoorVersion(ctx context.Context, d Door) error {
	if !t.fresh[d.DoorID] {
		return t.Tx.InsertDoorVersion(ctx, d)
	}
	learn(t, t.doors, d.DoorID, d)
	learn(t, t.byTag, d.Tag, d.DoorID)
	return t.keep(ctx, func() error { return t.Tx.InsertDoorVersion(ctx, d) })
}

func (t *intakeTx) RenameDoor(ctx context.Context, id uuid.UUID, name string) error {
	if d, made := t.doors[id]; made {
		d.Name = name
		learn(t, t.doors, id, d)
	}
	return t.Tx.RenameDoor(ctx, id, name)
}

func (t *intakeTx) ComponentByID(ctx context.Context, id uuid.UUID, asOf AsOf) (Component, error) {
	c, made := t.components[id]
	switch {
	case made && asOf == (AsOf{}):
		return c, nil
	case t.fresh[id] && !made:
		return Component{}, fault.New(fault.NotFound, "component_not_found")
	}
	return t.Tx.ComponentByID(ctx, id, asOf)
}

func (t *intakeTx) ComponentsOfDoor(ctx context.Context, doorID uuid.UUID, asOf AsOf) ([]Component, error) {
	if !t.fresh[doorID] || asOf != (AsOf{}) {
		return t.Tx.ComponentsOfDoor(ctx, doorID, asOf)
	}
	list := []Component{}
	for _, id := range t.fitted[doorID] {
		list = append(list, t.components[id])
	}
	slices.SortFunc(list, func(a, b Component) int { return bytes.Compare(a.ComponentID[:], b.ComponentID[:]) })
	return list, nil
}

func (t *intakeTx) InsertComponent(ctx context.Context, c Component) (bool, error) {
	if !t.fresh[c.ComponentID] {
		return t.Tx.InsertComponent(ctx, c)
	}
	return t.keepOne(ctx, func() (bool, error) { return t.Tx.InsertComponent(ctx, c) })
}

func (t *intakeTx) InsertComponentVersion(ctx context.Context, c Component) error {
	if !t.fresh[c.ComponentID] {
		return t.Tx.InsertComponentVersion(ctx, c)
	}
	if _, made := t.components[c.ComponentID]; !made {
		learn(t, t.fitted, c.DoorID, append(slices.Clip(t.fitted[c.DoorID]), c.ComponentID))
	}
	learn(t, t.components, c.ComponentID, c)
	return t.keep(ctx, func() error { return t.Tx.InsertComponentVersion(ctx, c) })
}

func (t *intakeTx) PresentRevisions(ctx context.Context, doorID uuid.UUID, asOf AsOf) ([]Revision, error) {
	if !t.fresh[doorID] || asOf != (AsOf{}) {
		return t.Tx.PresentRevisions(ctx, doorID, asOf)
	}
	return slices.Clone(t.revisions[doorID]), nil
}

// InsertRevision keeps of the revisions of a device made here the one that holds, as PresentRevisions does.
func (t *intakeTx) InsertRevision(ctx context.Context, r Revision) (bool, error) {
	if !t.fresh[r.RevisionID] {
		return t.Tx.InsertRevision(ctx, r)
	}
	if t.fresh[r.DoorID] {
		list := slices.Clone(t.revisions[r.DoorID])
		i, there := slices.BinarySearchFunc(list, r, func(a, b Revision) int { return bytes.Compare(a.ComponentID[:], b.ComponentID[:]) })
		switch {
		case !there:
			list = slices.Insert(list, i, r)
		case cmpRevisions(r, list[i]) > 0:
			list[i] = r
		}
		learn(t, t.revisions, r.DoorID, list)
	}
	return t.keepOne(ctx, func() (bool, error) { return t.Tx.InsertRevision(ctx, r) })
}

func cmpRevisions(a, b Revision) int {
	if c := a.EffectiveAt.Compare(b.EffectiveAt); c != 0 {
		return c
	}
	return bytes.Compare(a.RevisionID[:], b.RevisionID[:])
}

func (t *intakeTx) PackActivations(ctx context.Context) (list []PackActivation, err error) {
	if !t.asked {
		t.activated, err = t.Tx.PackActivations(ctx)
		t.asked = err == nil
	}
	return t.activated, err
}

func (t *intakeTx) PlanByID(ctx context.Context, id uuid.UUID) (Plan, error) {
	if p, made := t.plans[id]; made {
		return p, nil
	}
	return t.Tx.PlanByID(ctx, id)
}

func (t *intakeTx) PlansOfDoor(ctx context.Context, doorID uuid.UUID) ([]Plan, error) {
	if !t.fresh[doorID] {
		return t.Tx.PlansOfDoor(ctx, doorID)
	}
	list := []Plan{} // one at most: an import ends none
	for _, id := range t.planned[doorID] {
		list = append(list, t.plans[id])
	}
	return list, nil
}

func (t *intakeTx) InsertPlan(ctx context.Context, p Plan) (bool, error) {
	_, made := t.plans[p.PlanID]
	switch {
	case made:
		return false, nil
	case !t.fresh[p.PlanID] || !t.fresh[p.DoorID]:
		return t.Tx.InsertPlan(ctx, p)
	}
	learn(t, t.plans, p.PlanID, p)
	learn(t, t.planned, p.DoorID, append(slices.Clip(t.planned[p.DoorID]), p.PlanID))
	return t.keepOne(ctx, func() (bool, error) { return t.Tx.InsertPlan(ctx, p) })
}

func (t *intakeTx) UpdatePlan(ctx context.Context, p Plan) error {
	if _, made := t.plans[p.PlanID]; made {
		learn(t, t.plans, p.PlanID, p)
	}
	return t.Tx.UpdatePlan(ctx, p)
}

func (t *intakeTx) SetPlanDates(ctx context.Context, id uuid.UUID, d PlanDates) error {
	if p, made := t.plans[id]; made {
		p.PlanDates = d
		learn(t, t.plans, id, p)
	}
	return t.Tx.SetPlanDates(ctx, id, d)
}

// Of a door made here nothing more is known than this transaction said: no visit, no order, no finding of a computation.

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

func (t *intakeTx) OrderEvents(ctx context.Context, doorID uuid.UUID) ([]OrderEvent, error) {
	if t.fresh[doorID] {
		return nil, nil
	}
	return t.Tx.OrderEvents(ctx, doorID)
}

func (t *intakeTx) OpenComputedFindings(ctx context.Context, doors []uuid.UUID) (map[uuid.UUID][]ComputedFinding, error) {
	if len(doors) == 1 && t.fresh[doors[0]] {
		return nil, nil
	}
	return t.Tx.OpenComputedFindings(ctx, doors)
}

func (t *intakeTx) InsertExtents(ctx context.Context, list []Extent) error {
	return t.keep(ctx, func() error { return t.Tx.InsertExtents(ctx, list) })
}

func (t *intakeTx) PutCoverages(ctx context.Context, doorID uuid.UUID, list []Coverage) error {
	return t.keep(ctx, func() error { return t.Tx.PutCoverages(ctx, doorID, list) })
}

func (t *intakeTx) InsertComputedFindings(ctx context.Context, doorID uuid.UUID, list []ComputedFinding) error {
	return t.keep(ctx, func() error { return t.Tx.InsertComputedFindings(ctx, doorID, list) })
}
