package console

import (
	"cmp"
	"context"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/fault"
	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/rulebook"
	"lintel.example/lintel/internal/words"
)

// entryRoute may bring the record of a gauge.
const entryRoute = "POST /visits/{visit_id}/entries"

type entryData struct {
	Visit    uuid.UUID
	Door     doorName
	Kind     string
	Form     form
	Corrects bool
	Readings []readingField
	Leaves   []option // where it was read
	Sides    []option
	Rules    []option // finding: of the packs that judge the door
	Findings []option // mending: those that can be mended; finding: the computed ones that can be confirmed
	Devices  []option // settings: of which device
	Fields   *deviceFields
	Answers  []option   // yes or no
	Names    []option   // left_out: what was not read
	Gauges   []option   // force_course: what it was recorded with
	Walk     *walkData  // walk_test: what it would say; nil: not asked for
	Back     string     // where it goes on afterwards
	Wants    []wantLine // conclusion: what a passed one would still want
}

// readingField is one thing that can be read at a door.
type readingField struct {
	Field  field
	ID     string // of the entry that it would be
	IDFor  string // the name of the field of that id
	Chosen bool   // its answer is one of some
}

func (c *Console) entryForm(ctx context.Context, q *request) (answer, error) {
	visit, err := q.pathID("visit_id")
	if err != nil {
		return nil, err
	}
	f := q.filter()
	door, corrects, component := f.ID("door"), f.ID("corrects"), f.ID("component")
	if err := f.faults.Err(); err != nil {
		return nil, err
	}
	kind := f.Value("kind")
	if !slices.Contains(entryKinds(), kind) {
		return nil, fault.New(fault.NotFound, "route_not_found")
	}
	fresh := newForm(map[string]string{"entry_id": c.NewID().String(), "/door_id": door.String(), "/kind": kind, "then": f.Value("then")})
	if corrects != uuid.Nil {
		fresh.values.Set("/corrects", corrects.String())
		if err := c.correct(ctx, q, visit, corrects, fresh); err != nil {
			return nil, err
		}
	}
	if kind == "finding" { // as a rule proposes it
		for _, name := range []string{"rule", "severity", "what"} {
			if corrects == uuid.Nil {
				fresh.values.Set("/finding/"+name, f.Value(name))
			}
		}
	}
	if component != uuid.Nil {
		fresh.values.Set("/settings/component_id", component.String())
		fresh.values.Set("/walk_test/component_id", component.String())
	}
	kinds, err := c.kinds(ctx, q, fresh)
	if err != nil {
		return nil, err
	}
	for _, k := range kinds {
		fresh.values.Set("id/"+k.Name, c.NewID().String())
	}
	return c.entryPage(ctx, q, visit, fresh, http.StatusOK)
}

// kinds are what can be entered by hand: the rulebook's readings, and of a correction the company's question that was answered. Other
// questions are answered on the walk, where they apply.
func (c *Console) kinds(ctx context.Context, q *request, f form) ([]rulebook.ReadingKind, error) {
	kinds := rulebook.Readings()
	question := f.Value("/reading/question")
	if question == "" {
		return kinds, nil
	}
	for name := range f.values {
		if own, is := strings.CutPrefix(name, "/reading/"); is && rulebook.IsOwn(own) {
			kind, asked, err := c.Fleet.OwnReading(ctx, q.by, own, question)
			if err != nil {
				return nil, err
			}
			if asked {
				kinds = append(kinds, kind)
			}
		}
	}
	return kinds, nil
}

