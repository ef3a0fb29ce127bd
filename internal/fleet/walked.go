package fleet

import (
	"bytes"
	"cmp"
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/fault"
	"lintel.example/lintel/internal/field"
	"lintel.example/lintel/internal/identity"
	"lintel.example/lintel/internal/words"
)

// EntryWalkTest is what somebody measured of a device's field by walking: where its output came, or how wide and deep the field is. It is
// sealed as entered; what a device comes to by it is worked out anew whenever it is asked for.
type EntryWalkTest struct {
	ComponentID uuid.UUID  `json:"component_id"`
	BodyHeightM float64    `json:"body_height_m"` // of who walked
	Marks       []WalkMark `json:"marks,omitempty"`
	// Instead of marks: the taped width and depth of the field, with what the device confirms and is late already taken off.
	WidthM *float64 `json:"width_m,omitempty"`
	DepthM *float64 `json:"depth_m,omitempty"`
}

// WalkMark is a point of the floor where the output came, in the frame of the device's side.
type WalkMark struct {
	XM         float64  `json:"x_m"`
	YM         float64  `json:"y_m"`
	HeadingDeg *float64 `json:"heading_deg,omitempty"` // of the walk: 0 is away from the door, 180 straight at it; nil: to the middle of the opening
	SpeedMPS   *float64 `json:"speed_mps,omitempty"`   // nil: field.EasyWalkMps, which moves a mark by what the device is late alone
}

// What a walk test may hold.
const (
	fewestMarks = 4 // as many as what is fitted, and two
	mostMarks   = 200
)

// check holds a walk test against what can be; pointer is where it stands in the body.
func (w EntryWalkTest) check(faults *fault.List, pointer string) {
	within := func(member string, value *float64, least, greatest float64) {
		if value != nil && !(*value >= least && *value <= greatest) {
			faults.Add(pointer+"/"+member, "number_out_of_range", "least", least, "greatest", greatest)
		}
	}
	within("body_height_m", &w.BodyHeightM, 0.2, 2.5)
	within("width_m", w.WidthM, 0.05, 40)
	within("depth_m", w.DepthM, 0.05, 40)
	taped := w.WidthM != nil || w.DepthM != nil
	switch {
	case taped && len(w.Marks) > 0:
		faults.Add(pointer+"/marks", "walk_marks_or_tape")
	case taped && w.WidthM == nil:
		faults.Add(pointer+"/width_m", "walk_tape_both")
	case taped && w.DepthM == nil:
		faults.Add(pointer+"/depth_m", "walk_tape_both")
	case !taped && (len(w.Marks) < fewestMarks || len(w.Marks) > mostMarks):
		faults.Add(pointer+"/marks", "walk_marks_count", "least", fewestMarks, "greatest", mostMarks)
	}
	for i, m := range w.Marks[:min(len(w.Marks), mostMarks)] {
		at := fmt.Sprintf("marks/%d/", i)
		within(at+"x_m", &m.XM, -30, 30)
		within(at+"y_m", &m.YM, -30, 30)
		within(at+"heading_deg", m.HeadingDeg, -360, 360)
		within(at+"speed_mps", m.SpeedMPS, 0.05, 5)
	}
}

// marks are those of the walk test as the field's fit takes them.
func (w EntryWalkTest) marks() []field.Mark {
	var list []field.Mark
	for _, m := range w.Marks {
		mark := field.Mark{At: field.XY{m.XM, m.YM}, SpeedMps: field.EasyWalkMps, BodyHeightM: w.BodyHeightM, HeadingDeg: field.ToTheMiddleDeg(m.XM, m.YM)}
		if m.HeadingDeg != nil {
			mark.HeadingDeg = *m.HeadingDeg
		}
		if m.SpeedMPS != nil {
			mark.SpeedMps = *m.SpeedMPS
		}
		list = append(list, mark)
	}
	return list
}

