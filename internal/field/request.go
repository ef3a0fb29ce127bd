package field

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"strings"
	"unicode/utf8"
)

// Request is one question of the line protocol: a mounted, set device and a plane.
type Request struct {
	Device          Device
	PlaneHeightM    float64 // 0 to the device's height
	ClipAtDoorPlane bool
}

// Answer is the field on the plane, as the line protocol gives it: metres and square metres, polygons as lists of closed
// rings of [x, y], the outer one counter-clockwise, then holes. An empty field has zeros and [].
type Answer struct {
	WidthM   float64   `json:"width_m"`
	DepthM   float64   `json:"depth_m"`
	NearM    float64   `json:"near_m"`
	FarM     float64   `json:"far_m"`
	AreaM2   float64   `json:"area_m2"`
	Polygons []Polygon `json:"polygons"`
}

// Answer computes the field that was asked for, to the micrometre.
func (r Request) Answer() Answer {
	f := r.Device.Footprint(r.PlaneHeightM, r.ClipAtDoorPlane)
	polys := make([]Polygon, 0, len(f.Polygons))
	for _, p := range f.Polygons {
		rounded := make(Polygon, 0, len(p))
		for _, ring := range p {
			points := make(Ring, len(ring))
			for i, v := range ring {
				points[i] = XY{micro(v[0]), micro(v[1])}
			}
			if points = closed(points); points != nil {
				rounded = append(rounded, points)
			} else if len(rounded) == 0 {
				break // the outer ring was thinner than a micrometre
			}
		}
		if len(rounded) > 0 {
			polys = append(polys, rounded)
		}
	}
	if len(polys) == 0 {
		return Answer{Polygons: polys}
	}
	return Answer{micro(f.WidthM), micro(f.DepthM), micro(f.NearM), micro(f.FarM), micro(f.AreaM2), polys}
}

// micro rounds to six decimals and knows no negative zero.
func micro(v float64) float64 { return math.Round(v*1e6)/1e6 + 0 }

// members are what a request may say, in the order in which faults are reported.
var members = []struct {
	limit
	required bool
	unsaid   float64 // what it is when nobody says it
	place    func(*Request) *float64
}{
	{limitHeight, true, 0, func(r *Request) *float64 { return &r.Device.HeightM }},
	{limitTilt, true, 0, func(r *Request) *float64 { return &r.Device.TiltDeg }},
	{limitAzimuth, true, 0, func(r *Request) *float64 { return &r.Device.AzimuthBeamwidthDeg }},
	{limitElevation, true, 0, func(r *Request) *float64 { return &r.Device.ElevationBeamwidthDeg }},
	{limitRange, true, 0, func(r *Request) *float64 { return &r.Device.BoresightRangeM }},
	{limitYaw, false, 0, func(r *Request) *float64 { return &r.Device.YawDeg }},
	{limitOffsetX, false, 0, func(r *Request) *float64 { return &r.Device.OffsetXM }},
	{limitOffsetY, false, 0, func(r *Request) *float64 { return &r.Device.OffsetYM }},
	{limitCap, false, 25, func(r *Request) *float64 { return &r.Device.AttenuationLimitDB }},
	{limitReach, false, 0, func(r *Request) *float64 { return &r.Device.ReachDB }},
	{limitPlane, false, 0, func(r *Request) *float64 { return &r.PlaneHeightM }},
}

// limitPlane is checked against the device's height as well.
var limitPlane = limit{"plane_height_m", 0, limitHeight.top}

const memberClip = "clip_at_door_plane"

