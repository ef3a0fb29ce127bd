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
	r.transcript(t, door, "testdata/diagnosis.txt", "reopens_by_itself", "stays_open", "opens_late", "opens_for_passers", "opens_for_nobody", "misses_who_stands", "opens_in_weather", "answers_for_the_other", "lock_code_unknown")
	_, err := r.Diagnose(t.Context(), dispatcher, door.DoorID, "squeaks", duedate.Day{})
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

// transcript holds what is told of symptoms that began today against what was read before.
func (r *rig) transcript(t *testing.T, door fleet.Door, golden string, symptoms ...string) {
	t.Helper()
	catalogue, err := loadWords()
	if err != nil {
		t.Fatal(err)
	}
	var text strings.Builder
	for _, symptom := range symptoms {
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
}

// overlooked is a door with a leaf that swings into the field of one of two sensors whose fields overlap, and through whose opening the other side is seen.
func (r *rig) overlooked(t *testing.T) fleet.Door {
	t.Helper()
	put := r.doorFacts(r.site(t, r.customer(t, "Harbour").CustomerID, "West").SiteID, "Side")
	put.Facts.Kind, put.Facts.ClearWidthM, put.Facts.OpeningTimeS = "swinging", fleet.Q(0.95, fleet.Measured), fleet.Q(3, fleet.Measured)
	put.Facts.Interior = p(true)
	put.Facts.RuleBasis = fleet.RuleBasis{PackID: "a156.10@2005", Since: day("2026-01-01"), Why: "in force when the door was built"}
	put.Facts.Leaves = []fleet.Leaf{{Motion: "swing", Hinge: "left", OpensTowards: "a", WidthM: fleet.Q(1, fleet.Measured), HeightM: fleet.Q(2.4, fleet.Measured), MassKg: fleet.Q(50, fleet.Measured)}}
	door, _, err := r.PutDoor(t.Context(), dispatcher, put)
	if err != nil {
		t.Fatal(err)
	}
	model := r.model(t)
	for i, mount := range []fleet.MountFacts{
		{HeightM: fleet.Q(2.2, fleet.Measured), OffsetXM: fleet.Q(-0.2, fleet.Measured), OffsetYM: fleet.Q(0.15, fleet.Measured), TiltDeg: fleet.Q(20, fleet.Measured), YawDeg: fleet.Q(0, fleet.Measured)},
		{HeightM: fleet.Q(2.2, fleet.Measured), OffsetXM: fleet.Q(0.2, fleet.Measured), OffsetYM: fleet.Q(0.9, fleet.Measured), TiltDeg: fleet.Q(35, fleet.Measured), YawDeg: fleet.Q(180, fleet.Measured)}, // on an arm, looking back
	} {
		c, _, err := r.PutComponent(t.Context(), dispatcher, fleet.ComponentPut{ComponentID: r.id(), DoorID: door.DoorID, Kind: "sensor", ModelID: &model.ModelID, Serial: []string{"W-1", "W-2"}[i],
			Fitting: fleet.Fitting{State: "fitted", Side: "a", Input: "activate", Contact: "normally_open"}, Reason: "seen"})
		if err != nil {
			t.Fatal(err)
		}
		facts := fleet.DeviceFacts{AntennaID: &model.Antennas[0].AntennaID, Accessories: []uuid.UUID{},
			Mount:    mount,
			Settings: fleet.Settings{ReachDB: fleet.Q(0, fleet.Measured), MotionDirection: "either", ConfirmTravelMM: fleet.Q(30, fleet.Measured), OutputHoldS: fleet.Q(6, fleet.Measured), OutputContact: "unknown"}}
		if _, _, err := r.PutRevision(t.Context(), dispatcher, fleet.Revision{ComponentID: c.ComponentID, RevisionID: r.id(), Standing: "left", Reason: "first", Device: facts}); err != nil {
			t.Fatal(err)
		}
	}
	r.pass(48 * time.Hour)
	return door
}

func TestASwingingLeafAnOpenDoorwayAndANeighbouringSensorAreToldInNumbers(t *testing.T) {
	t.Parallel()
	r := newFleet(t)
	r.transcript(t, r.overlooked(t), "testdata/diagnosis_overlooked.txt", "reopens_by_itself", "stays_open", "opens_late", "opens_in_weather", "answers_for_the_other")
}
