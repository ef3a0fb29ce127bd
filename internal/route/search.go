package route

import (
	"math"
	"slices"
)

// Figures of Christiaens and Vanden Berghe 2020, table 1 and section 4.
const (
	meanRemoved   = 10   // visits taken out in a step, on average
	longestString = 10   // visits in a string
	splitChance   = 0.5  // a string leaves visits standing in its middle
	splitDeeper   = 0.01 // one more of them
	blinkEvery    = 100  // positions of which one is passed over
	nearest       = 400  // neighbours that a visit knows
)

const nobody = int32(-1)

// stop is a visit in a route, or the route's start or end.
type stop struct {
	visit, place int32
	leg          float64 // distance from the stop before
	leave        float64 // the earliest
	latest       float64 // the latest arrival with which nothing becomes late
}

// way is a route: its start, its visits, its end.
type way struct {
	stops  []stop
	length float64 // 0 without visits
	load   float64
	closed bool
	saved  bool // in this step
	kind   int32
}

func (w *way) visits() []stop { return w.stops[1 : len(w.stops)-1] }

// span is what the windows of a visit come to in shifts of the same hours.
type span struct{ ready, due float64 }

// search is a plan and all that is needed to change it.
type search struct {
	p         *Problem
	distance  []float64
	distance2 []float64 // from b to a at [a*Places+b]
	time      []float64
	time2     []float64
	spans     [][]span // by class of hours and visit
	hours     []int32  // class of hours of a shift
	may       []bool   // visit*len(shifts)+shift
	near      [][]int32
	far       []float64 // distance from the nearest start of a shift
	ready     []float64
	due       []float64
	price     []float64 // finite
	optional  bool      // there are visits that may be left out
	opening   float64   // price of a route
	scale     float64   // mean distance between places
	orders    []order   // for recreate
	kinds     []int     // step in which an empty route of a kind was looked at
	looks     int

	routes []way
	where  []int32 // route of a visit
	absent []int32
	length float64
	fines  float64 // prices of those absent
	used   int
	dice   dice

	// of the step
	keys         []float64
	savedRoutes  []int32
	savedStops   []stop
	savedEnds    []int // of savedRoutes in savedStops
	absentBefore []int32
	costBefore   float64
	lengthBefore float64
	finesBefore  float64
	usedBefore   int
	eager        float64 // a visit is put back for so many times its price: several in one place may be worth a way that none is worth alone
	blink        int     // positions until the next one that is passed over
}

func newSearch(p *Problem, seed uint64) *search {
	n := len(p.Visits)
	s := &search{p: p, distance: p.Distance, time: p.Time, dice: dice(seed),
		routes: make([]way, len(p.Shifts)), where: make([]int32, n), may: make([]bool, n*len(p.Shifts)), hours: make([]int32, len(p.Shifts)),
		eager: 1, far: make([]float64, n), ready: make([]float64, n), due: make([]float64, n), price: make([]float64, n), keys: make([]float64, n), kinds: make([]int, len(p.Shifts))}
	s.distance2 = transposed(p.Distance, p.Places)
	if n > 0 && &p.Distance[0] == &p.Time[0] {
		s.time2 = s.distance2
	} else {
		s.time2 = transposed(p.Time, p.Places)
	}
	s.readWindows()
	for u, v := range p.Visits {
		s.where[u] = nobody
		s.absent = append(s.absent, int32(u))
		s.far[u] = math.Inf(1)
		for r, shift := range p.Shifts {
			s.may[u*len(p.Shifts)+r] = mayServe(&v, &shift, r)
			s.far[u] = min(s.far[u], p.Distance[shift.Start*p.Places+v.Place])
		}
		s.ready[u], s.due[u] = math.Inf(-1), math.Inf(1)
		if k := len(v.Windows); k > 0 {
			s.ready[u], s.due[u] = v.Windows[0].From, v.Windows[k-1].To
		}
	}
	s.readPrices()
	s.readNeighbours()
	s.sortKinds()
	for r, shift := range p.Shifts {
		s.routes[r].stops = append(make([]stop, 0, 16), stop{visit: nobody, place: int32(shift.Start), leave: shift.Hours.From}, stop{visit: nobody, place: int32(shift.End), latest: shift.Hours.To})
		s.fill(int32(r), nil)
	}
	s.addUp()
	s.blink = s.nextBlink()
	return s
}

