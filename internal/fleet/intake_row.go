package fleet

import (
	"context"
	"encoding/json"
	"fmt"
	"maps"
	"slices"
	"strconv"
	"strings"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/fault"
	"lintel.example/lintel/internal/identity"
	"lintel.example/lintel/internal/sheet"
)

// What an import gives a door's inspection plan where the list does not say: common practice, no source.
const (
	importIntervalMonths = 12
	importToleranceDays  = 30
	importLeadDays       = 30
)

// intake takes the rows of a list one by one. What belongs to a row alone is in row, and joins the rest when the row was good.
type intake struct {
	*Fleet // the use-cases, on the import's transaction
	tx     *intakeTx
	by     identity.Actor
	order  ImportOrder
	list   sheet.List

	customers map[string][]Customer // by key of the name; all there are
	sites     map[uuid.UUID]map[string][]Site
	doors     map[uuid.UUID]map[string][]NamedDoor // by site
	models    map[string][]Model                   // by key of maker and name, and of the name alone

	later      map[uuid.UUID]bool
	said       map[string]saying // what earlier rows said of the same thing
	items      []ImportItem
	itemOf     map[uuid.UUID]int // place in items
	states     map[uuid.UUID]state
	complaints []ImportComplaint
	warnings   []ImportComplaint
	bad        map[int]bool

	row *rowIntake
}

// state is what an import did to one thing.
type state struct {
	kind string
	what int // unchanged, updated, created
}

const (
	stateUnchanged = iota
	stateUpdated
	stateCreated
)

type saying struct {
	row  int
	text string
}

// rowIntake is what one row does.
type rowIntake struct {
	sheet.Row
	said       map[string]saying
	items      []ImportItem
	states     map[uuid.UUID]state
	complaints []ImportComplaint
	warnings   []ImportComplaint
	customers  []Customer // made by this row
	sites      []Site
	doors      []Door
	matched    map[uuid.UUID]bool // components that a part of this row is
}

// errBadRow takes back what a bad row did; its complaints say why.
var errBadRow = fault.New(fault.Invalid, "import_row_bad")

func newIntake(f *Fleet, tx Tx, by identity.Actor, o ImportOrder, list sheet.List, oneByOne bool) *intake {
	late := newIntakeTx(tx, oneByOne)
	for _, row := range list.Rows {
		if tag, err := ParseTag(row.Values["tag"].Text); err == nil {
			late.tags[tag] = true
		}
	}
	in := &intake{Fleet: f.within(late), tx: late, by: by, order: o, list: list, sites: map[uuid.UUID]map[string][]Site{}, doors: map[uuid.UUID]map[string][]NamedDoor{},
		later: map[uuid.UUID]bool{}, said: map[string]saying{}, itemOf: map[uuid.UUID]int{}, states: map[uuid.UUID]state{}, bad: map[int]bool{}}
	for _, c := range list.Complaints {
		in.complaints = append(in.complaints, ImportComplaint{Row: c.Row, Column: c.Heading, Value: c.Value, Code: c.Code, Args: c.Args})
		in.bad[c.Row] = true
	}
	return in
}

// fresh makes an id of a thing that is not there yet.
func (in *intake) fresh() uuid.UUID {
	id := in.NewID()
	in.tx.fresh[id] = true
	return id
}

// takeRows does every row, each to its end or not at all, and what follows from them.
func (in *intake) takeRows(ctx context.Context) error {
	if err := in.lookAround(ctx); err != nil {
		return err
	}
	all := 2 * len(in.list.Rows)
	for i, row := range in.list.Rows {
		if err := in.takeRow(ctx, row); err != nil {
			return fmt.Errorf("row %d: %w", row.Number, err)
		}
		in.progress(i+1, all)
	}
	// The recomputing of all doors in the end: a door may stand in many rows.
	done, doors := 0, len(in.later)
	in.tx.ending = true
	for _, id := range sortedIDs(in.later) {
		if err := in.recompute(ctx, in.tx, in.by, id); err != nil {
			return err
		}
		done++
		in.progress(len(in.list.Rows)+done*len(in.list.Rows)/doors, all)
	}
	return in.tx.SendKept(ctx)
}

