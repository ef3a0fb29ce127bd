package main

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"log/slog"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/identity"
	"lintel.example/lintel/internal/seal"
	"lintel.example/lintel/internal/store"
	"lintel.example/lintel/internal/store/storetest"
)

// told plays the story of the demo, which fills an installation through its use-cases: a visit that is signed, a photo,
// a lock code, a report. It gives the data folder.
func toldDemo(t *testing.T) string {
	t.Helper()
	dir := filepath.Join(openFolder(t), "demo")
	mustLintel(t, nil, "demo", "--data-dir", dir, "--listen", "127.0.0.1:0", "--once")
	return dir
}

// oneBackup gives the one backup in a folder.
func oneBackup(t *testing.T, to string) string {
	t.Helper()
	list, err := filepath.Glob(filepath.Join(to, "lintel-*"))
	if err != nil || len(list) != 1 {
		t.Fatalf("backups: %v, %v", list, err)
	}
	return list[0]
}

// kept is what of an installation must come back.
type kept struct {
	Counts  map[string]int64
	Records []string
	Photo   string // its bytes, as a hash
	Code    string
	Prints  string // of the report, as it was kept, as a hash
	Again   string // the report printed again from its record
	Doors   int
}

// look opens the house on a data folder and looks at what must come back.
func look(t *testing.T, dataDir, keyFile string) (k kept) {
	t.Helper()
	s := &settings{DataDir: dataDir, RolePrefix: "lintel", KeyFile: keyFile, CompanyName: "Calder & Moss Door Service"}
	h, err := open(t.Context(), s, asHost, slog.New(slog.DiscardHandler))
	if err != nil {
		t.Fatal(err)
	}
	defer func() {
		if err := h.close(t.Context()); err != nil {
			t.Error(err)
		}
	}()
	snapshot, err := store.OpenSnapshot(t.Context(), h.private.URL("postgres", "lintel"))
	if err != nil {
		t.Fatal(err)
	}
	defer snapshot.Close(t.Context())
	if k.Counts, err = snapshot.Counts(t.Context()); err != nil {
		t.Fatal(err)
	}
	if err := snapshot.SignedRecords(t.Context(), func(r store.SignedRecord) error {
		k.Records = append(k.Records, fmt.Sprint(r))
		return nil
	}); err != nil {
		t.Fatal(err)
	}
	by := identity.Program()
	if err := snapshot.Photos(t.Context(), func(hash seal.Hash, _ int64) error {
		_, data, err := h.fleet.Photo(t.Context(), by, hash)
		if err != nil {
			return err
		}
		defer data.Close()
		all, err := io.ReadAll(data)
		k.Photo += seal.HashOf(all).String()
		return err
	}); err != nil {
		t.Fatal(err)
	}
	doors, err := h.fleet.Doors(t.Context(), by, fleet.DoorQuery{Limit: 100})
	if err != nil {
		t.Fatal(err)
	}
	k.Doors = len(doors)
	for _, d := range doors {
		k.lookAtDoor(t, h, by, d.DoorID)
	}
	return k
}

func (k *kept) lookAtDoor(t *testing.T, h *house, by identity.Actor, door uuid.UUID) {
	t.Helper()
	reports, err := h.fleet.Reports(t.Context(), by, fleet.ReportQuery{DoorID: door, Limit: 10})
	if err != nil {
		t.Fatal(err)
	}
	for _, line := range reports {
		r, err := h.fleet.Report(t.Context(), by, line.ReportID)
		if err != nil {
			t.Fatal(err)
		}
		var doc fleet.ComplianceReport
		if err := json.Unmarshal(r.Canonical, &doc); err != nil {
			t.Fatal(err)
		}
		again, err := h.print(doc, seal.Hash(r.SHA256).String())
		if err != nil {
			t.Fatal(err)
		}
		for _, printed := range again {
			given, err := h.fleet.ReportIn(t.Context(), by, line.ReportID, printed.Form)
			if err != nil {
				t.Fatal(err)
			}
			if !bytes.Equal(printed.Bytes, given.Bytes) {
				t.Errorf("the report printed again from its record is another %s", printed.Form)
			}
			k.Prints += seal.HashOf(given.Bytes).String()
			k.Again += seal.HashOf(printed.Bytes).String()
		}
	}
	components, err := h.fleet.Components(t.Context(), by, door, fleet.AsOf{})
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range components {
		if code, _, err := h.fleet.RevealCode(t.Context(), by, fleet.LockOf(c.ComponentID), ""); err == nil {
			k.Code += code.Reveal()
		}
	}
}

