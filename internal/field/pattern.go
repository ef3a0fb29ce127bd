package field

import (
	"errors"
	"fmt"
	"math"
	"regexp"
	"slices"
	"strings"

	"go.yaml.in/yaml/v3"
)

// Pattern is a field as somebody published it: how wide and how deep, for one mount.
type Pattern struct {
	Mount
	ReachDB         float64
	PlaneHeightM    float64
	ClipAtDoorPlane bool
	WidthM, DepthM  float64 // 0 where it was not published
}

// PatternSheet is all that was published of one antenna.
type PatternSheet struct {
	Patterns           []Pattern
	AttenuationLimitDB float64 // held: extents hardly show it
	BoresightRangeM    float64 // 0 when it was not published
	UncertaintyM       float64 // of an extent, a standard deviation
}

// Miss is an extent as published and as the fitted antenna has it.
type Miss struct {
	Pattern              int     `json:"pattern"` // counted from 0
	Member               string  `json:"member"`  // width_m or depth_m
	PublishedM           float64 `json:"published_m"`
	HasM                 float64 `json:"has_m"`
	ContradictsTheOthers bool    `json:"contradicts_the_others"` // and did not count
}

// Entry is an antenna for the catalogue, out of published extents.
type Entry struct {
	ModelVersion string    `json:"model_version"`
	Antenna      Antenna   `json:"antenna"`
	Values       []Fitted  `json:"values"`     // azimuth and elevation beamwidth, range on the boresight
	RangeHeld    bool      `json:"range_held"` // the range was published, or has been taken for want of extents
	Misses       []Miss    `json:"misses"`
	ScatterM     float64   `json:"scatter_m"`
	OneHeight    bool      `json:"fitted_at_one_height"` // all patterns are of one height above their plane: at another the entry is a guess
	Alike        []Antenna `json:"alike,omitempty"`      // others that fit the extents as well, when something is left open
}

// The parameters of an antenna.
const (
	AzimuthParameter   Parameter = "azimuth_beamwidth_deg"
	ElevationParameter Parameter = "elevation_beamwidth_deg"
)

// What is taken when nobody says, and within which share an interval tells something: our own choices. A range is taken when the extents
// are too few for three numbers.
const (
	patternUncertaintyM = 0.05
	takenRangeM         = 6.0
	beamTellsTo         = 0.15
	rangeTellsTo        = 0.2
	mostPatterns        = 100
)

// Fit works out beamwidths and range. An *InputError says what cannot be taken, or that there are fewer than two extents.
func (s PatternSheet) Fit() (Entry, error) {
	if err := s.check(); err != nil {
		return Entry{}, err
	}
	published := s.extents()
	if len(published) < 2 {
		return Entry{}, &InputError{"patterns", "tell too little: at least two extents are needed, such as a width and a depth"}
	}
	held := s.BoresightRangeM
	taken := held == 0 && len(published) < 3
	if taken {
		held = takenRangeM
	}
	r, antenna := s.settle(held)
	e := Entry{ModelVersion: ModelVersion, Antenna: antenna, RangeHeld: held > 0, ScatterM: r.sd, OneHeight: s.oneHeight()}
	beliefs := []float64{10 * beamTellsTo * antenna.AzimuthBeamwidthDeg, 10 * beamTellsTo * antenna.ElevationBeamwidthDeg, 10 * rangeTellsTo * antenna.BoresightRangeM}
	spread := r.covariance(beliefs[:len(r.values)])
	for j, p := range []Parameter{AzimuthParameter, ElevationParameter, RangeParameter} {
		if j == len(r.values) { // the range, held
			e.Values = append(e.Values, Fitted{p, held, 0, held, held, !taken})
			break
		}
		sd := math.Sqrt(spread.At(j, j))
		half := quantile(0) * sd
		tells := beliefs[j] / 10
		e.Values = append(e.Values, Fitted{p, r.values[j], sd, r.values[j] - half, r.values[j] + half, half <= tells && !taken})
	}
	for i, x := range published {
		e.Misses = append(e.Misses, Miss{x.pattern, x.member, x.m, x.m - r.residuals[i], math.Abs(r.residuals[i]) > 3*r.sd})
	}
	if slices.ContainsFunc(e.Values, func(v Fitted) bool { return !v.Determined }) {
		e.Alike = s.alike(antenna.BoresightRangeM, r)
	}
	return e, nil
}

