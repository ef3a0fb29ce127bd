package main

import (
	"context"
	"fmt"
	"strings"

	"lintel.example/lintel/internal/diagnosis"
	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/identity"
	"lintel.example/lintel/internal/words"
)

// diagnoseCmd says why a door may misbehave.
type diagnoseCmd struct {
	settings
	Door    string `arg:"" help:"The door's tag."`
	Symptom string `required:"" placeholder:"NAME" help:"reopens_by_itself, stays_open, opens_late, opens_for_passers, opens_for_nobody, misses_who_stands, opens_in_weather, answers_for_the_other, lock_code_unknown."`
	Since   string `placeholder:"DAY" help:"Day on which it began (YYYY-MM-DD)."`
	Units   string `enum:"metric,us" default:"metric" help:"Units of lengths: metric or us."`
}

// Run prints the causes. Bad input is one line of complaint and exit code 2.
func (c *diagnoseCmd) Run(ctx context.Context) error {
	var since duedate.Day
	if c.Since != "" {
		var err error
		if since, err = duedate.ParseDay(c.Since); err != nil {
			return badInput{fmt.Errorf("--since: %w", err)}
		}
	}
	if !knownSymptom(c.Symptom) {
		return badInput{fmt.Errorf("--symptom: %q is none of %s", c.Symptom, strings.Join(symptoms(), ", "))}
	}
	return c.within(ctx, func(h *house) error {
		tag, err := fleet.ParseTag(c.Door)
		if err != nil {
			return told(h.words, err)
		}
		door, err := h.fleet.DoorByTag(ctx, identity.Program(), tag)
		if err != nil {
			return told(h.words, err)
		}
		d, err := h.fleet.Diagnose(ctx, identity.Program(), door.DoorID, c.Symptom, since)
		if err != nil {
			return told(h.words, err)
		}
		p := h.words.Printer("en", words.Units(c.Units))
		fmt.Printf("%s %s, %s\n", door.Name, door.Tag, p.T("diagnosis.symptom."+c.Symptom))
		for _, s := range d.Told(p) {
			fmt.Printf("\n%s\n", s.Heading)
			for _, line := range s.Sentences {
				fmt.Println("  " + line)
			}
		}
		return nil
	})
}

func symptoms() (list []string) {
	for _, s := range diagnosis.Symptoms() {
		list = append(list, string(s))
	}
	return list
}

func knownSymptom(name string) bool {
	for _, s := range symptoms() {
		if s == name {
			return true
		}
	}
	return false
}
