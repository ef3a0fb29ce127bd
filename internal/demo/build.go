package demo

import (
	"context"
	"fmt"
	"io"
	"runtime"
	"slices"
	"time"

	"github.com/google/uuid"
	"golang.org/x/sync/errgroup"

	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/identity"
)

// Parts are what the history is made with.
type Parts struct {
	Fleet  fleet.Parts // Now, NewID and Post are the history's own, Keys are left alone
	People func(now func() time.Time, newID func() uuid.UUID, random io.Reader) *identity.People
	// Night does what the nightly jobs do on a day, and hands over the letters that wait.
	Night func(ctx context.Context, f *fleet.Fleet, day duedate.Day) error
}

// Options say which history is made.
type Options struct {
	Seed    uint64
	LastDay duedate.Day                      // the history ends in its night
	Only    []string                         // names of sites, none: all; what happens at one does not depend on the others
	Told    func(day duedate.Day, doors int) // each quarter of the history; may be nil
}

// Made is what there is afterwards.
type Made struct{ Sites, Doors int }

// years is how long the history is.
const years = 3

// Build makes the history in a migrated database in which nobody else is at work. Between two nights of the office each
// site lives for itself, several at once; what is signed there is recorded afterwards, in the order of its time, because
// the log of signed records counts them.
func Build(ctx context.Context, parts Parts, o Options) (made Made, err error) {
	company, err := readCompany()
	if err != nil {
		return made, err
	}
	f := &firm{parts: parts, options: o, company: company, first: o.LastDay.AddYears(-years), staff: map[string]*person{}, customers: map[string]uuid.UUID{},
		owners: map[string]uuid.UUID{}, agents: map[string][]uuid.UUID{}}
	office := f.newHistory(0)
	if err := office.found(ctx); err != nil {
		return made, fmt.Errorf("the company is founded: %w", err)
	}
	var places []*history
	for i, line := range company.Sites {
		if len(o.Only) > 0 && !slices.Contains(o.Only, line.Name) {
			continue
		}
		h := f.newHistory(i + 1)
		h.on(f.takeover(i, line), func(ctx context.Context) error { return h.takeOver(ctx, line) })
		h.troubles(line)
		places = append(places, h)
	}
	for night := f.first.AddDays(1); night.Before(o.LastDay); night = night.AddDays(7) { // jobs make up for nights without one
		if err := office.spend(ctx, night, places); err != nil {
			return made, err
		}
	}
	return Made{Sites: len(places), Doors: doorsAt(places)}, office.planWeek(ctx)
}

func doorsAt(places []*history) (doors int) {
	for _, place := range places {
		doors += place.doors
	}
	return doors
}

// spend lives through a night of the office and the week after it.
func (h *history) spend(ctx context.Context, night duedate.Day, places []*history) error {
	h.at = moment(night, 5*time.Hour, time.UTC)
	if err := h.parts.Night(ctx, h.Fleet, night); err != nil { // letters go over several lines at once: not in one transaction
		return fmt.Errorf("the night of %s: %w", night, err)
	}
	until := h.at.AddDate(0, 0, 7)
	group, groupCtx := errgroup.WithContext(ctx)
	group.SetLimit(runtime.NumCPU())
	for _, place := range places {
		group.Go(func() error { return place.live(groupCtx, until) })
	}
	if err := group.Wait(); err != nil {
		return err
	}
	if err := signed(ctx, places); err != nil {
		return err
	}
	if h.options.Told != nil && !night.Before(h.told.AddMonths(3)) {
		h.told = night
		h.options.Told(night, doorsAt(places))
	}
	return nil
}

// signed does what waits for the end of the week, in the order of its time.
func signed(ctx context.Context, places []*history) error {
	for {
		var next *history
		for _, place := range places {
			if len(place.waiting) > 0 && (next == nil || place.waiting[0].at.Before(next.waiting[0].at)) {
				next = place
			}
		}
		if next == nil {
			return nil
		}
		s := next.waiting[0]
		next.waiting = next.waiting[1:]
		if err := next.do(ctx, s); err != nil {
			return err
		}
	}
}

