package console

import (
	"context"

	"lintel.example/lintel/internal/advice"
	"lintel.example/lintel/internal/diagnosis"
	"lintel.example/lintel/internal/fleet"
)

type diagnosisData struct {
	Door     doorName
	Filter   filter
	Symptoms []option
	Told     []advice.Section
}

// diagnosis shows why a door may misbehave.
func (c *Console) diagnosis(ctx context.Context, q *request) (answer, error) {
	id, err := q.pathID("door_id")
	if err != nil {
		return nil, err
	}
	door, err := c.Fleet.Door(ctx, q.by, id, fleet.AsOf{})
	if err != nil {
		return nil, err
	}
	f := q.filter()
	data := diagnosisData{Door: doorName{id, fleet.Name{Text: door.Name, Tag: door.Tag}}, Symptoms: []option{{Text: q.texts.T("console.choose")}}}
	for _, s := range diagnosis.Symptoms() {
		data.Symptoms = append(data.Symptoms, option{Value: string(s), Text: q.texts.T("diagnosis.symptom." + string(s))})
	}
	show := func(f form, status int) (answer, error) {
		data.Filter = filter{form: f}
		return page{name: "diagnosis", data: data, status: status}, nil
	}
	since := f.Day("since")
	if err := f.faults.Err(); err != nil || f.Value("symptom") == "" {
		return show(f.form, 0)
	}
	d, err := c.Fleet.Diagnose(ctx, q.by, id, f.Value("symptom"), since)
	if err != nil {
		return q.again(f.form, err, show)
	}
	data.Told = d.Told(q.texts)
	return show(f.form, 0)
}
