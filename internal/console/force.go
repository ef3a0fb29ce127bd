package console

import (
	"bytes"
	"context"
	"html/template"
	"math"
	"slices"
	"strings"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/identity"
	"lintel.example/lintel/internal/report"
	"lintel.example/lintel/internal/rulebook"
)

type forceData struct {
	Visit   uuid.UUID
	Door    doorName
	Zone    string
	Entry   fleet.Entry
	With    string // the gauge; "" where nobody says, or these eyes do not see it
	Sealed  bool   // the limits are those of the signed verdicts
	Limits  []forceLimit
	Drawing template.HTML
	Steps   []forceStep
}

// forceLimit is what the rules asked of one of the readings when its visit was signed, or ask of it today.
type forceLimit struct {
	fleet.EntryReading
	Limit fleet.SeriesLimit
	Says  string
}

// forceStep is one row of the curve in numbers.
type forceStep struct{ After, Force, Limit string }

// leadS is how much is drawn of what was recorded before the contact, seconds.
const leadS = 0.05

// mostSteps is how many rows the curve has in numbers, about.
const mostSteps = 40

// force shows a force course with its curve.
func (c *Console) force(ctx context.Context, q *request) (answer, error) {
	r, err := c.recordedForce(ctx, q)
	if err != nil {
		return nil, err
	}
	e := r.Entry
	names, err := c.Fleet.Names(ctx, q.by, fleet.Named{Doors: []uuid.UUID{e.DoorID}})
	if err != nil {
		return nil, err
	}
	w := writer{q.texts}
	data := forceData{Visit: e.VisitID, Door: doorName{e.DoorID, names[e.DoorID]}, Zone: names[e.DoorID].TimeZone, Entry: e, Sealed: r.Sealed, Steps: w.forceSteps(r)}
	if id := e.Body.ForceCourse.InstrumentID; id != nil && q.by.May(identity.ActReadOffice) {
		versions, err := c.Fleet.Instrument(ctx, q.by, *id)
		if err != nil {
			return nil, err
		}
		data.With = versions[0].Name + " " + versions[0].Serial
	}
	for _, one := range e.Body.Readings() {
		limit := r.Peak
		if one.Name == "static_force_n" {
			limit = r.Static
		}
		data.Limits = append(data.Limits, forceLimit{one, limit, w.seriesLimit(fleet.Series{Reading: one.Name, Unit: "N", Limit: limit})})
	}
	data.Drawing, err = w.forceDrawing(r)
	return page{name: "force", data: data}, err
}

// forceSeries gives the series as the gauge wrote it.
func (c *Console) forceSeries(ctx context.Context, q *request) (answer, error) {
	r, err := c.recordedForce(ctx, q)
	if err != nil {
		return nil, err
	}
	return file{"text/csv; charset=utf-8", "force-" + r.Entry.Body.ForceCourse.SeriesSHA256.String()[:8] + ".csv", []byte(r.CSV)}, nil
}

func (c *Console) recordedForce(ctx context.Context, q *request) (r fleet.RecordedForce, err error) {
	visit, err := q.pathID("visit_id")
	if err != nil {
		return r, err
	}
	entry, err := q.pathID("entry_id")
	if err != nil {
		return r, err
	}
	return c.Fleet.RecordedForce(ctx, q.by, visit, entry)
}

func (w writer) forceDrawing(r fleet.RecordedForce) (template.HTML, error) {
	said := make([]string, 0, 2)
	for _, one := range r.Entry.Body.Readings() {
		said = append(said, w.reading(one))
	}
	d := report.ForceDrawing{Title: w.T("console.force.title"), Desc: w.T("console.force.desc", "readings", strings.Join(said, "; "), "count", len(r.Series), "seconds", math.Round(r.Course.LastsS*100)/100),
		Units: report.Units(w.Units()), StaticFromS: rulebook.StaticFromS, Peak: r.Peak.AtMost, Static: r.Static.AtMost, Sealed: r.Sealed}
	for _, s := range r.Series {
		if s.S < r.Course.ContactAtS-leadS {
			continue
		}
		d.Curve = append(d.Curve, report.ForcePoint{S: s.S - r.Course.ContactAtS, N: s.N})
	}
	var svg bytes.Buffer
	err := report.ForceSVG(&svg, w, d)
	return template.HTML(svg.String()), err // every text in it is escaped where it is written
}

// forceSteps are the curve in numbers, from the contact on, with the moment from which the force is static among them.
func (w writer) forceSteps(r fleet.RecordedForce) (steps []forceStep) {
	step := 0.05
	for r.Course.LastsS/step > mostSteps {
		step *= 2
	}
	at := []float64{r.Course.PeakAfterS}
	for after := 0.0; after <= r.Course.LastsS; after += step {
		at = append(at, after)
	}
	if r.Course.StaticN != nil {
		at = append(at, rulebook.StaticFromS)
	}
	slices.Sort(at)
	at = slices.CompactFunc(at, func(a, b float64) bool { return b-a < 1e-6 })
	for _, after := range at {
		limit := r.Peak
		if after >= rulebook.StaticFromS {
			limit = r.Static
		}
		said := w.T("console.force.limit.none")
		if limit.AtMost != nil {
			said = w.measured("N", *limit.AtMost)
		}
		steps = append(steps, forceStep{w.T("console.force.after", "seconds", math.Round(after*1000)/1000), w.measured("N", r.Series.At(r.Course.ContactAtS+after)), said})
	}
	return steps
}