func (in *intake) progress(done, all int) {
	if in.order.Progress != nil {
		in.order.Progress(done, all)
	}
}

func sortedIDs(set map[uuid.UUID]bool) []uuid.UUID {
	list := make([]uuid.UUID, 0, len(set))
	for id := range set {
		list = append(list, id)
	}
	slices.SortFunc(list, func(a, b uuid.UUID) int { return strings.Compare(string(a[:]), string(b[:])) })
	return list
}

func (in *intake) lookAround(ctx context.Context) error {
	list, err := in.tx.AllCustomers(ctx)
	if err != nil {
		return err
	}
	in.customers = map[string][]Customer{}
	for _, c := range list {
		in.customers[sheet.Key(c.Name)] = append(in.customers[sheet.Key(c.Name)], c)
	}
	if err := in.tx.lookForTags(ctx, slices.Collect(maps.Keys(in.tx.tags))); err != nil {
		return err
	}
	in.models = map[string][]Model{}
	for q := (ModelQuery{Limit: 200}); ; {
		page, err := in.tx.ModelPage(ctx, q)
		if err != nil {
			return err
		}
		for _, m := range page {
			in.tx.models[m.ModelID] = m
			for _, key := range []string{sheet.Key(m.Maker + " " + m.Name), sheet.Key(m.Name)} {
				in.models[key] = append(in.models[key], m)
			}
			q.AfterMaker, q.AfterName = m.Maker, m.Name
		}
		if len(page) < q.Limit {
			return nil
		}
	}
}

// takeRow does one row within a savepoint. A row that could not be read to the end is tried too: so everything that is
// wrong with it is heard of at once; it is taken back in any case.
func (in *intake) takeRow(ctx context.Context, row sheet.Row) error {
	in.row = &rowIntake{Row: row, said: map[string]saying{}, states: map[uuid.UUID]state{}, matched: map[uuid.UUID]bool{}}
	in.tx.later, in.tx.forget = map[uuid.UUID]bool{}, nil
	err := in.tx.Savepoint(ctx, func(ctx context.Context) error {
		if err := in.apply(ctx); err != nil {
			return err
		}
		if row.Bad || len(in.row.complaints) > 0 {
			return errBadRow
		}
		return nil
	})
	switch faults := fault.Of(err); {
	case err == nil:
		in.keepRow()
		return nil
	case len(faults) == 0, slices.ContainsFunc(faults, func(f *fault.Error) bool { return f.Kind == fault.Unavailable || f.Code == "import_changes_too_many" }):
		return err
	}
	if !fault.Is(err, errBadRow.Code) { // the database refused it, for what somebody else has just done
		_ = in.refused(err, doorMembers)
	}
	in.tx.unlearn()
	in.bad[row.Number] = true
	in.complaints = append(in.complaints, in.row.complaints...)
	return nil
}

// keepRow lets what a good row did join the rest.
func (in *intake) keepRow() {
	r := in.row
	for key, s := range r.said {
		if _, earlier := in.said[key]; !earlier {
			in.said[key] = s
		}
	}
	for id := range in.tx.later {
		in.later[id] = true
	}
	for _, item := range r.items {
		in.keepItem(item)
	}
	for id, s := range r.states {
		if s.what >= in.states[id].what {
			in.states[id] = s
		}
	}
	for _, c := range r.customers {
		in.customers[sheet.Key(c.Name)] = append(in.customers[sheet.Key(c.Name)], c)
	}
	for _, s := range r.sites {
		known := in.sites[s.CustomerID]
		known[sheet.Key(s.Name)] = append(known[sheet.Key(s.Name)], s)
	}
	for _, d := range r.doors {
		known := in.doors[d.SiteID]
		known[sheet.Key(d.Name)] = append(known[sheet.Key(d.Name)], NamedDoor{d.DoorID, d.Name})
	}
	in.warnings = append(in.warnings, r.warnings...)
}

