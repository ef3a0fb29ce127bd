package main

import (
	"context"
	"encoding/csv"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"strconv"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/identity"
	"lintel.example/lintel/internal/words"
)

// routePlanCmd plans routes and keeps the plan as a draft.
type routePlanCmd struct {
	settings
	From   string  `required:"" placeholder:"YYYY-MM-DD" help:"The first day."`
	Days   int     `default:"5" help:"How many days."`
	Ahead  int     `default:"14" help:"Orders due so many days after the last are done on the way where that costs little."`
	Factor float64 `default:"1.3" help:"How much longer a way is than the great circle: common practice, no source."`
	Speed  float64 `default:"45" help:"Kilometres in an hour: common practice, no source."`
	Arrive float64 `default:"8" help:"Minutes to park and sign in: common practice, no source."`
	Ways   string  `placeholder:"FILE" help:"Measured ways, CSV: from, to, minutes, kilometres; places by the ids of lintel route places. What is not in it is guessed."`
	Table  string  `placeholder:"FILE" help:"Measured ways instead: durations (s) and distances (m) as JSON, rows and columns in the order of lintel route places: what OSRM's table service answers."`
	Steps  int     `default:"40000" help:"How long to search: with the same orders, steps and seed the same plan."`
	Seed   uint64  `default:"1" help:"Where chance begins."`
	JSON   bool    `help:"Print the plan as JSON."`
	Units  string  `enum:"metric,us" default:"metric" help:"Units of ways: metric or us."`
}

// Run prints the plan. Bad input is one line of complaint and exit code 2.
func (c *routePlanCmd) Run(ctx context.Context) error {
	from, err := duedate.ParseDay(c.From)
	if err != nil {
		return badInput{errors.New("--from: " + err.Error())}
	}
	if c.Ways != "" && c.Table != "" {
		return badInput{errors.New("give either --ways or --table")}
	}
	ask := fleet.RouteAsk{From: from, Days: c.Days, AheadDays: c.Ahead, Factor: c.Factor, SpeedKmh: c.Speed, ArrivalM: c.Arrive, Steps: c.Steps, Seed: c.Seed}
	return c.within(ctx, func(h *house) error {
		by := identity.Program()
		if ask.Ways, err = c.measured(ctx, h, by); err != nil {
			return err
		}
		p, _, err := h.fleet.PlanRoutes(ctx, by, h.fleet.NewID(), ask)
		if err != nil {
			return toldOf(h.words, map[string]string{"/from": "--from", "/days": "--days", "/ahead_days": "--ahead", "/factor": "--factor", "/speed_kmh": "--speed", "/arrival_min": "--arrive", "/steps": "--steps"}, err)
		}
		if c.JSON {
			return json.NewEncoder(os.Stdout).Encode(struct {
				RoutePlanID uuid.UUID `json:"route_plan_id"`
				fleet.RouteAnswer
			}{p.RoutePlanID, p.RouteAnswer})
		}
		writePlan(os.Stdout, p, h.words.Printer("en", words.Units(c.Units)))
		return nil
	})
}

// writePlan writes a plan as people read it.
func writePlan(out io.Writer, p fleet.RoutePlan, texts words.Printer) {
	way := func(km float64) string {
		if texts.Units() == words.US {
			return fmt.Sprintf("%.1f mi", km/1.609344)
		}
		return fmt.Sprintf("%.1f km", km)
	}
	lasts := func(minutes float64) string {
		m := int(math.Round(minutes))
		return fmt.Sprintf("%d:%02d h", m/60, m%60)
	}
	fmt.Fprintf(out, "Plan %s: %d visits, %s and %s on the road, %s at doors; %d late, %d planned otherwise before, %d left out.\n", p.RoutePlanID, p.Visits, way(p.KM), lasts(p.DriveMin), lasts(p.WorkMin), p.Late, p.Moved, len(p.Left))
	for _, s := range p.Shifts {
		fmt.Fprintf(out, "\n%s %s, %s to %s, %s, %s on the road\n", s.Day, s.Name, s.Begins.Format("15:04"), s.Ends.Format("15:04"), way(s.KM), lasts(s.DriveMin))
		for i, stop := range s.Stops {
			fmt.Fprintf(out, "%4d. %s to %s  %s, %s: %s, due %s", i+1, stop.Begin.Format("15:04"), stop.Leave.Format("15:04"), stop.Site, stop.Door, texts.Enum("work_order_kind", stop.Kind), stop.DueOn)
			if stop.Urgency == "unsafe" || stop.Urgency == "overdue" {
				fmt.Fprintf(out, ", %s", texts.Enum("route_urgency", stop.Urgency))
			}
			if stop.With != nil {
				fmt.Fprintln(out, "; at the same call")
				continue
			}
			fmt.Fprintf(out, "; %s more on the road", lasts(stop.DetourMin))
			if stop.Other != "" && !stop.Held {
				fmt.Fprintf(out, ", next best %s with %s", stop.Other, lasts(stop.OtherMin))
			}
			fmt.Fprintln(out)
		}
	}
	if len(p.Left) > 0 {
		fmt.Fprintln(out, "\nLeft out")
	}
	for _, l := range p.Left {
		fmt.Fprintf(out, "  due %s  %s, %s: %s\n", l.DueOn, l.Site, l.Door, texts.T("route.left."+l.Reason))
	}
	for _, i := range p.Idle {
		fmt.Fprintf(out, "%s: %s\n", i.Name, texts.Enum("route_idle", i.Reason))
	}
	fmt.Fprintln(out, "\n"+texts.T("route.caution"))
}

