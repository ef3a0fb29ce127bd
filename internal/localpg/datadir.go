package localpg

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"time"
)

// markerName is the file that says that a folder is ours; the lock is taken on it.
const markerName = "lintel-server"

// dataDir is a data folder that this process has claimed.
type dataDir struct {
	root string
	lock *os.File
}

func (d dataDir) cluster() string   { return filepath.Join(d.root, "data") }
func (d dataDir) staging() string   { return filepath.Join(d.root, "data.new") }
func (d dataDir) logPath() string   { return filepath.Join(d.root, "server.log") }
func (d dataDir) socketDir() string { return filepath.Join(d.root, "socket") }

// ErrInUse is that another process holds the data folder.
var ErrInUse = errors.New("in use")

// claim makes the folder where it is missing and locks it for this process. It refuses a folder with foreign
// contents, and one that another process holds.
func claim(root string, as account) (dataDir, error) {
	if root == "" {
		return dataDir{}, errors.New("localpg: no data folder given")
	}
	root, err := filepath.Abs(root)
	if err != nil {
		return dataDir{}, fmt.Errorf("localpg: %w", err)
	}
	if err := os.MkdirAll(filepath.Dir(root), 0o755); err != nil {
		return dataDir{}, fmt.Errorf("localpg: %w", err)
	}
	if err := os.Mkdir(root, 0o700); err != nil && !errors.Is(err, fs.ErrExist) {
		return dataDir{}, fmt.Errorf("localpg: %w", err)
	}
	// Names inside /proc are real ones; so must ours be to compare.
	if root, err = filepath.EvalSymlinks(root); err != nil {
		return dataDir{}, fmt.Errorf("localpg: %w", err)
	}
	if err := refuseForeign(root); err != nil {
		return dataDir{}, err
	}
	if err := as.mayEnter(filepath.Dir(root)); err != nil {
		return dataDir{}, err
	}
	lock, err := os.OpenFile(filepath.Join(root, markerName), os.O_CREATE|os.O_RDWR|syscall.O_NOFOLLOW, 0o600)
	if err != nil {
		return dataDir{}, fmt.Errorf("localpg: %w", err)
	}
	if err := syscall.Flock(int(lock.Fd()), syscall.LOCK_EX|syscall.LOCK_NB); err != nil {
		holder, _ := io.ReadAll(io.LimitReader(lock, 20))
		lock.Close()
		return dataDir{}, fmt.Errorf("localpg: %s is %w by process %s", root, ErrInUse, strings.TrimSpace(string(holder)))
	}
	// The folder stays ours; the server's user owns what lies in data/ and socket/ only, and passes through here. Not
	// before the lock: a server that lives here would lose its way to its own files.
	mode := fs.FileMode(0o700)
	if as.other {
		mode = 0o711
	}
	if err := errors.Join(os.Chmod(root, mode), lock.Truncate(0), writeAt(lock, strconv.Itoa(os.Getpid())+"\n")); err != nil {
		lock.Close()
		return dataDir{}, fmt.Errorf("localpg: %w", err)
	}
	return dataDir{root: root, lock: lock}, nil
}

func writeAt(f *os.File, text string) error {
	_, err := f.WriteAt([]byte(text), 0)
	return err
}

// refuseForeign allows an empty folder (a new volume may hold lost+found) and one with our mark.
func refuseForeign(root string) error {
	entries, err := os.ReadDir(root)
	if err != nil {
		return fmt.Errorf("localpg: %w", err)
	}
	foreign := ""
	for _, e := range entries {
		if e.Name() == markerName {
			return nil
		}
		if e.Name() != "lost+found" {
			foreign = e.Name()
		}
	}
	if foreign != "" {
		return fmt.Errorf("localpg: %s is not empty (%s …) and not a data folder of this program: name another", root, foreign)
	}
	return nil
}

// major is the version that made the database files, 0 when there are none yet.
func (d dataDir) major() (int, error) {
	text, err := os.ReadFile(filepath.Join(d.cluster(), "PG_VERSION"))
	if errors.Is(err, fs.ErrNotExist) {
		if _, err := os.Stat(d.cluster()); err == nil {
			return 0, fmt.Errorf("localpg: %s has no file PG_VERSION: it is damaged, restore it from a backup", d.cluster())
		}
		return 0, nil
	}
	if err != nil {
		return 0, fmt.Errorf("localpg: %w", err)
	}
	n, err := strconv.Atoi(strings.TrimSpace(string(text)))
	if err != nil {
		return 0, fmt.Errorf("localpg: %s holds no version", filepath.Join(d.cluster(), "PG_VERSION"))
	}
	return n, nil
}