// keepItem joins what several rows did to one thing: made stays made, the oldest state before is the one to put back.
func (in *intake) keepItem(item ImportItem) {
	i, known := in.itemOf[item.SubjectID]
	if !known {
		in.itemOf[item.SubjectID] = len(in.items)
		in.items = append(in.items, item)
		return
	}
	in.items[i].Versions = append(in.items[i].Versions, item.Versions...)
}

func (in *intake) summary() ImportSummary {
	s := ImportSummary{Format: in.list.Format, Encoding: in.list.Encoding, Separator: in.list.Separator, Sheet: in.list.Sheet, HeadingRow: in.list.HeadingRow,
		Columns: in.list.Columns, Rows: len(in.list.Rows), BadRows: len(in.bad), Counts: map[string]ImportCount{}, Complaints: in.complaints, Warnings: in.warnings,
		Notes: in.list.Notes, Mapping: in.list.Mapping}
	for _, st := range in.states {
		c := s.Counts[st.kind]
		switch st.what {
		case stateCreated:
			c.Created++
		case stateUpdated:
			c.Updated++
		default:
			c.Unchanged++
		}
		s.Counts[st.kind] = c
	}
	slices.SortStableFunc(s.Complaints, func(a, b ImportComplaint) int { return a.Row - b.Row })
	return s
}

// Steps of a row.

// apply does what a row says, from the customer down. A complaint about one thing does not keep the others from being looked at.
func (in *intake) apply(ctx context.Context) error {
	door, found, err := in.doorByTag(ctx)
	if err != nil {
		return err
	}
	site, ok, err := in.takeSite(ctx, door, found)
	if err != nil {
		return err
	}
	if ok {
		if err := in.takeParty(ctx, site); err != nil {
			return err
		}
	}
	if !in.aboutDoors() {
		return nil
	}
	door, ok, err = in.takeDoor(ctx, site, ok, door, found)
	if err != nil || !ok {
		return err
	}
	if err := in.takeParts(ctx, door); err != nil {
		return err
	}
	return in.takePlan(ctx, door)
}

// aboutDoors tells a list of doors from one of customers and sites.
func (in *intake) aboutDoors() bool {
	return slices.ContainsFunc(in.list.Columns, func(t sheet.Taken) bool {
		return slices.Contains([]string{"door", "tag", "kind", "leaf_height_m", "clear_width_m", "last_inspection", "next_due"}, t.Field)
	})
}

// complain keeps what is wrong with a field of the row.
func (in *intake) complain(field, code string, args ...any) {
	in.row.complaints = append(in.row.complaints, in.about(field, code, args...))
}

// warn keeps what is worth a look, once: of both leaves the same.
func (in *intake) warn(field, code string, args ...any) {
	w := in.about(field, code, args...)
	if !slices.ContainsFunc(in.row.warnings, func(o ImportComplaint) bool {
		return o.Column == w.Column && o.Code == w.Code && fmt.Sprint(o.Args) == fmt.Sprint(w.Args)
	}) {
		in.row.warnings = append(in.row.warnings, w)
	}
}

// about names the cell of a field: its column's heading, or the field where there is no such column.
func (in *intake) about(field, code string, args ...any) ImportComplaint {
	c := ImportComplaint{Row: in.row.Number, Column: field, Code: code, Args: args}
	for _, t := range in.list.Columns {
		if t.Field == field {
			c.Column = t.Heading
		}
	}
	if v, ok := in.row.Values[field]; ok {
		c.Column, c.Value = v.Heading, shortened(v.Raw)
	}
	return c
}

func shortened(text string) string {
	text = strings.Join(strings.Fields(text), " ")
	if r := []rune(text); len(r) > 60 {
		return string(r[:59]) + "…"
	}
	return text
}

// refused turns the faults that a use-case found into complaints about the cells they came from. Any other error stays one.
func (in *intake) refused(err error, fields map[string]string) error {
	faults := fault.Of(err)
	if err == nil || len(faults) == 0 {
		return err
	}
	for _, f := range faults {
		if f.Kind == fault.Unavailable || f.Kind == fault.TooLarge {
			return err
		}
		c := in.about(fieldOf(f.Pointer, fields), f.Code, f.Args...)
		c.Fault = true
		if !slices.ContainsFunc(in.row.complaints, func(o ImportComplaint) bool { return o.Column == c.Column && o.Code == c.Code }) { // of each leaf the same
			in.row.complaints = append(in.row.complaints, c)
		}
	}
	return errBadRow
}

