package console

import (
	"cmp"
	"context"
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strings"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/rulebook"
	"lintel.example/lintel/internal/words"
)

// doorFormData is the form of a door that is registered, or of what is true of it from now on.
type doorFormData struct {
	New        bool
	DoorID     string
	Name       string // of the door as it is known
	Site       fleet.Site
	Form       form
	Kind       field
	Choices    []field
	Values     []quantityField
	Sides      []sideFields
	Leaves     []leafFields
	MoreLeaves []leafFields // of which most doors have none
	Answers    []field
	Modes      []option
	Packs      []option
}

type sideFields struct {
	Side       string // A, B
	Label      field
	Activation field
	KeptClear  []zoneFields
}

// zoneFields is a rectangle on the floor; Faults are those of the whole of it.
type zoneFields struct {
	What, X0, X1, Y0, Y1 field
	Whole                field
}

type leafFields struct {
	Number  int
	Choices []field
	Values  []quantityField
}

// fewestLeaves is how many leaves a form has room for in sight; the rest is folded away.
const fewestLeaves, mostLeaves, mostZones = 2, 8, 20

// doorUnits are the values of a door, in the order of the form, with their units.
func doorUnits() []struct {
	name, label string
	unit        words.SI
} {
	return []struct {
		name, label string
		unit        words.SI
	}{{"/facts/clear_width_m", "console.door.clear_width", words.Metre}, {"/facts/header_depth_m", "console.door.header_depth", words.Metre},
		{"/facts/opening_time_s", "console.door.opening_time", words.Second}, {"/facts/closing_time_s", "console.door.closing_time", words.Second}}
}

func doorQuantities(d *fleet.DoorFacts) []*fleet.Quantity {
	return []*fleet.Quantity{&d.ClearWidthM, &d.HeaderDepthM, &d.OpeningTimeS, &d.ClosingTimeS}
}

// leafUnits are the values of a leaf.
func leafUnits() []struct {
	name, label string
	unit        words.SI
} {
	return []struct {
		name, label string
		unit        words.SI
	}{{"/width_m", "console.door.width", words.Metre}, {"/height_m", "console.door.height", words.Metre}, {"/mass_kg", "console.door.mass", words.Kilogram}}
}

func leafQuantities(l *fleet.Leaf) []*fleet.Quantity {
	return []*fleet.Quantity{&l.WidthM, &l.HeightM, &l.MassKg}
}

func leafAt(i int) string              { return fmt.Sprintf("/facts/leaves/%d", i) }
func zoneAt(side string, i int) string { return fmt.Sprintf("/facts/side_%s/kept_clear/%d", side, i) }

// doorForm writes what is known of a door into the fields of a form.
func doorForm(d fleet.DoorFacts, texts words.Printer) form {
	f := newForm(map[string]string{"/facts/kind": d.Kind, "/facts/energy": d.Energy, "/facts/traffic": d.Traffic, "/facts/presence_by": d.PresenceBy, "/facts/guide_rails": d.GuideRails,
		"/facts/interlock_group": d.InterlockGroup, "/facts/egress": yesText(d.Egress), "/facts/fire_rated": yesText(d.FireRated), "/facts/interior": yesText(d.Interior), "/facts/vulnerable_users": yesText(d.VulnerableUsers),
		"/facts/rule_basis/pack": d.RuleBasis.PackID, "/facts/rule_basis/since": d.RuleBasis.Since.String(), "/facts/rule_basis/why": d.RuleBasis.Why})
	f.values["/facts/modes"] = d.Modes
	for i, q := range doorQuantities(&d) {
		f.fill(doorUnits()[i].name, *q, doorUnits()[i].unit, texts)
	}
	for i, l := range d.Leaves {
		f.values.Set(leafAt(i)+"/hinge", l.Hinge)
		f.values.Set(leafAt(i)+"/opens_towards", l.OpensTowards)
		for j, q := range leafQuantities(&l) {
			f.fill(leafAt(i)+leafUnits()[j].name, *q, leafUnits()[j].unit, texts)
		}
	}
	for _, side := range []string{"a", "b"} {
		s := d.Side(side)
		f.values.Set("/facts/side_"+side+"/label", s.Label)
		f.values.Set("/facts/side_"+side+"/activation", s.Activation)
		for i, z := range s.KeptClear {
			at := zoneAt(side, i)
			f.values.Set(at+"/what", z.What)
			for name, v := range map[string]float64{"/x0_m": z.X0M, "/x1_m": z.X1M, "/y0_m": z.Y0M, "/y1_m": z.Y1M} {
				f.values.Set(at+name, shownValue(texts, v, words.Metre))
			}
		}
	}
	return f
}

