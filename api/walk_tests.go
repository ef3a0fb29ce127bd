package api

import (
	"context"
	"math"
	"net/http"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/identity"
)

// WalkTestBody is what was measured of a device's field by walking.
type WalkTestBody struct {
	BodyHeightM float64    `json:"body_height_m" minimum:"0.2" maximum:"2.5" doc:"Of who walked."`
	Marks       []walkMark `json:"marks,omitempty" maxItems:"200" doc:"Points of the floor where the output came: at least four, from several directions."`
	WidthM      *float64   `json:"width_m,omitempty" minimum:"0.05" maximum:"40" doc:"Instead of marks: the taped width of the field, with what the device confirms and is late already taken off."`
	DepthM      *float64   `json:"depth_m,omitempty" minimum:"0.05" maximum:"40" doc:"Its depth. Width and depth tell the range only."`
}

type walkMark struct {
	XM         float64  `json:"x_m" minimum:"-30" maximum:"30" doc:"From the middle of the opening to the right of somebody who stands in it with the door behind them."`
	YM         float64  `json:"y_m" minimum:"-30" maximum:"30" doc:"From the closed leaf."`
	HeadingDeg *float64 `json:"heading_deg,omitempty" minimum:"-360" maximum:"360" doc:"Of the walk: 0 is away from the door, 90 to the right, 180 straight at it. Absent: to the middle of the opening."`
	SpeedMPS   *float64 `json:"speed_mps,omitempty" minimum:"0.05" maximum:"5" doc:"Absent: 1 m/s."`
}

func (b WalkTestBody) fleet(component uuid.UUID) fleet.EntryWalkTest {
	w := fleet.EntryWalkTest{ComponentID: component, BodyHeightM: b.BodyHeightM, WidthM: b.WidthM, DepthM: b.DepthM}
	for _, m := range b.Marks {
		w.Marks = append(w.Marks, fleet.WalkMark(m))
	}
	return w
}

type walkTestIn struct {
	DevicePath
	Body WalkTestBody
}

type walkFitIn struct {
	VisitID uuid.UUID `path:"visit_id" format:"uuid"`
	EntryID uuid.UUID `path:"entry_id" format:"uuid"`
}

// walkFitItem is what a walk test says of a device.
type walkFitItem struct {
	ComponentID  uuid.UUID      `json:"component_id" format:"uuid"`
	RevisionID   uuid.UUID      `json:"revision_id" format:"uuid" doc:"How the device was mounted and set when it was walked."`
	ModelVersion string         `json:"model_version"`
	Values       []walkValue    `json:"values" doc:"Range and tilt with the intervals that hold 95 %. Not determined: what was measured leaves it open."`
	Residuals    []walkResidual `json:"residuals" doc:"Of the marks in their order, or of width and depth."`
	ScatterM     float64        `json:"scatter_m" doc:"Standard deviation of what is no outlier."`
	Next         *walkMark      `json:"next,omitempty" doc:"Where another mark would help most."`
	Refused      []walkRefusal  `json:"refused,omitempty" doc:"Values that the tolerances of the catalogue forbid: the fit is not taken over."`
	Drift        []walkDrift    `json:"drift,omitempty" doc:"Against the fit that held when it was walked."`
	Accepted     bool           `json:"accepted" doc:"The field rests on it."`
	Told         []string       `json:"told" doc:"The same in words."`
	Caution      string         `json:"caution"`
}

type walkValue struct {
	Parameter  string  `json:"parameter"`
	Value      float64 `json:"value"`
	SD         float64 `json:"sd" doc:"Of the tape, the walker and what is held; 0 when nothing is known."`
	Low        float64 `json:"low"`
	Top        float64 `json:"top"`
	Determined bool    `json:"determined"`
}

type walkResidual struct {
	M       *float64 `json:"m,omitempty" doc:"How far outside of the fitted field it lies; negative: inside."`
	Outlier bool     `json:"outlier" doc:"It contradicts the others and did not count."`
	Unused  string   `json:"unused,omitempty" enum:"too_slow" doc:"Why it tells nothing."`
}

