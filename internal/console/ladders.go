package console

import (
	"context"
	"fmt"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/fault"
	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/words"
)

// spareRungs is how many empty rungs a form offers below those that there are.
const spareRungs = 3

type laddersData struct {
	Ladder   fleet.Ladder // that holds today
	Customer fleet.Name   // for whom; nothing for all who have none of their own
	For      string       // their id
	Own      bool         // and it is the customer's own
	Rungs    []rungLine
	Unsafe   []rungLine // of doors out of service; none: the same
	Rest     string     // days of the week
	All      []ladderLine
}

// rungLine is a rung in words.
type rungLine struct {
	When, Code, To, Again string
	Final                 bool
}

type ladderLine struct {
	fleet.Ladder
	Customer fleet.Name
}

// ladders shows who is told when about an inspection, for a customer or for all, and every ladder that was ever made.
func (c *Console) ladders(ctx context.Context, q *request) (answer, error) {
	f := q.filter()
	customer := f.ID("customer")
	if err := f.faults.Err(); err != nil {
		return nil, err
	}
	hold, err := c.Fleet.LadderOn(ctx, q.by, duedate.Day{}, customer)
	if err != nil {
		return nil, err
	}
	all, err := c.Fleet.Ladders(ctx, q.by)
	if err != nil {
		return nil, err
	}
	ids := fleet.Named{}
	if customer != uuid.Nil {
		ids.Customers = append(ids.Customers, customer)
	}
	for _, l := range all {
		if l.CustomerID != uuid.Nil {
			ids.Customers = append(ids.Customers, l.CustomerID)
		}
	}
	names, err := c.Fleet.Names(ctx, q.by, ids)
	if err != nil {
		return nil, err
	}
	data := laddersData{Ladder: hold, Customer: names[customer], For: f.Value("customer"), Own: hold.CustomerID != uuid.Nil, Rungs: rungLines(q.texts, hold.Rungs), Unsafe: rungLines(q.texts, hold.OutOfServiceRungs)}
	var rest []string
	for _, day := range weekdayNames() {
		if slices.Contains(hold.RestDays, day.Value) {
			rest = append(rest, q.texts.Enum("weekday", day.Text))
		}
	}
	data.Rest = strings.Join(rest, ", ")
	for _, l := range all {
		if customer == uuid.Nil || l.CustomerID == customer {
			data.All = append(data.All, ladderLine{l, names[l.CustomerID]})
		}
	}
	return page{name: "ladders", data: data}, nil
}

// weekdayNames are the days as ladders write them, with the number by which the texts name them.
func weekdayNames() (list []option) {
	for d := 1; d <= 7; d++ {
		list = append(list, option{Value: strings.ToLower(time.Weekday(d % 7).String()), Text: strconv.Itoa(d)})
	}
	return list
}

func rungLines(p words.Printer, rungs duedate.Ladder) (list []rungLine) {
	for _, r := range rungs {
		line := rungLine{When: p.T("console.ladder.on"), Code: r.Code, Final: r.Final}
		switch {
		case r.OffsetDays < 0:
			line.When = p.T("console.ladder.before", "count", -r.OffsetDays)
		case r.OffsetDays > 0:
			line.When = p.T("console.ladder.after", "count", r.OffsetDays)
		}
		if r.Repeats > 0 {
			line.Again = p.T("console.ladder.again", "count", r.Repeats, "days", r.RepeatDays)
		}
		var to []string
		for _, role := range r.To {
			to = append(to, toldRole(p, role))
		}
		line.To = strings.Join(to, ", ")
		list = append(list, line)
	}
	return list
}

// toldRole names a role that a rung tells: of a party of the site, or of the office.
func toldRole(p words.Printer, role string) string {
	if role == "dispatcher" || role == "administrator" {
		return p.Enum("role", role)
	}
	return p.Enum("party_role", role)
}

