package store

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"strings"

	"lintel.example/lintel/internal/seal"
)

// PhotoDir keeps photos as files named by their SHA-256, in folders by its first two digits. Several servers may
// share it: a file is complete from the moment that it has its name.
type PhotoDir struct {
	root *os.Root
}

// unfinished begins the names of files that are being written; what a crash leaves of them is swept at the next start.
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
			if err := d.root.Remove(n.Name()); err != nil && !errors.Is(err, fs.ErrNotExist) {
				return fmt.Errorf("photo folder: %w", err)
			}
		}
	}
	return nil
}

// Close lets go of the folder.
func (d *PhotoDir) Close() error { return d.root.Close() }

func place(hash seal.Hash) (folder, file string) {
	name := hash.String()
	return name[:2], name[:2] + "/" + name[2:]
}

// Keep writes the bytes under a passing name, flushes them, gives them their name and flushes the folders: what it
// has acknowledged is there after a crash.
func (d *PhotoDir) Keep(_ context.Context, hash seal.Hash, data []byte) error {
	folder, file := place(hash)
	if _, err := d.root.Stat(file); err == nil {
		return nil
	}
	if err := d.root.Mkdir(folder, 0o750); err != nil && !errors.Is(err, fs.ErrExist) {
		return fmt.Errorf("keep photo: %w", err)
	}
	passing := unfinished + hash.String() + fmt.Sprintf("-%d", os.Getpid())
	if err := d.write(passing, data); err != nil {
		return fmt.Errorf("keep photo: %w", errors.Join(err, d.root.Remove(passing)))
	}
	if err := d.root.Rename(passing, file); err != nil {
		return fmt.Errorf("keep photo: %w", err)
	}
	return errors.Join(d.flush(folder), d.flush("."))
}

func (d *PhotoDir) write(name string, data []byte) error {
	f, err := d.root.OpenFile(name, os.O_WRONLY|os.O_CREATE|os.O_TRUNC, 0o640)
	if err != nil {
		return err
	}
	_, err = f.Write(data)
	return errors.Join(err, f.Sync(), f.Close())
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
