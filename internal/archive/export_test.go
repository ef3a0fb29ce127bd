package archive

import (
	"bytes"
	"context"
	"encoding/csv"
	"encoding/json"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/jackc/pgx/v5"

	"lintel.example/lintel/internal/seal"
	"lintel.example/lintel/internal/store"
	"lintel.example/lintel/internal/store/storetest"
	"lintel.example/lintel/internal/words"
)

func silent(string, int64, bool) {}

func english(t *testing.T) words.Printer {
	t.Helper()
	catalogue, err := words.Load()
	if err != nil {
		t.Fatal(err)
	}
	return catalogue.Printer("en", words.Metric)
}

// export writes an export of a database into a new folder.
func exportOf(t *testing.T, db storetest.DB, photos *store.PhotoDir) (string, Manifest) {
	t.Helper()
	to := filepath.Join(t.TempDir(), "export")
	m, err := Export(t.Context(), store.New(db.App, "lintel"), photos, english(t), to, silent)
	if err != nil {
		t.Fatal(err)
	}
	return to, m
}

// refill fills a database from an export.
func refill(t *testing.T, from string, db storetest.DB, photos *store.PhotoDir) error {
	t.Helper()
	e, err := OpenExport(from)
	if err != nil {
		return err
	}
	return e.Refill(t.Context(), db.AdminURL, "lintel", photos, silent)
}

// wantSameFolder fails unless two folders hold the same files with the same bytes.
func wantSameFolder(t *testing.T, one, other string) {
	t.Helper()
	files := func(root string) map[string]string {
		all := map[string]string{}
		err := fs.WalkDir(os.DirFS(root), ".", func(name string, d fs.DirEntry, err error) error {
			if err != nil || d.IsDir() {
				return err
			}
			text, err := os.ReadFile(filepath.Join(root, name))
			all[name] = string(text)
			return err
		})
		if err != nil {
			t.Fatal(err)
		}
		return all
	}
	a, b := files(one), files(other)
	for name, text := range a {
		if b[name] != text {
			t.Errorf("%s differs:\n%.600s\n%.600s", name, text, b[name])
		}
	}
	if len(a) != len(b) {
		t.Errorf("%d files and %d", len(a), len(b))
	}
}

func TestAnExportFillsAnEmptyDatabaseFromWhichTheSameExportComes(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	first, m := exportOf(t, w.db, w.photos)
	for table, n := range m.Tables {
		if n == 0 {
			t.Errorf("%s is empty: nothing is shown of it", table)
		}
	}
	if len(m.Tables) < 35 || m.Photos != 5 || m.SchemaVersion != store.LatestVersion() {
		t.Errorf("the manifest says %+v", m)
	}
	empty, photos := storetest.New(t), photoDir(t)
	before := walls(t, empty)
	if err := refill(t, first, empty, photos); err != nil {
		t.Fatal(err)
	}
	again, _ := exportOf(t, empty, photos)
	wantSameFolder(t, first, again)
	if after := walls(t, empty); before != after || !strings.Contains(before, "true") {
		t.Errorf("row-level security was\n%s\nand is\n%s", before, after)
	}
	// And the next things get the next numbers.
	for _, next := range []string{`select nextval('door_number')`, `insert into record_log (kind, customer_id, site_id, subject_id, canonical, sha256, recorded_at, recorded_by)
		select 'report', customer_id, site_id, gen_random_uuid(), canonical, sha256, recorded_at, recorded_by from record_log limit 1 returning seq`} {
		var here, there int64
		if err := errors.Join(w.db.Admin.QueryRow(t.Context(), next).Scan(&there), empty.Admin.QueryRow(t.Context(), next).Scan(&here)); err != nil || here != there {
			t.Errorf("%.30s: %d, and in the first %d: %v", next, here, there, err)
		}
	}
}

