package main

import (
	"bufio"
	"bytes"
	"encoding/json"
	"errors"
	"io"
	"os"
	"os/exec"
	"strings"
	"sync"
	"syscall"
	"testing"

	"lintel.example/lintel/internal/store/storetest"
)

// asProgram makes the test binary behave as the program itself, so that exit codes, signals and what is printed
// where are the real ones.
const asProgram = "LINTEL_TEST_AS_PROGRAM"

func TestMain(m *testing.M) {
	if os.Getenv(asProgram) != "" {
		main()
	}
	os.Exit(storetest.Main(m))
}

// program is the program with arguments and an environment of its own: nothing of this process's settings.
func program(env []string, args ...string) *exec.Cmd {
	cmd := exec.Command(os.Args[0], args...)
	cmd.Env = append([]string{asProgram + "=1", "PATH=" + os.Getenv("PATH"), "HOME=" + os.Getenv("HOME"), "GORACE=" + os.Getenv("GORACE")}, env...)
	return cmd
}

// lintel runs the program to its end.
func lintel(t *testing.T, env []string, args ...string) (stdout, stderr string, code int) {
	t.Helper()
	cmd := program(env, args...)
	var out, complaint bytes.Buffer
	cmd.Stdout, cmd.Stderr = &out, &complaint
	err := cmd.Run()
	var exit *exec.ExitError
	if err != nil && !errors.As(err, &exit) {
		t.Fatalf("lintel %v: %v", args, err)
	}
	return out.String(), complaint.String(), cmd.ProcessState.ExitCode()
}

// mustLintel runs the program, which has to succeed, and gives what it printed.
func mustLintel(t *testing.T, env []string, args ...string) string {
	t.Helper()
	out, complaint, code := lintel(t, env, args...)
	if code != 0 {
		t.Fatalf("lintel %v: exit code %d: %s", args, code, complaint)
	}
	return out
}

// running is the program while it runs.
type running struct {
	t     *testing.T
	cmd   *exec.Cmd
	lines chan map[string]any // of its log

	mu  sync.Mutex
	log bytes.Buffer
}

// start starts the program; it is killed at the end of the test if it still runs then.
func start(t *testing.T, env []string, args ...string) *running {
	t.Helper()
	r := &running{t: t, cmd: program(env, args...), lines: make(chan map[string]any, 10_000)}
	log, err := r.cmd.StderrPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := r.cmd.Start(); err != nil {
		t.Fatal(err)
	}
	read := make(chan struct{})
	go func() { r.read(log); close(read) }()
	t.Cleanup(func() {
		_ = r.cmd.Process.Kill()
		<-read
		_ = r.cmd.Wait()
		if t.Failed() {
			r.mu.Lock()
			defer r.mu.Unlock()
			t.Logf("the log of lintel %v:\n%s", args, &r.log)
		}
	})
	return r
}

func (r *running) read(log io.Reader) {
	defer close(r.lines)
	for scan := bufio.NewScanner(log); scan.Scan(); {
		r.mu.Lock()
		r.log.WriteString(scan.Text() + "\n")
		r.mu.Unlock()
		var line map[string]any
		if err := json.Unmarshal(scan.Bytes(), &line); err != nil {
			line = map[string]any{"msg": scan.Text()}
		}
		r.lines <- line
	}
}

// logged waits for a line of the log that begins so, and gives it.
func (r *running) logged(message string) map[string]any {
	r.t.Helper()
	for line := range r.lines {
		if text, _ := line["msg"].(string); strings.HasPrefix(text, message) {
			return line
		}
	}
	r.t.Fatalf("the program ended without saying %q", message)
	return nil
}

// address is where it serves.
func (r *running) address() string {
	r.t.Helper()
	address, _ := r.logged("serving")["address"].(string)
	return address
}

// stop sends a signal and gives the exit code.
func (r *running) stop(signal syscall.Signal) int {
	r.t.Helper()
	if err := r.cmd.Process.Signal(signal); err != nil {
		r.t.Fatal(err)
	}
	return r.end()
}

// end waits for the end and gives the exit code, -1 when a signal ended it.
func (r *running) end() int {
	for range r.lines { // until it has closed its log
	}
	_ = r.cmd.Wait()
	return r.cmd.ProcessState.ExitCode()
}
