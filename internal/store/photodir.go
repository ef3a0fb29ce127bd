package store

import (
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"sync/atomic"
	"syscall"

	"lintel.example/lintel/internal/seal"
)

// PhotoDir keeps photos as files named by their SHA-256, in folders by its first two digits. Several servers may
// share it: a file is complete from the moment that it has its name.
type PhotoDir struct {
	root *os.Root
	last atomic.Int64 // number of the last passing name
}

// unfinished begins the names of files that are being written. Whoever writes one holds a lock on it, so what a
// crash leaves is known by being free, and swept at the next start.
const unfinished = "unfinished-"

// OpenPhotoDir opens the folder, which it makes when it is not there, and sweeps what a crash left unfinished.
func OpenPhotoDir(path string) (*PhotoDir, error) {
	if err := os.MkdirAll(path, 0o750); err != nil {
		return nil, fmt.Errorf("photo folder: %w", err)
	}
	root, err := os.OpenRoot(path)
	if err != nil {
		return nil, fmt.Errorf("photo folder: %w", err)
	}
	d := &PhotoDir{root: root}
	return d, d.sweep()
}

func (d *PhotoDir) sweep() error {
	names, err := fs.ReadDir(d.root.FS(), ".")
	if err != nil {
		return fmt.Errorf("photo folder: %w", err)
	}
	for _, n := range names {
		if strings.HasPrefix(n.Name(), unfinished) {
			if err := d.sweepOne(n.Name()); err != nil && !errors.Is(err, fs.ErrNotExist) {
				return fmt.Errorf("photo folder: %w", err)
			}
		}
	}
	return nil
}

func (d *PhotoDir) sweepOne(name string) error {
	f, err := d.root.Open(name)
	if err != nil {
		return err
	}
	defer f.Close()
	if lock(f) != nil {
		return nil // another server is writing it
	}
	return d.root.Remove(name)
}

// lock takes the file for this process, or fails at once. The kernel gives it free when the file is closed or the process ends.
func lock(f *os.File) error { return syscall.Flock(int(f.Fd()), syscall.LOCK_EX|syscall.LOCK_NB) }

// Close lets go of the folder.
func (d *PhotoDir) Close() error { return d.root.Close() }

func place(hash seal.Hash) (folder, file string) {
	name := hash.String()
	return name[:2], name[:2] + "/" + name[2:]
}

// Keep writes the bytes under a passing name, flushes them, gives them their name and flushes the folders: what it
// has acknowledged is there after a crash. The folders are flushed for what is there already, too: whoever gave it
// its name may not have come so far.
func (d *PhotoDir) Keep(_ context.Context, hash seal.Hash, data []byte) error {
	folder, file := place(hash)
	if _, err := d.root.Stat(file); errors.Is(err, fs.ErrNotExist) {
		if err := d.write(folder, file, data); err != nil {
			return fmt.Errorf("keep photo: %w", err)
		}
	} else if err != nil {
		return fmt.Errorf("keep photo: %w", err)
	}
	return errors.Join(d.flush(folder), d.flush("."))
}

func (d *PhotoDir) write(folder, file string, data []byte) error {
	if err := d.root.Mkdir(folder, 0o750); err != nil && !errors.Is(err, fs.ErrExist) {
		return err
	}
	f, err := d.create()
	if err != nil {
		return err
	}
	defer f.Close() // and with it the lock
	if _, err = f.Write(data); err == nil {
		err = f.Sync()
	}
	if err == nil {
		err = d.root.Rename(filepath.Base(f.Name()), file)
	}
	if err != nil {
		return errors.Join(err, d.root.Remove(filepath.Base(f.Name())))
	}
	return nil
}

// create opens a new file under a passing name that nobody else has.
func (d *PhotoDir) create() (*os.File, error) {
	for {
		name := fmt.Sprintf("%s%d-%d", unfinished, os.Getpid(), d.last.Add(1))
		f, err := d.root.OpenFile(name, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o640)
		if errors.Is(err, fs.ErrExist) { // of another machine that shares the folder
			continue
		}
		if err != nil {
			return nil, err
		}
		if err := lock(f); err != nil {
			return nil, errors.Join(err, f.Close(), d.root.Remove(name))
		}
		return f, nil
	}
}

func (d *PhotoDir) flush(folder string) error {
	f, err := d.root.Open(folder)
	if err != nil {
		return fmt.Errorf("flush photo folder: %w", err)
	}
	return errors.Join(f.Sync(), f.Close())
}

// Open gives the bytes of a photo.
func (d *PhotoDir) Open(hash seal.Hash) (io.ReadSeekCloser, error) {
	_, file := place(hash)
	f, err := d.root.Open(file)
	if err != nil {
		return nil, fmt.Errorf("open photo: %w", err)
	}
	return f, nil
}

// Intact tells whether a photo is there with the bytes that its name says.
func (d *PhotoDir) Intact(hash seal.Hash) bool {
	f, err := d.Open(hash)
	if err != nil {
		return false
	}
	defer f.Close()
	sum := sha256.New()
	_, err = io.Copy(sum, f)
	return err == nil && seal.Hash(sum.Sum(nil)) == hash
}
