package archive

import (
	"fmt"
	"maps"
	"slices"
	"strings"

	"lintel.example/lintel/internal/store"
	"lintel.example/lintel/internal/words"
)

// readme explains an export to somebody who has nothing but the folder.
func readme(texts words.Printer, w store.Whole) string {
	var out strings.Builder
	line := func(text string) { out.WriteString(strings.TrimRight(text, "\n") + "\n") }
	line("# " + texts.T("export.title"))
	line("")
	line(texts.T("export.about", "format", exportFormat, "schema", fmt.Sprint(w.SchemaVersion)))
	line("")
	line("## " + texts.T("export.left_out.title"))
	line("")
	line(texts.T("export.left_out.about"))
	line("")
	for _, out := range []map[string]string{store.LeftOut(), store.LeftOutColumns()} {
		for _, name := range slices.Sorted(maps.Keys(out)) {
			line(fmt.Sprintf("- `%s`: %s", name, texts.T("export.left_out."+out[name])))
		}
	}
	for _, t := range w.Tables {
		line("")
		line("## " + t.Name)
		line("")
		line(t.Comment)
		line(texts.T("export.table", "name", t.Name, "key", strings.Join(t.Key, ", ")))
		line("")
		for _, c := range t.Columns {
			line(column(texts, c))
		}
	}
	return out.String()
}

// column explains one member.
func column(texts words.Printer, c store.WholeColumn) string {
	said := []string{c.Type}
	switch c.Form {
	case store.FormInstant:
		said[0] = texts.T("export.form.instant")
	case store.FormDigits:
		said[0] = texts.T("export.form.digits")
	case store.FormHex:
		said[0] = texts.T("export.form.hex")
	case store.FormText:
		said[0] = texts.T("export.form.text")
	case store.FormBase64:
		said[0] = texts.T("export.form.base64")
	}
	if c.MayBeNull {
		said = append(said, texts.T("export.null"))
	}
	if c.PointsTo != "" {
		said = append(said, texts.T("export.points_to", "table", c.PointsTo))
	}
	if len(c.Words) > 0 {
		said = append(said, texts.T("export.words", "words", strings.Join(c.Words, ", ")))
	}
	if c.Comment != "" {
		said = append(said, c.Comment)
	}
	return fmt.Sprintf("- `%s`: %s", c.Name, strings.Join(said, "; "))
}
