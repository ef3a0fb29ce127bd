package api

import (
	"context"
	"net/http"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/advice"
	"lintel.example/lintel/internal/diagnosis"
	"lintel.example/lintel/internal/identity"
)

type diagnosisIn struct {
	DoorPath
	Symptom string `path:"symptom" enum:"reopens_by_itself,stays_open,opens_late,opens_for_passers,opens_for_nobody,misses_who_stands,opens_in_weather,answers_for_the_other,lock_code_unknown"`
	Since   string `query:"since" format:"date" doc:"Day on which it began at the site; left out: not known."`
}

type diagnosisOut struct {
	Body struct {
		DoorID   uuid.UUID            `json:"door_id"`
		Symptom  diagnosis.Symptom    `json:"symptom"`
		Causes   []diagnosis.Cause    `json:"causes" doc:"Most likely first; each with the evidence that speaks for it. No cause is named for which nothing speaks."`
		FindOut  []string             `json:"find_out" doc:"Evidence that nobody knows."`
		Evidence []diagnosis.Evidence `json:"evidence" doc:"Everything that is known, used or not."`
		Told     []advice.Section     `json:"told" doc:"The same in words, with the check that tells causes apart, remedies with their foretold effect, and the caution."`
	}
}

func (a *API) diagnoses() {
	add(a, operation("diagnosis-get", http.MethodGet, "/v1/doors/{door_id}/diagnosis/{symptom}", identity.ActReadOffice, "Why a door may misbehave, by its record and its computed fields"), a.diagnosisGet)
}

func (a *API) diagnosisGet(ctx context.Context, by identity.Actor, in *diagnosisIn) (*diagnosisOut, error) {
	var l reader
	since := l.day("/since", in.Since)
	if err := l.faults.Err(); err != nil {
		return nil, err
	}
	d, err := a.Fleet.Diagnose(ctx, by, in.DoorID, in.Symptom, since)
	if err != nil {
		return nil, err
	}
	out := &diagnosisOut{}
	out.Body.DoorID, out.Body.Symptom, out.Body.Causes, out.Body.FindOut = in.DoorID, d.Symptom, d.Causes, d.FindOut
	out.Body.Evidence, out.Body.Told = d.Evidence, d.Told(a.printer(by))
	return out, nil
}
