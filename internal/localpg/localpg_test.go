package localpg_test

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
	"go.uber.org/goleak"
	"golang.org/x/sys/unix"

	"lintel.example/lintel/internal/localpg"
)

// childEnv makes this test binary play a program that runs a private server: it starts one in the folder that the
// variable names, prints the server's process id, and waits to be killed.
const childEnv = "LOCALPG_TEST_CHILD_DIR"

func TestMain(m *testing.M) {
	if dir := os.Getenv(childEnv); dir != "" {
		playProgram(dir)
		return
	}
	goleak.VerifyTestMain(m)
}

func playProgram(dir string) {
	_, err := localpg.Start(context.Background(), localpg.Options{DataDir: dir, Durable: true})
	if err != nil {
		fmt.Println("error:", err)
		os.Exit(1)
	}
	fmt.Println("pid:", postmaster(dir))
	select {}
}

func TestRowsOutliveStopAndStart(t *testing.T) {
	for _, durable := range []bool{true, false} {
		t.Run(fmt.Sprintf("durable %v", durable), func(t *testing.T) {
			o := localpg.Options{DataDir: dataDir(t), Durable: durable}
			s := start(t, o)
			exec1(t, s, "create table kept (n int)")
			exec1(t, s, "insert into kept select generate_series(1, 1000)")
			stop(t, s)
			wantRows(t, start(t, o), 1000)
		})
	}
}

func TestServerIsPrivate(t *testing.T) {
	dir := dataDir(t)
	s := start(t, localpg.Options{DataDir: dir, Durable: true, ExtraConf: map[string]string{"work_mem": "5MB"}})
	for setting, want := range map[string]string{
		"listen_addresses":        "",
		"unix_socket_permissions": "0700",
		"fsync":                   "on",
		"data_checksums":          "on",
		"server_encoding":         "UTF8",
		"lc_collate":              "C.UTF-8",
		"TimeZone":                "UTC",
		"work_mem":                "5MB",
	} {
		if got := value(t, s, "select current_setting('"+setting+"')"); got != want {
			t.Errorf("%s is %q, want %q", setting, got, want)
		}
	}
	info, err := os.Stat(filepath.Join(dir, "socket"))
	if err != nil || info.Mode().Perm() != 0o700 {
		t.Errorf("the socket's folder has mode %v (%v), want 0700", info.Mode(), err)
	}
	env, err := os.ReadFile(fmt.Sprintf("/proc/%d/environ", postmaster(dir)))
	if err != nil {
		t.Fatal(err)
	}
	if strings.Contains(string(env), "HOME=") {
		t.Errorf("the server inherited our environment: %q", env)
	}
}

func TestRowsOutliveKilledServer(t *testing.T) {
	o := localpg.Options{DataDir: dataDir(t), Durable: true}
	s := start(t, o)
	exec1(t, s, "create table kept (n int)")
	exec1(t, s, "insert into kept select generate_series(1, 1000)")
	kill(t, postmaster(o.DataDir))
	<-s.Done()
	stop(t, s)
	wantRows(t, start(t, o), 1000)
}

func TestTakesOverFromKilledProgram(t *testing.T) {
	dir := dataDir(t)
	program, _ := startProgram(t, dir)
	s := attach(t, dir)
	execURL(t, s, "create table kept (n int)")
	execURL(t, s, "insert into kept select generate_series(1, 1000)")
	kill(t, program.Process.Pid)
	_ = program.Wait()
	// At once: the server that was left behind may still be shutting down.
	wantRows(t, start(t, localpg.Options{DataDir: dir}), 1000)
}

// A container without an init never reaps: the killed server's process id stays taken, and PostgreSQL by itself
// would refuse to start ("lock file already exists").
func TestTakesOverFromServerThatNobodyReaped(t *testing.T) {
	if err := unix.Prctl(unix.PR_SET_CHILD_SUBREAPER, 1, 0, 0, 0); err != nil {
		t.Fatal(err)
	}
	defer unix.Prctl(unix.PR_SET_CHILD_SUBREAPER, 0, 0, 0, 0)
	dir := dataDir(t)
	program, server := startProgram(t, dir)
	execURL(t, attach(t, dir), "create table kept (n int)")
	execURL(t, attach(t, dir), "insert into kept select generate_series(1, 1000)")
	if err := program.Process.Signal(syscall.SIGSTOP); err != nil { // so that the program does not reap it
		t.Fatal(err)
	}
	kill(t, server)
	kill(t, program.Process.Pid)
	_ = program.Wait()
	if state := processState(t, server); state != "Z" {
		t.Fatalf("the killed server is in state %s: this test needs a zombie", state)
	}
	wantRows(t, start(t, localpg.Options{DataDir: dir}), 1000)
	if _, err := syscall.Wait4(server, nil, 0, nil); err != nil {
		t.Fatal(err)
	}
}