// correct fills a form with the entry that is to be corrected.
func (c *Console) correct(ctx context.Context, q *request, visit, id uuid.UUID, f form) error {
	_, entries, err := c.Fleet.Visit(ctx, q.by, visit)
	if err != nil {
		return err
	}
	i := slices.IndexFunc(entries, func(e fleet.Entry) bool { return e.EntryID == id })
	if i < 0 {
		return fault.New(fault.NotFound, "entry_not_found")
	}
	b := entries[i].Body
	switch {
	case b.Reading != nil:
		text := cmp.Or(yesText(b.Reading.Yes), b.Reading.Text)
		if b.Reading.Value != nil {
			text = writer{q.texts}.readValue(*b.Reading.Value, unitOf(rulebook.NameNow(b.Reading.Name)))
		}
		f.values.Set("/reading/"+b.Reading.Name, text)
		f.values.Set("/reading/question", b.Reading.Question)
		f.values.Set("/reading/side", b.Reading.Side)
		if b.Reading.Leaf > 0 {
			f.values.Set("/reading/leaf", strconv.Itoa(b.Reading.Leaf))
		}
	case b.ForceCourse != nil:
		c := b.ForceCourse
		if c.GapM != nil {
			f.values.Set("/force_course/gap_m", writer{q.texts}.fine(*c.GapM))
		}
		if c.UncertaintyN != nil {
			f.values.Set("/force_course/uncertainty_n", shownValue(q.texts, *c.UncertaintyN, "N"))
		}
		if c.InstrumentID != nil {
			f.values.Set("/force_course/instrument_id", c.InstrumentID.String())
		}
		if c.Leaf > 0 {
			f.values.Set("/force_course/leaf", strconv.Itoa(c.Leaf))
		}
	case b.Positions != nil:
		fillPositions(f, *b.Positions, q.texts)
	case b.WalkTest != nil:
		fillWalkTest(f, *b.WalkTest, q.texts)
	case b.Finding != nil:
		f.values.Set("/finding/severity", b.Finding.Severity)
		f.values.Set("/finding/what", b.Finding.What)
		f.values.Set("/finding/rule", b.Finding.Rule)
		if !b.Finding.SafeUntil.IsZero() {
			f.values.Set("/finding/safe_until", b.Finding.SafeUntil.String())
		}
	case b.Securing != nil:
		s := b.Securing
		for name, text := range map[string]string{"how": s.How, "other_exit": s.OtherExit, "egress_kept": yesText(s.EgressKept), "told_name": s.ToldName, "told_role": s.ToldRole, "answer": s.Answer, "note": s.Note} {
			f.values.Set("/securing/"+name, text)
		}
	case b.Mending != nil:
		f.values.Set("/mending/finding_id", b.Mending.FindingID.String())
		f.values.Set("/mending/what", b.Mending.What)
		fillTouched(f, "/mending/touched", b.Mending.Touched)
	case b.Conclusion != nil:
		f.values.Set("/conclusion/result", b.Conclusion.Result)
		f.values.Set("/conclusion/note", b.Conclusion.Note)
	case b.Note != nil:
		f.values.Set("/note/text", b.Note.Text)
	case b.SafeWork != nil:
		s := b.SafeWork
		for name, text := range map[string]string{"traffic": s.Traffic, "power": s.Power, "power_why": s.PowerWhy, "ladder": s.Ladder, "second_person": s.SecondPerson, "second_person_why": s.SecondPersonWhy,
			"stopped": s.Stopped, "note": s.Note} {
			f.values.Set("/safe_work/"+name, text)
		}
	case b.LeftOut != nil:
		l := b.LeftOut
		for name, text := range map[string]string{"name": rulebook.NameNow(l.Name), "question": l.Question, "side": l.Side, "reason": l.Reason, "why": l.Why} {
			f.values.Set("/left_out/"+name, text)
		}
		if l.Leaf > 0 {
			f.values.Set("/left_out/leaf", strconv.Itoa(l.Leaf))
		}
	case b.Adjustment != nil:
		f.values.Set("/adjustment/what", b.Adjustment.What)
		fillTouched(f, "/adjustment/touched", b.Adjustment.Touched)
	case b.FunctionTest != nil:
		t := b.FunctionTest
		for name, text := range map[string]string{"activation": t.Activation, "presence": t.Presence, "contact": t.Contact, "by_hand": t.ByHand, "modes": t.Modes, "latching": t.Latching,
			"free_of_noise": t.FreeOfNoise, "note": t.Note} {
			f.values.Set("/function_test/"+name, text)
		}
	case b.Settings != nil:
		f.values.Set("/settings/component_id", b.Settings.ComponentID.String())
		f.values.Set("/settings/standing", b.Settings.Standing)
		fillDevice(f, "/settings/device", b.Settings.Device, q.texts)
	}
	return nil
}

