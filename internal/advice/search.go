package advice

import (
	"cmp"
	"maps"
	"math"
	"slices"

	"lintel.example/lintel/internal/field"
)

// Answer is what fits, best first, and what stood in the way of the rest.
type Answer struct {
	Ranked   []Ranked   `json:"ranked"`             // each hardware once, at its best settings; at most Most
	Rejected []Rejected `json:"rejected"`           // hardware that fits at no setting, in the order of the catalogue
	Presence []Watcher  `json:"presence,omitempty"` // what watches the zones in which somebody may stand, best first
	GiveUp   []GiveUp   `json:"give_up"`            // only when nothing fits: what would, were one thing not asked; what leaves most in hand first

	Candidates int `json:"candidates"` // looked at
	InFull     int `json:"in_full"`    // of them with exact polygons and the fine grid of paths
}

// Most is how many kinds of hardware are ranked.
const Most = 8

// Ranked is hardware at its best settings.
type Ranked struct {
	Candidate
	Checks      []Check `json:"checks"`
	InHandS     float64 `json:"in_hand_s"`   // for the body and on the way that leave least
	Disturbance float64 `json:"disturbance"` // the mean share of passing paths that trigger
	Behind      Behind  `json:"behind"`      // why it comes after the one before it
}

// Behind is the first thing in which one is worse than the one before it.
type Behind struct {
	By  string  `json:"by"` // in_time, disturbance, parts; "" for the first, and for those alike
	Its float64 `json:"its"`
	The float64 `json:"the"` // of the one before
}

// Rejected is hardware that fits at no setting.
type Rejected struct {
	Opening       string   `json:"opening"`
	Model         string   `json:"model"`
	Antenna       string   `json:"antenna"`
	Accessories   []string `json:"accessories"`
	Place         Place    `json:"place"`
	Candidates    int      `json:"candidates"`
	Failed        []Failed `json:"failed"`                  // what candidates failed first, the most frequent first
	Contradiction string   `json:"contradiction,omitempty"` // why the pieces cannot be put together
}

// Failed counts candidates by what they failed first.
type Failed struct {
	Asked
	Times int `json:"times"`
	// Of those that failed by leaf or zone, the geometry that came nearest: it sees a leaf from LeafDB of reach on (nil: never), and needs
	// ZoneDB for the zones (nil: nothing).
	LeafDB *float64 `json:"leaf_db,omitempty"`
	ZoneDB *float64 `json:"zone_db,omitempty"`
	// NearestS is the most time in hand of those that failed by time; nil when nobody is seen at all.
	NearestS *float64 `json:"nearest_s,omitempty"`

	window *float64
}

// GiveUp is what would fit if one thing were not asked.
type GiveUp struct {
	Asked
	First Ranked `json:"first"`
}

// Advise looks for what suits.
func Advise(q Question) Answer {
	a := q.search(nil)
	a.Presence = q.watchers()
	if len(a.Ranked) > 0 {
		return a
	}
	tried := map[Asked]bool{}
	for i := range q.Openings {
		for _, asked := range q.Openings[i].asks() {
			if tried[asked] {
				continue
			}
			tried[asked] = true
			without := q.search(&asked)
			a.InFull += without.InFull
			if len(without.Ranked) > 0 {
				a.GiveUp = append(a.GiveUp, GiveUp{asked, without.Ranked[0]})
			}
		}
	}
	slices.SortStableFunc(a.GiveUp, func(x, y GiveUp) int { return cmp.Compare(y.First.InHandS, x.First.InHandS) })
	return a
}

