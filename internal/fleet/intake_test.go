package fleet_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/sheet"
)

// forAll is what a dispatcher of a company in one place says of a whole list.
func forAll() map[string]string {
	return map[string]string{"country": "US", "time_zone": "America/Chicago", "rule_pack": "a156.10@2005", "party_role": "owner"}
}

func listOf(text string) fleet.ImportOrder {
	return fleet.ImportOrder{FileName: "doors.csv", Data: []byte(text), Mapping: sheet.Mapping{Dates: sheet.DayFirst, ForAll: forAll()}}
}

func (r *rig) bringIn(t testing.TB, o fleet.ImportOrder) fleet.ImportRun {
	t.Helper()
	run, err := r.Import(t.Context(), dispatcher, o)
	if err != nil {
		t.Fatal(err)
	}
	return run
}

// counted writes the counts of a run: kind created/updated/unchanged.
func counted(run fleet.ImportRun) string {
	var parts []string
	for _, kind := range []string{"customer", "site", "party", "standing", "door", "component", "revision", "plan"} {
		if c, ok := run.Summary.Counts[kind]; ok {
			parts = append(parts, fmt.Sprintf("%s %d/%d/%d", kind, c.Created, c.Updated, c.Unchanged))
		}
	}
	return strings.Join(parts, " ")
}

func told(list []fleet.ImportComplaint) string {
	var lines []string
	for _, c := range list {
		lines = append(lines, strings.TrimSpace(fmt.Sprintf("%d %s %q %s", c.Row, c.Column, c.Value, c.Code)))
	}
	return strings.Join(lines, "\n")
}

func wantLines(t testing.TB, got, want string) {
	t.Helper()
	if got != want {
		t.Errorf("got\n%s\nwant\n%s", got, want)
	}
}

const goodList = `Doors of our customers,,,,,,,,,,,,,,,
Customer,Site,Address,State,Door,Door type,Energy,Leaves,Leaf height,Leaf weight,Opening time (s),Outside sensor model,Outside sensor mount height,Operator model,Operator serial no,Last inspection,Owner,E-mail,Notes
Weir Foods,North store,12 Quay Street,IL,Main,bi-parting,full,,7'-0",180 lb,3,Heron 2,"2,2 m",Otter 1,SN-1,03/04/2025,Ana Weir,ana@weir.example,squeaks
Weir Foods,North store,12 Quay Street,IL,Back,swinging,low,1,84 in,,,,,,,25/12/2025,Ana Weir,ana@weir.example,
Weir Foods,South store,3 Mill Road,IL,Main,sliding,,2,213 cm,80 kg,,none,,Otter 1,SN-2,,Ana Weir,ana@weir.example,
Total,,,,3,,,,,,,,,,,
`