// walls tells of every table whether row-level security holds, and for its owner, too.
func walls(t *testing.T, db storetest.DB) (text string) {
	t.Helper()
	if err := db.Admin.QueryRow(t.Context(), `select string_agg(format('%s %s %s', relname, relrowsecurity::text, relforcerowsecurity::text), E'\n' order by relname)
		from pg_class where relnamespace = 'public'::regnamespace and relkind = 'r'`).Scan(&text); err != nil {
		t.Fatal(err)
	}
	return text
}

func list(t *testing.T, db storetest.DB, sql string) []string {
	t.Helper()
	rows, _ := db.Admin.Query(t.Context(), sql)
	found, err := pgx.CollectRows(rows, pgx.RowTo[string])
	if err != nil {
		t.Fatal(err)
	}
	slices.Sort(found)
	return found
}

func TestEveryTableIsTakenAlongOrLeftOutForAReason(t *testing.T) {
	t.Parallel()
	w, texts := newWorld(t), english(t)
	_, m := exportOf(t, w.db, w.photos)
	all := list(t, w.db, `select relname::text from pg_class where relnamespace = 'public'::regnamespace and relkind in ('r', 'p')`)
	for _, table := range all {
		_, taken := m.Tables[table]
		reason, out := store.LeftOut()[table]
		if taken == out {
			t.Errorf("%s: taken along %v, left out %v", table, taken, out)
		}
		if out && strings.Contains(texts.T("export.left_out."+reason), "⟦") {
			t.Errorf("%s is left out, and nobody is told why", table)
		}
	}
	columns := list(t, w.db, `select format('%s.%s', attrelid::regclass, attname) from pg_attribute join pg_class c on c.oid = attrelid where relnamespace = 'public'::regnamespace and relkind in ('r', 'p') and attnum > 0`)
	for name, reason := range store.LeftOutColumns() {
		if !slices.Contains(columns, name) || strings.Contains(texts.T("export.left_out."+reason), "⟦") {
			t.Errorf("column %s is not there, or nobody is told why it is left out", name)
		}
	}
	for name := range store.LeftOut() {
		if !slices.Contains(all, name) {
			t.Errorf("%s is left out, and there is no such table", name)
		}
	}
}