// Fitted is what a walk test said of a device. It can be worked out again from the entry, the revision and the version of the model.
type Fitted struct {
	EntryID         uuid.UUID    `json:"entry_id"`    // the walk test
	RevisionID      uuid.UUID    `json:"revision_id"` // how the device was mounted and set when it was walked
	WalkedAt        time.Time    `json:"walked_at"`
	ModelVersion    string       `json:"model_version"`
	BoresightRangeM FittedValue  `json:"boresight_range_m"`  // at full reach
	TiltDeg         *FittedValue `json:"tilt_deg,omitempty"` // nil: the walk test left it open, and the mount's counts
}

// FittedValue is a value with the interval that holds it with 95 %.
type FittedValue struct {
	Value float64 `json:"value"`
	Low   float64 `json:"low"`
	Top   float64 `json:"top"`
}

// correct puts what was fitted into a device in the place of what the catalogue and the mount say.
func (t Fitted) correct(d *field.Device) {
	d.BoresightRangeM = t.BoresightRangeM.Value
	if t.TiltDeg != nil {
		d.TiltDeg = t.TiltDeg.Value
	}
}

// fit is what was fitted in the terms of the field, for comparison with another fit.
func (t Fitted) fit() field.Fit {
	value := func(p field.Parameter, v FittedValue) field.Fitted {
		return field.Fitted{Parameter: p, Value: v.Value, Low: v.Low, Top: v.Top, Determined: true}
	}
	f := field.Fit{ModelVersion: t.ModelVersion, Values: []field.Fitted{value(field.RangeParameter, t.BoresightRangeM)}}
	if t.TiltDeg != nil {
		f.Values = append(f.Values, value(field.TiltParameter, *t.TiltDeg))
	}
	return f
}

// mountedAs tells whether antenna, mount and accessories are the same, so that a walk test of the one holds for the other.
func (d DeviceFacts) mountedAs(other DeviceFacts) bool {
	same := func(a, b Quantity) bool {
		return (a.Value == nil) == (b.Value == nil) && (a.Value == nil || *a.Value == *b.Value)
	}
	m, n := d.Mount, other.Mount
	return (d.AntennaID == nil) == (other.AntennaID == nil) && (d.AntennaID == nil || *d.AntennaID == *other.AntennaID) && slices.Equal(d.Accessories, other.Accessories) &&
		same(m.HeightM, n.HeightM) && same(m.OffsetXM, n.OffsetXM) && same(m.OffsetYM, n.OffsetYM) && same(m.TiltDeg, n.TiltDeg) && same(m.YawDeg, n.YawDeg)
}

// WithFit is a recorded revision with the fit of a walk test that still holds for it. A fit that came after it is itself the revision that holds:
// it has all else from the one that was walked.
func (r Revision) WithFit(fit Revision) Revision {
	r.Device.Fitted = fit.Device.Fitted
	if after := cmp.Or(fit.EffectiveAt.Compare(r.EffectiveAt), bytes.Compare(fit.RevisionID[:], r.RevisionID[:])); after < 0 {
		return r
	}
	fit.CustomerID, fit.SiteID, fit.DoorID, fit.ComponentID, fit.Device = r.CustomerID, r.SiteID, r.DoorID, r.ComponentID, r.Device
	return fit
}

type walkRows interface {
	// NewestWalkTests gives of each component of doors the newest walk test that nothing corrects, as of both times.
	NewestWalkTests(ctx context.Context, doors []uuid.UUID, asOf AsOf) ([]Entry, error)
}

// WalkFit is what a walk test says of a device.
type WalkFit struct {
	Component Component
	Walk      EntryWalkTest
	Revision  Revision // how the device was mounted and set when it was walked, as far as it is recorded
	Fit       field.Fit
	Computed  field.Device // as the catalogue and the mount say, behind the accessories
	Antenna   Antenna
	OpeningM  Quantity      // clear width of the door
	Before    *Fitted       // the fit that held when it was walked
	Drift     []field.Drift // since then
	Accepted  bool          // the field rests on it already
}

// walked is a walk test after the one that a device's field is fitted to.
type walked struct {
	entryID uuid.UUID
	test    field.WalkTest
}

