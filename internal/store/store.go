package store

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"net"
	"strings"
	"sync/atomic"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"
	"github.com/jackc/pgx/v5/pgxpool"

	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/fault"
	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/identity"
)

// Store is PostgreSQL as the rooms above see it.
type Store struct {
	pool   *pgxpool.Pool
	prefix string // of the database roles that Setup made
	pause  func(context.Context, time.Duration) error
	people atomic.Int64 // transactions of people that are under way
}

// New makes a store on a pool that logs in as the role {prefix}_app, which has no rights of its own.
func New(pool *pgxpool.Pool, prefix string) *Store {
	return &Store{pool: pool, prefix: prefix, pause: sleep}
}

// Tx is one transaction in the sight of one actor. Its methods are in the files of their resources.
type Tx struct {
	tx     pgx.Tx
	prefix string
	people *atomic.Int64 // the store's
	kept   keptWrites
}

var _ fleet.Tx = (*Tx)(nil)

// InTx runs f in a transaction that sees and may change what the actor may.
func (s *Store) InTx(ctx context.Context, by identity.Actor, f func(context.Context, fleet.Tx) error) error {
	defer s.underWay(by)()
	return s.inTx(ctx, pgx.TxOptions{}, scopeOf(by), func(ctx context.Context, tx *Tx) error { return f(ctx, tx) })
}

// InTxReadOnly runs f in a transaction that PostgreSQL itself keeps from writing.
func (s *Store) InTxReadOnly(ctx context.Context, by identity.Actor, f func(context.Context, fleet.Tx) error) error {
	defer s.underWay(by)()
	return s.inTx(ctx, pgx.TxOptions{AccessMode: pgx.ReadOnly}, scopeOf(by), func(ctx context.Context, tx *Tx) error { return f(ctx, tx) })
}

func (s *Store) underWay(by identity.Actor) (ended func()) {
	if by.PersonID == identity.Program().PersonID {
		return func() {}
	}
	s.people.Add(1)
	return func() { s.people.Add(-1) }
}

// GiveWay waits while people have transactions under way in this process, but not longer than that. It also gives the runtime a moment in
// which it hears of new ones.
func (t *Tx) GiveWay(ctx context.Context, atMost time.Duration) {
	const look = 50 * time.Microsecond
	for until := time.Now().Add(atMost); sleep(ctx, look) == nil && t.people.Load() > 0 && time.Now().Before(until); {
	}
}

// scope is what a transaction runs as: a database role and, for persons who are not staff, what they see.
type scope struct {
	role             string // without the prefix
	customers, sites []uuid.UUID
	office           string // officeOpen for staff who may see what is asked about entries
}

func scopeOf(by identity.Actor) scope {
	switch {
	case by.Role.Staff() && by.ScopeKind == identity.ScopeAll:
		sc := scope{role: "staff"}
		if by.May(identity.ActReadOddities) {
			sc.office = officeOpen
		}
		return sc
	case by.ScopeKind == identity.ScopeCustomers:
		return scope{role: "customer", customers: by.Customers}
	default: // whoever has no sites sees nothing
		return scope{role: "site", sites: by.Sites}
	}
}

// setScope makes role and scope hold until the end of the transaction, in one round trip.
const sqlSetScope = `-- set_scope
select set_config('role', @role, true), set_config('lintel.customers', @customers, true), set_config('lintel.sites', @sites, true), set_config('lintel.office', @office, true)`

func (t *Tx) setScope(ctx context.Context, sc scope) error {
	_, err := t.tx.Exec(ctx, sqlSetScope, pgx.StrictNamedArgs{
		"role": t.prefix + "_" + sc.role, "customers": uuidArray(sc.customers), "sites": uuidArray(sc.sites), "office": sc.office})
	if err != nil {
		return fmt.Errorf("set_scope: %w", err)
	}
	return nil
}

// uuidArray writes ids as a PostgreSQL array literal; no ids is the empty array, which matches nothing.
func uuidArray(ids []uuid.UUID) string {
	texts := make([]string, len(ids))
	for i, id := range ids {
		texts[i] = id.String()
	}
	return "{" + strings.Join(texts, ",") + "}"
}

