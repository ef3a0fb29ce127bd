package field

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
)

// Mark is a floor point where the output came while somebody walked, as a technician marks and measures it.
type Mark struct {
	At          XY
	HeadingDeg  float64 // of the walk, about the vertical as a yaw: 0 is away from the door, 180 straight at it
	SpeedMps    float64 // 0.05 to 5
	BodyHeightM float64 // 0.2 to 2.5
}

// Taped is how wide and how deep a field is for a body, when nothing else was measured; confirmed travel and latency already taken off.
type Taped struct {
	WidthM, DepthM float64 // 0.05 to 40
	BodyHeightM    float64
}

// Parameter is a number of a mounted, set device that a walk test may correct.
type Parameter string

// The parameters.
const (
	RangeParameter   Parameter = "boresight_range_m"
	TiltParameter    Parameter = "tilt_deg"
	YawParameter     Parameter = "yaw_deg"
	OffsetXParameter Parameter = "offset_x_m"
	OffsetYParameter Parameter = "offset_y_m"
	HeightParameter  Parameter = "height_m"
)

// facts are what a fit has to know of a parameter.
type facts struct {
	limit
	place    func(*Device) *float64
	step     float64 // over which the border moves evenly
	heldSD   float64 // how well it is measured when nobody says: our own choice; 0 for what is held as exact
	tellsTo  float64 // an interval to either side that is wider tells nothing (a share, for the range): our own choice
	relative bool
}

var parameterFacts = map[Parameter]facts{
	RangeParameter:   {limitRange, func(d *Device) *float64 { return &d.BoresightRangeM }, 0.02, 0, 0.2, true},
	TiltParameter:    {limitTilt, func(d *Device) *float64 { return &d.TiltDeg }, 0.2, 1, 6, false},
	YawParameter:     {limitYaw, func(d *Device) *float64 { return &d.YawDeg }, 0.2, 1, 6, false},
	OffsetXParameter: {limitOffsetX, func(d *Device) *float64 { return &d.OffsetXM }, 0.005, 0.02, 0.25, false},
	OffsetYParameter: {limitOffsetY, func(d *Device) *float64 { return &d.OffsetYM }, 0.005, 0.02, 0.25, false},
	HeightParameter:  {limitHeight, func(d *Device) *float64 { return &d.HeightM }, 0.005, 0.02, 0.25, false},
}

// mounting are those that are measured on the wall, in the order in which they are told.
var mounting = []Parameter{TiltParameter, YawParameter, OffsetXParameter, OffsetYParameter, HeightParameter}

// WalkTest is what was measured at a door, and what is known of the device: its mount, antenna and settings as recorded.
type WalkTest struct {
	Device  Device
	Motion  Motion
	Marks   []Mark
	Taped   *Taped                   // instead of marks
	Free    []Parameter              // nil: range and tilt. The others are held at the device's
	HeldSD  map[Parameter]float64    // how uncertain what is held is; 2 cm and 1° where it is not said
	Allowed map[Parameter][2]float64 // what the catalogue's tolerances and the recorded setting let each be
}

// Fitted is one parameter out of a fit.
type Fitted struct {
	Parameter  Parameter `json:"parameter"`
	Value      float64   `json:"value"`
	SD         float64   `json:"sd"`  // of the tape, the walker and of what is held; 0 when nothing is known
	Low        float64   `json:"low"` // the 95 % interval
	Top        float64   `json:"top"`
	Determined bool      `json:"determined"` // false: what was measured leaves it open
}

// Residual is how far a mark is from where the fitted device answers, outward positive.
type Residual struct {
	M       float64
	Outlier bool   // more than three times the scatter: it did not count
	Unused  Unseen // why it tells nothing; "" when it does
}

// Remeasure is something held that would have to be another to bring the fit within what is allowed: more likely first.
type Remeasure struct {
	Parameter Parameter
	By        float64 // in its own unit
	OfSD      float64 // the same in its standard deviations
}

// Refusal is why a fit must not be taken over.
type Refusal struct {
	Parameter Parameter
	Value     float64
	Low, Top  float64 // what is allowed
	Remeasure []Remeasure
}

