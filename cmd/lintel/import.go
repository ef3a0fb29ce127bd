package main

import (
	"bytes"
	"context"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"text/tabwriter"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/identity"
	"lintel.example/lintel/internal/sheet"
	"lintel.example/lintel/internal/words"
)

// importCmd brings in a list of doors, or takes one back.
type importCmd struct {
	settings
	File        string   `arg:"" optional:"" help:"A list of doors: CSV or XLSX."`
	DryRun      bool     `help:"Do everything, show what comes of it, and take it back."`
	GoodRows    bool     `help:"Leave bad rows out. Otherwise one bad row stops all."`
	Dates       string   `placeholder:"ORDER" help:"What 03/04/2025 is: day-first, month-first or year-first. Not said, it is a bad date."`
	Lengths     string   `placeholder:"UNIT" help:"The unit of lengths that have none: mm, cm, m, in or ft. Not said, they are bad."`
	Sheet       string   `help:"The sheet of a workbook with several lists."`
	ForAll      []string `name:"for-all" sep:"none" placeholder:"FIELD=VALUE" help:"What holds for things of which the list says nothing, such as country=US. Again for each field."`
	AsAbove     []string `name:"as-above" placeholder:"FIELD" help:"A field whose empty cells mean the same as the row above."`
	Mapping     string   `placeholder:"FILE" help:"What the columns are and what else is said of the list (YAML)."`
	SaveMapping string   `placeholder:"FILE" help:"Write the mapping that was in force."`
	Complaints  string   `placeholder:"FILE" help:"Also write what is wrong into a CSV file."`
	Undo        string   `placeholder:"ID" help:"Take a whole import back."`
}

// Run shows what was understood, what is wrong and what was done. Exit code 1 when rows are bad.
func (c *importCmd) Run(ctx context.Context) error {
	if (c.File == "") == (c.Undo == "") {
		return badInput{errors.New("give either a file or --undo ID")}
	}
	if c.Undo != "" {
		return c.takeBack(ctx)
	}
	order, err := c.order()
	if err != nil {
		return badInput{err}
	}
	return c.within(ctx, func(h *house) error {
		run, err := h.fleet.Import(ctx, identity.Program(), order)
		if err != nil {
			return told(h.words, err)
		}
		texts := h.words.Printer("en", words.Metric)
		printImport(os.Stdout, run, texts)
		if err := c.keep(run, texts); err != nil {
			return badInput{err}
		}
		return verdict(os.Stdout, run, order)
	})
}

// order reads the files that are named.
func (c *importCmd) order() (fleet.ImportOrder, error) {
	o := fleet.ImportOrder{FileName: filepath.Base(c.File), DryRun: c.DryRun, GoodRows: c.GoodRows, Progress: progress(os.Stderr)}
	info, err := os.Stat(c.File)
	if err != nil {
		return o, err
	}
	if info.Size() > sheet.MostBytes {
		return o, fmt.Errorf("%s is larger than %d MB: cut it into parts", c.File, sheet.MostBytes>>20)
	}
	if o.Data, err = os.ReadFile(c.File); err != nil {
		return o, err
	}
	if c.Mapping != "" {
		text, err := os.ReadFile(c.Mapping)
		if err != nil {
			return o, err
		}
		if o.Mapping, err = sheet.ParseMapping(text); err != nil {
			return o, fmt.Errorf("%s: %w", c.Mapping, err)
		}
	}
	if c.Dates != "" {
		o.Mapping.Dates = sheet.DateOrder(c.Dates)
	}
	if c.Lengths != "" {
		o.Mapping.Lengths = c.Lengths
	}
	if c.Sheet != "" {
		o.Mapping.Sheet = c.Sheet
	}
	for _, text := range c.ForAll {
		field, value, found := strings.Cut(text, "=")
		if !found {
			return o, fmt.Errorf("--for-all %q: write FIELD=VALUE", text)
		}
		if o.Mapping.ForAll == nil {
			o.Mapping.ForAll = map[string]string{}
		}
		o.Mapping.ForAll[strings.TrimSpace(field)] = strings.TrimSpace(value)
	}
	o.Mapping.AsAbove = append(o.Mapping.AsAbove, c.AsAbove...)
	return o, o.Mapping.Check()
}