// settle fits both beamwidths, and the range too when it is not held (0).
func (s PatternSheet) settle(heldM float64) (settled, Antenna) {
	antenna := func(v []float64) Antenna {
		a := Antenna{v[0], v[1], s.AttenuationLimitDB, heldM}
		if heldM == 0 {
			a.BoresightRangeM = v[2]
		}
		return a
	}
	published := s.extents()
	fit := settling{leastSD: s.UncertaintyM, known: true, unknowns: []unknown{{limitAzimuth, 0.5}, {limitElevation, 0.5}},
		residuals: func(v []float64) []float64 {
			missing := make([]float64, len(published))
			for i, x := range published {
				missing[i] = x.m - x.of(s.Patterns[x.pattern].footprint(antenna(v)))
			}
			return missing
		}}
	ranges := []float64{heldM}
	if heldM == 0 {
		fit.unknowns = append(fit.unknowns, unknown{limitRange, 0.05})
		furthest := 0.0
		for _, p := range s.Patterns {
			furthest = max(furthest, math.Hypot(p.HeightM-p.PlaneHeightM, max(p.DepthM, p.WidthM/2)))
		}
		ranges = []float64{min(limitRange.top, 1.1*furthest), min(limitRange.top, 1.6*furthest), min(limitRange.top, 2.5*furthest)}
	}
	var starts [][]float64
	for _, azimuth := range []float64{20, 35, 60, 100} {
		for _, elevation := range []float64{20, 35, 60} {
			for _, rangeM := range ranges {
				starts = append(starts, []float64{azimuth, elevation, rangeM}[:len(fit.unknowns)])
			}
		}
	}
	r := fit.settle(starts...)
	return r, antenna(r.values)
}

// alike are antennas of other ranges that miss the extents by no more than their uncertainty, or not much more than the best.
func (s PatternSheet) alike(rangeM float64, best settled) (list []Antenna) {
	for _, share := range []float64{0.67, 0.8, 1.25, 1.5, 2} {
		other := rangeM * share
		if limitRange.check(other) != nil {
			continue
		}
		r, antenna := s.settle(other)
		worst := 0.0
		for i, e := range r.residuals {
			worst = max(worst, math.Abs(e)-math.Abs(best.residuals[i]))
		}
		if worst <= s.UncertaintyM {
			list = append(list, antenna)
		}
	}
	return list
}

func (p Pattern) footprint(a Antenna) Footprint {
	return Device{Mount: p.Mount, Antenna: a, ReachDB: p.ReachDB}.Footprint(p.PlaneHeightM, p.ClipAtDoorPlane)
}

// extent is one published number.
type extent struct {
	pattern int
	member  string
	m       float64
	of      func(Footprint) float64
}

func (s PatternSheet) extents() (list []extent) {
	for i, p := range s.Patterns {
		if p.WidthM > 0 {
			list = append(list, extent{i, "width_m", p.WidthM, func(f Footprint) float64 { return f.WidthM }})
		}
		if p.DepthM > 0 {
			list = append(list, extent{i, "depth_m", p.DepthM, func(f Footprint) float64 { return f.DepthM }})
		}
	}
	return list
}

func (s PatternSheet) oneHeight() bool {
	above := func(p Pattern) float64 { return p.HeightM - p.PlaneHeightM }
	return !slices.ContainsFunc(s.Patterns, func(p Pattern) bool { return math.Abs(above(p)-above(s.Patterns[0])) > 0.05 })
}

func (s PatternSheet) check() error {
	if n := len(s.Patterns); n == 0 || n > mostPatterns {
		return &InputError{"patterns", fmt.Sprintf("must be 1 to %d, not %d", mostPatterns, n)}
	}
	if err := checkAll(measured{limitCap, s.AttenuationLimitDB}, measured{limit{"uncertainty_m", 0.001, 1}, s.UncertaintyM}); err != nil {
		return err
	}
	if s.BoresightRangeM != 0 {
		if err := limitRange.check(s.BoresightRangeM); err != nil {
			return err
		}
	}
	for i, p := range s.Patterns {
		err := p.Mount.validate()
		if err == nil {
			err = checkAll(measured{limitReach, p.ReachDB}, measured{limit{limitPlane.member, 0, p.HeightM}, p.PlaneHeightM})
		}
		for _, x := range []struct {
			member string
			m      float64
		}{{"width_m", p.WidthM}, {"depth_m", p.DepthM}} {
			if err == nil && x.m != 0 {
				err = limit{x.member, 0.05, 60}.check(x.m)
			}
		}
		if err == nil && p.WidthM == 0 && p.DepthM == 0 {
			err = &InputError{"width_m", "and depth_m are both missing"}
		}
		var fault *InputError
		if errors.As(err, &fault) {
			return &InputError{fmt.Sprintf("patterns[%d].%s", i, fault.Member), fault.Reason}
		}
	}
	return nil
}

