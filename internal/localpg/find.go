package localpg

import (
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
)

// oldestMajor is the oldest PostgreSQL that the program's SQL is tried on.
const oldestMajor = 15

// Binaries is one installation of PostgreSQL's server programs.
type Binaries struct {
	Dir   string // the folder that holds postgres and initdb
	Major int    // 15, 16, …
}

// Path is where the named program of this installation is.
func (b Binaries) Path(program string) string { return filepath.Join(b.Dir, program) }

// Find gives the installation to use: the one in binDir when that is not empty, and no other; else the first one of
// version 15 or newer out of pg_config's, Debian's (newest first) and PATH's.
func Find(binDir string) (Binaries, error) {
	b, err := find(binDir, 0)
	if err != nil {
		return Binaries{}, fmt.Errorf("localpg: %w", err)
	}
	return b, nil
}

// find is Find, but takes only an installation of the given major version when that is not 0.
func find(binDir string, major int) (Binaries, error) {
	var seen []string
	for _, dir := range candidates(binDir, "postgres") {
		b, err := inspect(dir, "postgres", "initdb")
		if err != nil {
			seen = append(seen, err.Error())
			continue
		}
		if b.Major >= oldestMajor && (major == 0 || b.Major == major) {
			return b, nil
		}
		seen = append(seen, fmt.Sprintf("%s is version %d", dir, b.Major))
	}
	wanted := fmt.Sprintf("version %d or newer", oldestMajor)
	if major != 0 {
		wanted = fmt.Sprintf("version %d", major)
	}
	if len(seen) == 0 {
		seen = []string{"none found"}
	}
	return Binaries{}, fmt.Errorf("PostgreSQL's server programs of %s are needed: %s", wanted, strings.Join(seen, "; "))
}

// FindTools gives an installation of PostgreSQL's programs for backups, pg_dump and pg_restore, that knows a server of
// the given major version: one of the same or a newer version. The clients' package is enough. binDir is as for Find.
func FindTools(binDir string, serverMajor int) (Binaries, error) {
	var seen []string
	for _, dir := range candidates(binDir, "pg_dump") {
		b, err := inspect(dir, "pg_dump", "pg_restore")
		if err == nil && b.Major >= serverMajor {
			return b, nil
		}
		if err == nil {
			err = fmt.Errorf("%s is version %d", dir, b.Major)
		}
		seen = append(seen, err.Error())
	}
	if len(seen) == 0 {
		seen = []string{"none found"}
	}
	return Binaries{}, fmt.Errorf("localpg: PostgreSQL's programs pg_dump and pg_restore of version %d or newer are needed: %s", serverMajor, strings.Join(seen, "; "))
}

// candidates lists the folders that hold the program, best first, each once.
func candidates(binDir, program string) []string {
	if binDir != "" {
		return []string{binDir}
	}
	var dirs []string
	if out, err := exec.Command("pg_config", "--bindir").Output(); err == nil {
		dirs = append(dirs, strings.TrimSpace(string(out)))
	}
	debian, _ := filepath.Glob("/usr/lib/postgresql/*/bin")
	slices.SortFunc(debian, func(a, b string) int { return majorOfDebianDir(b) - majorOfDebianDir(a) })
	dirs = append(dirs, debian...)
	if path, err := exec.LookPath(program); err == nil {
		if real, err := filepath.EvalSymlinks(path); err == nil {
			dirs = append(dirs, filepath.Dir(real))
		}
	}

	var once []string
	for _, dir := range dirs {
		// pg_config comes with the client's headers too, so its folder may hold no server at all.
		if _, err := os.Stat(filepath.Join(dir, program)); err == nil && !slices.Contains(once, dir) {
			once = append(once, dir)
		}
	}
	return once
}

func majorOfDebianDir(dir string) int {
	n, _ := strconv.Atoi(filepath.Base(filepath.Dir(dir)))
	return n
}

// inspect sees that the programs are in dir and asks the first for its version.
func inspect(dir string, programs ...string) (Binaries, error) {
	for _, program := range programs {
		if _, err := os.Stat(filepath.Join(dir, program)); err != nil {
			return Binaries{}, fmt.Errorf("%s has no program %s", dir, program)
		}
	}
	out, err := exec.CommandContext(context.Background(), filepath.Join(dir, programs[0]), "--version").Output()
	if err != nil {
		return Binaries{}, fmt.Errorf("%s does not run: %w", filepath.Join(dir, programs[0]), err)
	}
	major, err := parseMajor(string(out))
	if err != nil {
		return Binaries{}, fmt.Errorf("%s: %w", dir, err)
	}
	return Binaries{Dir: dir, Major: major}, nil
}

var versionLine = regexp.MustCompile(`^(?:postgres|pg_dump) \(PostgreSQL\) ([0-9]{1,4})`)

// parseMajor reads the line that "postgres --version" or "pg_dump --version" prints: "postgres (PostgreSQL) 15.14 (Debian …)", "… 18beta1".
func parseMajor(line string) (int, error) {
	m := versionLine.FindStringSubmatch(line)
	if m == nil {
		return 0, errors.New("its program does not say which version it is")
	}
	return strconv.Atoi(m[1])
}
