package api

import (
	"context"
	"net/http"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/identity"
)

type InstrumentPath struct {
	InstrumentID uuid.UUID `path:"instrument_id" format:"uuid"`
}

// InstrumentBody is what a client says of an instrument.
type InstrumentBody struct {
	Kind            string             `json:"kind" enum:"force_gauge,stopwatch,tape,energy_gauge,light_meter,angle_gauge,speed_meter,other"`
	Name            string             `json:"name" minLength:"1" maxLength:"200" doc:"What it is, in the company's own words."`
	Serial          string             `json:"serial,omitempty" maxLength:"100"`
	CalibratedOn    string             `json:"calibrated_on,omitempty" format:"date" doc:"Absent: never, as far as anybody knows; then no door passes by it."`
	CalibratedUntil string             `json:"calibrated_until,omitempty" format:"date" doc:"The last day; absent: no end is stated."`
	Certificate     string             `json:"certificate,omitempty" maxLength:"100" doc:"Its number."`
	Uncertainty     map[string]float64 `json:"uncertainty,omitempty" doc:"Expanded uncertainty (coverage factor k = 2) by the unit of readings (N, s, m, J, m/s, deg): taken for readings that state none."`
	Retired         bool               `json:"retired,omitempty"`
}

type instrumentItem struct {
	InstrumentID uuid.UUID `json:"instrument_id" format:"uuid"`
	InstrumentBody
	Version    int       `json:"version"`
	RecordedAt time.Time `json:"recorded_at"`
	RecordedBy uuid.UUID `json:"recorded_by" format:"uuid"`
}

func newInstrumentItem(i fleet.Instrument) instrumentItem {
	text := func(d duedate.Day) string {
		if d.IsZero() {
			return ""
		}
		return d.String()
	}
	return instrumentItem{InstrumentID: i.InstrumentID, Version: i.Version, RecordedAt: i.RecordedAt, RecordedBy: i.RecordedBy,
		InstrumentBody: InstrumentBody{Kind: i.Kind, Name: i.Name, Serial: i.Serial, CalibratedOn: text(i.CalibratedOn), CalibratedUntil: text(i.CalibratedUntil),
			Certificate: i.Certificate, Uncertainty: i.Uncertainty, Retired: i.Retired}}
}

type instrumentPutIn struct {
	InstrumentPath
	IfMatch
	Body InstrumentBody
}

type instrumentOut struct {
	Status int
	ETag   string `header:"ETag"`
	Body   instrumentItem
}

type instrumentGetOut struct {
	ETag string `header:"ETag"`
	Body struct {
		Versions []instrumentItem `json:"versions" doc:"The newest first: each calibration, and whatever was put right."`
	}
}

type instrumentListIn struct{ PageIn }

type instrumentListOut struct {
	Body struct {
		Instruments []instrumentItem `json:"instruments" doc:"Each in its newest version."`
		PageOut
	}
}

func (a *API) instruments() {
	add(a, operation("instrument-list", http.MethodGet, "/v1/instruments", identity.ActReadOffice, "What readings are taken with"), a.instrumentList)
	add(a, operation("instrument-get", http.MethodGet, "/v1/instruments/{instrument_id}", identity.ActReadOffice, "An instrument with all its versions"), a.instrumentGet)
	add(a, operation("instrument-put", http.MethodPut, "/v1/instruments/{instrument_id}", identity.ActKeepInstruments, "Register an instrument, its next calibration, or that it is retired"), a.instrumentPut)
}

func (a *API) instrumentList(ctx context.Context, by identity.Actor, in *instrumentListIn) (*instrumentListOut, error) {
	var after nameKey
	if err := readCursor(in.After, &after); err != nil {
		return nil, err
	}
	list, err := a.Fleet.Instruments(ctx, by, fleet.InstrumentQuery{AfterID: after.ID, Limit: in.Limit})
	if err != nil {
		return nil, err
	}
	out := &instrumentListOut{}
	out.Body.Instruments = make([]instrumentItem, len(list))
	for n, i := range list {
		out.Body.Instruments[n] = newInstrumentItem(i)
	}
	if len(list) == in.Limit {
		out.Body.Next = cursor(nameKey{ID: list[len(list)-1].InstrumentID})
	}
	return out, nil
}

func (a *API) instrumentGet(ctx context.Context, by identity.Actor, in *InstrumentPath) (*instrumentGetOut, error) {
	versions, err := a.Fleet.Instrument(ctx, by, in.InstrumentID)
	if err != nil {
		return nil, err
	}
	out := &instrumentGetOut{ETag: etag(versions[0].Version)}
	for _, v := range versions {
		out.Body.Versions = append(out.Body.Versions, newInstrumentItem(v))
	}
	return out, nil
}

func (a *API) instrumentPut(ctx context.Context, by identity.Actor, in *instrumentPutIn) (*instrumentOut, error) {
	version, err := in.version()
	if err != nil {
		return nil, err
	}
	var read reader
	b := in.Body
	i := fleet.Instrument{InstrumentID: in.InstrumentID, Kind: b.Kind, Name: b.Name, Serial: b.Serial, CalibratedOn: read.day("/calibrated_on", b.CalibratedOn),
		CalibratedUntil: read.day("/calibrated_until", b.CalibratedUntil), Certificate: b.Certificate, Uncertainty: b.Uncertainty, Retired: b.Retired}
	if err := read.faults.Err(); err != nil {
		return nil, err
	}
	saved, isNew, err := a.Fleet.PutInstrument(ctx, by, i, version)
	if err != nil {
		return nil, err
	}
	return &instrumentOut{Status: created(isNew), ETag: etag(saved.Version), Body: newInstrumentItem(saved)}, nil
}
