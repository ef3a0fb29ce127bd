package fleet

import (
	"cmp"
	"context"
	"slices"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/identity"
	"lintel.example/lintel/internal/rulebook"
	"lintel.example/lintel/internal/seal"
	"lintel.example/lintel/internal/trend"
)

// What a door drifts to is computed, not read at the door: it is internal, like computed findings. What counts are the readings
// of signed inspections; what begins a new run is any change that an entry tells of, signed or not, since it acts when accepted.

// Trends are the readings of a door over the years.
type Trends struct {
	Door   Door
	Site   Site
	Series []Series // in the order of the catalogue of readings, then by leaf and side
	Fields []FieldSeries
}

// DoorChange is a moment since which the door is another one, as far as some of its readings go.
type DoorChange struct {
	EntryID uuid.UUID
	Day     duedate.Day // in the site's zone
	What    string      // the kind of the entry: settings, part, mending, adjustment
}

// Series is one number that was read again and again at one place of a door.
type Series struct {
	Reading string // of the rulebook, as it is called today
	Unit    string // SI
	Leaf    int    // 0: of the door as a whole
	Side    string // "": of both
	Limit   SeriesLimit
	Points  []SeriesPoint // in the order of the days
	Changes []DoorChange  // those since which the reading is of another door
	Trend   trend.Trend   // of the points since the last of them
}

// Counts tells whether a point was read since the last change.
func (s Series) Counts(p SeriesPoint) bool { return p.Run == len(s.Changes) }

// SeriesPoint is what one inspection read; of several readings between two changes the worst.
type SeriesPoint struct {
	VisitID uuid.UUID
	Day     duedate.Day
	Value   float64
	Run     int // how many of the series' changes came before
}

// SeriesLimit is what the rules ask of a reading of this door today, in its SI unit. Of several rules the strictest stands on
// each side, and rules that count stand before those that only advise.
type SeriesLimit struct {
	AtLeast, AtMost *float64
	Rules           []rulebook.ReadingLimit // those that the bounds are from
	Advice          bool                    // no rule that counts sets a bound: these are from memory, or advisory
}

// FieldSeries is how much floor a device watched, by its recorded settings.
type FieldSeries struct {
	ComponentID uuid.UUID
	Points      []FieldPoint // in the order in which they held
}

// FieldPoint is what a recorded revision watched, nil where it could not be computed.
type FieldPoint struct {
	ComponentID, RevisionID uuid.UUID
	Standing                string // found, left
	EffectiveAt             time.Time
	AreaM2, WidthM, DepthM  *float64
}

// ExpectedCrossing is that a reading of a door is expected to reach its limit.
type ExpectedCrossing struct {
	CustomerID uuid.UUID   `json:"-"`
	SiteID     uuid.UUID   `json:"-"`
	DoorID     uuid.UUID   `json:"-"`
	Reading    string      `json:"reading"`
	Leaf       int         `json:"leaf"`
	Side       string      `json:"side"`
	Unit       string      `json:"unit"` // SI, of everything
	Bound      float64     `json:"bound"`
	AtMost     bool        `json:"at_most"` // the bound is the greatest value allowed; else the least
	Advice     bool        `json:"advice"`  // see SeriesLimit
	PerYear    float64     `json:"per_year"`
	LastOn     duedate.Day `json:"last_on"`
	LastValue  float64     `json:"last_value"`
	EarliestOn duedate.Day `json:"earliest_on"`
	LikelyOn   duedate.Day `json:"likely_on"`
	LatestOn   duedate.Day `json:"latest_on,omitzero"` // zero: farther off than anybody can say
	ComputedAt time.Time   `json:"computed_at"`
	DoorName   string      `json:"-"` // this and the next two in lists
	SiteName   string      `json:"-"`
	Tag        Tag         `json:"-"`
}

// CrossingKey is where a list of expected crossings goes on.
type CrossingKey struct {
	Likely  duedate.Day `json:"l,omitzero"`
	DoorID  uuid.UUID   `json:"d"`
	Reading string      `json:"r"`
	Leaf    int         `json:"n"`
	Side    string      `json:"s"`
}

// Key is where a list goes on after c.
func (c ExpectedCrossing) Key() CrossingKey {
	return CrossingKey{c.LikelyOn, c.DoorID, c.Reading, c.Leaf, c.Side}
}

// CrossingQuery asks for expected crossings, the next first.
type CrossingQuery struct {
	SiteID uuid.UUID   // zero for all
	Until  duedate.Day // those that are likely until this day
	After  CrossingKey
	Limit  int
}

type trendRows interface {
	// FieldPointsOfDoor gives what the recorded revisions of every device of a door watched, in the order in which they held; what an entry has
	// corrected is left out.
	FieldPointsOfDoor(ctx context.Context, doorID uuid.UUID) ([]FieldPoint, error)
	// PutCrossings writes the expected crossings of a door, and of those that are not among them that nothing is expected any more.
	PutCrossings(ctx context.Context, doorID uuid.UUID, list []ExpectedCrossing) error
	CrossingPage(ctx context.Context, q CrossingQuery) ([]ExpectedCrossing, error)
}

