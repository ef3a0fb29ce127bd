package store

import (
	"context"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"

	"lintel.example/lintel/internal/identity"
	"lintel.example/lintel/internal/seal"
)

// What follows looks at an installation from outside its use-cases: is it as it was set up, and is what it keeps whole?

// Server is the PostgreSQL that answers.
type Server struct {
	Version   string
	TooOld    bool
	Now       time.Time
	SizeBytes int64 // of the database
}

const sqlServer = `-- server
select current_setting('server_version') as version, current_setting('server_version_num')::int < 150000 as too_old, clock_timestamp() as now,
  pg_database_size(current_database()) as size_bytes`

// Server asks who answers, and for its clock.
func (s *Store) Server(ctx context.Context) (Server, error) {
	return look[Server](ctx, s, "server", sqlServer, nil)
}

// Login is what the login role may do beyond becoming the others. Nothing of it should be true, and Lacks empty.
type Login struct {
	Name      string
	Powerful  bool     // superuser, or may make roles and databases, or passes row-level security
	Owns      bool     // a table, or may act as the owner
	HasRights bool     // has the rights of the others without becoming them
	Lacks     []string // roles that it cannot become
}

const sqlLogin = `-- login
select r.rolname::text as name, r.rolsuper or r.rolcreatedb or r.rolcreaterole or r.rolreplication or r.rolbypassrls as powerful,
  exists (select from pg_class c where c.relowner = r.oid) or coalesce((select pg_has_role(r.oid, o.oid, 'member') from pg_roles o where o.rolname = @prefix || '_owner'), true) as owns,
  exists (select from pg_roles o where o.rolname = any (select @prefix || '_' || x from unnest(@roles::text[]) x) and pg_has_role(r.oid, o.oid, 'usage')) as has_rights,
  array(select @prefix || '_' || x from unnest(@roles::text[]) x where not exists (select from pg_roles o where o.rolname = @prefix || '_' || x and pg_has_role(r.oid, o.oid, 'member'))) as lacks
from pg_roles r where r.rolname = current_user`

// Login looks at the login role of the program.
func (s *Store) Login(ctx context.Context) (Login, error) {
	return look[Login](ctx, s, "login", sqlLogin, pgx.StrictNamedArgs{"prefix": s.prefix, "roles": rolesWithoutLogin()})
}

// Walls counts the tables that hold rows of customers or have policies, and names those where row-level security does
// not hold for everybody.
type Walls struct {
	Tables int
	Open   []string
}

const sqlWalls = `-- walls
select count(*) as tables, coalesce(array_agg(c.relname::text order by c.relname) filter (where not (c.relrowsecurity and c.relforcerowsecurity)), '{}') as open
from pg_class c where c.relnamespace = 'public'::regnamespace and c.relkind in ('r', 'p')
  and (exists (select from pg_policy p where p.polrelid = c.oid)
    or exists (select from pg_attribute a where a.attrelid = c.oid and not a.attisdropped and a.attname in ('customer_id', 'site_id', 'door_id')))`

// Walls looks at row-level security.
func (s *Store) Walls(ctx context.Context) (Walls, error) {
	return look[Walls](ctx, s, "walls", sqlWalls, nil)
}

// look runs a statement as the login role itself.
func look[R any](ctx context.Context, s *Store, name, sql string, args pgx.StrictNamedArgs) (r R, err error) {
	rows, _ := s.pool.Query(ctx, sql, args)
	if r, err = pgx.CollectExactlyOneRow(rows, pgx.RowToStructByName[R]); err != nil {
		err = fmt.Errorf("%s: %w", name, told(err))
	}
	return r, err
}

// Documents counts the documents that carry a hash, by what they are, and those whose hash is another when it is computed
// again, or that the record log should hold and does not.
type Documents struct {
	Whole  int64
	Broken []string // "visit 0195…"
}

const sqlDocuments = `-- documents
with d (what, id, intact) as (
  select 'record ' || kind, subject_id, sha256 = sha256(canonical) from record_log
  union all select 'visit', visit_id, sha256 = sha256(canonical) from visit where canonical is not null
  union all select 'entry', entry_id, sha256 = sha256(canonical) from visit_entry
  union all select 'sign-off', s.visit_id, s.sha256 = sha256(s.canonical)
    and exists (select from record_log l where l.kind = 'visit' and l.subject_id = s.visit_id and l.sha256 = s.record_sha256) from visit_sign_off s
  union all select 'report', r.report_id, r.sha256 = sha256(r.canonical) and r.pdf_sha256 = sha256(r.pdf)
    and exists (select from record_log l where l.kind = 'report' and l.subject_id = r.report_id and l.sha256 = r.sha256) from report r)
select count(*) filter (where intact) as whole, coalesce((array_agg(what || ' ' || id) filter (where not intact))[1:20], '{}') as broken from d`

// Documents computes every hash again.
func (s *Store) Documents(ctx context.Context) (d Documents, err error) {
	err = s.inTx(ctx, pgx.TxOptions{AccessMode: pgx.ReadOnly}, scopeOf(identity.Program()), func(ctx context.Context, t *Tx) error {
		d, err = queryOne[Documents](ctx, t, "documents", sqlDocuments, pgx.StrictNamedArgs{}, "internal")
		return err
	})
	return d, err
}

// Photos gives hash and size of every photo that the database names.
func (s *Store) Photos(ctx context.Context, each func(seal.Hash, int64) error) error {
	return s.inTx(ctx, pgx.TxOptions{AccessMode: pgx.ReadOnly}, scopeOf(identity.Program()), func(ctx context.Context, t *Tx) error {
		rows, _ := t.tx.Query(ctx, sqlEveryPhoto)
		return eachPhoto(rows, each)
	})
}
