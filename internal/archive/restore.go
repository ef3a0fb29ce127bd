package archive

import (
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"slices"

	"lintel.example/lintel/internal/localpg"
	"lintel.example/lintel/internal/seal"
	"lintel.example/lintel/internal/store"
)

// openBackup checks a backup down to its last byte.
func openBackup(from string) (*opened, error) {
	o, err := openFolder(from, backupFormat)
	if err != nil {
		return nil, err
	}
	if known := store.LatestVersion(); o.SchemaVersion > known {
		return nil, unusable("%s holds version %d of the schema, and this program knows %d: use the newer program", from, o.SchemaVersion, known)
	}
	return o, o.check()
}

// RestoreInto brings a backup into a new data folder: a private server's database, the photos, and the keys if the
// backup has them. The folder must be missing or empty, and is emptied again when anything fails. The schema stays as
// old as it was: the next start of the program brings it to what the program knows.
func RestoreInto(ctx context.Context, from, dir, binDir string) (m Manifest, err error) {
	o, err := openBackup(from)
	if err != nil {
		return m, err
	}
	switch empty, err := isEmpty(dir); {
	case err != nil:
		return m, err
	case !empty:
		return m, unusable("%s is not empty: name a folder that is, or none that is there", dir)
	}
	if err := os.MkdirAll(dir, 0o755); err != nil { // PostgreSQL may run as another user, who must pass through
		return m, err
	}
	// It has its name when everything is in it: a start meanwhile, or after a failure, does not find half a database.
	database, building := filepath.Join(dir, "database"), filepath.Join(dir, unfinished+"database")
	defer func() {
		if err != nil {
			err = errors.Join(err, localpg.Discard(context.WithoutCancel(ctx), building), os.RemoveAll(filepath.Join(dir, photosName)), os.RemoveAll(filepath.Join(dir, keysName)))
		}
	}()
	photos, err := store.OpenPhotoDir(filepath.Join(dir, photosName))
	if err != nil {
		return m, err
	}
	defer photos.Close()
	if err := o.intoPrivate(ctx, building, binDir, photos); err != nil {
		return m, err
	}
	if o.WithKeys {
		if err := o.placeKeys(filepath.Join(dir, keysName)); err != nil {
			return m, err
		}
	}
	if err := os.Rename(building, database); err != nil {
		return m, err
	}
	return o.Manifest, flush(dir)
}

// intoPrivate restores into a private server that is made for it, and stops it again.
func (o *opened) intoPrivate(ctx context.Context, folder, binDir string, photos *store.PhotoDir) (err error) {
	server, err := localpg.Start(ctx, localpg.Options{DataDir: folder, BinDir: binDir, Durable: true})
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, server.Stop(context.WithoutCancel(ctx))) }()
	return o.into(ctx, server.URL("postgres", "lintel"), binDir, photos)
}

// RestoreIntoDatabase brings a backup into a database that is empty or not there, and the photos into a folder, where
// those that are there already may stay: they are named by their hash. The keys stay in the backup.
func RestoreIntoDatabase(ctx context.Context, from, adminURL, binDir string, photos *store.PhotoDir) (m Manifest, err error) {
	o, err := openBackup(from)
	if err != nil {
		return m, err
	}
	return o.Manifest, o.into(ctx, adminURL, binDir, photos)
}

// into restores, and then checks everything against the manifest.
func (o *opened) into(ctx context.Context, adminURL, binDir string, photos *store.PhotoDir) error {
	if err := store.Setup(ctx, adminURL, o.RolePrefix, ""); err != nil {
		return err
	}
	switch empty, err := store.IsEmpty(ctx, adminURL); {
	case err != nil:
		return err
	case !empty:
		return unusable("the database holds tables already: name one that is empty, or none that is there")
	}
	postgres, err := toolsFor(binDir, o.ServerMajor, adminURL)
	if err != nil {
		return err
	}
	if err := o.placePhotos(ctx, photos); err != nil {
		return err
	}
	if err := postgres.restore(ctx, filepath.Join(o.path, dumpName)); err != nil {
		return err
	}
	if err := store.Setup(ctx, adminURL, o.RolePrefix, ""); err != nil { // rights on the schema, as the dump may have changed them
		return err
	}
	return o.compare(ctx, adminURL, photos)
}

// placePhotos keeps every photo of the backup where the program looks for it.
func (o *opened) placePhotos(ctx context.Context, photos *store.PhotoDir) error {
	files, err := filepath.Glob(filepath.Join(o.path, photosName, "*", "*"))
	if err != nil {
		return err
	}
	for _, path := range files {
		hash, err := seal.ParseHash(filepath.Base(filepath.Dir(path)) + filepath.Base(path))
		if err != nil {
			return unusable("%s is not named as a photo", path)
		}
		data, err := os.ReadFile(path) // at most fleet.MostPhotoBytes
		if err != nil {
			return err
		}
		if err := errors.Join(context.Cause(ctx), photos.Keep(ctx, hash, data)); err != nil {
			return err
		}
	}
	return nil
}

func (o *opened) placeKeys(path string) error {
	text, err := os.ReadFile(filepath.Join(o.path, keysName))
	if err != nil {
		return err
	}
	return os.WriteFile(path, text, 0o600)
}

// compare sees that what was restored is what the manifest says: the rows of every table, every signed record with
// its hash computed again, every photo.
func (o *opened) compare(ctx context.Context, adminURL string, photos *store.PhotoDir) error {
	snapshot, err := store.OpenSnapshot(ctx, adminURL)
	if err != nil {
		return err
	}
	defer snapshot.Close(ctx)
	if snapshot.SchemaVersion != o.SchemaVersion {
		return fmt.Errorf("the restored schema is version %d, the backup's %d", snapshot.SchemaVersion, o.SchemaVersion)
	}
	counts, err := snapshot.Counts(ctx)
	if err != nil {
		return err
	}
	for _, table := range slices.Sorted(maps.Keys(o.Tables)) {
		if counts[table] != o.Tables[table] {
			return fmt.Errorf("the restored table %s has %d rows, the backup's %d", table, counts[table], o.Tables[table])
		}
	}
	sum, broken := sha256.New(), 0
	if err := writeRecords(ctx, snapshot, sum, func(r store.SignedRecord) {
		if !r.Intact {
			broken++
		}
	}); err != nil {
		return err
	}
	want, err := o.sumOf(recordsName)
	if err != nil {
		return err
	}
	if seal.Hash(sum.Sum(nil)) != want {
		return errors.New("the restored signed records are not the backup's")
	}
	if broken > 0 && len(o.Missing) == 0 {
		return fmt.Errorf("%d restored signed records do not fit their hashes", broken)
	}
	there := int64(0)
	err = snapshot.Photos(ctx, func(hash seal.Hash, _ int64) error {
		if photos.Intact(hash) {
			there++
		}
		return context.Cause(ctx)
	})
	if err == nil && there < o.Photos {
		err = fmt.Errorf("%d of the backup's %d photos are there", there, o.Photos)
	}
	return err
}