func TestAListIsBroughtInWithEverythingThatItSays(t *testing.T) {
	t.Parallel()
	r := newFleet(t)
	run := r.bringIn(t, listOf(goodList))
	if !run.Applied || run.Summary.BadRows != 0 {
		t.Fatalf("%+v\n%s", run.Summary, told(run.Summary.Complaints))
	}
	wantLines(t, counted(run), "customer 1/0/0 site 2/0/0 party 1/0/0 standing 2/0/0 door 3/0/0 component 3/0/0 revision 1/0/0 plan 2/0/0")
	wantLines(t, told(run.Summary.Warnings), "4 rule_pack \"a156.10@2005\" no_rule_basis\n5 rule_pack \"a156.10@2005\" no_rule_basis\n5 Last inspection \"\" no_plan")
	if n := run.Summary.Notes; len(n) != 1 || n[0].Row != 6 {
		t.Errorf("%+v", n)
	}

	doors, err := r.Doors(t.Context(), dispatcher, fleet.DoorQuery{Limit: 10})
	if err != nil || len(doors) != 3 {
		t.Fatalf("%d doors, %v", len(doors), err)
	}
	main, err := r.Door(t.Context(), dispatcher, doors[0].DoorID, fleet.AsOf{})
	if err != nil {
		t.Fatal(err)
	}
	leaf := main.Facts.Leaves[0]
	if main.Name != "Main" || main.Facts.Kind != "sliding" || len(main.Facts.Leaves) != 2 || leaf.OpensTowards != "left" || main.Facts.Leaves[1].OpensTowards != "right" ||
		leaf.HeightM.Basis != fleet.FromPaper || *leaf.HeightM.Value < 2.133 || *leaf.HeightM.Value > 2.134 || leaf.WidthM.Known() ||
		*main.Facts.OpeningTimeS.Value != 3 || main.Facts.ClosingTimeS.Known() || main.Facts.Traffic != "unknown" || main.Facts.A.Activation != "unknown" ||
		main.KnownSince != day("2025-04-03") || main.Version.Reason != "From paper: doors.csv, row 3. Note there: squeaks" {
		t.Errorf("%+v", main)
	}
	if doors[0].NextDue != day("2026-04-03") || doors[1].NextDue != day("2026-12-25") || !doors[2].NextDue.IsZero() {
		t.Errorf("due on %s, %s, %s", doors[0].NextDue, doors[1].NextDue, doors[2].NextDue)
	}
	back, err := r.Door(t.Context(), dispatcher, doors[1].DoorID, fleet.AsOf{})
	if err != nil || back.Facts.Leaves[0].Hinge != "unknown" || back.Facts.Leaves[0].OpensTowards != "unknown" || back.Facts.Energy != "low" {
		t.Errorf("%+v, %v", back.Facts, err)
	}
	site, err := r.Site(t.Context(), dispatcher, main.SiteID)
	if err != nil || site.Jurisdiction != "US-IL" || site.TimeZone != "America/Chicago" || site.Address != "12 Quay Street" {
		t.Errorf("%+v, %v", site, err)
	}
	components, err := r.Components(t.Context(), dispatcher, main.DoorID, fleet.AsOf{})
	if err != nil || len(components) != 2 {
		t.Fatalf("%d components, %v", len(components), err)
	}
	i := slices.IndexFunc(components, func(c fleet.Component) bool { return c.Kind == "sensor" })
	revisions, _, err := r.Revisions(t.Context(), dispatcher, fleet.RevisionQuery{ComponentID: components[i].ComponentID, Limit: 10})
	if err != nil || components[i].Fitting.Side != "a" || len(revisions) != 1 || *revisions[0].Device.Mount.HeightM.Value != 2.2 || revisions[0].Device.Mount.TiltDeg.Known() {
		t.Errorf("%+v, %+v, %v", components[i], revisions, err)
	}
}

// register is the whole register as text, for comparing.
func (r *rig) register(t testing.TB) string {
	t.Helper()
	var all []string
	for _, table := range []string{"customer", "site", "party", "site_party", "door", "door_version", "door_leaf", "component", "component_version", "revision", "extent", "coverage",
		"finding", "inspection_plan", "change_log", "import_run", "import_item"} {
		var text string
		if err := r.db.Admin.QueryRow(t.Context(), "select coalesce(string_agg(x::text, E'\\n' order by x::text), '') from "+table+" x").Scan(&text); err != nil {
			t.Fatal(err)
		}
		all = append(all, table+"\n"+text)
	}
	return strings.Join(all, "\n")
}

func TestADryRunSaysTheSameAndLeavesNothing(t *testing.T) {
	t.Parallel()
	r := newFleet(t)
	before := r.register(t)
	o := listOf(goodList)
	o.DryRun = true
	tried := r.bringIn(t, o)
	if tried.Applied || r.register(t) != before {
		t.Error("a dry run has left something")
	}
	done := r.bringIn(t, listOf(goodList))
	wantLines(t, counted(tried), counted(done))
}

func TestTheSameListAgainChangesNothing(t *testing.T) {
	t.Parallel()
	r := newFleet(t)
	r.bringIn(t, listOf(goodList))
	before := r.count(t, "select count(*) from door_version") + r.count(t, "select count(*) from change_log")
	r.pass(24 * time.Hour)
	run := r.bringIn(t, listOf(goodList))
	wantLines(t, counted(run), "customer 0/0/1 site 0/0/2 party 0/0/1 standing 0/0/2 door 0/0/3 component 0/0/3 plan 0/0/2")
	if after := r.count(t, "select count(*) from door_version") + r.count(t, "select count(*) from change_log"); after != before {
		t.Errorf("%d versions and changes have become %d", before, after)
	}
}

