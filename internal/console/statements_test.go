package console_test

import (
	"context"
	"fmt"
	"sync/atomic"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"

	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/store"
)

// counter counts the statements that a pool is given.
type counter struct{ n atomic.Int64 }

func (c *counter) TraceQueryStart(ctx context.Context, _ *pgx.Conn, _ pgx.TraceQueryStartData) context.Context {
	c.n.Add(1)
	return ctx
}

func (c *counter) TraceQueryEnd(context.Context, *pgx.Conn, pgx.TraceQueryEndData) {}

func TestADoorsPageTakesTheSameStatementsWhateverIsInIt(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	config, err := pgxpool.ParseConfig(w.db.AppURL)
	if err != nil {
		t.Fatal(err)
	}
	counted := &counter{}
	config.ConnConfig.Tracer = counted
	pool, err := pgxpool.NewWithConfig(t.Context(), config)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(pool.Close)
	w.desk.open(t, store.New(pool, "lintel"))
	statements := func(path string) int64 {
		before := counted.n.Load()
		w.dispatcher.get(t, path).want(t, 200)
		return counted.n.Load() - before
	}
	path := "/doors/" + w.door.DoorID.String()
	statements(path) // the first one writes that the session is used
	few := statements(path)
	for i := range 6 {
		at := w.now.Add(time.Duration(i-20) * time.Hour)
		visit := w.attend(t, at, w.site, w.door)
		w.enter(t, visit, w.door, at.Add(time.Minute), fleet.EntryBody{Kind: "finding", Finding: &fleet.EntryFinding{Severity: "unsafe", What: fmt.Sprint("Finding ", i)}})
		must[fleet.Revision](t)(w.PutRevision(t.Context(), w.dispatcher.actor, fleet.Revision{ComponentID: w.sensor, RevisionID: w.id(), Standing: "left", EffectiveAt: at, Reason: "again", Device: w.facts(-float64(i))}))
		must[fleet.Component](t)(w.PutComponent(t.Context(), w.dispatcher.actor, fleet.ComponentPut{ComponentID: w.id(), DoorID: w.door.DoorID, Kind: "lock", ModelText: "Lock",
			Fitting: fleet.Fitting{State: "fitted", Side: "none", Input: "none", Contact: "none"}, Reason: "fitted"}))
		must[fleet.Report](t)(w.MakeReport(t.Context(), w.dispatcher.actor, w.id(), fleet.ReportAsk{Kind: fleet.KindDoor, DoorID: w.door.DoorID}))
	}
	if many := statements(path); many != few {
		t.Errorf("%d statements for a door with little, %d for one with much", few, many)
	}
	if past := statements(path + "?as_of=2026-03-02"); past != few {
		t.Errorf("%d statements for a past day, %d for now", past, few)
	}
	if few > 30 {
		t.Errorf("%d statements", few)
	}
}
