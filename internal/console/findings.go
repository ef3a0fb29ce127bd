package console

import (
	"context"
	"net/http"
	"net/url"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/fault"
	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/identity"
	"lintel.example/lintel/internal/seal"
)

// findingLine is a finding as tables show it.
type findingLine struct {
	fleet.Finding
	Presses string   // danger, deferral_over: what a day that has passed has made of it
	Door    doorName // where the table is of more than one
}

func (c *Console) findingLine(f fleet.Finding) findingLine {
	return findingLine{Finding: f, Presses: f.PressesAt(c.Now())}
}

type findingsData struct {
	Filter filter
	Site   fleet.Name // "" for all
	Lines  []findingLine
	More   More
	Times  []fleet.MendTime
}

// findings lists findings, the oldest first, below how long it takes to mend them.
func (c *Console) findings(ctx context.Context, q *request) (answer, error) {
	f := q.filter()
	if !f.values.Has("state") {
		f.values.Set("state", "open")
	}
	query := fleet.FindingQuery{SiteID: f.ID("site"), Severity: f.Value("severity"), State: f.Value("state"), Origin: "visit", Limit: perPage + 1}
	var key instantKey
	f.key(&key)
	if err := f.faults.Err(); err != nil {
		return nil, err
	}
	query.AfterAt, query.AfterID = key.At, key.ID
	list, err := c.Fleet.Findings(ctx, q.by, query)
	if err != nil {
		return nil, err
	}
	var last any
	if len(list) > perPage {
		list = list[:perPage]
		last = instantKey{list[perPage-1].OpenedAt, list[perPage-1].FindingID}
	}
	ids := fleet.Named{Sites: []uuid.UUID{query.SiteID}}
	for _, one := range list {
		ids.Doors = append(ids.Doors, one.DoorID)
	}
	names, err := c.Fleet.Names(ctx, q.by, ids)
	if err != nil {
		return nil, err
	}
	data := findingsData{Filter: f, Site: names[query.SiteID], More: q.more(last)}
	for _, one := range list {
		line := c.findingLine(one)
		line.Door = doorName{one.DoorID, names[one.DoorID]}
		data.Lines = append(data.Lines, line)
	}
	if data.Times, err = c.Fleet.MendTimes(ctx, q.by, fleet.MendTimeQuery{SiteID: query.SiteID}); err != nil {
		return nil, err
	}
	return page{name: "findings", data: data}, nil
}

type shownData struct {
	Door  fleet.Door
	Visit string // at which it is entered; "" from the office
	Form  form
	Open  []fleet.Finding
	Shown *fleet.ShownText // nil: it is still to be chosen what is shown
}

// decisionForm asks on which findings somebody is to decide, and once the text of these has been made shows it and asks
// what they decided.
func (c *Console) decisionForm(ctx context.Context, q *request) (answer, error) {
	door, err := q.pathID("door_id")
	if err != nil {
		return nil, err
	}
	f := q.filter()
	visit := f.ID("visit")
	if err := f.faults.Err(); err != nil {
		return nil, err
	}
	fresh := newForm(map[string]string{"entry_id": c.NewID().String(), "shown": f.Value("shown")})
	if visit != uuid.Nil {
		fresh.values.Set("visit", visit.String())
	}
	return c.decisionPage(ctx, q, door, fresh, http.StatusOK)
}

func (c *Console) decisionPage(ctx context.Context, q *request, id uuid.UUID, f form, status int) (answer, error) {
	door, err := c.Fleet.Door(ctx, q.by, id, fleet.AsOf{})
	if err != nil {
		return nil, err
	}
	data := shownData{Door: door, Form: f, Visit: f.Value("visit")}
	if f.Value("shown") == "" {
		data.Open, err = c.Fleet.Findings(ctx, q.by, fleet.FindingQuery{DoorID: id, State: "open", Origin: "visit", Limit: 200})
		return page{name: "decision", status: status, data: data}, err
	}
	hash, err := seal.ParseHash(f.Value("shown"))
	if err != nil {
		return nil, fault.New(fault.NotFound, "shown_text_not_found")
	}
	shown, err := c.Fleet.ShownText(ctx, q.by, id, hash)
	if err != nil {
		return nil, err
	}
	data.Shown = &shown
	if f.Value("/observed_at") == "" {
		zone, err := c.zoneOfDoor(ctx, q, id)
		if err != nil {
			return nil, err
		}
		f.values.Set("/observed_at", c.Now().In(zone).Format(localTime))
	}
	return page{name: "decision", status: status, data: data}, nil
}

func (c *Console) zoneOfDoor(ctx context.Context, q *request, door uuid.UUID) (*time.Location, error) {
	names, err := c.Fleet.Names(ctx, q.by, fleet.Named{Doors: []uuid.UUID{door}})
	return location(names[door].TimeZone), err
}

