package demo

import (
	"context"
	"encoding/json"
	"strings"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/identity"
)

// found makes the staff, the catalogue, the customers and those who speak for them.
func (h *history) found(ctx context.Context) error {
	h.at = moment(h.first, 8*time.Hour, time.UTC)
	for _, line := range h.company.People {
		if err := h.hire(ctx, line); err != nil {
			return err
		}
	}
	err := h.batch.together(ctx, func(ctx context.Context) error {
		if err := h.fillCatalogue(ctx); err != nil {
			return err
		}
		return h.putCustomers(ctx)
	})
	if err != nil {
		return err
	}
	return h.letIn(ctx)
}

// hire makes a member of the staff, with a certificate if there is one.
func (h *history) hire(ctx context.Context, line personLine) error {
	h.pass(time.Minute)
	p := &person{line: line, validUntil: h.options.LastDay.AddYears(1)}
	if line.RunsOut {
		p.validUntil = h.options.LastDay.AddDays(-45)
	}
	made, _, _, err := h.people.PutPerson(ctx, identity.Program(), identity.Person{PersonID: h.id(), Email: line.Email, Name: line.Name, Role: identity.Role(line.Role), ScopeKind: identity.ScopeAll}, 0, "")
	if err != nil {
		return err
	}
	p.Actor = identity.Actor{PersonID: made.PersonID, Name: made.Name, Role: made.Role, ScopeKind: made.ScopeKind, Units: made.Units, Language: made.Language}
	h.staff[line.Name], h.order = p, append(h.order, p)
	if line.Certificate == "" {
		return nil
	}
	_, _, err = h.people.PutQualification(ctx, identity.Program(), identity.Qualification{PersonID: made.PersonID, QualificationID: h.id(), Scheme: h.company.Scheme, Number: line.Certificate,
		ValidFrom: h.first.AddMonths(-7), ValidUntil: p.validUntil}, "")
	if err != nil {
		return err
	}
	terms := fleet.WorkingTerms{PersonID: made.PersonID, TimeZone: "America/Chicago", Home: *h.near(line.Home, len(h.order)), Weekdays: []int{1, 2, 3, 4, 5}, Regions: []string{line.Region},
		Hours: fleet.DayHours{FromMinute: 7 * 60, ToMinute: 16 * 60}, Break: fleet.DayHours{FromMinute: 12 * 60, ToMinute: 12*60 + 30}}
	if line.Region == "Europe" {
		terms.TimeZone = "Europe/Berlin"
	}
	_, _, err = h.PutWorkingTerms(ctx, h.staff["Marit Osei"].Actor, terms, 0)
	return err
}

// planWeek plans the routes of the week after the last day, and leaves them as a draft.
func (h *history) planWeek(ctx context.Context) error {
	h.at = moment(h.options.LastDay, 4*time.Hour, time.UTC)
	monday := h.options.LastDay
	for monday.Weekday() != time.Monday {
		monday = monday.AddDays(1)
	}
	_, _, err := h.PlanRoutes(ctx, h.staff["Marit Osei"].Actor, h.id(), fleet.RouteAsk{From: monday, AheadDays: 14, Steps: 4_000}.Filled())
	return err
}

// fillCatalogue enters the device models and accessories.
func (h *history) fillCatalogue(ctx context.Context) error {
	support := h.staff["Hanna Szabo"].Actor
	frequency, least := 24.125e9, 0.1
	for _, line := range h.company.Models {
		m := fleet.Model{ModelID: h.id(), Maker: line.Maker, Name: line.Name, Kind: line.Kind, Sensing: line.Sensing}
		if line.Sensing == "radar" {
			m.FrequencyHz, m.LeastSpeedMPS = &frequency, &least
		}
		if line.Senses != nil {
			text, err := json.Marshal(line.Senses)
			if err == nil {
				err = json.Unmarshal(text, &m.Senses)
			}
			if err != nil {
				return err
			}
		}
		if line.Steps != nil {
			text, err := json.Marshal(line.Steps)
			if err == nil {
				err = json.Unmarshal(text, &m.Steps)
			}
			if err != nil {
				return err
			}
		}
		for _, a := range line.Antennas {
			m.Antennas = append(m.Antennas, fleet.Antenna{AntennaID: h.id(), Name: a.Name, AzimuthBeamwidthDeg: a.Azimuth, ElevationBeamwidthDeg: a.Elevation,
				AttenuationLimitDB: fleet.AttenuationLimitDB, BoresightRangeM: a.Range, Source: "invented for the demo"})
		}
		saved, _, err := h.PutModel(ctx, support, m)
		if err != nil {
			return err
		}
		h.models = append(h.models, saved)
	}
	for _, line := range h.company.Accessories {
		saved, _, err := h.PutAccessory(ctx, support, fleet.Accessory{AccessoryID: h.id(), Kind: line.Kind, Name: line.Name,
			Effect: fleet.Effect{OutM: line.Out, CutOffDeg: line.CutOff, EdgeAngleDeg: line.Edge, LossDB: line.Loss}})
		if err != nil {
			return err
		}
		h.accessories = append(h.accessories, saved)
	}
	return nil
}