// After a restart of the machine the number in the lock file may be anybody's.
func TestTakesOverWhenItsProcessIDIsSomebodyElses(t *testing.T) {
	o := localpg.Options{DataDir: dataDir(t), Durable: true}
	s := start(t, o)
	exec1(t, s, "create table kept (n int)")
	exec1(t, s, "insert into kept select generate_series(1, 1000)")
	kill(t, postmaster(o.DataDir))
	<-s.Done()
	stop(t, s)

	other := exec.Command("sleep", "1000")
	other.SysProcAttr = &syscall.SysProcAttr{Pdeathsig: syscall.SIGKILL}
	if err := other.Start(); err != nil {
		t.Fatal(err)
	}
	defer func() { _ = other.Process.Kill(); _ = other.Wait() }()
	for _, lock := range []string{"data/postmaster.pid", "socket/.s.PGSQL.5432.lock"} {
		path := filepath.Join(o.DataDir, lock)
		text, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		_, rest, _ := strings.Cut(string(text), "\n")
		write(t, path, fmt.Sprintf("%d\n%s", other.Process.Pid, rest))
	}
	wantRows(t, start(t, o), 1000)
}

func TestHalfMadeFolderIsMadeAgain(t *testing.T) {
	dir := dataDir(t)
	write(t, filepath.Join(dir, "lintel-server"), "")
	if err := os.MkdirAll(filepath.Join(dir, "data.new", "base"), 0o700); err != nil {
		t.Fatal(err)
	}
	start(t, localpg.Options{DataDir: dir})
	if _, err := os.Stat(filepath.Join(dir, "data.new")); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("data.new is still there: %v", err)
	}
}

func TestSocketMovesWhereThePathIsShort(t *testing.T) {
	dir := filepath.Join(dataDir(t), strings.Repeat("long-", 20))
	if err := os.Chmod(filepath.Dir(dir), 0o755); err != nil {
		t.Fatal(err)
	}
	s := start(t, localpg.Options{DataDir: dir})
	socket := value(t, s, "show unix_socket_directories")
	stop(t, s)
	if _, err := os.Stat(socket); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("the temporary socket folder %s is still there after Stop: %v", socket, err)
	}
}

func TestStartRefuses(t *testing.T) {
	used := localpg.Options{DataDir: dataDir(t)}
	start(t, used)

	stopped := dataDir(t)
	stop(t, start(t, localpg.Options{DataDir: stopped}))
	otherMajor := filepath.Join(stopped, "data", "PG_VERSION")

	foreign := dataDir(t)
	write(t, filepath.Join(foreign, "letter.txt"), "mine")

	oldBin := dataDir(t)
	writeProgram(t, filepath.Join(oldBin, "postgres"), "#!/bin/sh\necho 'postgres (PostgreSQL) 13.21'\n")
	writeProgram(t, filepath.Join(oldBin, "initdb"), "#!/bin/sh\nexit 1\n")

	for _, c := range []struct {
		name    string
		prepare func()
		options localpg.Options
		want    string
	}{
		{"a folder in use", nil, used, "is in use by process " + strconv.Itoa(os.Getpid())},
		{"a folder with foreign contents", nil, localpg.Options{DataDir: foreign}, "is not empty (letter.txt …) and not a data folder of this program"},
		{"data of another major version", func() { write(t, otherMajor, "9\n") }, localpg.Options{DataDir: stopped}, "was made by PostgreSQL 9, and only that version opens it"},
		{"a damaged data directory", func() { remove(t, otherMajor) }, localpg.Options{DataDir: stopped}, "has no file PG_VERSION"},
		{"no folder", nil, localpg.Options{}, "no data folder given"},
		{"programs that are too old", nil, localpg.Options{DataDir: dataDir(t), BinDir: oldBin}, "of version 15 or newer are needed: " + oldBin + " is version 13"},
		{"a folder without programs", nil, localpg.Options{DataDir: dataDir(t), BinDir: foreign}, foreign + " has no program postgres"},
		{"a setting that the server does not know", nil, localpg.Options{DataDir: dataDir(t), ExtraConf: map[string]string{"no_such": "1"}}, `unrecognized configuration parameter "no_such"`},
		{"a socket path that is too long", nil, localpg.Options{DataDir: dataDir(t), SocketDir: "/tmp/" + strings.Repeat("x", 100)}, "is too long: at most 93 bytes"},
	} {
		t.Run(c.name, func(t *testing.T) {
			if c.prepare != nil {
				c.prepare()
			}
			s, err := localpg.Start(t.Context(), c.options)
			if err == nil {
				stop(t, s)
				t.Fatal("it started")
			}
			if !strings.Contains(err.Error(), c.want) {
				t.Errorf("got %q, want it to say %q", err, c.want)
			}
			if strings.Contains(err.Error(), "\n") {
				t.Errorf("more than one line: %q", err)
			}
		})
	}
	if entries, _ := os.ReadDir(foreign); len(entries) != 1 {
		t.Errorf("the refused folder was changed: %v", entries)
	}
}