func TestABackupBringsEverythingBackIntoANewFolder(t *testing.T) {
	t.Parallel()
	dir := toldDemo(t)
	to := filepath.Join(openFolder(t), "backups")
	backup := []string{"backup", "--data-dir", dir, "--key-file", filepath.Join(dir, "keys"), "--with-keys", "--to", to}
	serving := start(t, []string{"LINTEL_DATA_DIR=" + dir, "LINTEL_LISTEN=127.0.0.1:0"}, "serve", "--no-worker")
	serving.address()
	out := mustLintel(t, nil, backup...) // beside the service
	if !strings.Contains(out, "1 photos, 3 signed records") {
		t.Errorf("the backup says %q", out)
	}
	from, into := oneBackup(t, to), filepath.Join(openFolder(t), "back")
	if out := mustLintel(t, nil, "restore", from, "--into", into); !strings.Contains(out, "checked") { // while the other runs
		t.Errorf("the restore says %q", out)
	}
	nightly := filepath.Join(openFolder(t), "nightly")
	if out := mustLintel(t, []string{"LINTEL_BACKUP_DIR=" + nightly, "LINTEL_BACKUP_KEEP=3"}, "job", "backup", "--data-dir", dir); !strings.Contains(out, oneBackup(t, nightly)) {
		t.Errorf("the nightly backup says %q", out)
	}
	if code := serving.stop(15); code != 0 {
		t.Errorf("the service that ran beside it ended with %d", code)
	}
	if info, err := os.Stat(filepath.Join(into, "keys")); err != nil || info.Mode().Perm() != 0o600 {
		t.Errorf("the keys: %v, %v", info, err)
	}

	was, is := look(t, dir, filepath.Join(dir, "keys")), look(t, into, filepath.Join(into, "keys"))
	for _, k := range []kept{was, is} { // what each place went on to do by itself
		for table := range k.Counts {
			if strings.HasPrefix(table, "river") || table == "backup_run" || table == "job_run" || table == "audit_event" {
				delete(k.Counts, table)
			}
		}
	}
	if was.Doors != 4 || len(was.Records) != 3 || was.Photo == "" || was.Code != "4417" || was.Prints == "" {
		t.Fatalf("the demo does not hold what is to be looked for: %+v", was)
	}
	wantJSON, _ := json.Marshal(was)
	gotJSON, _ := json.Marshal(is)
	if !bytes.Equal(wantJSON, gotJSON) {
		t.Errorf("came back as\n%s\nwas\n%s", gotJSON, wantJSON)
	}

	if _, complaint, code := lintel(t, nil, "restore", from, "--into", into); code != 2 || !strings.Contains(complaint, "not empty") {
		t.Errorf("into a full folder: exit code %d, %s", code, complaint)
	}
}

func TestABackupOfADatabaseOfOnesOwnGoesIntoAnotherDatabaseAndIsRemembered(t *testing.T) {
	t.Parallel()
	db := storetest.New(t)
	env := append(environment(t, db), "LINTEL_ADMIN_DATABASE_URL="+db.AdminURL)
	to := filepath.Join(t.TempDir(), "backups")
	if _, complaint, code := lintel(t, environment(t, db), "backup", "--to", to); code != 2 || !strings.Contains(complaint, "LINTEL_ADMIN_DATABASE_URL") {
		t.Errorf("without a login that sees everything: exit code %d, %s", code, complaint)
	}
	if _, complaint, code := lintel(t, append(environment(t, db), "LINTEL_ADMIN_DATABASE_URL="+db.AppURL), "backup", "--to", to); code != 1 || !strings.Contains(complaint, "sees all rows") && !strings.Contains(complaint, "see all rows") {
		t.Errorf("with the login of the program: exit code %d, %s", code, complaint)
	}
	mustLintel(t, env, "administrator", "iris@lintel.example", "Iris Calder")
	mustLintel(t, env, "backup", "--to", to)

	server := start(t, env, "serve", "--no-worker")
	base := server.address()
	out := mustLintel(t, env, "password", "iris@lintel.example")
	secret := signIn(t, base, "iris@lintel.example", strings.TrimSpace(out[strings.LastIndex(strings.TrimSpace(out), "\n"):]))
	status, answer := call(t, "GET", base+"/v1/backup-runs", secret, nil)
	runs, _ := answer["backup_runs"].([]any)
	if age, ok := answer["last_good_age_s"].(float64); status != 200 || !ok || age < 0 || age > 600 || len(runs) != 2 {
		t.Errorf("the administrator is told %d %v", status, answer)
	}

	elsewhere, err := url.Parse(db.AdminURL)
	if err != nil {
		t.Fatal(err)
	}
	elsewhere.Path += "_back"
	t.Cleanup(func() {
		if _, err := db.Admin.Exec(context.Background(), "drop database if exists "+db.Name+"_back with (force)"); err != nil {
			t.Error(err)
		}
	})
	from := oneBackup(t, to)
	restore := []string{"LINTEL_ADMIN_DATABASE_URL=" + elsewhere.String(), "LINTEL_PHOTO_DIR=" + t.TempDir()}
	if out := mustLintel(t, restore, "restore", from); !strings.Contains(out, "checked") {
		t.Errorf("the restore says %q", out)
	}
	if _, complaint, code := lintel(t, restore, "restore", from); code != 2 || !strings.Contains(complaint, "holds tables already") {
		t.Errorf("into a database in use: exit code %d, %s", code, complaint)
	}
	back := []string{"LINTEL_DATABASE_URL=" + strings.Replace(db.AppURL, db.Name, db.Name+"_back", 1), "LINTEL_PHOTO_DIR=" + t.TempDir()}
	if _, complaint, code := lintel(t, back, "administrator", "other@lintel.example", "Other"); code != 2 || !strings.Contains(complaint, "administrator") {
		t.Errorf("the administrator did not come back: exit code %d, %s", code, complaint)
	}
}
