package localpg

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"maps"
	"net/url"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"syscall"
	"time"

	"github.com/jackc/pgx/v5"
)

const (
	socketName      = ".s.PGSQL.5432"
	longestSocket   = 107 // bytes of a Unix socket's path that the kernel takes
	startWithin     = 60 * time.Second
	killAfter       = 5 * time.Second
	largestLogBytes = 10 << 20
)

// Options says how a private server is to run. Only DataDir is required.
type Options struct {
	DataDir   string            // the data folder; made when missing
	SocketDir string            // folder of the Unix socket, short; empty: inside DataDir, or a temporary one when that path is too long
	BinDir    string            // folder of PostgreSQL's programs; empty: Find looks for them
	OSUser    string            // whom the server runs as when this process is root; empty: "postgres"
	Durable   bool              // true: what is committed survives a power cut. false: faster, for tests; the last commits are lost when the server is killed
	ExtraConf map[string]string // settings of postgresql.conf that win over ours
}

// Server is a running private server.
type Server struct {
	dir        dataDir
	socketDir  string
	tempSocket bool
	logFrom    int64 // bytes of the log that were there before this start
	proc       *process
	release    func()
}

// Start makes the data folder where needed, starts the server and returns when it answers. It takes over after the
// death of an earlier server or of the process that ran it, and refuses, with one line that says why: a folder that
// another process holds, one with foreign contents, data of another major version, PostgreSQL older than 15.
// It gives up after 60 seconds or when ctx ends. The server goes on after ctx: Stop ends it.
func Start(ctx context.Context, o Options) (*Server, error) {
	ctx, cancel := context.WithTimeoutCause(ctx, startWithin, fmt.Errorf("not within %v", startWithin))
	defer cancel()

	as, err := accountFor(o.OSUser)
	if err != nil {
		return nil, err
	}
	dir, err := claim(o.DataDir, as)
	if err != nil {
		return nil, err
	}
	s := &Server{dir: dir}
	s.release = sync.OnceFunc(func() {
		if s.tempSocket {
			_ = os.RemoveAll(s.socketDir)
		}
		_ = dir.lock.Close()
	})
	if err := s.start(ctx, o, as); err != nil {
		s.release()
		return nil, err
	}
	return s, nil
}

func (s *Server) start(ctx context.Context, o Options, as account) error {
	programs, err := s.dir.binariesFor(o.BinDir)
	if err != nil {
		return err
	}
	if err := s.chooseSocket(o.SocketDir, as); err != nil {
		return err
	}
	if err := s.dir.settle(ctx, s.socketDir); err != nil {
		return err
	}
	if major, err := s.dir.major(); err != nil {
		return err
	} else if major == 0 {
		if err := s.dir.create(ctx, programs, as, o.Durable); err != nil {
			return err
		}
	}
	if err := as.mustOwn(s.dir.cluster()); err != nil {
		return err
	}
	if err := s.launch(programs, as, o); err != nil {
		return err
	}
	if err := s.ready(ctx); err != nil {
		ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), killAfter)
		defer cancel()
		_ = s.halt(ctx)
		return err
	}
	return nil
}

// chooseSocket sets the socket's folder and makes it.
func (s *Server) chooseSocket(configured string, as account) error {
	s.socketDir = configured
	if configured == "" {
		s.socketDir = s.dir.socketDir()
	}
	dir, err := filepath.Abs(s.socketDir)
	if err != nil {
		return fmt.Errorf("localpg: %w", err)
	}
	s.socketDir = dir
	fits := len(filepath.Join(dir, socketName)) <= longestSocket
	switch {
	case fits && configured == "":
		return as.mkdir(dir)
	case fits:
		if _, err := os.Stat(dir); err == nil {
			return nil // somebody else's folder: not ours to hand over
		}
		return as.mkdir(dir)
	case configured != "":
		return fmt.Errorf("localpg: the path of the socket folder %s is too long: at most %d bytes", dir, longestSocket-len(socketName)-1)
	}
	if s.socketDir, err = os.MkdirTemp("", "lintel-pg-"); err != nil {
		return fmt.Errorf("localpg: %w", err)
	}
	s.tempSocket = true
	if len(filepath.Join(s.socketDir, socketName)) > longestSocket {
		return fmt.Errorf("localpg: both %s and the temporary folder have paths too long for a Unix socket: name a short socket folder", s.dir.root)
	}
	return as.mkdir(s.socketDir)
}

// conf is what every private server is told on its command line, so that it wins over the folder's postgresql.conf.
func conf(o Options, socketDir string) map[string]string {
	c := map[string]string{
		"listen_addresses":        "",
		"port":                    "5432", // names the socket file; no port is opened
		"unix_socket_directories": socketDir,
		"unix_socket_permissions": "0700",
		"timezone":                "UTC",
		"log_timezone":            "UTC",
		"log_checkpoints":         "off",
		// A failing statement's text may hold what no log should.
		"log_min_error_statement": "panic",
		"cluster_name":            "lintel",
	}
	if o.Durable {
		c["fsync"] = "on"
		c["recovery_init_sync_method"] = "syncfs" // else a start after a crash syncs every file one by one
	} else {
		c["fsync"] = "off"
		c["synchronous_commit"] = "off"
		c["full_page_writes"] = "off"
		c["shared_buffers"] = "32MB" // several test binaries run at once
		c["max_connections"] = "300"
		c["max_wal_size"] = "256MB"
	}
	maps.Copy(c, o.ExtraConf)
	return c
}

