package demo

import (
	"bytes"
	_ "embed"
	"fmt"

	"go.yaml.in/yaml/v3"
)

//go:embed company.yaml
var companyFile []byte

// company is what company.yaml says.
type company struct {
	People      []personLine
	Scheme      string
	Statement   string
	Towns       map[string][2]float64 // latitude and longitude, degrees
	Models      []modelLine
	Accessories []accessoryLine
	Customers   []customerLine
	Sites       []siteLine
	Places      map[string][]string
	Findings    map[string]findingLine
	Agents      []agentLine
	Auditor     struct{ Name, Email, Customer string }
}

type personLine struct {
	Name, Email, Role string
	Region            string // where a technician works: America, Europe
	Home              string // the town where a technician lives
	Certificate       string
	RunsOut           bool `yaml:"runs_out"`
}

type modelLine struct {
	Maker, Name, Kind, Sensing string
	Antennas                   []struct {
		Name                      string
		Azimuth, Elevation, Range float64
	}
	Senses map[string]any // as the API has them
	Steps  map[string]any // as the API has them
}

type accessoryLine struct {
	Kind, Name string
	CutOff     *float64 `yaml:"cut_off"`
	Loss, Out  *float64
	Edge       *float64
}

type customerLine struct{ Name, Account, Note string }

type siteLine struct {
	Customer, Name, Address, City string
	At                            string // the jurisdiction
	Zone, Kind                    string
	Doors, Month                  int
	Paper, Late                   bool
	PassesTo                      string `yaml:"passes_to"`
}

type findingLine struct{ What, Mended, Rule string }

func readCompany() (company, error) {
	var c company
	d := yaml.NewDecoder(bytes.NewReader(companyFile))
	d.KnownFields(true)
	if err := d.Decode(&c); err != nil {
		return c, fmt.Errorf("company.yaml: %w", err)
	}
	return c, nil
}

type agentLine struct {
	Name, Person, Email string
	Customers           []string
}