// mayServe says whether a shift may make the visit, wherever and whenever.
func mayServe(v *Visit, shift *Shift, number int) bool {
	return v.Needs&^shift.Has == 0 && v.Demand <= shift.Capacity && (len(v.Only) == 0 || slices.Contains(v.Only, number))
}

func transposed(m []float64, n int) []float64 {
	out := make([]float64, len(m))
	same := true
	for a := range n {
		for b := range n {
			out[b*n+a] = m[a*n+b]
			same = same && m[a*n+b] == m[b*n+a]
		}
	}
	if same {
		return m
	}
	return out
}

// windowIn is what of a visit's windows counts in a shift of these hours: of those that meet it the one that does so longest.
func windowIn(v *Visit, hours Window) (w Window, meets bool) {
	if len(v.Windows) == 0 {
		return hours, true
	}
	longest := -1.0
	for _, x := range v.Windows {
		if common := min(x.To, hours.To) - max(x.From, hours.From); common > longest && common >= 0 {
			w, longest = x, common
		}
	}
	return w, longest >= 0
}

func (s *search) readWindows() {
	classes := map[Window]int32{}
	for r, shift := range s.p.Shifts {
		class, known := classes[shift.Hours]
		if !known {
			class = int32(len(s.spans))
			classes[shift.Hours] = class
			of := make([]span, len(s.p.Visits))
			for u := range s.p.Visits {
				if w, meets := windowIn(&s.p.Visits[u], shift.Hours); meets {
					of[u] = span{w.From, w.To}
				} else {
					of[u] = span{math.Inf(1), math.Inf(-1)}
				}
			}
			s.spans = append(s.spans, of)
		}
		s.hours[r] = class
	}
}

// readPrices makes what must not be finite and above all else, so that one sum compares plans: first the visits that must be
// made, then the routes where fewer are better, then distance and the prices of what may be left out.
func (s *search) readPrices() {
	total := 1.0
	for u, v := range s.p.Visits {
		longest := 0.0
		for r := range s.p.Shifts {
			shift := &s.p.Shifts[r]
			longest = max(longest, s.distance[shift.Start*s.p.Places+v.Place]+s.distance[v.Place*s.p.Places+shift.End])
		}
		total += longest
		if v.Price <= math.MaxFloat64 {
			total += v.Price
			s.optional = true
		}
		s.price[u] = v.Price
	}
	must := total
	if s.p.FewestShifts {
		s.opening = total
		must = total * float64(len(s.p.Shifts)+1)
	}
	differ := false
	for u, price := range s.price {
		differ = differ || price != s.price[0]
		if price > math.MaxFloat64 {
			s.price[u] = must
		}
	}
	s.orders = []order{byChance, byChance, byChance, byChance, byDemand, byDemand, byDemand, byDemand, byFar, byFar, byNear, byWidth, byWidth, byReady, byReady, byDue, byDue}
	if differ {
		s.orders = append(s.orders, byPrice, byPrice, byPrice, byPrice, byPrice, byPrice, byPrice, byPrice)
	}
}

func (s *search) readNeighbours() {
	n, total := len(s.p.Visits), 0.0
	s.near = make([][]int32, n)
	row := make([]int32, n)
	for u, v := range s.p.Visits {
		to := s.distance[v.Place*s.p.Places:]
		for i := range row {
			row[i] = int32(i)
			total += to[s.p.Visits[i].Place]
		}
		slices.SortFunc(row, func(a, b int32) int {
			da, db := to[s.p.Visits[a].Place], to[s.p.Visits[b].Place]
			switch {
			case a == b:
				return 0
			case int(a) == u, int(b) != u && da < db, int(b) != u && da == db && a < b:
				return -1
			}
			return 1
		})
		s.near[u] = slices.Clone(row[:min(n, nearest)])
	}
	if s.scale = total / float64(max(n*n, 1)); s.scale == 0 {
		s.scale = 1
	}
}

