package console

import (
	"strconv"
	"strings"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/fault"
	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/words"
)

// reader reads the texts of a form that stand for values, and gathers what is wrong with them.
type reader struct {
	form   *form
	texts  words.Printer
	faults fault.List
}

// formOf reads the id in the path and the form that was sent.
func (q *request) formOf(name string) (uuid.UUID, form, error) {
	id, err := q.pathID(name)
	if err != nil {
		return id, form{}, err
	}
	f, err := q.form()
	return id, f, err
}

func (r *reader) id(name string) uuid.UUID {
	id, err := uuid.Parse(r.form.Value(name))
	if err != nil {
		r.faults.Add(name, "id_unreadable")
	}
	return id
}

func (r *reader) optionalID(name string) *uuid.UUID {
	if r.form.Value(name) == "" {
		return nil
	}
	id := r.id(name)
	return &id
}

// ids reads everything that was chosen in a field of many.
func (r *reader) ids(name string) []uuid.UUID {
	list := []uuid.UUID{}
	for _, text := range r.form.Values(name) {
		id, err := uuid.Parse(text)
		if err != nil {
			r.faults.Add(name, "id_unreadable")
		}
		list = append(list, id)
	}
	return list
}

// chosen reads a choice that somebody has to make: none is made for them.
func (r *reader) chosen(name string) string {
	text := r.form.Value(name)
	if text == "" {
		r.faults.Add(name, "choice_missing")
	}
	return text
}

// at notes what is wrong with the text of a field.
func (r *reader) at(name string, err error) {
	r.faults = append(r.faults, fault.Of(atField(name, err))...)
}

// atField turns the faults of an error into those of a field. What has none stays what it is.
func atField(name string, err error) error {
	var list fault.List
	for _, f := range fault.Of(err) {
		moved := *f
		moved.Pointer = name
		list = append(list, &moved)
	}
	if len(list) == 0 {
		return err
	}
	return list
}

// day reads a civil date; an empty field is the zero day.
func (r *reader) day(name string) duedate.Day {
	text := r.form.Value(name)
	if text == "" {
		return duedate.Day{}
	}
	d, err := duedate.ParseDay(text)
	if err != nil {
		r.faults.Add(name, "date_unreadable")
	}
	return d
}

// number reads a whole number.
func (r *reader) number(name string) int {
	n, err := strconv.Atoi(r.form.Value(name))
	if err != nil {
		r.faults.Add(name, "number_unreadable")
	}
	return n
}

// count reads a whole number; an empty field is 0.
func (r *reader) count(name string) int {
	if r.form.Value(name) == "" {
		return 0
	}
	return r.number(name)
}

// localTime is how browsers write an instant on the clock of a place.
const localTime = "2006-01-02T15:04:05"

// instant reads an instant on the clock of a zone.
func (r *reader) instant(name string, zone *time.Location) time.Time {
	text := r.form.Value(name)
	for _, shape := range []string{localTime, "2006-01-02T15:04"} {
		if at, err := time.ParseInLocation(shape, text, zone); err == nil {
			return at.UTC()
		}
	}
	r.faults.Add(name, "time_unreadable")
	return time.Time{}
}

// yes reads an answer that may be unknown.
func (r *reader) yes(name string) *bool {
	switch r.form.Value(name) {
	case "yes":
		return ref(true)
	case "no":
		return ref(false)
	}
	return nil
}

func ref[T any](v T) *T { return &v }

// value reads a number as the reader writes it; what stands there unchanged stays what it was, to the last digit.
func (r *reader) value(name string, unit words.SI, present *float64) *float64 {
	text := r.form.Value(name)
	if text == "" {
		return nil
	}
	if present != nil && text == shownValue(r.texts, *present, unit) {
		return present
	}
	if unit == words.Metre {
		if _, err := strconv.ParseFloat(strings.Replace(text, ",", ".", 1), 64); err == nil { // the label says the unit, where it says one
			text += words.Symbol(unit, r.texts.Units())
		}
		m, err := words.ParseOffset(text)
		if why, ok := err.(*words.LengthError); ok {
			r.faults.Add(name, "length_"+why.Code)
			return nil
		}
		return &m
	}
	v, ok := words.ParseQuantity(text, unit, r.texts.Units())
	if !ok {
		r.faults.Add(name, "value_unreadable", "unit", words.Symbol(unit, r.texts.Units()))
		return nil
	}
	return &v
}

// quantity reads a physical value and its basis.
func (r *reader) quantity(name string, unit words.SI, present fleet.Quantity) fleet.Quantity {
	v := r.value(name, unit, present.Value)
	basis := fleet.Basis(r.form.Value(name + "/basis"))
	if v == nil && basis == "" {
		basis = fleet.Unknown
	}
	return fleet.Quantity{Value: v, Basis: basis}
}

// shownValue is a value as it stands in a field.
func shownValue(p words.Printer, v float64, unit words.SI) string {
	if unit == words.Metre {
		return p.Length(v)
	}
	return p.Quantity(v, unit)
}