// model finds a device model by its name.
func (h *history) model(name string) fleet.Model {
	for _, m := range h.models {
		if m.Name == name {
			return m
		}
	}
	panic("company.yaml has no model " + name)
}

// putCustomers enters the customers, their owners and their agents. A third of the owners gave no e-mail address.
func (h *history) putCustomers(ctx context.Context) error {
	for i, line := range h.company.Customers {
		h.pass(time.Minute)
		by := h.dispatcher()
		saved, _, err := h.PutCustomer(ctx, by, fleet.Customer{CustomerID: h.id(), Name: line.Name, Account: line.Account, Note: line.Note}, 0)
		if err != nil {
			return err
		}
		h.customers[line.Name] = saved.CustomerID
		owner := fleet.Party{PartyID: h.id(), Name: line.Name, Telephone: "+1 555 01" + string(rune('0'+i/10)) + string(rune('0'+i%10))}
		if i%3 != 2 {
			owner.Email = "buildings@" + slug(line.Name) + ".example"
		}
		party, _, err := h.PutParty(ctx, by, owner, 0)
		if err != nil {
			return err
		}
		h.owners[line.Name] = party.PartyID
	}
	for _, line := range h.company.Agents {
		party, _, err := h.PutParty(ctx, h.dispatcher(), fleet.Party{PartyID: h.id(), Name: line.Name, Email: line.Email}, 0)
		if err != nil {
			return err
		}
		for _, customer := range line.Customers {
			h.agents[customer] = append(h.agents[customer], party.PartyID)
		}
	}
	return nil
}

// slug turns a name into the name of a host.
func slug(name string) string {
	folded := strings.NewReplacer("ä", "ae", "ö", "oe", "ü", "ue", "ß", "ss", ",", "", ".", "", "'", "").Replace(strings.ToLower(name))
	return strings.Join(strings.Fields(folded), "-")
}

// letIn gives the agents and an auditor their sight.
func (h *history) letIn(ctx context.Context) error {
	for _, line := range h.company.Agents {
		p := identity.Person{PersonID: h.id(), Email: line.Email, Name: line.Person, Role: identity.OwnerAgent, ScopeKind: identity.ScopeCustomers}
		for _, name := range line.Customers {
			p.Customers = append(p.Customers, h.customers[name])
		}
		if _, _, _, err := h.people.PutPerson(ctx, identity.Program(), p, 0, ""); err != nil {
			return err
		}
	}
	until := moment(h.options.LastDay.AddMonths(3), 0, time.UTC)
	_, _, _, err := h.people.PutPerson(ctx, identity.Program(), identity.Person{PersonID: h.id(), Email: h.company.Auditor.Email, Name: h.company.Auditor.Name, Role: identity.Auditor,
		ScopeKind: identity.ScopeCustomers, Customers: []uuid.UUID{h.customers[h.company.Auditor.Customer]}, ExpiresAt: &until}, 0, "")
	return err
}

// certified gives a technician of a region whose certificate is valid on a day.
func (h *history) certified(region string, day duedate.Day) *person {
	var able []*person
	for _, p := range h.order {
		if p.line.Region == region && !day.After(p.validUntil) {
			able = append(able, p)
		}
	}
	return able[h.dice.IntN(len(able))]
}
