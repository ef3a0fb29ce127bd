package store

import (
	"context"
	"errors"
	"fmt"
	"regexp"
	"slices"
	"strings"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"

	"lintel.example/lintel/internal/identity"
	"lintel.example/lintel/internal/seal"
)

// This file reads every table, and fills every table of an empty database, by what PostgreSQL's catalogue says of
// them: a new table joins without being named here. It is the one place where statements are put together, from
// the names and types of the catalogue.

// LeftOut are the tables that are not part of what a company takes along, with the reason: the text for people is
// export.left_out.REASON.
func LeftOut() map[string]string {
	return map[string]string{
		"session": "secret", "token": "secret", "sign_in_failure": "attempts", "kept_answer": "answers", "backup_run": "backups", "sealed_code": "codes",
		"calendar_feed": "calendars", "calendar_feed_end": "calendars",
		"webhook": "webhooks", "webhook_event": "webhooks", "webhook_delivery": "webhooks", "webhook_attempt": "webhooks",
		"schema_migrations": "schema", "river_job": "queue", "river_leader": "queue", "river_notification": "queue", "river_queue": "queue",
	}
}

// LeftOutColumns are columns ("table.column") of tables that are taken along, with the reason.
func LeftOutColumns() map[string]string {
	return map[string]string{"person.password_hash": "secret", "person.must_change_password": "password", "person.one_time_until": "password"}
}

// WholeTable is a table as it is taken along.
type WholeTable struct {
	Name, Comment string
	Columns       []WholeColumn // in the table's own order
	Key           []string      // of the primary key, in its order
	after         []string      // tables that its rows point to
	forced        bool          // row-level security holds for its owner, too
}

// WholeColumn is a column as it is taken along.
type WholeColumn struct {
	Name, Comment string
	Type          string // of PostgreSQL, domains as what they are made of
	MayBeNull     bool
	PointsTo      string   // table that the column, with those before it in the key, points to, or ""
	Words         []string // the only values that there are, or nil
	Form          Form
	identity      bool
}

// Form is how a value is written in JSON.
type Form string

// The forms. What JSON has itself is written as it is; dates as YYYY-MM-DD, instants as YYYY-MM-DDTHH:MM:SS.ffffffZ.
const (
	FormPlain   Form = ""
	FormDigits  Form = "digits" // numbers that a double may not hold, as text
	FormInstant Form = "instant"
	FormHex     Form = "hex"    // bytes of hashes: 64 hexadecimal digits in lower case
	FormText    Form = "text"   // bytes that are UTF-8: the signed documents, so that anybody can hash them again
	FormBase64  Form = "base64" // other bytes (RFC 4648, 4)
)

// WholeSequence is a counter of its own, such as the one of door tags. Last is nil when nothing was counted yet.
type WholeSequence struct {
	Name string `json:"name"`
	Last *int64 `json:"last"`
}

// Whole is every table that is taken along, in the order of their names, and the counters.
type Whole struct {
	SchemaVersion int // of the database that is read
	Tables        []WholeTable
	Sequences     []WholeSequence
}

const sqlWholeTables = `-- whole_tables
select c.relname::text as name, coalesce(obj_description(c.oid, 'pg_class'), '') as comment,
  coalesce((select array_agg(a.attname::text order by k.place) from pg_index i cross join unnest(i.indkey::int2[]) with ordinality k (attnum, place)
    join pg_attribute a on a.attrelid = c.oid and a.attnum = k.attnum where i.indrelid = c.oid and i.indisprimary), '{}') as key,
  c.relforcerowsecurity as forced, array(select distinct f.confrelid::regclass::text from pg_constraint f where f.conrelid = c.oid and f.contype = 'f' and f.confrelid <> c.oid) as after
from pg_class c where c.relnamespace = 'public'::regnamespace and c.relkind in ('r', 'p') and not c.relispartition order by c.relname`

