package console

import (
	"bytes"
	"context"
	"html/template"
	"strconv"
	"time"

	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/report"
	"lintel.example/lintel/internal/trend"
	"lintel.example/lintel/internal/words"
)

type trendsData struct {
	fleet.Trends
	Lines  []seriesLine
	Fields []fieldLine
}

// seriesLine is a series as the page writes it.
type seriesLine struct {
	fleet.Series
	ID      string // of its section
	Where   string
	Limit   string
	Says    string // what the trend is, or why none is told
	Changed string // "" when the door was not changed there
	PerYear string // "" without a line
	Drawing template.HTML
	Points  []pointLine
}

type pointLine struct {
	Day    duedate.Day
	Value  string
	Counts bool
}

// fieldLine is what a device watched over the years.
type fieldLine struct {
	ID      string
	Name    string
	Points  []fleet.FieldPoint
	Drawing template.HTML
}

func (c *Console) trends(ctx context.Context, q *request) (answer, error) {
	id, err := q.pathID("door_id")
	if err != nil {
		return nil, err
	}
	t, err := c.Fleet.Trends(ctx, q.by, id)
	if err != nil {
		return nil, err
	}
	data := trendsData{Trends: t}
	w := writer{q.texts}
	for i, s := range t.Series {
		line, err := w.series(s)
		if err != nil {
			return nil, err
		}
		line.ID = "series-" + strconv.Itoa(i+1)
		data.Lines = append(data.Lines, line)
	}
	var ids fleet.Named
	for _, f := range t.Fields {
		ids.Components = append(ids.Components, f.ComponentID)
	}
	names, err := c.Fleet.Names(ctx, q.by, ids)
	if err != nil {
		return nil, err
	}
	for i, f := range t.Fields {
		line := fieldLine{ID: "field-" + strconv.Itoa(i+1), Name: w.named(names, f.ComponentID), Points: f.Points}
		if line.Drawing, err = w.fieldDrawing(line.Name, f, t.Site.Location()); err != nil {
			return nil, err
		}
		data.Fields = append(data.Fields, line)
	}
	return page{name: "trends", data: data}, nil
}

// series writes a series with its drawing. A single value is not drawn.
func (w writer) series(s fleet.Series) (seriesLine, error) {
	line := seriesLine{Series: s, Where: w.place(s.Leaf, s.Side), Limit: w.seriesLimit(s), Says: w.trend(s)}
	for _, p := range s.Points {
		line.Points = append(line.Points, pointLine{p.Day, w.measured(s.Unit, p.Value), s.Counts(p)})
	}
	if n := len(s.Changes); n > 0 {
		line.Changed = w.T("console.trends.changed", "day", w.day(s.Changes[n-1].Day), "what", w.T("console.change."+s.Changes[n-1].What))
	}
	if l := s.Trend.Line; l != nil {
		low, likely, high := l.PerYear()
		line.PerYear = w.T("console.trends.per_year", "likely", w.slope(s.Unit, likely), "low", w.slope(s.Unit, low), "high", w.slope(s.Unit, high))
	}
	if len(s.Points) < 2 {
		return line, nil
	}
	first, last := s.Points[0], s.Points[len(s.Points)-1]
	d := report.SeriesDrawing{Title: w.T("console.trends.of", "title", w.T("reading."+s.Reading+".title"), "place", line.Where),
		Desc: w.T("console.trends.desc", "count", len(s.Points), "first", w.day(first.Day), "last", w.day(last.Day), "value", w.measured(s.Unit, last.Value),
			"limit", w.T("console.trends.limit")+": "+line.Limit, "trend", line.Says),
		Units: report.Units(w.Units()), Unit: s.Unit, Least: s.Limit.AtLeast, Most: s.Limit.AtMost}
	for _, p := range s.Points {
		d.Dots = append(d.Dots, report.SeriesDot{Year: yearOf(p.Day), Value: p.Value, Before: !s.Counts(p)})
	}
	for _, change := range s.Changes {
		d.Changes = append(d.Changes, yearOf(change.Day))
	}
	d.Line = seriesLineOf(s.Trend)
	return line, draw(&line.Drawing, w, d)
}

func draw(into *template.HTML, w writer, d report.SeriesDrawing) error {
	var svg bytes.Buffer
	err := report.SeriesSVG(&svg, w, d)
	*into = template.HTML(svg.String()) // every text in it is escaped where it is written
	return err
}

// seriesLineOf turns days into years for the drawing.
func seriesLineOf(t trend.Trend) *report.SeriesLine {
	if t.Line == nil {
		return nil
	}
	l := &report.SeriesLine{From: yearOf(t.Line.From), At: func(year float64) (low, likely, high float64) { return t.Line.On(dayOf(year)) }}
	if c := t.Crossing; c != nil {
		l.Bound, l.Earliest, l.Likely = c.Bound, yearOf(c.Earliest), yearOf(c.Likely)
		if !c.Latest.IsZero() {
			l.Latest = yearOf(c.Latest)
		}
	}
	return l
}

// yearOf writes a day as a year with its fraction; dayOf reads it back.
func yearOf(d duedate.Day) float64 {
	y, m, day := d.Date()
	return float64(y) + float64(time.Date(y, m, day, 0, 0, 0, 0, time.UTC).YearDay()-1)/365.2425
}

func dayOf(year float64) duedate.Day {
	begin, err := duedate.NewDay(int(year), time.January, 1)
	if err != nil { // no inspection was in that year
		return begin
	}
	return begin.AddDays(int((year - float64(int(year))) * 365.2425))
}

