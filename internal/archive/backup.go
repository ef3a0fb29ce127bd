package archive

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
	"time"

	"lintel.example/lintel/internal/seal"
	"lintel.example/lintel/internal/store"
)

// backupFormat goes up when an older program would read a backup wrongly.
const backupFormat = "lintel-backup/1"

// The members of a backup.
const (
	dumpName    = "database.dump"
	recordsName = "signed_records.txt" // what the record log holds, one a line: number, kind, id of the subject, SHA-256
	photosName  = "photos"
	keysName    = "keys"
)

// backupPrefix begins the name of every backup; what follows is when it was made, so that names sort by age.
const backupPrefix = "lintel-"

// Source is what is backed up.
type Source struct {
	AdminURL   string // of the database: a login that sees all rows
	RolePrefix string
	Photos     *store.PhotoDir
	KeyFile    string // "": without the keys
	BinDir     string // of PostgreSQL's programs, "" to look for them
	Program    string // version of this program
	Now        func() time.Time
}

// Backup writes the source into a new folder in the folder to, reads it back, and gives its name and what is in it.
// Then the oldest are removed until the newest keep complete ones are left; 0 keeps all. What is missing or damaged
// in the source keeps nothing else from being saved: the manifest names it, and the backup is not complete.
func Backup(ctx context.Context, s Source, to string, keep int) (name string, m Manifest, err error) {
	unlock, err := lockFolder(to)
	if err != nil {
		return "", m, err
	}
	defer unlock()
	if err := sweep(to); err != nil {
		return "", m, err
	}
	made := s.Now().UTC().Truncate(time.Second)
	f, err := newFolder(filepath.Join(to, backupPrefix+made.Format("20060102T150405Z")))
	if err != nil {
		return "", m, err
	}
	m = Manifest{Format: backupFormat, MadeAt: &made, ProgramVersion: s.Program, RolePrefix: s.RolePrefix, WithKeys: s.KeyFile != ""}
	if m, err = s.write(ctx, f, m, newest(to)); err != nil {
		return "", m, errors.Join(err, f.discard())
	}
	if keep > 0 && len(m.Missing) == 0 {
		err = removeOld(to, keep)
	}
	return f.final, m, err
}

// write fills and finishes the folder.
func (s Source) write(ctx context.Context, f *folder, m Manifest, earlier string) (Manifest, error) {
	snapshot, err := store.OpenSnapshot(ctx, s.AdminURL)
	if err != nil {
		return m, err
	}
	defer snapshot.Close(ctx)
	m.SchemaVersion, m.ServerMajor = snapshot.SchemaVersion, snapshot.ServerMajor
	postgres, err := toolsFor(s.BinDir, snapshot.ServerMajor, s.AdminURL)
	if err != nil {
		return m, err
	}
	if err := f.dump(ctx, postgres, snapshot.ID); err != nil {
		return m, err
	}
	if m.Tables, err = snapshot.Counts(ctx); err != nil {
		return m, err
	}
	if m.Codes, err = snapshot.Codes(ctx); err != nil {
		return m, err
	}
	if err := f.records(ctx, snapshot, &m); err != nil {
		return m, err
	}
	if err := f.photos(ctx, snapshot, s.Photos, earlier, &m); err != nil {
		return m, err
	}
	if s.KeyFile != "" {
		if err := f.copyFile(keysName, s.KeyFile); err != nil {
			return m, err
		}
	}
	return f.finish(m)
}

// dump has the database dumped, and read through as whoever restores it would.
func (f *folder) dump(ctx context.Context, postgres tools, snapshot string) error {
	path := filepath.Join(f.path, dumpName)
	if err := os.WriteFile(path, nil, 0o600); err != nil { // with this mode from its first byte on
		return err
	}
	if err := postgres.dump(ctx, snapshot, path); err != nil {
		return err
	}
	if err := flush(path); err != nil {
		return err
	}
	if err := postgres.readThrough(ctx, path); err != nil {
		return err
	}
	sum, size, err := hashFile(path)
	if err != nil {
		return err
	}
	return f.enter(dumpName, sum, size)
}

// records writes the hashes of the signed records, and names those that do not fit their record any more.
func (f *folder) records(ctx context.Context, snapshot *store.Snapshot, m *Manifest) error {
	file, err := f.create(recordsName)
	if err != nil {
		return err
	}
	err = writeRecords(ctx, snapshot, file, func(r store.SignedRecord) {
		m.SignedRecords++
		if !r.Intact {
			m.Missing = append(m.Missing, fmt.Sprintf("signed record %d does not fit its hash", r.Seq))
		}
	})
	return errors.Join(err, file.Close())
}

