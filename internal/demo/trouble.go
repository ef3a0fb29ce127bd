package demo

import (
	"cmp"
	"context"
	"slices"
	"strings"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/fleet"
)

// wideAt is where a wide antenna was fitted above the corridor, and later changed.
const wideAt = "Day clinic"

// troubles plans what goes wrong at a site beyond what inspections find.
func (h *history) troubles(line siteLine) {
	if line.PassesTo != "" {
		h.on(moment(h.first.AddMonths(max(20, line.Month+9)), 11*time.Hour, zone(line.Zone)), h.changeHands)
	}
	before := func(months, days int, do func(context.Context) error) {
		h.on(moment(h.options.LastDay.AddMonths(-months).AddDays(-days), 10*time.Hour+30*time.Minute, zone(line.Zone)), do)
	}
	switch line.Name {
	case "Pell Harbor store":
		before(22, 0, h.enterTwice)
		before(8, 3, h.replaceSensor)
	case wideAt:
		before(11, 0, h.changeAntenna)
	case "Infirmary":
		before(5, 1, h.replaceSensor)
	case "Tower One":
		before(3, 2, h.intend)
	case "Tower Two":
		before(0, 9, h.refused)
	case "Haus am Quell":
		before(0, 20, h.unsigned)
	case "Main building":
		before(0, 5, h.callOut)
	}
}

// changeHands puts a site under another customer, with its doors and their history.
func (h *history) changeHands(ctx context.Context) error {
	s := h.site
	by := h.dispatcher()
	present, err := h.Site(ctx, by, s.id)
	if err != nil {
		return err
	}
	day := dayAt(h, s)
	if _, err := h.HandOverSite(ctx, by, fleet.HandOver{SiteID: s.id, CustomerID: h.customers[s.line.PassesTo], Day: day}, present.Version); err != nil {
		return err
	}
	_, _, err = h.PutStanding(ctx, by, fleet.Standing{SiteID: s.id, StandingID: h.id(), PartyID: h.owners[s.line.PassesTo], Role: "owner", FromDay: day}, 0)
	return err
}

// enterTwice registers the main entrance again: whoever did it did not look.
func (h *history) enterTwice(ctx context.Context) error {
	s := h.site
	d := s.doors[0]
	facts := d.facts
	facts.ClosingTimeS, facts.OpeningTimeS = fleet.UnknownQuantity(), fleet.UnknownQuantity()
	tag, err := h.nextTag()
	if err != nil {
		return err
	}
	_, _, err = h.PutDoor(ctx, h.staff["Callum Verhoeven"].Actor, fleet.DoorPut{DoorID: h.id(), SiteID: s.id, Tag: tag, Name: strings.ToUpper(d.name[:1]) + d.name[1:] + " (street)", Facts: facts, EffectiveAt: h.at, Reason: "New in the spreadsheet."})
	return err
}

// changeAntenna gives the sensor above a corridor its narrow antenna, because it opened for people who walked past.
func (h *history) changeAntenna(ctx context.Context) error {
	s := h.site
	for _, d := range s.doors {
		for _, r := range d.radars {
			if r.put.Fitting.Side != "a" || len(d.facts.A.KeptClear) == 0 {
				continue
			}
			who := h.certified(s.region(), dayAt(h, s))
			v, err := h.arrive(ctx, s, who, []*door{d})
			if err != nil {
				return err
			}
			if _, err := v.note(ctx, d, fleet.EntryBody{Kind: "settings", Settings: &fleet.EntrySettings{ComponentID: r.id, Standing: "found", Device: r.device}}); err != nil {
				return err
			}
			narrow := h.narrowOf(*r.put.ModelID)
			r.device.AntennaID = &narrow.AntennaID
			if _, err := v.note(ctx, d, fleet.EntryBody{Kind: "settings", Settings: &fleet.EntrySettings{ComponentID: r.id, Standing: "left", Device: r.device}}); err != nil {
				return err
			}
			v.leave()
			return nil
		}
	}
	return nil
}