// fieldOf finds the field that a pointer's member came from: its own name, unless fields has another.
func fieldOf(pointer string, fields map[string]string) string {
	parts := strings.Split(pointer, "/")
	for _, part := range slices.Backward(parts) {
		if field, ok := fields[part]; ok {
			return field
		}
	}
	for _, part := range slices.Backward(parts) {
		if slices.Contains(sheet.Names(), part) {
			return part
		}
	}
	return ""
}

func (in *intake) text(field string) string { return in.row.Values[field].Text }

// say keeps what the row says of a thing, and complains where an earlier row said otherwise: which of the two is right
// nobody here knows.
func (in *intake) say(id uuid.UUID, fields ...string) {
	for _, field := range fields {
		v, ok := in.row.Values[field]
		if !ok || v.Stated {
			continue
		}
		key, text := id.String()+field, v.Text+v.Date.String()+strconv.FormatFloat(v.Number, 'g', 10, 64)
		if earlier, said := in.said[key]; said && sheet.Key(earlier.text) != sheet.Key(text) {
			in.complain(field, "contradicts", "row", earlier.row)
		}
		in.row.said[key] = saying{in.row.Number, text}
	}
}

// did keeps what was done to a thing, for the counts and for undoing it. before is nil of a thing that was made.
func (in *intake) did(kind string, id uuid.UUID, what int, version string, before any) error {
	if s, ok := in.row.states[id]; !ok || what > s.what {
		in.row.states[id] = state{kind, what}
	}
	if what == stateUnchanged {
		return nil
	}
	item := ImportItem{Row: in.row.Number, Kind: kind, SubjectID: id, Made: what == stateCreated, Versions: []string{version}}
	if before != nil {
		var err error
		if item.Before, err = json.Marshal(before); err != nil {
			return err
		}
	}
	in.row.items = append(in.row.items, item)
	return nil
}

// doorByTag finds the door whose tag the row gives.
func (in *intake) doorByTag(ctx context.Context) (Door, bool, error) {
	if in.text("tag") == "" {
		return Door{}, false, nil
	}
	tag, err := ParseTag(in.text("tag"))
	if err != nil {
		return Door{}, false, in.softly(in.refused(err, map[string]string{"": "tag"}))
	}
	d, err := in.tx.DoorByTag(ctx, tag, AsOf{})
	if fault.Is(err, "door_not_found") {
		return Door{}, false, nil
	}
	return d, err == nil, err
}

// takeCustomer finds the customer that the row names, or makes it.
func (in *intake) takeCustomer(ctx context.Context) (c Customer, ok bool, err error) {
	name := in.text("customer")
	if name == "" {
		in.complain("customer", "customer_missing")
		return Customer{}, false, nil
	}
	same := in.customers[sheet.Key(name)]
	if len(same) > 1 {
		in.complain("customer", "several_customers", "count", len(same))
		return Customer{}, false, nil
	}
	present := len(same) == 1
	c = Customer{CustomerID: in.fresh(), Name: name}
	if present {
		if c, err = in.tx.CustomerByID(ctx, same[0].CustomerID); err != nil {
			return c, false, err
		}
	} else {
		for _, others := range in.customers {
			if sheet.Near(others[0].Name, name) {
				in.warn("customer", "customer_near", "name", others[0].Name)
			}
		}
	}
	in.say(c.CustomerID, "customer_account", "customer_note")
	was := c
	in.overlay(&c.Account, "customer_account")
	in.overlay(&c.Note, "customer_note")
	if present && c == was {
		return c, true, in.did("customer", c.CustomerID, stateUnchanged, "", nil)
	}
	saved, _, err := in.PutCustomer(ctx, in.by, c, was.Version)
	if err != nil {
		return c, false, in.softly(in.refused(err, map[string]string{"name": "customer", "account": "customer_account", "note": "customer_note"}))
	}
	if present {
		return saved, true, in.did("customer", c.CustomerID, stateUpdated, strconv.Itoa(saved.Version), was)
	}
	in.row.customers = append(in.row.customers, saved)
	return saved, true, in.did("customer", c.CustomerID, stateCreated, strconv.Itoa(saved.Version), nil)
}