// readWalks reads for devices with a fit whether they were walked again since. Most have none, and cost nothing.
func (p *picture) readWalks(ctx context.Context, tx Tx, asOf AsOf) error {
	if !slices.ContainsFunc(p.devices, func(d deviceInPlace) bool { return d.revision.Device.Fitted != nil }) {
		return nil
	}
	entries, err := tx.NewestWalkTests(ctx, []uuid.UUID{p.door.DoorID}, asOf)
	if err != nil {
		return err
	}
	for _, e := range entries {
		i := slices.IndexFunc(p.devices, func(d deviceInPlace) bool { return d.component.ComponentID == e.Body.WalkTest.ComponentID })
		if i < 0 || p.devices[i].revision.Device.Fitted == nil {
			continue
		}
		fit := p.devices[i].revision.Device.Fitted
		if after := cmp.Or(e.ObservedAt.Compare(fit.WalkedAt), bytes.Compare(e.EntryID[:], fit.EntryID[:])); after <= 0 {
			continue
		}
		then := *p
		if p.devices[i].revision.EffectiveAt.After(e.ObservedAt) { // it was set otherwise since
			if then, err = pictureSet(ctx, tx, p.door.DoorID, asOf, AsOf{Effective: e.ObservedAt, Recorded: asOf.Recorded}); err != nil {
				return err
			}
		}
		j := slices.IndexFunc(then.devices, func(d deviceInPlace) bool { return d.component.ComponentID == e.Body.WalkTest.ComponentID })
		if j < 0 {
			continue
		}
		if test, err := then.walkTest(then.devices[j], *e.Body.WalkTest); err == nil { // what cannot be fitted says nothing
			p.devices[i].walked = &walked{e.EntryID, test}
		}
	}
	return nil
}

// walkTest is a walk test of a device as the catalogue, its mount and its settings say that it is.
func (p picture) walkTest(d deviceInPlace, w EntryWalkTest) (field.WalkTest, error) {
	facts := d.revision.Device
	facts.Fitted = nil
	if d.sensing != "radar" {
		return field.WalkTest{}, fault.New(fault.Conflict, "walk_test_of_radar")
	}
	v, missing := p.volume(facts)
	if !facts.Settings.ConfirmTravelMM.Known() {
		missing = append(missing, "confirm_travel_mm")
	}
	if len(missing) > 0 {
		return field.WalkTest{}, fault.New(fault.Conflict, "walk_test_lacks", "missing", strings.Join(missing, ", "))
	}
	a := p.antennas[*facts.AntennaID]
	tilt := *facts.Mount.TiltDeg.Value
	t := field.WalkTest{Device: v, Motion: p.motion(d), Marks: w.marks(), HeldSD: map[field.Parameter]float64{},
		Allowed: map[field.Parameter][2]float64{
			field.RangeParameter: {a.BoresightRangeM * (1 - a.RangeToleranceShare), a.BoresightRangeM * (1 + a.RangeToleranceShare)},
			field.TiltParameter:  {max(0, tilt-a.TiltToleranceDeg), min(90, tilt+a.TiltToleranceDeg)}}}
	if w.WidthM != nil {
		t.Taped = &field.Taped{WidthM: *w.WidthM, DepthM: *w.DepthM, BodyHeightM: w.BodyHeightM}
	}
	for parameter, q := range facts.Mount.held() {
		if q.Basis != Measured {
			t.HeldSD[parameter] = unmeasuredSD(parameter)
		}
	}
	return t, nil
}

// held are the values of a mount by the parameter of a fit that they are.
func (m MountFacts) held() map[field.Parameter]Quantity {
	return map[field.Parameter]Quantity{field.HeightParameter: m.HeightM, field.OffsetXParameter: m.OffsetXM, field.OffsetYParameter: m.OffsetYM,
		field.TiltParameter: m.TiltDeg, field.YawParameter: m.YawDeg}
}

// unmeasuredSD is how uncertain a value of a mount is that nobody measured: our own choice, three times what a measured one has.
func unmeasuredSD(p field.Parameter) float64 {
	if p == field.TiltParameter || p == field.YawParameter {
		return 3
	}
	return 0.06
}