// progress writes at most a line every two seconds: short lists write none.
func progress(w io.Writer) func(done, all int) {
	last := time.Now()
	return func(done, all int) {
		if time.Since(last) >= 2*time.Second {
			last = time.Now()
			fmt.Fprintf(w, "lintel: %d %%\n", 100*done/all)
		}
	}
}

// keep writes the mapping and the complaints into the files that were asked for.
func (c *importCmd) keep(run fleet.ImportRun, texts words.Printer) error {
	if c.SaveMapping != "" {
		text, err := run.Summary.Mapping.Text()
		if err != nil {
			return err
		}
		if err := os.WriteFile(c.SaveMapping, text, 0o644); err != nil {
			return fmt.Errorf("--save-mapping: %w", err)
		}
	}
	if c.Complaints == "" {
		return nil
	}
	var b bytes.Buffer
	w := csv.NewWriter(&b)
	_ = w.Write([]string{"row", "column", "what stands there", "what is wrong", "what to do"})
	for _, complaint := range run.Summary.Complaints {
		wrong, do := complaint.Texts(texts)
		_ = w.Write([]string{strconv.Itoa(complaint.Row), noFormula(complaint.Column), noFormula(complaint.Value), wrong, do})
	}
	w.Flush()
	if err := os.WriteFile(c.Complaints, b.Bytes(), 0o644); err != nil {
		return fmt.Errorf("--complaints: %w", err)
	}
	return nil
}

// noFormula keeps a spreadsheet from running what a list has in a cell.
func noFormula(text string) string {
	if text != "" && strings.ContainsRune("=+-@\t\r", rune(text[0])) {
		return "'" + text
	}
	return text
}

func printImport(w io.Writer, run fleet.ImportRun, texts words.Printer) {
	s := run.Summary
	how := "CSV in " + s.Encoding + ", separated by " + strconv.Quote(s.Separator)
	if s.Format == "xlsx" {
		how = "sheet " + s.Sheet
	}
	fmt.Fprintf(w, "%s: %s, headings in row %d, %d rows\n\n", run.FileName, how, s.HeadingRow, s.Rows)
	t := tabwriter.NewWriter(w, 0, 8, 2, ' ', 0)
	fmt.Fprintln(t, "COLUMN\tHEADING\tTAKEN FOR")
	for _, c := range s.Columns {
		as := strings.TrimSpace(strings.Join(strings.Fields(c.Field+" "+c.Unit+" "+string(c.Dates)), " "))
		switch {
		case c.Heading == "":
			continue
		case c.Field == "":
			as = "(not known: left out)"
		case c.Said:
			as += " (as the mapping says)"
		}
		fmt.Fprintf(t, "%s\t%s\t%s\n", c.Letter, c.Heading, as)
	}
	_ = t.Flush()
	if len(s.Notes) > 0 {
		fmt.Fprintln(w, "\nLEFT OUT")
		for _, n := range s.Notes {
			fmt.Fprintf(w, "row %d, %q: %s\n", n.Row, n.Value, texts.T("import.note."+n.Code))
		}
	}
	printComplaints(w, "WORTH A LOOK", s.Warnings, texts)
	if printComplaints(w, "WRONG", s.Complaints, texts) {
		fmt.Fprintln(w, "(What stands in each row: --complaints FILE.)")
	}
	fmt.Fprintln(w)
	fmt.Fprintln(t, "\tcreated\tupdated\tunchanged")
	for _, kind := range fleet.ImportKinds() {
		if c, ok := s.Counts[kind]; ok {
			fmt.Fprintf(t, "%s\t%d\t%d\t%d\n", texts.T("import.kind."+kind), c.Created, c.Updated, c.Unchanged)
		}
	}
	_ = t.Flush()
}

// printComplaints says the same about many rows once, with all of them, and tells whether these hold different things.
func printComplaints(w io.Writer, title string, list []fleet.ImportComplaint, texts words.Printer) (several bool) {
	if len(list) == 0 {
		return false
	}
	fmt.Fprintln(w, "\n"+title)
	for _, same := range alike(list, texts) {
		first := same[0]
		wrong, do := first.Texts(texts)
		cells, more := valuesOf(same)
		several = several || len(cells) > 1
		if slices.ContainsFunc(same, func(c fleet.ImportComplaint) bool { w, _ := c.Texts(texts); return w != wrong }) {
			wrong += fmt.Sprintf(" (Row %d; the others likewise.)", first.Row)
		}
		fmt.Fprintf(w, "%s%s: %s\n    %s\n", strings.Join(slices.Concat([]string{rowsOf(same), first.Column}, cells), ", "), more, wrong, do)
	}
	return several
}