func fillTouched(f form, name string, touched []rulebook.Group) {
	for _, g := range touched {
		f.values.Add(name, string(g))
	}
}

func unitOf(reading string) words.SI {
	return words.SI(rulebook.UnitOf(reading))
}

func (c *Console) entryPage(ctx context.Context, q *request, visit uuid.UUID, f form, status int) (answer, error) {
	id, _ := uuid.Parse(f.Value("/door_id"))
	door, err := c.Fleet.Door(ctx, q.by, id, fleet.AsOf{})
	if err != nil {
		return nil, err
	}
	if f.Value("/observed_at") == "" {
		names, err := c.Fleet.Names(ctx, q.by, fleet.Named{Doors: []uuid.UUID{id}})
		if err != nil {
			return nil, err
		}
		f.values.Set("/observed_at", c.Now().In(location(names[id].TimeZone)).Format(localTime))
	}
	data := entryData{Visit: visit, Door: doorName{id, fleet.Name{Text: door.Name, Tag: door.Tag}}, Kind: f.Value("/kind"), Form: f, Corrects: f.Value("/corrects") != "",
		Answers: yesOptions(q.texts), Back: afterEntry(f, visit, id)}
	data.Leaves = []option{{Text: q.texts.T("console.reading.door")}}
	for i := range door.Facts.Leaves {
		data.Leaves = append(data.Leaves, option{Value: strconv.Itoa(i + 1), Text: q.texts.T("console.reading.leaf", "number", i+1)})
	}
	data.Sides = []option{{Text: q.texts.T("console.reading.sides")}, {Value: "a", Text: q.texts.T("console.reading.side", "side", "A", "label", door.Facts.A.Label)},
		{Value: "b", Text: q.texts.T("console.reading.side", "side", "B", "label", door.Facts.B.Label)}}
	switch data.Kind {
	case "positions":
		data.Sides[0].Text = q.texts.T("console.choose")
	case "force_course":
		var list []fleet.Instrument
		list, err = c.instruments(ctx, q, true)
		data.Gauges = []option{{Text: q.texts.T("console.inspect.with.none")}}
		for _, o := range (writer{q.texts}).instrumentOptions(list, nil)["N"] {
			data.Gauges = append(data.Gauges, o.option)
		}
	case "reading":
		var kinds []rulebook.ReadingKind
		kinds, err = c.kinds(ctx, q, f)
		data.Readings = readingFields(f, q.texts, kinds, data.Corrects)
	case "left_out":
		data.Names = []option{{Text: q.texts.T("console.choose")}}
		for _, k := range rulebook.Readings() {
			data.Names = append(data.Names, option{Value: k.Name, Text: q.texts.T(k.TitleKey())})
		}
		if question := f.Value("/left_out/question"); question != "" {
			data.Names = append(data.Names, option{Value: f.Value("/left_out/name"), Text: question})
		}
	case "finding", "mending":
		err = c.entryFindings(ctx, q, id, &data)
	case "settings", "walk_test":
		err = c.entryDevice(ctx, q, id, &data)
	case "conclusion":
		var wants []fleet.Want
		var zone *time.Location
		if zone, err = c.zoneOfDoor(ctx, q, id); err != nil {
			return nil, err
		}
		wants, err = c.Fleet.WantingToPass(ctx, q.by, id, visit)
		data.Wants = writer{q.texts}.wantLines(wants, inspectPath(visit, id), zone.String())
	}
	if err != nil {
		return nil, err
	}
	return page{name: "entry", status: status, data: data}, nil
}

