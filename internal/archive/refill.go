package archive

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"

	"lintel.example/lintel/internal/store"
)

// Exported is an export that was checked down to its last byte.
type Exported struct{ *opened }

// OpenExport checks an export and sees that this program has the schema that it is of.
func OpenExport(from string) (Exported, error) {
	o, err := openFolder(from, exportFormat)
	if err != nil {
		return Exported{}, err
	}
	if known := store.LatestVersion(); o.SchemaVersion != known {
		return Exported{}, unusable("%s is of version %d of the schema, and this program knows %d: refill with the program that wrote it, then migrate", from, o.SchemaVersion, known)
	}
	return Exported{o}, o.check()
}

// Refill brings the export into a migrated database without rows, in one transaction, and the photos into their folder.
func (e Exported) Refill(ctx context.Context, adminURL, prefix string, photos *store.PhotoDir, tell Progress) error {
	err := store.FillWhole(ctx, adminURL, prefix, func(w *store.WholeWriter) error {
		tables, err := w.Order()
		if err != nil {
			return err
		}
		if len(tables) != len(e.Tables) {
			return unusable("%s holds %d tables, and this program takes %d", e.path, len(e.Tables), len(tables))
		}
		for _, t := range tables {
			if err := e.fill(ctx, w, t, photos, tell); err != nil {
				return err
			}
		}
		if err := w.Hashes(ctx); err != nil {
			return err
		}
		var counters []store.WholeSequence
		text, err := os.ReadFile(filepath.Join(e.path, countersName))
		if err != nil {
			return err
		}
		if err := json.Unmarshal(text, &counters); err != nil {
			return unusable("%s: %s cannot be read", e.path, countersName)
		}
		return w.Count(ctx, counters)
	})
	if errors.Is(err, store.ErrNotEmpty) {
		return unusable("%v: an export goes into an empty one only", err)
	}
	return err
}

// fill fills one table.
func (e Exported) fill(ctx context.Context, w *store.WholeWriter, t store.WholeTable, photos *store.PhotoDir, tell Progress) error {
	file, err := os.Open(filepath.Join(e.path, linesFolder, t.Name+".jsonl"))
	if errors.Is(err, fs.ErrNotExist) {
		return unusable("%s holds no table %s", e.path, t.Name)
	}
	if err != nil {
		return err
	}
	defer file.Close()
	lines := bufio.NewReaderSize(file, 64<<10)
	var read int64
	n, err := w.Fill(ctx, t, func() ([]byte, error) {
		line, err := lines.ReadBytes('\n')
		if errors.Is(err, io.EOF) && len(line) == 0 {
			return nil, nil
		}
		if err != nil {
			return nil, err
		}
		if t.Name == photoTable {
			if err := e.keepPhoto(ctx, line, photos); err != nil {
				return nil, err
			}
		}
		if read++; read%rowsBetween == 0 {
			tell(t.Name, read, false)
		}
		return bytes.TrimSuffix(line, []byte("\n")), nil
	})
	if err != nil {
		return err
	}
	if n != e.Tables[t.Name] {
		return unusable("%s: table %s has %d lines, and its manifest says %d", e.path, t.Name, n, e.Tables[t.Name])
	}
	tell(t.Name, n, true)
	return nil
}

// keepPhoto keeps the file of a photo before its row is there.
func (e Exported) keepPhoto(ctx context.Context, line []byte, photos *store.PhotoDir) error {
	var p photoRow
	if err := json.Unmarshal(line, &p); err != nil {
		return unusable("%s: a line of the photos cannot be read", e.path)
	}
	data, err := os.ReadFile(filepath.Join(e.path, filepath.FromSlash(p.file())))
	if err != nil {
		return fmt.Errorf("photo: %w", err)
	}
	return photos.Keep(ctx, p.SHA256, data)
}