func TestWhatTheListSaysNowReplacesWhatItSaidAndNothingElse(t *testing.T) {
	t.Parallel()
	r := newFleet(t)
	r.bringIn(t, listOf(goodList))
	run := r.bringIn(t, listOf("Customer,Site,Address,Door,Closing time,Last inspection,Leaf height\nWEIR FOODS,north-store,12 Quay St,main,4 s,03/02/2026,\nWeir Foods,North store,,Back,,,\n"))
	wantLines(t, told(run.Summary.Complaints)+told(run.Summary.Warnings), "")
	wantLines(t, counted(run), "customer 0/0/1 site 0/1/0 door 0/1/1 plan 0/1/0")
	if n := r.count(t, "select count(*) from door_version v join door_leaf l using (version_id) where v.closing_time_s = 4 and v.opening_time_s = 3 and l.height_basis = 'from_paper'"); n != 2 {
		t.Errorf("%d leaves of a door that closes in 4 s and keeps all else", n)
	}
	run = r.bringIn(t, listOf("Customer,Site,Door,Last inspection\nWeir Foods,North store,Main,03/05/2026\n"))
	wantLines(t, told(run.Summary.Complaints), `2 Last inspection "03/05/2026" date_in_the_future`)
}

func TestABadRowStopsAllAndEveryOneIsNamed(t *testing.T) {
	t.Parallel()
	r := newFleet(t)
	before := r.register(t)
	const list = `Customer,Site,City,Door,Door type,Leaves,Leaf height,Opens,Last inspection,Sensor model,Serial no
Weir Foods,North,Elgin,1,sliding,2,2.1 m,both,03/04/2025,,
,North,Elgin,2,sliding,2,2.1 m,both,,,
Weir Foods,,,3,sliding,2,2.1 m,both,,,
Weir Foods,North,Elgin,,sliding,2,2.1 m,both,,,
Weir Foods,North,Elgin,5,,,90 m,,03/04/2027,,
Weir Foods,North,Elgin,6,wobbly,2,2130,both,,Heron 2,
Weir Foods,North,Elgin,7,sliding,2,2.1 m,in,,,SN 4
Weir Foods,North,Elgin,1,sliding,2,2.2 m,both,,,
Weir Foods,North,Joliet,8,revolving,4,2.2 m,,,,
`
	o := listOf(list)
	run := r.bringIn(t, o)
	wantLines(t, told(run.Summary.Complaints), `3 Customer "" customer_missing
4 Site "" site_missing
5 Door "" door_missing
6 Last inspection "03/04/2027" date_in_the_future
6 Door type "" kind_missing
6 Leaves "" leaves_missing
7 Door type "wobbly" word_unknown
7 Leaf height "2130" length_no_unit
8 Opens "in" opens_not_so
9 Leaf height "2.2 m" contradicts
10 City "Joliet" contradicts`)
	if run.Applied || run.Summary.BadRows != 8 || r.register(t) != before {
		t.Errorf("%d bad rows, applied %v", run.Summary.BadRows, run.Applied)
	}
	texts := r.Words.Printer("en", "metric")
	for _, c := range run.Summary.Complaints {
		if wrong, do := c.Texts(texts); strings.Contains(wrong+do, "⟦") {
			t.Errorf("%s: %s %s", c.Code, wrong, do)
		}
	}

	o.GoodRows = true
	run = r.bringIn(t, o)
	if !run.Applied || run.Summary.BadRows != 8 {
		t.Errorf("%d bad rows, applied %v", run.Summary.BadRows, run.Applied)
	}
	wantLines(t, counted(run), "customer 1/0/0 site 1/0/0 door 1/0/0 plan 1/0/0")
}