// Trends tells how the readings of a door have gone, and which of them drift towards a limit.
func (f *Fleet) Trends(ctx context.Context, by identity.Actor, doorID uuid.UUID) (t Trends, err error) {
	err = f.Store.InTxReadOnly(ctx, by, func(ctx context.Context, tx Tx) error {
		if t, err = f.trendsOf(ctx, tx, doorID); err != nil {
			return err
		}
		points, err := tx.FieldPointsOfDoor(ctx, doorID)
		for _, p := range points {
			i := slices.IndexFunc(t.Fields, func(s FieldSeries) bool { return s.ComponentID == p.ComponentID })
			if i < 0 {
				i = len(t.Fields)
				t.Fields = append(t.Fields, FieldSeries{ComponentID: p.ComponentID})
			}
			t.Fields[i].Points = append(t.Fields[i].Points, p)
		}
		return err
	})
	return t, err
}

// ExpectedCrossings lists the readings that are expected to reach their limits, the next first. A day that has passed stays in the list
// until an inspection says otherwise.
func (f *Fleet) ExpectedCrossings(ctx context.Context, by identity.Actor, q CrossingQuery) (list []ExpectedCrossing, err error) {
	err = f.Store.InTxReadOnly(ctx, by, func(ctx context.Context, tx Tx) error {
		list, err = tx.CrossingPage(ctx, q)
		return err
	})
	return list, err
}

// settleTrends writes down what a door's readings are expected to reach, for the office's list. It is a function of the set of
// entries and of what is known of the door today, and is called whenever one of them changes.
func (f *Fleet) settleTrends(ctx context.Context, tx Tx, doorID uuid.UUID) error {
	t, err := f.trendsOf(ctx, tx, doorID)
	if err != nil {
		return err
	}
	now := f.Now()
	list := []ExpectedCrossing{}
	for _, s := range t.Series {
		c := s.Trend.Crossing
		if c == nil {
			continue
		}
		_, perYear, _ := s.Trend.Line.PerYear()
		last := s.Points[len(s.Points)-1]
		list = append(list, ExpectedCrossing{Reading: s.Reading, Leaf: s.Leaf, Side: s.Side, Unit: s.Unit, Bound: c.Bound, AtMost: c.AtMost, Advice: s.Limit.Advice,
			PerYear: perYear, LastOn: last.Day, LastValue: last.Value, EarliestOn: c.Earliest, LikelyOn: c.Likely, LatestOn: c.Latest, ComputedAt: now})
	}
	return tx.PutCrossings(ctx, doorID, list)
}

func (f *Fleet) trendsOf(ctx context.Context, tx Tx, doorID uuid.UUID) (t Trends, err error) {
	if t.Door, err = tx.DoorByID(ctx, doorID, AsOf{}); err != nil {
		return t, err
	}
	if t.Site, err = tx.SiteByID(ctx, t.Door.SiteID); err != nil {
		return t, err
	}
	entries, err := tx.EntriesOfDoor(ctx, doorID)
	if err != nil {
		return t, err
	}
	limits, err := f.limitsNow(ctx, tx, t.Door, t.Site)
	if err != nil {
		return t, err
	}
	t.Series = seriesOf(entries, t.Site.Location(), limits)
	return t, nil
}

// limitsNow gives what the rules that judge a door today ask of each reading.
func (f *Fleet) limitsNow(ctx context.Context, tx Tx, door Door, site Site) (map[string]SeriesLimit, error) {
	packs, err := f.packsOf(ctx, tx, door.Facts, site, duedate.DayIn(f.Now(), site.Location()))
	return limitsOf(packs, inspectedFacts(door.Facts)), err
}

// limitsOf gives what the packs ask of each reading of a door.
func limitsOf(packs []*rulebook.Pack, facts rulebook.Facts) map[string]SeriesLimit {
	var all []rulebook.ReadingLimit
	for _, p := range packs {
		all = append(all, p.ReadingLimits(facts)...)
	}
	return strictest(all)
}

// strictest gives for each reading the bounds of the strictest of its limits; those that only advise where no other is.
func strictest(limits []rulebook.ReadingLimit) map[string]SeriesLimit {
	of := map[string]SeriesLimit{}
	for _, advice := range []bool{false, true} {
		for _, l := range limits {
			s, known := of[l.Reading.Name]
			if l.Counts() == advice || advice && known && !s.Advice {
				continue
			}
			s.Advice = advice
			of[l.Reading.Name] = s.with(l)
		}
	}
	return of
}

// with takes the bounds of a rule in where they are stricter.
func (s SeriesLimit) with(l rulebook.ReadingLimit) SeriesLimit {
	stricter := false
	if b := l.Limit.AtLeast; b != nil && (s.AtLeast == nil || b.SI > *s.AtLeast) {
		s.AtLeast, stricter = &b.SI, true
	}
	if b := l.Limit.AtMost; b != nil && (s.AtMost == nil || b.SI < *s.AtMost) {
		s.AtMost, stricter = &b.SI, true
	}
	if stricter {
		s.Rules = slices.DeleteFunc(append(slices.Clone(s.Rules), l), func(r rulebook.ReadingLimit) bool { return !s.from(r) })
	}
	return s
}

