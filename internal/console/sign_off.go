package console

import (
	"context"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/seal"
)

// signOffData is what is signed: what was found of each door, and then every entry.
type signOffData struct {
	visitData
	Form   form
	Signer string
	Walked []walkedDoor
	Seen   []string // the entries that are signed, with their hashes
}

// walkedDoor is a door of the visit as it is signed, station by station.
type walkedDoor struct {
	visitDoor
	Path      string // of the walk round it
	Zone      string
	Stations  []walkedStation
	Changed   []entryLine
	Tested    []fleet.Entry
	Concluded *fleet.Entry
	Findings  []fleet.Finding // of this visit, and whatever else is open
	Wants     []wantLine      // for want of which it cannot be signed as it was concluded
	Later     int             // entries after the conclusion: it does not speak of them
	Correct   string          // where the conclusion is corrected
}

// walkedStation is a station with everything that was read there, or was to be.
type walkedStation struct {
	Title string
	Items []walkedItem
	Left  int // things that may be left empty and were
}

// walkedItem is one thing at one place.
type walkedItem struct {
	Title   string
	Said    []readingLine
	Limits  []string // of what is read itself
	LeftOut *fleet.Entry
	Needed  bool
}

// walkedReading is one reading as a row of its station.
type walkedReading struct {
	readingLine
	Title  string
	Limits []string
	State  readingState
	AsLeft bool // it was read again after something was changed
}

// readingState is what a reading is worth since something was changed.
type readingState struct {
	fleet.FormReading
	Zone string
}

func newWalkedReading(i walkedItem, r readingLine, zone string) walkedReading {
	one := walkedReading{readingLine: r, Title: i.Title, Limits: i.Limits, State: readingState{r.FormReading, zone}}
	for _, before := range i.Said {
		one.AsLeft = one.AsLeft || before.AsFound && !r.AsFound && !r.Stale
	}
	return one
}

// walked gathers what is signed of a door.
func (c *Console) walked(ctx context.Context, q *request, visit uuid.UUID, at visitDoor, zone string) (door walkedDoor, err error) {
	door = walkedDoor{visitDoor: at, Path: inspectPath(visit, at.ID), Zone: zone}
	asked, err := c.Fleet.InspectionForm(ctx, q.by, at.ID, visit)
	if err != nil {
		return door, err
	}
	w := writer{q.texts}
	for _, s := range asked.Stations {
		door.Stations = append(door.Stations, w.walkedStation(asked, s))
	}
	for i := range asked.Entries {
		switch e := asked.Entries[i]; {
		case e.Body.FunctionTest != nil:
			door.Tested = append(door.Tested, e)
		case e.Body.Conclusion != nil:
			door.Concluded = &e
		}
	}
	for _, l := range at.Entries {
		if !l.Corrected && changed(l.Body) {
			door.Changed = append(door.Changed, l)
		}
	}
	list, err := c.Fleet.Findings(ctx, q.by, fleet.FindingQuery{DoorID: at.ID, Limit: 500})
	if err != nil {
		return door, err
	}
	for _, f := range list {
		if f.Origin != "computed" && (f.State == "open" || f.VisitID != nil && *f.VisitID == visit) {
			door.Findings = append(door.Findings, f)
		}
	}
	if door.Concluded == nil {
		return door, nil
	}
	door.Correct = correctPath(*door.Concluded)
	for _, e := range asked.Entries {
		if e.ObservedAt.After(door.Concluded.ObservedAt) {
			door.Later++
		}
	}
	wants, err := c.Fleet.Wanting(ctx, q.by, at.ID, visit)
	door.Wants = w.wantLines(wants, door.Path, zone)
	return door, err
}

// correctPath is where an entry of a visit is corrected.
func correctPath(e fleet.Entry) string {
	return "/visits/" + e.VisitID.String() + "/entries/new?" + url.Values{"door": {e.DoorID.String()}, "kind": {e.Body.Kind}, "corrects": {e.EntryID.String()}, "then": {"inspect"}}.Encode()
}