// Fit is what a walk test says of a device.
type Fit struct {
	ModelVersion string
	Device       Device // with the determined values; the others as they were
	Values       []Fitted
	Residuals    []Residual // of the marks, or of width and depth
	ScatterM     float64    // of what is no outlier
	Next         *Mark      // where another mark would help most, when something is left open
	Refused      []Refusal

	Covariance [][]float64 // of Values, in their order
}

// tapeSDM is how well somebody tapes a field's width or depth: our own choice.
const tapeSDM = 0.05

// leastScatterM: no walker is believed to be marked more closely than this; our own choice.
const leastScatterM = 0.01

// Fit works out the parameters that are free from a walk test. Before the comparison each point of the body is taken back by the latency and, on its own
// line of sight, by the travel that is confirmed. How far a mark is from the border is the echo that is missing there over its slope on the
// floor, which makes noise of the tape count the same everywhere.
//
// Intervals hold what the tape and the walker scatter and what is uncertain about the held parameters; the beamwidths are held as exact. An
// *InputError says what cannot be taken: a value out of limits, fewer marks than free parameters and two, nothing that tells anything.
func (w WalkTest) Fit() (Fit, error) {
	if len(w.Free) == 0 {
		w.Free = []Parameter{RangeParameter, TiltParameter}
	}
	if err := w.check(); err != nil {
		return Fit{}, err
	}
	var left []Parameter // open from the outset
	least := leastScatterM
	if w.Taped != nil { // two numbers, and they hardly know the tilt
		w.Free, left, least = []Parameter{RangeParameter}, slices.DeleteFunc(slices.Clone(w.Free), func(p Parameter) bool { return p == RangeParameter }), tapeSDM
	}
	s := settling{leastSD: least, known: w.Taped != nil, residuals: func(v []float64) []float64 { return w.residuals(w.with(v)) }}
	var recorded []float64
	for _, p := range w.Free {
		k := parameterFacts[p]
		recorded = append(recorded, *k.place(&w.Device))
		s.unknowns = append(s.unknowns, unknown{k.limit, k.step})
	}
	r := s.settle(w.starts(recorded)...)
	if r.freedom < 1 {
		return Fit{}, &InputError{"marks", "tell too little: too few of them were walked fast enough towards the device"}
	}
	f := Fit{ModelVersion: ModelVersion, Device: w.Device, ScatterM: r.sd}
	f.Residuals = w.explained(r)
	f.Covariance = w.covariance(r)
	for j, p := range w.Free {
		f.Values = append(f.Values, w.fitted(p, r.values[j], math.Sqrt(f.Covariance[j][j]), r.freedom))
		if f.Values[j].Determined {
			*parameterFacts[p].place(&f.Device) = r.values[j]
		}
	}
	if w.Taped == nil {
		f.Next = w.next(r, f)
	}
	f.Refused = w.refusals(r, f)
	for _, p := range left {
		f.Values = append(f.Values, Fitted{Parameter: p, Value: *parameterFacts[p].place(&w.Device)})
	}
	return f, nil
}

func (w WalkTest) check() error {
	if err := w.Device.Validate(); err != nil {
		return err
	}
	if (w.Taped == nil) == (len(w.Marks) == 0) {
		return &InputError{"", "must have marks, or a taped width and depth, and not both"}
	}
	for i, p := range w.Free {
		if _, ok := parameterFacts[p]; !ok || slices.Contains(w.Free[:i], p) {
			return &InputError{fmt.Sprintf("free[%d]", i), fmt.Sprintf("%q is no parameter that a walk test fits, or is there twice", p)}
		}
	}
	if t := w.Taped; t != nil {
		return checkAll(measured{limit{"width_m", 0.05, 40}, t.WidthM}, measured{limit{"depth_m", 0.05, 40}, t.DepthM}, measured{limit{"body_height_m", 0.2, 2.5}, t.BodyHeightM})
	}
	if least := len(w.Free) + 2; len(w.Marks) < least {
		return &InputError{"marks", fmt.Sprintf("must be at least %d for what is to be fitted, not %d", least, len(w.Marks))}
	}
	for i, m := range w.Marks {
		at := func(member string) string { return fmt.Sprintf("marks[%d].%s", i, member) }
		if err := checkAll(measured{limit{at("x_m"), -30, 30}, m.At[0]}, measured{limit{at("y_m"), -30, 30}, m.At[1]},
			measured{limit{at("heading_deg"), -360, 360}, m.HeadingDeg}, measured{limit{at("speed_mps"), 0.05, 5}, m.SpeedMps},
			measured{limit{at("body_height_m"), 0.2, 2.5}, m.BodyHeightM}); err != nil {
			return err
		}
	}
	return nil
}

