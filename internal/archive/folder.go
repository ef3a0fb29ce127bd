package archive

import (
	"bufio"
	"crypto/sha256"
	"encoding/json"
	"errors"
	"fmt"
	"hash"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"time"

	"lintel.example/lintel/internal/seal"
)

// The files that end every folder.
const (
	sumsName     = "SHA256SUMS"
	manifestName = "manifest.json"
)

// unfinished begins the name of a folder that is being written.
const unfinished = "unfinished-"

// Manifest says what a folder holds. It is written last. MadeAt and what follows it are a backup's; an export says
// nothing that would differ between two exports of the same rows.
type Manifest struct {
	Format        string           `json:"format"`
	SchemaVersion int              `json:"schema_version"`
	Tables        map[string]int64 `json:"tables"` // rows
	Files         int              `json:"files"`  // in SHA256SUMS
	SizeBytes     int64            `json:"size_bytes"`
	SumsSHA256    seal.Hash        `json:"sha256sums_sha256"`

	MadeAt         *time.Time `json:"made_at,omitempty"`
	ProgramVersion string     `json:"program_version,omitempty"`
	ServerMajor    int        `json:"postgresql,omitempty"`
	RolePrefix     string     `json:"role_prefix,omitempty"`
	Photos         int64      `json:"photos,omitempty"`
	SignedRecords  int64      `json:"signed_records,omitempty"`
	Codes          int64      `json:"codes,omitempty"` // lock and key-safe codes in the database
	WithKeys       bool       `json:"with_keys,omitempty"`
	Missing        []string   `json:"missing,omitempty"` // what was missing or damaged when it was made
}

// Unusable is what is wrong with a folder, or with a place that one is to be brought into: for whoever named it.
type Unusable struct{ What string }

func (u *Unusable) Error() string { return u.What }

func unusable(format string, args ...any) error { return &Unusable{fmt.Sprintf(format, args...)} }

// folder is one that is being written.
type folder struct {
	path, final string
	sums        *os.File
	sumsHash    hash.Hash
	sumsOut     *bufio.Writer
	files       int
	size        int64
}

// newFolder begins a folder beside the place that it will have. Nobody but its owner may look inside.
func newFolder(final string) (*folder, error) {
	final, err := filepath.Abs(final)
	if err != nil {
		return nil, err
	}
	if err := os.MkdirAll(filepath.Dir(final), 0o700); err != nil {
		return nil, err
	}
	path, err := os.MkdirTemp(filepath.Dir(final), unfinished)
	if err != nil {
		return nil, err
	}
	f := &folder{path: path, final: final, sumsHash: sha256.New()}
	if f.sums, err = f.open(sumsName); err != nil {
		return nil, errors.Join(err, f.discard())
	}
	f.sumsOut = bufio.NewWriter(io.MultiWriter(f.sums, f.sumsHash))
	return f, nil
}

// open makes a file, and the folders that it lies in.
func (f *folder) open(name string) (*os.File, error) {
	path := filepath.Join(f.path, name)
	if err := os.MkdirAll(filepath.Dir(path), 0o700); err != nil {
		return nil, err
	}
	return os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
}

// member is a file that is being written. Close flushes it and enters it into the sums.
type member struct {
	folder *folder
	name   string
	file   *os.File
	hash   hash.Hash
	size   int64
	out    *bufio.Writer
}

// create begins a file; name is a path with slashes.
func (f *folder) create(name string) (*member, error) {
	file, err := f.open(name)
	if err != nil {
		return nil, err
	}
	m := &member{folder: f, name: name, file: file, hash: sha256.New()}
	m.out = bufio.NewWriterSize(io.MultiWriter(file, m.hash), 64<<10)
	return m, nil
}

func (m *member) Write(p []byte) (int, error) {
	m.size += int64(len(p))
	return m.out.Write(p)
}

// sum is the hash of what was written; Close has been called.
func (m *member) sum() (h seal.Hash) { m.hash.Sum(h[:0]); return h }

func (m *member) Close() error {
	if err := errors.Join(m.out.Flush(), m.file.Sync(), m.file.Close()); err != nil {
		return err
	}
	return m.folder.enter(m.name, m.sum(), m.size)
}

// abandon forgets a file that could not be written.
func (m *member) abandon() error {
	return errors.Join(m.file.Close(), os.Remove(m.file.Name()))
}

// enter writes a file that is in the folder into the sums.
func (f *folder) enter(name string, sum seal.Hash, size int64) error {
	f.files++
	f.size += size
	_, err := fmt.Fprintf(f.sumsOut, "%s  %s\n", sum, name)
	return err
}