// narrowOf is the antenna of a model that sees the least to the sides.
func (h *history) narrowOf(model uuid.UUID) fleet.Antenna {
	i := slices.IndexFunc(h.models, func(m fleet.Model) bool { return m.ModelID == model })
	return slices.MinFunc(h.models[i].Antennas, func(a, b fleet.Antenna) int { return cmp.Compare(a.AzimuthBeamwidthDeg, b.AzimuthBeamwidthDeg) })
}

// replaceSensor takes a dead sensor out and fits another.
func (h *history) replaceSensor(ctx context.Context) error {
	s := h.site
	i := slices.IndexFunc(s.doors, func(d *door) bool { return len(d.radars) > 0 })
	d := s.doors[i]
	dead := d.radars[0]
	gone := dead.put
	gone.Fitting.State, gone.EffectiveAt, gone.Reason, gone.IfMatch = "removed", h.at, "Dead after a thunderstorm.", dead.version
	if _, _, err := h.PutComponent(ctx, h.dispatcher(), gone); err != nil {
		return err
	}
	d.radars = d.radars[1:]
	r, err := h.fitRadar(ctx, d, dead.put.Fitting.Side, "In place of the dead one.")
	if err != nil {
		return err
	}
	return h.set(ctx, d, r, "In place of the dead one.")
}

// intend has support plan other settings than those at the door.
func (h *history) intend(ctx context.Context) error {
	s := h.site
	i := slices.IndexFunc(s.doors, func(d *door) bool { return len(d.radars) > 0 })
	r := s.doors[i].radars[0]
	planned := r.device
	planned.Settings.ReachDB = fleet.Q(-6, fleet.Assumed)
	_, _, err := h.PutRevision(ctx, h.staff["Hanna Szabo"].Actor, fleet.Revision{ComponentID: r.id, RevisionID: h.id(), Standing: "intended", Reason: "The tenant asks for less opening by passers-by.", Device: planned})
	return err
}

// refused is an unsafe door that nobody may take out of service: the owner's man on site refuses.
func (h *history) refused(ctx context.Context) error {
	s := h.site
	d := s.doors[len(s.doors)-1]
	v, err := h.arrive(ctx, s, h.certified(s.region(), dayAt(h, s)), []*door{d})
	if err != nil {
		return err
	}
	if err := v.makeSafe(ctx, d); err != nil {
		return err
	}
	if _, err := v.find(ctx, d, "unsafe", "other_unsafe"); err != nil {
		return err
	}
	yes := true
	if _, err := v.note(ctx, d, fleet.EntryBody{Kind: "securing", Securing: &fleet.EntrySecuring{How: "not_secured", EgressKept: &yes, ToldName: "Dorian Feld", ToldRole: "building manager",
		Answer: "refused", Note: "Wants the door open until the tenants' meeting is over. Told in writing what may happen."}}); err != nil {
		return err
	}
	if err := v.conclude(ctx, d, "other_unsafe", "failed"); err != nil {
		return err
	}
	v.leave()
	return nil
}

// unsigned is the visit of somebody whose certificate has run out: its entries are here, and nobody can sign it.
func (h *history) unsigned(ctx context.Context) error {
	s := h.site
	var who *person
	for _, p := range h.order {
		if p.line.RunsOut {
			who = p
		}
	}
	doors := s.doors[:min(3, len(s.doors))]
	v, err := h.arrive(ctx, s, who, doors)
	if err != nil {
		return err
	}
	for _, d := range doors {
		if err := v.makeSafe(ctx, d); err != nil {
			return err
		}
		if err := v.conclude(ctx, d, "", "passed"); err != nil {
			return err
		}
	}
	return nil
}

// callOut is work that somebody asked for by telephone.
func (h *history) callOut(ctx context.Context) error {
	s := h.site
	_, _, err := h.PutWorkOrder(ctx, h.dispatcher(), fleet.WorkOrder{DoorID: s.doors[0].id, WorkOrderID: h.id(), Kind: "call_out", DueOn: dayAt(h, s).AddDays(8), Note: "The porter says that it stays open in the wind."}, 0)
	return err
}

// dayAt is the present day of the history at a site.
func dayAt(h *history, s *site) duedate.Day { return duedate.DayIn(h.at, s.loc) }