// with is the device with values for what is free.
func (w WalkTest) with(values []float64) Device {
	d := w.Device
	for j, p := range w.Free {
		*parameterFacts[p].place(&d) = values[j]
	}
	return d
}

// starts are the device as recorded, and a net of others about it: a bad mount may lie beyond a ridge.
func (w WalkTest) starts(recorded []float64) [][]float64 {
	list := [][]float64{recorded}
	vary := func(p Parameter, moved func(v, by float64) float64, by ...float64) {
		j := slices.Index(w.Free, p)
		if j < 0 {
			return
		}
		k := parameterFacts[p]
		for _, from := range slices.Clone(list) {
			for _, by := range by {
				v := slices.Clone(from)
				v[j] = max(k.low, min(k.top, moved(v[j], by)))
				list = append(list, v)
			}
		}
	}
	vary(RangeParameter, func(v, by float64) float64 { return v * by }, 0.7, 0.85, 1.18, 1.4)
	vary(TiltParameter, func(v, by float64) float64 { return v + by }, -12, -6, 6, 12)
	vary(YawParameter, func(v, by float64) float64 { return v + by }, -15, 15)
	return list
}

// residuals are how far outside of where the device answers the marks are, in metres; NaN for a mark that it cannot have answered to.
func (w WalkTest) residuals(d Device) []float64 {
	if t := w.Taped; t != nil {
		width, depth := d.extentsOfBody(t.BodyHeightM)
		return []float64{t.WidthM - width, t.DepthM - depth}
	}
	a := d.aim()
	list := make([]float64, len(w.Marks))
	for i, m := range w.Marks {
		list[i] = a.outside(w.Motion, m)
	}
	return list
}

// outside is how far a mark is from the border, outward positive: what is missing of the echo over its slope on the floor.
func (a *aim) outside(motion Motion, m Mark) float64 {
	const h = 0.01
	at := func(dx, dy float64) float64 {
		m := m
		m.At = XY{m.At[0] + dx, m.At[1] + dy}
		return a.neededToAnswer(motion, m)
	}
	here := at(0, 0)
	missing := here - a.ReachDB
	slope := math.Hypot(at(h, 0)-here, at(0, h)-here) / h
	e := missing / max(1, slope) // dB over dB/m; a slope below 1 dB/m is none
	if math.IsInf(e, 0) {
		return math.NaN()
	}
	return e
}

// echoApartM is between the heights at which echoes of a marked body are taken.
const echoApartM = 0.15

// neededToAnswer is the least reach_db at which the device answers by the time the body is at the mark: that of the echo, among those of all
// heights, which needs least to be inside from where its confirmed travel began. +Inf when none moves fast enough in the direction that is asked.
func (a *aim) neededToAnswer(motion Motion, m Mark) float64 {
	sin, cos := sincosDeg(m.HeadingDeg)
	late := m.SpeedMps * motion.LatencyS
	x, y := m.At[0]-late*sin, m.At[1]-late*cos
	least := math.Inf(1)
	tall := m.BodyHeightM - seenFromM
	n := steps(tall, echoApartM)
	for i := range n + 1 {
		z := m.BodyHeightM - tall*float64(i)/float64(n) // the head is what is mostly seen first
		dx, dy, dz := x-a.OffsetXM, y-a.OffsetYM, z-a.HeightM
		r := math.Sqrt(dx*dx + dy*dy + dz*dz)
		middle := -(dx*sin + dy*cos) // the point of closest approach, from the mark on
		miss2 := max(0, r*r-middle*middle)
		coming := middle > 0
		if coming && motion.Direction == Departing || !coming && motion.Direction == Approaching {
			continue
		}
		began, way := r+motion.ConfirmTravelM, -1.0
		if !coming {
			began, way = r-motion.ConfirmTravelM, 1
		}
		if began < 0 || began*began < miss2 {
			continue // it had not gone that far since the closest approach
		}
		from := middle + way*math.Sqrt(began*began-miss2)
		if slowest := min(math.Abs(middle)/r, math.Abs(from-middle)/began); m.SpeedMps*slowest < motion.LeastSpeedMps || r == 0 {
			continue
		}
		needed := a.reachNeededDB(Point{x + from*sin, y + from*cos, z})
		if needed < least && motion.ConfirmTravelM > 0 {
			needed = max(needed, a.reachNeededDB(Point{x, y, z}))
		}
		least = min(least, needed)
	}
	return least
}