// finish writes sums and manifest, reads everything back, and gives the folder its name.
func (f *folder) finish(m Manifest) (Manifest, error) {
	if err := errors.Join(f.sumsOut.Flush(), f.sums.Sync(), f.sums.Close()); err != nil {
		return m, err
	}
	m.Files, m.SizeBytes = f.files, f.size
	f.sumsHash.Sum(m.SumsSHA256[:0])
	text, err := json.MarshalIndent(m, "", "  ")
	if err != nil {
		return m, err
	}
	file, err := f.open(manifestName)
	if err != nil {
		return m, err
	}
	if _, err := file.Write(append(text, '\n')); err != nil {
		return m, errors.Join(err, file.Close())
	}
	if err := errors.Join(file.Sync(), file.Close()); err != nil {
		return m, err
	}
	if err := flushFolders(f.path); err != nil {
		return m, err
	}
	written, err := openFolder(f.path, m.Format)
	if err != nil {
		return m, fmt.Errorf("what was written cannot be read back: %w", err)
	}
	if err := written.check(); err != nil {
		return m, fmt.Errorf("what was written cannot be read back: %w", err)
	}
	if err := os.Rename(f.path, f.final); err != nil {
		return m, err
	}
	return m, flush(filepath.Dir(f.final))
}

// discard throws away what was begun.
func (f *folder) discard() error { return os.RemoveAll(f.path) }

func flushFolders(root string) error {
	return filepath.WalkDir(root, func(path string, d fs.DirEntry, err error) error {
		if err != nil || !d.IsDir() {
			return err
		}
		return flush(path)
	})
}

func flush(path string) error {
	d, err := os.Open(path)
	if err != nil {
		return err
	}
	return errors.Join(d.Sync(), d.Close())
}

// opened is a folder that was finished.
type opened struct {
	Manifest
	path string
}

// openFolder reads the manifest of a folder of the given format.
func openFolder(path, format string) (*opened, error) {
	text, err := os.ReadFile(filepath.Join(path, manifestName))
	if errors.Is(err, fs.ErrNotExist) {
		return nil, unusable("%s holds no %s: it is no backup or export of this program, or was never finished", path, manifestName)
	}
	if err != nil {
		return nil, err
	}
	o := &opened{path: path}
	if err := json.Unmarshal(text, &o.Manifest); err != nil {
		return nil, unusable("%s cannot be read: it was altered", filepath.Join(path, manifestName))
	}
	if o.Format != format {
		return nil, unusable("%s is of the format %q, and this program reads %q here", path, o.Format, format)
	}
	return o, nil
}

// check compares every file with its hash, and sees that none is missing or came to it.
func (o *opened) check() error {
	sums, err := os.Open(filepath.Join(o.path, sumsName))
	if err != nil {
		return unusable("%s: %s is missing", o.path, sumsName)
	}
	defer sums.Close()
	whole := sha256.New()
	files := 0
	for lines := bufio.NewScanner(io.TeeReader(sums, whole)); lines.Scan(); files++ {
		if err := o.checkLine(lines.Text()); err != nil {
			return err
		}
	}
	if _, err := io.Copy(whole, sums); err != nil {
		return err
	}
	if seal.Hash(whole.Sum(nil)) != o.SumsSHA256 || files != o.Files {
		return unusable("%s: %s is not the one that %s names: it was altered", o.path, sumsName, manifestName)
	}
	present := 0
	err = filepath.WalkDir(o.path, func(_ string, d fs.DirEntry, err error) error {
		if err == nil && !d.IsDir() {
			present++
		}
		return err
	})
	if err == nil && present != files+2 {
		err = unusable("%s holds %d files, and %d belong to it: something was added", o.path, present, files+2)
	}
	return err
}

func (o *opened) checkLine(line string) error {
	sum, name, ok := strings.Cut(line, "  ")
	want, err := seal.ParseHash(sum)
	if !ok || err != nil || !filepath.IsLocal(name) {
		return unusable("%s: %s has a line that is not a hash and a file: it was altered", o.path, sumsName)
	}
	got, _, err := hashFile(filepath.Join(o.path, name))
	if errors.Is(err, fs.ErrNotExist) {
		return unusable("%s: %s is missing", o.path, name)
	}
	if err != nil {
		return err
	}
	if got != want {
		return unusable("%s: %s is not what was written: it was altered or is damaged", o.path, name)
	}
	return nil
}

// sumOf looks up the hash of one file.
func (o *opened) sumOf(name string) (seal.Hash, error) {
	text, err := os.Open(filepath.Join(o.path, sumsName))
	if err != nil {
		return seal.Hash{}, err
	}
	defer text.Close()
	lines := bufio.NewScanner(text)
	for lines.Scan() {
		if sum, found := strings.CutSuffix(lines.Text(), "  "+name); found {
			return seal.ParseHash(sum)
		}
	}
	return seal.Hash{}, unusable("%s: %s is missing", o.path, name)
}

func hashFile(path string) (h seal.Hash, size int64, err error) {
	f, err := os.Open(path)
	if err != nil {
		return h, 0, err
	}
	defer f.Close()
	sum := sha256.New()
	if size, err = io.Copy(sum, f); err != nil {
		return h, 0, err
	}
	sum.Sum(h[:0])
	return h, size, nil
}

// isEmpty tells whether nothing is in the folder; a new volume may hold lost+found.
func isEmpty(path string) (bool, error) {
	entries, err := os.ReadDir(path)
	if errors.Is(err, fs.ErrNotExist) {
		return true, nil
	}
	if err != nil {
		return false, err
	}
	for _, e := range entries {
		if e.Name() != "lost+found" {
			return false, nil
		}
	}
	return true, nil
}