// overlay lets what the row says replace what was there; what is said for all rows fills what nobody knew.
func (in *intake) overlay(present *string, field string) {
	v := in.row.Values[field]
	if v.Text != "" && (!v.Stated || *present == "" || *present == "unknown") {
		*present = v.Text
	}
}

var siteFields = []string{"address", "city", "region", "postal_code", "country", "jurisdiction", "time_zone", "opening_hours", "access_notes"}

// takeSite finds the site that the row names within its customer, or makes it. A door that is known says its site itself.
func (in *intake) takeSite(ctx context.Context, door Door, known bool) (s Site, ok bool, err error) {
	name := in.text("site")
	if name == "" {
		name = in.text("address") // many lists have no other name for a place
	}
	if known && name == "" && in.text("customer") == "" {
		s, err = in.tx.SiteByID(ctx, door.SiteID)
		return s, err == nil, err
	}
	c, ok, err := in.takeCustomer(ctx)
	if err != nil || !ok {
		return Site{}, false, err
	}
	if name == "" {
		if in.aboutDoors() {
			in.complain("site", "site_missing")
		}
		return Site{}, false, nil
	}
	sites, err := in.sitesOf(ctx, c.CustomerID)
	if err != nil {
		return Site{}, false, err
	}
	same := sites[sheet.Key(name)]
	if len(same) > 1 {
		in.complain("site", "several_sites", "count", len(same))
		return Site{}, false, nil
	}
	present := len(same) == 1
	s = Site{CustomerID: c.CustomerID, SiteID: in.fresh(), Name: name}
	if present {
		if s, err = in.tx.SiteByID(ctx, same[0].SiteID); err != nil {
			return s, false, err
		}
	} else {
		in.warnOfNearSites(name, sites)
	}
	if known && s.SiteID != door.SiteID {
		in.complain("tag", "door_on_other_site")
		return Site{}, false, nil
	}
	in.say(s.SiteID, siteFields...)
	was := s
	for field, member := range map[string]*string{"address": &s.Address, "city": &s.City, "region": &s.Region, "postal_code": &s.PostalCode, "country": &s.Country,
		"jurisdiction": &s.Jurisdiction, "time_zone": &s.TimeZone, "opening_hours": &s.OpeningHours, "access_notes": &s.AccessNotes} { // in any order: none looks at another
		in.overlay(member, field)
	}
	if present && s.same(was) {
		return s, true, in.did("site", s.SiteID, stateUnchanged, "", nil)
	}
	if s.Country == "" {
		s.Country, _, _ = strings.Cut(s.Jurisdiction, "-")
	}
	if s.Jurisdiction == "" {
		s.Jurisdiction = s.Country
		if whose := s.Country + "-" + strings.ToUpper(s.Region); jurisdictionOf(whose, s.Country) {
			s.Jurisdiction = whose
		}
	}
	for _, must := range []struct{ field, value string }{{"country", s.Country}, {"time_zone", s.TimeZone}} {
		if must.value == "" {
			in.complain(must.field, must.field+"_missing")
			ok = false
		}
	}
	if !ok {
		return s, false, nil
	}
	saved, _, err := in.PutSite(ctx, in.by, s, was.Version)
	if err != nil {
		return s, false, in.softly(in.refused(err, map[string]string{"name": "site"}))
	}
	if present {
		return saved, true, in.did("site", s.SiteID, stateUpdated, strconv.Itoa(saved.Version), was)
	}
	in.row.sites = append(in.row.sites, saved)
	return saved, true, in.did("site", s.SiteID, stateCreated, strconv.Itoa(saved.Version), nil)
}

