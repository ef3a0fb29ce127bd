package main

import (
	"bufio"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"strings"

	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/words"
)

// dueCmd says on which days something is due, without a database: one JSON object a line in, one a line out, in order.
//
// As with fieldCmd, one bad line and nothing is printed.
type dueCmd struct {
	File string `arg:"" help:"File with one JSON object a line, or - for standard input."`
}

// Run answers every line of the file on standard output.
func (c *dueCmd) Run() error {
	in, err := openLines(c.File)
	if err != nil {
		return err
	}
	defer in.Close()
	return c.answer(in, os.Stdout)
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
			answer.Due, answer.Why = append(answer.Due, d.On), append(answer.Why, whyDue(texts, q.Cycle.Regime, d))
		}
		if err := lines.Encode(answer); err != nil {
			return err
		}
	}
	return w.Flush()
}

// whyDue says in a sentence how a date came about.
func whyDue(texts words.Printer, regime duedate.Regime, d duedate.Due) string {
	clamped, counted, missed := "", "", ""
	if d.Clamped {
		clamped = texts.T("due.clamped")
	}
	switch {
	case d.Early > 0:
		counted = texts.T("due.counted_early", "last", d.Last.String(), "counted", d.Counted.String(), "count", d.Early)
	case !d.Counted.IsZero():
		counted = texts.T("due.counted", "last", d.Last.String(), "counted", d.Counted.String())
	}
	if len(d.Missed) > 0 {
		missed = texts.T("due.missed", "days", joined(d.Missed))
	}
	key := "due." + string(regime)
	if regime == duedate.FromLast || regime == duedate.MonthEnd {
		key += "." + string(d.Basis)
	}
	if regime == duedate.FixedMonth && d.Months == 0 {
		key += ".first"
	}
	_, month, _ := d.On.Date()
	return texts.T(key, "interval", texts.T("due.interval", "count", d.Months), "month", texts.T(fmt.Sprintf("month.%d", month)), "from", d.From.String(), "clamped", clamped, "counted", counted, "missed", missed)
}

func joined(days []duedate.Day) string {
	list := make([]string, len(days))
	for i, d := range days {
		list[i] = d.String()
	}
	return strings.Join(list, ", ")
}