const sqlWholeColumns = `-- whole_columns
select c.relname::text as table, a.attname::text as name, coalesce(col_description(c.oid, a.attnum), '') as comment,
  format_type(case when t.typtype = 'd' then t.typbasetype else a.atttypid end, null) as type, not (a.attnotnull or t.typnotnull) as may_be_null, a.attidentity <> '' as identity,
  coalesce((select f.confrelid::regclass::text from pg_constraint f where f.conrelid = c.oid and f.contype = 'f' and f.conkey[array_length(f.conkey, 1)] = a.attnum
    order by array_length(f.conkey, 1), f.conname limit 1), '') as points_to,
  coalesce((select string_agg(pg_get_constraintdef(k.oid), ' ' order by k.conname) from pg_constraint k where k.contype = 'c'
    and (k.conrelid = c.oid and k.conkey = array[a.attnum] or k.contypid = a.atttypid)), '') as checks
from pg_class c join pg_attribute a on a.attrelid = c.oid and a.attnum > 0 and not a.attisdropped and a.attgenerated = '' join pg_type t on t.oid = a.atttypid
where c.relnamespace = 'public'::regnamespace and c.relkind in ('r', 'p') and not c.relispartition order by c.relname, a.attnum`

const sqlWholeSequences = `-- whole_sequences
select c.relname::text as name, pg_sequence_last_value(c.oid) as last from pg_class c
where c.relnamespace = 'public'::regnamespace and c.relkind = 'S' and c.relname not like 'river%'
  and not exists (select from pg_depend d where d.classid = 'pg_class'::regclass and d.objid = c.oid and d.deptype in ('a', 'i')) order by c.relname`

// querier is a transaction or a connection.
type querier interface {
	Query(ctx context.Context, sql string, args ...any) (pgx.Rows, error)
	QueryRow(ctx context.Context, sql string, args ...any) pgx.Row
	Exec(ctx context.Context, sql string, args ...any) (pgconn.CommandTag, error)
}

// readWhole reads the catalogue.
func readWhole(ctx context.Context, q querier) (w Whole, err error) {
	rows, _ := q.Query(ctx, sqlWholeTables)
	tables, err := pgx.CollectRows(rows, pgx.RowToStructByName[struct {
		Name, Comment string
		Key, After    []string
		Forced        bool
	}])
	if err != nil {
		return w, fmt.Errorf("whole_tables: %w", err)
	}
	rows, _ = q.Query(ctx, sqlWholeColumns)
	columns, err := pgx.CollectRows(rows, pgx.RowToStructByName[struct {
		Table, Name, Comment, Type string
		MayBeNull, Identity        bool
		PointsTo, Checks           string
	}])
	if err != nil {
		return w, fmt.Errorf("whole_columns: %w", err)
	}
	for _, t := range tables {
		if _, out := LeftOut()[t.Name]; out {
			continue
		}
		table := WholeTable{Name: t.Name, Comment: t.Comment, Key: t.Key, after: t.After, forced: t.Forced}
		for _, c := range columns {
			if _, out := LeftOutColumns()[t.Name+"."+c.Name]; c.Table == t.Name && !out {
				table.Columns = append(table.Columns, WholeColumn{Name: c.Name, Comment: c.Comment, Type: c.Type, MayBeNull: c.MayBeNull, PointsTo: c.PointsTo,
					Words: wordsOf(c.Checks), Form: formOf(c.Name, c.Type), identity: c.Identity})
			}
		}
		w.Tables = append(w.Tables, table)
	}
	rows, _ = q.Query(ctx, sqlWholeSequences)
	if w.Sequences, err = pgx.CollectRows(rows, pgx.RowToStructByName[WholeSequence]); err != nil {
		return w, fmt.Errorf("whole_sequences: %w", err)
	}
	return w, nil
}

func formOf(column, kind string) Form {
	switch {
	case kind == "timestamp with time zone":
		return FormInstant
	case kind == "numeric":
		return FormDigits
	case kind != "bytea":
		return FormPlain
	case column == "sha256", strings.HasSuffix(column, "_sha256"):
		return FormHex
	case column == "canonical":
		return FormText
	}
	return FormBase64
}

