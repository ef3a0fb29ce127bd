package rulebook

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"
)

// ForceSample is one line of a recorded force: seconds and newtons.
type ForceSample struct{ S, N float64 }

// ForceSeries is a force over time as a gauge recorded it, at least three samples, the time rising strictly.
type ForceSeries []ForceSample

// ForceError is what is wrong with the text of a series, and on which line; 0 for the text as a whole.
type ForceError struct {
	Line int
	What string
}

func (e *ForceError) Error() string {
	if e.Line == 0 {
		return e.What
	}
	return fmt.Sprintf("line %d: %s", e.Line, e.What)
}

// Bounds of a series, ours: seconds of a gauge at 1 kHz are some hundred kilobytes; a peak between samples further apart than
// coarsestStep is not seen; a force above mostForce is a slip.
const (
	MostForceBytes = 400_000
	coarsestStepS  = 0.05
	mostForceN     = 20_000
	mostSeriesS    = 600
)

// ParseForceSeries reads the CSV of a gauge: time and force, parted by a tab, a semicolon or a comma, the same throughout. Numbers have a decimal point, or a
// decimal comma where the comma parts nothing. Up to 30 lines may stand before the first line of numbers; the last of them that has
// both columns is the heading, and may name columns (time, force) and units: s or ms, N, lbf or kgf. Without a heading time comes
// first, in seconds, and force second, in newtons. An error is a *ForceError.
func ParseForceSeries(text []byte) (ForceSeries, error) {
	text = bytes.TrimPrefix(text, []byte("\ufeff"))
	switch {
	case len(text) > MostForceBytes:
		return nil, &ForceError{0, fmt.Sprintf("is longer than %d bytes: cut it to the contact", MostForceBytes)}
	case !utf8.Valid(text) || bytes.ContainsRune(text, 0):
		return nil, &ForceError{0, "is no text in UTF-8: save it as CSV in UTF-8"}
	case len(bytes.TrimSpace(text)) == 0:
		return nil, &ForceError{0, "is empty"}
	}
	parts := parting(text)
	rows := csv.NewReader(bytes.NewReader(bytes.ReplaceAll(text, []byte("\r\n"), []byte("\n"))))
	rows.Comma, rows.FieldsPerRecord, rows.TrimLeadingSpace, rows.ReuseRecord = parts, -1, true, true
	columns := forceColumns{time: 0, force: 1, perS: 1, perN: 1}
	var series ForceSeries
	for head := 0; ; {
		fields, err := rows.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		if wrong := (*csv.ParseError)(nil); errors.As(err, &wrong) {
			return nil, &ForceError{wrong.Line, "is no CSV: " + wrong.Err.Error()}
		} else if err != nil {
			return nil, &ForceError{0, err.Error()}
		}
		line, _ := rows.FieldPos(0)
		for len(fields) > 1 && strings.TrimSpace(fields[len(fields)-1]) == "" {
			fields = fields[:len(fields)-1] // gauges end lines with what parts
		}
		if len(series) == 0 && !isNumbers(fields, parts) {
			if head++; head > 30 {
				return nil, &ForceError{line, "no line of numbers so far; want time and force"}
			}
			if len(fields) > 1 {
				if columns, err = headed(fields); err != nil {
					return nil, &ForceError{line, err.Error()}
				}
			}
			continue
		}
		sample, err := columns.sample(fields, parts)
		if err == nil && len(series) > 0 {
			err = follows(series, sample)
		}
		if err != nil {
			return nil, &ForceError{line, err.Error()}
		}
		series = append(series, sample)
	}
	if len(series) < 3 {
		return nil, &ForceError{0, fmt.Sprintf("has %d lines of numbers; a course has at least 3", len(series))}
	}
	return series, nil
}

// parting finds what parts the columns: what the first line with numbers has.
func parting(text []byte) rune {
	for line := range strings.Lines(string(text)) {
		if strings.ContainsAny(line, "0123456789") || strings.ContainsAny(line, "\t;") {
			switch {
			case strings.Contains(line, "\t"):
				return '\t'
			case strings.Contains(line, ";"):
				return ';'
			case strings.Contains(line, ","):
				return ','
			}
		}
	}
	return ','
}