func TestRootNeedsAnOrdinaryUser(t *testing.T) {
	if os.Geteuid() != 0 {
		// As an ordinary user the setting has no meaning and changes nothing.
		start(t, localpg.Options{DataDir: dataDir(t), OSUser: "nobody-of-this-name"})
		return
	}
	closed := dataDir(t)
	if err := os.Mkdir(filepath.Join(closed, "in"), 0o755); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		name    string
		options localpg.Options
		want    string
	}{
		{"unknown", localpg.Options{DataDir: dataDir(t), OSUser: "nobody-of-this-name"}, `there is no user "nobody-of-this-name" to run it as`},
		{"root again", localpg.Options{DataDir: dataDir(t), OSUser: "root"}, `user "root" is root`},
		{"a folder that the user cannot reach", localpg.Options{DataDir: filepath.Join(closed, "in")}, "may not enter " + closed},
	} {
		t.Run(c.name, func(t *testing.T) {
			_, err := localpg.Start(t.Context(), c.options)
			if err == nil || !strings.Contains(err.Error(), c.want) {
				t.Errorf("got %v, want it to say %q", err, c.want)
			}
		})
	}
}

func TestStartEndsWithItsContext(t *testing.T) {
	ctx, cancel := context.WithCancelCause(t.Context())
	cancel(errors.New("asked to end"))
	dir := dataDir(t)
	_, err := localpg.Start(ctx, localpg.Options{DataDir: dir})
	if err == nil || !strings.Contains(err.Error(), "asked to end") {
		t.Errorf("got %v, want the context's cause", err)
	}
	start(t, localpg.Options{DataDir: dir}) // and nothing is left in the way
}

func TestStopOfAStoppedServerIsNoError(t *testing.T) {
	s := start(t, localpg.Options{DataDir: dataDir(t)})
	stop(t, s)
	stop(t, s)
}

func TestStopWhoseTimeIsUpStillStops(t *testing.T) {
	o := localpg.Options{DataDir: dataDir(t), Durable: true}
	s := start(t, o)
	exec1(t, s, "create table kept (n int)")
	exec1(t, s, "insert into kept select generate_series(1, 1000)")
	if err := syscall.Kill(postmaster(o.DataDir), syscall.SIGSTOP); err != nil { // it will not answer
		t.Fatal(err)
	}
	ctx, cancel := context.WithTimeout(t.Context(), 10*time.Millisecond)
	defer cancel()
	err := s.Stop(ctx)
	if err == nil || !strings.Contains(err.Error(), "recovers at its next start") {
		t.Errorf("got %v, want it to say that the server was killed", err)
	}
	wantRows(t, start(t, o), 1000)
}

func TestANeighbourFindsTheWayToTheServerThatAnotherProcessRuns(t *testing.T) {
	long := filepath.Join(dataDir(t), strings.Repeat("long-", 20))
	if err := os.Chmod(filepath.Dir(long), 0o755); err != nil {
		t.Fatal(err)
	}
	for _, o := range []localpg.Options{{DataDir: dataDir(t)}, {DataDir: long}} { // the socket inside, and elsewhere
		if _, err := localpg.Neighbour(o.DataDir, "postgres", "postgres"); err == nil {
			t.Error("the address of a server that is not there")
		}
		s := start(t, o)
		if _, err := localpg.Start(t.Context(), o); !errors.Is(err, localpg.ErrInUse) {
			t.Errorf("a folder in use: %v", err)
		}
		got, err := localpg.Neighbour(o.DataDir, "postgres", "postgres")
		if err != nil || got != s.URL("postgres", "postgres") {
			t.Errorf("got %q, %v; want %q", got, err, s.URL("postgres", "postgres"))
		}
		stop(t, s)
	}
}

func TestDiscardRemovesOnlyWhatIsOursAndFree(t *testing.T) {
	o := localpg.Options{DataDir: dataDir(t)}
	s := start(t, o)
	if err := localpg.Discard(t.Context(), o.DataDir); err == nil || !strings.Contains(err.Error(), "is in use") {
		t.Errorf("a folder in use: got %v", err)
	}
	exec1(t, s, "create table still (n int); insert into still select generate_series(1, 1000); checkpoint")
	exec1(t, s, "create database another")
	stop(t, s)
	if err := localpg.Discard(t.Context(), o.DataDir); err != nil {
		t.Error(err)
	}
	if _, err := os.Stat(o.DataDir); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("it is still there: %v", err)
	}
	if err := localpg.Discard(t.Context(), o.DataDir); err != nil {
		t.Errorf("a missing folder: %v", err)
	}
	foreign := dataDir(t)
	write(t, filepath.Join(foreign, "letter.txt"), "mine")
	if err := localpg.Discard(t.Context(), foreign); err == nil {
		t.Error("a folder with foreign contents was accepted")
	}
	if _, err := os.Stat(filepath.Join(foreign, "letter.txt")); err != nil {
		t.Error(err)
	}
}