func writeRecords(ctx context.Context, snapshot *store.Snapshot, out io.Writer, seen func(store.SignedRecord)) error {
	return snapshot.SignedRecords(ctx, func(r store.SignedRecord) error {
		seen(r)
		_, err := fmt.Fprintln(out, r.Seq, r.Kind, r.SubjectID, r.SHA256)
		return err
	})
}

// photos copies the photos that the snapshot names, or links those that an earlier backup holds intact.
func (f *folder) photos(ctx context.Context, snapshot *store.Snapshot, photos *store.PhotoDir, earlier string, m *Manifest) error {
	return snapshot.Photos(ctx, func(hash seal.Hash, _ int64) error {
		if err := context.Cause(ctx); err != nil {
			return err
		}
		name := photoName(hash)
		if size, linked := f.link(name, earlier, hash); linked {
			m.Photos++
			return f.enter(name, hash, size)
		}
		whole, err := f.copyPhoto(name, photos, hash)
		switch {
		case err != nil:
			return err
		case whole:
			m.Photos++
		default:
			m.Missing = append(m.Missing, "photo "+hash.String()+" is missing or damaged")
		}
		return nil
	})
}

// photoName is where a photo lies in a backup: as in the folder of photos itself.
func photoName(hash seal.Hash) string {
	text := hash.String()
	return photosName + "/" + text[:2] + "/" + text[2:]
}

// link takes a photo over from an earlier backup. Only one folder more of the same disk knows it then, so what has
// gone bad there is copied anew.
func (f *folder) link(name, earlier string, hash seal.Hash) (size int64, linked bool) {
	if earlier == "" {
		return 0, false
	}
	old, path := filepath.Join(earlier, name), filepath.Join(f.path, name)
	sum, size, err := hashFile(old)
	if err != nil || sum != hash {
		return 0, false
	}
	if err := os.MkdirAll(filepath.Dir(path), 0o700); err != nil {
		return 0, false
	}
	return size, os.Link(old, path) == nil
}

// copyPhoto copies a photo; false when the source does not have it whole.
func (f *folder) copyPhoto(name string, photos *store.PhotoDir, hash seal.Hash) (whole bool, err error) {
	in, err := photos.Open(hash)
	if err != nil {
		return false, nil
	}
	defer in.Close()
	out, err := f.create(name)
	if err != nil {
		return false, err
	}
	_, readErr := io.Copy(out, in)
	if err := out.out.Flush(); err != nil {
		return false, errors.Join(err, out.abandon())
	}
	if readErr != nil || out.sum() != hash {
		return false, out.abandon()
	}
	return true, out.Close()
}

func (f *folder) copyFile(name, from string) error {
	in, err := os.Open(from)
	if err != nil {
		return err
	}
	defer in.Close()
	out, err := f.create(name)
	if err != nil {
		return err
	}
	_, err = io.Copy(out, in)
	return errors.Join(err, out.Close())
}

// lockFolder keeps two backups from being written into one folder at once: the second would sweep the first away.
func lockFolder(to string) (unlock func(), err error) {
	if err := os.MkdirAll(to, 0o700); err != nil {
		return nil, err
	}
	lock, err := os.OpenFile(filepath.Join(to, "lock"), os.O_RDWR|os.O_CREATE, 0o600)
	if err != nil {
		return nil, err
	}
	if err := syscall.Flock(int(lock.Fd()), syscall.LOCK_EX|syscall.LOCK_NB); err != nil {
		return nil, errors.Join(fmt.Errorf("another backup is being written into %s", to), lock.Close())
	}
	return func() { _ = lock.Close() }, nil
}

// sweep removes what a backup that was cut off left behind; the folder is locked.
func sweep(to string) error {
	left, err := filepath.Glob(filepath.Join(to, unfinished+"*"))
	for _, path := range left {
		err = errors.Join(err, os.RemoveAll(path))
	}
	return err
}

// finished lists the backups in a folder, the newest first.
func finished(to string) (list []*opened) {
	paths, _ := filepath.Glob(filepath.Join(to, backupPrefix+"*"))
	slices.SortFunc(paths, func(a, b string) int { return strings.Compare(b, a) })
	for _, path := range paths {
		if o, err := openFolder(path, backupFormat); err == nil {
			list = append(list, o)
		}
	}
	return list
}

func newest(to string) string {
	if list := finished(to); len(list) > 0 {
		return list[0].path
	}
	return ""
}

// removeOld leaves the newest complete backups, and everything that is newer than the oldest of these.
func removeOld(to string, keep int) (err error) {
	complete := 0
	for _, o := range finished(to) {
		if complete >= keep {
			gone := filepath.Join(to, unfinished+filepath.Base(o.path)) // so that half of one is never taken for a backup
			err = errors.Join(err, os.Rename(o.path, gone), os.RemoveAll(gone))
			continue
		}
		if len(o.Missing) == 0 {
			complete++
		}
	}
	return err
}