// shownTextMake writes what the chosen findings mean, and goes on to where it is shown.
func (c *Console) shownTextMake(ctx context.Context, q *request) (answer, error) {
	door, f, err := q.formOf("door_id")
	if err != nil {
		return nil, err
	}
	r := reader{form: &f, texts: q.texts}
	findings := r.ids("/findings")
	var shown fleet.ShownText
	if err = r.faults.Err(); err == nil {
		shown, err = c.Fleet.MakeShownText(ctx, q.by, door, findings)
	}
	if err != nil {
		return q.again(f, err, func(f form, status int) (answer, error) {
			f.values.Del("shown")
			return c.decisionPage(ctx, q, door, f, status)
		})
	}
	to := url.Values{"shown": {shown.SHA256.String()}}
	if f.Value("visit") != "" {
		to.Set("visit", f.Value("visit"))
	}
	return seeOther("/doors/" + door.String() + "/decisions/new?" + to.Encode()), nil
}

// decisionAdd takes what somebody decided, into a visit or from the office. Capitals are made of the name.
func (c *Console) decisionAdd(ctx context.Context, q *request) (answer, error) {
	door, f, err := q.formOf("door_id")
	if err != nil {
		return nil, err
	}
	zone, err := c.zoneOfDoor(ctx, q, door)
	if err != nil {
		return nil, err
	}
	r := reader{form: &f, texts: q.texts}
	d := fleet.EntryDecision{Decision: r.chosen("/decision/decision"), Outcome: r.chosen("/decision/outcome"), Name: fleet.InCapitals(f.Value("/decision/name")),
		Role: f.Value("/decision/role"), Signature: f.Value("/decision/signature"), Witness: f.Value("/decision/witness"), Until: r.day("/decision/until")}
	body := fleet.EntryBody{DoorID: door, Kind: "decision", ObservedAt: r.instant("/observed_at", zone), Decision: &d}
	entry, visit := r.id("entry_id"), r.optionalID("visit")
	if err = r.faults.Err(); err == nil {
		err = c.decide(ctx, q, f.Value("shown"), visit, entry, body)
	}
	if err != nil {
		return q.again(f, err, func(f form, status int) (answer, error) { return c.decisionPage(ctx, q, door, f, status) })
	}
	if visit != nil {
		return seeOther("/visits/" + visit.String() + "#d-" + door.String()), nil
	}
	return seeOther("/doors/" + door.String() + "#findings"), nil
}

func (c *Console) decide(ctx context.Context, q *request, shown string, visit *uuid.UUID, entry uuid.UUID, body fleet.EntryBody) error {
	hash, err := seal.ParseHash(shown)
	if err != nil {
		return fault.New(fault.NotFound, "shown_text_not_found")
	}
	text, err := c.Fleet.ShownText(ctx, q.by, body.DoorID, hash)
	if err != nil {
		return err
	}
	body.Decision.Findings, body.Decision.ShownSHA256 = text.Findings, hash
	switch {
	case visit == nil:
		_, _, err = c.Fleet.PutFromOffice(ctx, q.by, entry, body)
	case !q.by.May(identity.ActLogVisit):
		err = fault.New(fault.Forbidden, "not_allowed", "action", string(identity.ActLogVisit))
	default:
		_, _, err = c.Fleet.PutEntry(ctx, q.by, *visit, entry, body)
	}
	return err
}

type dismissalData struct {
	Finding fleet.Finding
	Form    form
}

func (c *Console) dismissalForm(ctx context.Context, q *request) (answer, error) {
	id, err := q.pathID("finding_id")
	if err != nil {
		return nil, err
	}
	return c.dismissalPage(ctx, q, id, newForm(map[string]string{"entry_id": c.NewID().String()}), http.StatusOK)
}

func (c *Console) dismissalPage(ctx context.Context, q *request, id uuid.UUID, f form, status int) (answer, error) {
	one, err := c.Fleet.FindingByID(ctx, q.by, id)
	if err == nil && one.Origin == "computed" {
		err = fault.New(fault.NotFound, "finding_not_found")
	}
	return page{name: "dismissal", status: status, data: dismissalData{one, f}}, err
}

// dismissalAdd closes a finding from the office. It counts from now.
func (c *Console) dismissalAdd(ctx context.Context, q *request) (answer, error) {
	id, f, err := q.formOf("finding_id")
	if err != nil {
		return nil, err
	}
	one, err := c.Fleet.FindingByID(ctx, q.by, id)
	if err != nil {
		return nil, err
	}
	r := reader{form: &f, texts: q.texts}
	entry := r.id("entry_id")
	if err = r.faults.Err(); err == nil {
		_, _, err = c.Fleet.PutFromOffice(ctx, q.by, entry, fleet.EntryBody{DoorID: one.DoorID, Kind: "dismissal", ObservedAt: c.Now(),
			Dismissal: &fleet.EntryDismissal{FindingID: id, Reason: f.Value("/dismissal/reason")}})
	}
	if err != nil {
		return q.again(f, err, func(f form, status int) (answer, error) { return c.dismissalPage(ctx, q, id, f, status) })
	}
	return seeOther("/doors/" + one.DoorID.String() + "#findings"), nil
}