var (
	oneOf = regexp.MustCompile(`= ANY \(\(?ARRAY\[([^]]*)\]`)
	word  = regexp.MustCompile(`'([^']*)'::text`)
)

// wordsOf reads the words of a check such as CHECK ((state = ANY (ARRAY['open'::text, …]))).
func wordsOf(checks string) (list []string) {
	m := oneOf.FindStringSubmatch(checks)
	if m == nil {
		return nil
	}
	for _, w := range word.FindAllStringSubmatch(m[1], -1) {
		list = append(list, w[1])
	}
	return list
}

// WholeReader reads the rows of one moment.
type WholeReader struct {
	Whole
	tx pgx.Tx
}

// ReadWhole gives every table as of one moment, in the sight of staff: what staff may not read is not taken along, and
// says so by an error.
func (s *Store) ReadWhole(ctx context.Context, f func(*WholeReader) error) error {
	return pgx.BeginTxFunc(ctx, s.pool, pgx.TxOptions{IsoLevel: pgx.RepeatableRead, AccessMode: pgx.ReadOnly}, func(tx pgx.Tx) error {
		if _, err := tx.Exec(ctx, `select set_config('statement_timeout', '0', true), set_config('idle_in_transaction_session_timeout', '0', true), set_config('timezone', 'UTC', true)`); err != nil {
			return err
		}
		r := &WholeReader{tx: tx}
		// As the login role, which may read the version of the schema; staff may not.
		if err := tx.QueryRow(ctx, "select version from "+versionTable).Scan(&r.SchemaVersion); err != nil {
			return fmt.Errorf("version of the schema: %w", err)
		}
		if err := (&Tx{tx: tx, prefix: s.prefix, people: &s.people}).setScope(ctx, scopeOf(identity.Program())); err != nil {
			return err
		}
		whole, err := readWhole(ctx, tx)
		if err != nil {
			return err
		}
		whole.SchemaVersion = r.SchemaVersion
		r.Whole = whole
		return f(r)
	})
}

// Lines gives every row of a table as one JSON object in canonical form (RFC 8785), in the order of the key. The bytes
// belong to the caller until each returns.
func (r *WholeReader) Lines(ctx context.Context, t WholeTable, each func(line []byte) error) error {
	rows, _ := r.tx.Query(ctx, t.selectLines())
	var text []byte
	_, err := pgx.ForEachRow(rows, []any{&text}, func() error {
		line, err := seal.Canonical(text, len(text))
		if err != nil {
			return fmt.Errorf("a row: %w", err)
		}
		return each(line)
	})
	if err != nil {
		return fmt.Errorf("table %s: %w", t.Name, err)
	}
	return nil
}

// selectLines is the statement that reads a table.
func (t WholeTable) selectLines() string {
	members, order := make([]string, len(t.Columns)), make([]string, len(t.Key))
	for i, c := range t.Columns {
		members[i] = fmt.Sprintf(c.written(), "t."+quoted(c.Name)) + " as " + quoted(c.Name)
		if k := slices.Index(t.Key, c.Name); k >= 0 {
			order[k] = "t." + quoted(c.Name)
			if c.Type == "text" {
				order[k] += ` collate "C"` // servers differ in their collations
			}
		}
	}
	return fmt.Sprintf("select (select row_to_json(r) from (select %s) r)::text from %s t order by %s", strings.Join(members, ", "), quoted(t.Name), strings.Join(order, ", "))
}

// written is how a value becomes one of JSON.
func (c WholeColumn) written() string {
	switch c.Form {
	case FormInstant:
		return `to_char(%s at time zone 'UTC', 'YYYY-MM-DD"T"HH24:MI:SS.US"Z"')`
	case FormDigits:
		return `%s::text`
	case FormHex:
		return `encode(%s, 'hex')`
	case FormText:
		return `convert_from(%s, 'UTF8')`
	case FormBase64:
		return `translate(encode(%s, 'base64'), E'\n', '')`
	}
	return `%s`
}

