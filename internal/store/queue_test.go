package store_test

import (
	"bytes"
	"context"
	"log/slog"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/jackc/pgx/v5/pgxpool"
	"github.com/riverqueue/river"
	"github.com/riverqueue/river/riverdriver/riverpgxv5"

	"lintel.example/lintel/internal/store/storetest"
)

type lampArgs struct {
	Period string `json:"period"`
}

func (lampArgs) Kind() string { return "queue_test_lamp" }

type lampWorker struct {
	river.WorkerDefaults[lampArgs]
	worked chan string
}

func (w *lampWorker) Work(_ context.Context, job *river.Job[lampArgs]) error {
	w.worked <- job.Args.Period
	return nil
}

// The rights that the migrations give to the role of the jobs are enough for all that River does, and nobody else
// has any.
func TestQueueIsWorkedByTheRoleOfTheJobsAlone(t *testing.T) {
	db := storetest.New(t)
	var log syncBuffer
	worker := &lampWorker{worked: make(chan string, 10)}
	workers := river.NewWorkers()
	river.AddWorker(workers, worker)
	client, err := river.NewClient(riverpgxv5.New(jobsPool(t, db)), &river.Config{
		Logger:  slog.New(slog.NewTextHandler(&log, &slog.HandlerOptions{Level: slog.LevelWarn})),
		Queues:  map[string]river.QueueConfig{river.QueueDefault: {MaxWorkers: 2}},
		Workers: workers,
		PeriodicJobs: []*river.PeriodicJob{river.NewPeriodicJob(river.PeriodicInterval(time.Hour), func() (river.JobArgs, *river.InsertOpts) {
			return lampArgs{"from the table"}, &river.InsertOpts{UniqueOpts: river.UniqueOpts{ByArgs: true}}
		}, &river.PeriodicJobOpts{RunOnStart: true})},
		ReindexerIndexNames: []string{}, // only an owner may rebuild an index
	})
	if err != nil {
		t.Fatal(err)
	}
	if err := client.Start(t.Context()); err != nil {
		t.Fatal(err)
	}

	// A use-case inserts a job in its own transaction, as the staff that it runs for.
	tx, err := db.App.Begin(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	for _, role := range []string{"lintel_staff", "lintel_jobs"} {
		if _, err := tx.Exec(t.Context(), "select set_config('role', $1, true)", role); err != nil {
			t.Fatal(err)
		}
		save, err := tx.Begin(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		_, err = client.InsertTx(t.Context(), save, lampArgs{"from a use-case"}, &river.InsertOpts{UniqueOpts: river.UniqueOpts{ByArgs: true}})
		if (err == nil) != (role == "lintel_jobs") {
			t.Errorf("insert as %s: %v", role, err)
		}
		if err == nil {
			err = save.Commit(t.Context())
		} else {
			err = save.Rollback(t.Context())
		}
		if err != nil {
			t.Fatal(err)
		}
	}
	if err := tx.Commit(t.Context()); err != nil {
		t.Fatal(err)
	}

	worked := map[string]bool{}
	for len(worked) < 2 {
		select {
		case period := <-worker.worked:
			worked[period] = true
		case <-time.After(60 * time.Second):
			t.Fatalf("worked only %v; River says: %s", worked, log.String())
		}
	}
	if err := client.QueuePause(t.Context(), river.QueueDefault, nil); err != nil {
		t.Error(err)
	}
	if err := client.Stop(t.Context()); err != nil {
		t.Fatal(err)
	}
	if said := log.String(); strings.Contains(said, "denied") || strings.Contains(said, "ERROR") {
		t.Errorf("River complains: %s", said)
	}

	rows, _ := db.Admin.Query(t.Context(), `select format('%s may %s on %s', a.grantee::regrole, a.privilege_type, c.relname)
		from pg_class c, aclexplode(c.relacl) a where c.relname like 'river%' and a.grantee::regrole::text not in ('lintel_owner', 'lintel_jobs')`)
	defer rows.Close()
	for rows.Next() {
		var found string
		if err := rows.Scan(&found); err != nil {
			t.Fatal(err)
		}
		t.Error(found)
	}
}

// jobsPool is a pool that logs in as the program and is the role of the jobs from the start.
func jobsPool(t *testing.T, db storetest.DB) *pgxpool.Pool {
	t.Helper()
	cfg, err := pgxpool.ParseConfig(db.AppURL)
	if err != nil {
		t.Fatal(err)
	}
	cfg.ConnConfig.RuntimeParams["role"] = "lintel_jobs"
	pool, err := pgxpool.NewWithConfig(t.Context(), cfg)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(pool.Close)
	return pool
}

// syncBuffer is a log that several goroutines write.
type syncBuffer struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (s *syncBuffer) Write(p []byte) (int, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.b.Write(p)
}

func (s *syncBuffer) String() string {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.b.String()
}
