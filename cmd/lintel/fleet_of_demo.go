package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5/pgxpool"

	"lintel.example/lintel/internal/demo"
	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/identity"
	"lintel.example/lintel/internal/store"
	"lintel.example/lintel/jobs"
)

// fleetMark is the name of the file that says how far the fleet of the demo is: begun, or done.
const fleetMark = "fleet"

// fleetSeed gives the same company to everybody who talks about it; its days end today.
const fleetSeed = 7

// fillFleet makes the invented company once. What was broken off cannot go on: its ids are taken.
func (t *teller) fillFleet() error {
	mark := filepath.Join(t.dir, fleetMark)
	switch state, err := os.ReadFile(mark); {
	case err == nil && string(state) == "done":
		return nil
	case err == nil:
		return badInput{errors.New("the fleet in " + t.dir + " was broken off: start over with --fresh")}
	case !errors.Is(err, os.ErrNotExist):
		return err
	}
	if err := os.WriteFile(mark, []byte("begun"), 0o644); err != nil {
		return err
	}
	began := now()
	t.say("fleet_begin")
	pool, err := hasty(t.ctx, t.house.pool)
	if err != nil {
		return err
	}
	defer pool.Close()
	parts, err := t.house.partsOfHistory(store.New(pool, demoRolePrefix))
	if err != nil {
		return err
	}
	made, err := demo.Build(t.ctx, parts, demo.Options{Seed: fleetSeed, LastDay: duedate.DayIn(began, time.UTC),
		Told: func(day duedate.Day, doors int) { t.say("fleet_grows", "day", day.String(), "doors", doors) }})
	if err != nil {
		return fmt.Errorf("the fleet of the demo: %w", err)
	}
	t.say("fleet_end", "sites", made.Sites, "doors", made.Doors, "seconds", int(now().Sub(began).Seconds()))
	return os.WriteFile(mark, []byte("done"), 0o644)
}

// hasty is a pool that does not wait for the disk at each commit: nobody is told that anything was recorded before all of
// it is, and what is lost with the machine is made again.
func hasty(ctx context.Context, like *pgxpool.Pool) (*pgxpool.Pool, error) {
	c := like.Config()
	c.ConnConfig.RuntimeParams["synchronous_commit"] = "off"
	c.ConnConfig.RuntimeParams["application_name"] = "lintel demo"
	return pgxpool.NewWithConfig(ctx, c)
}

// partsOfHistory are what the history is made with: everything of this house but the clock, the ids and the mail.
func (h *house) partsOfHistory(database *store.Store) (demo.Parts, error) {
	hasher, err := identity.NewHasher(1)
	if err != nil {
		return demo.Parts{}, err
	}
	own := h.fleet.Parts
	own.Store = database
	return demo.Parts{
		Fleet: own,
		People: func(now func() time.Time, newID func() uuid.UUID, random io.Reader) *identity.People {
			return identity.NewPeople(database, hasher, now, newID, random)
		},
		Night: func(ctx context.Context, f *fleet.Fleet, day duedate.Day) error {
			for _, job := range []string{"due_work_orders", "queue_notices"} {
				if _, _, err := jobs.RunOnce(ctx, jobs.Rooms{Fleet: f, People: h.people}, job, day, false); err != nil {
					return err
				}
			}
			_, err := jobs.SendWaiting(ctx, f)
			return err
		},
	}, nil
}
