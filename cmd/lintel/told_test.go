package main

import (
	"errors"
	"testing"

	"lintel.example/lintel/internal/fault"
	"lintel.example/lintel/internal/words"
)

func TestAFaultOfWhatWasAskedIsBadInputAndNamesItsFlag(t *testing.T) {
	catalogue, err := words.Load()
	if err != nil {
		t.Fatal(err)
	}
	var faults fault.List
	faults.Add("/months", "out_of_range", "least", 1, "greatest", 36)
	faults.Add("/other", "door_not_found")
	err = toldOf(catalogue, map[string]string{"/months": "--months"}, faults.Err())
	var bad badInput
	if want := "--months: This lies outside of 1 to 36. " + catalogue.Printer("en", words.Metric).T("problem.door_not_found"); !errors.As(err, &bad) || err.Error() != want {
		t.Errorf("%T %v, want %s", err, err, want)
	}
}

// Exit code 2 tells a script to ask otherwise, 1 to ask again.
func TestWhatTheDatabaseComplainsOfIsNoBadInput(t *testing.T) {
	var bad badInput
	if lost := errors.New("connection lost"); errors.As(told(nil, lost), &bad) || !errors.Is(told(nil, lost), lost) {
		t.Error("blamed on who asked")
	}
}
