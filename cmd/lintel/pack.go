package main

import (
	"errors"
	"fmt"
	"os"
	"text/tabwriter"

	"lintel.example/lintel/internal/rulebook"
	"lintel.example/lintel/internal/words"
)

// packCmd looks at rule packs without a database.
type packCmd struct {
	List  packListCmd  `cmd:"" help:"List the rule packs that come with the program."`
	Check packCheckCmd `cmd:"" help:"Say everything that is wrong with the text of a rule pack."`
	Diff  packDiffCmd  `cmd:"" help:"Say in words how the second pack differs from the first."`
}

type packListCmd struct{}

// Run prints one pack a line.
func (packListCmd) Run() error {
	book, err := rulebook.Embedded()
	if err != nil {
		return err
	}
	w := tabwriter.NewWriter(os.Stdout, 0, 4, 2, ' ', 0)
	for _, p := range book.Packs() {
		fmt.Fprintf(w, "%s\t%s\t%d rules\t%s\n", p.ID, p.Jurisdiction, len(p.Rules), p.Title)
	}
	return w.Flush()
}

type packCheckCmd struct {
	File string `arg:"" help:"The pack's YAML file."`
}

// Run prints one mistake a line as FILE:LINE:COLUMN, and exits with 1 when there is one.
func (c packCheckCmd) Run() error {
	text, err := os.ReadFile(c.File)
	if err != nil {
		return badInput{err}
	}
	book, err := rulebook.Embedded()
	if err != nil {
		return err
	}
	p, mistakes, err := rulebook.Check(text, book.Packs()...)
	if err != nil {
		return err
	}
	if p != nil {
		fmt.Printf("%s: %s, %d rules, %d zones. Nothing is wrong with it.\n", c.File, p.ID, len(p.Rules), len(p.ZoneRules))
		return nil
	}
	for _, m := range mistakes {
		fmt.Printf("%s:%s\n", c.File, m)
	}
	return errors.New("the pack is not usable")
}

type packDiffCmd struct {
	From string `arg:"" help:"A pack by NAME[@EDITION], or a YAML file."`
	To   string `arg:"" help:"The pack that it is compared with."`
}

// Run prints one difference a line.
func (c packDiffCmd) Run() error {
	from, err := packOf(c.From)
	if err != nil {
		return err
	}
	to, err := packOf(c.To)
	if err != nil {
		return err
	}
	catalogue, err := words.Load()
	if err != nil {
		return err
	}
	texts := catalogue.Printer("en", words.Metric)
	changes := rulebook.Diff(from, to)
	for _, one := range changes {
		fmt.Println(changeInWords(texts, one))
	}
	if len(changes) == 0 {
		fmt.Println(texts.T("pack.change.none"))
	}
	return nil
}

func changeInWords(texts words.Printer, c rulebook.Change) string {
	rule := c.Rule
	if rule == "" {
		rule = texts.T("pack.change.whole")
	}
	if c.Kind != rulebook.Changed {
		return texts.T("pack.change."+string(c.Kind), "rule", rule, "title", c.From+c.To)
	}
	from, to := c.From, c.To
	if from == "" {
		from = texts.T("pack.change.nothing")
	}
	if to == "" {
		to = texts.T("pack.change.nothing")
	}
	return texts.T("pack.change.changed", "rule", rule, "what", texts.T("pack.member."+c.What), "from", from, "to", to)
}

// packOf gives a pack that comes with the program, or one in a file.
func packOf(name string) (*rulebook.Pack, error) {
	book, err := rulebook.Embedded()
	if err != nil {
		return nil, err
	}
	p, unknown := book.Named(name)
	if unknown == nil {
		return p, nil
	}
	text, err := os.ReadFile(name)
	if err != nil {
		return nil, badInput{fmt.Errorf("%w, and no file of that name", unknown)}
	}
	p, mistakes, err := rulebook.Check(text)
	if err != nil {
		return nil, err
	}
	if p == nil {
		return nil, badInput{fmt.Errorf("%s:%s", name, mistakes[0])}
	}
	return p, nil
}