// The pieces of the tests.

// dataDir is a folder with a short path that the server's user can reach (t.TempDir's parents are closed to it), in
// memory where there is room: most of the time goes into making files.
func dataDir(t *testing.T) string {
	t.Helper()
	parent := "/dev/shm"
	var memory unix.Statfs_t
	if err := unix.Statfs(parent, &memory); err != nil || memory.Bavail*uint64(memory.Bsize) < 1<<30 {
		parent = ""
	}
	dir, err := os.MkdirTemp(parent, "localpg-test-")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = os.RemoveAll(dir) })
	return dir
}

func start(t *testing.T, o localpg.Options) *localpg.Server {
	t.Helper()
	s, err := localpg.Start(t.Context(), o)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = s.Stop(context.Background()) })
	return s
}

func stop(t *testing.T, s *localpg.Server) {
	t.Helper()
	if err := s.Stop(t.Context()); err != nil {
		t.Fatal(err)
	}
}

// startProgram starts the test binary as a program that runs a server in dir; it gives the program and the server's
// process id.
func startProgram(t *testing.T, dir string) (*exec.Cmd, int) {
	t.Helper()
	cmd := exec.Command(os.Args[0])
	cmd.Env = append(os.Environ(), childEnv+"="+dir)
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = cmd.Process.Kill(); _ = cmd.Wait() })
	line, err := bufio.NewReader(out).ReadString('\n')
	if err != nil {
		t.Fatal(err)
	}
	var pid int
	if _, err := fmt.Sscanf(line, "pid: %d", &pid); err != nil {
		t.Fatalf("the program said %q", line)
	}
	return cmd, pid
}

// attach gives the address of a server that another process runs in dir.
func attach(t *testing.T, dir string) string {
	t.Helper()
	return "postgres://postgres@/postgres?host=" + filepath.Join(dir, "socket")
}

func execURL(t *testing.T, url, sql string) {
	t.Helper()
	conn, err := pgx.Connect(t.Context(), url)
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close(t.Context())
	if _, err := conn.Exec(t.Context(), sql); err != nil {
		t.Fatal(err)
	}
}

func exec1(t *testing.T, s *localpg.Server, sql string) {
	t.Helper()
	execURL(t, s.URL("postgres", "postgres"), sql)
}

func value(t *testing.T, s *localpg.Server, sql string) string {
	t.Helper()
	conn, err := pgx.Connect(t.Context(), s.URL("postgres", "postgres"))
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close(t.Context())
	var v string
	if err := conn.QueryRow(t.Context(), sql).Scan(&v); err != nil {
		t.Fatal(err)
	}
	return v
}

func wantRows(t *testing.T, s *localpg.Server, want int) {
	t.Helper()
	if got := value(t, s, "select count(*)::text from kept"); got != strconv.Itoa(want) {
		t.Errorf("%s rows, want %d", got, want)
	}
}

// postmaster is the process id of the server in dir.
func postmaster(dir string) int {
	text, err := os.ReadFile(filepath.Join(dir, "data", "postmaster.pid"))
	if err != nil {
		panic(err)
	}
	first, _, _ := strings.Cut(string(text), "\n")
	pid, err := strconv.Atoi(first)
	if err != nil {
		panic(err)
	}
	return pid
}

func kill(t *testing.T, pid int) {
	t.Helper()
	if err := syscall.Kill(pid, syscall.SIGKILL); err != nil {
		t.Fatal(err)
	}
}

// processState is the letter that the kernel gives for a process's state, once it has ended ("Z"), or after waiting
// for that in vain, what it is.
func processState(t *testing.T, pid int) string {
	t.Helper()
	state := ""
	for range 500 {
		text, err := os.ReadFile(fmt.Sprintf("/proc/%d/stat", pid))
		if err != nil {
			t.Fatal(err)
		}
		_, after, _ := strings.Cut(string(text), ") ")
		if state = after[:1]; state == "Z" {
			break
		}
		time.Sleep(10 * time.Millisecond)
	}
	return state
}

func write(t *testing.T, path, text string) {
	t.Helper()
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
}

func writeProgram(t *testing.T, path, text string) {
	t.Helper()
	write(t, path, text)
	if err := os.Chmod(path, 0o755); err != nil {
		t.Fatal(err)
	}
}

func remove(t *testing.T, path string) {
	t.Helper()
	if err := os.Remove(path); err != nil {
		t.Fatal(err)
	}
}