func TestWhatTheRegisterRefusesIsAComplaintAboutItsCell(t *testing.T) {
	t.Parallel()
	r := newFleet(t)
	run := r.bringIn(t, listOf(`Customer,Site,Country,Time zone,Tag,Door,Door type,Leaves,Leaf height,Clear width,Energy,Rule basis,E-mail
Weir Foods,A,XX,Chicago,,1,sliding,2,90 m,5 cm,low,proposed,
Weir Foods,B,US,America/Chicago,1234 5678,1,sliding,2,2 m,1 m,full,us-none,
Weir Foods,C,US,America/Chicago,,1,swinging,2,2 m,1 m,low,proposed,not an address
`))
	wantLines(t, told(run.Summary.Complaints), `2 Country "XX" country_unknown
2 Time zone "Chicago" time_zone_unknown
3 Tag "1234 5678" tag_check_digit
3 Rule basis "us-none" pack_unknown
4 E-mail "not an address" email_unreadable`)
}

func TestADoorWithoutATagTakesNoneThatAnotherRowGives(t *testing.T) {
	t.Parallel()
	r := newFleet(t)
	first, err := fleet.TagFor(1)
	if err != nil {
		t.Fatal(err)
	}
	run := r.bringIn(t, listOf(`Customer,Site,Country,Time zone,Tag,Door,Door type,Leaves,Leaf height,Clear width,Energy,Rule basis
Weir Foods,A,US,America/Chicago,,Front,sliding,2,2 m,1 m,full,proposed
Weir Foods,B,US,America/Chicago,`+first.String()+`,Back,sliding,2,2 m,1 m,full,proposed
`))
	wantLines(t, told(run.Summary.Complaints), ``)
	if !run.Applied {
		t.Error("nothing was brought in")
	}
}

func TestPaperDoesNotReplaceWhatWasMeasured(t *testing.T) {
	t.Parallel()
	r := newFleet(t)
	c := r.customer(t, "Weir Foods")
	s := r.site(t, c.CustomerID, "North store")
	r.door(t, s.SiteID, "Main") // leaf height 2.2 m, measured
	run := r.bringIn(t, listOf("Customer,Site,Door,Leaf height,Closing time\nWeir Foods,North store,Main,2.1 m,4 s\n"))
	wantLines(t, told(run.Summary.Warnings), `2 Leaf height "2.1 m" value_kept`)
	wantLines(t, counted(run), "customer 0/0/1 site 0/0/1 door 0/1/0")
}

func TestThingsThatAreNearlyTheSameAreWarnedOf(t *testing.T) {
	t.Parallel()
	r := newFleet(t)
	r.bringIn(t, listOf("Customer,Site,Address,City\nWeir Foods,North store,12 Quay Street,Elgin\n"))
	run := r.bringIn(t, listOf("Customer,Site,Address,City\nWeir Foods,North stores,,\nWeirfoods,X,,\nWeir Foods,Depot,12 Quay St.,Elgin\n"))
	wantLines(t, told(run.Summary.Warnings), "2 Site \"North stores\" site_near\n3 Customer \"Weirfoods\" customer_near\n4 Site \"Depot\" site_same_address")
}

func TestAWholeImportCanBeUndoneAndDoneAgain(t *testing.T) {
	t.Parallel()
	r := newFleet(t)
	tables := func() string { // all but the records of what happened
		text, _, _ := strings.Cut(r.register(t), "change_log\n")
		return text
	}
	before := tables()
	run := r.bringIn(t, listOf(goodList))
	undone, obstacles, err := r.UndoImport(t.Context(), dispatcher, run.RunID)
	if err != nil || len(obstacles) > 0 || undone.UndoneAt == nil {
		t.Fatalf("%v %v", obstacles, err)
	}
	wantLines(t, tables(), before)
	if _, _, err := r.UndoImport(t.Context(), dispatcher, run.RunID); err != nil {
		t.Errorf("undone again: %v", err)
	}
	again := r.bringIn(t, listOf(goodList))
	wantLines(t, counted(again), counted(run))
}

