package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"strings"
	"text/tabwriter"

	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/identity"
	"lintel.example/lintel/internal/rulebook"
	"lintel.example/lintel/internal/words"
)

// packCmd looks at rule packs, the first three without a database, and has the company's own judge.
type packCmd struct {
	List     packListCmd     `cmd:"" help:"List the rule packs that come with the program."`
	Check    packCheckCmd    `cmd:"" help:"Say everything that is wrong with the text of a rule pack."`
	Diff     packDiffCmd     `cmd:"" help:"Say in words how the second pack differs from the first."`
	Replay   packReplayCmd   `cmd:"" help:"Judge the fleet's last inspections by a pack, and say which would come to something else. Writes nothing."`
	Add      packAddCmd      `cmd:"" help:"Add an edition of a pack of the company's own. It judges nothing before it is activated."`
	Activate packActivateCmd `cmd:"" help:"Have an edition of a company's pack judge from a day on. The edition before ends on the day before."`
	End      packEndCmd      `cmd:"" help:"Have no edition of a company's pack judge from a day on."`
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
		fmt.Printf("%s: %s, %d rules, %d questions, %d zones. Nothing is wrong with it.\n", c.File, p.ID, len(p.Rules)-len(p.Questions), len(p.Questions), len(p.ZoneRules))
		return nil
	}
	for _, m := range mistakes {
		fmt.Printf("%s:%s\n", c.File, m)
	}
	return errors.New("the pack is not usable")
}

// packAddCmd adds an edition of a company's pack.
type packAddCmd struct {
	settings
	File string `arg:"" help:"The pack's YAML file."`
	Note string `help:"What is new in it. Whoever's doors it judges can read it."`
}

// Run says what stands against it as check does, or adds it.
func (c *packAddCmd) Run(ctx context.Context) error {
	p, err := packOf(c.File)
	if err != nil {
		return err
	}
	text, err := os.ReadFile(c.File)
	if err != nil {
		return badInput{err}
	}
	return c.within(ctx, func(h *house) error {
		_, added, err := h.fleet.PutCompanyPack(ctx, identity.Program(), fleet.CompanyPack{PackID: p.ID, Text: string(text), Note: c.Note})
		if err != nil {
			return told(h.words, err)
		}
		if !added {
			fmt.Printf("%s is here already, with the same text.\n", p.ID)
			return nil
		}
		fmt.Printf("%s is here, %d rules. It judges nothing yet: lintel pack replay %s, then lintel pack activate %s --from DAY --why TEXT.\n", p.ID, len(p.Rules), c.File, p.ID)
		return nil
	})
}

// packActivateCmd has an edition judge.
type packActivateCmd struct {
	settings
	Pack  string `arg:"" placeholder:"NAME@EDITION" help:"A pack that was added, NAME@EDITION."`
	From  string `required:"" placeholder:"DAY" help:"First day (YYYY-MM-DD), of the site where an inspection is concluded; today at the earliest."`
	Until string `placeholder:"DAY" help:"Last day; not said, until another edition begins."`
	Why   string `required:"" placeholder:"TEXT" help:"The reason, for the record."`
}

// Run records the activation.
func (c *packActivateCmd) Run(ctx context.Context) error {
	name, edition, _ := strings.Cut(c.Pack, "@")
	if name == "" || edition == "" {
		return badInput{fmt.Errorf("%q: write NAME@EDITION", c.Pack)}
	}
	return c.activate(ctx, c.From, c.Until, fleet.PackActivation{PackName: name, PackID: c.Pack, Why: c.Why})
}

// packEndCmd has no edition judge.
type packEndCmd struct {
	settings
	Name string `arg:"" help:"The pack's name, without edition."`
	From string `required:"" placeholder:"DAY" help:"First day (YYYY-MM-DD) on which none judges; today at the earliest."`
	Why  string `required:"" placeholder:"TEXT" help:"The reason, for the record."`
}

// Run records the end.
func (c *packEndCmd) Run(ctx context.Context) error {
	return c.activate(ctx, c.From, "", fleet.PackActivation{PackName: c.Name, Why: c.Why})
}

// activate records an activation and says when the pack judges.
func (s *settings) activate(ctx context.Context, from, until string, a fleet.PackActivation) (err error) {
	if a.From, err = duedate.ParseDay(from); err != nil {
		return badInput{fmt.Errorf("--from: %w", err)}
	}
	if until != "" {
		if a.Until, err = duedate.ParseDay(until); err != nil {
			return badInput{fmt.Errorf("--until: %w", err)}
		}
	}
	a.ActivationID = newID()
	return s.within(ctx, func(h *house) error {
		saved, _, err := h.fleet.PutPackActivation(ctx, identity.Program(), a)
		switch {
		case err != nil:
			return told(h.words, err)
		case saved.PackID == "":
			fmt.Printf("From %s on no edition of %s judges.\n", saved.From, saved.PackName)
		case saved.Until.IsZero():
			fmt.Printf("%s judges from %s on.\n", saved.PackID, saved.From)
		default:
			fmt.Printf("%s judges from %s to %s.\n", saved.PackID, saved.From, saved.Until)
		}
		return nil
	})
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
		fmt.Println(fleet.ChangeText(texts, one))
	}
	if len(changes) == 0 {
		fmt.Println(texts.T("pack.change.none"))
	}
	return nil
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