// readingFields are the readings that can be entered; of a correction only the one that is corrected.
func readingFields(f form, t words.Printer, kinds []rulebook.ReadingKind, correction bool) (list []readingField) {
	for _, k := range kinds {
		name := "/reading/" + k.Name
		if correction && !f.values.Has(name) {
			continue
		}
		one := readingField{ID: f.Value("id/" + k.Name), IDFor: "id/" + k.Name, Chosen: k.Kind == rulebook.YesNo || k.Kind == rulebook.Choice}
		title := fleet.KindTitle(t, k)
		switch k.Kind {
		case rulebook.YesNo:
			one.Field = choose(append([]option{{Text: t.T("console.reading.not_taken")}}, yesOptions(t)[1:]...), f.Field(name, title))
		case rulebook.Choice:
			one.Field = choose(choicesOf(t, k), f.Field(name, title))
		case rulebook.Text:
			one.Field = bare(f.Field(name, title))
		default:
			one.Field = bare(f.Field(name, labelled(title, typedIn(t, k), t)))
		}
		list = append(list, one)
	}
	return list
}

func (c *Console) entryFindings(ctx context.Context, q *request, door uuid.UUID, data *entryData) error {
	origin := map[string]string{"finding": "computed", "mending": "visit"}[data.Kind]
	list, err := c.Fleet.Findings(ctx, q.by, fleet.FindingQuery{DoorID: door, State: "open", Origin: origin, Limit: 200})
	data.Findings = []option{{Text: q.texts.T("console.choose")}}
	if data.Kind == "finding" {
		data.Findings = []option{{Text: q.texts.T("console.none")}}
		asked, err := c.Fleet.InspectionForm(ctx, q.by, door, uuid.Nil)
		if err != nil {
			return err
		}
		data.Rules = []option{{Text: q.texts.T("console.entry.finding.no_rule")}}
		for _, r := range asked.Rules() {
			data.Rules = append(data.Rules, option{Value: r.Rule.ID, Text: r.Rule.Title + " (" + r.Pack.Standard + ")"})
		}
		if chosen := data.Form.Value("/finding/rule"); chosen != "" && !slices.ContainsFunc(data.Rules, func(o option) bool { return o.Value == chosen }) {
			data.Rules = append(data.Rules, option{Value: chosen, Text: chosen})
		}
	}
	for _, f := range list {
		data.Findings = append(data.Findings, option{Value: f.FindingID.String(), Text: q.texts.Enum("severity", f.Severity) + ": " + writer{q.texts}.finding(f)})
	}
	return err
}

// entryDevice gives the devices of the door to choose from, or the fields of the one that was chosen.
func (c *Console) entryDevice(ctx context.Context, q *request, door uuid.UUID, data *entryData) error {
	components, err := c.Fleet.Components(ctx, q.by, door, fleet.AsOf{})
	if err != nil {
		return err
	}
	var ids fleet.Named
	for _, one := range components {
		ids.Components = append(ids.Components, one.ComponentID)
	}
	names, err := c.Fleet.Names(ctx, q.by, ids)
	if err != nil {
		return err
	}
	chosen := data.Form.Value("/" + data.Kind + "/component_id")
	for _, one := range components {
		if one.Fitting.State != "fitted" || one.Kind != "sensor" && one.Kind != "safety_device" {
			continue
		}
		data.Devices = append(data.Devices, option{Value: one.ComponentID.String(), Chosen: one.ComponentID.String() == chosen,
			Text: writer{q.texts}.named(names, one.ComponentID) + ", " + q.texts.Enum("side", one.Fitting.Side)})
		if one.ComponentID.String() != chosen || data.Kind == "walk_test" {
			continue
		}
		if !data.Form.values.Has("/settings/device/mount/height_m") {
			present, err := c.presentDevice(ctx, q, one.ComponentID)
			if err != nil {
				return err
			}
			data.Form.values.Set("/settings/standing", "found")
			fillDevice(data.Form, "/settings/device", present, q.texts)
		}
		fields, err := c.deviceFields(ctx, q, data.Form, "/settings/device", one, fewestAccessories)
		if err != nil {
			return err
		}
		data.Fields = &fields
	}
	return nil
}

