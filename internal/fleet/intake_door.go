package fleet

import (
	"cmp"
	"context"
	"encoding/json"
	"math"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/rulebook"
	"lintel.example/lintel/internal/sheet"
)

var doorFields = []string{"kind", "energy", "traffic", "leaves", "clear_width_m", "header_depth_m", "leaf_width_m", "leaf_height_m", "leaf_mass_kg", "hinge", "opens", "handing",
	"activation", "activation_a", "activation_b", "label_a", "label_b", "presence_by", "opening_time_s", "closing_time_s", "guide_rails", "egress", "fire_rated", "interior",
	"vulnerable_users", "interlock_group", "rule_pack", "rule_since", "rule_why", "known_since", "last_inspection", "next_due", "interval_months"}

// doorMembers are the members of a door that do not have their field's name.
var doorMembers = map[string]string{"name": "door", "width_m": "leaf_width_m", "height_m": "leaf_height_m", "mass_kg": "leaf_mass_kg", "opens_towards": "opens", "pack": "rule_pack",
	"since": "rule_since", "why": "rule_why", "effective_at": "known_since"}

// takeDoor finds the door that the row names, by its tag, else by its name on its site, or registers it.
func (in *intake) takeDoor(ctx context.Context, s Site, siteKnown bool, door Door, known bool) (Door, bool, error) {
	name := in.text("door")
	switch {
	case !siteKnown:
		in.checkNewDoor(s)
		return Door{}, false, nil
	case !known && name == "":
		in.complain("door", "door_missing")
		return Door{}, false, nil
	case !known:
		doors, err := in.doorsOf(ctx, s.SiteID)
		if err != nil {
			return Door{}, false, err
		}
		same := doors[sheet.Key(name)]
		if len(same) > 1 {
			in.complain("door", "several_doors", "count", len(same))
			return Door{}, false, nil
		}
		if len(same) == 1 {
			if in.text("tag") != "" {
				in.complain("tag", "door_has_other_tag")
				return Door{}, false, nil
			}
			if door, err = in.tx.DoorByID(ctx, same[0].DoorID, AsOf{}); err != nil {
				return Door{}, false, err
			}
			return in.changeDoor(ctx, s, door, door.Name)
		}
		for _, others := range doors {
			if sheet.Near(others[0].Name, name) {
				in.warn("door", "door_near", "name", others[0].Name)
			}
		}
		return in.registerRow(ctx, s, name)
	}
	if name == "" || sheet.Key(name) == sheet.Key(door.Name) {
		name = door.Name
	}
	return in.changeDoor(ctx, s, door, name)
}

// checkNewDoor looks at a door whose site could not be taken, so that what is wrong with the door is heard of too.
func (in *intake) checkNewDoor(s Site) {
	if facts := (DoorFacts{}); in.text("kind") != "" {
		in.newFacts(&facts, s)
	}
}

func (in *intake) doorsOf(ctx context.Context, siteID uuid.UUID) (map[string][]NamedDoor, error) {
	if known, ok := in.doors[siteID]; ok {
		return known, nil
	}
	list, err := in.tx.DoorsOfSite(ctx, siteID)
	if err != nil {
		return nil, err
	}
	known := map[string][]NamedDoor{}
	for _, d := range list {
		known[sheet.Key(d.Name)] = append(known[sheet.Key(d.Name)], d)
	}
	in.doors[siteID] = known
	return known, nil
}

// registerRow registers the door of a row.
func (in *intake) registerRow(ctx context.Context, s Site, name string) (Door, bool, error) {
	p := DoorPut{DoorID: in.fresh(), SiteID: s.SiteID, Name: name, Reason: in.reasonOfRow()}
	if in.text("tag") != "" {
		p.Tag, _ = ParseTag(in.text("tag")) // looked at before
	}
	in.say(p.DoorID, doorFields...)
	since, ok := in.firstKnown(s)
	if !in.newFacts(&p.Facts, s) || !ok {
		return Door{}, false, nil
	}
	p.KnownSince = since
	saved, _, err := in.PutDoor(ctx, in.by, p)
	if err != nil {
		return Door{}, false, in.refused(err, doorMembers)
	}
	in.row.doors = append(in.row.doors, saved)
	return saved, true, in.did("door", saved.DoorID, stateCreated, saved.Version.VersionID.String(), nil)
}