// MostPatternBytes is how long the text of a sheet may be.
const MostPatternBytes = 1 << 20

// ParsePatterns reads a sheet of published extents, YAML or JSON: patterns (each height_m, tilt_deg, width_m or depth_m or both; yaw_deg, offset_x_m,
// offset_y_m, reach_db, plane_height_m 0 and clip_at_door_plane true when left out), and attenuation_limit_db (25), boresight_range_m (not
// known), uncertainty_m (0.05). It takes nothing on trust: what is wrong is an *InputError that names the member.
func ParsePatterns(text []byte) (PatternSheet, error) {
	if len(text) > MostPatternBytes {
		return PatternSheet{}, &InputError{"", fmt.Sprintf("is longer than %d bytes", MostPatternBytes)}
	}
	type wirePattern struct {
		HeightM         *float64 `yaml:"height_m"`
		TiltDeg         *float64 `yaml:"tilt_deg"`
		YawDeg          float64  `yaml:"yaw_deg"`
		OffsetXM        float64  `yaml:"offset_x_m"`
		OffsetYM        float64  `yaml:"offset_y_m"`
		ReachDB         float64  `yaml:"reach_db"`
		PlaneHeightM    float64  `yaml:"plane_height_m"`
		ClipAtDoorPlane *bool    `yaml:"clip_at_door_plane"`
		WidthM          float64  `yaml:"width_m"`
		DepthM          float64  `yaml:"depth_m"`
	}
	wire := struct {
		Patterns           []wirePattern `yaml:"patterns"`
		AttenuationLimitDB float64       `yaml:"attenuation_limit_db"`
		BoresightRangeM    float64       `yaml:"boresight_range_m"`
		UncertaintyM       float64       `yaml:"uncertainty_m"`
	}{AttenuationLimitDB: 25, UncertaintyM: patternUncertaintyM}
	d := yaml.NewDecoder(strings.NewReader(string(text)))
	d.KnownFields(true)
	if err := d.Decode(&wire); err != nil {
		return PatternSheet{}, notPatterns(err)
	}
	if err := d.Decode(new(any)); err == nil {
		return PatternSheet{}, &InputError{"", "has a second document after the first"}
	}
	s := PatternSheet{AttenuationLimitDB: wire.AttenuationLimitDB, BoresightRangeM: wire.BoresightRangeM, UncertaintyM: wire.UncertaintyM}
	for i, p := range wire.Patterns {
		if p.HeightM == nil || p.TiltDeg == nil {
			missing := "height_m"
			if p.HeightM != nil {
				missing = "tilt_deg"
			}
			return PatternSheet{}, &InputError{fmt.Sprintf("patterns[%d].%s", i, missing), "is missing"}
		}
		s.Patterns = append(s.Patterns, Pattern{Mount{*p.HeightM, *p.TiltDeg, p.YawDeg, p.OffsetXM, p.OffsetYM}, p.ReachDB, p.PlaneHeightM,
			p.ClipAtDoorPlane == nil || *p.ClipAtDoorPlane, p.WidthM, p.DepthM})
	}
	return s, s.check()
}

var unknownMember = regexp.MustCompile(`line (\d+): field (.+) not found in type .*`)

// notPatterns says on one line, without the program's inner names, where the text is not what it should be.
func notPatterns(err error) error {
	reason := strings.TrimPrefix(err.Error(), "yaml: ")
	if reason == "EOF" {
		return &InputError{"", "is empty"}
	}
	if _, first, ok := strings.Cut(reason, "unmarshal errors:\n"); ok {
		reason, _, _ = strings.Cut(strings.TrimSpace(first), "\n")
	}
	if m := unknownMember.FindStringSubmatch(reason); m != nil {
		return &InputError{fmt.Sprintf("%.40q", m[2]), "in line " + m[1] + " is not a known member"}
	}
	reason, _, _ = strings.Cut(reason, "\n")
	reason, into, found := strings.Cut(reason, " into ")
	if found {
		kind := "a list or an object"
		switch into {
		case "float64":
			kind = "a number"
		case "bool":
			kind = "true or false"
		}
		reason = strings.Replace(reason, "cannot unmarshal", "this is not "+kind+":", 1)
	}
	return &InputError{"", "is not as it should be: " + reason}
}