// entryAdd takes what was entered: one entry, or one for each reading that was taken.
func (c *Console) entryAdd(ctx context.Context, q *request) (answer, error) {
	visit, err := q.pathID("visit_id")
	if err != nil {
		return nil, err
	}
	f, record, err := q.formWithFile("/force_course/csv")
	if err != nil {
		return nil, err
	}
	r := reader{form: &f, texts: q.texts}
	body := fleet.EntryBody{DoorID: r.id("/door_id"), Kind: f.Value("/kind"), Corrects: r.optionalID("/corrects"), Because: f.Value("/because")}
	names, err := c.Fleet.Names(ctx, q.by, fleet.Named{Doors: []uuid.UUID{body.DoorID}})
	if err != nil {
		return nil, err
	}
	body.ObservedAt = r.instant("/observed_at", location(names[body.DoorID].TimeZone))
	if body.Kind == "force_course" {
		if body.ForceCourse, err = c.forceCourseOf(ctx, q, &r, visit, body.Corrects, record); err != nil {
			return nil, err
		}
	}
	entries, err := c.entriesOf(ctx, q, &r, body)
	if err != nil {
		return nil, err
	}
	again := func(f form, status int) (answer, error) { return c.entryPage(ctx, q, visit, f, status) }
	if err := r.faults.Err(); err != nil {
		return q.again(f, err, again)
	}
	if body.Kind == "walk_test" && f.Value("do") == "preview" {
		return c.walkPreview(ctx, q, visit, f, *entries[0].body.WalkTest, again)
	}
	filled := fleet.FilledForm{At: body.ObservedAt}
	for _, e := range entries {
		filled.Entries = append(filled.Entries, fleet.FilledEntry{ID: e.id, Body: e.body})
	}
	if _, err := c.Fleet.PutFilledForm(ctx, q.by, body.DoorID, visit, filled); err != nil {
		return q.again(f, atFields(err, filled, fieldOfPage), again)
	}
	return seeOther(afterEntry(f, visit, body.DoorID)), nil
}

// forceCourseOf reads a force course; one that corrects another has the series of that one unless a new file comes with it.
func (c *Console) forceCourseOf(ctx context.Context, q *request, r *reader, visit uuid.UUID, corrects *uuid.UUID, record []byte) (*fleet.EntryForceCourse, error) {
	if len(record) == 0 && corrects != nil {
		wrong, err := c.Fleet.RecordedForce(ctx, q.by, visit, *corrects)
		if err != nil {
			return nil, err
		}
		record = []byte(wrong.CSV)
	}
	if len(record) == 0 {
		r.faults.Add("/force_course/csv", "force_file_none")
	}
	return &fleet.EntryForceCourse{CSV: string(record), Leaf: r.whichLeaf("/force_course/leaf"), GapM: r.value("/force_course/gap_m", words.Metre, nil),
		UncertaintyN: r.value("/force_course/uncertainty_n", "N", nil), InstrumentID: r.optionalID("/force_course/instrument_id")}, nil
}

// afterEntry is where it goes on after an entry: at the visit's door, or on the walk round it.
func afterEntry(f form, visit, door uuid.UUID) string {
	if f.Value("then") == "inspect" {
		return inspectPath(visit, door) + "#" + onWalk(f)
	}
	return "/visits/" + visit.String() + "#d-" + door.String()
}