// sortKinds gives shifts that differ in nothing the same kind: of the empty ones of a kind one is looked at.
func (s *search) sortKinds() {
	named := make([]bool, len(s.p.Shifts))
	for _, v := range s.p.Visits {
		for _, r := range v.Only {
			named[r] = true
		}
	}
	known := map[Shift]int32{}
	for r, shift := range s.p.Shifts {
		kind, seen := known[shift]
		if !seen || named[r] {
			kind = int32(r)
		}
		if !seen && !named[r] {
			known[shift] = kind
		}
		s.routes[r].kind = kind
	}
}

// cost is what the annealing compares.
func (s *search) cost() float64 { return s.length + s.fines + s.opening*float64(s.used) }

// loose is the cost with the price of those absent replaced by a fine each.
func (s *search) loose(fine float64) float64 {
	return s.length + fine*float64(len(s.absent)) + s.opening*float64(s.used)
}

// addUp adds everything up anew, so that errors of rounding do not gather.
func (s *search) addUp() {
	s.length, s.fines, s.used = 0, 0, 0
	for r := range s.routes {
		if len(s.routes[r].stops) > 2 {
			s.length += s.routes[r].length
			s.used++
		}
	}
	for _, u := range s.absent {
		s.fines += s.price[u]
	}
}

// fill makes these visits the route's.
func (s *search) fill(r int32, visits []int32) {
	w := &s.routes[r]
	end := w.stops[len(w.stops)-1]
	w.stops = w.stops[:1]
	for _, u := range visits {
		w.stops = append(w.stops, stop{visit: u, place: int32(s.p.Visits[u].Place)})
		s.where[u] = r
	}
	w.stops = append(w.stops, end)
	s.measure(r)
}

// measure computes a route's legs, load, earliest and latest times.
func (s *search) measure(r int32) {
	w, shift, spans := &s.routes[r], &s.p.Shifts[r], s.spans[s.hours[r]]
	w.length, w.load = 0, 0
	for i := 1; i < len(w.stops); i++ {
		a, b := &w.stops[i-1], &w.stops[i]
		leg := int(a.place)*s.p.Places + int(b.place)
		b.leg = s.distance[leg]
		w.length += b.leg
		if b.visit == nobody {
			break
		}
		v := &s.p.Visits[b.visit]
		w.load += v.Demand
		b.leave = shift.Break.begin(max(shift.Break.Drive(a.leave, s.time[leg]), spans[b.visit].ready), v.Duration) + v.Duration
	}
	for i := len(w.stops) - 2; i > 0; i-- {
		a, b := &w.stops[i], &w.stops[i+1]
		v := &s.p.Visits[a.visit]
		done := shift.Break.SetOff(b.latest, s.time[int(a.place)*s.p.Places+int(b.place)])
		a.latest = shift.Break.beginBy(min(spans[a.visit].due, done-v.Duration), v.Duration)
	}
	if len(w.stops) == 2 { // nobody sets off
		w.length, w.stops[1].leg = 0, 0
	}
}

func (s *search) beginStep() {
	for _, r := range s.savedRoutes {
		s.routes[r].saved = false
	}
	s.savedRoutes, s.savedStops, s.savedEnds = s.savedRoutes[:0], s.savedStops[:0], s.savedEnds[:0]
	s.absentBefore = append(s.absentBefore[:0], s.absent...)
	s.costBefore, s.lengthBefore, s.finesBefore, s.usedBefore = s.cost(), s.length, s.fines, s.used
}

// save keeps a route as it was before the step. It is called before the first change of it.
func (s *search) save(r int32) {
	w := &s.routes[r]
	if w.saved {
		return
	}
	w.saved = true
	s.savedRoutes = append(s.savedRoutes, r)
	s.savedStops = append(s.savedStops, w.visits()...)
	s.savedEnds = append(s.savedEnds, len(s.savedStops))
}