// drifted names what of a device is no longer as it was fitted, by the walk test since.
func (d deviceInPlace) drifted(side string) (causes []string) {
	fit, err := d.walked.test.Fit()
	if err != nil {
		return nil
	}
	for _, drift := range fit.DriftSince(d.revision.Device.Fitted.fit()) {
		if !drift.Moved {
			continue
		}
		code := "walk_drift_range"
		if drift.Parameter == field.TiltParameter {
			code = "walk_drift_tilt"
		}
		was := d.revision.Device.Fitted.fit().Values[0].Value
		if drift.Parameter == field.TiltParameter {
			was = d.revision.Device.Fitted.TiltDeg.Value
		}
		causes = append(causes, fmt.Sprintf("%s:%s:%s:%.3f:%.3f:%.3f:%.3f", code, side, d.component.ComponentID, was, was+drift.By, drift.Low, drift.Top))
	}
	return causes
}

// TellCause puts the cause of a computed finding into words: code:side:what, and of what has drifted the value that was, the one that is, and the
// interval of the difference.
func TellCause(p words.Printer, cause string) string {
	parts := append(strings.Split(cause, ":"), "", "")
	args := []any{"side", strings.ToUpper(parts[1]), "what", parts[2]}
	if strings.HasPrefix(cause, "walk_drift_") && len(parts) >= 9 {
		write := p.Length
		if parts[0] == "walk_drift_tilt" {
			write = func(v float64) string { return p.Quantity(v, words.Degree) }
		}
		number := func(i int) float64 { v, _ := strconv.ParseFloat(parts[i], 64); return v }
		least, most := math.Abs(number(5)), math.Abs(number(6))
		args = append(args, "was", write(number(3)), "is", write(number(4)), "least", write(min(least, most)), "most", write(max(least, most)))
	}
	return p.T("finding."+parts[0], args...)
}

// PreviewWalkTest works out what a walk test would say of a device as it is mounted and set now, and records nothing.
func (f *Fleet) PreviewWalkTest(ctx context.Context, by identity.Actor, w EntryWalkTest) (out WalkFit, err error) {
	var faults fault.List
	if w.check(&faults, ""); len(faults) > 0 {
		return out, faults.Err()
	}
	err = f.Store.InTxReadOnly(ctx, by, func(ctx context.Context, tx Tx) error {
		out, err = fitWalk(ctx, tx, w, AsOf{})
		return err
	})
	return out, err
}

// WalkFit works out what a walk test of a visit says of its device, as it was mounted and set then.
func (f *Fleet) WalkFit(ctx context.Context, by identity.Actor, visitID, entryID uuid.UUID) (e Entry, out WalkFit, err error) {
	err = f.Store.InTxReadOnly(ctx, by, func(ctx context.Context, tx Tx) error {
		if e, err = walkTestOf(ctx, tx, visitID, entryID); err != nil {
			return err
		}
		out, err = fitWalk(ctx, tx, *e.Body.WalkTest, AsOf{Effective: e.ObservedAt})
		if out.Before != nil && out.Before.EntryID == entryID {
			out.Accepted, out.Drift = true, nil
		}
		return err
	})
	return e, out, err
}

func walkTestOf(ctx context.Context, tx Tx, visitID, entryID uuid.UUID) (Entry, error) {
	e, err := tx.EntryByID(ctx, entryID)
	if err == nil && (e.VisitID != visitID || e.Body.WalkTest == nil) {
		return e, fault.New(fault.NotFound, "entry_not_found")
	}
	return e, err
}

