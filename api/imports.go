package api

import (
	"context"
	"encoding/hex"
	"net/http"
	"strings"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/fault"
	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/identity"
	"lintel.example/lintel/internal/sheet"
)

// ImportBody is a list that is brought in.
type ImportBody struct {
	FileName string        `json:"file_name" minLength:"1" maxLength:"200"`
	File     []byte        `json:"file" doc:"The bytes of a CSV or XLSX file, in base64."`
	DryRun   bool          `json:"dry_run,omitempty" doc:"Do everything, look, and take it back."`
	GoodRows bool          `json:"good_rows,omitempty" doc:"Bad rows are left out; otherwise one bad row stops all."`
	Mapping  importMapping `json:"mapping,omitempty"`
}

// importMapping is what is said of a list beyond its headings.
type importMapping struct {
	Sheet   string                       `json:"sheet,omitempty" doc:"Of a workbook with several lists."`
	Dates   sheet.DateOrder              `json:"dates,omitempty" enum:"day-first,month-first,year-first" doc:"What 03/04/2025 is."`
	Lengths string                       `json:"lengths,omitempty" enum:"mm,cm,m,in,ft" doc:"The unit of lengths that have none."`
	Columns map[string]importColumn      `json:"columns,omitempty" doc:"By heading."`
	ForAll  map[string]string            `json:"for_all,omitempty" doc:"By field: what holds where the list says nothing."`
	AsAbove []string                     `json:"as_above,omitempty" doc:"Fields whose empty cells mean the same as the row above."`
	Words   map[string]map[string]string `json:"words,omitempty" doc:"By field: what stands in the cell, and what it means."`
	Derive  []importDerivation           `json:"derive,omitempty" doc:"Fills a field from another one of the row."`
}

type importColumn struct {
	Field string          `json:"field" doc:"A field, or ignore."`
	Unit  string          `json:"unit,omitempty"`
	Dates sheet.DateOrder `json:"dates,omitempty" enum:"day-first,month-first,year-first"`
}

type importDerivation struct {
	Field string            `json:"field"`
	From  string            `json:"from"`
	Words map[string]string `json:"words"`
}

func (m importMapping) sheet() sheet.Mapping {
	out := sheet.Mapping{Sheet: m.Sheet, Dates: m.Dates, Lengths: m.Lengths, Columns: map[string]sheet.Column{}, ForAll: m.ForAll, AsAbove: m.AsAbove, Words: m.Words}
	for heading, c := range m.Columns {
		out.Columns[heading] = sheet.Column(c)
	}
	for _, d := range m.Derive {
		out.Derive = append(out.Derive, sheet.Derivation(d))
	}
	return out
}

type importItem struct {
	ImportID   uuid.UUID           `json:"import_id" format:"uuid"`
	FileName   string              `json:"file_name"`
	FileSHA256 string              `json:"file_sha256"`
	At         time.Time           `json:"at"`
	PersonID   uuid.UUID           `json:"person_id" format:"uuid"`
	Applied    bool                `json:"applied" doc:"False: tried only, or stopped by a bad row; nothing of it is kept."`
	UndoneAt   *time.Time          `json:"undone_at,omitempty"`
	UndoneBy   *uuid.UUID          `json:"undone_by,omitempty" format:"uuid"`
	Format     string              `json:"format" enum:"csv,xlsx"`
	Encoding   string              `json:"encoding,omitempty"`
	Separator  string              `json:"separator,omitempty"`
	Sheet      string              `json:"sheet,omitempty"`
	HeadingRow int                 `json:"heading_row"`
	Columns    []importTaken       `json:"columns" doc:"Which column was taken for what; without field nobody knows it."`
	Rows       int                 `json:"rows"`
	BadRows    int                 `json:"bad_rows"`
	Counts     []importCountItem   `json:"counts"`
	Complaints []importComplaint   `json:"complaints"`
	Warnings   []importComplaint   `json:"warnings"`
	LeftOut    []importLeftOutItem `json:"left_out" doc:"Rows that are no rows of the list."`
}

type importTaken struct {
	Letter  string          `json:"letter"`
	Heading string          `json:"heading"`
	Field   string          `json:"field,omitempty"`
	Unit    string          `json:"unit,omitempty"`
	Dates   sheet.DateOrder `json:"dates,omitempty"`
	Said    bool            `json:"said" doc:"By the mapping, not by the heading alone."`
}

type importCountItem struct {
	Kind      string `json:"kind" enum:"customer,site,party,standing,door,component,revision,plan"`
	Created   int    `json:"created"`
	Updated   int    `json:"updated"`
	Unchanged int    `json:"unchanged"`
}

type importComplaint struct {
	Row    int    `json:"row"`
	Column string `json:"column,omitempty"`
	Value  string `json:"value,omitempty" doc:"What stands there."`
	Code   string `json:"code"`
	Wrong  string `json:"wrong" doc:"What is wrong, for people."`
	Do     string `json:"do" doc:"What to do about it."`
}

type importLeftOutItem struct {
	Row   int    `json:"row"`
	Value string `json:"value"`
	Why   string `json:"why"`
}

type importIn struct{ Body ImportBody }