// undo takes the step back.
func (s *search) undo() {
	for _, u := range s.absentBefore {
		s.where[u] = nobody
	}
	for _, u := range s.absent {
		s.where[u] = nobody
	}
	s.absent = append(s.absent[:0], s.absentBefore...)
	from := 0
	for i, r := range s.savedRoutes {
		w := &s.routes[r]
		end := w.stops[len(w.stops)-1]
		w.stops = append(w.stops[:1], s.savedStops[from:s.savedEnds[i]]...)
		w.stops = append(w.stops, end)
		for _, stop := range w.visits() {
			s.where[stop.visit] = r
		}
		s.measure(r)
		from = s.savedEnds[i]
	}
	s.length, s.fines, s.used = s.lengthBefore, s.finesBefore, s.usedBefore
}

// ruin takes strings of visits out of routes near a visit that chance names.
func (s *search) ruin() {
	if len(s.p.Visits) == 0 {
		return
	}
	mean := float64(len(s.p.Visits)-len(s.absent)) / float64(max(s.used, 1))
	longest := min(longestString, mean)
	strings := int(1 + s.dice.unit()*(4*meanRemoved/(1+longest)-1))
	for _, c := range s.near[s.dice.below(len(s.p.Visits))] {
		r := s.where[c]
		if r == nobody || s.routes[r].saved {
			continue
		}
		s.save(r)
		w := &s.routes[r]
		size := len(w.visits())
		long := int(1 + s.dice.unit()*min(float64(size), longest))
		long = min(long, size)
		at := 1
		for w.stops[at].visit != c {
			at++
		}
		stand := 0
		if long > 1 && long < size && s.dice.unit() < splitChance {
			for stand = 1; long+stand < size && s.dice.unit() < splitDeeper; stand++ {
			}
		}
		s.takeOut(r, at, long, stand)
		if strings--; strings == 0 {
			break
		}
	}
}

// takeOut removes long visits of long+stand that follow each other, among them the one at that stop, and lets stand of
// them stand.
func (s *search) takeOut(r int32, at, long, stand int) {
	w := &s.routes[r]
	whole, size := long+stand, len(w.stops)-2
	first := max(1, at-whole+1)
	last := min(at, size-whole+1)
	first += s.dice.below(last - first + 1)
	skip := first + long // none stand
	if stand > 0 {
		skip = first + 1 + s.dice.below(long-1) // not at an end, where the string would only be shorter
	}
	to := first
	for i := first; i < len(w.stops); i++ {
		if i < first+whole && (i < skip || i >= skip+stand) {
			u := w.stops[i].visit
			s.where[u] = nobody
			s.absent = append(s.absent, u)
			s.fines += s.price[u]
			continue
		}
		w.stops[to] = w.stops[i]
		to++
	}
	w.stops = w.stops[:to]
	before := w.length
	s.measure(r)
	s.length += w.length - before
	if len(w.stops) == 2 {
		s.used--
	}
}

// order is in which order recreate puts visits back.
type order int

const (
	byChance order = iota
	byDemand
	byFar
	byNear
	byWidth
	byReady
	byDue
	byPrice
)

func (s *search) key(o order, u int32) float64 {
	switch o {
	case byDemand:
		return -s.p.Visits[u].Demand
	case byFar:
		return -s.far[u]
	case byNear:
		return s.far[u]
	case byWidth:
		return s.due[u] - s.ready[u]
	case byReady:
		return s.ready[u]
	case byDue:
		return -s.due[u]
	case byPrice:
		return -s.price[u]
	}
	return s.dice.unit()
}

// recreate puts the absent back, each where it costs least; who finds no place stays absent.
func (s *search) recreate() {
	o := s.orders[s.dice.below(len(s.orders))]
	keys := s.keys[:len(s.absent)]
	for i, u := range s.absent {
		key := s.key(o, u)
		j := i
		for ; j > 0 && keys[j-1] > key; j-- {
			keys[j], s.absent[j] = keys[j-1], s.absent[j-1]
		}
		keys[j], s.absent[j] = key, u
	}
	s.eager = 1
	if s.optional && s.dice.below(2) == 0 {
		s.eager = 1 / s.dice.unit()
	}
	left := 0
	for _, u := range s.absent {
		if r, at, _ := s.position(u); r != nobody {
			s.putIn(u, r, at)
		} else {
			s.absent[left] = u
			left++
		}
	}
	s.absent = s.absent[:left]
}