// explained says of each residual what became of it.
func (w WalkTest) explained(r settled) []Residual {
	list := make([]Residual, len(r.residuals))
	for i, e := range r.residuals {
		switch {
		case math.IsNaN(e):
			list[i].Unused = TooSlow
		default:
			list[i] = Residual{M: e, Outlier: math.Abs(e) > 3*r.sd}
		}
	}
	return list
}

// covariance is of what is free: the scatter of the marks, and what is uncertain about what is held. A weak belief, ten times as wide as what still
// tells something, keeps what is left open finite.
func (w WalkTest) covariance(r settled) [][]float64 {
	own := r.covariance(w.beliefs(r.values))
	n := len(w.Free)
	sum := make([][]float64, n)
	for j := range sum {
		sum[j] = make([]float64, n)
		for k := range sum {
			sum[j][k] = own.At(j, k)
		}
	}
	for p, by := range w.sensitivity(r, own) {
		sd := w.heldSD(p)
		for j := range sum {
			for k := range sum {
				sum[j][k] += sd * by[j] * sd * by[k]
			}
		}
	}
	return sum
}

func (w WalkTest) beliefs(values []float64) []float64 {
	sds := make([]float64, len(w.Free))
	for j, p := range w.Free {
		sds[j] = 10 * parameterFacts[p].tells(values[j])
	}
	return sds
}

func (k facts) tells(value float64) float64 {
	if k.relative {
		return k.tellsTo * value
	}
	return k.tellsTo
}

func (w WalkTest) heldSD(p Parameter) float64 {
	if sd, ok := w.HeldSD[p]; ok {
		return sd
	}
	return parameterFacts[p].heldSD
}

// sensitivity is how the fitted values would move with each held parameter, by its own unit.
func (w WalkTest) sensitivity(r settled, own *mat.SymDense) map[Parameter][]float64 {
	moves := map[Parameter][]float64{}
	fitted := w.with(r.values)
	for _, p := range mounting {
		if slices.Contains(w.Free, p) || w.heldSD(p) == 0 {
			continue
		}
		k := parameterFacts[p]
		up, down := fitted, fitted
		*k.place(&up), *k.place(&down) = *k.place(&up)+k.step, *k.place(&down)-k.step
		more, less := w.residuals(up), w.residuals(down)
		by := make([]float64, len(w.Free))
		for i := range more {
			slope := (more[i] - less[i]) / (2 * k.step)
			if r.weights[i] == 0 || math.IsNaN(slope) {
				continue
			}
			for j := range by {
				for l := range by {
					by[j] -= own.At(j, l) * r.slopes.At(i, l) * slope / sq(r.sd*r.spread)
				}
			}
		}
		moves[p] = by
	}
	return moves
}

func (w WalkTest) fitted(p Parameter, value, sd float64, freedom int) Fitted {
	if w.Taped != nil {
		freedom = 0 // the scatter is the tape's, and known
	}
	half := quantile(freedom) * sd
	return Fitted{p, value, sd, value - half, value + half, half <= parameterFacts[p].tells(value)}
}