// ParseRequest reads one JSON object. It takes nothing on trust: an unknown, repeated or missing member, another spelling
// of its name, null, another type, a value out of limits and text after the object are each an *InputError that names the
// member ("" when it is the text as a whole).
func ParseRequest(text []byte) (Request, error) {
	r := Request{ClipAtDoorPlane: true}
	for _, m := range members {
		*m.place(&r) = m.unsaid
	}
	seen := map[string]bool{}
	if err := readObject(text, func(name string, value any) error {
		if seen[name] {
			return &InputError{name, "is given twice"}
		}
		seen[name] = true
		return r.set(name, value)
	}); err != nil {
		return Request{}, err
	}
	for _, m := range members {
		if m.required && !seen[m.member] {
			return Request{}, &InputError{m.member, "is missing"}
		}
	}
	if r.PlaneHeightM > r.Device.HeightM {
		return Request{}, &InputError{limitPlane.member, fmt.Sprintf("must be from 0 to height_m (%g), not %g", r.Device.HeightM, r.PlaneHeightM)}
	}
	return r, nil
}

// set takes one member.
func (r *Request) set(name string, value any) error {
	if name == memberClip {
		clip, ok := value.(bool)
		if !ok {
			return &InputError{name, "must be true or false, not " + kindOf(value)}
		}
		r.ClipAtDoorPlane = clip
		return nil
	}
	for _, m := range members {
		if m.member != name {
			continue
		}
		number, ok := value.(json.Number)
		if !ok {
			return &InputError{name, "must be a number, not " + kindOf(value)}
		}
		v, err := number.Float64()
		if err != nil { // syntactically a number, but none that a computer holds
			return &InputError{name, fmt.Sprintf("must be from %g to %g", m.low, m.top)}
		}
		if err := m.check(v); err != nil {
			return err
		}
		*m.place(r) = v + 0 // no negative zero
		return nil
	}
	return &InputError{quoted(name), "is not a known member"}
}

// readObject calls member for each member of a flat JSON object, in the order of the text. Nested values come as their
// opening json.Delim; no member takes one.
func readObject(text []byte, member func(name string, value any) error) error {
	if !utf8.Valid(text) {
		return &InputError{"", "is not UTF-8"}
	}
	dec := json.NewDecoder(bytes.NewReader(text))
	dec.UseNumber()
	first, err := dec.Token()
	if errors.Is(err, io.EOF) {
		return &InputError{"", "is empty, not a JSON object"}
	}
	if err != nil {
		return notJSON("", err)
	}
	if first != json.Delim('{') {
		return &InputError{"", "is " + kindOf(first) + ", not a JSON object"}
	}
	last := ""
	for dec.More() {
		token, err := dec.Token()
		if err != nil {
			return notJSON(last, err)
		}
		name, ok := token.(string)
		if !ok {
			return notJSON(last, errors.New("a member's name must be a string"))
		}
		last = name
		value, err := dec.Token()
		if err != nil {
			return notJSON(last, err)
		}
		if err := member(name, value); err != nil {
			return err
		}
	}
	if _, err := dec.Token(); err != nil {
		return notJSON(last, err)
	}
	if _, err := dec.Token(); !errors.Is(err, io.EOF) {
		return &InputError{"", "has text after the JSON object"}
	}
	return nil
}

// notJSON names the member at or after which the text stops being JSON.
func notJSON(member string, err error) error {
	reason := strings.TrimPrefix(err.Error(), "json: ")
	if errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) {
		reason = "it ends too early"
	}
	if member == "" {
		return &InputError{"", "is not JSON: " + reason}
	}
	return &InputError{quoted(member), "is where it stops being JSON: " + reason}
}

// quoted keeps what people typed on one line and short; names that are ours stay as they are.
func quoted(name string) string {
	if name == memberClip {
		return name
	}
	for _, m := range members {
		if m.member == name {
			return name
		}
	}
	if runes := []rune(name); len(runes) > 40 {
		name = string(runes[:40]) + "…"
	}
	return fmt.Sprintf("%q", name)
}

func kindOf(value any) string {
	switch v := value.(type) {
	case nil:
		return "null"
	case bool:
		return "true or false"
	case string:
		return "text"
	case json.Number, float64:
		return "a number"
	case json.Delim:
		if v == '[' {
			return "a list"
		}
		return "an object"
	}
	return "something else"
}