// search ranks what holds in everything that is asked but one thing.
func (q *Question) search(without *Asked) (a Answer) {
	rejected := map[int]*Rejected{}
	var left []trial
	for n, h := range q.hardwareOf() {
		r := &Rejected{Opening: h.opening.Name, Model: h.model.Name, Antenna: h.antenna.Name, Accessories: h.names(), Place: h.place}
		before := len(left)
		for _, tilt := range stepsOf(h.model.TiltDeg) {
			for _, yaw := range stepsOf(h.model.YawDeg) {
				left = append(left, h.tries(tilt, yaw, n, without, r)...)
			}
		}
		a.Candidates += r.Candidates
		if len(left) == before {
			rejected[n] = r
		}
	}
	a.rank(left, without, rejected)
	for _, n := range slices.Sorted(maps.Keys(rejected)) {
		r := rejected[n]
		slices.SortStableFunc(r.Failed, func(x, y Failed) int { return cmp.Compare(y.Times, x.Times) })
		a.Rejected = append(a.Rejected, *r)
	}
	return a
}

func stepsOf(list []float64) []float64 {
	if len(list) == 0 {
		return []float64{0}
	}
	return list
}

// tries gives the settings of one geometry that hold as far as quick checks say.
func (h hardware) tries(tiltDeg, yawDeg float64, order int, without *Asked, r *Rejected) (left []trial) {
	o, m := h.opening, h.model
	directions := m.Direction
	if len(directions) == 0 {
		directions = []field.Direction{field.Either}
	}
	reaches, confirms := stepsOf(m.ReachDB), stepsOf(m.ConfirmTravelM)
	each := len(confirms) * len(directions)
	r.Candidates += len(reaches) * each
	d, err := h.device(tiltDeg, yawDeg)
	if err != nil {
		r.Contradiction = err.Error()
		return nil
	}
	asked := func(of Of, name string) bool { return without == nil || *without != Asked{of, name} }

	zoneDB, zone := math.Inf(-1), ""
	for _, z := range o.Required {
		if need := reachOfZone(d, z.Zone); asked(Watched, z.Name) && need > zoneDB {
			zoneDB, zone = need, z.Name
		}
	}
	leafDB, leaf := math.Inf(1), ""
	if zoneDB <= slices.Max(reaches) {
		for _, l := range o.Leaves {
			if l.Inhibited || !asked(LeafUnseen, l.Name) {
				continue
			}
			if from := d.LeafReachDB(l.Surface, quickLeaf); from < leafDB {
				leafDB, leaf = from, l.Name
			}
		}
	}
	for _, reach := range reaches {
		switch {
		case reach < zoneDB:
			r.failed(Asked{Watched, zone}, each).geometry(leafDB, zoneDB)
			continue
		case reach >= leafDB:
			r.failed(Asked{LeafUnseen, leaf}, each).geometry(leafDB, zoneDB)
			continue
		}
		for _, confirm := range confirms {
			for _, direction := range directions {
				t := trial{hardware: h, Device: d, order: order}
				t.ReachDB = reach
				t.motion = field.Motion{FrequencyHz: m.FrequencyHz, LeastSpeedMps: m.LeastSpeedMps, LatencyS: m.LatencyS, ConfirmTravelM: confirm, Direction: direction}
				if failed := t.quick(asked); failed != nil {
					if f := r.failed(*failed, 1); failed.Of == InTime {
						f.time(t.inHandS)
					}
					continue
				}
				left = append(left, t)
			}
		}
	}
	return left
}

// quickLeaf is how many samples of a leaf's movement the quick look leaves out for each that it takes.
const quickLeaf = 9

// quick gives the first thing that a candidate fails, cheapest first.
func (t *trial) quick(asked func(Of, string) bool) *Asked {
	if t.opening.Shake != nil && asked(Still, "") && !t.still().Holds {
		return &Asked{Still, ""}
	}
	for _, b := range t.opening.Blown {
		if asked(Ignored, b.Name) && t.Rejects(t.motion, b).Triggers {
			return &Asked{Ignored, b.Name}
		}
	}
	if t.inHandS = t.worst().MarginS; t.inHandS < 0 && asked(InTime, "") {
		return &Asked{InTime, ""}
	}
	return nil
}