type importOut struct {
	Status int
	Body   importItem
}

type ImportPath struct {
	ImportID uuid.UUID `path:"import_id" format:"uuid"`
}

type importListOut struct {
	Body struct {
		Imports []importItem `json:"imports"`
		PageOut
	}
}

// maxImport is the greatest body of an import: the greatest file in base64, and the rest.
const maxImport = sheet.MostBytes*4/3 + maxBody

func (a *API) imports() {
	take := operation("import-create", http.MethodPost, "/v1/imports", identity.ActImport, "Bring in a list of doors, or try to")
	take.MaxBodyBytes = maxImport
	take.BodyReadTimeout = slowestPhoto
	add(a, take, a.importCreate)
	add(a, operation("import-list", http.MethodGet, "/v1/imports", identity.ActImport, "Lists that were brought in, the newest first"), a.importList)
	add(a, operation("import-get", http.MethodGet, "/v1/imports/{import_id}", identity.ActImport, "One import"), a.importGet)
	add(a, operation("import-undo", http.MethodPost, "/v1/imports/{import_id}/undo", identity.ActImport, "Take a whole import back"), a.importUndo)
}

func (a *API) importCreate(ctx context.Context, by identity.Actor, in *importIn) (*importOut, error) {
	run, err := a.Fleet.Import(ctx, by, fleet.ImportOrder{FileName: in.Body.FileName, Data: in.Body.File, Mapping: in.Body.Mapping.sheet(), DryRun: in.Body.DryRun, GoodRows: in.Body.GoodRows})
	if err != nil {
		return nil, err
	}
	return &importOut{Status: created(run.Applied), Body: a.newImportItem(by, run)}, nil
}

func (a *API) importList(ctx context.Context, by identity.Actor, in *PageIn) (*importListOut, error) {
	var key instantKey
	if err := readCursor(in.After, &key); err != nil {
		return nil, err
	}
	list, err := a.Fleet.ImportRuns(ctx, by, fleet.ImportQuery{BeforeAt: key.At, BeforeID: key.ID, Limit: in.Limit})
	if err != nil {
		return nil, err
	}
	out := &importListOut{}
	out.Body.Imports = make([]importItem, len(list))
	for i, run := range list {
		out.Body.Imports[i] = a.newImportItem(by, run)
	}
	if len(list) == in.Limit {
		last := list[len(list)-1]
		out.Body.Next = cursor(instantKey{last.At, last.RunID})
	}
	return out, nil
}

func (a *API) importGet(ctx context.Context, by identity.Actor, in *ImportPath) (*importOut, error) {
	run, err := a.Fleet.ImportRun(ctx, by, in.ImportID)
	if err != nil {
		return nil, err
	}
	return &importOut{Status: http.StatusOK, Body: a.newImportItem(by, run)}, nil
}

func (a *API) importUndo(ctx context.Context, by identity.Actor, in *ImportPath) (*importOut, error) {
	run, obstacles, err := a.Fleet.UndoImport(ctx, by, in.ImportID)
	if err != nil {
		return nil, err
	}
	if len(obstacles) > 0 {
		texts := make([]string, len(obstacles))
		for i, o := range obstacles {
			texts[i] = o.Text(a.printer(by))
		}
		return nil, fault.New(fault.Conflict, "import_undo_blocked", "what", strings.Join(texts, "; "))
	}
	return &importOut{Status: http.StatusOK, Body: a.newImportItem(by, run)}, nil
}

func (a *API) newImportItem(by identity.Actor, run fleet.ImportRun) importItem {
	s := run.Summary
	item := importItem{ImportID: run.RunID, FileName: run.FileName, FileSHA256: hex.EncodeToString(run.FileSHA256[:]), At: run.At, PersonID: run.PersonID, Applied: run.Applied,
		UndoneAt: run.UndoneAt, UndoneBy: run.UndoneBy, Format: s.Format, Encoding: s.Encoding, Separator: s.Separator, Sheet: s.Sheet, HeadingRow: s.HeadingRow,
		Columns: []importTaken{}, Rows: s.Rows, BadRows: s.BadRows, Counts: []importCountItem{}, Complaints: a.importComplaints(by, s.Complaints),
		Warnings: a.importComplaints(by, s.Warnings), LeftOut: []importLeftOutItem{}}
	for _, t := range s.Columns {
		item.Columns = append(item.Columns, importTaken(t))
	}
	for _, kind := range fleet.ImportKinds() {
		if c, ok := s.Counts[kind]; ok {
			item.Counts = append(item.Counts, importCountItem{kind, c.Created, c.Updated, c.Unchanged})
		}
	}
	for _, n := range s.Notes {
		item.LeftOut = append(item.LeftOut, importLeftOutItem{n.Row, n.Value, a.text(by, "import.note."+n.Code)})
	}
	return item
}

func (a *API) importComplaints(by identity.Actor, list []fleet.ImportComplaint) []importComplaint {
	out := make([]importComplaint, len(list))
	for i, c := range list {
		wrong, do := c.Texts(a.printer(by))
		out[i] = importComplaint{Row: c.Row, Column: c.Column, Value: c.Value, Code: c.Code, Wrong: wrong, Do: do}
	}
	return out
}