// read is how it becomes the column's value again, out of the object l.line.
func (c WholeColumn) read() string {
	text := "(l.line ->> '" + c.Name + "')"
	switch c.Form {
	case FormHex:
		return "decode(" + text + ", 'hex')"
	case FormText:
		return "convert_to(" + text + ", 'UTF8')"
	case FormBase64:
		return "decode(" + text + ", 'base64')"
	}
	return "r." + quoted(c.Name)
}

func quoted(name string) string { return pgx.Identifier{name}.Sanitize() }

// ErrNotEmpty is that a database which is to be filled holds rows.
var ErrNotEmpty = errors.New("the database is not empty")

// WholeWriter fills an empty database.
type WholeWriter struct {
	Whole
	tx pgx.Tx
}

// FillWhole fills an empty database in one transaction, as the owner of its tables; nobody else sees them until it has
// ended. ErrNotEmpty: a table has rows.
func FillWhole(ctx context.Context, adminURL, prefix string, f func(*WholeWriter) error) error {
	cfg, err := adminConfig(adminURL, prefix)
	if err != nil {
		return err
	}
	cfg.RuntimeParams["role"] = prefix + "_owner"
	cfg.RuntimeParams["search_path"] = "public"
	cfg.RuntimeParams["statement_timeout"] = "0"
	cfg.RuntimeParams["idle_in_transaction_session_timeout"] = "0"
	cfg.RuntimeParams["timezone"] = "UTC"
	conn, err := pgx.ConnectConfig(ctx, cfg)
	if err != nil {
		return fmt.Errorf("database: %w", err)
	}
	defer conn.Close(context.WithoutCancel(ctx))
	return pgx.BeginFunc(ctx, conn, func(tx pgx.Tx) error {
		whole, err := readWhole(ctx, tx)
		if err != nil {
			return err
		}
		w := &WholeWriter{whole, tx}
		if err := w.open(ctx); err != nil {
			return err
		}
		if err := f(w); err != nil {
			return err
		}
		return w.close(ctx)
	})
}

// open keeps everybody else out, lets the owner past row-level security, which holds for owners here, until the
// transaction ends, and sees that there are no rows.
func (w *WholeWriter) open(ctx context.Context) error {
	for _, t := range w.Tables {
		if _, err := w.tx.Exec(ctx, "lock table "+quoted(t.Name)+" in access exclusive mode"); err != nil {
			return fmt.Errorf("table %s: %w", t.Name, err)
		}
		if t.forced {
			if _, err := w.tx.Exec(ctx, "alter table "+quoted(t.Name)+" no force row level security"); err != nil {
				return fmt.Errorf("table %s: %w", t.Name, err)
			}
		}
		var some bool
		if err := w.tx.QueryRow(ctx, "select exists (select from "+quoted(t.Name)+")").Scan(&some); err != nil {
			return fmt.Errorf("table %s: %w", t.Name, err)
		}
		if some {
			return fmt.Errorf("%w: table %s has rows", ErrNotEmpty, t.Name)
		}
	}
	_, err := w.tx.Exec(ctx, "create unlogged table whole_line (line jsonb not null)")
	return err
}

// Order gives the tables so that each comes after those that its rows point to.
func (w *WholeWriter) Order() ([]WholeTable, error) {
	var ordered []WholeTable
	done := map[string]bool{}
	for len(ordered) < len(w.Tables) {
		before := len(ordered)
		for _, t := range w.Tables {
			ready := !slices.ContainsFunc(t.after, func(other string) bool { return !done[other] })
			if !done[t.Name] && ready {
				done[t.Name] = true
				ordered = append(ordered, t)
			}
		}
		if len(ordered) == before {
			return nil, errors.New("tables point to each other in a circle")
		}
	}
	return ordered, nil
}