// follows holds a sample against the one before.
func follows(before ForceSeries, s ForceSample) error {
	switch last := before[len(before)-1]; {
	case s.S <= last.S:
		return fmt.Errorf("the time %g s does not come after %g s", s.S, last.S)
	case s.S-last.S > coarsestStepS:
		return fmt.Errorf("%g s after the line before; peaks between samples further apart than %g s are not seen", s.S-last.S, coarsestStepS)
	case s.S-before[0].S > mostSeriesS:
		return fmt.Errorf("lasts longer than %d s: cut it to the contact", mostSeriesS)
	}
	return nil
}

// forceColumns is where time and force stand, and how much of the SI unit one of each is.
type forceColumns struct {
	time, force int
	perS, perN  float64
}

var (
	timeName    = regexp.MustCompile(`(?i)^\s*(time|zeit|temps|t)\b|(?i)^\s*time_`)
	forceName   = regexp.MustCompile(`(?i)^\s*(force|kraft|f)\b|(?i)^\s*force_`)
	unitInHead  = regexp.MustCompile(`[\[(]\s*([^\])]*?)\s*[\])]|[\s_/]([A-Za-z]+)\s*$`)
	timeUnits   = map[string]float64{"s": 1, "sec": 1, "ms": 0.001}
	forceUnits  = map[string]float64{"n": 1, "lbf": newtonsPerLbf, "kgf": 9.80665}
	forceUnitsS = "N, lbf or kgf"
	timeUnitsS  = "s or ms"
)

// headed reads the heading.
func headed(fields []string) (c forceColumns, err error) {
	c = forceColumns{time: slices.IndexFunc(fields, timeName.MatchString), force: slices.IndexFunc(fields, forceName.MatchString)}
	switch {
	case c.time < 0 && c.force < 0 && len(fields) == 2:
		c.time, c.force = 0, 1
	case c.time < 0 && len(fields) == 2:
		c.time = 1 - c.force
	case c.force < 0 && len(fields) == 2:
		c.force = 1 - c.time
	case c.time < 0 || c.force < 0:
		return forceColumns{time: 0, force: 1, perS: 1, perN: 1}, nil // about the gauge, not a heading
	}
	if c.perS, err = headedUnit(fields[c.time], timeUnits, timeUnitsS); err != nil {
		return c, err
	}
	c.perN, err = headedUnit(fields[c.force], forceUnits, forceUnitsS)
	return c, err
}

// headedUnit finds the unit in a heading; SI when it names none.
func headedUnit(heading string, units map[string]float64, known string) (float64, error) {
	found := unitInHead.FindStringSubmatch(heading)
	if found == nil {
		if per, is := units[strings.ToLower(strings.TrimSpace(heading))]; is {
			return per, nil
		}
		return 1, nil
	}
	per, is := units[strings.ToLower(found[1]+found[2])]
	if !is && found[1] == "" {
		return 1, nil // a word of the name
	}
	if !is {
		return 0, fmt.Errorf("the unit %s is not known here; want %s", quoted(found[1]), known)
	}
	return per, nil
}

func isNumbers(fields []string, parts rune) bool {
	if len(fields) < 2 {
		return false
	}
	for _, f := range fields[:2] {
		if _, err := numberIn(f, parts); err != nil {
			return false
		}
	}
	return true
}

func (c forceColumns) sample(fields []string, parts rune) (s ForceSample, err error) {
	if len(fields) <= max(c.time, c.force) {
		return s, fmt.Errorf("has %d columns; time and force are wanted", len(fields))
	}
	if parts == ',' && c.time < 2 && c.force < 2 && len(fields) == 4 {
		return s, errors.New("has 4 columns: a decimal comma goes with semicolons or tabs between the columns")
	}
	if s.S, err = numberIn(fields[c.time], parts); err != nil {
		return s, fmt.Errorf("time: %w", err)
	}
	if s.N, err = numberIn(fields[c.force], parts); err != nil {
		return s, fmt.Errorf("force: %w", err)
	}
	s.S, s.N = s.S*c.perS, s.N*c.perN
	if math.Abs(s.N) > mostForceN {
		return s, fmt.Errorf("force: %g N is more than a door has; look at the unit", s.N)
	}
	return s, nil
}