// from tells whether one of the bounds is that of a rule.
func (s SeriesLimit) from(l rulebook.ReadingLimit) bool {
	least, most := l.Limit.AtLeast, l.Limit.AtMost
	return least != nil && s.AtLeast != nil && least.SI == *s.AtLeast || most != nil && s.AtMost != nil && most.SI == *s.AtMost
}

// room is how far a value stays within the limit; of a value without a limit, how small it is.
func (s SeriesLimit) room(value float64) float64 {
	switch {
	case s.AtLeast != nil && s.AtMost != nil:
		return min(value-*s.AtLeast, *s.AtMost-value)
	case s.AtLeast != nil:
		return value - *s.AtLeast
	}
	return -value
}

// seriesOf gathers the numbers that signed inspections read, by what was read and where, and the changes of the door between them.
func seriesOf(entries []Entry, zone *time.Location, limits map[string]SeriesLimit) (list []Series) {
	concluded := map[uuid.UUID]time.Time{}
	for _, e := range live(entries) {
		if e.Signed && e.Body.Conclusion != nil {
			concluded[e.VisitID] = e.ObservedAt
		}
	}
	kinds := map[string]rulebook.ReadingKind{}
	order := map[string]int{}
	for i, k := range rulebook.Readings() {
		kinds[k.Name], order[k.Name] = k, i
	}
	type place struct {
		reading, side string
		leaf          int
	}
	series := map[place]*Series{}
	var before []Entry                 // the changes until now
	known := map[uuid.UUID]seal.Hash{} // how each device was last seen
	for _, e := range live(entries) {
		if changed(e, known) {
			before = append(before, e)
			for _, s := range series {
				s.outdate(kinds[s.Reading], e, zone)
			}
		}
		if until, ok := concluded[e.VisitID]; !ok || e.ObservedAt.After(until) {
			continue
		}
		for _, r := range e.Body.Readings() {
			at := place{rulebook.NameNow(r.Name), r.Side, r.Leaf}
			kind := kinds[at.reading]
			if r.Value == nil || kind.Unit == "months" || rulebook.IsOwn(at.reading) { // how long ago something was says nothing of the door
				continue
			}
			s := series[at]
			if s == nil {
				s = &Series{Reading: at.reading, Unit: kind.Unit, Leaf: at.leaf, Side: at.side, Limit: limits[at.reading]}
				for _, change := range before {
					s.outdate(kind, change, zone)
				}
				series[at] = s
			}
			s.add(SeriesPoint{VisitID: e.VisitID, Day: duedate.DayIn(e.ObservedAt, zone), Value: *r.Value, Run: len(s.Changes)})
		}
	}
	for _, s := range series {
		points := make([]trend.Point, len(s.Points))
		for i, p := range s.Points {
			points[i] = trend.Point{Day: p.Day, Value: p.Value, Run: p.Run}
		}
		if points[len(points)-1].Run < len(s.Changes) { // nobody has read it since the door was changed
			points = nil
		}
		s.Trend = trend.Of(points, trend.Limit{AtLeast: s.Limit.AtLeast, AtMost: s.Limit.AtMost})
		list = append(list, *s)
	}
	slices.SortFunc(list, func(a, b Series) int {
		return cmp.Or(cmp.Compare(order[a.Reading], order[b.Reading]), cmp.Compare(a.Leaf, b.Leaf), cmp.Compare(a.Side, b.Side))
	})
	return list
}

// add adds what one visit read; of several readings between two changes the worst stands.
func (s *Series) add(p SeriesPoint) {
	i := len(s.Points) - 1
	switch {
	case i < 0 || s.Points[i].VisitID != p.VisitID || s.Points[i].Run != p.Run:
		s.Points = append(s.Points, p)
	case s.Limit.room(p.Value) < s.Limit.room(s.Points[i].Value):
		s.Points[i] = p
	}
}

// outdate notes a change since which the reading is of another door.
func (s *Series) outdate(kind rulebook.ReadingKind, change Entry, zone *time.Location) {
	if change.Body.outdates(kind) {
		s.Changes = append(s.Changes, DoorChange{EntryID: change.EntryID, Day: duedate.DayIn(change.ObservedAt, zone), What: change.Body.Kind})
	}
}

// changed tells whether the door is another one since an entry. Settings are a change when they are not those that were last seen: whoever found
// them so does not know who set them, and whoever left them as they were has set nothing.
func changed(e Entry, known map[uuid.UUID]seal.Hash) bool {
	set := e.Body.Settings
	if set == nil {
		return e.Body.changesDoor()
	}
	hash, err := hashOf(set.Device)
	if err != nil { // of what was sealed once
		return true
	}
	before, seen := known[set.ComponentID]
	known[set.ComponentID] = hash
	return seen && before != hash || !seen && e.Body.changesDoor()
}

// movesTrends tells whether the entry may move the trends of its door before it is signed.
func (b EntryBody) movesTrends() bool {
	return b.changesDoor() || b.Settings != nil || b.Corrects != nil
}