// measured reads the ways that somebody measured; nil without any.
func (c *routePlanCmd) measured(ctx context.Context, h *house, by identity.Actor) (fleet.Ways, error) {
	name := c.Ways
	if name == "" {
		name = c.Table
	}
	if name == "" {
		return nil, nil
	}
	in, err := openInput(name)
	if err != nil {
		return nil, err
	}
	defer in.Close()
	if c.Ways != "" {
		ways, err := readWays(in)
		if err != nil {
			return nil, badInput{fmt.Errorf("%s: %w", name, err)}
		}
		return ways, nil
	}
	places, err := h.fleet.RoutePlaces(ctx, by)
	if err != nil {
		return nil, told(h.words, err)
	}
	ways, err := readTable(in, places)
	if err != nil {
		return nil, badInput{fmt.Errorf("%s: %w", name, err)}
	}
	return ways, nil
}

type wayKey struct{ from, to uuid.UUID }

type measuredWay struct{ minutes, km float64 }

func waysOf(known map[wayKey]measuredWay) fleet.Ways {
	return func(from, to uuid.UUID) (minutes, km float64, ok bool) {
		w, ok := known[wayKey{from, to}]
		return w.minutes, w.km, ok
	}
}

// readWays reads lines of from, to, minutes, kilometres. A first line that names its columns is passed over.
func readWays(in io.Reader) (fleet.Ways, error) {
	r := csv.NewReader(in)
	r.FieldsPerRecord, r.TrimLeadingSpace = 4, true
	known := map[wayKey]measuredWay{}
	for {
		row, err := r.Read()
		if errors.Is(err, io.EOF) {
			return waysOf(known), nil
		}
		if err != nil {
			return nil, err
		}
		line, _ := r.FieldPos(0)
		if line == 1 && row[0] == "from" {
			continue
		}
		from, errA := uuid.Parse(row[0])
		to, errB := uuid.Parse(row[1])
		minutes, errC := strconv.ParseFloat(row[2], 64)
		km, errD := strconv.ParseFloat(row[3], 64)
		if errors.Join(errA, errB, errC, errD) != nil || !(minutes >= 0 && minutes < 1e5 && km >= 0 && km < 1e5) {
			return nil, fmt.Errorf("line %d: from and to are ids of places, minutes and kilometres numbers from 0", line)
		}
		known[wayKey{from, to}] = measuredWay{minutes, km}
	}
}

// readTable reads durations and distances between all places, in their order. A null is not known.
func readTable(in io.Reader, places []fleet.RoutePlace) (fleet.Ways, error) {
	var table struct {
		Durations [][]*float64 `json:"durations"`
		Distances [][]*float64 `json:"distances"`
	}
	if err := json.NewDecoder(in).Decode(&table); err != nil {
		return nil, err
	}
	n := len(places)
	known := map[wayKey]measuredWay{}
	if len(table.Durations) != n || len(table.Distances) != n {
		return nil, fmt.Errorf("durations and distances must have %d rows, one for each line of lintel route places", n)
	}
	for a := range n {
		if len(table.Durations[a]) != n || len(table.Distances[a]) != n {
			return nil, fmt.Errorf("row %d of durations or distances has not %d columns", a+1, n)
		}
		for b := range n {
			s, m := table.Durations[a][b], table.Distances[a][b]
			if s == nil || m == nil {
				continue
			}
			if !(*s >= 0 && *s < 1e7 && *m >= 0 && *m < 1e8) {
				return nil, fmt.Errorf("row %d, column %d: durations are seconds and distances metres, from 0", a+1, b+1)
			}
			known[wayKey{places[a].ID, places[b].ID}] = measuredWay{*s / 60, *m / 1000}
		}
	}
	return waysOf(known), nil
}

// routePlacesCmd lists the places of routes.
type routePlacesCmd struct {
	settings
}

// Run prints one line for each home of a technician and each site whose position is known.
func (c *routePlacesCmd) Run(ctx context.Context) error {
	return c.within(ctx, func(h *house) error {
		places, err := h.fleet.RoutePlaces(ctx, identity.Program())
		if err != nil {
			return told(h.words, err)
		}
		w := csv.NewWriter(os.Stdout)
		degrees := func(x float64) string { return strconv.FormatFloat(x, 'f', -1, 64) }
		for _, p := range places {
			if err := w.Write([]string{p.ID.String(), degrees(p.Position.LatitudeDeg), degrees(p.Position.LongitudeDeg), p.Name}); err != nil {
				return err
			}
		}
		w.Flush()
		return w.Error()
	})
}
