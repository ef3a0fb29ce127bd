package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/jackc/pgx/v5"

	"lintel.example/lintel/internal/localpg"
	"lintel.example/lintel/jobs"
)

func TestTheDoctorFindsWhatIsWrongAndNothingElse(t *testing.T) {
	t.Parallel()
	dir := toldDemo(t)
	server, err := localpg.Start(t.Context(), localpg.Options{DataDir: filepath.Join(dir, "database")})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := server.Stop(t.Context()); err != nil {
			t.Log(err)
		}
	})
	keys := filepath.Join(dir, "keys")
	doctor := []string{"doctor", "--data-dir", dir, "--key-file", keys}
	for _, j := range jobs.Table() {
		mustLintel(t, nil, "job", j.Name, "--data-dir", dir)
	}
	if out, complaint, code := lintel(t, nil, doctor...); code != 1 || strings.Count(out, "WRONG") != 1 || !strings.Contains(out, "never: see lintel backup") || !strings.Contains(complaint, "1 of 11") {
		t.Errorf("without a backup: exit code %d, %s%s", code, complaint, out)
	}
	mustLintel(t, nil, "backup", "--data-dir", dir, "--to", filepath.Join(openFolder(t), "backups"))
	if out := mustLintel(t, nil, doctor...); strings.Count(out, "ok ") != 11 {
		t.Errorf("nothing is wrong, and it says\n%s", out)
	}

	conn, err := pgx.Connect(t.Context(), server.URL("postgres", "lintel"))
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close(t.Context())
	do := func(sql string) func() {
		return func() {
			t.Helper()
			if _, err := conn.Exec(t.Context(), sql); err != nil {
				t.Fatal(err)
			}
		}
	}
	photos, err := filepath.Glob(filepath.Join(dir, "photos", "*", "*"))
	if err != nil || len(photos) != 1 {
		t.Fatalf("photos: %v, %v", photos, err)
	}
	photo, err := os.ReadFile(photos[0])
	if err != nil {
		t.Fatal(err)
	}
	put := func(name string, text []byte) func() {
		return func() {
			t.Helper()
			if err := os.WriteFile(name, text, 0o600); err != nil {
				t.Fatal(err)
			}
		}
	}
	key, err := os.ReadFile(keys)
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		check, says  string
		break_, mend func()
	}{
		{"login", "is a superuser", do(`alter role lintel_app superuser`), do(`alter role lintel_app nosuperuser`)},
		{"login", "passes row-level security", do(`alter role lintel_app bypassrls`), do(`alter role lintel_app nobypassrls`)},
		{"login", "may act as their owner", do(`grant lintel_owner to lintel_app`), do(`revoke lintel_owner from lintel_app`)},
		{"login", "without becoming them", do(`alter role lintel_app inherit`), do(`alter role lintel_app noinherit`)},
		{"login", "cannot become lintel_gate", do(`revoke lintel_gate from lintel_app`), do(`grant lintel_gate to lintel_app`)},
		{"schema", "cut off", do(`update schema_migrations set dirty = true`), do(`update schema_migrations set dirty = false`)},
		{"schema", "use the newer program", do(`update schema_migrations set version = version + 1`), do(`update schema_migrations set version = version - 1`)},
		{"walls", "on door", do(`alter table door no force row level security`), do(`alter table door force row level security`)},
		{"walls", "on party", do(`alter table party disable row level security`), do(`alter table party enable row level security`)},
		{"documents", "entry ", do(`update visit_entry set canonical = canonical || ' ' where kind = 'conclusion'`), do(`update visit_entry set canonical = substr(canonical, 1, length(canonical) - 1) where kind = 'conclusion'`)},
		{"documents", "report ", do(`update report set pdf = pdf || 'x'`), do(`update report set pdf = substr(pdf, 1, length(pdf) - 1)`)},
		{"photos", "1 missing or damaged", put(photos[0], photo[1:]), put(photos[0], photo)},
		{"codes", "put the old key back", put(keys, []byte("other:MDEyMzQ1Njc4OWFiY2RlZjAxMjM0NTY3ODlhYmNkZWY=\n")), put(keys, key)},
		{"backup", "hours ago, more than", do(`update backup_run set began_at = began_at - interval '3 days', ended_at = ended_at - interval '3 days'`), do(`update backup_run set began_at = began_at + interval '3 days', ended_at = ended_at + interval '3 days'`)},
		{"jobs", "behind: due_work_orders", do(`update job_run set state = 'failed' where job = 'due_work_orders'`), do(`update job_run set state = 'done' where job = 'due_work_orders'`)},
	} {
		c.break_()
		out, _, code := lintel(t, nil, append(doctor, "--json")...)
		c.mend()
		var found []finding
		if err := json.Unmarshal([]byte(out), &found); err != nil {
			t.Fatalf("%v: %s", err, out)
		}
		for _, f := range found {
			if wrong := f.Check == c.check; wrong == f.OK && !strings.HasPrefix(f.Says, "not looked at") || wrong && !strings.Contains(f.Says, c.says) {
				t.Errorf("%s broken: %s %v %s", c.check, f.Check, f.OK, f.Says)
			}
		}
		if code != 1 || len(found) != 11 {
			t.Errorf("%s broken: exit code %d, %d findings", c.check, code, len(found))
		}
	}
	if out := mustLintel(t, nil, doctor...); strings.Count(out, "ok ") != 11 {
		t.Errorf("all is mended, and it says\n%s", out)
	}
}

func TestTheDoctorSaysThatTheDatabaseDoesNotAnswerAndGoesOn(t *testing.T) {
	t.Parallel()
	out, complaint, code := lintel(t, []string{"LINTEL_DATABASE_URL=postgres://lintel_app@/lintel?host=/nowhere&connect_timeout=2", "LINTEL_PHOTO_DIR=" + t.TempDir()}, "doctor")
	if code != 1 || !strings.Contains(out, "WRONG  database") || !strings.Contains(out, "ok     disk space") || strings.Count(out, "not looked at") != 9 || !strings.Contains(complaint, "10 of 11") {
		t.Errorf("exit code %d, %s%s", code, complaint, out)
	}
}
