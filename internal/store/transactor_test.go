package store_test

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"lintel.example/lintel/internal/fault"
	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/identity"
	"lintel.example/lintel/internal/store"
	"lintel.example/lintel/internal/store/storetest"
)

// raise is a statement that PostgreSQL answers with an error of the code given.
func raise(ctx context.Context, tx pgx.Tx, code string) error {
	_, err := tx.Exec(ctx, fmt.Sprintf(`do $$ begin raise exception using errcode = '%s'; end $$`, code))
	return err
}

// insertChange writes one row, so that it shows which runs of a transaction have left something.
func insertChange(ctx context.Context, tx pgx.Tx, id uuid.UUID) error {
	_, err := tx.Exec(ctx, `insert into change_log values ($1, now(), $1, 'test', $1, '{}')`, id)
	return err
}

func TestATransactionRunsAgainWhenPostgreSQLAsksForIt(t *testing.T) {
	t.Parallel()
	db := storetest.New(t)
	s := store.New(db.App, "lintel")
	for _, c := range []struct {
		code     string
		failures int // that many runs fail
		runs     int
		ends     string // the code that it ends with
	}{
		{"40001", 0, 1, ""},
		{"40001", 1, 2, ""},
		{"40P01", 4, 5, ""},
		{"40001", 5, 5, "40001"},
		{"40P01", 9, 5, "40P01"},
		{"40002", 9, 1, "40002"}, // integrity of a transaction: running again would not help
		{"23505", 9, 1, "23505"},
		{"23503", 4, 5, ""}, // a key of a row that changed hands
		{"23503", 9, 5, "23503"},
		{"22012", 9, 1, "22012"},
		{"42501", 9, 1, "42501"},
		{"55P03", 9, 1, "55P03"},
		{"57014", 9, 1, "57014"},
	} {
		t.Run(fmt.Sprintf("%s %d times", c.code, c.failures), func(t *testing.T) {
			runs, first := 0, uuid.New()
			err := s.InRawTx(t.Context(), staff, func(tx pgx.Tx) error {
				runs++
				if err := insertChange(t.Context(), tx, first); err != nil { // the same id: what an earlier run wrote must be gone
					return err
				}
				if runs <= c.failures {
					return fmt.Errorf("in a use-case: %w", raise(t.Context(), tx, c.code))
				}
				return nil
			})
			if runs != c.runs || stateOf(err) != c.ends {
				t.Errorf("%d runs, %v; want %d and code %q", runs, err, c.runs, c.ends)
			}
			if later := c.ends != "" && strings.Contains("40001 40P01 55P03 57014", c.ends); fault.Is(err, "database_unavailable") != later {
				t.Errorf("%v is told as one that may succeed later: want %v", err, later)
			}
			want := 0
			if c.ends == "" {
				want = 1
			}
			if left := len(lines(t, db, "select 'row' from change_log where change_id = $1", first)); left != want {
				t.Errorf("%d rows are left, want %d", left, want)
			}
		})
	}
}

func TestWhatIsNoErrorOfPostgreSQLRunsOnce(t *testing.T) {
	t.Parallel()
	db := storetest.New(t)
	s := store.New(db.App, "lintel")
	for _, said := range []error{errors.New("given up"), fault.New(fault.Conflict, "plan_exists"), fault.At("/name", "text_missing")} {
		runs := 0
		err := s.InTx(t.Context(), staff, func(context.Context, fleet.Tx) error { runs++; return said })
		if runs != 1 || err != said {
			t.Errorf("%d runs, %v; want 1 and %v", runs, err, said)
		}
	}
}

// A deadlock is real: each holds what the other wants.
func TestTwoTransactionsThatWaitForEachOtherBothGetThrough(t *testing.T) {
	t.Parallel()
	db := newWorld(t)
	s := store.New(db.App, "lintel")
	var held, ended sync.WaitGroup
	held.Add(2)
	var runs [2]int
	var errs [2]error
	for i := range 2 {
		mine, other := idOf(fmt.Sprintf("door %d 1", 1+i)), idOf(fmt.Sprintf("door %d 1", 2-i))
		ended.Go(func() {
			errs[i] = s.InTx(t.Context(), staff, func(ctx context.Context, tx fleet.Tx) error {
				runs[i]++
				if err := tx.LockDoor(ctx, mine); err != nil {
					return err
				}
				if runs[i] == 1 {
					held.Done()
					held.Wait()
				}
				if err := tx.LockDoor(ctx, other); err != nil {
					return err
				}
				return tx.RenameDoor(ctx, mine, fmt.Sprintf("by %d", i))
			})
		})
	}
	ended.Wait()
	if errs[0] != nil || errs[1] != nil || runs[0]+runs[1] < 3 {
		t.Errorf("%v after %v runs, want both through and one that ran again", errs, runs)
	}
	if n := len(lines(t, db, "select name from door where name in ('by 0', 'by 1')")); n != 2 {
		t.Errorf("%d doors were renamed, want 2", n)
	}
}

