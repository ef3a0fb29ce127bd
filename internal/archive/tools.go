package archive

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"net/url"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"

	"lintel.example/lintel/internal/localpg"
)

// tools are PostgreSQL's own programs, on one database.
type tools struct {
	programs localpg.Binaries
	address  string // without the password
	password string
}

// toolsFor finds programs that know a server of the major version and gives them the address of a database. Passwords
// go by the environment: arguments show in lists of processes.
func toolsFor(binDir string, serverMajor int, databaseURL string) (tools, error) {
	programs, err := localpg.FindTools(binDir, serverMajor)
	if err != nil {
		return tools{}, err
	}
	u, err := url.Parse(databaseURL)
	if err != nil {
		return tools{}, errors.New("the administrator's database address cannot be read") // the error would print it
	}
	t := tools{programs: programs}
	query := u.Query()
	if u.User != nil {
		t.password, _ = u.User.Password()
		u.User = url.User(u.User.Username())
	}
	if query.Has("password") {
		t.password = query.Get("password")
	}
	for name := range query {
		// What only our driver knows, PostgreSQL's programs refuse.
		if name == "password" || strings.HasPrefix(name, "pool_") || strings.HasSuffix(name, "_cache_capacity") || name == "default_query_exec_mode" {
			query.Del(name)
		}
	}
	u.RawQuery = query.Encode()
	t.address = u.String()
	return t, nil
}

// dump writes the database as of a snapshot into a file of pg_dump's custom format.
func (t tools) dump(ctx context.Context, snapshot, file string) error {
	return t.run(ctx, "pg_dump", "--no-password", "--format=custom", "--schema=public", "--snapshot="+snapshot, "--lock-wait-timeout=60s", "--file="+file, "--dbname="+t.address)
}

// readThrough reads a dump to its end, decompressing everything, and brings it nowhere.
func (t tools) readThrough(ctx context.Context, file string) error {
	return t.run(ctx, "pg_restore", "--file=/dev/null", file)
}

// restore brings a dump into an empty database, all of it or nothing. The schema public is there in every
// database, so only what lies in it is brought.
func (t tools) restore(ctx context.Context, file string) error {
	return t.run(ctx, "pg_restore", "--no-password", "--single-transaction", "--exit-on-error", "--schema=public", "--dbname="+t.address, file)
}

// run runs a program to its end; its first complaint becomes the error.
func (t tools) run(ctx context.Context, program string, args ...string) error {
	cmd := exec.CommandContext(ctx, t.programs.Path(program), args...)
	cmd.Env = []string{"LANG=C.UTF-8", "TZ=UTC", "PATH=" + t.programs.Dir + ":/usr/bin:/bin", "PGAPPNAME=lintel " + program, "PGPASSWORD=" + t.password}
	// A Ctrl-C at the terminal is for us; the context ends the program.
	cmd.SysProcAttr = &syscall.SysProcAttr{Setpgid: true}
	var said bytes.Buffer
	cmd.Stdout, cmd.Stderr = &said, &said
	err := cmd.Run()
	switch {
	case ctx.Err() != nil:
		return context.Cause(ctx)
	case err != nil:
		first, _, _ := strings.Cut(strings.TrimSpace(said.String()), "\n")
		return fmt.Errorf("%s: %w: %s", filepath.Base(cmd.Path), err, first)
	}
	return nil
}