func (w writer) walkedStation(asked fleet.InspectionForm, s fleet.FormStation) walkedStation {
	station := walkedStation{Title: asked.StationTitle(s, w.Printer)}
	for _, i := range s.Items {
		for _, p := range i.Places {
			one := walkedItem{Title: strings.TrimSpace(fleet.KindTitle(w.Printer, i.Kind) + " " + asked.PlaceTitle(p.Place, s, w.Printer)), LeftOut: p.LeftOut, Needed: i.Needed()}
			for _, r := range i.Rules {
				if said := w.limit(r.Limit); said != "" && r.Rule.Holds(i.Kind) && !slices.Contains(one.Limits, said) {
					one.Limits = append(one.Limits, said)
				}
			}
			for _, r := range p.Entered {
				one.Said = append(one.Said, w.readingLine(asked, i.Kind, r))
			}
			if one.Said == nil && p.LeftOut == nil && !one.Needed && len(i.Rules) > 0 && !p.Covered {
				station.Left++
			}
			if one.Said == nil && p.LeftOut == nil && (!one.Needed || p.Covered) {
				continue
			}
			station.Items = append(station.Items, one)
		}
	}
	return station
}

func (c *Console) signOffForm(ctx context.Context, q *request) (answer, error) {
	id, err := q.pathID("visit_id")
	if err != nil {
		return nil, err
	}
	return c.signOffPage(ctx, q, id, form{}, http.StatusOK)
}

// signOffPage shows what is to be signed: the form carries the hash of every entry that it shows.
func (c *Console) signOffPage(ctx context.Context, q *request, id uuid.UUID, f form, status int) (answer, error) {
	visit, err := c.visitOf(ctx, q, id)
	if err != nil {
		return nil, err
	}
	if f.values == nil {
		now := c.Now().In(location(visit.Site.TimeZone)).Format(localTime)
		f = newForm(map[string]string{"/left_at": now, "signed_at": c.Now().Format(time.RFC3339), "/statement": q.texts.T("console.sign.statement"), "/signature": ""})
	}
	data := signOffData{visitData: visit, Form: f, Signer: q.by.Name}
	for _, d := range visit.Doors {
		door, err := c.walked(ctx, q, id, d, visit.Site.TimeZone)
		if err != nil {
			return nil, err
		}
		data.Walked = append(data.Walked, door)
		for _, e := range d.Entries {
			data.Seen = append(data.Seen, e.EntryID.String()+" "+seal.Hash(e.SHA256).String())
		}
	}
	return page{name: "sign-off", status: status, data: data}, nil
}

func (c *Console) signOff(ctx context.Context, q *request) (answer, error) {
	id, f, err := q.formOf("visit_id")
	if err != nil {
		return nil, err
	}
	v, _, err := c.Fleet.Visit(ctx, q.by, id)
	if err != nil {
		return nil, err
	}
	names, err := c.Fleet.Names(ctx, q.by, fleet.Named{Sites: []uuid.UUID{v.SiteID}})
	if err != nil {
		return nil, err
	}
	r := reader{form: &f, texts: q.texts}
	s := fleet.SignOff{LeftAt: r.instant("/left_at", location(names[v.SiteID].TimeZone)), Statement: f.Value("/statement"), Signature: f.Value("/signature"), Entries: r.seen("/entries")}
	if s.SignedAt, err = time.Parse(time.RFC3339, f.Value("signed_at")); err != nil {
		r.faults.Add("signed_at", "time_unreadable")
	}
	if written := s.Signature; written != "" && !sameName(written, q.by.Name) {
		r.faults.Add("/signature", "signature_of_other", "written", written, "name", q.by.Name)
	}
	if err = r.faults.Err(); err == nil {
		_, _, err = c.Fleet.PutSignOff(ctx, q.by, id, s)
	}
	if err != nil {
		return q.again(f, err, func(f form, status int) (answer, error) { return c.signOffPage(ctx, q, id, f, status) })
	}
	return seeOther("/visits/" + id.String()), nil
}

// sameName tells whether a name was written as the register has it; capitals and spaces do not count.
func sameName(a, b string) bool {
	return strings.EqualFold(strings.Join(strings.Fields(a), " "), strings.Join(strings.Fields(b), " "))
}

// seen reads the entries that were shown when they were signed.
func (r *reader) seen(name string) []fleet.SignedEntry {
	list := []fleet.SignedEntry{}
	for _, text := range r.form.Values(name) {
		idText, hashText, _ := strings.Cut(text, " ")
		id, err := uuid.Parse(idText)
		var hash seal.Hash
		if err == nil {
			err = hash.UnmarshalText([]byte(hashText))
		}
		if err != nil {
			r.faults.Add(name, "id_unreadable")
			continue
		}
		list = append(list, fleet.SignedEntry{EntryID: id, SHA256: hash})
	}
	return list
}