// The keys of everything below a site change with its customer; whoever read the old ones a moment before begins anew.
func TestATransactionThatASiteChangedHandsUnderRunsAgain(t *testing.T) {
	t.Parallel()
	db := newWorld(t)
	s := store.New(db.App, "lintel")
	site := idOf("site 1 1")
	for name, write := range map[string]func(ctx context.Context, tx fleet.Tx, site fleet.Site) error{
		"a visit": func(ctx context.Context, tx fleet.Tx, site fleet.Site) error {
			_, err := tx.InsertVisit(ctx, fleet.Visit{CustomerID: site.CustomerID, SiteID: site.SiteID, VisitID: idOf("late visit"), ReceivedAt: site.CreatedAt, RecordedBy: staff.PersonID})
			return err
		},
		"a plan": func(ctx context.Context, tx fleet.Tx, site fleet.Site) error {
			d, err := tx.DoorByID(ctx, idOf("door 1 1"), fleet.AsOf{})
			if err != nil {
				return err
			}
			_, err = tx.InsertPlan(ctx, fleet.Plan{Purpose: fleet.Inspection, CustomerID: site.CustomerID, SiteID: site.SiteID, DoorID: d.DoorID, PlanID: idOf("late plan"), IntervalMonths: 12, Regime: "anniversary",
				AnchorOn: d.KnownSince, PlanDates: fleet.PlanDates{NextDue: d.KnownSince}, Version: 1, RecordedAt: site.CreatedAt, RecordedBy: staff.PersonID})
			return err
		},
	} {
		t.Run(name, func(t *testing.T) {
			runs := 0
			err := s.InTx(t.Context(), staff, func(ctx context.Context, tx fleet.Tx) error {
				runs++
				present, err := tx.SiteByID(ctx, site)
				if err != nil {
					return err
				}
				if runs == 1 {
					handOver(t, s, site)
				}
				return write(ctx, tx, present)
			})
			if err != nil || runs != 2 {
				t.Errorf("%v after %d runs, want it through after 2", err, runs)
			}
		})
	}
}

// handOver gives a site of the world to the other customer.
func handOver(t testing.TB, s *store.Store, site uuid.UUID) (now uuid.UUID) {
	t.Helper()
	err := s.InTx(t.Context(), staff, func(ctx context.Context, tx fleet.Tx) error {
		present, err := tx.SiteByID(ctx, site)
		if err != nil {
			return err
		}
		now = idOf("customer 1")
		if present.CustomerID == now {
			now = idOf("customer 2")
		}
		present.CustomerID, present.Version = now, present.Version+1
		return tx.HandOverSite(ctx, present)
	})
	if err != nil {
		t.Fatal(err)
	}
	return now
}

func TestAPanicGivesTheConnectionBackAndLeavesNothing(t *testing.T) {
	t.Parallel()
	db := storetest.New(t)
	s := store.New(db.Pool(t, 1), "lintel")
	for range 3 { // more often than there are connections
		func() {
			defer func() {
				if got := recover(); got != "in the middle" {
					t.Errorf("recovered %v", got)
				}
			}()
			_ = s.InRawTx(t.Context(), staff, func(tx pgx.Tx) error {
				if err := insertChange(t.Context(), tx, idOf("lost")); err != nil {
					t.Error(err)
				}
				panic("in the middle")
			})
		}()
	}
	ctx, cancel := context.WithTimeout(t.Context(), time.Minute) // waits for ever if none came back
	defer cancel()
	if err := s.InRawTx(ctx, staff, func(tx pgx.Tx) error { return insertChange(ctx, tx, idOf("kept")) }); err != nil {
		t.Error(err)
	}
	if got := lines(t, db, "select change_id::text from change_log"); len(got) != 1 || got[0] != idOf("kept").String() {
		t.Errorf("left are %v, want what was written after the panics", got)
	}
}