// fitWalk fits a device as it was mounted and set at a time. Doors are entered late: how the door itself was known then does not matter.
func fitWalk(ctx context.Context, tx Tx, w EntryWalkTest, set AsOf) (out WalkFit, err error) {
	if out.Component, err = tx.ComponentByID(ctx, w.ComponentID, AsOf{}); err != nil {
		return out, err
	}
	p, err := pictureSet(ctx, tx, out.Component.DoorID, AsOf{}, set)
	if err != nil {
		return out, err
	}
	i := slices.IndexFunc(p.devices, func(d deviceInPlace) bool { return d.component.ComponentID == w.ComponentID })
	if i < 0 {
		return out, fault.New(fault.NotFound, "settings_not_recorded")
	}
	d := p.devices[i]
	test, err := p.walkTest(d, w)
	if err != nil {
		return out, err
	}
	out.OpeningM = p.door.Facts.ClearWidthM
	out.Walk, out.Revision, out.Computed, out.Before, out.Antenna = w, d.revision, test.Device, d.revision.Device.Fitted, p.antennas[*d.revision.Device.AntennaID]
	out.Revision.Device.Fitted = nil
	if out.Before != nil && out.Before.EntryID == d.revision.RevisionID { // a fit is no settings
		out.Revision.RevisionID = out.Before.RevisionID
	}
	var unfit *field.InputError
	if out.Fit, err = test.Fit(); errors.As(err, &unfit) {
		return out, fault.At("/marks", "walk_test_unusable", "reason", unfit.Reason)
	}
	if err != nil {
		return out, err
	}
	if out.Before != nil {
		out.Drift = out.Fit.DriftSince(out.Before.fit())
	}
	return out, nil
}

// Seen is where the fitted device sees a body of the height of who walked. Marks lie further in, by what has to be confirmed.
func (w WalkFit) Seen() SeenField {
	f := field.BodyFootprint(w.Fit.Device, w.Walk.BodyHeightM, true)
	return SeenField{WidthM: f.WidthM, DepthM: f.DepthM, NearM: f.NearM, FarM: f.FarM, Polygons: rings(f.Polygons)}
}

// SeenField is a field with its outline.
type SeenField struct {
	WidthM, DepthM, NearM, FarM float64
	Polygons                    [][][][2]float64
}

// AcceptFit takes over what a walk test of a visit says of its device: a revision of the entry's id, found when it was walked. The same again
// changes nothing. What the catalogue's tolerances forbid, or the walk test leaves open, is refused.
func (f *Fleet) AcceptFit(ctx context.Context, by identity.Actor, visitID, entryID uuid.UUID) (saved Revision, created bool, err error) {
	err = f.Store.InTx(ctx, by, func(ctx context.Context, tx Tx) error {
		e, err := walkTestOf(ctx, tx, visitID, entryID)
		if err != nil {
			return err
		}
		if err := tx.LockDoor(ctx, e.DoorID); err != nil {
			return err
		}
		saved, err = tx.RevisionByID(ctx, entryID)
		if err == nil || !fault.Is(err, "revision_not_found") {
			return err
		}
		entries, err := tx.EntriesOfDoor(ctx, e.DoorID)
		if err != nil {
			return err
		}
		if slices.ContainsFunc(entries, func(c Entry) bool { return c.Body.Corrects != nil && *c.Body.Corrects == entryID && after(e, c) }) {
			return fault.New(fault.Conflict, "walk_test_corrected")
		}
		w, err := fitWalk(ctx, tx, *e.Body.WalkTest, AsOf{Effective: e.ObservedAt})
		if err != nil {
			return err
		}
		if err := w.refused(); err != nil {
			return err
		}
		device := w.Revision.Device
		device.Fitted = &Fitted{EntryID: entryID, RevisionID: w.Revision.RevisionID, WalkedAt: e.ObservedAt, ModelVersion: w.Fit.ModelVersion}
		for _, v := range w.Fit.Values {
			value := FittedValue{v.Value, v.Low, v.Top}
			switch {
			case v.Parameter == field.RangeParameter:
				device.Fitted.BoresightRangeM = value
			case v.Determined:
				device.Fitted.TiltDeg = &value
			}
		}
		r := Revision{ComponentID: w.Component.ComponentID, RevisionID: entryID, Standing: "found", EffectiveAt: e.ObservedAt, Reason: "walk_test", VisitID: &visitID, Device: device}
		if r.SHA256, err = hashOf(r.said()); err != nil {
			return err
		}
		saved, created, err = f.insertRevision(ctx, tx, by, r)
		return err
	})
	return saved, created, err
}