// onWalk is the place on the walk round a door where an entry stands.
func onWalk(f form) string {
	switch {
	case f.Value("/kind") == "force_course":
		return "s-" + string(rulebook.Closing)
	case f.Value("/positions/zone") == string(rulebook.PresenceZone):
		return "s-" + string(rulebook.Doorway)
	case f.Value("/positions/zone") == string(rulebook.ActivationZone):
		return "s-" + string(rulebook.Approach) + "-" + f.Value("/positions/side")
	}
	for _, k := range rulebook.Readings() {
		if f.Value("/reading/"+k.Name) == "" && f.Value("/left_out/name") != k.Name {
			continue
		}
		s := fleet.FormStation{Station: k.Station}
		if k.Station == rulebook.Approach {
			s.Side = rulebook.Side(f.Value("/reading/side") + f.Value("/left_out/side"))
		}
		return "s-" + stationKey(s)
	}
	if slices.Contains(inspectionSteps(), f.Value("/kind")) {
		return "k-" + f.Value("/kind")
	}
	return "k-function_test" // where everything stands that was found and changed
}

// entry is a piece as the form makes it.
type entry struct {
	id   uuid.UUID
	body fleet.EntryBody
}

func (c *Console) entriesOf(ctx context.Context, q *request, r *reader, body fleet.EntryBody) ([]entry, error) {
	f := r.form
	switch body.Kind {
	case "reading":
		kinds, err := c.kinds(ctx, q, *f)
		return r.readings(kinds, body), err
	case "finding":
		body.Finding = &fleet.EntryFinding{Severity: r.chosen("/finding/severity"), What: f.Value("/finding/what"), Rule: f.Value("/finding/rule"), Confirms: r.optionalID("/finding/confirms"),
			SafeUntil: r.day("/finding/safe_until")}
	case "positions":
		body.Positions = r.positions()
	case "walk_test":
		body.WalkTest = r.walkTest()
	case "securing":
		body.Securing = &fleet.EntrySecuring{How: r.chosen("/securing/how"), OtherExit: f.Value("/securing/other_exit"), EgressKept: r.yes("/securing/egress_kept"),
			ToldName: f.Value("/securing/told_name"), ToldRole: f.Value("/securing/told_role"), Answer: r.chosen("/securing/answer"), Note: f.Value("/securing/note")}
	case "mending":
		body.Mending = &fleet.EntryMending{FindingID: r.id("/mending/finding_id"), What: f.Value("/mending/what"), Touched: r.touched("/mending/touched")}
	case "conclusion":
		body.Conclusion = r.conclusion()
	case "safe_work":
		body.SafeWork = r.safeWork()
	case "left_out":
		body.LeftOut = &fleet.EntryLeftOut{Name: r.chosen("/left_out/name"), Leaf: r.whichLeaf("/left_out/leaf"), Side: f.Value("/left_out/side"), Reason: r.chosen("/left_out/reason"), Why: f.Value("/left_out/why")}
		if rulebook.IsOwn(body.LeftOut.Name) {
			body.LeftOut.Question = f.Value("/left_out/question")
		}
	case "adjustment":
		body.Adjustment = &fleet.EntryAdjustment{What: f.Value("/adjustment/what"), Touched: r.touched("/adjustment/touched")}
	case "function_test":
		body.FunctionTest = r.functionTest()
	case "note":
		body.Note = &fleet.EntryNote{Text: f.Value("/note/text")}
	case "settings":
		component := r.id("/settings/component_id")
		present, err := c.presentDevice(ctx, q, component)
		if err != nil {
			return nil, err
		}
		body.Settings = &fleet.EntrySettings{ComponentID: component, Standing: f.Value("/settings/standing"), Device: r.device("/settings/device", present)}
	}
	return []entry{{r.id("entry_id"), body}}, nil
}

// safeWork reads how the work place was made safe.
func (r *reader) safeWork() *fleet.EntrySafeWork {
	f := r.form
	return &fleet.EntrySafeWork{Traffic: r.chosen("/safe_work/traffic"), Power: r.chosen("/safe_work/power"), PowerWhy: f.Value("/safe_work/power_why"), Ladder: r.chosen("/safe_work/ladder"),
		SecondPerson: r.chosen("/safe_work/second_person"), SecondPersonWhy: f.Value("/safe_work/second_person_why"), Stopped: f.Value("/safe_work/stopped"), Note: f.Value("/safe_work/note")}
}