// changeDoor lets what the row says replace what is recorded of a door, and nothing else.
func (in *intake) changeDoor(ctx context.Context, s Site, door Door, name string) (Door, bool, error) {
	in.say(door.DoorID, doorFields...)
	if _, ok := in.firstKnown(s); !ok {
		return Door{}, false, nil
	}
	facts, err := copyOf(door.Facts)
	if err != nil {
		return Door{}, false, err
	}
	if since, said := in.row.Values["known_since"]; said && in.day(since) != door.KnownSince {
		in.warn("known_since", "known_since_kept", "day", door.KnownSince.String())
	}
	if !in.overlayFacts(&facts, s) {
		return Door{}, false, nil
	}
	same, err := sameJSON(facts, door.Facts)
	if err != nil {
		return Door{}, false, err
	}
	if same && name == door.Name {
		return door, true, in.did("door", door.DoorID, stateUnchanged, "", nil)
	}
	saved, _, err := in.PutDoor(ctx, in.by, DoorPut{DoorID: door.DoorID, SiteID: door.SiteID, Name: name, Facts: facts, Reason: in.reasonOfRow(), IfMatch: door.Version.VersionID})
	if err != nil {
		return Door{}, false, in.refused(err, doorMembers)
	}
	return saved, true, in.did("door", door.DoorID, stateUpdated, saved.Version.VersionID.String(), doorBefore{door.Name, door.Facts})
}

func copyOf(facts DoorFacts) (copied DoorFacts, err error) {
	text, err := json.Marshal(facts)
	if err == nil {
		err = json.Unmarshal(text, &copied)
	}
	return copied, err
}

func sameJSON(a, b any) (bool, error) {
	x, err := json.Marshal(a)
	if err != nil {
		return false, err
	}
	y, err := json.Marshal(b)
	return string(x) == string(y), err
}

// reasonOfRow says where a fact came from, with the note that the list has beside it.
func (in *intake) reasonOfRow() string {
	if note := in.text("note"); note != "" {
		return in.reason("import.reason_with_note", "file", in.order.FileName, "row", strconv.Itoa(in.row.Number), "note", note)
	}
	return in.reason("import.reason", "file", in.order.FileName, "row", strconv.Itoa(in.row.Number))
}

// day is the civil date of a value; the zero Day where it is none.
func (in *intake) day(v sheet.Value) duedate.Day {
	day, err := duedate.NewDay(v.Date.Year, time.Month(v.Date.Month), v.Date.Day)
	if err != nil {
		return duedate.Day{}
	}
	return day
}

// firstKnown is the day since when the list knows a door: when it was installed, else its last inspection, else today.
func (in *intake) firstKnown(s Site) (duedate.Day, bool) {
	today := duedate.DayIn(in.Now(), s.Location())
	first, ok := today, true
	for _, field := range []string{"last_inspection", "known_since"} {
		if v, said := in.row.Values[field]; said {
			day := in.day(v)
			if day.After(today) {
				in.complain(field, "date_in_the_future")
				ok = false
			}
			first = day
		}
	}
	return first, ok
}

