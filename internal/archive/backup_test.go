package archive

import (
	"bytes"
	"errors"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"lintel.example/lintel/internal/seal"
)

func TestABackupIsForItsOwnerAloneAndNamesWhatIsInIt(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	keys := filepath.Join(t.TempDir(), "keys")
	if err := os.WriteFile(keys, []byte("k:secret\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	s := w.source()
	s.KeyFile = keys
	name, m, err := Backup(t.Context(), s, filepath.Join(t.TempDir(), "to"), 0)
	if err != nil {
		t.Fatal(err)
	}
	if m.Tables["door"] != 4 || m.Tables["record_log"] != 8 || m.SignedRecords != 8 || m.Photos != 5 || m.Codes != 4 || !m.WithKeys || m.Files != 8 || len(m.Missing) != 0 {
		t.Errorf("the manifest says %+v", m)
	}
	err = filepath.WalkDir(name, func(path string, d os.DirEntry, err error) error {
		if err != nil {
			return err
		}
		info, err := d.Info()
		if err == nil && info.Mode().Perm()&0o077 != 0 {
			t.Errorf("%s has mode %v", path, info.Mode())
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
}

func TestOldBackupsGoWhenTheNewestCompleteOnesAreThereAndShareTheirPhotos(t *testing.T) {
	t.Parallel()
	w, to := newWorld(t), t.TempDir()
	first, _ := w.backup(t, to, 0)
	second, _ := w.backup(t, to, 2)
	photo := photoName(seal.HashOf([]byte("poster")))
	one, err1 := os.Stat(filepath.Join(first, photo))
	other, err2 := os.Stat(filepath.Join(second, photo))
	if err := errors.Join(err1, err2); err != nil || !os.SameFile(one, other) {
		t.Errorf("the second backup does not share its photo with the first: %v", err)
	}
	// One that has gone bad is not taken over.
	change(t, filepath.Join(second, photo), func(text []byte) []byte { return append(text, 'x') })
	third, m := w.backup(t, to, 2)
	if _, err := openBackup(third); err != nil || m.Photos != 5 {
		t.Errorf("the third backup: %v, %+v", err, m)
	}
	// What is incomplete pushes nothing out.
	if err := os.WriteFile(filepath.Join(to, unfinished+"left"), nil, 0o600); err != nil {
		t.Fatal(err)
	}
	whole := w.photos
	w.photos = photoDir(t)
	for _, hidden := range []string{second, third} { // else the photos come from there
		if err := os.Rename(filepath.Join(hidden, photosName), filepath.Join(hidden, "hidden")); err != nil {
			t.Fatal(err)
		}
	}
	if _, m := w.backup(t, to, 2); len(m.Missing) != 5 || m.Photos != 0 {
		t.Errorf("without photos: %+v", m)
	}
	w.photos = whole
	names := func() (list []string) {
		entries, err := os.ReadDir(to)
		if err != nil {
			t.Fatal(err)
		}
		for _, e := range entries {
			list = append(list, e.Name())
		}
		return list
	}
	if got, want := names(), []string{"lintel-20260303T110000Z", "lintel-20260303T120000Z", "lintel-20260303T130000Z", "lock"}; !slices.Equal(got, want) {
		t.Errorf("there are %v, want %v", got, want)
	}
	w.backup(t, to, 1)
	if got, want := names(), []string{"lintel-20260303T140000Z", "lock"}; !slices.Equal(got, want) {
		t.Errorf("there are %v, want %v", got, want)
	}
}

func TestTwoBackupsAreNotWrittenIntoOneFolderAtOnce(t *testing.T) {
	t.Parallel()
	to := t.TempDir()
	unlock, err := lockFolder(to)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := lockFolder(to); err == nil || !strings.Contains(err.Error(), "another backup") {
		t.Errorf("a second one: %v", err)
	}
	unlock()
	if unlock, err = lockFolder(to); err != nil {
		t.Fatal(err)
	}
	unlock()
}

func TestABackupThatFailsLeavesNothing(t *testing.T) {
	t.Parallel()
	w, to := newWorld(t), t.TempDir()
	s := w.source()
	s.BinDir = t.TempDir() // without pg_dump
	if _, _, err := Backup(t.Context(), s, to, 0); err == nil {
		t.Fatal("it was written without pg_dump")
	}
	if left, _ := filepath.Glob(filepath.Join(to, "*")); len(left) != 1 { // the lock
		t.Errorf("left behind: %v", left)
	}
}

func TestARestoreRefusesWhatIsNotTheBackupThatWasWritten(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	whole, _ := w.backup(t, t.TempDir(), 0)
	cut := func(text []byte) []byte { return text[:len(text)-1] }
	flip := func(text []byte) []byte { text = bytes.Clone(text); text[len(text)/2] ^= 1; return text }
	for _, c := range []struct {
		what string
		do   func(t *testing.T, dir string)
		says string
	}{
		{"a byte of the dump is another", func(t *testing.T, dir string) { change(t, filepath.Join(dir, dumpName), flip) }, "altered or is damaged"},
		{"the dump is cut", func(t *testing.T, dir string) { change(t, filepath.Join(dir, dumpName), cut) }, "altered or is damaged"},
		{"a photo is another", func(t *testing.T, dir string) {
			change(t, filepath.Join(dir, photoName(seal.HashOf([]byte("poster")))), flip)
		}, "altered or is damaged"},
		{"a record is another", func(t *testing.T, dir string) { change(t, filepath.Join(dir, recordsName), flip) }, "altered or is damaged"},
		{"a file is missing", func(t *testing.T, dir string) { remove(t, filepath.Join(dir, recordsName)) }, "is missing"},
		{"a file came to it", func(t *testing.T, dir string) { write(t, filepath.Join(dir, "more"), "x") }, "something was added"},
		{"the sums lost a line", func(t *testing.T, dir string) { change(t, filepath.Join(dir, sumsName), dropLine) }, "altered"},
		{"the sums name a file elsewhere", func(t *testing.T, dir string) {
			change(t, filepath.Join(dir, sumsName), func(b []byte) []byte { return bytes.Replace(b, []byte(dumpName), []byte("../"+dumpName), 1) })
		}, "altered"},
		{"the manifest is cut", func(t *testing.T, dir string) {
			change(t, filepath.Join(dir, manifestName), func(b []byte) []byte { return b[:20] })
		}, "altered"},
		{"there is no manifest", func(t *testing.T, dir string) { remove(t, filepath.Join(dir, manifestName)) }, "never finished"},
		{"it is of another format", func(t *testing.T, dir string) {
			change(t, filepath.Join(dir, manifestName), func(b []byte) []byte {
				return bytes.Replace(b, []byte("lintel-backup/1"), []byte("lintel-backup/2"), 1)
			})
		}, `format "lintel-backup/2"`},
		{"it is of a newer schema", func(t *testing.T, dir string) {
			change(t, filepath.Join(dir, manifestName), func(b []byte) []byte {
				return bytes.Replace(b, []byte(`"schema_version": `), []byte(`"schema_version": 9`), 1)
			})
		}, "use the newer program"},
	} {
		t.Run(c.what, func(t *testing.T) {
			dir := filepath.Join(t.TempDir(), "backup")
			if err := os.CopyFS(dir, os.DirFS(whole)); err != nil {
				t.Fatal(err)
			}
			c.do(t, dir)
			into := filepath.Join(t.TempDir(), "into")
			_, err := RestoreInto(t.Context(), dir, into, "")
			var u *Unusable
			if !errors.As(err, &u) || !strings.Contains(err.Error(), c.says) {
				t.Errorf("got %v, want %q", err, c.says)
			}
			if _, err := os.Stat(into); !errors.Is(err, os.ErrNotExist) {
				t.Error("something was begun")
			}
		})
	}
}

func dropLine(text []byte) []byte { return text[bytes.IndexByte(text, '\n')+1:] }

func remove(t *testing.T, path string) {
	t.Helper()
	if err := os.Remove(path); err != nil {
		t.Fatal(err)
	}
}

func write(t *testing.T, path, text string) {
	t.Helper()
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
}