// tries is how often a transaction is run in all when PostgreSQL asks for it to be run again.
const tries = 5

func (s *Store) inTx(ctx context.Context, opts pgx.TxOptions, sc scope, f func(context.Context, *Tx) error) error {
	for try := 1; ; try++ {
		err := s.once(ctx, opts, sc, f)
		if err == nil || try == tries || !again(err) {
			return told(err)
		}
		if err := s.pause(ctx, time.Duration(10+rand.IntN(10<<try))*time.Millisecond); err != nil {
			return err
		}
	}
}

func (s *Store) once(ctx context.Context, opts pgx.TxOptions, sc scope, f func(context.Context, *Tx) error) error {
	return pgx.BeginTxFunc(ctx, s.pool, opts, func(tx pgx.Tx) error {
		t := &Tx{tx: tx, prefix: s.prefix, people: &s.people}
		if err := t.setScope(ctx, sc); err != nil {
			return err
		}
		if err := f(ctx, t); err != nil {
			return err
		}
		return t.SendKept(ctx)
	})
}

func sleep(ctx context.Context, d time.Duration) error {
	select {
	case <-ctx.Done():
		return context.Cause(ctx)
	case <-time.After(d):
		return nil
	}
}

// again tells whether the whole transaction may succeed when it is run again: after a serialization failure, a
// deadlock, or when the row above has other keys than were read a moment before, because its site changed hands.
func again(err error) bool {
	var e *pgconn.PgError
	if !errors.As(err, &e) {
		return false
	}
	return contended(e) || e.Code == "23503" && faultOf()[e.ConstraintName] == nil
}

func contended(e *pgconn.PgError) bool { return e.Code == "40001" || e.Code == "40P01" }

// told turns what PostgreSQL says into faults for people where a caller can cause it. Constraint names are ours,
// and chosen for this; the text never names the other row.
func told(err error) error {
	var e *pgconn.PgError
	if err == nil {
		return nil
	}
	if !errors.As(err, &e) {
		if lineBroke(err) {
			return fault.New(fault.Unavailable, "database_unavailable").Because(err)
		}
		return err
	}
	if f, ok := faultOf()[e.ConstraintName]; ok {
		return f.Because(err)
	}
	switch {
	case contended(e), strings.HasPrefix(e.Code, "57P"), strings.HasPrefix(e.Code, "08"), strings.HasPrefix(e.Code, "53"), e.Code == "55P03", e.Code == "57014":
		return fault.New(fault.Unavailable, "database_unavailable").Because(err)
	}
	return err
}

// lineBroke tells whether the database could not be reached or went away. Whether a commit that was under way took
// effect is then not known: the caller sends the same again, which its ids make safe.
func lineBroke(err error) bool {
	var connect *pgconn.ConnectError
	var network net.Error
	return errors.As(err, &connect) || errors.As(err, &network) && !errors.Is(err, context.DeadlineExceeded) && !errors.Is(err, context.Canceled) ||
		errors.Is(err, io.ErrUnexpectedEOF) || errors.Is(err, io.EOF) || errors.Is(err, net.ErrClosed) || pgconn.SafeToRetry(err)
}

// faultOf names the fault of every constraint that a caller can break in spite of the checks in fleet.
func faultOf() map[string]*fault.Error {
	return map[string]*fault.Error{
		"site_customer_fk":                fault.At("/customer_id", "customer_not_found"),
		"door_tag_key":                    {Kind: fault.Conflict, Code: "tag_taken", Pointer: "/tag"},
		"component_model_fk":              fault.At("/model_id", "model_not_found"),
		"component_version_wired_fk":      fault.At("/wired_to", "component_of_other_door"),
		"revision_antenna_fk":             fault.At("/antenna_id", "antenna_not_found"),
		"revision_accessory_accessory_fk": fault.At("/accessories", "accessory_not_found"),
		"device_model_name_key":           {Kind: fault.Conflict, Code: "model_name_taken", Pointer: "/name"},
		"accessory_name_key":              {Kind: fault.Conflict, Code: "accessory_name_taken", Pointer: "/name"},
		"antenna_pk":                      {Kind: fault.Conflict, Code: "antenna_id_taken", Pointer: "/antennas"},
		"site_party_party_fk":             fault.At("/party_id", "party_not_found"),
		"person_email_key":                {Kind: fault.Conflict, Code: "email_taken", Pointer: "/email"},
		"person_customer_customer_fk":     fault.At("/customers", "customer_not_found"),
		"person_site_site_fk":             fault.At("/sites", "site_not_found"),
		"inspection_plan_purpose_key":     {Kind: fault.Conflict, Code: "plan_exists"},
		"closed_day_customer_fk":          fault.At("/customer_id", "customer_not_found"),
		"work_order_assigned_fk":          fault.At("/assigned_to", "person_not_found"),
	}
}

