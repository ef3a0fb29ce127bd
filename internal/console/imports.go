package console

import (
	"cmp"
	"context"
	"encoding/base64"
	"net/http"
	"slices"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/fault"
	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/sheet"
)

// importRoute takes a list. Greater ones than mostList are for the command and the API: a list that was tried goes to the
// browser and back with the page, so that no server has to keep it.
const (
	importRoute = "POST /imports"
	mostList    = 4 << 20
)

type importsData struct {
	Lines []importLine
	More  More
	Form  form
}

type importLine struct {
	fleet.ImportRun
	By string
}

func (c *Console) imports(ctx context.Context, q *request) (answer, error) {
	return c.importsPage(ctx, q, newForm(nil), http.StatusOK)
}

func (c *Console) importsPage(ctx context.Context, q *request, form form, status int) (answer, error) {
	f := q.filter()
	var key instantKey
	f.key(&key)
	if err := f.faults.Err(); err != nil {
		return nil, err
	}
	list, err := c.Fleet.ImportRuns(ctx, q.by, fleet.ImportQuery{BeforeAt: key.At, BeforeID: key.ID, Limit: perPage + 1})
	if err != nil {
		return nil, err
	}
	var last any
	if len(list) > perPage {
		list = list[:perPage]
		last = instantKey{list[perPage-1].At, list[perPage-1].RunID}
	}
	var ids fleet.Named
	for _, run := range list {
		ids.People = append(ids.People, run.PersonID)
	}
	names, err := c.Fleet.Names(ctx, q.by, ids)
	if err != nil {
		return nil, err
	}
	data := importsData{More: q.more(last), Form: form}
	for _, run := range list {
		data.Lines = append(data.Lines, importLine{run, writer{q.texts}.person(names, run.PersonID)})
	}
	return page{name: "imports", status: status, data: data}, nil
}

// saidForAll are the fields that a form asks for all rows of a list: what lists leave out because everybody there knows it.
func saidForAll() []string { return []string{"customer", "country", "jurisdiction", "time_zone"} }

type importData struct {
	Run        fleet.ImportRun
	Tried      bool // nothing of it was kept: it can be done, or left
	By         string
	Counts     []importCounted
	Complaints []complaint
	Warnings   []complaint
	Notes      []complaint
	Form       form // what was said of the list, and the list itself
}

type importCounted struct {
	Kind string
	fleet.ImportCount
}

type complaint struct {
	Row                      int
	Column, Value, Wrong, Do string
}

// importTake shows what a list would do, or does it.
func (c *Console) importTake(ctx context.Context, q *request) (answer, error) {
	f, data, err := q.formWithFile("file")
	if err != nil {
		return nil, err
	}
	again := func(f form, status int) (answer, error) { return c.importsPage(ctx, q, f, status) }
	name := f.Value("file_name")
	if held := f.Value("held"); len(data) == 0 && held != "" {
		if data, err = base64.StdEncoding.DecodeString(held); err != nil {
			return nil, fault.New(fault.Invalid, "body_unreadable").Because(err)
		}
	} else if q.MultipartForm != nil && len(q.MultipartForm.File["file"]) > 0 {
		name = q.MultipartForm.File["file"][0].Filename
	}
	if len(data) == 0 {
		return q.again(f, fault.At("file", "list_none"), again)
	}
	order := fleet.ImportOrder{FileName: name, Data: data, Mapping: sheet.Mapping{Dates: sheet.DateOrder(f.Value("dates")), Lengths: f.Value("lengths"), ForAll: map[string]string{}},
		DryRun: f.Value("do") == "try", GoodRows: f.Value("do") == "good_rows"}
	for _, field := range saidForAll() {
		if v := f.Value(field); v != "" {
			order.Mapping.ForAll[field] = v
		}
	}
	run, err := c.Fleet.Import(ctx, q.by, order)
	if err != nil {
		return q.again(f, atField("file", err), again)
	}
	if run.Applied {
		return seeOther("/imports/" + run.RunID.String()), nil
	}
	f.values.Set("held", base64.StdEncoding.EncodeToString(data))
	f.values.Set("file_name", name)
	return c.importShow(q, importData{Run: run, Tried: true, By: q.by.Name, Form: f}, http.StatusOK), nil
}

func (c *Console) importShow(q *request, data importData, status int) answer {
	s := data.Run.Summary
	for _, kind := range fleet.ImportKinds() {
		if n, ok := s.Counts[kind]; ok {
			data.Counts = append(data.Counts, importCounted{kind, n})
		}
	}
	texts := func(list []fleet.ImportComplaint) (out []complaint) {
		for _, one := range list {
			wrong, do := one.Texts(q.texts)
			out = append(out, complaint{one.Row, one.Column, one.Value, wrong, do})
		}
		slices.SortStableFunc(out, func(a, b complaint) int { return cmp.Compare(a.Row, b.Row) })
		return out
	}
	data.Complaints, data.Warnings = texts(s.Complaints), texts(s.Warnings)
	for _, n := range s.Notes {
		data.Notes = append(data.Notes, complaint{Row: n.Row, Value: n.Value, Wrong: q.texts.T("import.note." + n.Code)})
	}
	return page{name: "import", status: status, data: data}
}

func (c *Console) importRun(ctx context.Context, q *request) (answer, error) {
	id, err := q.pathID("import_id")
	if err != nil {
		return nil, err
	}
	return c.importPage(ctx, q, id, form{}, http.StatusOK)
}

func (c *Console) importPage(ctx context.Context, q *request, id uuid.UUID, f form, status int) (answer, error) {
	run, err := c.Fleet.ImportRun(ctx, q.by, id)
	if err != nil {
		return nil, err
	}
	names, err := c.Fleet.Names(ctx, q.by, fleet.Named{People: []uuid.UUID{run.PersonID}})
	if err != nil {
		return nil, err
	}
	return c.importShow(q, importData{Run: run, By: writer{q.texts}.person(names, run.PersonID), Form: f}, status), nil
}

func (c *Console) importUndoAsk(ctx context.Context, q *request) (answer, error) {
	id, err := q.pathID("import_id")
	if err != nil {
		return nil, err
	}
	run, err := c.Fleet.ImportRun(ctx, q.by, id)
	if err != nil {
		return nil, err
	}
	back := "/imports/" + id.String()
	return c.sure(q.texts.T("console.import.undo.sure", "file", run.FileName), q.texts.T("console.import.undo"), back+"/undo", back), nil
}

// importUndo takes a whole import back, or says everything that stands in the way.
func (c *Console) importUndo(ctx context.Context, q *request) (answer, error) {
	id, err := q.pathID("import_id")
	if err != nil {
		return nil, err
	}
	_, obstacles, err := c.Fleet.UndoImport(ctx, q.by, id)
	if err != nil {
		return nil, err
	}
	var faults fault.List
	for _, o := range obstacles {
		faults = append(faults, fault.New(fault.Conflict, "import_undo_blocked", "what", o.Text(q.texts)))
	}
	if len(faults) > 0 {
		return q.again(newForm(nil), faults, func(f form, status int) (answer, error) { return c.importPage(ctx, q, id, f, status) })
	}
	return seeOther("/imports/" + id.String()), nil
}