// position is the best place for a visit: before stop at of route r; nobody when there is none that is worth it.
func (s *search) position(u int32) (r int32, at int, extra float64) {
	r, extra = nobody, s.price[u]*s.eager
	s.looks++
	may := s.may[int(u)*len(s.routes) : (int(u)+1)*len(s.routes)]
	for i := range s.routes {
		if w := &s.routes[i]; may[i] && !w.closed && (len(w.stops) > 2 || !s.p.FewestShifts && s.kinds[w.kind] != s.looks) {
			if len(w.stops) == 2 {
				s.kinds[w.kind] = s.looks
			}
			if x, cost := s.positionIn(u, int32(i), extra); x > 0 {
				r, at, extra = int32(i), x, cost
			}
		}
	}
	if r != nobody || !s.p.FewestShifts {
		return r, at, extra
	}
	for i := range s.routes {
		if w := &s.routes[i]; may[i] && !w.closed && len(w.stops) == 2 && s.kinds[w.kind] != s.looks {
			s.kinds[w.kind] = s.looks
			if x, cost := s.positionIn(u, int32(i), extra); x > 0 {
				r, at, extra = int32(i), x, cost
			}
		}
	}
	return r, at, extra
}

// positionIn is the best place in one route that costs less than that; 0 when there is none.
func (s *search) positionIn(u, r int32, below float64) (at int, extra float64) {
	w, shift, v := &s.routes[r], &s.p.Shifts[r], &s.p.Visits[u]
	if w.load+v.Demand > shift.Capacity {
		return 0, below
	}
	span := s.spans[s.hours[r]][u]
	rests := shift.Break.From < shift.Break.To
	row := v.Place * s.p.Places
	to, from := s.distance2[row:row+s.p.Places], s.distance[row:row+s.p.Places]
	toTime, fromTime := s.time2[row:row+s.p.Places], s.time[row:row+s.p.Places]
	extra = below
	for i := 1; i < len(w.stops); i++ {
		a, b := &w.stops[i-1], &w.stops[i]
		if a.leave > span.due {
			break
		}
		s.blink--
		if s.blink == 0 {
			s.blink = s.nextBlink()
			continue
		}
		cost := to[a.place] + from[b.place] - b.leg
		if cost >= extra {
			continue
		}
		if rests {
			begin := shift.Break.begin(max(shift.Break.Drive(a.leave, toTime[a.place]), span.ready), v.Duration)
			if begin > span.due || shift.Break.Drive(begin+v.Duration, fromTime[b.place]) > b.latest {
				continue
			}
		} else {
			begin := max(a.leave+toTime[a.place], span.ready)
			if begin > span.due || begin+v.Duration+fromTime[b.place] > b.latest {
				continue
			}
		}
		at, extra = i, cost
	}
	return at, extra
}

func (s *search) putIn(u, r int32, at int) {
	s.save(r)
	w := &s.routes[r]
	before := w.length
	if len(w.stops) == 2 {
		s.used++
	}
	w.stops = slices.Insert(w.stops, at, stop{visit: u, place: int32(s.p.Visits[u].Place)})
	s.where[u] = r
	s.measure(r)
	s.length += w.length - before
	s.fines -= s.price[u]
}

// nextBlink draws how many positions are looked at before one is passed over.
func (s *search) nextBlink() int {
	return 1 + int(math.Log(s.dice.unit())/math.Log(1-1.0/blinkEvery))
}

// dice is the generator SplitMix64 of G. L. Steele, D. Lea and C. H. Flood, "Fast splittable pseudorandom number generators",
// OOPSLA 2014: the same numbers from the same seed on every machine and with every version of the language.
type dice uint64

func (d *dice) next() uint64 {
	*d += 0x9e3779b97f4a7c15
	z := uint64(*d)
	z = (z ^ z>>30) * 0xbf58476d1ce4e5b9
	z = (z ^ z>>27) * 0x94d049bb133111eb
	return z ^ z>>31
}

// unit is above 0 and at most 1.
func (d *dice) unit() float64 { return float64(d.next()>>11+1) / (1 << 53) }

// below is from 0 to n-1.
func (d *dice) below(n int) int { return int((d.next() >> 32) * uint64(n) >> 32) }
