package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"time"

	"lintel.example/lintel/internal/route"
)

// routeCmd is about who drives where.
type routeCmd struct {
	Plan   routePlanCmd   `cmd:"" help:"Plan who drives where on some days, from the open work orders."`
	Places routePlacesCmd `cmd:"" help:"List the places between which ways can be measured, one CSV line each: id, latitude, longitude, name."`
	Solve  routeSolveCmd  `cmd:"" help:"Solve an instance of a public benchmark of routing with time windows: fewest vehicles, then least distance."`
}

// routeSolveCmd solves an instance without a database.
type routeSolveCmd struct {
	File       string   `arg:"" help:"The instance, or - for standard input."`
	Format     string   `default:"solomon" placeholder:"solomon" help:"Its format: solomon, the text of Solomon's 1987 benchmark."`
	Seconds    *float64 `placeholder:"S" help:"How long to search."`
	Iterations *int     `placeholder:"K" help:"How many steps to search instead: with the same seed the same answer."`
	Seed       uint64   `default:"1" placeholder:"N" help:"Where chance begins."`
}

type solvedJSON struct {
	Vehicles int     `json:"vehicles"`
	Distance float64 `json:"distance"`
	Routes   [][]int `json:"routes"`
}

// Run prints the answer. Bad input is one line of complaint and exit code 2; a customer who cannot be served is named, exit code 1.
func (c *routeSolveCmd) Run(ctx context.Context) error {
	in, err := openInput(c.File)
	if err != nil {
		return err
	}
	defer in.Close()
	return c.answer(ctx, in, os.Stdout)
}

func (c *routeSolveCmd) answer(ctx context.Context, in io.Reader, out io.Writer) error {
	budget, err := c.budget(ctx)
	if err != nil {
		return badInput{err}
	}
	instance, err := route.ReadSolomon(in)
	if err != nil {
		return badInput{err}
	}
	problem := instance.Problem()
	if err := c.possible(instance, problem); err != nil {
		return err
	}
	plan := route.Solve(problem, c.Seed, budget)
	if ctx.Err() != nil {
		return errors.New("interrupted")
	}
	if len(plan.Left) > 0 {
		return fmt.Errorf("infeasible: no room was found for customer %d; vehicles: %d, customers left over: %d; a longer search may find it",
			instance.Customers[plan.Left[0]].Number, instance.Vehicles, len(plan.Left))
	}
	solved := solvedJSON{Vehicles: plan.Used, Distance: plan.Distance, Routes: [][]int{}}
	for _, visits := range plan.Routes {
		var numbers []int
		for _, visit := range visits {
			numbers = append(numbers, instance.Customers[visit].Number)
		}
		if len(numbers) > 0 {
			solved.Routes = append(solved.Routes, numbers)
		}
	}
	line, err := json.Marshal(solved)
	if err != nil {
		return err
	}
	_, err = fmt.Fprintln(out, string(line))
	return err
}

// budget is the share of seconds or steps that are spent. The clock is looked at every 32nd step.
func (c *routeSolveCmd) budget(ctx context.Context) (route.Budget, error) {
	var spent route.Budget
	switch {
	case c.Format != "solomon":
		return nil, fmt.Errorf("--format: %q is not known; there is solomon", c.Format)
	case (c.Seconds == nil) == (c.Iterations == nil):
		return nil, errors.New("give either --seconds or --iterations")
	case c.Iterations != nil && *c.Iterations < 1:
		return nil, errors.New("--iterations: must be at least 1")
	case c.Iterations != nil:
		spent = route.Steps(*c.Iterations)
	case !(*c.Seconds > 0 && *c.Seconds <= 86_400):
		return nil, errors.New("--seconds: must be above 0 and at most 86400")
	default:
		began, share := time.Now(), 0.0
		spent = func(steps int) float64 {
			if steps%32 == 0 {
				share = min(time.Since(began).Seconds() / *c.Seconds, 1)
			}
			return share
		}
	}
	return func(steps int) float64 {
		if ctx.Err() != nil {
			return 1
		}
		return spent(steps)
	}, nil
}

// possible says which customer nobody can serve even alone.
func (c *routeSolveCmd) possible(instance route.Solomon, problem *route.Problem) error {
	if err := problem.Check(); err != nil {
		return badInput{err}
	}
	for i, customer := range instance.Customers {
		switch route.Explain(problem, route.Plan{Routes: make([][]int, len(problem.Shifts))}, i) {
		case route.NotAllowed:
			return fmt.Errorf("infeasible: customer %d cannot be served: there is no vehicle", customer.Number)
		case route.TooBig:
			return fmt.Errorf("infeasible: customer %d cannot be served: its demand %v is more than a vehicle carries, %v", customer.Number, customer.Demand, instance.Capacity)
		case route.NotThatDay, route.TooFar:
			return fmt.Errorf("infeasible: customer %d cannot be served: no vehicle can be there by its due date %v and back at the depot by %v", customer.Number, customer.Due, instance.Depot.Due)
		}
	}
	return nil
}