func (w writer) fieldDrawing(name string, f fleet.FieldSeries, zone *time.Location) (drawing template.HTML, err error) {
	d := report.SeriesDrawing{Title: name, Units: report.Units(w.Units()), Unit: "m2", Set: true}
	var first, last time.Time
	var area float64
	for _, p := range f.Points {
		if p.AreaM2 == nil {
			continue
		}
		if first.IsZero() {
			first = p.EffectiveAt
		}
		last, area = p.EffectiveAt, *p.AreaM2
		d.Dots = append(d.Dots, report.SeriesDot{Year: yearOf(duedate.DayIn(p.EffectiveAt, zone)), Value: area})
	}
	if len(d.Dots) < 2 {
		return "", nil
	}
	d.Desc = w.T("console.trends.field.desc", "count", len(d.Dots), "first", w.day(duedate.DayIn(first, zone)), "last", w.day(duedate.DayIn(last, zone)), "area", w.measured("m2", area))
	return drawing, draw(&drawing, w, d)
}

// measured writes a value of an SI unit in the reader's.
func (w writer) measured(unit string, v float64) string {
	if unit == "m2" {
		return w.Quantity(v, words.SquareMetre)
	}
	return shownValue(w.Printer, v, words.SI(unit))
}

// slope writes what a value gains in a year, with its sign.
func (w writer) slope(unit string, v float64) string {
	if v < 0 {
		return "−" + w.measured(unit, -v)
	}
	return "+" + w.measured(unit, v)
}

// place writes where at a door something is read.
func (w writer) place(leaf int, side string) string {
	said := ""
	if leaf > 0 {
		said = w.T("console.reading.leaf", "number", leaf)
	}
	if side == "" {
		if said == "" {
			said = w.T("console.reading.door")
		}
		return said
	}
	if said == "" {
		return w.Enum("side", side)
	}
	return w.T("console.reading.at_side", "said", said, "side", w.Enum("side", side))
}

func (w writer) seriesLimit(s fleet.Series) string {
	said := ""
	if b := s.Limit.AtLeast; b != nil {
		said = w.T("console.trends.least", "value", w.measured(s.Unit, *b))
	}
	if b := s.Limit.AtMost; b != nil {
		if said != "" {
			said += ", "
		}
		said += w.T("console.trends.most", "value", w.measured(s.Unit, *b))
	}
	switch {
	case said == "":
		return w.T("console.trends.unlimited")
	case s.Limit.Advice:
		return w.T("console.trends.advice", "limit", said)
	}
	return said
}

// trend writes when a reading is likely at its limit, or why that is not told.
func (w writer) trend(s fleet.Series) string {
	c := s.Trend.Crossing
	switch {
	case c == nil:
		return w.T("trend.reason." + string(s.Trend.Reason))
	case c.Likely == s.Points[len(s.Points)-1].Day:
		return w.T("console.trends.reached", "bound", w.measured(s.Unit, c.Bound), "likely", w.day(c.Likely))
	case c.Latest.IsZero():
		return w.T("console.trends.crossing.open", "bound", w.measured(s.Unit, c.Bound), "likely", w.day(c.Likely), "earliest", w.day(c.Earliest))
	}
	return w.T("console.trends.crossing", "bound", w.measured(s.Unit, c.Bound), "likely", w.day(c.Likely), "earliest", w.day(c.Earliest), "latest", w.day(c.Latest))
}

type crossingsData struct {
	Filter filter
	Within []option
	Until  duedate.Day
	Today  duedate.Day
	Lines  []crossingLine
	More   More
}

type crossingLine struct {
	fleet.ExpectedCrossing
	Title, Where, Last, Limit, Between string
	Passed                             bool
}

// usualMonths is how far the list looks ahead when nobody chose.
const usualMonths = 12

func (c *Console) crossings(ctx context.Context, q *request) (answer, error) {
	f := q.filter()
	months := usualMonths
	w := writer{q.texts}
	data := crossingsData{Filter: f, Today: duedate.DayIn(c.Now(), time.UTC)}
	for _, n := range []int{3, 6, usualMonths, 24, 60, 120} {
		value := strconv.Itoa(n)
		if f.Value("months") == value {
			months = n
		}
		if n == usualMonths {
			value = ""
		}
		data.Within = append(data.Within, option{Value: value, Text: w.T("console.months", "count", n)})
	}
	data.Until = data.Today.AddMonths(months)
	query := fleet.CrossingQuery{SiteID: f.ID("site"), Until: data.Until, Limit: perPage + 1}
	f.key(&query.After)
	if err := f.faults.Err(); err != nil {
		return nil, err
	}
	list, err := c.Fleet.ExpectedCrossings(ctx, q.by, query)
	if err != nil {
		return nil, err
	}
	var last any
	if len(list) > perPage {
		list = list[:perPage]
		last = list[perPage-1].Key()
	}
	data.More = q.more(last)
	for _, x := range list {
		s := fleet.Series{Unit: x.Unit, Limit: fleet.SeriesLimit{Advice: x.Advice, AtLeast: &x.Bound}}
		if x.AtMost {
			s.Limit.AtLeast, s.Limit.AtMost = nil, &x.Bound
		}
		line := crossingLine{ExpectedCrossing: x, Title: w.T("reading." + x.Reading + ".title"), Where: w.place(x.Leaf, x.Side), Limit: w.seriesLimit(s),
			Last:   w.T("console.trends.last.on", "value", w.measured(x.Unit, x.LastValue), "day", w.day(x.LastOn)),
			Passed: x.LikelyOn.Before(data.Today)}
		if x.LatestOn.IsZero() {
			line.Between = w.T("console.crossings.span.open", "earliest", w.day(x.EarliestOn))
		} else {
			line.Between = w.T("console.crossings.span", "earliest", w.day(x.EarliestOn), "latest", w.day(x.LatestOn))
		}
		data.Lines = append(data.Lines, line)
	}
	return page{name: "crossings", data: data}, nil
}