// functionTest reads what was tried.
func (r *reader) functionTest() *fleet.EntryFunctionTest {
	return &fleet.EntryFunctionTest{Activation: r.chosen("/function_test/activation"), Presence: r.chosen("/function_test/presence"), Contact: r.chosen("/function_test/contact"),
		ByHand: r.chosen("/function_test/by_hand"), Modes: r.chosen("/function_test/modes"), Latching: r.chosen("/function_test/latching"), FreeOfNoise: r.chosen("/function_test/free_of_noise"),
		Note: r.form.Value("/function_test/note")}
}

// conclusion reads what the inspection came to.
func (r *reader) conclusion() *fleet.EntryConclusion {
	return &fleet.EntryConclusion{Result: r.chosen("/conclusion/result"), Note: r.form.Value("/conclusion/note")}
}

// whichLeaf reads which leaf is meant; 0 is the door as a whole.
func (r *reader) whichLeaf(name string) int {
	if r.form.Value(name) == "" {
		return 0
	}
	return r.number(name)
}

// touched reads which groups of parts were touched.
func (r *reader) touched(name string) (list []rulebook.Group) {
	for _, text := range r.form.Values(name) {
		list = append(list, rulebook.Group(text))
	}
	return list
}

// readings makes an entry of each reading that was taken, and looks at all before the first is sent.
func (r *reader) readings(kinds []rulebook.ReadingKind, body fleet.EntryBody) (list []entry) {
	leaf := r.whichLeaf("/reading/leaf")
	for _, k := range kinds {
		name := "/reading/" + k.Name
		if r.form.Value(name) == "" {
			continue
		}
		b := body
		b.Reading = r.reading(name, k, rulebook.Place{Leaf: leaf, Side: rulebook.Side(r.form.Value("/reading/side"))})
		list = append(list, entry{r.id("id/" + k.Name), b})
	}
	if len(list) == 0 {
		r.faults.Add("/reading", "reading_none")
	}
	return list
}

// reading reads what somebody wrote into the field of a reading.
func (r *reader) reading(name string, k rulebook.ReadingKind, at rulebook.Place) *fleet.EntryReading {
	reading := &fleet.EntryReading{Name: k.Name, Question: k.Title, Leaf: at.Leaf, Side: string(at.Side)}
	switch k.Kind {
	case rulebook.YesNo:
		reading.Yes = r.yes(name)
	case rulebook.Number:
		reading.Value = r.measured(name, k)
	default:
		reading.Text = r.form.Value(name)
	}
	said := rulebook.Reading{Number: reading.Value, Yes: reading.Yes, Text: reading.Text}
	if reading.Value != nil {
		said.Unit = k.Unit
	}
	if !reading.Unanswered() {
		if err := k.Check(said); err != nil {
			r.faults.Add(name, "reading_impossible", "reason", err.Error())
		}
	}
	return reading
}

// measured reads a number of a kind; nil where none stands.
func (r *reader) measured(name string, k rulebook.ReadingKind) *float64 {
	if _, err := strconv.ParseFloat(strings.Replace(r.form.Value(name), ",", ".", 1), 64); err == nil && typedIn(r.texts, k) == "mm" { // the label says mm
		r.form.values.Set(name, r.form.Value(name)+" mm")
	}
	return r.value(name, words.SI(k.Unit), nil)
}

// fieldOfPage is the field of a page of one kind of entry from which a member was read.
func fieldOfPage(b fleet.EntryBody, member string) string {
	if b.Reading != nil && slices.Contains([]string{"/reading/value", "/reading/yes", "/reading/text", "/reading/question"}, member) {
		return "/reading/" + b.Reading.Name
	}
	return member
}