// newFacts fills the facts of a new door; what the list does not say is unknown. It complains of what no door can be without.
func (in *intake) newFacts(d *DoorFacts, s Site) bool {
	unknown := UnknownQuantity()
	*d = DoorFacts{Energy: "unknown", Traffic: "unknown", PresenceBy: "unknown", GuideRails: "unknown", ClearWidthM: unknown, HeaderDepthM: unknown, OpeningTimeS: unknown,
		ClosingTimeS: unknown, A: SideFacts{Label: sheet.Otherwise("label_a"), Activation: "unknown"}, B: SideFacts{Label: sheet.Otherwise("label_b"), Activation: "unknown"}}
	ok := true
	if in.text("kind") == "" {
		if _, said := in.row.Values["kind"]; !said && !in.complainedOf("kind") {
			in.complain("kind", "kind_missing")
		}
		ok = false
	}
	n := in.leafCount()
	if n == 0 {
		if !in.complainedOf("leaves") {
			in.complain("leaves", "leaves_missing")
		}
		ok = false
	}
	for range n {
		d.Leaves = append(d.Leaves, Leaf{WidthM: unknown, HeightM: unknown, MassKg: unknown})
	}
	ok = in.overlayFacts(d, s) && ok
	if d.RuleBasis.PackID == "" && !in.complainedOf("rule_pack") {
		in.warn("rule_pack", "no_rule_basis")
	}
	return ok
}

// complainedOf tells whether the reading of the list has complained of a field's cell already.
func (in *intake) complainedOf(field string) bool {
	heading := in.about(field, "").Column
	return slices.ContainsFunc(in.list.Complaints, func(c sheet.Complaint) bool { return c.Row == in.row.Number && c.Heading == heading })
}

// leafCount is how many leaves the row says, with a number or by the way the door moves; 0: it does not say.
func (in *intake) leafCount() int {
	if v, said := in.row.Values["leaves"]; said {
		return int(v.Number)
	}
	for _, field := range []string{"kind", "opens"} {
		raw := sheet.Key(in.row.Values[field].Raw)
		switch {
		case strings.Contains(raw, "bi part"), strings.Contains(raw, "biparting"), strings.Contains(raw, "double") && !strings.Contains(raw, "double acting"), strings.Contains(raw, "pair"):
			return 2
		case strings.Contains(raw, "single"):
			return 1
		}
	}
	return 0
}

// overlayFacts lets what the row says replace what is there.
func (in *intake) overlayFacts(d *DoorFacts, s Site) bool {
	ok := true
	for field, member := range map[string]*string{"kind": &d.Kind, "energy": &d.Energy, "traffic": &d.Traffic, "presence_by": &d.PresenceBy, "guide_rails": &d.GuideRails,
		"label_a": &d.A.Label, "label_b": &d.B.Label, "interlock_group": &d.InterlockGroup} {
		in.overlay(member, field)
	}
	in.overlay(&d.A.Activation, "activation")
	in.overlay(&d.B.Activation, "activation")
	in.overlay(&d.A.Activation, "activation_a")
	in.overlay(&d.B.Activation, "activation_b")
	for field, member := range map[string]**bool{"egress": &d.Egress, "fire_rated": &d.FireRated, "interior": &d.Interior, "vulnerable_users": &d.VulnerableUsers} {
		if v, said := in.row.Values[field]; said && (!v.Stated || *member == nil) {
			yes := v.Text == "yes"
			*member = &yes
		}
	}
	for field, member := range map[string]*Quantity{"clear_width_m": &d.ClearWidthM, "header_depth_m": &d.HeaderDepthM, "opening_time_s": &d.OpeningTimeS, "closing_time_s": &d.ClosingTimeS} {
		in.overlayQuantity(field, member)
	}
	if n := in.leafCount(); n > 0 && n != len(d.Leaves) && !in.row.Values["leaves"].Stated {
		in.complain("leaves", "leaves_differ", "count", len(d.Leaves))
		ok = false
	}
	for i := range d.Leaves {
		in.overlayQuantity("leaf_width_m", &d.Leaves[i].WidthM)
		in.overlayQuantity("leaf_height_m", &d.Leaves[i].HeightM)
		in.overlayQuantity("leaf_mass_kg", &d.Leaves[i].MassKg)
	}
	ok = in.hangLeaves(d) && ok
	return in.overlayRuleBasis(d, s) && ok
}

