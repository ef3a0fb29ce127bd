package rulebook

import (
	"flag"
	"fmt"
	"os"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

var update = flag.Bool("update", false, "write packs/README.md")

func TestEveryPackSaysWhatItCoversAndWhatNot(t *testing.T) {
	for _, p := range embeddedBook(t).Packs() {
		covered, not := p.counts()
		if covered == 0 || not == 0 {
			t.Errorf("%s: %d items covered, %d not: no pack is complete, and none is empty", p.ID, covered, not)
		}
	}
}

func TestTheCoverageTablesAreThoseOfThePacks(t *testing.T) {
	want := coverageTables(embeddedBook(t))
	if *update {
		if err := os.WriteFile("packs/README.md", []byte(want), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	got, err := os.ReadFile("packs/README.md")
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(want, string(got)); diff != "" {
		t.Errorf("packs/README.md is not made of the packs; go test ./internal/rulebook -run Coverage -update:\n%s", diff)
	}
}

func (p *Pack) counts() (covered, not int) {
	for _, item := range p.Coverage {
		if len(item.Rules) > 0 {
			covered++
		}
	}
	return covered, len(p.Coverage) - covered
}

// coverageTables is packs/README.md.
func coverageTables(b *Book) string {
	var s strings.Builder
	row := func(cells ...string) {
		for i, c := range cells {
			cells[i] = strings.Join(strings.Fields(strings.ReplaceAll(c, "|", `\|`)), " ")
		}
		s.WriteString("| " + strings.Join(cells, " | ") + " |\n")
	}
	heading := func(cells ...string) {
		row(cells...)
		s.WriteString("|" + strings.Repeat(" --- |", len(cells)) + "\n")
	}
	s.WriteString(`# What the rule packs cover

Made of the packs in this folder by ` + "`go test ./internal/rulebook -run Coverage -update`" + `; a test compares. An item is one thing that the standard has an
inspector look at, as far as that is known here: nobody here has read the standards in full, so the lists of items are not the standards' own.
A clause is named where it was read, or is recalled, for this edition; else it says "not read".

Standing: **found** was read at the address that the pack names; **second_hand** in somebody's notes about the standard; **common_practice** is no standard's
but the trade's; **from_memory** is recalled and gives advice only. Facts and figures in our own words; the standard itself, the local code, the authority having
jurisdiction and the inspector's judgement prevail.

`)
	heading("pack", "doors", "role, place", "rules", "items covered", "not covered", "found", "second_hand", "common_practice", "from_memory")
	for _, p := range b.Packs() {
		covered, not := p.counts()
		standings := map[Standing]int{}
		for _, r := range p.Rules {
			standings[r.Standing]++
		}
		n := func(count int) string { return fmt.Sprint(count) }
		row(fmt.Sprintf("[%s](%s.yaml)", p.ID, p.ID), inWords(p.AppliesTo.Kinds)+"; "+inWords(p.AppliesTo.Energies), string(p.Role)+", "+p.Jurisdiction, n(len(p.Rules)), n(covered), n(not),
			n(standings[Found]), n(standings[SecondHand]), n(standings[CommonPractice]), n(standings[FromMemory]))
	}
	for _, p := range b.Packs() {
		covered, not := p.counts()
		fmt.Fprintf(&s, "\n## %s\n\n%s. %d items covered, %d not.\n\n", p.ID, p.Title, covered, not)
		heading("item", "clause", "rules and zones", "why not covered")
		for _, item := range p.Coverage {
			clause := item.Clause
			if clause == "" {
				clause = "not read"
			}
			row(item.Item, clause, strings.Join(item.Rules, ", "), item.Not)
		}
		s.WriteString("\n")
		heading("rule", "what is asked", "limit", "source", "standing", "severity")
		for _, r := range p.Rules {
			limit := "yes"
			if r.Limit != nil {
				limit = "`" + r.Limit.String() + "`"
			}
			row(r.ID, r.Asks, limit, sourceInWords(r.Source), string(r.Standing), string(r.Severity))
		}
		for _, z := range p.ZoneRules {
			row(z.ID+" (zone)", z.Title, "`"+z.area()+"`", sourceInWords(z.Source), string(z.Standing), "")
		}
		if p.Computed == nil {
			continue
		}
		s.WriteString("\n")
		heading("computed reading", "what it is", "instead, where it was read", "formula", "source", "standing")
		for _, c := range p.Computed {
			row(c.ID, c.Title, c.Prefers, "`"+string(c.Value)+"`", sourceInWords(c.Source), string(c.Standing))
		}
	}
	return s.String()
}

func inWords[S ~string](list []S) string {
	words := make([]string, len(list))
	for i, one := range list {
		words[i] = string(one)
	}
	return strings.Join(words, ", ")
}

func sourceInWords(s Source) string {
	words := strings.TrimSpace(s.Standard + " " + s.Edition)
	if s.Clause != "" {
		words += ", " + s.Clause
	}
	if s.Note != "" {
		words = strings.TrimPrefix(words+"; "+s.Note, "; ")
	}
	return words
}