func (r *Rejected) failed(what Asked, times int) *Failed {
	i := slices.IndexFunc(r.Failed, func(f Failed) bool { return f.Asked == what })
	if i < 0 {
		r.Failed = append(r.Failed, Failed{Asked: what})
		i = len(r.Failed) - 1
	}
	r.Failed[i].Times += times
	return &r.Failed[i]
}

// geometry keeps the widest window between what the zones need and what shows the leaf; where no leaf bounds it, the least that the zones need.
func (f *Failed) geometry(leafDB, zoneDB float64) {
	known := func(v float64) *float64 {
		if math.IsInf(v, 0) {
			return nil
		}
		return &v
	}
	window := leafDB - zoneDB
	if math.IsInf(leafDB, 1) {
		window = -zoneDB
	}
	if f.window == nil || (f.LeafDB == nil) == math.IsInf(leafDB, 1) && window > *f.window || f.LeafDB != nil && math.IsInf(leafDB, 1) {
		f.window, f.LeafDB, f.ZoneDB = &window, known(leafDB), known(zoneDB)
	}
}

func (f *Failed) time(inHandS float64) {
	if !math.IsInf(inHandS, 0) && (f.NearestS == nil || inHandS > *f.NearestS) {
		f.NearestS = &inHandS
	}
}

// reachOfZone is about the least reach at which a required zone has no gap that the test body fits into: on a grid of 10 cm,
// where every two by three points have one at which a body is seen.
func reachOfZone(d field.Device, z field.Zone) float64 {
	const grid = 0.1
	nx, ny := int((z.X1M-z.X0M)/grid+0.5), int((z.Y1M-z.Y0M)/grid+0.5)
	need := make([]float64, nx*ny)
	for i := range nx {
		for j := range ny {
			p := field.Point{X: z.X0M + (float64(i)+0.5)*(z.X1M-z.X0M)/float64(nx), Y: z.Y0M + (float64(j)+0.5)*(z.Y1M-z.Y0M)/float64(ny)}
			least := math.Inf(1)
			for k := range 4 {
				p.Z = 0.1 + (z.BodyHeightM-0.1)*float64(k)/3
				least = min(least, d.ReachNeededDB(p))
			}
			need[i*ny+j] = least
		}
	}
	most := math.Inf(-1)
	block := func(w, h int) {
		for i := 0; i+w <= nx; i++ {
			for j := 0; j+h <= ny; j++ {
				least := math.Inf(1)
				for u := range w {
					for v := range h {
						least = min(least, need[(i+u)*ny+j+v])
					}
				}
				most = max(most, least)
			}
		}
	}
	block(2, 3)
	block(3, 2)
	return most
}

// inBands is the time in hand as the ranking counts it.
func (t *trial) inBands() float64 { return math.Floor(min(t.inHandS, EnoughS) / BandS) }

// quickGrid is how many points lie on each end of a kept-clear zone in the quick look.
const quickGrid = 8

// quickTooMuch is a mean share in the quick look that the fine grid will not bring down to PassersAtMost everywhere.
const quickTooMuch = 3 * PassersAtMost

// meanOf is the mean share of passing paths that trigger.
func meanOf(checks []Check) float64 {
	sum, n := 0.0, 0
	for _, c := range checks {
		if c.Of == LetPass {
			sum, n = sum+c.Value, n+1
		}
	}
	return sum / float64(max(1, n))
}

