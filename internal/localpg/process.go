package localpg

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"os/exec"
	"os/user"
	"path/filepath"
	"runtime"
	"strconv"
	"strings"
	"syscall"
	"time"
)

// account is the operating system's user that the server runs as.
type account struct {
	name     string
	uid, gid int
	other    bool // not this process's own user: the child drops to it
}

// accountFor gives this process's own user, or, when that is root, the named one: PostgreSQL refuses to run as root.
func accountFor(name string) (account, error) {
	if os.Geteuid() != 0 {
		return account{name: strconv.Itoa(os.Geteuid()), uid: os.Geteuid(), gid: os.Getegid()}, nil
	}
	if name == "" {
		name = "postgres"
	}
	u, err := user.Lookup(name)
	if err != nil {
		return account{}, fmt.Errorf("localpg: PostgreSQL does not run as root, and there is no user %q to run it as: make one, or start this program as an ordinary user", name)
	}
	uid, err1 := strconv.Atoi(u.Uid)
	gid, err2 := strconv.Atoi(u.Gid)
	if err := errors.Join(err1, err2); err != nil {
		return account{}, fmt.Errorf("localpg: user %q: %w", name, err)
	}
	if uid == 0 {
		return account{}, fmt.Errorf("localpg: user %q is root, and PostgreSQL does not run as root", name)
	}
	return account{name: name, uid: uid, gid: gid, other: true}, nil
}

// mayEnter says which folder on the way to dir the account may not pass, by the mode bits alone.
func (a account) mayEnter(dir string) error {
	if !a.other {
		return nil
	}
	for ; ; dir = filepath.Dir(dir) {
		info, err := os.Stat(dir)
		if err != nil {
			return fmt.Errorf("localpg: %w", err)
		}
		owner := info.Sys().(*syscall.Stat_t)
		bit := fs.FileMode(0o001)
		switch {
		case int(owner.Uid) == a.uid:
			bit = 0o100
		case int(owner.Gid) == a.gid:
			bit = 0o010
		}
		if info.Mode()&bit == 0 {
			return fmt.Errorf("localpg: user %s, whom the server runs as, may not enter %s (mode %04o): name a data folder elsewhere", a.name, dir, info.Mode().Perm())
		}
		if dir == filepath.Dir(dir) {
			return nil
		}
	}
}

// mkdir makes a folder for the account alone. One that is there already, it may have been cut off before it was
// handed over, is handed over again.
func (a account) mkdir(dir string) error {
	if err := os.Mkdir(dir, 0o700); err != nil && !errors.Is(err, fs.ErrExist) {
		return fmt.Errorf("localpg: %w", err)
	}
	if a.other {
		if err := os.Lchown(dir, a.uid, a.gid); err != nil {
			return fmt.Errorf("localpg: %w", err)
		}
	}
	return nil
}

// mustOwn refuses data that another user's server made: PostgreSQL would, in many more words.
func (a account) mustOwn(dir string) error {
	info, err := os.Stat(dir)
	if err != nil {
		return fmt.Errorf("localpg: %w", err)
	}
	if owner := int(info.Sys().(*syscall.Stat_t).Uid); owner != a.uid {
		return fmt.Errorf("localpg: %s belongs to user %d, but the server would run as user %d: start this program as the user that it was made by", dir, owner, a.uid)
	}
	return nil
}

// command is one of PostgreSQL's programs with the account's rights, a small environment (the server needs none of
// our secrets), its own process group (a Ctrl-C at the terminal is for us, and we stop the server in order), and a
// fast shutdown when this process dies.
func (d dataDir) command(b Binaries, as account, program string, args ...string) *exec.Cmd {
	cmd := exec.Command(b.Path(program), args...)
	cmd.Dir = d.root
	cmd.Env = []string{"LANG=C.UTF-8", "TZ=UTC", "PATH=" + b.Dir + ":/usr/bin:/bin"}
	cmd.SysProcAttr = &syscall.SysProcAttr{Setpgid: true, Pdeathsig: syscall.SIGINT}
	if as.other {
		cmd.SysProcAttr.Credential = &syscall.Credential{Uid: uint32(as.uid), Gid: uint32(as.gid), Groups: []uint32{}}
	}
	return cmd
}

// process is a started program. err may be read once exited is closed.
type process struct {
	cmd    *exec.Cmd
	exited chan struct{}
	err    error
}

// launch starts the command and waits for its end in a goroutine.
//
// The parent-death signal belongs to the THREAD that forked: were it an ordinary thread of Go's, the runtime could
// retire it at any time and the server would stop for no reason. So one goroutine forks, keeps its thread to itself
// and lives as long as the child.
func launch(cmd *exec.Cmd) (*process, error) {
	p := &process{cmd: cmd, exited: make(chan struct{})}
	started := make(chan error, 1)
	go func() {
		runtime.LockOSThread()
		err := cmd.Start()
		started <- err
		if err != nil {
			return
		}
		p.err = cmd.Wait()
		close(p.exited)
	}()
	if err := <-started; err != nil {
		return nil, err
	}
	return p, nil
}

// run launches a program that is to end by itself; its complaint becomes the error's text.
func run(ctx context.Context, cmd *exec.Cmd) error {
	var out bytes.Buffer
	cmd.Stdout, cmd.Stderr = &out, &out
	cmd.WaitDelay = 5 * time.Second
	p, err := launch(cmd)
	if err != nil {
		return err
	}
	select {
	case <-p.exited:
	case <-ctx.Done():
		_ = cmd.Process.Signal(syscall.SIGINT)
		<-p.exited
		return context.Cause(ctx)
	}
	if p.err != nil {
		return fmt.Errorf("%s: %w: %s", filepath.Base(cmd.Path), p.err, complaint(out.String()))
	}
	return nil
}

// complaint picks the line out of a program's output that says what is wrong: the first that is marked as an error,
// but for the server's answers to our own early attempts to connect; else the last line.
func complaint(output string) string {
	last := ""
	for line := range strings.Lines(output) {
		last = strings.TrimSpace(line)
		if strings.Contains(line, "the database system is ") {
			continue
		}
		for _, mark := range []string{"FATAL:", "PANIC:", "error:"} {
			if _, what, found := strings.Cut(last, mark); found {
				return strings.TrimSpace(what)
			}
		}
	}
	return last
}