type ladderFormData struct {
	Customer      fleet.Name
	Path          string // to the ladders of the customer, or of the company
	Form          form
	Rungs, Unsafe rungsForm
	Rest          []option
}

// rungsForm is one list of rungs in a form.
type rungsForm struct {
	Title, At string
	Faulty    form
	Rows      []rungRow
}

type rungRow struct {
	At, Sum                   string // Sum says it in one line; "": nothing stands in the row
	Open                      bool   // something is wrong with it
	Code, Days, Again, Repeat field
	Final                     bool
	Roles                     []option
}

func (c *Console) ladderNew(ctx context.Context, q *request) (answer, error) {
	list := q.filter()
	customer := list.ID("customer")
	if err := list.faults.Err(); err != nil {
		return nil, err
	}
	l, err := c.Fleet.LadderOn(ctx, q.by, duedate.Day{}, customer)
	if err != nil {
		return nil, err
	}
	f := newForm(map[string]string{"ladder_id": c.NewID().String(), "/effective_on": duedate.DayIn(c.Now(), location(l.OfficeTimeZone)).AddDays(1).String(), "/unsafe_again_hours": strconv.Itoa(l.UnsafeAgainHours),
		"/mail_from": l.MailFrom, "/mail_until": l.MailUntil, "/office_time_zone": l.OfficeTimeZone})
	if customer != uuid.Nil {
		f.values.Set("customer", customer.String())
	}
	f.values["/rest_days"] = l.RestDays
	f.setRungs("/rungs", l.Rungs)
	f.setRungs("/out_of_service_rungs", l.OutOfServiceRungs)
	return c.ladderFormPage(ctx, q, f, http.StatusOK)
}

// setRungs writes rungs into the fields of a form.
func (f form) setRungs(at string, rungs duedate.Ladder) {
	for i, r := range rungs {
		row := fmt.Sprintf("%s/%d/", at, i)
		f.values.Set(row+"code", r.Code)
		f.values.Set(row+"offset_days", strconv.Itoa(r.OffsetDays))
		f.values[row+"to"] = r.To
		if r.Repeats > 0 {
			f.values.Set(row+"repeat_days", strconv.Itoa(r.RepeatDays))
			f.values.Set(row+"repeats", strconv.Itoa(r.Repeats))
		}
		if r.Final {
			f.values.Set(row+"final", "yes")
		}
	}
}

// rungRows is how many rows of rungs a form has.
func (f form) rungRows(at string) (n int) {
	for f.values.Has(fmt.Sprintf("%s/%d/code", at, n)) {
		n++
	}
	return n
}

// rungs reads rungs. Rows without a code are left out, and the others close up in the form, so that faults find their fields.
func (r *reader) rungs(at string) (rungs duedate.Ladder) {
	f := r.form
	members := []string{"code", "offset_days", "to", "repeat_days", "repeats", "final"}
	kept := 0
	for i := range f.rungRows(at) {
		from := fmt.Sprintf("%s/%d/", at, i)
		row := map[string][]string{}
		for _, m := range members {
			row[m] = f.values[from+m]
			delete(f.values, from+m)
		}
		if len(row["code"]) == 0 || strings.TrimSpace(row["code"][0]) == "" {
			continue
		}
		to := fmt.Sprintf("%s/%d/", at, kept)
		for m, values := range row {
			f.values[to+m] = values
		}
		kept++
		rungs = append(rungs, duedate.Rung{Code: f.Value(to + "code"), OffsetDays: r.number(to + "offset_days"), To: f.Values(to + "to"), RepeatDays: r.count(to + "repeat_days"), Repeats: r.count(to + "repeats"),
			Final: f.Has(to+"final", "yes")})
	}
	return rungs
}