// rank orders what is left and looks at it in full from the top, each hardware until one of its candidates holds.
func (a *Answer) rank(left []trial, without *Asked, rejected map[int]*Rejected) {
	hardware := map[int]bool{}
	for _, t := range left {
		hardware[t.order] = true
	}
	found := map[int]bool{}
	slices.SortStableFunc(left, func(x, y trial) int { return cmp.Compare(y.inBands(), x.inBands()) })
	for len(left) > 0 && len(found) < min(Most, len(hardware)) {
		n := slices.IndexFunc(left, func(t trial) bool { return t.inBands() != left[0].inBands() })
		if n < 0 {
			n = len(left)
		}
		band := left[:n]
		left = left[n:]
		band = slices.DeleteFunc(band, func(t trial) bool { return found[t.order] })
		for i := range band {
			band[i].disturbance = band[i].disturbs(quickGrid)
		}
		slices.SortStableFunc(band, func(x, y trial) int {
			return cmp.Or(cmp.Compare(x.disturbance, y.disturbance), cmp.Compare(len(x.accessories), len(y.accessories)), cmp.Compare(x.order, y.order), cmp.Compare(y.inHandS, x.inHandS))
		})
		for _, t := range band {
			if found[t.order] || len(found) >= Most || a.addsNothing(t) {
				continue
			}
			if len(t.opening.KeptClear) > 0 && t.disturbance > quickTooMuch {
				continue // on average, so that at least one zone is answered to
			}
			checks := t.inFull()
			a.InFull++
			if failing := slices.IndexFunc(checks, func(c Check) bool { return !c.Holds && (without == nil || c.Asked != *without) }); failing >= 0 {
				a.reject(rejected, t, checks[failing])
				continue
			}
			found[t.order] = true
			delete(rejected, t.order)
			a.Ranked = append(a.Ranked, Ranked{Candidate: t.candidate(), Checks: checks, InHandS: max(UnseenS, t.inHandS), Disturbance: meanOf(checks)})
		}
	}
	for n := range found {
		delete(rejected, n)
	}
	a.tellBehind()
}

// addsNothing says whether what is ranked already does it with some of the same parts.
func (a *Answer) addsNothing(t trial) bool {
	names := t.names()
	return slices.ContainsFunc(a.Ranked, func(r Ranked) bool {
		return r.Opening == t.opening.Name && r.Model == t.model.Name && r.Antenna == t.antenna.Name && len(r.Accessories) < len(names) &&
			!slices.ContainsFunc(r.Accessories, func(part string) bool { return !slices.Contains(names, part) })
	})
}

func (a *Answer) reject(rejected map[int]*Rejected, t trial, c Check) {
	r := rejected[t.order]
	if r == nil {
		r = &Rejected{Opening: t.opening.Name, Model: t.model.Name, Antenna: t.antenna.Name, Accessories: t.names(), Place: t.place}
		rejected[t.order] = r
	}
	r.failed(c.Asked, 1)
}

// disturbs is the mean share of passing paths that trigger.
func (t *trial) disturbs(grid int) float64 {
	sum := 0.0
	for _, z := range t.opening.KeptClear {
		sum += t.PassBy(t.motion, passer, z.Zone, grid).Share()
	}
	return sum / float64(max(1, len(t.opening.KeptClear)))
}

// tellBehind puts the ranked into their exact order and says what decides between neighbours.
func (a *Answer) tellBehind() {
	band := func(r Ranked) float64 { return math.Floor(min(r.InHandS, EnoughS) / BandS) }
	slices.SortStableFunc(a.Ranked, func(x, y Ranked) int {
		return cmp.Or(cmp.Compare(band(y), band(x)), cmp.Compare(x.Disturbance, y.Disturbance), cmp.Compare(len(x.Accessories), len(y.Accessories)))
	})
	for i := 1; i < len(a.Ranked); i++ {
		r, first := &a.Ranked[i], a.Ranked[i-1]
		switch {
		case band(*r) < band(first):
			r.Behind = Behind{"in_time", r.InHandS, first.InHandS}
		case r.Disturbance > first.Disturbance:
			r.Behind = Behind{"disturbance", r.Disturbance, first.Disturbance}
		case len(r.Accessories) > len(first.Accessories):
			r.Behind = Behind{"parts", float64(len(r.Accessories)), float64(len(first.Accessories))}
		}
	}
}
