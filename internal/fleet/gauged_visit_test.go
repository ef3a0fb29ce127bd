package fleet_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/fault"
	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/rulebook"
	"lintel.example/lintel/internal/seal"
)

// gaugeRecord is a ramp to a peak and a rest of 60 N, for a second.
func gaugeRecord(peak int) string {
	var csv strings.Builder
	csv.WriteString("Time [ms],Force [N]\r\n")
	for ms := 0; ms <= 1000; ms += 10 {
		force := 60
		if ms <= 100 {
			force = peak * ms / 100
		}
		fmt.Fprintf(&csv, "%d,%d\r\n", ms, force)
	}
	return csv.String()
}

func recorded(csv string) fleet.EntryBody {
	return fleet.EntryBody{Kind: "force_course", ForceCourse: &fleet.EntryForceCourse{CSV: csv, Leaf: 1, GapM: p(0.2)}}
}

// stood is a grid of a body that was seen up to a row.
func stood(rows int) fleet.EntryBody {
	e := &fleet.EntryPositions{Zone: rulebook.PresenceZone, Side: "a", Body: "a box as tall as a child", SpacingM: 0.25}
	for x := -2; x <= 2; x++ {
		for y := range 4 {
			e.Tried = append(e.Tried, rulebook.Position{XM: float64(x) / 4, YM: 0.1 + float64(y)/4, Seen: y < rows && (x > -2 && x < 2)})
		}
	}
	return fleet.EntryBody{Kind: "positions", Positions: e}
}

// read writes the readings of an entry in a line.
func read(list []fleet.EntryReading) string {
	var words []string
	for _, r := range list {
		words = append(words, fmt.Sprintf("%s=%.4g", r.Name, *r.Value))
		if r.Uncertainty != nil {
			words = append(words, fmt.Sprintf("±%.4g", *r.Uncertainty))
		}
	}
	return strings.Join(words, " ")
}

func TestAForceCourseIsKeptWithItsSeriesAndSealedByItsHash(t *testing.T) {
	t.Parallel()
	a := newAttended(t)
	visit := a.open(t)
	sent := a.at(5, recorded(gaugeRecord(200)))
	id := a.id()
	first, created, err := a.PutEntry(t.Context(), technician, visit, id, sent)
	if err != nil || !created {
		t.Fatal(created, err)
	}
	if sent.ForceCourse.Readings != nil {
		t.Error("the caller's body was written into")
	}
	again, created, err := a.PutEntry(t.Context(), technician, visit, id, sent)
	if err != nil || created || again.SHA256 != first.SHA256 {
		t.Errorf("sent again it is another entry: %v %v", created, err)
	}
	_, _, err = a.PutEntry(t.Context(), technician, visit, id, a.at(5, recorded(gaugeRecord(210))))
	if !fault.Is(err, "entry_differs") {
		t.Errorf("another series under its id: %v", err)
	}
	csv, hash := sent.ForceCourse.CSV, seal.HashOf([]byte(sent.ForceCourse.CSV))
	if got := first.Body.ForceCourse; got.SeriesSHA256 != hash || got.Samples != 101 || read(got.Readings) != "peak_force_n=200 static_force_n=60" {
		t.Errorf("the entry says %+v", got)
	}
	other, _, err := a.PutEntry(t.Context(), technician, visit, a.id(), a.at(6, recorded(gaugeRecord(300))))
	if err != nil {
		t.Fatal(err)
	}
	corrected := a.at(7, recorded(gaugeRecord(150)))
	corrected.Corrects, corrected.Because = &other.EntryID, "the gauge lay on the frame"
	third, _, err := a.PutEntry(t.Context(), technician, visit, a.id(), corrected)
	if err != nil {
		t.Fatal(err)
	}
	form := a.form(t, visit)
	got := ""
	for _, e := range form.Entries {
		if e.Body.ForceCourse != nil {
			got += read(e.Body.ForceCourse.Readings) + "; "
		}
	}
	if got != "peak_force_n=200 static_force_n=60; peak_force_n=150 static_force_n=60; " {
		t.Errorf("what counts is %s", got)
	}

	signOff := a.signOff(t, visit, nil)
	for _, e := range []fleet.Entry{first, other, third} {
		signOff.Entries = append(signOff.Entries, fleet.SignedEntry{EntryID: e.EntryID, SHA256: e.SHA256})
	}
	if _, _, err := a.PutSignOff(t.Context(), technician, visit, signOff); err != nil {
		t.Fatal(err)
	}
	var record string
	if err := a.db.Admin.QueryRow(t.Context(), "select convert_from(canonical, 'UTF8') from record_log order by seq desc limit 1").Scan(&record); err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(record, `"series_sha256":"`+hash.String()+`"`) || !strings.Contains(record, `{"leaf":1,"name":"peak_force_n","value":200}`) || strings.Contains(record, "Force [N]") {
		t.Errorf("sealed is %s", record)
	}
	kept, err := a.RecordedForce(t.Context(), technician, visit, id)
	if err != nil || kept.CSV != csv || len(kept.Series) != 101 || kept.Course.PeakN != 200 {
		t.Errorf("%v, a series of %d samples", err, len(kept.Series))
	}
	for name, ids := range map[string][2]uuid.UUID{"of another visit": {a.id(), id}, "of no entry": {visit, a.id()}} {
		if _, err := a.RecordedForce(t.Context(), technician, ids[0], ids[1]); !fault.Is(err, "entry_not_found") {
			t.Errorf("%s: %v", name, err)
		}
	}
}