// overlayRuleBasis takes the rules that the list names for a door. What is said for all rows holds for the doors that the
// rules are for, and settles nothing that was settled.
func (in *intake) overlayRuleBasis(d *DoorFacts, s Site) bool {
	text, stated, basis := in.text("rule_pack"), in.row.Values["rule_pack"].Stated, d.RuleBasis
	proposed := sheet.Key(text) == "proposed"
	kind, energy := rulebook.DoorKind(d.Kind), rulebook.Energy(d.Energy)
	switch pack, known := in.Book.Pack(text); {
	case text == "", basis.PackID != "" && (proposed || stated):
	case proposed:
		if pack, known = in.Book.PackFor(kind, energy); known {
			basis.PackID, basis.Why = pack.ID, in.reason("import.rule_proposed", "file", in.order.FileName)
		}
	case !known || pack.Role != rulebook.Basis:
		in.complain("rule_pack", "pack_unknown", "packs", strings.Join(in.packIDs(), ", "))
		return false
	case !stated || pack.IsFor(kind, energy):
		basis.PackID, basis.Why = text, in.reason("import.rule_why", "file", in.order.FileName)
	}
	if basis.PackID == "" {
		return true
	}
	if basis.PackID == d.RuleBasis.PackID {
		basis.Why = d.RuleBasis.Why
	} else {
		basis.Since = duedate.DayIn(in.Now(), s.Location())
		if v, said := in.row.Values["known_since"]; said {
			basis.Since = in.day(v)
		}
	}
	in.overlay(&basis.Why, "rule_why")
	if v, said := in.row.Values["rule_since"]; said && !v.Stated {
		basis.Since = in.day(v)
	}
	d.RuleBasis = basis
	return true
}

func (in *intake) packIDs() []string {
	var ids []string
	for _, p := range in.Book.Packs() {
		if p.Role == rulebook.Basis {
			ids = append(ids, p.ID)
		}
	}
	return ids
}

// overlayQuantity takes a value from paper, unless somebody has measured or seen it, or told it: then that stays, and
// a difference is worth a look.
func (in *intake) overlayQuantity(field string, present *Quantity) {
	v, said := in.row.Values[field]
	if !said {
		return
	}
	if present.Known() {
		if math.Abs(*present.Value-v.Number) < 1e-6 {
			return
		}
		if v.Stated {
			return
		}
		if slices.Index(Bases(), present.Basis) < slices.Index(Bases(), FromPaper) {
			in.warn(field, "value_kept", "value", strconv.FormatFloat(*present.Value, 'f', -1, 64), "basis", string(present.Basis))
			return
		}
	}
	*present = Q(v.Number, FromPaper)
}

// hangLeaves says how each leaf moves, where it is hinged and where it opens to, as far as the row says.
func (in *intake) hangLeaves(d *DoorFacts) bool {
	motion := map[string]string{"sliding": "slide", "swinging": "swing", "folding": "fold", "revolving": "revolve"}[d.Kind]
	hinge, opens := in.text("hinge"), in.text("opens")
	if hand := in.text("handing"); hand != "" { // as seen from outside, side A; reverse opens towards it
		hinge = map[byte]string{'l': "left", 'r': "right"}[hand[0]]
		if motion == "swing" && opens == "" {
			opens = "b"
			if strings.HasSuffix(hand, "hr") && len(hand) == 3 {
				opens = "a"
			}
		}
	}
	if strings.Contains(sheet.Key(in.row.Values["kind"].Raw), "bi part") || strings.Contains(sheet.Key(in.row.Values["kind"].Raw), "biparting") {
		opens = cmp.Or(opens, "both")
	}
	allowed := map[string][]string{"slide": {"left", "right", "both"}, "swing": {"a", "b", "both"}, "fold": {"a", "b", "both"}, "revolve": {}}[motion]
	if opens != "" && motion != "" && motion != "revolve" && !slices.Contains(allowed, opens) {
		in.complain("opens", "opens_not_so", "kind", d.Kind)
		return false
	}
	for i := range d.Leaves {
		l := &d.Leaves[i]
		l.Motion = motion
		switch motion {
		case "revolve":
			l.Hinge, l.OpensTowards = "none", "none"
		case "slide":
			l.Hinge = "none"
			in.keep(&l.OpensTowards, pairedSide(opens, i, len(d.Leaves)), "opens")
		default:
			if len(d.Leaves) == 2 { // a pair meets in the middle: each hangs on its own jamb
				hinge = []string{"left", "right"}[i]
			}
			in.keep(&l.Hinge, hinge, "hinge")
			in.keep(&l.OpensTowards, opens, "opens")
		}
	}
	return true
}