// notFound turns "no row" into the fault of the thing looked for.
func notFound(err error, query, code string) error {
	if errors.Is(err, pgx.ErrNoRows) {
		return fault.New(fault.NotFound, code)
	}
	return fmt.Errorf("%s: %w", query, err)
}

// query runs a statement and collects its rows; name is the statement's own, for the log.
func query[R any](ctx context.Context, t *Tx, name, sql string, args pgx.StrictNamedArgs) ([]R, error) {
	if err := t.SendKept(ctx); err != nil {
		return nil, err
	}
	rows, err := t.tx.Query(ctx, sql, args)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", name, err)
	}
	list, err := pgx.CollectRows(rows, pgx.RowToStructByName[R])
	if err != nil {
		return nil, fmt.Errorf("%s: %w", name, err)
	}
	return list, nil
}

// queryOne runs a statement that gives one row; none is a NotFound fault with the code given.
func queryOne[R any](ctx context.Context, t *Tx, name, sql string, args pgx.StrictNamedArgs, code string) (R, error) {
	if err := t.SendKept(ctx); err != nil {
		var none R
		return none, err
	}
	rows, err := t.tx.Query(ctx, sql, args)
	if err != nil {
		var none R
		return none, fmt.Errorf("%s: %w", name, err)
	}
	r, err := pgx.CollectExactlyOneRow(rows, pgx.RowToStructByName[R])
	if err != nil {
		return r, notFound(err, name, code)
	}
	return r, nil
}

// exec runs a statement that writes and gives the number of rows that it touched.
func exec(ctx context.Context, t *Tx, name, sql string, args pgx.StrictNamedArgs) (int64, error) {
	if t.kept.keeping {
		t.kept.add(name, sql, args, false)
		return 1, nil
	}
	if err := t.beforeWrite(ctx); err != nil {
		return 0, err
	}
	tag, err := t.tx.Exec(ctx, sql, args)
	if err != nil {
		return 0, fmt.Errorf("%s: %w", name, err)
	}
	return tag.RowsAffected(), nil
}

// insertOne runs a statement that adds one row, or none when its id is taken: then it answers false.
func insertOne(ctx context.Context, t *Tx, name, sql string, args pgx.StrictNamedArgs) (bool, error) {
	if t.kept.keeping {
		t.kept.add(name, sql, args, true)
		return true, nil
	}
	n, err := exec(ctx, t, name, sql, args)
	return n == 1, err
}

// expectOne turns "no row was touched" into a conflict: somebody else changed it in between.
func expectOne(touched int64, err error) error {
	if err == nil && touched != 1 {
		return fault.New(fault.PreconditionFailed, "version_differs")
	}
	return err
}

// date gives a civil date as PostgreSQL's driver wants it; the zero Day is NULL.
func date(d duedate.Day) *time.Time {
	if d.IsZero() {
		return nil
	}
	y, m, day := d.Date()
	t := time.Date(y, m, day, 0, 0, 0, 0, time.UTC)
	return &t
}

// day reads a civil date; NULL is the zero Day.
func day(t *time.Time) duedate.Day {
	if t == nil {
		return duedate.Day{}
	}
	return duedate.DayIn(*t, time.UTC)
}

// each turns rows into domain values.
func each[R, D any](rows []R, turn func(R) D) []D {
	list := make([]D, len(rows))
	for i, r := range rows {
		list[i] = turn(r)
	}
	return list
}