func numberIn(field string, parts rune) (float64, error) {
	text := strings.TrimSpace(field)
	if parts != ',' && strings.Contains(text, ",") {
		if strings.Contains(text, ".") {
			return 0, fmt.Errorf("%s has a comma and a point; marks of thousands are not read", quoted(text))
		}
		text = strings.Replace(text, ",", ".", 1)
	}
	number, err := strconv.ParseFloat(text, 64)
	if err != nil || math.IsNaN(number) || math.IsInf(number, 0) || math.Abs(number) > 1e9 || strings.ContainsAny(text, "xX_pP") {
		return 0, fmt.Errorf("%s is no number", quoted(text))
	}
	return number, nil
}

// At gives the force at an instant, in a straight line between samples; zero outside of the record.
func (f ForceSeries) At(s float64) float64 {
	i, is := slices.BinarySearchFunc(f, s, func(a ForceSample, at float64) int {
		switch {
		case a.S < at:
			return -1
		case a.S > at:
			return 1
		}
		return 0
	})
	if is {
		return f[i].N
	}
	if i == 0 || i == len(f) {
		return 0
	}
	a, b := f[i-1], f[i]
	return a.N + (b.N-a.N)*(s-a.S)/(b.S-a.S)
}

// Resampled gives the force at fixed steps from an instant to the end of the record.
func (f ForceSeries) Resampled(fromS, stepS float64) ForceSeries {
	count := int((f[len(f)-1].S-fromS)/stepS + 1e-9)
	out := make(ForceSeries, 0, max(0, count+1))
	for i := range max(0, count+1) {
		at := fromS + float64(i)*stepS
		out = append(out, ForceSample{at, f.At(min(at, f[len(f)-1].S))})
	}
	return out
}

// ForceLimits is the greatest force allowed after the first contact: at most PeakN at first, StaticN from StaticFromS on, RestN from RestFromS on.
type ForceLimits struct {
	PeakN       float64 `json:"peak_n"`
	StaticN     float64 `json:"static_n"`
	StaticFromS float64 `json:"static_from_s"`
	RestN       float64 `json:"rest_n"`
	RestFromS   float64 `json:"rest_from_s"`
}

// ForceLimitsInGap gives the European limits of a contact for the width of the gap at which it was measured.
//
// Source: EN 16005 Table 1, after the pattern of EN 12453 Annex A; that a Table 1 of dynamic forces exists was read, the figures
// (400 N to 200 mm, 700 N to 500 mm, 1400 N above; 150 N after 0.75 s; 25 N after 5 s) are from memory, the last in doubt. Advice only.
func ForceLimitsInGap(gapM float64) ForceLimits {
	limits := ForceLimits{PeakN: 400, StaticN: 150, StaticFromS: StaticFromS, RestN: 25, RestFromS: 5}
	switch {
	case gapM > 0.5:
		limits.PeakN = 1400
	case gapM > 0.2:
		limits.PeakN = 700
	}
	return limits
}

// at is the limit so long after the first contact.
func (l ForceLimits) at(s float64) float64 {
	switch {
	case s < l.StaticFromS:
		return l.PeakN
	case s < l.RestFromS:
		return l.StaticN
	}
	return l.RestN
}

const (
	contactFromN = 10    // a force above it is a contact; common practice, no source: above the noise of gauges, far below every limit
	forceStepS   = 0.001 // of resampling
)

// StaticFromS is how long after the contact a force is still dynamic, seconds; EN 16005, from memory.
const StaticFromS = 0.75