func TestUndoingPutsFormerStatesBackAsNewVersions(t *testing.T) {
	t.Parallel()
	r := newFleet(t)
	r.bringIn(t, listOf(goodList))
	doors, err := r.Doors(t.Context(), dispatcher, fleet.DoorQuery{Limit: 10})
	if err != nil {
		t.Fatal(err)
	}
	door := func() fleet.Door {
		d, err := r.Door(t.Context(), dispatcher, doors[0].DoorID, fleet.AsOf{})
		if err != nil {
			t.Fatal(err)
		}
		return d
	}
	former := door()
	r.pass(time.Hour)
	run := r.bringIn(t, listOf("Customer,Account,Site,Address,Door,Closing time,Next due,Inside sensor model,Inside sensor mount height,Outside sensor mount height\nWeir Foods,77,North store,14 Quay Street,Main,4 s,01/06/2026,Heron 3,2 m,2.3 m\n"))
	wantLines(t, counted(run), "customer 0/1/0 site 0/1/0 door 0/1/0 component 1/0/1 revision 2/0/0 plan 0/1/0")
	if !door().Facts.ClosingTimeS.Known() {
		t.Fatal("nothing has changed")
	}
	r.pass(time.Hour)
	if _, obstacles, err := r.UndoImport(t.Context(), dispatcher, run.RunID); err != nil || len(obstacles) > 0 {
		t.Fatalf("%v %v", obstacles, err)
	}
	is := door()
	if is.Facts.ClosingTimeS.Known() || is.Version.VersionID == former.Version.VersionID || is.Version.Reason != "The import of doors.csv was undone." {
		t.Errorf("%+v", is)
	}
	site, err := r.Site(t.Context(), dispatcher, is.SiteID)
	if err != nil || site.Address != "12 Quay Street" || site.Version != 3 {
		t.Errorf("%+v, %v", site, err)
	}
	if plans, err := r.Plans(t.Context(), dispatcher, is.DoorID); err != nil || plans[0].AnchorOn != day("2026-04-03") {
		t.Errorf("%+v, %v", plans, err)
	}
	if components, err := r.Components(t.Context(), dispatcher, is.DoorID, fleet.AsOf{}); err != nil || len(components) != 2 {
		t.Errorf("%d components, %v", len(components), err)
	}
}

func TestWhatWasAddedSinceStandsInTheWayOfUndoing(t *testing.T) {
	t.Parallel()
	r := newFleet(t)
	run := r.bringIn(t, listOf(goodList))
	doors, err := r.Doors(t.Context(), dispatcher, fleet.DoorQuery{Limit: 10})
	if err != nil {
		t.Fatal(err)
	}
	d := doors[0]
	if _, _, err := r.PutComponent(t.Context(), dispatcher, fleet.ComponentPut{ComponentID: r.id(), DoorID: d.DoorID, Kind: "battery", ModelText: "x", Reason: "found",
		Fitting: fleet.Fitting{State: "fitted", Side: "none", Input: "none", Contact: "none"}}); err != nil {
		t.Fatal(err)
	}
	if _, err := r.OpenDueWorkOrders(t.Context(), day("2026-03-20")); err != nil {
		t.Fatal(err)
	}
	customer, err := r.Customer(t.Context(), dispatcher, d.CustomerID)
	if err != nil {
		t.Fatal(err)
	}
	customer.Note = "pays late"
	if _, _, err := r.PutCustomer(t.Context(), dispatcher, customer, customer.Version); err != nil {
		t.Fatal(err)
	}
	before := r.register(t)
	_, obstacles, err := r.UndoImport(t.Context(), dispatcher, run.RunID)
	if err != nil {
		t.Fatal(err)
	}
	var lines []string
	for _, o := range obstacles {
		lines = append(lines, o.Kind+" "+o.Name+" "+o.What)
	}
	wantLines(t, strings.Join(lines, "\n"), "customer Weir Foods changed\ndoor Main component\ndoor Main work_order\nplan Main work_order")
	if r.register(t) != before {
		t.Error("something was undone nevertheless")
	}
}

func TestOnlyOneImportOfAnUnknownIDIsNotFound(t *testing.T) {
	t.Parallel()
	r := newFleet(t)
	_, err := r.ImportRun(t.Context(), dispatcher, uuid.MustParse("01950000-0000-7000-8000-000000000009"))
	wantFault(t, err, "import_not_found")
	_, _, err = r.UndoImport(t.Context(), dispatcher, uuid.MustParse("01950000-0000-7000-8000-000000000009"))
	wantFault(t, err, "import_not_found")
}

