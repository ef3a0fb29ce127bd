package main

import (
	"context"
	"fmt"
	"os"
	"slices"
	"time"

	"github.com/google/uuid"
	"golang.org/x/sync/errgroup"

	"lintel.example/lintel/internal/fleet"
)

// recomputing measures computing every door of the fleet anew, and what a change of a setting takes meanwhile. No two devices are mounted
// and set alike. It is cut off once on the way and goes on.
func (b *bench) recomputing(ctx context.Context) (lines []line, err error) {
	// The fleet was computed before, and then every device was mounted and set otherwise.
	for _, seed := range []int{1, 4} {
		if _, err := b.admin.Exec(ctx, `with varied as (select revision_id, hashtextextended(revision_id::text, $1) & 65535 as h, hashtextextended(revision_id::text, $1 + 1) & 65535 as t,
				hashtextextended(revision_id::text, $1 + 2) & 65535 as r from revision)
			update revision v set height_m = 2 + h / 65536.0 * 1.2, tilt_deg = 10 + t / 65536.0 * 35, reach_db = -r / 65536.0 * 8 from varied where varied.revision_id = v.revision_id`, seed); err != nil {
			return nil, err
		}
		if seed == 1 {
			if _, err := b.fleet.AskRecomputation(ctx, by(), b.fleet.NewID(), "before"); err != nil {
				return nil, err
			}
			if err := b.fleet.RecomputeAll(ctx, func(fleet.Recomputation, int) {}); err != nil {
				return nil, err
			}
		}
		if _, err := b.admin.Exec(ctx, "vacuum analyze"); err != nil {
			return nil, err
		}
	}
	alone, err := b.latencies(ctx, 10*time.Second)
	if err != nil {
		return nil, err
	}
	l := line{What: "every door computed anew", Doors: b.doors, Against: "reading what is computed from", Asked: "1,000,000 devices in ≤ 300 s", Unit: "s"}
	began := time.Now()
	if _, err := b.admin.Exec(ctx, "update coverage set inputs_sha256 = sha256('before')"); err != nil {
		return nil, err
	}
	fmt.Fprintf(os.Stderr, "made stale in %.0f s\n", time.Since(began).Seconds())
	theirs, err := b.readPictures(ctx)
	if err != nil {
		return nil, err
	}
	if _, err := b.fleet.AskRecomputation(ctx, by(), b.fleet.NewID(), "bench"); err != nil {
		return nil, err
	}
	took, meanwhile, err := b.recomputeBeside(ctx)
	if err != nil {
		return nil, err
	}
	l.Ours, l.Theirs = []float64{took}, []float64{theirs}
	visits := line{What: "a setting change meanwhile, median", Doors: b.doors, Against: "the same before", Asked: "≤ 1.5", Unit: "ms", Ours: []float64{middle(meanwhile)}, Theirs: []float64{middle(alone)}}
	slow := line{What: "a setting change meanwhile, 95 of 100", Doors: b.doors, Against: "the same before", Asked: "≤ 1.5", Unit: "ms", Ours: []float64{part(meanwhile, 0.95)}, Theirs: []float64{part(alone, 0.95)}}
	return []line{l, visits, slow}, nil
}

// recomputeBeside recomputes while settings are changed, five a second; cut off after a third of the doors it goes on.
func (b *bench) recomputeBeside(ctx context.Context) (seconds float64, meanwhile []float64, err error) {
	beside, stop := context.WithCancel(ctx)
	var g errgroup.Group
	g.Go(func() error {
		for beside.Err() == nil {
			began := time.Now()
			if err := b.change(ctx, b.fleet.NewID()); err != nil {
				return err
			}
			meanwhile = append(meanwhile, time.Since(began).Seconds()*1000)
			time.Sleep(200 * time.Millisecond)
		}
		return nil
	})
	began := time.Now()
	part, cut := context.WithCancel(ctx)
	err = b.fleet.RecomputeAll(part, func(r fleet.Recomputation, doors int) {
		if r.Done > doors/3 {
			cut()
		}
	})
	cut()
	if err == nil {
		err = b.fleet.RecomputeAll(ctx, func(r fleet.Recomputation, doors int) {
			fmt.Fprintf(os.Stderr, "%d of %d after %.0f s\n", r.Done, doors, time.Since(began).Seconds())
		})
	}
	seconds = time.Since(began).Seconds()
	stop()
	if err := g.Wait(); err != nil {
		return 0, nil, err
	}
	if err != nil {
		return 0, nil, err
	}
	list, err := b.fleet.Recomputations(ctx, by(), 1)
	if err == nil && (list[0].FinishedAt == nil || list[0].Done != b.doors+1) {
		err = fmt.Errorf("of %d doors: %+v", b.doors+1, list[0])
	}
	return seconds, meanwhile, err
}

// latencies is how long changes of a setting take, five a second, in milliseconds.
func (b *bench) latencies(ctx context.Context, lasting time.Duration) (all []float64, err error) {
	for until := time.Now().Add(lasting); time.Now().Before(until); time.Sleep(200 * time.Millisecond) {
		began := time.Now()
		if err := b.change(ctx, b.fleet.NewID()); err != nil {
			return nil, err
		}
		all = append(all, time.Since(began).Seconds()*1000)
	}
	return all, nil
}

// readPictures reads doors, components and revisions, and does nothing with them.
func (b *bench) readPictures(ctx context.Context) (float64, error) {
	began := time.Now()
	for after := (uuid.UUID{}); ; {
		var ids []uuid.UUID
		if err := b.admin.QueryRow(ctx, "select coalesce(array_agg(door_id), '{}') from (select door_id from door where door_id > $1 order by door_id limit 64) d", after).Scan(&ids); err != nil {
			return 0, err
		}
		if len(ids) == 0 {
			return time.Since(began).Seconds(), nil
		}
		after = ids[len(ids)-1]
		for _, table := range []string{"door_version", "component", "revision", "coverage"} {
			rows, err := b.admin.Query(ctx, "select * from "+table+" where door_id = any ($1)", ids)
			if err != nil {
				return 0, err
			}
			for rows.Next() {
				_ = rows.RawValues()
			}
			if err := rows.Err(); err != nil {
				return 0, err
			}
		}
	}
}

func middle(all []float64) float64 { return part(all, 0.5) }

func part(all []float64, share float64) float64 {
	return slices.Sorted(slices.Values(all))[int(float64(len(all)-1)*share)]
}
