package fleet_test

import (
	"flag"
	"os"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/uuid"

	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/words"
)

var update = flag.Bool("update", false, "write the golden files anew")

// sick is a door that has something of everything: a leaf in the field, a pavement before it, a radar that is to protect, no wiring.
func (r *rig) sick(t *testing.T) (door fleet.Door, sensor uuid.UUID) {
	t.Helper()
	put := r.doorFacts(r.site(t, r.customer(t, "Harbour").CustomerID, "East").SiteID, "Main")
	put.Facts.OpeningTimeS = fleet.Q(3.5, fleet.Measured)
	put.Facts.A.KeptClear = []fleet.KeptClearZone{{What: "pavement", X0M: -3, X1M: 3, Y0M: 1.2, Y1M: 2.2}}
	door, _, err := r.PutDoor(t.Context(), dispatcher, put)
	if err != nil {
		t.Fatal(err)
	}
	sensor, facts := r.sensorOf(t, door.DoorID)
	facts.Settings.ConfirmTravelMM, facts.Settings.OutputHoldS = fleet.Q(20, fleet.Measured), fleet.Q(8, fleet.Measured)
	if _, _, err := r.PutRevision(t.Context(), dispatcher, fleet.Revision{ComponentID: sensor, RevisionID: r.id(), Standing: "left", Reason: "reach raised", Device: facts}); err != nil {
		t.Fatal(err)
	}
	r.pass(48 * time.Hour)
	return door, sensor
}

// Every sentence of evidence must hold the number that it rests on; the transcript is read by people when it changes.
func TestADiagnosisTellsOnlyWhatTheRecordAndThePhysicsSupport(t *testing.T) {
	t.Parallel()
	r := newFleet(t)
	door, _ := r.sick(t)
	catalogue, err := words.Load()
	if err != nil {
		t.Fatal(err)
	}
	var text strings.Builder
	for _, symptom := range []string{"reopens_by_itself", "stays_open", "opens_late", "opens_for_passers", "opens_for_nobody", "misses_who_stands", "opens_in_weather", "answers_for_the_other", "lock_code_unknown"} {
		d, err := r.Diagnose(t.Context(), dispatcher, door.DoorID, symptom, duedate.DayIn(r.Now(), time.UTC))
		if err != nil {
			t.Fatal(err)
		}
		text.WriteString("# " + symptom + "\n")
		for _, s := range d.Told(catalogue.Printer("en", words.Metric)) {
			text.WriteString(s.Heading + "\n")
			for _, line := range s.Sentences {
				text.WriteString("  " + line + "\n")
			}
		}
		text.WriteString("\n")
	}
	if strings.Contains(text.String(), "⟦") {
		t.Error("a text is missing")
	}
	const golden = "testdata/diagnosis.txt"
	if *update {
		if err := os.MkdirAll("testdata", 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(golden, []byte(text.String()), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	kept, err := os.ReadFile(golden)
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(string(kept), text.String()); diff != "" {
		t.Errorf("it tells something else (-before +now):\n%s", diff)
	}
	_, err = r.Diagnose(t.Context(), dispatcher, door.DoorID, "squeaks", duedate.Day{})
	wantFault(t, err, "symptom_unknown at /symptom")
}

func TestADoorOfWhichNothingIsRecordedHasNoCauseAndALotToFindOut(t *testing.T) {
	t.Parallel()
	r := newFleet(t)
	door := r.door(t, r.site(t, r.customer(t, "Harbour").CustomerID, "East").SiteID, "Main")
	d, err := r.Diagnose(t.Context(), dispatcher, door.DoorID, "reopens_by_itself", duedate.Day{})
	if err != nil || len(d.Causes) > 0 || len(d.FindOut) < 5 {
		t.Errorf("%v, to find out %v, %v", d.Causes, d.FindOut, err)
	}
}