func (in *intake) sitesOf(ctx context.Context, customerID uuid.UUID) (map[string][]Site, error) {
	if known, ok := in.sites[customerID]; ok {
		return known, nil
	}
	list, err := in.tx.SitesOfCustomer(ctx, customerID)
	if err != nil {
		return nil, err
	}
	known := map[string][]Site{}
	for _, s := range list {
		known[sheet.Key(s.Name)] = append(known[sheet.Key(s.Name)], s)
	}
	in.sites[customerID] = known
	return known, nil
}

// warnOfNearSites looks for a site that may be the same under another name or at nearly the same address.
func (in *intake) warnOfNearSites(name string, sites map[string][]Site) {
	address := in.text("address")
	for _, others := range sites {
		for _, o := range others {
			switch {
			case sheet.Near(o.Name, name):
				in.warn("site", "site_near", "name", o.Name)
			case address != "" && o.Address != "" && (sheet.Key(o.Address) == sheet.Key(address) || sheet.Near(o.Address, address)) && sheet.Key(o.City) == sheet.Key(in.text("city")):
				in.warn("site", "site_same_address", "name", o.Name)
			}
		}
	}
}

// takeParty finds or makes the party that the row names and what it is to the site.
func (in *intake) takeParty(ctx context.Context, s Site) error {
	name, email := in.text("party"), in.text("party_email")
	if name == "" {
		name = email // many lists know no more of somebody
	}
	if name == "" {
		return nil
	}
	role := in.text("party_role")
	if role == "" {
		role, _ = sheet.Word("party_role", in.row.Values["party"].Heading)
	}
	if role == "" {
		in.complain("party_role", "party_role_missing")
		return nil
	}
	list, err := in.tx.PartiesNamed(ctx, name, s.CustomerID, email)
	if err != nil {
		return err
	}
	i := slices.IndexFunc(list, func(p Party) bool { return email == "" || p.Email == "" || strings.EqualFold(p.Email, email) })
	p := Party{PartyID: in.NewID(), Name: name}
	if i >= 0 {
		p = list[i]
	}
	in.say(p.PartyID, "party_email", "party_telephone", "party_note")
	was := p
	in.overlay(&p.Email, "party_email")
	in.overlay(&p.Telephone, "party_telephone")
	in.overlay(&p.Note, "party_note")
	if i >= 0 && p == was {
		err = in.did("party", p.PartyID, stateUnchanged, "", nil)
	} else {
		saved, _, putErr := in.PutParty(ctx, in.by, p, was.Version)
		if putErr != nil {
			return in.softly(in.refused(putErr, map[string]string{"name": "party", "email": "party_email", "telephone": "party_telephone", "note": "party_note"}))
		}
		if i >= 0 {
			err = in.did("party", p.PartyID, stateUpdated, strconv.Itoa(saved.Version), was)
		} else {
			err = in.did("party", p.PartyID, stateCreated, strconv.Itoa(saved.Version), nil)
		}
	}
	if err != nil {
		return err
	}
	return in.takeStanding(ctx, s, p, role)
}

// softly lets the rest of a row be looked at after something in it was refused.
func (in *intake) softly(err error) error {
	if err == errBadRow {
		return nil
	}
	return err
}

func (in *intake) takeStanding(ctx context.Context, s Site, p Party, role string) error {
	today := duedate.DayIn(in.Now(), s.Location())
	standings, err := in.tx.StandingPage(ctx, StandingQuery{SiteID: s.SiteID, OnDay: today, Limit: 1000})
	if err != nil {
		return err
	}
	for _, st := range standings {
		if st.PartyID == p.PartyID && st.Role == role {
			return in.did("standing", st.StandingID, stateUnchanged, "", nil)
		}
	}
	st, _, err := in.PutStanding(ctx, in.by, Standing{SiteID: s.SiteID, StandingID: in.NewID(), PartyID: p.PartyID, Role: role, FromDay: today}, 0)
	if err != nil {
		return in.softly(in.refused(err, map[string]string{"role": "party_role"}))
	}
	return in.did("standing", st.StandingID, stateCreated, strconv.Itoa(st.Version), nil)
}
