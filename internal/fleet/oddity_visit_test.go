package fleet_test

import (
	"slices"
	"testing"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/fault"
)

func TestWhatIsSeenAfterTheSignersLeftIsAskedAboutAndStopsNoSignOff(t *testing.T) {
	t.Parallel()
	a := newAttended(t)
	visit := a.open(t)
	within, afterwards := a.append(t, visit, a.at(5, note("came in"))), a.append(t, visit, a.at(50, note("the hall is quiet")))
	if list, err := a.VisitOddities(t.Context(), dispatcher, visit); err != nil || len(list) != 0 {
		t.Fatal("before anybody has signed:", list, err)
	}
	signOff := a.signOff(t, visit, []piece{within, afterwards})
	signOff.LeftAt = a.now.Add(40 * time.Minute)
	if _, _, err := a.PutSignOff(t.Context(), technician, visit, signOff); err != nil {
		t.Fatal(err)
	}
	list, err := a.VisitOddities(t.Context(), dispatcher, visit)
	if err != nil || len(list) != 1 || list[0].Kind != "outside_the_visit" || list[0].Of != 2 || !slices.Equal(list[0].Entries, []uuid.UUID{afterwards.entry}) {
		t.Errorf("%+v, %v", list, err)
	}
	if list, err := a.VisitOddities(t.Context(), dispatcher, a.id()); !fault.Is(err, "visit_not_found") {
		t.Errorf("of a visit that nobody knows: %+v, %v", list, err)
	}
}
