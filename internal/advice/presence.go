package advice

import (
	"cmp"
	"math"
	"slices"

	"lintel.example/lintel/internal/field"
	"lintel.example/lintel/internal/words"
)

// Means is a model that tells of somebody who stands, by whatever it is: light, a mat. Its settings are where it stands and where it looks.
type Means struct {
	Name    string
	TiltDeg []float64 // steps that are tried; none: it looks nowhere
	YawDeg  []float64
	OnLeaf  bool // it is made to be fixed to a leaf
	OnFloor bool // it lies on the floor before the door
	// Volume is the device at a mount. The error says why it cannot be there.
	Volume func(m field.Mount) (field.Volume, error)
}

// Watcher is one way to watch the zones in which somebody may stand, at its best settings.
type Watcher struct {
	Opening string  `json:"opening"`
	Model   string  `json:"model"`
	Place   Place   `json:"place"`
	OnLeaf  string  `json:"on_leaf,omitempty"` // the name of the leaf that it is fixed to and moves with; "" when it stays
	TiltDeg float64 `json:"tilt_deg"`
	YawDeg  float64 `json:"yaw_deg"`
	Holds   bool    `json:"holds"`   // in everything that is asked of it, and covers at least LeastCovered of each zone
	Covered float64 `json:"covered"` // the share of the zone of which it covers least
	Checks  []Check `json:"checks"`
}

// Where devices are tried that are not on the header: choices of our own.
const (
	leafFaceM    = 0.05 // from the mid-plane of a leaf to a device on it
	belowTheEdge = 0.10 // of a leaf's top
)

// LeastCovered is the share of a zone that a watcher covers at least: no gap of a zone that is narrower than the test body takes it, and who watches nothing of
// such a zone would hold. A choice of our own.
const LeastCovered = 0.5

// watchers gives each means at each place once, at its best settings, the best first; at most Most.
func (q *Question) watchers() []Watcher {
	var list []Watcher
	for i := range q.Openings {
		o := &q.Openings[i]
		if len(o.Standing) == 0 {
			continue
		}
		for _, means := range q.Means {
			for _, at := range o.placesOf(means) {
				if w, ok := o.bestOf(means, at); ok {
					list = append(list, w)
				}
			}
		}
	}
	slices.SortStableFunc(list, func(a, b Watcher) int { return a.worse(b) })
	return list[:min(len(list), Most)]
}

// worse orders by what holds, then by what is covered, then by how much of a leaf's movement is seen.
func (w Watcher) worse(than Watcher) int {
	order := func(holds bool) int {
		if holds {
			return 0
		}
		return 1
	}
	return cmp.Or(cmp.Compare(order(w.Holds), order(than.Holds)), cmp.Compare(math.Round(than.Covered*1000), math.Round(w.Covered*1000)), cmp.Compare(w.leafShare(), than.leafShare()))
}

func (w Watcher) leafShare() (share float64) {
	for _, c := range w.Checks {
		if c.Of == LeafUnseen && !c.Masked {
			share += c.Value
		}
	}
	return share
}

// standing is a place with the leaf that carries the device, nil when nothing does.
type standing struct {
	Place
	leaf *Leaf
}

func (o *Opening) placesOf(m Means) (list []standing) {
	switch {
	case m.OnFloor:
		return []standing{{Place: Place{OffsetYM: 0}}}
	case !m.OnLeaf:
		return []standing{{Place: o.Header}}
	}
	for i, l := range o.Leaves {
		if carrier, ok := l.Surface.(field.Carrier); ok {
			x, top := carrier.Middle()
			list = append(list, standing{Place{top - belowTheEdge, x, leafFaceM}, &o.Leaves[i]})
		}
	}
	return list
}

