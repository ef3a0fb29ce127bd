package main

import (
	"bufio"
	"context"
	"encoding/json"
	"errors"
	"io"
	"os"
	"strings"

	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/identity"
	"lintel.example/lintel/internal/words"
)

// dueCmd says on which days something is due, without a database: one JSON object a line in, one a line out, in order. As with fieldCmd, one bad line
// and nothing is printed. With --explain it says of a door on record when it is due, and why.
type dueCmd struct {
	settings
	File    string `arg:"" help:"File with one JSON object a line, or - for standard input; with --explain a door's tag."`
	Explain bool   `help:"Say why the door with this tag is due when it is, out of the database."`
	JSON    bool   `name:"json" help:"With --explain: as one JSON object."`
}

// Run answers every line of the file, or explains a door, on standard output.
func (c *dueCmd) Run(ctx context.Context) error {
	if c.Explain {
		return c.explain(ctx, os.Stdout)
	}
	if c.JSON {
		return badInput{errors.New("--json goes with --explain; the answers to a file are JSON anyway")}
	}
	in, err := openInput(c.File)
	if err != nil {
		return err
	}
	defer in.Close()
	return c.answer(in, os.Stdout)
}

func (c *dueCmd) explain(ctx context.Context, out io.Writer) error {
	tag, err := fleet.ParseTag(c.File)
	if err != nil {
		catalogue, broken := words.Load()
		if broken != nil {
			return broken
		}
		return told(catalogue, err)
	}
	return c.within(ctx, func(h *house) error {
		by := identity.Program()
		door, err := h.fleet.DoorByTag(ctx, by, tag)
		if err != nil {
			return told(h.words, err)
		}
		e, err := h.fleet.ExplainDue(ctx, by, door.DoorID)
		if err != nil {
			return err
		}
		texts := h.words.Printer("en", words.Metric)
		if !c.JSON {
			_, err = io.WriteString(out, strings.Join(e.Lines(texts), "\n")+"\n")
			return err
		}
		lines := json.NewEncoder(out)
		lines.SetEscapeHTML(false)
		return lines.Encode(e.Told(texts))
	})
}

func (c *dueCmd) answer(in io.Reader, out io.Writer) error {
	catalogue, err := words.Load()
	if err != nil {
		return err
	}
	texts := catalogue.Printer("en", words.Metric)
	var questions []duedate.Question
	if err := eachLine(in, func(line []byte) error {
		q, err := duedate.ParseQuestion(line)
		questions = append(questions, q)
		return err
	}); err != nil {
		return err
	}
	w := bufio.NewWriter(out)
	lines := json.NewEncoder(w)
	lines.SetEscapeHTML(false)
	for _, q := range questions {
		answer := struct {
			Due []duedate.Day `json:"due"`
			Why []string      `json:"why"`
		}{[]duedate.Day{}, []string{}}
		for _, d := range q.Cycle.Dues(q.Done, q.Until) {
			answer.Due, answer.Why = append(answer.Due, d.On), append(answer.Why, fleet.WhyDue(texts, q.Cycle, d))
		}
		if err := lines.Encode(answer); err != nil {
			return err
		}
	}
	return w.Flush()
}