type walkRefusal struct {
	Parameter string          `json:"parameter"`
	Value     float64         `json:"value"`
	Low       float64         `json:"low"`
	Top       float64         `json:"top"`
	Remeasure []walkRemeasure `json:"remeasure" doc:"What would have to be otherwise to bring it within what is allowed, the more likely first."`
}

type walkRemeasure struct {
	Parameter string  `json:"parameter"`
	By        float64 `json:"by" doc:"In its own unit."`
}

type walkDrift struct {
	Parameter string  `json:"parameter"`
	By        float64 `json:"by"`
	Low       float64 `json:"low"`
	Top       float64 `json:"top"`
	Moved     bool    `json:"moved" doc:"The interval does not hold 0."`
}

type walkFitOut struct {
	Body walkFitItem
}

func (a *API) walkTests() {
	add(a, operation("walk-test", http.MethodPost, "/v1/components/{component_id}/walk-test", identity.ActReadOffice, "What a walk test would say of a device; nothing is recorded"), a.walkTest)
	add(a, operation("walk-fit-get", http.MethodGet, "/v1/visits/{visit_id}/entries/{entry_id}/fit", identity.ActReadOffice, "What a walk test of a visit says of its device"), a.walkFitGet)
	add(a, operation("walk-fit-put", http.MethodPut, "/v1/visits/{visit_id}/entries/{entry_id}/fit", identity.ActAcceptFit, "Take over what a walk test says: the field rests on it from then on"), a.walkFitPut)
}

func (a *API) walkTest(ctx context.Context, by identity.Actor, in *walkTestIn) (*walkFitOut, error) {
	w, err := a.Fleet.PreviewWalkTest(ctx, by, in.Body.fleet(in.ComponentID))
	if err != nil {
		return nil, err
	}
	return &walkFitOut{a.newWalkFitItem(by, w)}, nil
}

func (a *API) walkFitGet(ctx context.Context, by identity.Actor, in *walkFitIn) (*walkFitOut, error) {
	_, w, err := a.Fleet.WalkFit(ctx, by, in.VisitID, in.EntryID)
	if err != nil {
		return nil, err
	}
	return &walkFitOut{a.newWalkFitItem(by, w)}, nil
}

func (a *API) walkFitPut(ctx context.Context, by identity.Actor, in *walkFitIn) (*revisionOut, error) {
	saved, isNew, err := a.Fleet.AcceptFit(ctx, by, in.VisitID, in.EntryID)
	if err != nil {
		return nil, err
	}
	return &revisionOut{Status: created(isNew), Body: newRevisionItem(by, saved)}, nil
}

func (a *API) newWalkFitItem(by identity.Actor, w fleet.WalkFit) walkFitItem {
	p := a.printer(by)
	item := walkFitItem{ComponentID: w.Component.ComponentID, RevisionID: w.Revision.RevisionID, ModelVersion: w.Fit.ModelVersion, Values: []walkValue{}, ScatterM: w.Fit.ScatterM,
		Residuals: []walkResidual{}, Accepted: w.Accepted, Told: w.Told(p), Caution: p.T("walk.caution")}
	for _, v := range w.Fit.Values {
		item.Values = append(item.Values, walkValue{string(v.Parameter), v.Value, v.SD, v.Low, v.Top, v.Determined})
	}
	for _, r := range w.Fit.Residuals {
		one := walkResidual{Outlier: r.Outlier, Unused: string(r.Unused)}
		if r.Unused == "" && !math.IsNaN(r.M) {
			one.M = &r.M
		}
		item.Residuals = append(item.Residuals, one)
	}
	if m := w.Fit.Next; m != nil {
		item.Next = &walkMark{m.At[0], m.At[1], &m.HeadingDeg, &m.SpeedMps}
	}
	for _, no := range w.Fit.Refused {
		one := walkRefusal{string(no.Parameter), no.Value, no.Low, no.Top, []walkRemeasure{}}
		for _, m := range no.Remeasure {
			one.Remeasure = append(one.Remeasure, walkRemeasure{string(m.Parameter), m.By})
		}
		item.Refused = append(item.Refused, one)
	}
	for _, d := range w.Drift {
		item.Drift = append(item.Drift, walkDrift{string(d.Parameter), d.By, d.Low, d.Top, d.Moved})
	}
	return item
}