// fill writes a physical value and its basis into a form.
func (f form) fill(name string, q fleet.Quantity, unit words.SI, texts words.Printer) {
	text := ""
	if q.Known() {
		text = shownValue(texts, *q.Value, unit)
	}
	f.values.Set(name, text)
	f.values.Set(name+"/basis", string(q.Basis))
}

// unknownDoor is a door of which nobody has said anything.
func unknownDoor() fleet.DoorFacts {
	d := fleet.DoorFacts{Energy: "unknown", Traffic: "unknown", PresenceBy: "unknown", GuideRails: "unknown", A: fleet.SideFacts{Activation: "unknown"}, B: fleet.SideFacts{Activation: "unknown"}}
	for _, q := range doorQuantities(&d) {
		*q = fleet.UnknownQuantity()
	}
	return d
}

// door reads what the form says of a door; present is what stood in the form. Leaves and zones of which nothing is said
// are none.
func (r *reader) door(present fleet.DoorFacts) fleet.DoorFacts {
	f, d := r.form, unknownDoor()
	d.Kind, d.Energy, d.Traffic, d.PresenceBy, d.GuideRails = r.chosen("/facts/kind"), f.Value("/facts/energy"), f.Value("/facts/traffic"), f.Value("/facts/presence_by"), f.Value("/facts/guide_rails")
	d.InterlockGroup, d.Modes = f.Value("/facts/interlock_group"), f.Values("/facts/modes")
	d.Egress, d.FireRated, d.Interior, d.VulnerableUsers = r.yes("/facts/egress"), r.yes("/facts/fire_rated"), r.yes("/facts/interior"), r.yes("/facts/vulnerable_users")
	d.RuleBasis = fleet.RuleBasis{PackID: f.Value("/facts/rule_basis/pack"), Since: r.day("/facts/rule_basis/since"), Why: f.Value("/facts/rule_basis/why")}
	before := doorQuantities(&present)
	for i, q := range doorQuantities(&d) {
		*q = r.quantity(doorUnits()[i].name, doorUnits()[i].unit, *before[i])
	}
	for i := range mostLeaves {
		if !f.said(leafAt(i)) {
			continue
		}
		was := fleet.Leaf{}
		if i < len(present.Leaves) {
			was = present.Leaves[i]
		}
		d.Leaves = append(d.Leaves, r.leaf(leafAt(i), d.Kind, was))
	}
	d.A, d.B = r.side("a", present.A), r.side("b", present.B)
	return d
}

func (r *reader) leaf(at, kind string, was fleet.Leaf) fleet.Leaf {
	l := fleet.Leaf{Motion: map[string]string{"sliding": "slide", "swinging": "swing", "folding": "fold", "revolving": "revolve"}[kind],
		Hinge: r.form.Value(at + "/hinge"), OpensTowards: cmp.Or(r.form.Value(at+"/opens_towards"), "unknown")}
	if l.Motion == "slide" || l.Motion == "revolve" { // they have no hinge
		l.Hinge = "none"
	}
	if l.Motion == "revolve" {
		l.OpensTowards = "none"
	}
	before := leafQuantities(&was)
	for i, q := range leafQuantities(&l) {
		*q = r.quantity(at+leafUnits()[i].name, leafUnits()[i].unit, *before[i])
	}
	return l
}