// binariesFor picks the programs that can open this folder's files: PostgreSQL opens those of its own major
// version only.
func (d dataDir) binariesFor(binDir string) (Binaries, error) {
	major, err := d.major()
	if err != nil {
		return Binaries{}, err
	}
	if major == 0 {
		return Find(binDir)
	}
	b, err := find(binDir, major)
	if err != nil {
		return Binaries{}, fmt.Errorf("localpg: the data in %s was made by PostgreSQL %d, and only that version opens it (or pg_upgrade): %w", d.cluster(), major, err)
	}
	return b, nil
}

// create makes a new data directory beside its final place and moves it there, so that a start that was cut off
// leaves nothing half-made under the name that counts.
func (d dataDir) create(ctx context.Context, b Binaries, as account, durable bool) error {
	if err := os.RemoveAll(d.staging()); err != nil {
		return fmt.Errorf("localpg: %w", err)
	}
	if err := as.mkdir(d.staging()); err != nil {
		return err
	}
	args := []string{"--pgdata=" + d.staging(), "--username=postgres", "--encoding=UTF8", "--locale=C.UTF-8",
		"--auth-local=trust", "--auth-host=reject"}
	if durable {
		args = append(args, "--data-checksums")
	} else {
		args = append(args, "--no-sync")
	}
	if err := run(ctx, d.command(b, as, "initdb", args...)); err != nil {
		return fmt.Errorf("localpg: making %s: %w", d.staging(), err)
	}
	if err := os.Rename(d.staging(), d.cluster()); err != nil {
		return fmt.Errorf("localpg: %w", err)
	}
	if !durable {
		return nil
	}
	return syncDir(d.root)
}

func syncDir(dir string) error {
	f, err := os.Open(dir)
	if err != nil {
		return fmt.Errorf("localpg: %w", err)
	}
	defer f.Close()
	if err := f.Sync(); err != nil {
		return fmt.Errorf("localpg: %w", err)
	}
	return nil
}

// settle waits until no server lives in the folder any more, asking one that an earlier process left behind to
// stop, and then removes the lock files of the dead.
//
// PostgreSQL itself trusts the process id in its lock file as long as any process has it: one that died unreaped,
// or one that got the number later, blocks it for good. We hold the folder's lock and see that nobody lives here,
// so the files are stale whatever number they hold.
func (d dataDir) settle(ctx context.Context, socketDir string) error {
	var asked []int
	for pause := 5 * time.Millisecond; ; pause = min(2*pause, 200*time.Millisecond) {
		living := livingIn(d.root)
		if len(living) == 0 {
			break
		}
		if asked == nil {
			asked = living
			for _, pid := range living {
				// Fast shutdown. Its own children get it too and end alone; an orphan ends when it is idle.
				_ = syscall.Kill(pid, syscall.SIGINT)
			}
		}
		select {
		case <-ctx.Done():
			return fmt.Errorf("localpg: a server that an earlier process left in %s does not stop (processes %v): %w", d.root, living, context.Cause(ctx))
		case <-time.After(pause):
		}
	}
	if err := os.Remove(filepath.Join(d.cluster(), "postmaster.pid")); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return fmt.Errorf("localpg: %w", err)
	}
	return d.freeSocket(socketDir)
}

// freeSocket removes a dead server's socket and its lock file, after making sure that they are of this data folder.
func (d dataDir) freeSocket(dir string) error {
	lock := filepath.Join(dir, socketName+".lock")
	text, err := os.ReadFile(lock)
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	if err != nil {
		return fmt.Errorf("localpg: %w", err)
	}
	// Second line: the data directory of the server that made it.
	lines := strings.Split(string(text), "\n")
	if len(lines) < 2 || lines[1] != d.cluster() {
		return fmt.Errorf("localpg: the socket folder %s is in use by another PostgreSQL (see %s)", dir, lock)
	}
	for _, path := range []string{filepath.Join(dir, socketName), lock} {
		if err := os.Remove(path); err != nil && !errors.Is(err, fs.ErrNotExist) {
			return fmt.Errorf("localpg: %w", err)
		}
	}
	return nil
}

// livingIn lists PostgreSQL's processes that work inside root. A dead one that nobody has reaped has no working
// folder any more, so it is not among them.
func livingIn(root string) []int {
	entries, _ := os.ReadDir("/proc")
	var pids []int
	for _, e := range entries {
		pid, err := strconv.Atoi(e.Name())
		if err != nil {
			continue
		}
		cwd, err := os.Readlink(filepath.Join("/proc", e.Name(), "cwd"))
		if err != nil || !strings.HasPrefix(cwd, root+"/") {
			continue
		}
		name, _ := os.ReadFile(filepath.Join("/proc", e.Name(), "comm"))
		if program := strings.TrimSpace(string(name)); program == "postgres" || program == "initdb" {
			pids = append(pids, pid)
		}
	}
	return pids
}