func (c *Console) ladderFormPage(ctx context.Context, q *request, f form, status int) (answer, error) {
	data := ladderFormData{Form: f, Path: "/ladders", Rungs: newRungsForm(q.texts, f, "/rungs", "console.ladder.rungs"), Unsafe: newRungsForm(q.texts, f, "/out_of_service_rungs", "console.ladder.unsafe")}
	for _, day := range weekdayNames() {
		data.Rest = append(data.Rest, option{Value: day.Value, Text: q.texts.Enum("weekday", day.Text), Chosen: f.Has("/rest_days", day.Value)})
	}
	if f.Value("customer") != "" {
		id, err := uuid.Parse(f.Value("customer"))
		if err != nil {
			return nil, atField("customer", err)
		}
		names, err := c.Fleet.Names(ctx, q.by, fleet.Named{Customers: []uuid.UUID{id}})
		if err != nil {
			return nil, err
		}
		data.Customer, data.Path = names[id], "/ladders?customer="+id.String()
	}
	return page{name: "ladder-form", status: status, data: data}, nil
}

func newRungsForm(p words.Printer, f form, at, title string) rungsForm {
	list := rungsForm{Title: p.T(title), At: at, Faulty: f}
	for i := range f.rungRows(at) + spareRungs {
		row := fmt.Sprintf("%s/%d/", at, i)
		one := rungRow{At: row, Code: f.Field(row+"code", p.T("console.ladder.code")), Days: f.Field(row+"offset_days", p.T("console.ladder.days")),
			Again: f.Field(row+"repeat_days", p.T("console.ladder.repeat_days")), Repeat: f.Field(row+"repeats", p.T("console.ladder.repeats")), Final: f.Has(row+"final", "yes")}
		for _, role := range []string{"owner", "managing_agent", "occupier", "payer", "named_person", "dispatcher", "administrator"} {
			one.Roles = append(one.Roles, option{Value: role, Text: toldRole(p, role), Chosen: f.Has(row+"to", role)})
		}
		if code := f.Value(row + "code"); code != "" {
			days, _ := strconv.Atoi(f.Value(row + "offset_days"))
			said := rungLines(p, duedate.Ladder{{Code: code, OffsetDays: days, To: f.Values(row + "to")}})[0]
			one.Sum = p.T("console.ladder.sum", "when", said.When, "code", said.Code, "to", said.To)
		}
		one.Open = slices.ContainsFunc(f.faults, func(wrong *fault.Error) bool { return strings.HasPrefix(wrong.Pointer, row) })
		list.Rows = append(list.Rows, one)
	}
	return list
}

func (c *Console) ladderMake(ctx context.Context, q *request) (answer, error) {
	f, err := q.form()
	if err != nil {
		return nil, err
	}
	r := reader{form: &f, texts: q.texts}
	l := fleet.Ladder{LadderID: r.id("ladder_id"), EffectiveOn: r.day("/effective_on"), Reason: f.Value("/reason"), UnsafeAgainHours: r.number("/unsafe_again_hours"), OfficeTimeZone: f.Value("/office_time_zone"),
		MailFrom: f.Value("/mail_from"), MailUntil: f.Value("/mail_until"), RestDays: f.Values("/rest_days"), Rungs: r.rungs("/rungs"), OutOfServiceRungs: r.rungs("/out_of_service_rungs")}
	path := "/ladders"
	if id := r.optionalID("customer"); id != nil {
		l.CustomerID, path = *id, path+"?customer="+id.String()
	}
	if l.CustomerID != uuid.Nil && f.Has("as_company", "yes") {
		l.Rungs, l.OutOfServiceRungs = nil, nil
	}
	if err = r.faults.Err(); err == nil {
		var hold fleet.Ladder
		if hold, err = c.Fleet.LadderOn(ctx, q.by, l.EffectiveOn, l.CustomerID); err == nil {
			l.Holidays = hold.Holidays // the form does not ask for them
			_, _, err = c.Fleet.PutLadder(ctx, q.by, l)
		}
	}
	if err != nil {
		return q.again(f, err, func(f form, status int) (answer, error) { return c.ladderFormPage(ctx, q, f, status) })
	}
	return seeOther(path), nil
}