// launch starts the server; it is not ready yet.
func (s *Server) launch(b Binaries, as account, o Options) error {
	log, err := s.openLog()
	if err != nil {
		return err
	}
	defer log.Close()
	args := []string{"-D", s.dir.cluster()}
	settings := conf(o, s.socketDir)
	for _, name := range slices.Sorted(maps.Keys(settings)) {
		args = append(args, "-c", name+"="+settings[name])
	}
	cmd := s.dir.command(b, as, "postgres", args...)
	cmd.Stdout, cmd.Stderr = log, log
	if s.proc, err = launch(cmd); err != nil {
		return fmt.Errorf("localpg: starting %s: %w", cmd.Path, err)
	}
	return nil
}

// openLog opens the log to append, after putting a large one aside.
func (s *Server) openLog() (*os.File, error) {
	path := s.dir.logPath()
	if info, err := os.Stat(path); err == nil && info.Size() > largestLogBytes {
		if err := os.Rename(path, path+".old"); err != nil {
			return nil, fmt.Errorf("localpg: %w", err)
		}
	}
	f, err := os.OpenFile(path, os.O_CREATE|os.O_APPEND|os.O_WRONLY|syscall.O_NOFOLLOW, 0o600)
	if err != nil {
		return nil, fmt.Errorf("localpg: %w", err)
	}
	if s.logFrom, err = f.Seek(0, io.SeekEnd); err != nil {
		f.Close()
		return nil, fmt.Errorf("localpg: %w", err)
	}
	return f, nil
}

// ready waits until the server takes a connection. The pauses grow, because every try during a recovery writes a
// line to the server's log. What the server's own lock file says of its state is not asked: after a crash the old
// file still says ready.
func (s *Server) ready(ctx context.Context) error {
	for pause := 10 * time.Millisecond; ; pause = min(2*pause, 200*time.Millisecond) {
		conn, err := pgx.Connect(ctx, s.URL("postgres", "postgres"))
		if err == nil {
			return conn.Close(ctx)
		}
		select {
		case <-s.proc.exited:
			return fmt.Errorf("localpg: the server ended at once: %s (its log: %s)", s.lastWords(), s.dir.logPath())
		case <-ctx.Done():
			return fmt.Errorf("localpg: the server does not answer (its log: %s): %w", s.dir.logPath(), context.Cause(ctx))
		case <-time.After(pause):
		}
	}
}

// lastWords gives the server's complaint since this start.
func (s *Server) lastWords() string {
	f, err := os.Open(s.dir.logPath())
	if err != nil {
		return err.Error()
	}
	defer f.Close()
	text, _ := io.ReadAll(io.NewSectionReader(f, s.logFrom, 64<<10))
	return complaint(string(text))
}

// URL is the address of a database of this server for a user of it. psql takes it too.
func (s *Server) URL(user, database string) string {
	u := url.URL{
		Scheme:   "postgres",
		User:     url.User(user),
		Path:     "/" + database,
		RawQuery: url.Values{"host": {s.socketDir}, "port": {"5432"}}.Encode(),
	}
	return u.String()
}

// Neighbour is the address of a database of the server that another process runs in a data folder, for a user of it. It
// says what that server wrote down of itself, not that it answers.
func Neighbour(folder, user, database string) (string, error) {
	root, err := filepath.Abs(folder)
	if err != nil {
		return "", fmt.Errorf("localpg: %w", err)
	}
	text, err := os.ReadFile(filepath.Join(dataDir{root: root}.cluster(), "postmaster.pid"))
	if err != nil {
		return "", fmt.Errorf("localpg: no server runs in %s: %w", root, err)
	}
	lines := strings.Split(string(text), "\n") // the fifth line is the folder of its socket
	if len(lines) < 5 || lines[4] == "" {
		return "", fmt.Errorf("localpg: the server in %s is not ready", root)
	}
	return (&Server{socketDir: lines[4]}).URL(user, database), nil
}

// Log is the path of the file that the server writes what it has to say to.
func (s *Server) Log() string { return s.dir.logPath() }

// Done is closed when the server has ended, for whatever reason. Its data folder stays this process's until Stop.
func (s *Server) Done() <-chan struct{} { return s.proc.exited }

// Stop ends the server with a fast shutdown (running transactions are rolled back, everything committed is written)
// and gives the data folder free. When ctx ends first, the server is stopped without ceremony and recovers at its
// next start; the error says so. Stopping a server that has ended, or a second time, is no error.
func (s *Server) Stop(ctx context.Context) error {
	defer s.release()
	return s.halt(ctx)
}

func (s *Server) halt(ctx context.Context) error {
	_ = s.proc.cmd.Process.Signal(syscall.SIGINT)
	select {
	case <-s.proc.exited:
		return nil
	case <-ctx.Done():
	}
	_ = s.proc.cmd.Process.Signal(syscall.SIGQUIT)
	select {
	case <-s.proc.exited:
	case <-time.After(killAfter):
		_ = s.proc.cmd.Process.Kill()
		<-s.proc.exited
	}
	return errors.Join(errors.New("localpg: the server did not stop in time and was killed: it recovers at its next start"), context.Cause(ctx))
}

// Discard removes a data folder with everything in it, after stopping a server that a dead process left there. One
// that is missing is no error; one that is in use or not ours is refused as by Start.
func Discard(ctx context.Context, dataDir string) error {
	if _, err := os.Lstat(dataDir); errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	dir, err := claim(dataDir, account{})
	if err != nil {
		return err
	}
	defer dir.lock.Close()
	if err := dir.settle(ctx, dir.socketDir()); err != nil {
		return err
	}
	if err := os.RemoveAll(dir.root); err != nil {
		return fmt.Errorf("localpg: %w", err)
	}
	return nil
}
