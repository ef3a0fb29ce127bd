package console

import (
	"bytes"
	"encoding/base64"
	"encoding/json"
	"net/url"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/fault"
)

// perPage is how many lines a list shows.
const perPage = 50

// filter is the form over a list: what stands in the address.
type filter struct {
	form
	faults fault.List
}

func (q *request) filter() filter { return filter{form: form{values: q.URL.Query()}} }

// ID reads an id that may be absent.
func (f *filter) ID(name string) uuid.UUID {
	text := f.Value(name)
	if text == "" {
		return uuid.Nil
	}
	id, err := uuid.Parse(text)
	if err != nil {
		f.faults.Add(name, "id_unreadable")
	}
	return id
}

// Day reads a civil date that may be absent.
func (f *filter) Day(name string) duedate.Day {
	text := f.Value(name)
	if text == "" {
		return duedate.Day{}
	}
	d, err := duedate.ParseDay(text)
	if err != nil {
		f.faults.Add(name, "date_unreadable")
	}
	return d
}

// key reads where the list goes on.
func (f *filter) key(key any) {
	text := f.Value("after")
	if text == "" {
		return
	}
	raw, err := base64.RawURLEncoding.DecodeString(text)
	if err == nil {
		err = json.Unmarshal(raw, key)
	}
	if err != nil || bytes.Contains(raw, []byte(`\u0000`)) { // the database takes none, so no key of ours has one
		f.faults.Add("after", "page_unknown")
	}
}

// Same is an address with the door, site or customer that the list is narrowed down to.
func (f filter) Same(path string) string {
	kept := url.Values{}
	for _, name := range []string{"door", "site", "customer"} {
		if v := f.Value(name); v != "" {
			kept.Set(name, v)
		}
	}
	return address(path, kept)
}

// Any tells whether the list is narrowed down.
func (f filter) Any() bool {
	for name, values := range f.values {
		if name != "after" && name != "sort" && len(values) > 0 && values[0] != "" {
			return true
		}
	}
	return false
}

// More is the way to the other parts of a list.
type More struct {
	First string // "" on the first part
	Next  string // "" on the last
}

// more makes the addresses of the other parts; last is the key of the last line shown, nil when there is none after it.
func (q *request) more(last any) More {
	m, values := More{}, q.URL.Query()
	if values.Get("after") != "" {
		values.Del("after")
		m.First = address(q.URL.Path, values)
	}
	if last != nil {
		raw, err := json.Marshal(last)
		if err == nil {
			values.Set("after", base64.RawURLEncoding.EncodeToString(raw))
			m.Next = address(q.URL.Path, values)
		}
	}
	return m
}

func address(path string, values url.Values) string {
	if len(values) == 0 {
		return path
	}
	return path + "?" + values.Encode()
}

// instantKey is the key of lists that begin with the newest.
type instantKey struct {
	At time.Time
	ID uuid.UUID
}

// nameKey is the key of lists by name.
type nameKey struct {
	Name string
	ID   uuid.UUID
}

// dayKey is the key of lists by due day.
type dayKey struct {
	Day duedate.Day `json:",omitzero"`
	ID  uuid.UUID
}