func (r *reader) side(side string, was fleet.SideFacts) fleet.SideFacts {
	s := fleet.SideFacts{Label: r.form.Value("/facts/side_" + side + "/label"), Activation: r.form.Value("/facts/side_" + side + "/activation")}
	for i := range mostZones {
		at := zoneAt(side, i)
		if !r.form.said(at) {
			continue
		}
		before := fleet.KeptClearZone{}
		if i < len(was.KeptClear) {
			before = was.KeptClear[i]
		}
		z := fleet.KeptClearZone{What: r.form.Value(at + "/what")}
		for _, one := range []struct {
			name   string
			to     *float64
			before float64
		}{{"/x0_m", &z.X0M, before.X0M}, {"/x1_m", &z.X1M, before.X1M}, {"/y0_m", &z.Y0M, before.Y0M}, {"/y1_m", &z.Y1M, before.Y1M}} {
			switch v := r.value(at+one.name, words.Metre, &one.before); {
			case v != nil:
				*one.to = *v
			case r.form.Value(at+one.name) == "":
				r.faults.Add(at+one.name, "text_missing")
			}
		}
		s.KeptClear = append(s.KeptClear, z)
	}
	return s
}

// said tells whether anything stands in the fields below a prefix; how a value is known says nothing without it, and a hinge
// alone makes no leaf.
func (f form) said(prefix string) bool {
	for name := range f.values {
		if strings.HasPrefix(name, prefix+"/") && !strings.HasSuffix(name, "/basis") && !strings.HasSuffix(name, "/hinge") && f.Value(name) != "" {
			return true
		}
	}
	return false
}

// closed is the form with the leaves and zones moved up over those of which nothing is said, as the use-case counts them.
func (f form) closed() form {
	for list, most := range map[string]int{"/facts/leaves": mostLeaves, "/facts/side_a/kept_clear": mostZones, "/facts/side_b/kept_clear": mostZones} {
		moved, next := url.Values{}, 0
		for i := range most {
			from := fmt.Sprintf("%s/%d", list, i)
			said := f.said(from)
			for name, v := range f.values {
				if rest, ok := strings.CutPrefix(name, from+"/"); ok {
					if said {
						moved[fmt.Sprintf("%s/%d/%s", list, next, rest)] = v
					}
					delete(f.values, name)
				}
			}
			if said {
				next++
			}
		}
		for name, v := range moved {
			f.values[name] = v
		}
	}
	return f
}

func (c *Console) doorNew(ctx context.Context, q *request) (answer, error) {
	f := q.filter()
	site := f.ID("site")
	if err := f.faults.Err(); err != nil {
		return nil, err
	}
	fresh := doorForm(unknownDoor(), q.texts)
	fresh.values.Set("door_id", c.NewID().String())
	fresh.values.Set("/site_id", site.String())
	return c.doorNewPage(ctx, q, fresh, http.StatusOK)
}

func (c *Console) doorNewPage(ctx context.Context, q *request, f form, status int) (answer, error) {
	id, _ := uuid.Parse(f.Value("/site_id"))
	site, err := c.Fleet.Site(ctx, q.by, id)
	if err != nil {
		return nil, err
	}
	return c.doorFormPage(q, doorFormData{New: true, Site: site, Form: f}, status), nil
}

func (c *Console) doorMake(ctx context.Context, q *request) (answer, error) {
	f, err := q.form()
	if err != nil {
		return nil, err
	}
	r := reader{form: &f, texts: q.texts}
	p := fleet.DoorPut{DoorID: r.id("door_id"), SiteID: r.id("/site_id"), Name: f.Value("/name"), Reason: f.Value("/reason"), KnownSince: r.day("/known_since")}
	if text := f.Value("/tag"); text != "" {
		tag, err := fleet.ParseTag(text)
		if err != nil {
			r.at("/tag", err)
		}
		p.Tag = tag
	}
	again := func(f form, status int) (answer, error) { return c.doorNewPage(ctx, q, f, status) }
	site, err := c.Fleet.Site(ctx, q.by, p.SiteID)
	if err != nil {
		return nil, err
	}
	if f.Value("/effective_at") != "" {
		p.EffectiveAt = r.instant("/effective_at", site.Location())
	}
	p.Facts = r.door(unknownDoor())
	if err := r.faults.Err(); err != nil {
		return q.again(f, err, again)
	}
	if _, _, err := c.Fleet.PutDoor(ctx, q.by, p); err != nil {
		return q.again(f.closed(), err, again)
	}
	return seeOther("/doors/" + p.DoorID.String()), nil
}

