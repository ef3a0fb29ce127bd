package console

import (
	"bytes"
	"context"
	"html/template"
	"math"
	"net/http"
	"strconv"
	"strings"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/fault"
	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/identity"
	"lintel.example/lintel/internal/report"
	"lintel.example/lintel/internal/words"
)

// walkData is what a walk test says of a device, for a page of its own or below the form.
type walkData struct {
	fleet.WalkFit
	Told    []string
	Drawing template.HTML
	Marks   []walkLine
}

// walkLine is a mark, or a taped extent, against the fitted field.
type walkLine struct{ Number, At, Off, Note string }

type walkPage struct {
	Visit uuid.UUID
	Door  doorName
	Zone  string
	Entry fleet.Entry
	Walk  walkData
	May   bool // these eyes may take it over
	Form  form
}

// walkFit shows what a walk test of a visit says of its device.
func (c *Console) walkFit(ctx context.Context, q *request) (answer, error) {
	return c.walkFitPage(ctx, q, newForm(nil), 0)
}

func (c *Console) walkFitPage(ctx context.Context, q *request, f form, status int) (answer, error) {
	visit, err := q.pathID("visit_id")
	if err != nil {
		return nil, err
	}
	entry, err := q.pathID("entry_id")
	if err != nil {
		return nil, err
	}
	e, fit, err := c.Fleet.WalkFit(ctx, q.by, visit, entry)
	if err != nil {
		return nil, err
	}
	names, err := c.Fleet.Names(ctx, q.by, fleet.Named{Doors: []uuid.UUID{e.DoorID}, Components: []uuid.UUID{fit.Component.ComponentID}})
	if err != nil {
		return nil, err
	}
	data := walkPage{Visit: visit, Door: doorName{e.DoorID, names[e.DoorID]}, Zone: names[e.DoorID].TimeZone, Entry: e, Form: f, May: !fit.Accepted && len(fit.Fit.Refused) == 0 && q.by.May(identity.ActAcceptFit)}
	if data.Walk, err = (writer{q.texts}).walk(fit, writer{q.texts}.named(names, fit.Component.ComponentID)); err != nil {
		return nil, err
	}
	return page{name: "walk", status: status, data: data}, nil
}

// walkFitAccept takes over what a walk test says.
func (c *Console) walkFitAccept(ctx context.Context, q *request) (answer, error) {
	visit, err := q.pathID("visit_id")
	if err != nil {
		return nil, err
	}
	entry, f, err := q.formOf("entry_id")
	if err != nil {
		return nil, err
	}
	if _, _, err := c.Fleet.AcceptFit(ctx, q.by, visit, entry); err != nil {
		return q.again(f, err, func(f form, status int) (answer, error) { return c.walkFitPage(ctx, q, f, status) })
	}
	return seeOther("/visits/" + visit.String() + "/entries/" + entry.String() + "/fit"), nil
}

// walk makes what is shown of a fit.
func (w writer) walk(fit fleet.WalkFit, device string) (data walkData, err error) {
	data = walkData{WalkFit: fit, Told: fit.Told(w.Printer)}
	off := func(i int) walkLine {
		r := fit.Fit.Residuals[i]
		switch {
		case r.Unused != "":
			return walkLine{Off: w.T("console.unknown"), Note: w.T("console.walk.unused")}
		case r.M < 0:
			return walkLine{Off: w.T("console.walk.inside", "by", w.fine(-r.M)), Note: w.outlier(r.Outlier)}
		}
		return walkLine{Off: w.T("console.walk.outside", "by", w.fine(r.M)), Note: w.outlier(r.Outlier)}
	}
	d := report.PlanDrawing{Title: w.T("console.walk.title"), Units: report.Units(w.Units())}
	for i, m := range fit.Walk.Marks {
		line := off(i)
		line.Number, line.At = strconv.Itoa(i+1), w.T("console.walk.at", "x", w.fine(m.XM), "y", w.fine(m.YM))
		data.Marks = append(data.Marks, line)
		mark := report.PlanMark{XM: m.XM, YM: m.YM, Number: i + 1, Outlier: fit.Fit.Residuals[i].Outlier}
		if fit.Fit.Residuals[i].Unused == "" {
			mark.OutM = fit.Fit.Residuals[i].M
		}
		d.Marks = append(d.Marks, mark)
	}
	for i, of := range []struct {
		name  string
		value *float64
	}{{"console.walk.width", fit.Walk.WidthM}, {"console.walk.depth", fit.Walk.DepthM}} {
		if of.value == nil {
			continue
		}
		line := off(i)
		line.Number, line.At = w.T(of.name), w.fine(*of.value)
		data.Marks = append(data.Marks, line)
	}
	seen := fit.Seen()
	height, v := fit.Fit.Device.HeightM, fit.Fit.Device
	d.Sensors = []report.PlanSensor{{Name: device + ", " + w.T("console.walk.seen", "height", w.fine(fit.Walk.BodyHeightM)), Purpose: "activation", Placed: true, XM: v.OffsetXM, YM: v.OffsetYM,
		HeightM: &height, Field: &report.PlanField{WidthM: seen.WidthM, DepthM: seen.DepthM, NearM: seen.NearM, FarM: seen.FarM, Polygons: seen.Polygons, ModelVersion: fit.Fit.ModelVersion}}}
	if q := fit.OpeningM; q.Known() {
		d.OpeningM = *q.Value
	}
	var svg bytes.Buffer
	err = report.PlanSVG(&svg, w, d)
	data.Drawing = template.HTML(svg.String()) // every text in it is escaped where it is written
	return data, err
}