func TestAFileThatIsNoListIsAFault(t *testing.T) {
	t.Parallel()
	r := newFleet(t)
	_, err := r.Import(t.Context(), dispatcher, listOf("Dear all,\nplease find attached\n"))
	wantFault(t, err, "sheet_no_headings")
	o := listOf(goodList)
	o.Mapping.ForAll = map[string]string{"nonsense": "x"}
	_, err = r.Import(t.Context(), dispatcher, o)
	wantFault(t, err, "mapping_impossible at /mapping")
}

// mixedList has good and bad rows that speak of the same new things, parts on doors of earlier rows, tags given by hand and not.
func mixedList(t *testing.T) string {
	t.Helper()
	tag, err := fleet.TagFor(2)
	if err != nil {
		t.Fatal(err)
	}
	return strings.ReplaceAll(`Customer,Account,Site,City,Tag,Door,Door type,Leaves,Energy,Leaf height,Clear width,Opens,Last inspection,Outside sensor model,Outside sensor mount height,Operator model,Operator serial no,Owner,E-mail
Weir Foods,,North,Elgin,,1,sliding,2,full,2.1 m,1.8 m,both,03/04/2025,Heron 2,2.2 m,Otter 1,S1,Ana Weir,ana@weir.example
Quay Baths,,Pool,Elgin,,1,sliding,2,full,2.1 m,1.8 m,both,03/04/2027,Heron 2,2.2 m,Otter 1,S2,,
Quay Baths,,Pool,Elgin,,1,sliding,2,full,2.1 m,1.8 m,both,03/04/2025,Heron 2,2.2 m,Otter 1,S2,,
Weir Foods,,South,Elgin,TAG,1,swinging,1,low,2.1 m,0.9 m,in,,,,,S3,Ana Weir,ana@weir.example
Weir Foods,,North,Elgin,,2,sliding,2,full,90 m,1.8 m,both,03/04/2025,Heron 2,2.2 m,Otter 1,S4,,
Weir Foods,77,North,Elgin,,1,sliding,2,full,2.1 m,1.8 m,both,03/06/2025,Heron 2,2.2 m,,,Ana Weir,ana@weir.example
Weir Foods,,South,Elgin,TAG,,,,,,,,04/05/2025,Heron 3,2.4 m,Otter 2,S3,,
Weir Foods,,North,Elgin,,3,sliding,2,full,2.1 m,1.8 m,both,03/04/2025,Heron 2,2.2 m,Otter 1,S1,,
`, "TAG", tag.String())
}

func TestWritingManyRowsTogetherMakesWhatOneByOneMakes(t *testing.T) {
	t.Parallel()
	o := listOf(mixedList(t))
	o.GoodRows = true
	together, apart := newFleet(t), newFleet(t)
	one := together.bringIn(t, o)
	other, err := apart.ImportOneByOne(t.Context(), dispatcher, o)
	if err != nil {
		t.Fatal(err)
	}
	if !one.Applied || one.Summary.BadRows == 0 || one.Summary.Counts["door"].Created != 4 {
		t.Errorf("%s\n%s", counted(one), told(one.Summary.Complaints))
	}
	wantLines(t, counted(one), counted(other))
	wantLines(t, told(one.Summary.Complaints), told(other.Summary.Complaints))
	wantLines(t, told(one.Summary.Warnings), told(other.Summary.Warnings))
	wantLines(t, together.register(t), apart.register(t))

	again := together.bringIn(t, o)
	for kind, c := range again.Summary.Counts {
		if c.Created > 0 {
			t.Errorf("the same list again made %d of kind %s", c.Created, kind)
		}
	}
}