func (c *Console) doorChange(ctx context.Context, q *request) (answer, error) {
	id, err := q.pathID("door_id")
	if err != nil {
		return nil, err
	}
	return c.doorChangePage(ctx, q, id, form{}, http.StatusOK)
}

func (c *Console) doorChangePage(ctx context.Context, q *request, id uuid.UUID, f form, status int) (answer, error) {
	door, err := c.Fleet.Door(ctx, q.by, id, fleet.AsOf{})
	if err != nil {
		return nil, err
	}
	site, err := c.Fleet.Site(ctx, q.by, door.SiteID)
	if err != nil {
		return nil, err
	}
	if f.values == nil {
		f = doorForm(door.Facts, q.texts)
		f.values.Set("/name", door.Name)
		f.values.Set("version", door.Version.VersionID.String())
	}
	return c.doorFormPage(q, doorFormData{DoorID: id.String(), Name: door.Name, Site: site, Form: f}, status), nil
}

func (c *Console) doorPut(ctx context.Context, q *request) (answer, error) {
	id, f, err := q.formOf("door_id")
	if err != nil {
		return nil, err
	}
	door, err := c.Fleet.Door(ctx, q.by, id, fleet.AsOf{})
	if err != nil {
		return nil, err
	}
	site, err := c.Fleet.Site(ctx, q.by, door.SiteID)
	if err != nil {
		return nil, err
	}
	r := reader{form: &f, texts: q.texts}
	p := fleet.DoorPut{DoorID: id, SiteID: door.SiteID, Name: f.Value("/name"), Reason: f.Value("/reason"), IfMatch: r.id("version"), Facts: r.door(door.Facts)}
	if f.Value("/effective_at") != "" {
		p.EffectiveAt = r.instant("/effective_at", site.Location())
	}
	again := func(f form, status int) (answer, error) { return c.doorChangePage(ctx, q, id, f, status) }
	if err := r.faults.Err(); err != nil {
		return q.again(f, err, again)
	}
	if _, _, err := c.Fleet.PutDoor(ctx, q.by, p); err != nil {
		return q.again(f.closed(), err, again)
	}
	return seeOther("/doors/" + id.String()), nil
}

func (c *Console) doorFormPage(q *request, data doorFormData, status int) answer {
	f, t, w := data.Form, q.texts, writer{q.texts}
	data.Kind = must(choose(w.options("door_kind", t.T("console.choose"), "sliding", "swinging", "folding", "revolving"), f.Field("/facts/kind", t.T("console.doors.kind"))))
	data.Choices = []field{
		choose(w.options("energy", "", "full", "low", "assist", "unknown"), f.Field("/facts/energy", t.T("console.door.energy"))),
		choose(w.options("traffic", "", "one_way_in", "one_way_out", "two_way", "unknown"), f.Field("/facts/traffic", t.T("console.door.traffic"))),
		choose(w.options("presence", "", "overhead_sensor", "beams", "both", "none", "unknown"), f.Field("/facts/presence_by", t.T("console.door.presence"))),
		choose(w.options("guide_rails", "", "fitted", "walls", "none", "unknown"), f.Field("/facts/guide_rails", t.T("console.door.guide_rails"))),
		f.Field("/facts/interlock_group", t.T("console.door.interlock"))}
	for _, u := range doorUnits() {
		data.Values = append(data.Values, quantityOf(f, u.name, t.T(u.label), "", u.unit, t))
	}
	for _, name := range []string{"egress", "fire_rated", "interior", "vulnerable_users"} {
		label := map[string]string{"egress": t.T("console.door.egress"), "fire_rated": t.T("console.door.fire_rated"), "interior": t.T("console.door.interior"), "vulnerable_users": t.T("console.door.vulnerable")}[name]
		data.Answers = append(data.Answers, choose(yesOptions(t), f.Field("/facts/"+name, label)))
	}
	for _, m := range []string{"day", "exit_only", "night_locked", "held_open", "emergency"} {
		data.Modes = append(data.Modes, option{m, t.Enum("mode", m), slices.Contains(f.Values("/facts/modes"), m)})
	}
	data.Packs = []option{{Text: t.T("console.door.rule_basis.open")}}
	for _, p := range c.Fleet.Book.Packs() {
		if p.Role == rulebook.Basis {
			data.Packs = append(data.Packs, option{Value: p.ID, Text: p.Standard + "-" + p.Edition})
		}
	}
	for _, side := range []string{"a", "b"} {
		data.Sides = append(data.Sides, sideOf(f, side, t))
	}
	for i := range mostLeaves {
		leaf := leafOf(f, i, t)
		if i < fewestLeaves || f.said(leafAt(i)) {
			data.Leaves = append(data.Leaves, leaf)
		} else {
			data.MoreLeaves = append(data.MoreLeaves, leaf)
		}
	}
	return page{name: "door-form", status: status, data: data}
}

