package fleet

import (
	"fmt"
	"reflect"
	"slices"
	"testing"
	"time"

	"github.com/google/uuid"
	"pgregory.net/rapid"

	"lintel.example/lintel/internal/duedate"
)

func decision(what string, findings ...int) EntryBody {
	d := EntryDecision{Decision: what, Outcome: "signed", Name: "ROSA IMHOF", Role: "owner", Signature: "M0 0L9 9"}
	if what == "deferred" {
		d.Until = onDay("2026-06-30")
	}
	for _, n := range findings {
		d.Findings = append(d.Findings, named('e', n))
	}
	return EntryBody{Kind: "decision", Decision: &d}
}

func dismissal(n int) EntryBody {
	return EntryBody{Kind: "dismissal", Dismissal: &EntryDismissal{FindingID: named('e', n), Reason: "the sign hangs behind the plant"}}
}

func onDay(text string) duedate.Day {
	d, err := duedate.ParseDay(text)
	if err != nil {
		panic(err)
	}
	return d
}

func ofRule(rule string, body EntryBody) EntryBody {
	body.Finding.Rule = rule
	return body
}

func safeUntil(text string, body EntryBody) EntryBody {
	body.Finding.SafeUntil = onDay(text)
	return body
}

// on moves an entry to another day of the same hour.
func (e Entry) on(text string) Entry {
	d := onDay(text)
	e.ObservedAt = e.ObservedAt.AddDate(0, 0, onDay("2026-03-03").DaysUntil(d))
	e.Body.ObservedAt = e.ObservedAt
	return e
}

// lives tells of each finding how it stands, what was decided on it, and whether it came back.
func (c consequences) lives() (lines []string) {
	for _, f := range c.findings {
		line := fmt.Sprintf("%d %s", f.FindingID[15], f.State)
		if d := f.Decided; d != nil {
			line += " " + d.Decision
			if !d.Until.IsZero() {
				line += " until " + d.Until.String()
			}
		}
		if f.Times > 1 {
			line += fmt.Sprintf(" time %d since %s after %d", f.Times, duedate.DayIn(*f.FirstAt, time.UTC), f.RecursOf[15])
		}
		lines = append(lines, line)
	}
	for _, r := range c.repairs {
		lines = append(lines, fmt.Sprintf("repair %s due %s", r.State, r.DueOn))
	}
	return lines
}