// firm is what all places share. It does not change once the company is founded.
type firm struct {
	parts       Parts
	options     Options
	company     company
	first       duedate.Day
	staff       map[string]*person
	order       []*person // the staff in the order of the file
	customers   map[string]uuid.UUID
	owners      map[string]uuid.UUID   // parties, by customer
	agents      map[string][]uuid.UUID // parties, by customer
	models      []fleet.Model
	accessories []fleet.Accessory
}

// person is somebody of the company.
type person struct {
	identity.Actor
	line       personLine
	validUntil duedate.Day
}

// history is what happens at one place, or in the office, with a clock and dice of its own.
type history struct {
	*firm
	*clock
	*fleet.Fleet
	people  *identity.People
	batch   *batch
	number  int    // of the place; 0: the office
	steps   []step // planned, by time
	waiting []step // for the end of the week, by time
	site    *site  // nil until it is taken over
	doors   int
	told    duedate.Day
}

// step is something that happens.
type step struct {
	at time.Time
	do func(context.Context) error
}

func (f *firm) newHistory(number int) *history {
	c := newClock(f.options.Seed, uint64(number))
	store := &batch{Transactor: f.parts.Fleet.Store}
	own := f.parts.Fleet
	own.Store, own.Now, own.NewID, own.Post = store, c.now, c.id, nobodysPost{}
	return &history{firm: f, clock: c, batch: store, Fleet: fleet.New(own), people: f.parts.People(c.now, c.id, c), number: number, told: f.first}
}

// on plans a step; what would happen after the last day does not.
func (h *history) on(at time.Time, do func(context.Context) error) {
	if duedate.DayIn(at, time.UTC).Before(h.options.LastDay) {
		h.steps = inserted(h.steps, step{at, do})
	}
}

// atLast leaves something for the end of the week; it counts as done now.
func (h *history) atLast(do func(context.Context) error) {
	h.waiting = inserted(h.waiting, step{h.at, do})
}

// inserted keeps steps in the order of their time, and of their planning.
func inserted(steps []step, s step) []step {
	i, _ := slices.BinarySearchFunc(steps, s.at, func(s step, at time.Time) int {
		if s.at.After(at) {
			return 1
		}
		return -1
	})
	return slices.Insert(steps, i, s)
}

// live lets everything happen that is planned until then, and what follows from it.
func (h *history) live(ctx context.Context, until time.Time) error {
	for len(h.steps) > 0 && h.steps[0].at.Before(until) {
		next := h.steps[0]
		h.steps = h.steps[1:]
		if err := h.do(ctx, next); err != nil {
			return err
		}
	}
	return nil
}

// do lets one step happen, at its time.
func (h *history) do(ctx context.Context, s step) error {
	h.at = s.at
	if err := h.batch.together(ctx, s.do); err != nil {
		return fmt.Errorf("%s: %w", h.at.Format(time.RFC3339), err)
	}
	return nil
}

// takeover is when a site comes to the company.
func (f *firm) takeover(i int, line siteLine) time.Time {
	return moment(f.first.AddMonths(line.Month).AddDays(3+i%9), 10*time.Hour, zone(line.Zone))
}

// moment is a time of day at a place.
func moment(day duedate.Day, clock time.Duration, loc *time.Location) time.Time {
	y, m, d := day.Date()
	return time.Date(y, m, d, 0, 0, 0, 0, loc).Add(clock).UTC()
}

func zone(name string) *time.Location { return fleet.Site{TimeZone: name}.Location() }

// dispatcher is who records and plans.
func (h *history) dispatcher() identity.Actor {
	if h.chance(60) {
		return h.staff["Marit Osei"].Actor
	}
	return h.staff["Callum Verhoeven"].Actor
}

// nobodysPost takes every letter of the history: its recipients do not exist.
type nobodysPost struct{}

// Deliver implements fleet.Post.
func (nobodysPost) Deliver(context.Context, fleet.Letter) (string, error) {
	return "250 taken in the demo's past, and delivered to nobody", nil
}