func TestTriedPositionsAreReadAsTheZoneThatTheyBearOut(t *testing.T) {
	t.Parallel()
	a := newAttended(t)
	visit := a.open(t)
	for rows, want := range []string{
		"presence_zone_width_m=0 ±0.25 presence_zone_depth_m=0 ±0.25",
		"presence_zone_width_m=0 ±0.25 presence_zone_depth_m=0 ±0.25", // one row alone is no zone
		// columns -0.25 to 0.25 and half a spacing beyond on both sides; rows 0.1 and 0.35 and half a spacing beyond
		"presence_zone_width_m=0.75 ±0.25 presence_zone_depth_m=0.375 ±0.125",
	} {
		e, _, err := a.PutEntry(t.Context(), technician, visit, a.id(), a.at(rows, stood(rows)))
		if err != nil || read(e.Body.Positions.Readings) != want || e.Body.Positions.Open || e.Body.Positions.Readings[0].Side != "a" {
			t.Errorf("%d rows: %v, read as %s, want %s", rows, err, read(e.Body.Positions.Readings), want)
		}
	}
	if e, _, err := a.PutEntry(t.Context(), technician, visit, a.id(), a.at(9, stood(4))); err != nil || !e.Body.Positions.Open {
		t.Errorf("seen as far as was tried, and not said so: %v", err)
	}
}

func TestARecordOfAGaugeThatCannotBeRightChangesNothing(t *testing.T) {
	t.Parallel()
	a := newAttended(t)
	visit := a.open(t)
	before := a.everything(t)
	course := func(change func(*fleet.EntryForceCourse)) fleet.EntryBody {
		b := recorded(gaugeRecord(200))
		change(b.ForceCourse)
		return b
	}
	positions := func(change func(*fleet.EntryPositions)) fleet.EntryBody {
		b := stood(2)
		change(b.Positions)
		return b
	}
	for name, c := range map[string]struct {
		body   fleet.EntryBody
		want   []string
		reason string
	}{
		"a word in line 3":           {recorded("s,N\n0,0\n0.01,x\n"), []string{"force_series_wrong at /force_course/csv"}, "line 3: force: x is no number"},
		"no series":                  {recorded(""), []string{"force_series_wrong at /force_course/csv"}, "is empty"},
		"too long a series":          {recorded(strings.Repeat("1,1\n", 100_001)), []string{"force_series_wrong at /force_course/csv"}, "longer than 400000 bytes"},
		"no contact":                 {recorded("0,1\n0.01,2\n0.02,3\n"), []string{"force_series_wrong at /force_course/csv"}, "no contact"},
		"more force than is read":    {recorded("0,1\n0.01,6000\n0.02,3\n"), []string{"reading_impossible at /force_course/csv"}, "peak_force_n"},
		"a gap as wide as a house":   {course(func(c *fleet.EntryForceCourse) { c.GapM = p(11.0) }), []string{"number_out_of_range at /force_course/gap_m"}, ""},
		"certain":                    {course(func(c *fleet.EntryForceCourse) { c.UncertaintyN = p(0.0) }), []string{"uncertainty_impossible at /force_course/uncertainty_n"}, ""},
		"a leaf that the door lacks": {course(func(c *fleet.EntryForceCourse) { c.Leaf = 3 }), []string{"leaf_not_of_door at /force_course/leaf"}, ""},
		"a gauge that nobody knows":  {course(func(c *fleet.EntryForceCourse) { id := a.id(); c.InstrumentID = &id }), []string{"instrument_not_found at /force_course/instrument_id"}, ""},
		"positions of nothing":       {positions(func(e *fleet.EntryPositions) { e.Body, e.Zone, e.Side = "", "swing", "both" }), []string{"word_unknown at /positions/zone", "word_unknown at /positions/side", "text_missing at /positions/body"}, ""},
		"positions in one row":       {positions(func(e *fleet.EntryPositions) { e.Tried = e.Tried[:4] }), []string{"positions_no_grid at /positions/tried"}, ""},
		"positions behind the door":  {positions(func(e *fleet.EntryPositions) { e.Tried[0].YM = -1 }), []string{"position_impossible at /positions/tried"}, ""},
		"positions at no distance":   {positions(func(e *fleet.EntryPositions) { e.SpacingM = 0 }), []string{"number_out_of_range at /positions/spacing_m"}, ""},
		"a course and positions":     {func() fleet.EntryBody { b := stood(2); b.ForceCourse = recorded("").ForceCourse; return b }(), []string{"member_of_other_kind at /force_course"}, ""},
	} {
		_, _, err := a.PutEntry(t.Context(), technician, visit, a.id(), a.at(5, c.body))
		wantFault(t, err, c.want...)
		if !strings.Contains(fmt.Sprint(fault.Of(err)[0].Args...), c.reason) {
			t.Errorf("%s: %v, want %s", name, fault.Of(err)[0].Args, c.reason)
		}
	}
	if a.everything(t) != before {
		t.Error("something was changed by what was refused")
	}
}