func TestSomebodyWhoTakesATagMeanwhileIsNamedAtItsRowAndNothingElseIsLost(t *testing.T) {
	t.Parallel()
	r := newFleet(t)
	site := r.site(t, r.customer(t, "Quay Baths").CustomerID, "Pool")
	var tags []fleet.Tag
	for _, number := range []int64{77, 78} {
		tag, err := fleet.TagFor(number)
		if err != nil {
			t.Fatal(err)
		}
		tags = append(tags, tag)
	}
	o := listOf("Customer,Site,Tag,Door,Door type,Leaves\nWeir Foods,North,,1,sliding,2\nWeir Foods,North," + tags[0].String() + ",2,sliding,2\nWeir Foods,North," + tags[1].String() +
		",3,sliding,2\nWeir Foods,North,,4,sliding,2\n")
	o.GoodRows = true
	runs := 0
	o.Progress = func(done, all int) {
		if done != 1 || runs == len(tags) {
			return
		}
		p := r.doorFacts(site.SiteID, "Main "+tags[runs].String()) // in the second run a row finds this only when it is written
		p.Tag = tags[runs]
		if _, _, err := r.PutDoor(t.Context(), dispatcher, p); err != nil {
			t.Error(err)
		}
		runs++
	}
	run := r.bringIn(t, o)
	wantLines(t, told(run.Summary.Complaints), fmt.Sprintf("3 Tag %q door_on_other_site\n4 Tag %q tag_taken", tags[0].String(), tags[1].String()))
	if !run.Applied || run.Summary.BadRows != 2 || run.Summary.Counts["door"].Created != 2 || runs != 2 {
		t.Errorf("%s", counted(run))
	}
}

func TestASerialNumberWithoutAModelIsKeptAndTheModelUnknown(t *testing.T) {
	t.Parallel()
	r := newFleet(t)
	run := r.bringIn(t, listOf("Customer,Site,Door,Door type,Leaves,Energy,Next due,Operator serial no\nWeir Foods,North,Main,sliding,2,full,03/04/2026,SN-1\n"))
	wantLines(t, told(run.Summary.Complaints), "")
	wantLines(t, told(run.Summary.Warnings), `2 Operator serial no "SN-1" part_model_unknown`)
	if n := r.count(t, "select count(*) from component where model_text = 'unknown' and serial = 'SN-1' and kind = 'operator'"); n != 1 {
		t.Errorf("%d components", n)
	}
	run = r.bringIn(t, listOf("Customer,Site,Door,Operator serial no,Operator model\nWeir Foods,North,Main,sn 1,Otter 1\n"))
	wantLines(t, told(run.Summary.Warnings), `2 Operator model "Otter 1" part_model_kept`)
	wantLines(t, counted(run), "customer 0/0/1 site 0/0/1 door 0/0/1 component 0/0/1")
}

func TestAModelOfTheCatalogueIsFoundAgainByItsNameAlone(t *testing.T) {
	t.Parallel()
	r := newFleet(t)
	if _, _, err := r.PutModel(t.Context(), dispatcher, fleet.Model{ModelID: r.id(), Maker: "Weir Works", Name: "Otter 1", Kind: "operator", Sensing: "none"}); err != nil {
		t.Fatal(err)
	}
	const list = "Customer,Site,Door,Door type,Leaves,Energy,Operator model\nWeir Foods,North,Main,sliding,2,full,Otter 1\n"
	r.bringIn(t, listOf(list))
	run := r.bringIn(t, listOf(list))
	wantLines(t, told(run.Summary.Complaints), "")
	wantLines(t, counted(run), "customer 0/0/1 site 0/0/1 door 0/0/1 component 0/0/1")
}

// Ten thousand doors at once, for whoever wants to know how long it takes: go test -run '^$' -bench Import -benchtime 1x ./internal/fleet
func BenchmarkImport10000Doors(b *testing.B) {
	var text strings.Builder
	text.WriteString("Customer,Site,City,Door,Door type,Leaves,Energy,Leaf height,Opening time (s),Outside sensor model,Outside sensor mount height,Operator model,Operator serial no,Last inspection\n")
	for i := range 10_000 {
		fmt.Fprintf(&text, "Customer %d,Store %d,Elgin,Door %d,sliding,2,full,7'-0\",3,Heron 2,\"2,2 m\",Otter 1,SN-%d,03/04/2025\n", i/500, i/40, i%40, i)
	}
	for b.Loop() {
		r := newFleet(b)
		if run := r.bringIn(b, listOf(text.String())); !run.Applied || run.Summary.Counts["door"].Created != 10_000 {
			b.Fatal(told(run.Summary.Complaints))
		}
		began := time.Now()
		if run := r.bringIn(b, listOf(text.String())); run.Summary.Counts["door"].Unchanged != 10_000 {
			b.Fatal(counted(run))
		}
		b.ReportMetric(time.Since(began).Seconds(), "s/again")
	}
}
