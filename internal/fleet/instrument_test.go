package fleet_test

import (
	"encoding/json"
	"testing"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/fleet"
)

// gauge registers a force gauge that was calibrated until a day.
func (a attended) gauge(t *testing.T, until string) fleet.Instrument {
	t.Helper()
	i := fleet.Instrument{InstrumentID: a.id(), Kind: "force_gauge", Name: "Gauge 3", Serial: "G-3", CalibratedOn: day("2025-01-05"), CalibratedUntil: day(until), Certificate: "C-7",
		Uncertainty: map[string]float64{"N": 2}}
	saved, created, err := a.PutInstrument(t.Context(), dispatcher, i, 0)
	if err != nil || !created {
		t.Fatal(created, err)
	}
	return saved
}

func readWith(instrument uuid.UUID, body fleet.EntryBody) fleet.EntryBody {
	r := *body.Reading
	r.InstrumentID = &instrument
	body.Reading = &r
	return body
}

// sealed gives the instruments and verdicts of the newest signed record.
func (a attended) sealed(t *testing.T) (record struct {
	Instruments []struct {
		InstrumentID uuid.UUID `json:"instrument_id"`
		Day, Serial  string
		Version      int
		Until        string `json:"calibrated_until"`
		InDate       bool   `json:"in_date"`
	}
	Judged []struct {
		Verdicts []struct {
			Readings []struct {
				Name        string
				Uncertainty *float64
			}
		}
	}
}) {
	t.Helper()
	var canonical []byte
	if err := a.db.Admin.QueryRow(t.Context(), "select canonical from record_log order by seq desc limit 1").Scan(&canonical); err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(canonical, &record); err != nil {
		t.Fatal(err)
	}
	return record
}

func TestADoorDoesNotPassByAnInstrumentThatWasNotInCalibration(t *testing.T) {
	t.Parallel()
	a := newAttended(t) // on 3 March 2026
	gauge := a.gauge(t, "2026-03-02")
	read := func() []fleet.EntryBody {
		bodies := passing()
		for i, b := range bodies {
			if b.Reading != nil && b.Reading.Name == "closing_force_n" {
				bodies[i] = readWith(gauge.InstrumentID, b)
			}
		}
		return bodies
	}
	wantFault(t, a.inspection(t, technician, read()...), "instrument_out_of_calibration")
	failed := append(read()[:len(read())-1], concluded("failed"))
	if err := a.inspection(t, technician, failed...); err != nil {
		t.Error("nobody is kept from saying that a door failed:", err)
	}
	if got := a.sealed(t).Instruments; len(got) != 1 || got[0].InDate || got[0].Until != "2026-03-02" || got[0].Serial != "G-3" || got[0].Day != "2026-03-03" {
		t.Errorf("sealed is %+v", got)
	}

	again := gauge
	again.CalibratedOn, again.CalibratedUntil, again.Certificate = day("2026-03-01"), day("2027-02-28"), "C-8"
	_, _, err := a.PutInstrument(t.Context(), dispatcher, again, 0)
	wantFault(t, err, "version_required")
	if again, _, err = a.PutInstrument(t.Context(), dispatcher, again, 1); err != nil || again.Version != 2 {
		t.Fatal(again, err)
	}
	lost := again // a certificate of a later day hides none that covers the day
	lost.CalibratedOn, lost.CalibratedUntil, lost.Retired = day("2026-03-04"), duedate.Day{}, true
	if _, _, err = a.PutInstrument(t.Context(), dispatcher, lost, 2); err != nil {
		t.Fatal(err)
	}
	if err := a.inspection(t, technician, read()...); err != nil {
		t.Fatal(err)
	}
	record := a.sealed(t)
	if got := record.Instruments; len(got) != 1 || !got[0].InDate || got[0].Version != 2 {
		t.Errorf("sealed is %+v", got)
	}
	stated := 0
	for _, j := range record.Judged {
		for _, v := range j.Verdicts {
			for _, r := range v.Readings {
				if r.Name == "closing_force_n" && r.Uncertainty != nil && *r.Uncertainty == 2 {
					stated++
				}
			}
		}
	}
	if stated == 0 {
		t.Error("the instrument's uncertainty was not judged with")
	}
	if versions, err := a.Instrument(t.Context(), dispatcher, gauge.InstrumentID); err != nil || len(versions) != 3 || !versions[0].Retired || versions[2].Certificate != "C-7" {
		t.Error(versions, err)
	}
}

// The limit is 133.4 N (30 lbf, A156.10): 132 N passes by itself, and is undecided when the gauge may be off by 2 N.
func TestTheUncertaintyOfTheInstrumentIsThatOfTheReading(t *testing.T) {
	t.Parallel()
	a := newAttended(t)
	gauge := a.gauge(t, "2027-01-01")
	near := measured("closing_force_n", 132)
	if err := a.inspection(t, technician, passing(near)...); err != nil {
		t.Fatal(err)
	}
	a.pass(24 * time.Hour)
	wantFault(t, a.inspection(t, technician, passing(readWith(gauge.InstrumentID, near))...), "rules_undecided")
	own := readWith(gauge.InstrumentID, near)
	own.Reading.Uncertainty = p(0.5) // a better one was worked out at the door
	a.pass(24 * time.Hour)
	if err := a.inspection(t, technician, passing(own)...); err != nil {
		t.Error(err)
	}
}

func TestAnInstrumentThatCannotBeRightIsRefused(t *testing.T) {
	t.Parallel()
	a := newAttended(t)
	good := fleet.Instrument{InstrumentID: a.id(), Kind: "stopwatch", Name: "Watch"}
	for name, c := range map[string]struct {
		change func(*fleet.Instrument)
		want   []string
	}{
		"of no kind":              {func(i *fleet.Instrument) { i.Kind, i.Name = "hammer", "" }, []string{"word_unknown at /kind", "text_missing at /name"}},
		"calibrated until, since": {func(i *fleet.Instrument) { i.CalibratedUntil = day("2027-01-01") }, []string{"date_missing at /calibrated_on"}},
		"calibrated backwards":    {func(i *fleet.Instrument) { i.CalibratedOn, i.CalibratedUntil = day("2026-02-01"), day("2026-01-01") }, []string{"calibration_ends_early at /calibrated_until"}},
		"in units that nobody reads": {func(i *fleet.Instrument) { i.Uncertainty = map[string]float64{"lbf": 1, "m/s": -1, "s": 0} },
			[]string{"word_unknown at /uncertainty/lbf", "uncertainty_impossible at /uncertainty/m~1s", "uncertainty_impossible at /uncertainty/s"}},
	} {
		t.Run(name, func(t *testing.T) {
			i := good
			c.change(&i)
			_, _, err := a.PutInstrument(t.Context(), dispatcher, i, 0)
			wantFault(t, err, c.want...)
		})
	}
	if _, err := a.Instrument(t.Context(), dispatcher, good.InstrumentID); err == nil {
		t.Error("something was registered")
	}
	if _, created, err := a.PutInstrument(t.Context(), dispatcher, good, 0); err != nil || !created {
		t.Fatal(err)
	}
	if same, created, err := a.PutInstrument(t.Context(), dispatcher, good, 0); err != nil || created || same.Version != 1 {
		t.Error("the same again:", same, created, err)
	}
}
