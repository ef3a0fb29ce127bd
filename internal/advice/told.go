package advice

import (
	"fmt"
	"strings"

	"lintel.example/lintel/internal/words"
)

// Section is a part of advice as it is read: a heading and its sentences.
type Section struct {
	Heading   string   `json:"heading"`
	Sentences []string `json:"sentences"`
}

// Tell puts an answer into words: each candidate with what it was held against, what stood in the way of the rest, what to give up when nothing
// fits, and the caution. Every number in a sentence is one of the answer's.
func Tell(p words.Printer, a Answer) []Section {
	t := teller{p}
	var list []Section
	for i, r := range a.Ranked {
		list = append(list, t.ranked(i, r, a))
	}
	if len(a.Ranked) == 0 {
		none := Section{Heading: p.T("advice.none")}
		for _, g := range a.GiveUp {
			none.Sentences = append(none.Sentences, p.T("advice.give_up", "asked", t.asked(g.Asked), "hardware", t.hardware(g.First.Candidate), "settings", t.settings(g.First.Candidate)))
		}
		if len(a.GiveUp) == 0 {
			none.Sentences = append(none.Sentences, p.T("advice.give_up.nothing"))
		}
		list = append(list, none)
	}
	if len(a.Presence) > 0 {
		list = append(list, t.presence(a.Presence))
	}
	if len(a.Rejected) > 0 {
		rest := Section{Heading: p.T("advice.rejected")}
		for _, r := range a.Rejected {
			rest.Sentences = append(rest.Sentences, t.rejected(r))
		}
		list = append(list, rest)
	}
	return append(list, Section{Heading: p.T("advice.caution.heading"), Sentences: []string{
		p.T("advice.counted", "candidates", a.Candidates, "full", a.InFull),
		p.T("advice.choices", "passers", percent(PassersAtMost), "enough", p.Quantity(EnoughS, words.Second)),
		p.T("advice.caution"),
	}})
}

type teller struct{ words.Printer }

func percent(share float64) string { return fmt.Sprintf("%.1f %%", 100*share) }

func (t teller) hardware(c Candidate) string {
	parts := t.T("advice.no_parts")
	if len(c.Accessories) > 0 {
		parts = t.T("advice.parts", "parts", strings.Join(c.Accessories, ", "))
	}
	return t.T("advice.hardware", "opening", c.Opening, "model", c.Model, "antenna", c.Antenna, "parts", parts)
}

func (t teller) settings(c Candidate) string {
	return t.T("advice.settings", "height", t.Length(c.Place.HeightM), "out", t.Length(c.Place.OffsetYM), "tilt", t.Quantity(c.TiltDeg, words.Degree), "yaw", t.Quantity(c.YawDeg, words.Degree),
		"reach", t.Quantity(c.ReachDB, words.Decibel), "confirm", t.travel(c.ConfirmTravelM), "direction", t.T("advice.direction."+string(c.Direction)))
}

// travel is told in millimetres in both systems: it is a setting's figure.
func (t teller) travel(m float64) string { return fmt.Sprintf("%.0f mm", 1000*m) }

func (t teller) asked(a Asked) string {
	return t.T("advice.asked."+string(a.Of), "name", a.Name)
}

func (t teller) ranked(i int, r Ranked, a Answer) Section {
	s := Section{Heading: t.T("advice.ranked", "place", i+1, "hardware", t.hardware(r.Candidate))}
	s.Sentences = append(s.Sentences, t.settings(r.Candidate))
	switch r.Behind.By {
	case "in_time":
		s.Sentences = append(s.Sentences, t.T("advice.behind.in_time", "its", t.Quantity(r.Behind.Its, words.Second), "the", t.Quantity(r.Behind.The, words.Second)))
	case "disturbance":
		s.Sentences = append(s.Sentences, t.T("advice.behind.disturbance", "its", percent(r.Behind.Its), "the", percent(r.Behind.The)))
	case "parts":
		s.Sentences = append(s.Sentences, t.T("advice.behind.parts", "count", int(r.Behind.Its), "the", int(r.Behind.The)))
	default:
		if i > 0 {
			s.Sentences = append(s.Sentences, t.T("advice.behind.alike"))
		}
	}
	for _, c := range r.Checks {
		s.Sentences = append(s.Sentences, t.check(c))
	}
	return s
}

// TellCheck puts one check into words.
func TellCheck(p words.Printer, c Check) string { return teller{p}.check(c) }

func (t teller) check(c Check) string {
	verdict := t.T("advice.holds")
	if !c.Holds {
		verdict = t.T("advice.fails")
	}
	var what string
	switch c.Of {
	case LeafUnseen:
		key := "advice.check.leaf_unseen"
		if c.Masked {
			key = "advice.check.leaf_masked"
		} else if c.Value > 0 {
			key = "advice.check.leaf_seen"
		}
		what = t.T(key, "name", c.Name, "share", percent(c.Value)) + t.angles(c)
	case Watched:
		key := "advice.check.watched"
		if !c.Holds {
			key = "advice.check.unwatched"
		}
		what = t.T(key, "name", c.Name, "covered", percent(c.Covered), "gap", t.Length(c.Value))
	case InTime:
		w := c.Worst
		if !w.Noticed {
			what = t.T("advice.check.unnoticed", "body", t.T("advice.body."+w.Body), "way", t.T("advice.way."+w.Way))
			break
		}
		what = t.T("advice.check.in_time", "body", t.T("advice.body."+w.Body), "way", t.T("advice.way."+w.Way), "left", t.Length(w.LeftM),
			"available", t.Quantity(w.AvailableS, words.Second), "needed", t.Quantity(w.NeededS, words.Second), "margin", t.Quantity(c.Value, words.Second))
	case LetPass:
		what = t.T("advice.check.let_pass", "name", c.Name, "share", percent(c.Value), "limit", percent(c.Limit))
	case Ignored:
		what = t.T("advice.check.ignored", "name", c.Name, "travel", t.travel(c.Value), "limit", t.travel(c.Limit))
	case Still:
		key := "advice.check.still"
		if c.Holds && c.Value >= c.Limit {
			key = "advice.check.still.slow"
		}
		what = t.T(key, "travel", fmt.Sprintf("%.1f mm", 1000*c.Value), "limit", t.travel(c.Limit))
	}
	return verdict + " " + what
}

func (t teller) rejected(r Rejected) string {
	hardware := t.hardware(Candidate{Opening: r.Opening, Model: r.Model, Antenna: r.Antenna, Accessories: r.Accessories})
	if r.Contradiction != "" {
		return t.T("advice.rejected.contradiction", "hardware", hardware, "why", r.Contradiction)
	}
	var why []string
	for _, f := range r.Failed {
		line := t.T("advice.failed", "count", f.Times, "asked", t.asked(f.Asked))
		switch {
		case f.NearestS != nil:
			line += t.T("advice.failed.nearest", "margin", t.Quantity(*f.NearestS, words.Second))
		case f.LeafDB != nil && f.ZoneDB != nil:
			line += t.T("advice.failed.window", "zone", t.Quantity(*f.ZoneDB, words.Decibel), "leaf", t.Quantity(*f.LeafDB, words.Decibel))
		case f.ZoneDB != nil:
			line += t.T("advice.failed.zone", "zone", t.Quantity(*f.ZoneDB, words.Decibel))
		}
		why = append(why, line)
	}
	return t.T("advice.rejected.why", "hardware", hardware, "why", strings.Join(why, "; "))
}