func TestAReadOnlyTransactionRefusesToWrite(t *testing.T) {
	t.Parallel()
	db := newWorld(t)
	s := store.New(db.App, "lintel")
	runs := 0
	err := s.InTxReadOnly(t.Context(), staff, func(ctx context.Context, tx fleet.Tx) error {
		runs++
		if _, err := tx.DoorByID(ctx, idOf("door 1 1"), fleet.AsOf{}); err != nil {
			t.Error(err)
		}
		return tx.RenameDoor(ctx, idOf("door 1 1"), "written")
	})
	if stateOf(err) != "25006" || runs != 1 {
		t.Errorf("%v after %d runs, want a refusal (25006)", err, runs)
	}
	if n := len(lines(t, db, "select name from door where name = 'written'")); n != 0 {
		t.Error("it was written")
	}
}

func TestWhoGivesUpWaitingIsNotRunAgain(t *testing.T) {
	t.Parallel()
	db := storetest.New(t)
	s := store.New(db.App, "lintel")
	gone := errors.New("the caller is gone")
	ctx, cancel := context.WithCancelCause(t.Context())
	runs := 0
	err := s.InRawTx(ctx, staff, func(tx pgx.Tx) error {
		runs++
		err := raise(ctx, tx, "40001")
		cancel(gone)
		return err
	})
	if runs != 1 || err != gone {
		t.Errorf("%d runs, %v; want 1 and %v", runs, err, gone)
	}
}

// A server that ends a session is a reason to come again later, and the next transaction gets a connection that works.
func TestAConnectionThatIsCutOffIsToldAsUnavailable(t *testing.T) {
	t.Parallel()
	db := storetest.New(t)
	s := store.New(db.Pool(t, 1), "lintel")
	err := s.InRawTx(t.Context(), staff, func(tx pgx.Tx) error {
		var pid int
		if err := tx.QueryRow(t.Context(), "select pg_backend_pid()").Scan(&pid); err != nil {
			return err
		}
		if _, err := db.Admin.Exec(t.Context(), "select pg_terminate_backend($1, 60000)", pid); err != nil {
			return err
		}
		return insertChange(t.Context(), tx, idOf("lost"))
	})
	if !fault.Is(err, "database_unavailable") {
		t.Errorf("got %v", err)
	}
	if err := s.InRawTx(t.Context(), staff, func(tx pgx.Tx) error { return insertChange(t.Context(), tx, idOf("kept")) }); err != nil {
		t.Error(err)
	}
}

// The clock of this test only tells that waiting ends; how long it takes is not held against anything.
func TestTheProgramGivesWayWhilePeopleHaveTransactionsUnderWay(t *testing.T) {
	t.Parallel()
	s := store.New(storetest.New(t).App, "lintel")
	var gaveWay, personDone atomic.Bool
	begun, done := make(chan struct{}), make(chan error, 1)
	go func() {
		done <- s.InTxReadOnly(t.Context(), identity.Actor{PersonID: uuid.New(), Role: identity.Dispatcher, ScopeKind: identity.ScopeAll}, func(ctx context.Context, _ fleet.Tx) error {
			close(begun)
			time.Sleep(50 * time.Millisecond)
			if gaveWay.Load() {
				return errors.New("the program went on meanwhile")
			}
			personDone.Store(true)
			return nil
		})
	}()
	<-begun
	err := s.InTxReadOnly(t.Context(), identity.Program(), func(ctx context.Context, tx fleet.Tx) error {
		tx.GiveWay(ctx, time.Hour)
		gaveWay.Store(true)
		if !personDone.Load() {
			return errors.New("the program did not wait")
		}
		return nil
	})
	if err := errors.Join(err, <-done); err != nil {
		t.Fatal(err)
	}
	begun = make(chan struct{})
	stay := make(chan struct{})
	go func() {
		done <- s.InTx(t.Context(), identity.Actor{PersonID: uuid.New(), Role: identity.Dispatcher, ScopeKind: identity.ScopeAll}, func(context.Context, fleet.Tx) error {
			close(begun)
			<-stay
			return nil
		})
	}()
	<-begun
	err = s.InTxReadOnly(t.Context(), identity.Program(), func(ctx context.Context, tx fleet.Tx) error {
		tx.GiveWay(ctx, 20*time.Millisecond) // ends although the person does not
		return nil
	})
	close(stay)
	if err := errors.Join(err, <-done); err != nil {
		t.Fatal(err)
	}
}