// A table that somebody adds is taken along by itself. This looks at the names of its columns for what must not be.
func TestNothingThatIsNamedLikeASecretIsTakenAlong(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	to, _ := exportOf(t, w.db, w.photos)
	secret := regexp.MustCompile(`secret|password|token|^sealed|^key|_key$|^code$|lock_code`)
	err := w.each(to, func(table string, row map[string]json.RawMessage) error {
		for name := range row {
			if name == "code" && table == "letter_attempt" { // the mail server's answer: 250
				continue
			}
			if secret.MatchString(name) {
				t.Errorf("%s.%s: leave it out (store.LeftOut), or say here why it is none", table, name)
			}
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
}

// each gives every row of an export.
func (w *world) each(to string, f func(table string, row map[string]json.RawMessage) error) error {
	files, err := filepath.Glob(filepath.Join(to, linesFolder, "*.jsonl"))
	if err != nil {
		return err
	}
	for _, file := range files {
		text, err := os.ReadFile(file)
		if err != nil {
			return err
		}
		for line := range bytes.Lines(text) {
			var row map[string]json.RawMessage
			if err := json.Unmarshal(line, &row); err != nil {
				return err
			}
			if err := f(strings.TrimSuffix(filepath.Base(file), ".jsonl"), row); err != nil {
				return err
			}
		}
	}
	return nil
}

func TestLinesAreCanonicalAndSignedDocumentsCanBeHashedByAnybody(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	to, _ := exportOf(t, w.db, w.photos)
	documents := 0
	err := w.each(to, func(table string, row map[string]json.RawMessage) error {
		canonical, _, err := seal.Marshal(row)
		if err != nil {
			return err
		}
		text, err := os.ReadFile(filepath.Join(to, linesFolder, table+".jsonl"))
		if err != nil {
			return err
		}
		if !bytes.Contains(text, append(canonical, '\n')) {
			t.Errorf("%s: a line is not canonical: %s", table, canonical)
		}
		if row["canonical"] == nil || string(row["canonical"]) == "null" {
			return nil
		}
		var document string
		var hash seal.Hash
		if err := errors.Join(json.Unmarshal(row["canonical"], &document), json.Unmarshal(row["sha256"], &hash)); err != nil {
			return err
		}
		if documents++; seal.HashOf([]byte(document)) != hash {
			t.Errorf("%s: %q does not have the hash %s", table, document, hash)
		}
		return nil
	})
	if err != nil || documents < 20 {
		t.Errorf("%d documents, %v", documents, err)
	}
}

func TestTheReadmeExplainsEveryFileAndEveryMember(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	to, m := exportOf(t, w.db, w.photos)
	text, err := os.ReadFile(filepath.Join(to, readmeName))
	if err != nil {
		t.Fatal(err)
	}
	if bytes.Contains(text, []byte("⟦")) {
		t.Error("a text is missing")
	}
	for table := range m.Tables {
		if !bytes.Contains(text, []byte("\n## "+table+"\n")) || !bytes.Contains(text, []byte("`lines/"+table+".jsonl`")) {
			t.Errorf("%s is not explained", table)
		}
	}
	sections := strings.Split(string(text), "\n## ")
	if err := w.each(to, func(table string, row map[string]json.RawMessage) error {
		i := slices.IndexFunc(sections, func(s string) bool { return strings.HasPrefix(s, table+"\n") })
		for name := range row {
			if i < 0 || !strings.Contains(sections[i], "- `"+name+"`: ") {
				t.Errorf("%s.%s is not explained", table, name)
			}
		}
		return nil
	}); err != nil {
		t.Fatal(err)
	}
	for _, name := range []string{"session", "person.password_hash", "sealed_code"} {
		if !bytes.Contains(text, []byte("- `"+name+"`: ")) {
			t.Errorf("that %s is left out is not said", name)
		}
	}
}

// strange is a table as somebody may add it: rows that point to later rows of the same table, and values at their ends.
const strange = `
create table strange (strange_id text not null, above text, exact double precision, counted bigint, amount numeric, day date, at timestamptz, words text[], body jsonb, raw bytea, label text, kind basis,
	number integer generated by default as identity, constraint strange_pk primary key (strange_id), constraint strange_above_fk foreign key (above) references strange (strange_id));
alter table strange owner to lintel_owner;
alter table strange enable row level security;
alter table strange force row level security;
create policy staff on strange to lintel_staff using (true) with check (true);
grant select, insert on strange to lintel_staff;`

func TestATableThatSomebodyAddsIsTakenAlongWithWhateverItHolds(t *testing.T) {
	t.Parallel()
	one, other := storetest.New(t), storetest.New(t)
	for _, db := range []storetest.DB{one, other} {
		if _, err := db.Admin.Exec(t.Context(), strange); err != nil {
			t.Fatal(err)
		}
	}
	if _, err := one.Admin.Exec(t.Context(), `insert into strange (strange_id, above, exact, counted, amount, day, at, words, body, raw, label, kind) values
		('a', 'b', 0.1, 9007199254740992, 12.5, '0044-03-15', '1969-07-20 20:17:40.123456+00', '{}', '{"z": {"y": [1, 0.30000000000000004, null]}, "a": "\u20ac"}', '\x00ff', E'=1+1\n"x", \\ é \u2028', 'measured'),
		('b', null, 5e-324, -1, null, '9999-12-31', '2026-03-29 01:30:00+00', array['', 'a,b', '{"c"}', null], '[]', '', '-7', default),
		('Ä', 'a', -9007199254740992, 0, 123456789012345678901234567890.50, null, null, null, null, null, '', 'unknown'),
		('B', 'Ä', null, null, null, null, null, null, '"text"', null, '@x', 'told')`); err != nil {
		t.Fatal(err)
	}
	photos := photoDir(t)
	first, _ := exportOf(t, one, photos)
	if err := refill(t, first, other, photos); err != nil {
		t.Fatal(err)
	}
	const content = `select x::text from strange x order by strange_id collate "C"`
	if was, is := list(t, one, content), list(t, other, content); !slices.Equal(was, is) {
		t.Errorf("was\n%s\nis\n%s", strings.Join(was, "\n"), strings.Join(is, "\n"))
	}
	again, _ := exportOf(t, other, photos)
	wantSameFolder(t, first, again)

	text, err := os.ReadFile(filepath.Join(first, tableFolder, "strange.csv"))
	if err != nil {
		t.Fatal(err)
	}
	rows, err := csv.NewReader(bytes.NewReader(text)).ReadAll()
	if err != nil || len(rows) != 5 {
		t.Fatalf("the CSV has %d rows, %v", len(rows), err)
	}
	label, exact := slices.Index(rows[0], "label"), slices.Index(rows[0], "exact")
	if rows[1][0] != "B" || rows[1][label] != "'@x" || rows[2][label] != "'=1+1\n\"x\", \\ é \u2028" || rows[2][exact] != "0.1" || rows[3][label] != "'-7" || slices.Contains(rows[0], "raw") {
		t.Errorf("the CSV holds %q", rows)
	}
}

func TestARefillRefusesAndThenChangesNothing(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	whole, _ := exportOf(t, w.db, w.photos)
	empty := storetest.New(t)
	rows := func(db storetest.DB) (n int64) {
		if err := db.Admin.QueryRow(t.Context(), `select (select count(*) from customer) + (select count(*) from person) + (select count(*) from accessory) + (select count(*) from report)`).Scan(&n); err != nil {
			t.Fatal(err)
		}
		return n
	}
	member := func(name, from, to string) func(*testing.T, string) {
		return func(t *testing.T, dir string) {
			change(t, filepath.Join(dir, name), func(text []byte) []byte { return bytes.Replace(text, []byte(from), []byte(to), 1) })
		}
	}
	// resealed changes a file and makes the sums fit, as somebody would who wants it to pass.
	resealed := func(name, from, to string) func(*testing.T, string) {
		return func(t *testing.T, dir string) { member(name, from, to)(t, dir); reseal(t, dir) }
	}
	for _, c := range []struct {
		what     string
		do       func(*testing.T, string)
		unusable bool
		says     string
	}{
		{"a value is another", member("lines/customer.jsonl", "Customer 1", "Customer 3"), true, "altered or is damaged"},
		{"a photo is another", member("photos/"+seal.HashOf([]byte("poster")).String()[:2]+"/"+seal.HashOf([]byte("poster")).String()+".png", "poster", "Poster"), true, "altered or is damaged"},
		{"a sheet is another", member("csv/customer.csv", "Customer 1", "Customer 3"), true, "altered or is damaged"},
		{"it is of another format", member(manifestName, "lintel-export/1", "lintel-export/0"), true, `"lintel-export/0"`},
		{"it is a backup", member(manifestName, "lintel-export/1", "lintel-backup/1"), true, `"lintel-backup/1"`},
		{"it is of another schema", member(manifestName, `"schema_version": `, `"schema_version": 1`), true, "refill with the program that wrote it"},
		{"a signed document is another, and all sums fit", resealed("lines/visit_entry.jsonl", `"{\"a\":1}"`, `"{\"a\":2}"`), false, "do not fit their hashes"},
		{"the last table is no JSON, and all sums fit", resealed("lines/report.jsonl", `{`, `[`), false, "report"},
		{"a row is twice there, and all sums fit", func(t *testing.T, dir string) {
			change(t, filepath.Join(dir, "lines/report.jsonl"), func(b []byte) []byte { return append(b, b[:bytes.IndexByte(b, '\n')+1]...) })
			reseal(t, dir)
		}, false, "report_pk"},
		{"a row is missing, and all sums fit", func(t *testing.T, dir string) {
			change(t, filepath.Join(dir, "lines/report.jsonl"), dropLine)
			reseal(t, dir)
		}, true, "its manifest says"},
		{"a photo has another name, and all sums fit", resealed("lines/photo.jsonl", `image/png`, `image/jpeg`), false, "photo"},
	} {
		t.Run(c.what, func(t *testing.T) {
			dir := filepath.Join(t.TempDir(), "export")
			if err := os.CopyFS(dir, os.DirFS(whole)); err != nil {
				t.Fatal(err)
			}
			c.do(t, dir)
			err := refill(t, dir, empty, photoDir(t))
			var u *Unusable
			if err == nil || errors.As(err, &u) != c.unusable || !strings.Contains(err.Error(), c.says) || strings.Contains(err.Error(), "\n") {
				t.Errorf("got %v, want %q", err, c.says)
			}
			if n := rows(empty); n != 0 {
				t.Errorf("%d rows came in", n)
			}
		})
	}
	before := rows(w.db)
	var u *Unusable
	if err := refill(t, whole, w.db, photoDir(t)); !errors.As(err, &u) || !strings.Contains(err.Error(), "not empty") {
		t.Errorf("into a database in use: %v", err)
	}
	if after := rows(w.db); after != before {
		t.Errorf("a database in use had %d rows and has %d", before, after)
	}
	if err := refill(t, whole, empty, photoDir(t)); err != nil { // after all that
		t.Error(err)
	}
}

// reseal makes sums and manifest fit what is in the folder.
func reseal(t *testing.T, dir string) {
	t.Helper()
	change(t, filepath.Join(dir, sumsName), func(sums []byte) []byte {
		var out bytes.Buffer
		for line := range strings.Lines(string(sums)) {
			name := strings.TrimSpace(line[64:])
			sum, _, err := hashFile(filepath.Join(dir, name))
			if err != nil {
				t.Fatal(err)
			}
			out.WriteString(sum.String() + "  " + name + "\n")
		}
		return out.Bytes()
	})
	sum, _, err := hashFile(filepath.Join(dir, sumsName))
	if err != nil {
		t.Fatal(err)
	}
	change(t, filepath.Join(dir, manifestName), func(text []byte) []byte {
		return regexp.MustCompile(`"sha256sums_sha256": "[0-9a-f]*"`).ReplaceAll(text, []byte(`"sha256sums_sha256": "`+sum.String()+`"`))
	})
}

func TestAnExportThatCannotBeWholeLeavesNothing(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	parent := t.TempDir()
	to := filepath.Join(parent, "export")
	_, err := Export(t.Context(), store.New(w.db.App, "lintel"), photoDir(t), english(t), to, silent)
	if err == nil || !strings.Contains(err.Error(), "is missing or damaged") {
		t.Errorf("without photos: %v", err)
	}
	ctx, stop := context.WithCancel(t.Context())
	stopped := func(string, int64, bool) { stop() }
	if _, err := Export(ctx, store.New(w.db.App, "lintel"), w.photos, english(t), to, stopped); !errors.Is(err, context.Canceled) {
		t.Errorf("told to stop: %v", err)
	}
	if left, err := os.ReadDir(parent); err != nil || len(left) != 0 {
		t.Errorf("left behind: %v, %v", left, err)
	}
	write(t, filepath.Join(parent, "something"), "")
	var u *Unusable
	if _, err := Export(t.Context(), store.New(w.db.App, "lintel"), w.photos, english(t), parent, silent); !errors.As(err, &u) {
		t.Errorf("into a full folder: %v", err)
	}
}