// keep lets what is said replace what was there; what nobody has ever said is unknown.
func (in *intake) keep(present *string, said, field string) {
	if in.row.Values[field].Stated {
		said = cmp.Or(strings.TrimPrefix(*present, "unknown"), said)
	}
	*present = cmp.Or(said, *present, "unknown")
}

// pairedSide is where a sliding leaf goes: of a pair that opens to both sides the first goes left and the second right.
func pairedSide(opens string, i, leaves int) string {
	if opens == "both" && leaves == 2 {
		return []string{"left", "right"}[i]
	}
	return opens
}

// takePlan anchors the inspection plan of a door on what the list says: when it is due next, or was inspected last.
func (in *intake) takePlan(ctx context.Context, door Door) error {
	months := importIntervalMonths
	if v, said := in.row.Values["interval_months"]; said {
		months = int(v.Number)
	}
	var anchor duedate.Day
	field := "next_due"
	if v, said := in.row.Values["next_due"]; said {
		anchor = in.day(v)
	} else if v, said := in.row.Values["last_inspection"]; said {
		field, anchor = "last_inspection", in.day(v).AddMonths(months)
	}
	plans, err := in.tx.PlansOfDoor(ctx, door.DoorID)
	if err != nil {
		return err
	}
	i := slices.IndexFunc(plans, func(p Plan) bool { return p.Active && p.Purpose == Inspection })
	switch {
	case anchor.IsZero() && i < 0:
		if _, known := in.row.states[door.DoorID]; known && in.row.states[door.DoorID].what == stateCreated {
			in.warn("last_inspection", "no_plan")
		}
		return nil
	case anchor.IsZero():
		return nil
	}
	p := Plan{DoorID: door.DoorID, PlanID: in.fresh(), IntervalMonths: months, Regime: duedate.Anniversary, ToleranceDays: min(importToleranceDays, 14*months),
		LeadDays: min(importLeadDays, 14*months), AnchorOn: anchor, Active: true}
	if i < 0 {
		saved, _, err := in.PutPlan(ctx, in.by, p, 0)
		if err != nil {
			return in.softly(in.refused(err, map[string]string{"anchor_on": field}))
		}
		return in.did("plan", saved.PlanID, stateCreated, strconv.Itoa(saved.Version), nil)
	}
	was := plans[i]
	changed := was
	if v, said := in.row.Values["interval_months"]; said && !v.Stated {
		changed.IntervalMonths = months
	}
	if in.row.Values[field].Stated {
		anchor = was.AnchorOn
	}
	if anchor.After(was.AnchorOn) && anchor.After(was.NextDue) {
		changed.AnchorOn = anchor
	} else if anchor != was.AnchorOn {
		in.warn(field, "plan_kept", "day", was.NextDue.String())
	}
	if reflect.DeepEqual(changed, was) {
		return in.did("plan", was.PlanID, stateUnchanged, "", nil)
	}
	saved, _, err := in.PutPlan(ctx, in.by, changed, was.Version)
	if err != nil {
		return in.softly(in.refused(err, map[string]string{"anchor_on": field}))
	}
	return in.did("plan", was.PlanID, stateUpdated, strconv.Itoa(saved.Version), was)
}

