package main

import (
	"os"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/alecthomas/kong"
)

var setting = regexp.MustCompile(`LINTEL_[A-Z_]*[A-Z]`)

// settingsAndCommands are all that the program has.
func settingsAndCommands(t *testing.T) (settings, names map[string]bool) {
	t.Helper()
	parser, err := kong.New(&commands{})
	if err != nil {
		t.Fatal(err)
	}
	settings, names = map[string]bool{}, map[string]bool{}
	for _, command := range parser.Model.Children {
		names[command.Name] = true
		for _, f := range command.Flags {
			for _, env := range f.Envs {
				settings[env] = true
			}
		}
	}
	return settings, names
}

func TestTheReadmeNamesEveryCommandAndEverySetting(t *testing.T) {
	text, err := os.ReadFile("../../README.md")
	if err != nil {
		t.Fatal(err)
	}
	settings, names := settingsAndCommands(t)
	for name := range names {
		if !strings.Contains(string(text), "`lintel "+name) {
			t.Errorf("README.md does not name the command %s", name)
		}
	}
	for name := range settings {
		short := name // `LINTEL_SMTP_HOST`, `_PORT`
		if i := strings.LastIndex(name, "SMTP_"); i > 0 {
			short = name[i+4:]
		} else if i := strings.LastIndex(name, "COMPANY_"); i > 0 {
			short = name[i+7:]
		}
		if !strings.Contains(string(text), "`"+name+"`") && !strings.Contains(string(text), "`"+short+"`") {
			t.Errorf("README.md does not name the setting %s", name)
		}
	}
}

func TestNoPageNamesASettingThatTheProgramDoesNotHave(t *testing.T) {
	settings, _ := settingsAndCommands(t)
	for _, name := range []string{"LINTEL_TEST_DATABASE_URL", "LINTEL_TEST_KEEP", "LINTEL_DRILLS", "LINTEL_LOOKS"} { // of the tests
		settings[name] = true
	}
	for _, page := range []string{"README.md", "DEVELOPERS.md", "docker-compose.yml", "deploy/lintel.service", "deploy/Dockerfile", "deploy/demo", "deploy/test", "deploy/need"} {
		text, err := os.ReadFile("../../" + page)
		if err != nil {
			t.Fatal(err)
		}
		for _, name := range setting.FindAllString(string(text), -1) {
			if !settings[name] {
				t.Errorf("%s names %s, which the program does not read", page, name)
			}
		}
	}
}

// licences are those that a library may have: permissive, or copyleft by file.
func licences() []string {
	return []string{"MIT", "BSD-3-Clause", "Apache-2.0", "MPL-2.0", "MIT and Apache-2.0"}
}

func TestEveryLibraryIsListedWithALicenceThatWeMayUse(t *testing.T) {
	page, err := os.ReadFile("../../DEVELOPERS.md")
	if err != nil {
		t.Fatal(err)
	}
	listed := map[string]string{}
	for _, m := range regexp.MustCompile(`(?m)^\| ([a-z]+(?:\.[a-z]+)+/\S+) \| ([^|]+) \|`).FindAllStringSubmatch(string(page), -1) {
		listed[m[1]] = m[2]
	}
	modules, err := os.ReadFile("../../go.mod")
	if err != nil {
		t.Fatal(err)
	}
	for line := range strings.Lines(string(modules)) {
		name, _, _ := strings.Cut(strings.TrimSpace(line), " v")
		if !strings.HasPrefix(line, "\t") || strings.Contains(line, "// indirect") {
			continue
		}
		if !slices.Contains(licences(), listed[name]) {
			t.Errorf("%s: DEVELOPERS.md lists the licence %q", name, listed[name])
		}
		delete(listed, name)
	}
	for name := range listed {
		t.Errorf("DEVELOPERS.md lists %s, which go.mod does not name", name)
	}
}