func (o *Opening) bestOf(m Means, at standing) (best Watcher, found bool) {
	for _, tilt := range stepsOf(m.TiltDeg) {
		for _, yaw := range stepsOf(m.YawDeg) {
			v, err := m.Volume(field.Mount{HeightM: at.HeightM, OffsetXM: at.OffsetXM, OffsetYM: at.OffsetYM, TiltDeg: tilt, YawDeg: yaw})
			if err != nil {
				continue
			}
			w := Watcher{Opening: o.Name, Model: m.Name, Place: at.Place, TiltDeg: tilt, YawDeg: yaw, Holds: true, Covered: 1}
			var on field.Carrier
			if at.leaf != nil {
				on, w.OnLeaf = at.leaf.Surface.(field.Carrier), at.leaf.Name
			}
			asked := Opening{Name: o.Name, Opening: o.Opening, Leaves: o.Leaves, Required: o.Standing}
			w.Checks = asked.HoldAny(v, field.Motion{}, on)
			for _, c := range w.Checks {
				w.Holds = w.Holds && c.Holds
				if c.Of == Watched {
					w.Covered = min(w.Covered, c.Covered)
				}
			}
			w.Holds = w.Holds && w.Covered >= LeastCovered
			if !found || w.worse(best) < 0 {
				best, found = w, true
			}
		}
	}
	return best, found
}

// HoldAny holds a device of any principle that is there against what the opening asks. on is the leaf that it is fixed to and moves with, nil when it stays.
// Nobody comes in time or late where no Bodies are given, and a knowing act tells of nobody who comes.
func (o Opening) HoldAny(v field.Volume, m field.Motion, on field.Carrier) []Check {
	if d, ok := v.(field.Device); ok {
		return o.Hold(d, m)
	}
	var list []Check
	for _, l := range o.Leaves {
		seen := field.SeesLeaf(v, l.Surface, on)
		list = append(list, Check{Asked: Asked{LeafUnseen, l.Name}, Holds: !seen.Seen || l.Inhibited, Value: seen.Share, Masked: seen.Seen && l.Inhibited, FromDeg: seen.FirstDeg, ToDeg: seen.LastDeg})
	}
	for _, z := range o.Required {
		list = append(list, watchedBy(v, z))
	}
	if v.Senses().Purpose == field.KnowingAct {
		return list
	}
	if len(o.Bodies) > 0 {
		worst := field.InTime{MarginS: math.Inf(1)}
		for _, b := range o.Bodies {
			if w := field.WorstArrival(v, m, b, o.Opening, o.Ways); w.MarginS < worst.MarginS {
				worst = w
			}
		}
		list = append(list, arrives(worst))
	}
	for _, z := range o.KeptClear {
		list = append(list, passes(z.Name, field.PassBy(v, m, passer, z.Zone, field.PassingGrid)))
	}
	return list
}

// presence puts the watchers into words.
func (t teller) presence(list []Watcher) (s Section) {
	s.Heading = t.T("presence.heading")
	if !list[0].Holds {
		s.Sentences = append(s.Sentences, t.T("presence.none"))
	}
	s.Sentences = append(s.Sentences, t.T("presence.choice", "least", percent(LeastCovered)))
	for i, w := range list {
		where := t.T("presence.fixed", "height", t.Length(w.Place.HeightM), "out", t.Length(w.Place.OffsetYM))
		switch {
		case w.OnLeaf != "":
			where = t.T("presence.on_leaf", "leaf", w.OnLeaf, "height", t.Length(w.Place.HeightM))
		case w.Place.HeightM == 0:
			where = t.T("presence.on_floor")
		}
		s.Sentences = append(s.Sentences, t.T("presence.watcher", "place", i+1, "opening", w.Opening, "model", w.Model, "where", where, "tilt", t.Quantity(w.TiltDeg, words.Degree), "yaw", t.Quantity(w.YawDeg, words.Degree)))
		for _, c := range w.Checks {
			s.Sentences = append(s.Sentences, t.check(c))
		}
	}
	return s
}

// angles says between which opening angles a leaf that turns is seen.
func (t teller) angles(c Check) string {
	if c.Value == 0 || c.ToDeg == 0 {
		return ""
	}
	return t.T("presence.angles", "from", t.Quantity(c.FromDeg, words.Degree), "to", t.Quantity(c.ToDeg, words.Degree))
}
