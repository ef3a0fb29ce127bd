package fleet

import (
	"context"
	"fmt"
	"slices"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/fault"
	"lintel.example/lintel/internal/identity"
)

// FactAnswer is a fact of a door that nobody knew and that somebody has seen or measured there: a word, of what is one or the other yes or
// no, or else a value in the SI unit that ends the member's name.
type FactAnswer struct {
	Pointer string // as faults of PutDoor point: /facts/egress
	Word    string
	Value   *float64
}

// AnswerFacts records facts of a door that rules want and nobody knew. Whoever attends a visit to the door may, so that an inspection does not
// wait for the office; what is known already is changed in the register only. The same answer again is success.
func (f *Fleet) AnswerFacts(ctx context.Context, by identity.Actor, doorID, visitID uuid.UUID, answers []FactAnswer) (Door, error) {
	var door Door
	var arrived time.Time
	err := f.Store.InTxReadOnly(ctx, by, func(ctx context.Context, tx Tx) (err error) {
		if door, err = tx.DoorByID(ctx, doorID, AsOf{}); err != nil {
			return err
		}
		v, err := tx.VisitByID(ctx, visitID)
		switch {
		case err != nil:
			return err
		case v.SiteID != door.SiteID:
			return fault.At("/door_id", "door_of_other_site")
		case v.SignedAt != nil:
			return fault.New(fault.Conflict, "visit_signed")
		case v.Attendance == nil:
			return fault.New(fault.Conflict, "attendance_missing")
		case !slices.Contains(v.Attendance.People, by.PersonID):
			return fault.New(fault.Forbidden, "not_present")
		}
		arrived = v.Attendance.ArrivedAt
		return nil
	})
	if err != nil {
		return Door{}, err
	}
	facts := door.Facts
	facts.Leaves = slices.Clone(facts.Leaves)
	var faults fault.List
	said := false
	for _, a := range answers {
		isNew, code := facts.answer(a)
		if code != "" {
			faults.Add(a.Pointer, code)
		}
		said = said || isNew
	}
	if err := faults.Err(); err != nil {
		return Door{}, err
	}
	if !said { // sent again
		return door, nil
	}
	since := arrived // it was so when they came
	if door.Version.EffectiveAt.After(since) {
		since = door.Version.EffectiveAt
	}
	saved, _, err := f.PutDoor(ctx, by, DoorPut{DoorID: doorID, SiteID: door.SiteID, Name: door.Name, Facts: facts, EffectiveAt: since, Reason: "visit", IfMatch: door.Version.VersionID})
	return saved, err
}

// answer says what was unknown; isNew is false where it is known to be so. Else it gives the code of what is wrong.
func (d *DoorFacts) answer(a FactAnswer) (isNew bool, code string) {
	words := map[string]*string{"/facts/energy": &d.Energy, "/facts/traffic": &d.Traffic, "/facts/presence_by": &d.PresenceBy, "/facts/side_a/activation": &d.A.Activation, "/facts/side_b/activation": &d.B.Activation}
	answers := map[string]**bool{"/facts/egress": &d.Egress, "/facts/fire_rated": &d.FireRated, "/facts/interior": &d.Interior, "/facts/vulnerable_users": &d.VulnerableUsers}
	values := map[string]*Quantity{"/facts/clear_width_m": &d.ClearWidthM, "/facts/opening_time_s": &d.OpeningTimeS, "/facts/closing_time_s": &d.ClosingTimeS}
	for i := range d.Leaves {
		at := fmt.Sprintf("/facts/leaves/%d", i)
		values[at+"/width_m"], values[at+"/height_m"], values[at+"/mass_kg"] = &d.Leaves[i].WidthM, &d.Leaves[i].HeightM, &d.Leaves[i].MassKg
	}
	yes := a.Word == "yes"
	switch word, answer, value := words[a.Pointer], answers[a.Pointer], values[a.Pointer]; {
	case word == nil && answer == nil && value == nil:
		return false, "fact_not_wanted"
	case word != nil && a.Word == "", answer != nil && !yes && a.Word != "no", value != nil && a.Value == nil:
		return false, "choice_missing"
	case word != nil && *word == a.Word, answer != nil && *answer != nil && **answer == yes, value != nil && value.Known() && *value.Value == *a.Value:
		return false, ""
	case word != nil && *word == "unknown":
		*word = a.Word // a word that there is not is refused with the door
	case answer != nil && *answer == nil:
		*answer = &yes
	case value != nil && !value.Known():
		*value = Q(*a.Value, Measured)
	default:
		return false, "fact_not_wanted"
	}
	return true, ""
}