// takeParts finds or registers the components that the row speaks of.
func (in *intake) takeParts(ctx context.Context, door Door) error {
	parts := in.row.Parts()
	if len(parts) == 0 {
		return nil
	}
	present, err := in.tx.ComponentsOfDoor(ctx, door.DoorID, AsOf{})
	if err != nil {
		return err
	}
	for _, part := range parts {
		if err := in.takePart(ctx, door, present, part); err != nil {
			return err
		}
	}
	return nil
}

// partField is the field of what is said of a part.
func partField(part sheet.Part, what string) string {
	return map[bool]string{true: "component." + what, false: part.Kind + "." + part.Place + "." + what}[part.Values["kind"].Raw != "" || part.Values["side"].Raw != "" || part.Kind == ""]
}

func (in *intake) takePart(ctx context.Context, door Door, present []Component, part sheet.Part) error {
	model := strings.TrimSpace(part.Values["maker"].Text + " " + part.Values["model"].Text)
	serial := part.Values["serial"].Text
	if slices.Contains([]string{"none", "no", "nil", "keine", "without"}, sheet.Key(model)) && serial == "" {
		return nil // the list says that there is none
	}
	if slices.Contains([]string{"yes", "x"}, sheet.Key(model)) {
		model = "" // there is one, and that is all
	}
	if part.Kind == "" {
		in.complain("component.kind", "part_kind_missing")
		return nil
	}
	side, ok := in.sideOf(part)
	if !ok {
		return nil
	}
	same := in.samePart(present, part.Kind, side, model, serial)
	switch {
	case same >= 0:
		c := present[same]
		in.row.matched[c.ComponentID] = true
		if model != "" && !in.isModel(c, model) {
			in.warn(partField(part, "model"), "part_model_kept", "model", in.modelOf(c))
		}
		if err := in.did("component", c.ComponentID, stateUnchanged, "", nil); err != nil {
			return err
		}
		return in.takeMount(ctx, c, part)
	case in.isOther(present, part.Kind, side):
		in.complain(partField(part, "model"), "part_differs", "kind", part.Kind)
		return nil
	case model == "" && serial == "":
		in.complain(partField(part, "model"), "part_model_missing", "kind", part.Kind)
		return nil
	case model == "": // a serial number says that it is there; the rest can be seen at the door
		model = in.reason("import.model_unknown")
		in.warn(partField(part, "serial"), "part_model_unknown")
	}
	p := ComponentPut{ComponentID: in.fresh(), DoorID: door.DoorID, Kind: part.Kind, ModelText: model, Serial: serial, Reason: in.reasonOfRow(),
		Fitting: Fitting{State: "fitted", Side: side, Input: "unknown", Contact: "unknown"}}
	if list := slices.DeleteFunc(slices.Clone(in.models[sheet.Key(model)]), func(m Model) bool { return m.Kind != part.Kind }); len(list) == 1 {
		p.ModelID, p.ModelText = &list[0].ModelID, ""
	}
	if until, said := part.Values["warranty"]; said {
		p.WarrantyUntil = in.day(until)
	}
	c, _, err := in.PutComponent(ctx, in.by, p)
	if err != nil {
		return in.softly(in.refused(err, map[string]string{"model_text": partField(part, "model"), "serial": partField(part, "serial"), "effective_at": "known_since"}))
	}
	in.row.matched[c.ComponentID] = true
	if err := in.did("component", c.ComponentID, stateCreated, c.Version.VersionID.String(), nil); err != nil {
		return err
	}
	return in.takeMount(ctx, c, part)
}