func TestTheLifeOfAFinding(t *testing.T) {
	deficient := entry(1, 1, 10, finding("deficient", "label gone"))
	unsafe := entry(1, 1, 10, finding("unsafe", "closes on people"))
	for name, c := range map[string]struct {
		entries []Entry
		want    []string
	}{
		"a decision stands beside an open finding": {
			[]Entry{deficient, entry(2, 2, 20, decision("quoted", 1))},
			[]string{"1 open quoted", "repair open due 2026-03-31"}},
		"the last one counts, in whatever order they came": {
			[]Entry{entry(3, 3, 30, decision("deferred", 1)), deficient, entry(2, 2, 20, decision("quoted", 1))},
			[]string{"1 open deferred until 2026-06-30", "repair open due 2026-03-31"}},
		"one decision is about several findings": {
			[]Entry{deficient, entry(2, 1, 11, finding("advisory", "worn seal")), entry(3, 2, 20, decision("declined", 1, 2))},
			[]string{"1 open declined", "2 open declined", "repair open due 2026-03-31"}},
		"that it was declined does not make a door safe": {
			[]Entry{unsafe, entry(2, 2, 20, decision("declined", 1))},
			[]string{"1 open declined", "repair open due 2026-03-03"}},
		"nor that the owner says it was mended": {
			[]Entry{unsafe, entry(2, 2, 20, decision("mended", 1)).signed()},
			[]string{"1 open mended", "repair open due 2026-03-03"}},
		"a corrected decision does not count": {
			[]Entry{deficient, entry(2, 2, 20, decision("declined", 1)), entry(3, 2, 21, decision("quoted", 1)).correcting(2)},
			[]string{"1 open quoted", "repair open due 2026-03-31"}},
		"one from before the finding says nothing of it": {
			[]Entry{deficient, entry(2, 2, 5, decision("declined", 1))},
			[]string{"1 open", "repair open due 2026-03-31"}},
		"nor one from after it was mended": {
			[]Entry{deficient, entry(2, 2, 20, decision("quoted", 1)), entry(3, 3, 30, mending(1)), entry(4, 4, 40, decision("declined", 1))},
			[]string{"1 mended quoted", "repair done due 2026-03-31"}},
		"a dismissal closes what is deficient, and no repair is owed": {
			[]Entry{deficient, entry(2, 2, 20, dismissal(1))},
			[]string{"1 dismissed", "repair cancelled due 2026-03-31"}},
		"what was dismissed no longer presses": {
			[]Entry{entry(1, 1, 10, safeUntil("2026-03-05", finding("deficient", "label gone"))), entry(2, 1, 11, finding("deficient", "closes slowly")), entry(3, 2, 20, dismissal(1))},
			[]string{"1 dismissed", "2 open", "repair open due 2026-03-31"}},
		"a dismissal closes nothing unsafe": {
			[]Entry{unsafe, entry(2, 2, 20, dismissal(1))},
			[]string{"1 open", "repair open due 2026-03-03"}},
		"a corrected dismissal leaves the finding open": {
			[]Entry{deficient, entry(2, 2, 20, dismissal(1)), entry(3, 2, 21, EntryBody{Kind: "note", Note: &EntryNote{Text: "it is no plant"}}).correcting(2)},
			[]string{"1 open", "repair open due 2026-03-31"}},
		"a repair is due on the last safe day": {
			[]Entry{entry(1, 1, 10, safeUntil("2026-03-10", finding("deficient", "edge worn")))},
			[]string{"1 open", "repair open due 2026-03-10"}},
		"and never later than it would be without one": {
			[]Entry{entry(1, 1, 10, safeUntil("2026-12-01", finding("deficient", "edge worn")))},
			[]string{"1 open", "repair open due 2026-03-31"}},
		"what was mended and is found again came back": {
			[]Entry{entry(1, 1, 10, ofRule("6.2", finding("deficient", "slow"))), entry(2, 1, 11, mending(1)).on("2026-04-01"),
				entry(3, 2, 10, ofRule("6.2", finding("deficient", "slow again"))).on("2027-03-01"), entry(4, 2, 11, mending(3)).on("2027-03-02"),
				entry(5, 3, 10, ofRule("6.2", finding("unsafe", "closes on people"))).on("2028-03-01")},
			[]string{"1 mended", "3 mended time 2 since 2026-03-03 after 1", "5 open time 3 since 2026-03-03 after 3",
				"repair done due 2026-03-31", "repair done due 2027-03-29", "repair open due 2028-03-01"}},
		"another rule did not come back": {
			[]Entry{entry(1, 1, 10, ofRule("6.2", finding("deficient", "slow"))), entry(2, 1, 11, mending(1)),
				entry(3, 2, 10, ofRule("6.3", finding("deficient", "label"))).on("2027-03-01"), entry(4, 2, 12, finding("deficient", "of no rule")).on("2027-03-01")},
			[]string{"1 mended", "3 open", "4 open", "repair done due 2026-03-31", "repair open due 2027-03-29"}},
		"what still stands did not come back": {
			[]Entry{entry(1, 1, 10, ofRule("6.2", finding("deficient", "slow"))), entry(3, 2, 10, ofRule("6.2", finding("deficient", "slow"))).on("2027-03-01")},
			[]string{"1 open", "3 open", "repair open due 2026-03-31", "repair open due 2027-03-29"}},
		"what was taken back never was there": {
			[]Entry{entry(1, 1, 10, ofRule("6.2", finding("deficient", "slow"))), entry(2, 1, 11, dismissal(1)), entry(3, 2, 10, ofRule("6.2", finding("deficient", "slow"))).on("2027-03-01")},
			[]string{"1 dismissed", "3 open", "repair cancelled due 2026-03-31", "repair open due 2027-03-29"}},
		"after five years it is another matter": {
			[]Entry{entry(1, 1, 10, ofRule("6.2", finding("deficient", "slow"))), entry(2, 1, 11, mending(1)), entry(3, 2, 11, ofRule("6.2", finding("deficient", "slow"))).on("2031-03-03")},
			[]string{"1 mended", "3 open", "repair done due 2026-03-31", "repair open due 2031-03-31"}},
		"the day before it is the same": {
			[]Entry{entry(1, 1, 10, ofRule("6.2", finding("deficient", "slow"))), entry(2, 1, 11, mending(1)), entry(3, 2, 11, ofRule("6.2", finding("deficient", "slow"))).on("2031-03-02")},
			[]string{"1 mended", "3 open time 2 since 2026-03-03 after 1", "repair done due 2026-03-31", "repair open due 2031-03-30"}},
	} {
		t.Run(name, func(t *testing.T) {
			if got := consequencesOf(c.entries, time.UTC).lives(); !slices.Equal(got, c.want) {
				t.Errorf("got\n%q\nwant\n%q", got, c.want)
			}
		})
	}
}