// quantityOf is the field of a physical value with how it is known; of says whose value it is where several stand on a page.
func quantityOf(f form, name, label, of string, unit words.SI, t words.Printer) quantityField {
	value, basis := bare(f.Field(name, labelled(label, unit, t))), choose(writer{t}.options("basis", "", basisNames()...), f.Field(name+"/basis", t.T("console.basis")))
	value.Unseen, basis.Unseen = of, strings.TrimSpace(label+" "+of)
	return quantityField{value, basis}
}

func leafOf(f form, i int, t words.Printer) leafFields {
	w, of := writer{t}, t.T("console.reading.leaf", "number", i+1)
	towards := choose(w.options("opens_towards", t.T("console.door.leaf.none"), "a", "b", "both", "left", "right", "none", "unknown"), f.Field(leafAt(i)+"/opens_towards", t.T("console.door.opens_towards")))
	if !f.values.Has(leafAt(i) + "/hinge") {
		f.values.Set(leafAt(i)+"/hinge", "unknown")
	}
	hinge := choose(w.options("hinge", "", "left", "right", "none", "unknown"), f.Field(leafAt(i)+"/hinge", t.T("console.door.hinge")))
	towards.Unseen, hinge.Unseen = of, of
	leaf := leafFields{Number: i + 1, Choices: []field{towards, hinge}}
	for _, u := range leafUnits() {
		if !f.values.Has(leafAt(i) + u.name + "/basis") {
			f.values.Set(leafAt(i)+u.name+"/basis", string(fleet.Unknown))
		}
		leaf.Values = append(leaf.Values, quantityOf(f, leafAt(i)+u.name, t.T(u.label), of, u.unit, t))
	}
	return leaf
}

func sideOf(f form, side string, t words.Printer) sideFields {
	upper := strings.ToUpper(side)
	out := sideFields{Side: upper, Label: must(f.Field("/facts/side_"+side+"/label", t.T("console.door.side.label"))),
		Activation: choose(writer{t}.options("activation", "", "sensor", "knowing_act", "both", "none", "unknown"), f.Field("/facts/side_"+side+"/activation", t.T("console.door.side.activation")))}
	rows := 0
	for i := range mostZones {
		if f.said(zoneAt(side, i)) {
			rows = i + 1
		}
	}
	for i := range min(rows+1, mostZones) {
		at, of := zoneAt(side, i), t.T("console.door.zone.of", "number", i+1, "side", upper)
		named := func(name, label string) field {
			one := bare(f.Field(at+name, label))
			one.Unseen = of
			return one
		}
		out.KeptClear = append(out.KeptClear, zoneFields{What: named("/what", t.T("console.door.zone.what")), X0: named("/x0_m", t.T("console.door.zone.x0")), X1: named("/x1_m", t.T("console.door.zone.x1")),
			Y0: named("/y0_m", t.T("console.door.zone.y0")), Y1: named("/y1_m", t.T("console.door.zone.y1")), Whole: f.Field(at, "")})
	}
	return out
}
