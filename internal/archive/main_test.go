package archive

import (
	"bytes"
	"os"
	"testing"
	"time"

	"lintel.example/lintel/internal/seal"
	"lintel.example/lintel/internal/store"
	"lintel.example/lintel/internal/store/storetest"
)

func TestMain(m *testing.M) { os.Exit(storetest.Main(m)) }

// world is an installation with a row in every table and the photos that the rows name.
type world struct {
	db     storetest.DB
	photos *store.PhotoDir
	at     time.Time // the clock of the next backup
}

func newWorld(t testing.TB) *world {
	t.Helper()
	w := &world{db: storetest.New(t), photos: photoDir(t), at: time.Date(2026, 3, 3, 9, 0, 0, 0, time.UTC)}
	rows, err := os.ReadFile("../store/testdata/world.sql")
	if err != nil {
		t.Fatal(err)
	}
	if _, err := w.db.Admin.Exec(t.Context(), string(rows)); err != nil {
		t.Fatal(err)
	}
	for _, text := range []string{"poster", "photo 1 1", "photo 1 2", "photo 2 1", "photo 2 2"} {
		if err := w.photos.Keep(t.Context(), seal.HashOf([]byte(text)), []byte(text)); err != nil {
			t.Fatal(err)
		}
	}
	return w
}

func photoDir(t testing.TB) *store.PhotoDir {
	t.Helper()
	d, err := store.OpenPhotoDir(t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = d.Close() })
	return d
}

// backup writes a backup an hour after the last.
func (w *world) backup(t *testing.T, to string, keep int) (string, Manifest) {
	t.Helper()
	name, m, err := Backup(t.Context(), w.source(), to, keep)
	if err != nil {
		t.Fatal(err)
	}
	return name, m
}

func (w *world) source() Source {
	return Source{AdminURL: w.db.AdminURL, RolePrefix: "lintel", Photos: w.photos, Program: "test", Now: func() time.Time {
		w.at = w.at.Add(time.Hour)
		return w.at
	}}
}

// change rewrites a file of a folder.
func change(t *testing.T, path string, f func([]byte) []byte) {
	t.Helper()
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	changed := f(text)
	if bytes.Equal(text, changed) {
		t.Fatalf("%s was not changed", path)
	}
	if err := os.WriteFile(path, changed, 0o600); err != nil {
		t.Fatal(err)
	}
}
