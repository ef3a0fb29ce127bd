package rulebook

// ZoneKind says what a zone must notice.
type ZoneKind string

const (
	ActivationZone ZoneKind = "activation" // somebody who comes
	PresenceZone   ZoneKind = "presence"   // somebody who stands there
)

// Side is one of the two sides of a door.
type Side string

const (
	SideA Side = "a"
	SideB Side = "b"
)

// Rect is a rectangle on the floor in the frame of one side (package documentation), metres, X0M < X1M and Y0M < Y1M.
type Rect struct {
	X0M float64 `json:"x0_m"`
	X1M float64 `json:"x1_m"`
	Y0M float64 `json:"y0_m"`
	Y1M float64 `json:"y1_m"`
}

// RequiredZone is a zone that a pack asks for on one side of a door.
type RequiredZone struct {
	ID    string   `json:"id"`
	Title string   `json:"title"`
	Kind  ZoneKind `json:"kind"`
	// Rect is nil when it cannot be computed: Reason and Gaps then say why, and the zone counts as not covered.
	Rect   *Rect  `json:"rect,omitempty"`
	Reason Reason `json:"reason,omitempty"`
	Gaps   []Gap  `json:"gaps,omitempty"`

	BodyHeightM  float64  `json:"body_height_m"`            // smallest person that must be noticed
	BodySpeedMps *float64 `json:"body_speed_mps,omitempty"` // slowest walk that must be noticed, metres per second
	HeldS        *float64 `json:"held_s,omitempty"`         // how long a motionless person must be held, seconds

	Source   Source   `json:"source"`
	Standing Standing `json:"standing"`
	Weight   Weight   `json:"weight"`
}

// Zones gives the zones that the pack asks for on that side, in the pack's order. Zones that do not apply are left out; a zone of
// which it cannot be said whether it applies (facts unknown, a pack for other doors) is there, without a rectangle.
func (p *Pack) Zones(facts Facts, side Side) []RequiredZone {
	s := newSituation(facts, nil)
	sideFact, opens := "activation_a", facts.ActivationA
	if side == SideB {
		sideFact, opens = "activation_b", facts.ActivationB
	}
	put(s.known, sideActivation, opens)

	zones := []RequiredZone{}
	for _, z := range p.ZoneRules {
		required := RequiredZone{
			ID: z.ID, Title: z.Title, Kind: z.Kind,
			BodyHeightM: z.Body.Height.si, BodySpeedMps: si(z.Body.Speed), HeldS: si(z.Body.Held),
			Source: z.Source, Standing: z.Standing, Weight: z.Standing.Weight(),
		}
		applies, _, reason, gaps := s.applies(p, z.when)
		switch {
		case reason == RuleDoesNotApply:
			continue
		case applies:
			required.Rect, reason, gaps = z.rect(s)
		}
		for i := range gaps {
			if gaps[i].Name == sideActivation {
				gaps[i].Name = sideFact
			}
		}
		required.Reason, required.Gaps = reason, gaps
		zones = append(zones, required)
	}
	return zones
}

func si(q *Quantity) *float64 {
	if q == nil {
		return nil
	}
	value := q.si
	return &value
}

func (z *ZoneRule) rect(s *situation) (*Rect, Reason, []Gap) {
	if gaps := s.allGaps(z.bounds[:]...); gaps != nil {
		return nil, InputsUnusable, gaps
	}
	var bounds [4]float64
	for i, p := range z.bounds {
		value, err := s.number(p)
		if err != nil {
			return nil, NotComputable, nil
		}
		bounds[i] = value
	}
	r := Rect{X0M: bounds[0], X1M: bounds[1], Y0M: bounds[2], Y1M: bounds[3]}
	if r.X0M >= r.X1M || r.Y0M >= r.Y1M {
		return nil, NotComputable, nil
	}
	return &r, "", nil
}
