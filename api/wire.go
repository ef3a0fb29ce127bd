package api

import (
	"encoding/base64"
	"encoding/json"
	"strconv"
	"strings"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/fault"
	"lintel.example/lintel/internal/fleet"
)

// pageIn is what every list takes.
type pageIn struct {
	After string `query:"after" maxLength:"400" doc:"The next of the page before; empty for the first page."`
	Limit int    `query:"limit" minimum:"1" maximum:"200" default:"50"`
}

// pageOut is what every list gives besides its items.
type pageOut struct {
	Next string `json:"next,omitempty" doc:"Give it as after for the next page; absent on the last."`
}

// ifMatch is what every change of something with versions takes.
type ifMatch struct {
	IfMatch string `header:"If-Match" maxLength:"80" doc:"The ETag of the version that the change was made from."`
}

// version reads the header: 0 for none.
func (m ifMatch) version() (int, error) {
	if m.IfMatch == "" {
		return 0, nil
	}
	n, err := strconv.Atoi(strings.Trim(m.IfMatch, `"`))
	if err != nil || n < 1 || m.IfMatch != etag(n) {
		return 0, fault.New(fault.PreconditionFailed, "version_differs")
	}
	return n, nil
}

// etag writes a version as a strong ETag.
func etag(version int) string { return `"` + strconv.Itoa(version) + `"` }

// cursor packs the key of the last item of a page. It is opaque to clients, and no secret.
func cursor(key any) string {
	b, err := json.Marshal(key)
	if err != nil {
		panic(err) // keys are texts, dates and ids of ours
	}
	return base64.RawURLEncoding.EncodeToString(b)
}

// readCursor unpacks the key into key; an empty cursor leaves it as it is.
func readCursor(text string, key any) error {
	if text == "" {
		return nil
	}
	b, err := base64.RawURLEncoding.DecodeString(text)
	if err == nil {
		err = json.Unmarshal(b, key)
	}
	if err != nil {
		return &fault.Error{Kind: fault.Invalid, Code: "page_unknown", Err: err}
	}
	return nil
}

// created gives the status of a PUT.
func created(yes bool) int {
	if yes {
		return 201
	}
	return 200
}

// nameKey is the cursor of lists in the order of a name.
type nameKey struct {
	Name string    `json:"n"`
	ID   uuid.UUID `json:"i"`
}

// quantity is a physical value on the wire; the member's name ends with its unit.
type quantity struct {
	Value *float64    `json:"value,omitempty" nullable:"true" doc:"In the unit that ends the member's name; absent or null when unknown."`
	Basis fleet.Basis `json:"basis" enum:"measured,seen_on_site,told,from_paper,assumed,unknown" doc:"How the value came to be known."`
}

func (q *quantity) fleet() fleet.Quantity {
	if q == nil {
		return fleet.UnknownQuantity()
	}
	return fleet.Quantity{Value: q.Value, Basis: q.Basis}
}

func newQuantity(q fleet.Quantity) *quantity { return &quantity{Value: q.Value, Basis: q.Basis} }
