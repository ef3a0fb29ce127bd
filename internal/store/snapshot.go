package store

import (
	"context"
	"errors"
	"fmt"

	"github.com/jackc/pgx/v5"

	"lintel.example/lintel/internal/seal"
)

// Snapshot is the whole database as of one moment, held for as long as it is open. PostgreSQL's own programs and our
// statements can look at the same moment, so that what is counted is what is dumped.
type Snapshot struct {
	ID            string // for pg_dump --snapshot
	ServerMajor   int
	SchemaVersion int
	conn          *pgx.Conn
	tx            pgx.Tx
}

const sqlSeesEverything = `-- sees_everything
select rolsuper or rolbypassrls from pg_roles where rolname = current_user`

// OpenSnapshot logs in with adminURL, which must see all rows: as a superuser, or as a role with BYPASSRLS.
func OpenSnapshot(ctx context.Context, adminURL string) (*Snapshot, error) {
	cfg, err := pgx.ParseConfig(adminURL)
	if err != nil {
		return nil, errors.New("the administrator's database address cannot be read") // the driver's error would print it
	}
	cfg.RuntimeParams["statement_timeout"] = "0"
	cfg.RuntimeParams["idle_in_transaction_session_timeout"] = "0" // pg_dump works meanwhile
	cfg.RuntimeParams["search_path"] = "public"
	conn, err := pgx.ConnectConfig(ctx, cfg)
	if err != nil {
		return nil, fmt.Errorf("database: %w", err)
	}
	s := &Snapshot{conn: conn}
	if err := s.begin(ctx); err != nil {
		s.Close(ctx)
		return nil, err
	}
	return s, nil
}

func (s *Snapshot) begin(ctx context.Context) error {
	var everything bool
	var version int
	if err := s.conn.QueryRow(ctx, sqlSeesEverything).Scan(&everything); err != nil {
		return fmt.Errorf("database: %w", err)
	}
	if !everything {
		return errors.New("the administrator's login does not see all rows: a backup needs a superuser, or a role with BYPASSRLS")
	}
	var err error
	if s.tx, err = s.conn.BeginTx(ctx, pgx.TxOptions{IsoLevel: pgx.RepeatableRead, AccessMode: pgx.ReadOnly}); err != nil {
		return fmt.Errorf("database: %w", err)
	}
	if err := s.tx.QueryRow(ctx, "select pg_export_snapshot(), current_setting('server_version_num')::int").Scan(&s.ID, &version); err != nil {
		return fmt.Errorf("database: %w", err)
	}
	s.ServerMajor = version / 10000
	var dirty bool
	err = s.tx.QueryRow(ctx, "select version, dirty from "+versionTable).Scan(&s.SchemaVersion, &dirty)
	if sqlState(err) == "42P01" {
		return errors.New("the database holds no schema of this program")
	}
	if err != nil {
		return fmt.Errorf("version of the schema: %w", err)
	}
	if dirty {
		return errors.New("a migration of the database was cut off: run migrate first")
	}
	return nil
}

// Close lets go of the moment.
func (s *Snapshot) Close(ctx context.Context) {
	_ = s.conn.Close(context.WithoutCancel(ctx))
}

const sqlEveryTable = `-- every_table
select relname::text from pg_class where relnamespace = 'public'::regnamespace and relkind in ('r', 'p') and not relispartition order by relname`

// Counts gives the number of rows of every table, River's too.
func (s *Snapshot) Counts(ctx context.Context) (map[string]int64, error) {
	rows, _ := s.tx.Query(ctx, sqlEveryTable)
	tables, err := pgx.CollectRows(rows, pgx.RowTo[string])
	if err != nil {
		return nil, fmt.Errorf("every_table: %w", err)
	}
	counts := make(map[string]int64, len(tables))
	for _, table := range tables {
		var n int64
		if err := s.tx.QueryRow(ctx, "select count(*) from "+pgx.Identifier{table}.Sanitize()).Scan(&n); err != nil {
			return nil, fmt.Errorf("count %s: %w", table, err)
		}
		counts[table] = n
	}
	return counts, nil
}

// SignedRecord is a line of the record log. Intact tells whether its hash, computed again, is the one that is kept.
type SignedRecord struct {
	Seq       int64
	Kind      string
	SubjectID string
	SHA256    seal.Hash
	Intact    bool
}

const sqlSignedRecords = `-- signed_records
select seq, kind, subject_id::text, sha256, sha256 = sha256(canonical) as intact from record_log order by seq`

// SignedRecords gives every record in the order of the log.
func (s *Snapshot) SignedRecords(ctx context.Context, each func(SignedRecord) error) error {
	rows, _ := s.tx.Query(ctx, sqlSignedRecords)
	var r SignedRecord
	var hash []byte
	_, err := pgx.ForEachRow(rows, []any{&r.Seq, &r.Kind, &r.SubjectID, &hash, &r.Intact}, func() error {
		copy(r.SHA256[:], hash)
		return each(r)
	})
	if err != nil {
		return fmt.Errorf("signed_records: %w", err)
	}
	return nil
}

const sqlEveryPhoto = `-- every_photo
select sha256, size from photo order by sha256`

// Photos gives hash and size of every photo.
func (s *Snapshot) Photos(ctx context.Context, each func(seal.Hash, int64) error) error {
	rows, _ := s.tx.Query(ctx, sqlEveryPhoto)
	return eachPhoto(rows, each)
}

func eachPhoto(rows pgx.Rows, each func(seal.Hash, int64) error) error {
	var hash []byte
	var size int64
	_, err := pgx.ForEachRow(rows, []any{&hash, &size}, func() error {
		var h seal.Hash
		copy(h[:], hash)
		return each(h, size)
	})
	if err != nil {
		return fmt.Errorf("every_photo: %w", err)
	}
	return nil
}

const sqlCodeCount = `-- code_count
select count(*) from sealed_code`

// Codes counts the lock and key-safe codes, which only the key file opens.
func (s *Snapshot) Codes(ctx context.Context) (n int64, err error) {
	if err = s.tx.QueryRow(ctx, sqlCodeCount).Scan(&n); err != nil {
		err = fmt.Errorf("code_count: %w", err)
	}
	return n, err
}

const sqlIsEmpty = `-- is_empty
select not exists (select from pg_class where relnamespace = 'public'::regnamespace and relkind in ('r', 'p', 'v', 'm', 'S', 'f'))`

// IsEmpty tells whether the database has no table of anybody's.
func IsEmpty(ctx context.Context, adminURL string) (empty bool, err error) {
	conn, err := pgx.Connect(ctx, adminURL)
	if err != nil {
		return false, fmt.Errorf("database: %w", err)
	}
	defer conn.Close(context.WithoutCancel(ctx))
	if err := conn.QueryRow(ctx, sqlIsEmpty).Scan(&empty); err != nil {
		return false, fmt.Errorf("is_empty: %w", err)
	}
	return empty, nil
}
