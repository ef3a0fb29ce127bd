package main

import (
	"bufio"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"strconv"
	"strings"

	"lintel.example/lintel/internal/rulebook"
	"lintel.example/lintel/internal/words"
)

// judgeCmd holds readings against a rule pack without a database: one JSON object a line in, one a line out, in order.
//
// As with fieldCmd, one bad line and nothing is printed.
type judgeCmd struct {
	Pack string `required:"" placeholder:"NAME[@EDITION]" help:"Rule pack to judge by; its newest edition when none is named."`
	File string `arg:"" help:"File with one JSON object a line, or - for standard input."`
}

// Run answers every line of the file on standard output.
func (c *judgeCmd) Run() error {
	book, err := rulebook.Embedded()
	if err != nil {
		return err
	}
	if _, err := book.Named(c.Pack); err != nil {
		return badInput{fmt.Errorf("--pack: %w", err)}
	}
	in, err := openInput(c.File)
	if err != nil {
		return err
	}
	defer in.Close()
	return c.answer(book, in, os.Stdout)
}

func (c *judgeCmd) answer(book *rulebook.Book, in io.Reader, out io.Writer) error {
	catalogue, err := words.Load()
	if err != nil {
		return err
	}
	texts := catalogue.Printer("en", words.Metric)
	var cases []rulebook.Case
	if err := eachLine(in, func(line []byte) error {
		parsed, err := rulebook.ParseCase(line)
		cases = append(cases, parsed)
		return err
	}); err != nil {
		return err
	}
	w := bufio.NewWriter(out)
	lines := json.NewEncoder(w)
	lines.SetEscapeHTML(false)
	for _, one := range cases {
		a, err := book.Answer(c.Pack, one)
		if err != nil {
			return err
		}
		if err := lines.Encode(judgement(texts, a)); err != nil {
			return err
		}
	}
	return w.Flush()
}

// judged is one line of the answer.
type judged struct {
	Pack    string       `json:"pack"`
	Edition string       `json:"edition"`
	Verdict string       `json:"verdict"`
	Rules   []judgedRule `json:"rules"`
}

type judgedRule struct {
	ID       string `json:"id"`
	Result   string `json:"result"`
	Asked    string `json:"asked"`
	Read     string `json:"read"`
	Why      string `json:"why"`
	Severity string `json:"severity"`
	Source   string `json:"source"`
	Standing string `json:"standing"`
}

func judgement(texts words.Printer, a rulebook.Answer) judged {
	out := judged{Pack: a.Pack, Edition: a.Edition, Verdict: a.Verdict, Rules: []judgedRule{}}
	for _, r := range a.Rules {
		out.Rules = append(out.Rules, judgedRule{
			ID: r.ID, Result: r.Result, Asked: askedOf(texts, r), Read: readingsOf(texts, r), Why: reasonOf(texts, r),
			Severity: string(r.Rule.Severity), Source: sourceOf(r.Rule.Source), Standing: texts.T("judge.standing." + string(r.Verdict.Standing)),
		})
	}
	return out
}

// askedOf gives the limit in the unit of its source when it could be worked out, else what the rule asks in words.
func askedOf(texts words.Printer, r rulebook.RuleAnswer) string {
	l := r.Limit
	switch {
	case l == nil:
		return r.Rule.Asks
	case l.AtLeast != nil && l.AtMost != nil:
		return texts.T("judge.asked.between", "least", written(l.AtLeast), "most", written(l.AtMost))
	case l.AtLeast != nil:
		return texts.T("judge.asked.least", "least", written(l.AtLeast))
	}
	return texts.T("judge.asked.most", "most", written(l.AtMost))
}

// readingsOf gives every reading that was judged, as it was given, and then what was worked out of them.
func readingsOf(texts words.Printer, r rulebook.RuleAnswer) string {
	parts := []string{}
	for _, u := range r.Verdict.Readings {
		switch {
		case u.Yes != nil:
			parts = append(parts, u.Name+" "+strconv.FormatBool(*u.Yes))
		case u.Uncertainty != nil:
			parts = append(parts, texts.T("judge.read.uncertain", "name", u.Name, "value", plain(*u.Number), "uncertainty", plain(*u.Uncertainty), "unit", u.Unit))
		default:
			parts = append(parts, u.Name+" "+plain(*u.Number)+" "+u.Unit)
		}
	}
	for _, w := range r.Verdict.Computed {
		if w.Low != nil {
			parts = append(parts, texts.T("judge.read.computed_uncertain", "name", w.Name, "value", plain(w.Value), "low", plain(*w.Low), "high", plain(*w.High), "unit", w.Unit))
		} else {
			parts = append(parts, texts.T("judge.read.computed", "name", w.Name, "value", plain(w.Value), "unit", w.Unit))
		}
	}
	return strings.Join(parts, ", ")
}

// reasonOf says in a sentence how the result came about.
func reasonOf(texts words.Printer, r rulebook.RuleAnswer) string {
	v := r.Verdict
	switch {
	case r.Result == rulebook.ResultNotApplicable:
		return texts.T("rulebook.reason." + string(v.Reason))
	case r.Result == rulebook.ResultMissing && len(v.Gaps) > 0:
		names := []string{}
		for _, g := range v.Gaps {
			names = append(names, g.Name)
		}
		return texts.T("judge.why.missing", "names", strings.Join(names, ", "))
	case r.Result == rulebook.ResultMissing:
		return texts.T("rulebook.reason." + string(v.Reason))
	case v.Outcome == rulebook.Undecided && v.Reason != "":
		return texts.T("judge.why." + string(v.Reason))
	case v.Measured == nil:
		return texts.T("judge.why.answer." + r.Result)
	case v.Low != nil || r.Result == rulebook.ResultUndecided:
		low, high := v.Low, v.High
		if low == nil { // the uncertainty is in the limit alone
			low, high = v.Measured, v.Measured
		}
		return texts.T("judge.why.interval."+r.Result, "value", written(v.Measured), "low", written(low), "high", written(high), "asked", askedOf(texts, r))
	}
	return texts.T("judge.why.value."+r.Result, "value", written(v.Measured), "asked", askedOf(texts, r))
}

func written(a *rulebook.Amount) string { return plain(a.Value) + " " + a.Unit }

// plain writes a number to six significant digits.
func plain(v float64) string { return strconv.FormatFloat(v, 'g', 6, 64) }

func sourceOf(s rulebook.Source) string {
	return strings.Join(strings.Fields(strings.Join([]string{s.Standard, s.Edition, s.Clause, s.Note}, " ")), " ")
}
