package console

import (
	"context"
	"strings"

	"lintel.example/lintel/internal/advice"
	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/words"
)

type adviceData struct {
	Door    doorName
	Filter  filter
	Sides   []option
	YesNo   []option
	Asked   bool
	Missing []string // in words
	Assumed []string // likewise
	Told    []advice.Section
}

// advice shows what of the catalogue suits a door.
func (c *Console) advice(ctx context.Context, q *request) (answer, error) {
	id, err := q.pathID("door_id")
	if err != nil {
		return nil, err
	}
	door, err := c.Fleet.Door(ctx, q.by, id, fleet.AsOf{})
	if err != nil {
		return nil, err
	}
	f := q.filter()
	side := func(of string) string {
		if label := door.Facts.Side(of).Label; label != "" {
			return label
		}
		return strings.ToUpper(of)
	}
	data := adviceData{Door: doorName{id, fleet.Name{Text: door.Name, Tag: door.Tag}},
		Sides: []option{{Value: "either", Text: q.texts.T("console.advice.either")}, {Value: "a", Text: side("a")}, {Value: "b", Text: side("b")}},
		YesNo: []option{{Text: q.texts.T("console.no")}, {Value: "yes", Text: q.texts.T("console.yes")}}}
	show := func(f form, status int) (answer, error) {
		data.Filter = filter{form: f}
		return page{name: "advice", data: data, status: status}, nil
	}
	if f.Value("side") == "" {
		return show(f.form, 0)
	}
	ask := fleet.AdviceAsk{DoorID: id, Side: f.Value("side"), StraightOnly: f.Value("straight_only") != "", Exposed: f.Value("exposed") != "", Inhibited: f.Value("inhibited") != ""}
	read := reader{form: &f.form, texts: q.texts}
	ask.HeaderHeightM, ask.CeilingM = read.value("header_height_m", words.Metre, nil), read.value("ceiling_m", words.Metre, nil)
	if err := read.faults.Err(); err != nil {
		return q.again(f.form, err, show)
	}
	d, err := c.Fleet.Advise(ctx, q.by, ask)
	if err != nil {
		return q.again(f.form, err, show)
	}
	data.Asked = true
	for _, name := range d.Missing {
		data.Missing = append(data.Missing, q.texts.T("report.missing."+name))
	}
	for _, name := range d.Assumed {
		data.Assumed = append(data.Assumed, q.texts.T("advice.assumed."+name))
	}
	if len(d.Missing) == 0 {
		data.Told = advice.Tell(q.texts, d.Answer)
	}
	return show(f.form, 0)
}