// ForceCourse is what a series says.
type ForceCourse struct {
	ContactAtS   float64      `json:"contact_at_s"` // on the gauge's clock: where the force first rises to 10 N
	PeakN        float64      `json:"peak_force_n"` // greatest of all samples
	PeakAfterS   float64      `json:"peak_after_s"` // the contact
	At075N       *float64     `json:"at_0_75_s_n,omitempty"`
	StaticN      *float64     `json:"static_force_n,omitempty"`    // greatest from 0.75 s after the contact on; absent when the record ends before
	UncertaintyN *float64     `json:"uncertainty_n,omitempty"`     // of each force: the gauge's, expanded (k = 2)
	ImpulseNs    float64      `json:"impulse_ns"`                  // of the whole contact: momentum that it took, N·s
	LastsS       float64      `json:"lasts_s"`                     // from the contact to the end of the record
	CoarsestS    float64      `json:"coarsest_step_s"`             // between two samples
	Limits       *ForceLimits `json:"limits,omitempty"`            // that the curve was held against
	AboveS       *float64     `json:"above_limits_s,omitempty"`    // how long the curve is above them, to 1 ms
	AboveFromS   *float64     `json:"above_from_s,omitempty"`      // after the contact; absent when it never is
	AboveByN     *float64     `json:"above_limits_by_n,omitempty"` // at most
}

// Course works a series out. Limits and the gauge's uncertainty may be nil.
func (f ForceSeries) Course(limits *ForceLimits, uncertaintyN *float64) (ForceCourse, error) {
	c := ForceCourse{UncertaintyN: uncertaintyN, Limits: limits, PeakN: math.Inf(-1)}
	first := slices.IndexFunc(f, func(s ForceSample) bool { return s.N >= contactFromN })
	if first < 0 {
		return c, &ForceError{0, fmt.Sprintf("the force never rises to %d N: no contact was recorded", contactFromN)}
	}
	if c.ContactAtS = f[first].S; first > 0 {
		a, b := f[first-1], f[first]
		c.ContactAtS = a.S + (contactFromN-a.N)*(b.S-a.S)/(b.N-a.N)
	}
	end := f[len(f)-1].S
	c.LastsS = end - c.ContactAtS
	for i, s := range f[1:] {
		c.CoarsestS = max(c.CoarsestS, s.S-f[i].S)
		if s.S > c.ContactAtS { // the trapezium from the contact on
			from := max(f[i].S, c.ContactAtS)
			c.ImpulseNs += (s.S - from) * (f.At(from) + s.N) / 2
		}
	}
	for _, s := range f {
		if s.N > c.PeakN {
			c.PeakN, c.PeakAfterS = s.N, max(0, s.S-c.ContactAtS)
		}
	}
	if after := c.ContactAtS + StaticFromS; after <= end {
		at, most := f.At(after), f.At(after)
		for _, s := range f {
			if s.S >= after {
				most = max(most, s.N)
			}
		}
		c.At075N, c.StaticN = &at, &most
	}
	if limits != nil {
		c.hold(f)
	}
	return c, nil
}

// hold holds the resampled curve against the limits.
func (c *ForceCourse) hold(f ForceSeries) {
	above, by := 0.0, 0.0
	for i, s := range f.Resampled(c.ContactAtS, forceStepS) {
		after := float64(i) * forceStepS
		over := s.N - c.Limits.at(after)
		if over <= sameValue*c.Limits.PeakN {
			continue
		}
		above += forceStepS
		if by = max(by, over); c.AboveFromS == nil {
			c.AboveFromS = &after
		}
	}
	c.AboveS, c.AboveByN = &above, &by
}

// Readings gives what the course counts as at a place of a door. The greatest force of a record that ends before 0.75 s has no static one.
func (c ForceCourse) Readings(at Place) (list []Used) {
	add := func(name string, n float64) {
		r := Measured(math.Max(0, n), "N")
		r.Uncertainty, r.Place = c.UncertaintyN, at
		list = append(list, Used{name, r})
	}
	add("peak_force_n", c.PeakN)
	if c.StaticN != nil {
		add("static_force_n", *c.StaticN)
	}
	return list
}