func TestADecisionOpensAndClosesNothing(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		entries := anyEntries().Draw(t, "entries")
		without := slices.Clone(entries)
		for i, e := range without {
			if e.Body.Decision != nil { // what it corrects it still corrects
				without[i].Body.Kind, without[i].Body.Decision, without[i].Body.Note = "note", nil, &EntryNote{Text: "called at the desk"}
			}
		}
		with, bare := consequencesOf(entries, time.UTC), consequencesOf(without, time.UTC)
		for i := range with.findings {
			with.findings[i].Decided = nil
		}
		if !reflect.DeepEqual(with, bare) {
			t.Fatalf("\n%q\nand\n%q", with.told(), bare.told())
		}
	})
}

func TestNothingUnsafeIsDismissedAndWhatIsTakenBackNeverComesBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		findings := consequencesOf(anyEntries().Draw(t, "entries"), time.UTC).findings
		byID := map[uuid.UUID]VisitFinding{}
		for _, f := range findings {
			byID[f.FindingID] = f
		}
		for _, f := range findings {
			if f.Severity == "unsafe" && f.State == "dismissed" {
				t.Fatalf("%s is unsafe and dismissed", f.FindingID)
			}
			if (f.RecursOf != nil) != (f.Times > 1) {
				t.Fatalf("%s: time %d, after %v", f.FindingID, f.Times, f.RecursOf)
			}
			if f.RecursOf == nil {
				continue
			}
			of := byID[*f.RecursOf]
			if of.Cause != f.Cause || of.ClosedAt == nil || !of.ClosedAt.Before(f.OpenedAt) || of.unfounded() || f.unfounded() {
				t.Fatalf("%+v is said to have come back as %+v", of, f)
			}
		}
	})
}

func TestAPassedDayPresses(t *testing.T) {
	until := onDay("2026-06-30")
	deferred := &Decided{Decision: "deferred", Until: until}
	for name, c := range map[string]struct {
		finding Finding
		on      string
		want    string
	}{
		"the last safe day":            {Finding{State: "open", SafeUntil: until}, "2026-06-30", ""},
		"the day after":                {Finding{State: "open", SafeUntil: until}, "2026-07-01", "danger"},
		"a danger that was put off":    {Finding{State: "open", SafeUntil: until, Decided: deferred}, "2026-07-01", "danger"},
		"the last day of a deferral":   {Finding{State: "open", Decided: deferred}, "2026-06-30", ""},
		"a deferral that is over":      {Finding{State: "open", Decided: deferred}, "2026-07-01", "deferral_over"},
		"a quoted one has no day":      {Finding{State: "open", Decided: &Decided{Decision: "quoted"}}, "2026-07-01", ""},
		"what is mended presses never": {Finding{State: "mended", SafeUntil: until, Decided: deferred}, "2026-07-01", ""},
	} {
		t.Run(name, func(t *testing.T) {
			if got := c.finding.Presses(onDay(c.on)); got != c.want {
				t.Errorf("got %q, want %q", got, c.want)
			}
		})
	}
}