// refused says why a fit must not be taken over, and what is to be measured again: the two values of the mount that most likely are wrong.
func (w WalkFit) refused() error {
	var faults fault.List
	for _, no := range w.Fit.Refused {
		faults.Add("/fit/"+string(no.Parameter), "fit_outside_tolerance", "value", rounded(no.Value), "low", rounded(no.Low), "top", rounded(no.Top))
		for _, m := range no.Remeasure[:min(2, len(no.Remeasure))] {
			faults.Add("/device/mount/"+string(m.Parameter), "fit_measure_again", "by", rounded(m.By), "of", string(no.Parameter))
		}
	}
	for _, v := range w.Fit.Values {
		if v.Parameter == field.RangeParameter && !v.Determined {
			faults.Add("/fit/"+string(v.Parameter), "fit_leaves_open")
		}
	}
	return faults.Err()
}

func rounded(v float64) float64 { return math.Round(v*100) / 100 }

// Told puts the fit into words: what it says, what it leaves open, and what is to be done.
func (w WalkFit) Told(p words.Printer) (list []string) {
	say := func(key string, args ...any) { list = append(list, p.T(key, args...)) }
	for _, v := range w.Fit.Values {
		write := inWords(p, v.Parameter)
		if !v.Determined {
			say("walk.open."+string(v.Parameter), "value", write(v.Value))
			continue
		}
		was := w.Computed.BoresightRangeM
		if v.Parameter == field.TiltParameter {
			was = w.Computed.TiltDeg
		}
		say("walk.value."+string(v.Parameter), "value", write(v.Value), "low", write(v.Low), "top", write(v.Top), "was", write(was))
	}
	out := 0
	for _, r := range w.Fit.Residuals {
		if r.Outlier {
			out++
		}
	}
	say("walk.scatter", "scatter", p.Length(w.Fit.ScatterM))
	if out > 0 {
		say("walk.outliers", "count", out)
	}
	if m := w.Fit.Next; m != nil {
		say("walk.next", "from", fromWhere(p, m.HeadingDeg), "at", where(p, m.At[0], m.At[1]))
	}
	for _, no := range w.Fit.Refused {
		write := inWords(p, no.Parameter)
		say("walk.refused."+string(no.Parameter), "value", write(no.Value), "low", write(no.Low), "top", write(no.Top))
		for _, m := range no.Remeasure[:min(2, len(no.Remeasure))] {
			direction := "more"
			if m.By < 0 {
				direction = "less"
			}
			say("walk.remeasure."+direction, "what", p.T("walk.what."+string(m.Parameter)), "by", inWords(p, m.Parameter)(math.Abs(m.By)))
		}
	}
	for _, d := range w.Drift {
		write := inWords(p, d.Parameter)
		if !d.Moved {
			say("walk.no_drift." + string(d.Parameter))
			continue
		}
		least, most := math.Abs(d.Low), math.Abs(d.Top)
		say("walk.drift."+string(d.Parameter), "by", write(math.Abs(d.By)), "least", write(min(least, most)), "most", write(max(least, most)))
	}
	return list
}

// inWords writes a value of a parameter.
func inWords(p words.Printer, of field.Parameter) func(float64) string {
	if of == field.TiltParameter || of == field.YawParameter {
		return func(v float64) string { return p.Quantity(v, words.Degree) }
	}
	return p.Length
}

// where tells a point of the floor as somebody sees it who stands in the opening with the door behind them.
func where(p words.Printer, x, y float64) string {
	key := "walk.at.middle"
	switch {
	case x > 0.05:
		key = "walk.at.right"
	case x < -0.05:
		key = "walk.at.left"
	}
	return p.T(key, "x", p.Length(math.Abs(x)), "y", p.Length(y))
}

// fromWhere tells from where a walk comes, as the same person sees it.
func fromWhere(p words.Printer, headingDeg float64) string {
	sin := math.Sin(headingDeg * math.Pi / 180)
	switch {
	case sin > 0.5:
		return p.T("walk.from.left")
	case sin < -0.5:
		return p.T("walk.from.right")
	}
	return p.T("walk.from.front")
}
