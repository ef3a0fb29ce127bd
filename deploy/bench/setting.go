package main

import (
	"context"
	"fmt"
	"path/filepath"
	"sync/atomic"
	"time"

	"github.com/google/uuid"
	"golang.org/x/sync/errgroup"

	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/identity"
)

// by is who does it all.
func by() identity.Actor { return identity.Program() }

// register makes one door with a radar, set once, and its plan.
func (b *bench) register(ctx context.Context) error {
	id := b.fleet.NewID
	c, _, err := b.fleet.PutCustomer(ctx, by(), fleet.Customer{CustomerID: id(), Name: "Bench"}, 0)
	if err != nil {
		return err
	}
	s, _, err := b.fleet.PutSite(ctx, by(), fleet.Site{CustomerID: c.CustomerID, SiteID: id(), Name: "Bench", Country: "US", Jurisdiction: "US", TimeZone: "UTC"}, 0)
	if err != nil {
		return err
	}
	since, err := duedate.ParseDay("2020-01-01")
	if err != nil {
		return err
	}
	leaf := fleet.Leaf{Motion: "slide", Hinge: "none", OpensTowards: "left", WidthM: fleet.Q(1, fleet.Measured), HeightM: fleet.Q(2.2, fleet.Measured), MassKg: fleet.Q(60, fleet.Told)}
	side := fleet.SideFacts{Label: "side", Activation: "sensor"}
	door, _, err := b.fleet.PutDoor(ctx, by(), fleet.DoorPut{DoorID: id(), SiteID: s.SiteID, Name: "Bench", KnownSince: since, Reason: "bench", Facts: fleet.DoorFacts{
		Kind: "sliding", Energy: "full", Traffic: "two_way", PresenceBy: "overhead_sensor", A: side, B: side, ClearWidthM: fleet.Q(1.8, fleet.Measured),
		HeaderDepthM: fleet.Q(0.2, fleet.Measured), OpeningTimeS: fleet.UnknownQuantity(), ClosingTimeS: fleet.UnknownQuantity(), GuideRails: "none",
		RuleBasis: fleet.RuleBasis{PackID: "a156.10@2005", Since: since, Why: "bench"}, Leaves: []fleet.Leaf{leaf}}})
	if err != nil {
		return err
	}
	b.door, b.antenna = door.DoorID, id()
	m, _, err := b.fleet.PutModel(ctx, by(), fleet.Model{ModelID: id(), Maker: "Bench", Name: "Radar", Kind: "sensor", Sensing: "radar", Antennas: []fleet.Antenna{{AntennaID: b.antenna,
		Name: "wide", AzimuthBeamwidthDeg: 58, ElevationBeamwidthDeg: 38, AttenuationLimitDB: 25, BoresightRangeM: 6, Source: "bench"}}})
	if err != nil {
		return err
	}
	b.sensor = id()
	if _, _, err = b.fleet.PutComponent(ctx, by(), fleet.ComponentPut{ComponentID: b.sensor, DoorID: b.door, Kind: "sensor", ModelID: &m.ModelID, Reason: "bench",
		Fitting: fleet.Fitting{State: "fitted", Side: "a", Input: "activate", Contact: "normally_open"}}); err != nil {
		return err
	}
	if err := b.change(ctx, id()); err != nil {
		return err
	}
	_, _, err = b.fleet.PutPlan(ctx, by(), fleet.Plan{PlanID: id(), DoorID: b.door, IntervalMonths: 12, Regime: duedate.Anniversary, ToleranceDays: 30, LeadDays: 30,
		AnchorOn: since, Active: true}, 0)
	return err
}

// change changes one setting and lets follow what follows.
func (b *bench) change(ctx context.Context, id uuid.UUID) error {
	reach := -float64(b.revisions.Add(1)%8) / 2 // changes the field each time; the zone stays covered, so that findings do not come and go
	_, _, err := b.fleet.PutRevision(ctx, by(), fleet.Revision{ComponentID: b.sensor, RevisionID: id, Standing: "found", Reason: "bench", Device: fleet.DeviceFacts{AntennaID: &b.antenna,
		Mount: fleet.MountFacts{HeightM: fleet.Q(2.3, fleet.Measured), OffsetXM: fleet.Q(0, fleet.Measured), OffsetYM: fleet.Q(0.12, fleet.Measured),
			TiltDeg: fleet.Q(23, fleet.Measured), YawDeg: fleet.Q(0, fleet.Measured)},
		Settings: fleet.Settings{ReachDB: fleet.Q(reach, fleet.Measured), MotionDirection: "approach", ConfirmTravelMM: fleet.UnknownQuantity(),
			OutputHoldS: fleet.UnknownQuantity(), OutputContact: "normally_open"}}})
	return err
}

// settingChange measures a change of a setting with everything that follows from it.
func (b *bench) settingChange(ctx context.Context) (lines []line, err error) {
	for range 20 { // warm
		if err := b.change(ctx, b.fleet.NewID()); err != nil {
			return nil, err
		}
	}
	script, id := filepath.Join(b.dir, "setting.sql"), b.fleet.NewID()
	n, err := b.script(ctx, script, id, func() error { return b.change(ctx, id) })
	if err != nil {
		return nil, err
	}
	return b.compare(ctx, line{What: fmt.Sprintf("a setting change, %d statements", n), Asked: "≥ 0.4"}, script, func() error { return b.change(ctx, b.fleet.NewID()) })
}

// compare runs a use-case and pgbench with its statements in turn, with one client and with four.
func (b *bench) compare(ctx context.Context, l line, script string, use func() error) (lines []line, err error) {
	for _, clients := range []int{1, 4} {
		one := line{What: fmt.Sprintf("%s, %d clients", l.What, clients), Doors: b.doors, Against: "pgbench, the same statements", Asked: l.Asked, Unit: "/s"}
		for range rounds {
			ours, err := rate(ctx, clients, use)
			if err != nil {
				return nil, err
			}
			theirs, err := pgbenchRate(ctx, b.pgbench, b.app, script, clients)
			if err != nil {
				return nil, err
			}
			one.Ours, one.Theirs = append(one.Ours, ours), append(one.Theirs, theirs)
		}
		lines = append(lines, one)
	}
	return lines, nil
}

// rate is how often clients do something in a second.
func rate(ctx context.Context, clients int, use func() error) (float64, error) {
	until := time.Now().Add(roundSeconds * time.Second)
	var done atomic.Int64
	var group errgroup.Group
	began := time.Now()
	for range clients {
		group.Go(func() error {
			for time.Now().Before(until) && ctx.Err() == nil {
				if err := use(); err != nil {
					return err
				}
				done.Add(1)
			}
			return ctx.Err()
		})
	}
	err := group.Wait()
	return float64(done.Load()) / time.Since(began).Seconds(), err
}