// next looks along a fan of walks to the door, and along it, for the mark that leaves least doubt about the most doubtful value; nil when
// every value is determined or no mark would help.
func (w WalkTest) next(r settled, f Fit) *Mark {
	worst, most := -1, 0.0
	for j, v := range f.Values {
		if doubt := v.SD / parameterFacts[v.Parameter].tells(v.Value); !v.Determined && doubt > most {
			worst, most = j, doubt
		}
	}
	if worst < 0 {
		return nil
	}
	var best *Mark
	least := 0.9 * f.Covariance[worst][worst]
	fitted := w.with(r.values)
	for _, m := range w.fan(fitted) {
		row := make([]float64, len(w.Free))
		for j, p := range w.Free {
			k := parameterFacts[p]
			up, down := fitted, fitted
			*k.place(&up), *k.place(&down) = *k.place(&up)+k.step, *k.place(&down)-k.step
			more, less := up.aim(), down.aim()
			row[j] = (more.outside(w.Motion, m) - less.outside(w.Motion, m)) / (2 * k.step)
		}
		// What one more row takes off a variance (Sherman and Morrison).
		along, total := 0.0, sq(r.sd)
		for j, a := range row {
			along += f.Covariance[worst][j] * a
			for k, b := range row {
				total += a * f.Covariance[j][k] * b
			}
		}
		if left := f.Covariance[worst][worst] - sq(along)/total; left < least {
			least, best = left, &m
		}
	}
	return best
}

// fan are the marks that a device would give on walks to the middle of the door from all bearings, and along it from both sides.
func (w WalkTest) fan(d Device) (marks []Mark) {
	a := d.aim()
	like := w.Marks[0]
	try := func(from XY, headingDeg float64, length float64) {
		sin, cos := sincosDeg(headingDeg)
		for s := 0.0; s < length; s += 0.05 {
			m := Mark{XY{from[0] + s*sin, from[1] + s*cos}, headingDeg, like.SpeedMps, like.BodyHeightM}
			if a.neededToAnswer(w.Motion, m) <= d.ReachDB {
				marks = append(marks, m)
				return
			}
		}
	}
	far := d.fullReachM() + 1
	for bearing := -80.0; bearing <= 80; bearing += 10 {
		sin, cos := sincosDeg(bearing)
		try(XY{far * sin, far * cos}, bearing-180, far)
	}
	for _, y := range []float64{0.5, 1, 1.5, 2, 3} {
		try(XY{-far, y}, 90, far)
		try(XY{far, y}, -90, far)
	}
	return marks
}

// refusals are the values whose whole interval lies outside of what is allowed.
func (w WalkTest) refusals(r settled, f Fit) (list []Refusal) {
	own := r.covariance(w.beliefs(r.values))
	for j, v := range f.Values {
		allowed, ok := w.Allowed[v.Parameter]
		if !ok || v.Top >= allowed[0] && v.Low <= allowed[1] {
			continue
		}
		missing := allowed[0] - v.Value
		if v.Value > allowed[1] {
			missing = allowed[1] - v.Value
		}
		no := Refusal{Parameter: v.Parameter, Value: v.Value, Low: allowed[0], Top: allowed[1]}
		moves := w.sensitivity(r, own)
		for _, p := range mounting {
			if by, ok := moves[p]; ok && math.Abs(by[j]) > 1e-9 {
				no.Remeasure = append(no.Remeasure, Remeasure{p, missing / by[j], math.Abs(missing/by[j]) / w.heldSD(p)})
			}
		}
		slices.SortStableFunc(no.Remeasure, func(a, b Remeasure) int { return cmp.Compare(a.OfSD, b.OfSD) })
		list = append(list, no)
	}
	return list
}

// Drift is how one parameter differs between two fits of a device.
type Drift struct {
	Parameter Parameter
	By        float64
	Low, Top  float64 // the 95 % interval of the difference
	Moved     bool    // which does not hold 0
}

// DriftSince compares the values that both fits determined, by the intervals of both together. What was held wrongly in both alike
// counts as if it were not alike: the intervals are rather too wide.
func (f Fit) DriftSince(earlier Fit) (list []Drift) {
	for _, now := range f.Values {
		for _, then := range earlier.Values {
			if now.Parameter != then.Parameter || !now.Determined || !then.Determined {
				continue
			}
			by, half := now.Value-then.Value, math.Hypot(now.Top-now.Value, then.Top-then.Value)
			list = append(list, Drift{now.Parameter, by, by - half, by + half, math.Abs(by) > half})
		}
	}
	return list
}
