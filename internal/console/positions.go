package console

import (
	"math"
	"strings"

	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/rulebook"
	"lintel.example/lintel/internal/words"
)

// The signs of a picture of tried positions: a line for each row, the nearest to the door first; in it a sign for each column, from left to
// right as somebody sees them who stands in the opening and looks out. The middle column stands before the middle of the opening.
const (
	signSeen     = 'x'
	signNotSeen  = 'o'
	signNotTried = '.'
)

// positions reads a form with a picture of tried positions.
func (r *reader) positions() *fleet.EntryPositions {
	f := r.form
	p := &fleet.EntryPositions{Zone: rulebook.ZoneKind(r.chosen("/positions/zone")), Side: r.chosen("/positions/side"), Body: f.Value("/positions/body")}
	spacing, first := r.value("/positions/spacing_m", words.Metre, nil), r.value("first_m", words.Metre, nil)
	if spacing == nil || first == nil {
		for name, v := range map[string]*float64{"/positions/spacing_m": spacing, "first_m": first} {
			if v == nil && f.Value(name) == "" {
				r.faults.Add(name, "text_missing")
			}
		}
		return p
	}
	p.SpacingM = *spacing
	width := 0
	for row, line := range strings.Split(f.Value("/positions/tried"), "\n") {
		signs := strings.ToLower(strings.Join(strings.Fields(line), ""))
		if row == 0 {
			width = len(signs)
		}
		if len(signs) != width {
			r.faults.Add("/positions/tried", "position_row_length", "row", row+1, "signs", len(signs), "first", width)
			return p
		}
		for column, sign := range signs {
			at := rulebook.Position{XM: (float64(column) - float64(width-1)/2) * *spacing, YM: *first + float64(row)**spacing, Seen: sign == signSeen}
			switch sign {
			case signSeen, signNotSeen:
				p.Tried = append(p.Tried, at)
			case signNotTried:
			default:
				r.faults.Add("/positions/tried", "position_sign", "row", row+1, "sign", string(sign))
				return p
			}
		}
	}
	return p
}

// fillPositions puts tried positions into a form; the picture stays empty where none can show them.
func fillPositions(f form, p fleet.EntryPositions, t words.Printer) {
	f.values.Set("/positions/zone", string(p.Zone))
	f.values.Set("/positions/side", p.Side)
	f.values.Set("/positions/body", p.Body)
	f.values.Set("/positions/spacing_m", writer{t}.fine(p.SpacingM))
	first, half, last := math.Inf(1), 0.0, 0.0
	for _, at := range p.Tried {
		first, half, last = min(first, at.YM), max(half, math.Abs(at.XM)), max(last, at.YM)
	}
	f.values.Set("first_m", writer{t}.fine(first))
	columns, rows := int(math.Round(2*half/p.SpacingM))+1, int(math.Round((last-first)/p.SpacingM))+1
	picture := make([][]byte, rows)
	for i := range picture {
		picture[i] = []byte(strings.Repeat(string(signNotTried), columns))
	}
	for _, at := range p.Tried {
		x, y := (at.XM+half)/p.SpacingM, (at.YM-first)/p.SpacingM
		if math.Abs(x-math.Round(x)) > 0.05 || math.Abs(y-math.Round(y)) > 0.05 {
			return
		}
		sign := byte(signNotSeen)
		if at.Seen {
			sign = signSeen
		}
		picture[int(math.Round(y))][int(math.Round(x))] = sign
	}
	lines := make([]string, rows)
	for i, row := range picture {
		lines[i] = string(row)
	}
	f.values.Set("/positions/tried", strings.Join(lines, "\n"))
}

// fine writes a length to the millimetre, or to the sixteenth of an inch.
func (w writer) fine(m float64) string {
	return words.FormatLengthTo(m, w.Units(), words.Fineness{Decimals: 3, InchParts: 16})
}
