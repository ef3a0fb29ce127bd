package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"

	"lintel.example/lintel/internal/rulebook"
)

// forceCmd works out a recorded force over time without a database: the CSV of a gauge in, one JSON object out.
type forceCmd struct {
	File        string   `arg:"" help:"CSV of a gauge: time and force, with or without a heading that names their units; or - for standard input."`
	GapMM       *float64 `name:"gap-mm" placeholder:"MM" help:"Width of the gap at which it was measured: holds the curve against the European limits for it (from memory: advice only)."`
	Uncertainty *float64 `placeholder:"N" help:"Expanded uncertainty (k = 2) of the gauge, in newtons."`
}

// Run prints what the series says. Bad input is one line of complaint and exit code 2.
func (c *forceCmd) Run() error {
	in, err := openInput(c.File)
	if err != nil {
		return err
	}
	defer in.Close()
	return c.answer(in, os.Stdout)
}

func (c *forceCmd) answer(in io.Reader, out io.Writer) error {
	if c.GapMM != nil && !(*c.GapMM >= 0 && *c.GapMM <= 10_000) {
		return badInput{errors.New("--gap-mm: must be from 0 to 10000")}
	}
	if c.Uncertainty != nil && !(*c.Uncertainty >= 0 && *c.Uncertainty <= 1000) {
		return badInput{errors.New("--uncertainty: must be from 0 to 1000")}
	}
	text, err := io.ReadAll(io.LimitReader(in, rulebook.MostForceBytes+10))
	if err != nil {
		return badInput{err}
	}
	series, err := rulebook.ParseForceSeries(text)
	if err != nil {
		return badInput{err}
	}
	var limits *rulebook.ForceLimits
	if c.GapMM != nil {
		in := rulebook.ForceLimitsInGap(*c.GapMM / 1000)
		limits = &in
	}
	course, err := series.Course(limits, c.Uncertainty)
	if err != nil {
		return badInput{err}
	}
	line, err := json.Marshal(course)
	if err != nil {
		return err
	}
	_, err = fmt.Fprintln(out, string(line))
	return err
}
