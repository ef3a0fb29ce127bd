package archive

import (
	"context"
	"encoding/csv"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"path"
	"strings"

	"lintel.example/lintel/internal/seal"
	"lintel.example/lintel/internal/store"
	"lintel.example/lintel/internal/words"
)

// exportFormat goes up when an older program would read an export wrongly.
const exportFormat = "lintel-export/1"

// The members of an export.
const (
	readmeName   = "README.md"
	countersName = "counters.json"
	linesFolder  = "lines"
	tableFolder  = "csv"
)

// photoTable is the one table whose rows have files.
const photoTable = "photo"

// Progress is told how many rows of a table are done, now and then and at its end.
type Progress func(table string, rows int64, ended bool)

// rowsBetween is how many rows pass between two words about the progress.
const rowsBetween = 50_000

// Export writes every table as open formats, and the photos, into a new folder. The same rows give the same bytes.
func Export(ctx context.Context, s *store.Store, photos *store.PhotoDir, texts words.Printer, to string, tell Progress) (m Manifest, err error) {
	switch empty, err := isEmpty(to); {
	case err != nil:
		return m, err
	case !empty:
		return m, unusable("%s is not empty: name a folder that is, or none that is there", to)
	}
	f, err := newFolder(to)
	if err != nil {
		return m, err
	}
	m = Manifest{Format: exportFormat, Tables: map[string]int64{}}
	err = s.ReadWhole(ctx, func(r *store.WholeReader) error {
		m.SchemaVersion = r.SchemaVersion
		x := export{folder: f, reader: r, photos: photos, texts: texts, tell: tell, manifest: &m}
		return x.write(ctx)
	})
	if err == nil {
		m, err = f.finish(m)
	}
	if err != nil {
		err = errors.Join(err, f.discard())
	}
	return m, err
}

// export is one that is being written.
type export struct {
	*folder
	reader   *store.WholeReader
	photos   *store.PhotoDir
	texts    words.Printer
	tell     Progress
	manifest *Manifest
}

func (x export) write(ctx context.Context) error {
	if err := x.file(readmeName, []byte(readme(x.texts, x.reader.Whole))); err != nil {
		return err
	}
	counters, _, err := seal.Marshal(x.reader.Sequences)
	if err != nil {
		return err
	}
	if err := x.file(countersName, append(counters, '\n')); err != nil {
		return err
	}
	for _, t := range x.reader.Tables {
		if err := x.table(ctx, t); err != nil {
			return err
		}
	}
	return nil
}

func (x export) file(name string, text []byte) error {
	file, err := x.create(name)
	if err != nil {
		return err
	}
	_, err = file.Write(text)
	return errors.Join(err, file.Close())
}

// table writes the rows of a table as lines and as CSV, and the photos where they are its rows.
func (x export) table(ctx context.Context, t store.WholeTable) error {
	lines, err := x.create(path.Join(linesFolder, t.Name+".jsonl"))
	if err != nil {
		return err
	}
	sheet, err := x.create(path.Join(tableFolder, t.Name+".csv"))
	if err != nil {
		return errors.Join(err, lines.Close())
	}
	people := newSheet(sheet, t)
	var n int64
	err = x.reader.Lines(ctx, t, func(line []byte) error {
		if _, err := lines.Write(append(line, '\n')); err != nil {
			return err
		}
		var row map[string]json.RawMessage
		if err := json.Unmarshal(line, &row); err != nil {
			return err
		}
		if err := people.row(row); err != nil {
			return err
		}
		if t.Name == photoTable {
			if err := x.photo(row); err != nil {
				return err
			}
		}
		if n++; n%rowsBetween == 0 {
			x.tell(t.Name, n, false)
		}
		return nil
	})
	x.manifest.Tables[t.Name] = n
	x.tell(t.Name, n, true)
	return errors.Join(err, people.close(), lines.Close(), sheet.Close())
}

// photoRow is what a row of the photos says.
type photoRow struct {
	SHA256    seal.Hash `json:"sha256"`
	MediaType string    `json:"media_type"`
}

// file is where the photo lies in an export, with an ending that opens it.
func (p photoRow) file() string {
	text := p.SHA256.String()
	_, kind, _ := strings.Cut(p.MediaType, "/")
	return path.Join(photosName, text[:2], text+"."+strings.Replace(kind, "jpeg", "jpg", 1))
}

func (x export) photo(row map[string]json.RawMessage) error {
	var p photoRow
	if err := errors.Join(json.Unmarshal(row["sha256"], &p.SHA256), json.Unmarshal(row["media_type"], &p.MediaType)); err != nil {
		return err
	}
	whole, err := x.copyPhoto(p.file(), x.photos, p.SHA256)
	if err == nil && !whole {
		err = fmt.Errorf("photo %s is missing or damaged: bring it back from a backup first (lintel doctor lists all)", p.SHA256)
	}
	x.manifest.Photos++
	return err
}

// sheet is a table for people and their spreadsheets. It is never read back.
type sheet struct {
	out     *csv.Writer
	columns []string
}

// newSheet writes the headings. Bytes that are no text, such as PDF, are left to the lines.
func newSheet(out io.Writer, t store.WholeTable) *sheet {
	s := &sheet{out: csv.NewWriter(out)}
	for _, c := range t.Columns {
		if c.Form != store.FormBase64 {
			s.columns = append(s.columns, c.Name)
		}
	}
	_ = s.out.Write(s.columns) // close says what went wrong
	return s
}

func (s *sheet) row(row map[string]json.RawMessage) error {
	cells := make([]string, len(s.columns))
	for i, name := range s.columns {
		value := row[name]
		switch {
		case string(value) == "null":
		case len(value) > 0 && value[0] == '"':
			if err := json.Unmarshal(value, &cells[i]); err != nil {
				return err
			}
			cells[i] = harmless(cells[i])
		default:
			cells[i] = string(value)
		}
	}
	return s.out.Write(cells)
}

// harmless keeps a spreadsheet from computing a text that somebody typed: what it would take for a formula begins with
// an apostrophe.
func harmless(text string) string {
	if text != "" && strings.ContainsRune("=+-@\t\r", rune(text[0])) {
		return "'" + text
	}
	return text
}

func (s *sheet) close() error {
	s.out.Flush()
	return s.out.Error()
}