func (w writer) outlier(is bool) string {
	if is {
		return w.T("console.walk.outlier")
	}
	return ""
}

// walkTest reads a form with a walk test: a line for each mark, with where it is across and away from the door, and if it is known the heading and the
// speed of the walk, parted by semicolons.
func (r *reader) walkTest() *fleet.EntryWalkTest {
	w := &fleet.EntryWalkTest{ComponentID: r.id("/walk_test/component_id"), WidthM: r.value("/walk_test/width_m", words.Metre, nil), DepthM: r.value("/walk_test/depth_m", words.Metre, nil)}
	if height := r.value("/walk_test/body_height_m", words.Metre, nil); height != nil {
		w.BodyHeightM = *height
	} else if r.form.Value("/walk_test/body_height_m") == "" {
		r.faults.Add("/walk_test/body_height_m", "text_missing")
	}
	for row, line := range strings.Split(r.form.Value("/walk_test/marks"), "\n") {
		if strings.TrimSpace(line) == "" {
			continue
		}
		var v [4]*float64
		parts := strings.Split(line, ";")
		wrong := len(parts) < 2 || len(parts) > len(v)
		for i, unit := range []words.SI{words.Metre, words.Metre, words.Degree, "m/s"} {
			if i >= len(parts) || wrong || i > 1 && strings.TrimSpace(parts[i]) == "" { // nobody says
				continue
			}
			if v[i] = r.amount(strings.TrimSpace(parts[i]), unit); v[i] == nil {
				wrong = true
			}
		}
		if wrong {
			r.faults.Add("/walk_test/marks", "walk_mark_line", "row", row+1)
			return w
		}
		w.Marks = append(w.Marks, fleet.WalkMark{XM: *v[0], YM: *v[1], HeadingDeg: v[2], SpeedMPS: v[3]})
	}
	return w
}

// amount reads one value of a line; a bare number is in the reader's unit.
func (r *reader) amount(text string, unit words.SI) *float64 {
	if unit == words.Metre {
		if _, err := strconv.ParseFloat(strings.Replace(text, ",", ".", 1), 64); err == nil {
			text += words.Symbol(unit, r.texts.Units())
			if words.Symbol(unit, r.texts.Units()) == "" {
				text += " " + map[words.Units]string{words.Metric: "m", words.US: "ft"}[r.texts.Units()]
			}
		}
		m, err := words.ParseOffset(text)
		if err != nil {
			return nil
		}
		return &m
	}
	v, ok := words.ParseQuantity(text, unit, r.texts.Units())
	if !ok || math.IsNaN(v) {
		return nil
	}
	return &v
}

// fillWalkTest puts a walk test into a form.
func fillWalkTest(f form, w fleet.EntryWalkTest, t words.Printer) {
	f.values.Set("/walk_test/component_id", w.ComponentID.String())
	f.values.Set("/walk_test/body_height_m", writer{t}.fine(w.BodyHeightM))
	for name, v := range map[string]*float64{"/walk_test/width_m": w.WidthM, "/walk_test/depth_m": w.DepthM} {
		if v != nil {
			f.values.Set(name, writer{t}.fine(*v))
		}
	}
	var lines []string
	for _, m := range w.Marks {
		parts := []string{writer{t}.fine(m.XM), writer{t}.fine(m.YM)}
		if m.HeadingDeg != nil || m.SpeedMPS != nil {
			heading := ""
			if m.HeadingDeg != nil {
				heading = shownValue(t, *m.HeadingDeg, words.Degree)
			}
			parts = append(parts, heading)
		}
		if m.SpeedMPS != nil {
			parts = append(parts, shownValue(t, *m.SpeedMPS, "m/s"))
		}
		lines = append(lines, strings.Join(parts, "; "))
	}
	f.values.Set("/walk_test/marks", strings.Join(lines, "\n"))
}

// walkPreview shows below the form what a walk test would say, and records nothing.
func (c *Console) walkPreview(ctx context.Context, q *request, visit uuid.UUID, f form, w fleet.EntryWalkTest, again func(form, int) (answer, error)) (answer, error) {
	fit, err := c.Fleet.PreviewWalkTest(ctx, q.by, w)
	if err != nil {
		return q.again(f, atWalkTest(err), again)
	}
	names, err := c.Fleet.Names(ctx, q.by, fleet.Named{Components: []uuid.UUID{w.ComponentID}})
	if err != nil {
		return nil, err
	}
	shown, err := again(f, http.StatusOK)
	if err != nil {
		return nil, err
	}
	p := shown.(page)
	data := p.data.(entryData)
	walk, err := writer{q.texts}.walk(fit, writer{q.texts}.named(names, w.ComponentID))
	data.Walk = &walk
	p.data = data
	return p, err
}

// atWalkTest turns the place of a fault within a walk test into that of the form.
func atWalkTest(err error) error {
	var list fault.List
	for _, f := range fault.Of(err) {
		moved := *f
		if strings.HasPrefix(moved.Pointer, "/") {
			moved.Pointer = "/walk_test" + moved.Pointer
		}
		list = append(list, &moved)
	}
	if len(list) == 0 {
		return err
	}
	return list
}