// alike puts together what is said of one column for one reason, in the order of first rows.
func alike(list []fleet.ImportComplaint, texts words.Printer) (groups [][]fleet.ImportComplaint) {
	at := map[[4]string]int{}
	for _, c := range list {
		wrong, do := c.Texts(texts)
		if c.Value != "" {
			wrong = "" // of each value its own
		}
		key := [4]string{c.Column, c.Code, wrong, do}
		i, known := at[key]
		if !known {
			i = len(groups)
			at[key], groups = i, append(groups, nil)
		}
		groups[i] = append(groups[i], c)
	}
	return groups
}

// mostValues is how many different cells are shown of rows that are alike.
const mostValues = 3

// valuesOf gives the different cells of rows that are alike, the first few of them, and says how many more there are.
func valuesOf(same []fleet.ImportComplaint) (cells []string, more string) {
	seen := map[string]bool{"": true}
	for _, c := range same {
		if !seen[c.Value] && len(cells) < mostValues {
			cells = append(cells, `"`+c.Value+`"`)
		}
		seen[c.Value] = true
	}
	if n := len(seen) - 1 - len(cells); n > 0 {
		more = fmt.Sprintf(" and %d more", n)
	}
	return cells, more
}

// rowsOf lists every row: "row 9", "rows 4-310, 312".
func rowsOf(same []fleet.ImportComplaint) string {
	var numbers []int
	for _, c := range same {
		numbers = append(numbers, c.Row)
	}
	slices.Sort(numbers)
	numbers = slices.Compact(numbers)
	var parts []string
	for from := 0; from < len(numbers); {
		to := from
		for to+1 < len(numbers) && numbers[to+1] == numbers[to]+1 {
			to++
		}
		part := strconv.Itoa(numbers[from])
		if to > from {
			part += "-" + strconv.Itoa(numbers[to])
		}
		parts, from = append(parts, part), to+1
	}
	if len(numbers) == 1 {
		return "row " + parts[0]
	}
	return "rows " + strings.Join(parts, ", ")
}

// changed counts what the run made or changed.
func changed(run fleet.ImportRun) (n int) {
	for _, c := range run.Summary.Counts {
		n += c.Created + c.Updated
	}
	return n
}

// verdict says in the end what was done, and is an error when rows are bad.
func verdict(w io.Writer, run fleet.ImportRun, o fleet.ImportOrder) error {
	bad := run.Summary.BadRows
	switch {
	case o.DryRun && (bad == 0 || o.GoodRows):
		fmt.Fprintln(w, "\nTried only: nothing was changed. Without --dry-run this is done.")
	case run.Applied && changed(run) == 0:
		fmt.Fprintln(w, "\nNothing was changed.")
	case run.Applied:
		fmt.Fprintf(w, "\nDone. To take it back: lintel import --undo %s\n", run.RunID)
	default:
		fmt.Fprintln(w, "\nNothing was changed.")
	}
	if bad > 0 {
		return fmt.Errorf("%d of %d rows are bad", bad, run.Summary.Rows)
	}
	return nil
}

// takeBack undoes an import, or says what stands in the way.
func (c *importCmd) takeBack(ctx context.Context) error {
	id, err := uuid.Parse(c.Undo)
	if err != nil {
		return badInput{fmt.Errorf("--undo %q is not the id of an import", c.Undo)}
	}
	return c.within(ctx, func(h *house) error {
		run, obstacles, err := h.fleet.UndoImport(ctx, identity.Program(), id)
		if err != nil {
			return told(h.words, err)
		}
		texts := h.words.Printer("en", words.Metric)
		for _, o := range obstacles {
			fmt.Println(o.Text(texts))
		}
		if len(obstacles) > 0 {
			return errors.New("nothing was undone: the above stands in the way")
		}
		fmt.Printf("The import of %s is undone.\n", run.FileName)
		return nil
	})
}