func TestAReportSaysOfHowManySamplesAReadingWasWorkedOut(t *testing.T) {
	t.Parallel()
	a := reporting(t)
	visit := a.open(t)
	signOff := a.signOff(t, visit, nil)
	for i, body := range []fleet.EntryBody{madeSafe(), recorded(gaugeRecord(200)), measured("closing_force_n", 118), concluded("failed")} {
		e, _, err := a.PutEntry(t.Context(), technician, visit, a.id(), a.at(i, body))
		if err != nil {
			t.Fatal(err)
		}
		signOff.Entries = append(signOff.Entries, fleet.SignedEntry{EntryID: e.EntryID, SHA256: e.SHA256})
	}
	if _, _, err := a.PutSignOff(t.Context(), technician, visit, signOff); err != nil {
		t.Fatal(err)
	}
	a.pass(24 * time.Hour)
	r := a.make(t, dispatcher, fleet.ReportAsk{Kind: fleet.KindDoor, DoorID: a.door.DoorID})
	if html, _ := r.Print("html"); !strings.Contains(string(html.Bytes), "worked out of 101 samples") {
		t.Error("the page does not say of how many samples")
	}
	for _, want := range []string{`"name":"peak_force_n","samples":101`, `"name":"static_force_n","samples":101`} {
		if !strings.Contains(string(r.Canonical), want) {
			t.Errorf("no %s in the report", want)
		}
	}
	if n := strings.Count(string(r.Canonical), `"samples"`); n != 2 {
		t.Errorf("%d readings were worked out of samples", n)
	}
}

func TestACurveStandsBesideTheLimitsThatItWasSignedBy(t *testing.T) {
	t.Parallel()
	a := newAttended(t)
	a.pass(24 * time.Hour)
	a.changed(t, func(d *fleet.DoorFacts) { // whose pack has a limit of the peak of swinging doors
		d.Kind, d.RuleBasis.PackID = "swinging", "en16005@2012"
		for i, hinge := range []string{"left", "right"} {
			d.Leaves[i].Motion, d.Leaves[i].Hinge, d.Leaves[i].OpensTowards = "swing", hinge, "b"
		}
	})
	visit := a.open(t)
	safe, course := a.append(t, visit, a.at(1, madeSafe())), a.append(t, visit, a.at(5, recorded(gaugeRecord(200))))
	limits := func(sealed bool) *float64 {
		t.Helper()
		r, err := a.RecordedForce(t.Context(), technician, visit, course.entry)
		if err != nil || r.Sealed != sealed {
			t.Fatalf("sealed %v, %v", r.Sealed, err)
		}
		return r.Peak.AtMost
	}
	before := limits(false)
	if before == nil {
		t.Fatal("no limit of the peak")
	}
	done := a.append(t, visit, a.at(6, concluded("failed")))
	signOff := a.signOff(t, visit, []piece{safe, course, done})
	r, err := a.RecordedForce(t.Context(), technician, visit, course.entry)
	if err != nil {
		t.Fatal(err)
	}
	signOff.Entries[1].SHA256 = r.Entry.SHA256 // with what its series says
	if _, _, err := a.PutSignOff(t.Context(), technician, visit, signOff); err != nil {
		t.Fatal(err)
	}
	if got := limits(true); got == nil || *got != *before {
		t.Errorf("signed by %v, the limit was %v", got, *before)
	}
	a.pass(48 * time.Hour)
	a.changed(t, func(d *fleet.DoorFacts) { d.RuleBasis = a.door.Facts.RuleBasis })
	if got := limits(true); got == nil || *got != *before {
		t.Errorf("by another basis today it stands beside %v, not %v", got, *before)
	}
}