// Fill brings the lines of a table, as next gives them until it gives nil, into the table, and tells how many there were.
// Lines go through a table of their own, and from there in one statement, so that rows may point to later rows.
func (w *WholeWriter) Fill(ctx context.Context, t WholeTable, next func() ([]byte, error)) (int64, error) {
	n, err := w.tx.CopyFrom(ctx, pgx.Identifier{"whole_line"}, []string{"line"}, pgx.CopyFromFunc(func() ([]any, error) {
		line, err := next()
		if line == nil || err != nil {
			return nil, err
		}
		return []any{string(line)}, nil
	}))
	if err != nil {
		return n, fmt.Errorf("table %s: %w", t.Name, err)
	}
	tag, err := w.tx.Exec(ctx, t.insertLines())
	if err != nil {
		return n, fmt.Errorf("table %s: %w", t.Name, err)
	}
	if tag.RowsAffected() != n {
		return n, fmt.Errorf("table %s took %d of %d rows", t.Name, tag.RowsAffected(), n)
	}
	_, err = w.tx.Exec(ctx, "truncate whole_line")
	return n, err
}

// insertLines is the statement that fills a table.
func (t WholeTable) insertLines() string {
	names, values := make([]string, len(t.Columns)), make([]string, len(t.Columns))
	var bytes []string
	for i, c := range t.Columns {
		names[i], values[i] = quoted(c.Name), c.read()
		if c.Type == "bytea" {
			bytes = append(bytes, "'"+c.Name+"'")
		}
	}
	return fmt.Sprintf("insert into %[1]s (%[2]s) overriding system value select %[3]s from whole_line l, jsonb_populate_record(null::%[1]s, l.line - array[%[4]s]::text[]) r",
		quoted(t.Name), strings.Join(names, ", "), strings.Join(values, ", "), strings.Join(bytes, ", "))
}

// Hashes looks for rows whose hash is not that of their document.
func (w *WholeWriter) Hashes(ctx context.Context) error {
	for _, t := range w.Tables {
		has := func(name string) bool {
			return slices.ContainsFunc(t.Columns, func(c WholeColumn) bool { return c.Name == name })
		}
		if !has("canonical") || !has("sha256") {
			continue
		}
		var n int64
		if err := w.tx.QueryRow(ctx, "select count(*) from "+quoted(t.Name)+" where sha256 <> sha256(canonical)").Scan(&n); err != nil {
			return fmt.Errorf("table %s: %w", t.Name, err)
		}
		if n > 0 {
			return fmt.Errorf("table %s: %d documents do not fit their hashes", t.Name, n)
		}
	}
	return nil
}

// Count sets the counters: those of their own as they were, those of a table's numbers behind the greatest.
func (w *WholeWriter) Count(ctx context.Context, sequences []WholeSequence) error {
	for _, s := range sequences {
		if !slices.ContainsFunc(w.Sequences, func(o WholeSequence) bool { return o.Name == s.Name }) {
			return fmt.Errorf("there is no counter %s", s.Name)
		}
		if s.Last == nil {
			continue
		}
		if _, err := w.tx.Exec(ctx, "select setval($1::text::regclass, $2)", "public."+quoted(s.Name), *s.Last); err != nil {
			return fmt.Errorf("counter %s: %w", s.Name, err)
		}
	}
	for _, t := range w.Tables {
		for _, c := range t.Columns {
			if !c.identity {
				continue
			}
			if _, err := w.tx.Exec(ctx, fmt.Sprintf("select setval(pg_get_serial_sequence($1, $2), max(%[2]s)) from %[1]s having max(%[2]s) is not null", quoted(t.Name), quoted(c.Name)), "public."+quoted(t.Name), c.Name); err != nil {
				return fmt.Errorf("table %s: %w", t.Name, err)
			}
		}
	}
	return nil
}

// close puts row-level security back for the owner.
func (w *WholeWriter) close(ctx context.Context) error {
	for _, t := range w.Tables {
		if !t.forced {
			continue
		}
		if _, err := w.tx.Exec(ctx, "alter table "+quoted(t.Name)+" force row level security"); err != nil {
			return fmt.Errorf("table %s: %w", t.Name, err)
		}
	}
	_, err := w.tx.Exec(ctx, "drop table whole_line")
	return err
}