// sideOf is where a component sits. What senses or opens sits on a side, and the list must say on which.
func (in *intake) sideOf(part sheet.Part) (side string, ok bool) {
	side = part.Values["side"].Text
	if part.Place == "a" || part.Place == "b" {
		side = part.Place
	}
	if side == "" && slices.Contains([]string{"sensor", "activation", "safety_device"}, part.Kind) {
		in.complain(partField(part, "side"), "part_side_missing", "kind", part.Kind)
		return "", false
	}
	if side == "" {
		side = "none"
	}
	return side, true
}

// samePart finds the component that is meant: by its serial number, else by kind and place, and the model if the row says one.
func (in *intake) samePart(present []Component, kind, side, model, serial string) int {
	free := func(c Component) bool {
		return c.Kind == kind && c.Fitting.State == "fitted" && !in.row.matched[c.ComponentID]
	}
	if serial != "" {
		return slices.IndexFunc(present, func(c Component) bool { return free(c) && sheet.Key(c.Serial) == sheet.Key(serial) })
	}
	return slices.IndexFunc(present, func(c Component) bool {
		return free(c) && c.Fitting.Side == side && (model == "" || in.isModel(c, model))
	})
}

// isModel tells whether a list may call a component's model so: by maker and name, or by the name alone.
func (in *intake) isModel(c Component, model string) bool {
	if c.ModelID == nil {
		return sheet.Key(c.ModelText) == sheet.Key(model)
	}
	return slices.ContainsFunc(in.models[sheet.Key(model)], func(m Model) bool { return m.ModelID == *c.ModelID })
}

// modelOf names the model of a component as a list would.
func (in *intake) modelOf(c Component) string {
	if c.ModelID == nil {
		return c.ModelText
	}
	m := in.tx.models[*c.ModelID]
	return m.Maker + " " + m.Name
}

// isOther tells whether another component of the kind was there before, at the place that the row speaks of.
func (in *intake) isOther(present []Component, kind, side string) bool {
	return slices.ContainsFunc(present, func(c Component) bool {
		return c.Kind == kind && c.Fitting.State == "fitted" && c.Fitting.Side == side && !in.row.matched[c.ComponentID] && in.states[c.ComponentID].what != stateCreated
	})
}

// takeMount records the height at which the list says that a device is mounted; everything else about it stays as it is.
func (in *intake) takeMount(ctx context.Context, c Component, part sheet.Part) error {
	v, said := part.Values["height"]
	if !said {
		return nil
	}
	if !slices.Contains([]string{"sensor", "activation", "safety_device"}, c.Kind) {
		in.warn(partField(part, "height"), "height_not_kept", "kind", c.Kind)
		return nil
	}
	unknown := UnknownQuantity()
	device := DeviceFacts{Mount: MountFacts{unknown, unknown, unknown, unknown, unknown}, Accessories: []uuid.UUID{},
		Settings: Settings{ReachDB: unknown, MotionDirection: "unknown", ConfirmTravelMM: unknown, OutputHoldS: unknown, OutputContact: "unknown"}}
	present, err := in.tx.PresentRevisions(ctx, c.DoorID, AsOf{})
	if err != nil {
		return err
	}
	if i := slices.IndexFunc(present, func(r Revision) bool { return r.ComponentID == c.ComponentID }); i >= 0 {
		device = present[i].Device
	}
	was := device.Mount.HeightM
	field := partField(part, "height")
	in.row.Values[field] = v
	in.overlayQuantity(field, &device.Mount.HeightM)
	if was.Known() && *was.Value == *device.Mount.HeightM.Value {
		return nil
	}
	r, _, err := in.PutRevision(ctx, in.by, Revision{RevisionID: in.fresh(), ComponentID: c.ComponentID, Standing: "found", Reason: in.reasonOfRow(), Device: device})
	if err != nil {
		return in.softly(in.refused(err, map[string]string{"height_m": field}))
	}
	return in.did("revision", r.RevisionID, stateCreated, r.RevisionID.String(), nil)
}
