package main

import (
	"context"
	"net"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"syscall"
	"testing"

	"github.com/alecthomas/kong"
	"go.yaml.in/yaml/v3"

	"lintel.example/lintel/internal/localpg"
)

// compose is what of docker-compose.yml the program can check.
type compose struct {
	Services map[string]service
	Volumes  map[string]any
	Secrets  map[string]any
}

type service struct {
	Image       string
	Init        bool
	Command     []string
	Environment map[string]string
	Volumes     []string
	Secrets     []string
	DependsOn   map[string]struct{ Condition string } `yaml:"depends_on"`
}

// theirs tells whether the service runs somebody else's program.
func (s service) theirs() bool { return !strings.HasPrefix(s.Image, "lintel:") }

func readCompose(t *testing.T) compose {
	t.Helper()
	text, err := os.ReadFile("../../docker-compose.yml")
	if err != nil {
		t.Fatal(err)
	}
	var c compose
	if err := yaml.Unmarshal(text, &c); err != nil {
		t.Fatal(err)
	}
	return c
}

func TestTheComposeFileHoldsTogether(t *testing.T) {
	t.Parallel()
	c := readCompose(t)
	for _, name := range []string{"server", "worker", "database", "mail"} {
		if _, ok := c.Services[name]; !ok {
			t.Errorf("no service %s", name)
		}
	}
	for name, s := range c.Services {
		if !s.Init {
			t.Errorf("%s has no init", name)
		}
		for on, how := range s.DependsOn {
			other, ok := c.Services[on]
			if !ok || !slices.Contains([]string{"service_healthy", "service_completed_successfully"}, how.Condition) || how.Condition == "service_healthy" && !other.theirs() {
				t.Errorf("%s waits for %s to be %q, which cannot come", name, on, how.Condition)
			}
		}
		for _, v := range s.Volumes {
			if volume, _, _ := strings.Cut(v, ":"); c.Volumes == nil {
				t.Errorf("%s: no volume %s", name, volume)
			} else if _, ok := c.Volumes[volume]; !ok {
				t.Errorf("%s: no volume %s", name, volume)
			}
		}
		for _, secret := range s.Secrets {
			if _, ok := c.Secrets[secret]; !ok {
				t.Errorf("%s: no secret %s", name, secret)
			}
		}
	}
}

func TestTheComposeFileSetsOnlyWhatItsCommandsRead(t *testing.T) {
	t.Parallel()
	for name, s := range readCompose(t).Services {
		if s.theirs() {
			continue
		}
		parser, err := kong.New(&commands{}, kong.Exit(func(int) { t.Errorf("%s: the program would exit", name) }))
		if err != nil {
			t.Fatal(err)
		}
		parsed, err := parser.Parse(s.Command)
		if err != nil {
			t.Errorf("%s: %v: %v", name, s.Command, err)
			continue
		}
		var read []string
		for _, f := range parsed.Selected().Flags {
			read = append(read, f.Envs...)
		}
		for variable := range s.Environment {
			if !slices.Contains(read, variable) {
				t.Errorf("%s sets %s, which %s does not read", name, variable, s.Command[0])
			}
		}
	}
}

// here are the places of the containers on this machine.
type here struct {
	database *localpg.Server
	mail     string // address of the mail catcher
	photos   string
	keys     string
}

var inFile = regexp.MustCompile(`\$\{([A-Z_]+)(?::[-?]([^}]*))?\}`)

// environment is a service's own, with the containers' names replaced by what stands for them here.
func (h here) environment(t *testing.T, s service) []string {
	t.Helper()
	var env []string
	for name, value := range s.Environment {
		value = inFile.ReplaceAllStringFunc(value, func(place string) string {
			m := inFile.FindStringSubmatch(place)
			if strings.HasSuffix(m[1], "_PASSWORD") {
				return "abc123"
			}
			return m[2]
		})
		switch name {
		case "LINTEL_DATABASE_URL", "LINTEL_ADMIN_DATABASE_URL":
			u, err := url.Parse(value)
			if err != nil || u.Host != "database:5432" {
				t.Fatalf("%s is %q", name, value)
			}
			value = h.database.URL(u.User.Username(), strings.TrimPrefix(u.Path, "/"))
		case "LINTEL_PHOTO_DIR":
			value = h.photos
		case "LINTEL_KEY_FILE":
			value = h.keys
		case "LINTEL_SMTP_HOST":
			value, _, _ = net.SplitHostPort(h.mail)
		case "LINTEL_SMTP_PORT":
			_, value, _ = net.SplitHostPort(h.mail)
		}
		env = append(env, name+"="+value)
	}
	return env
}

// arguments are a service's own, listening on a free port of this machine alone.
func arguments(s service) []string {
	args := slices.Clone(s.Command)
	if i := slices.Index(args, "--listen"); i >= 0 {
		args[i+1] = "127.0.0.1:0"
	}
	return args
}

func TestTheSameCommandsWithTheSameSettingsRunWithoutContainers(t *testing.T) {
	t.Parallel()
	dir := openFolder(t)
	server, err := localpg.Start(t.Context(), localpg.Options{DataDir: filepath.Join(dir, "database")})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = server.Stop(context.Background()) })
	h := here{database: server, mail: "127.0.0.1:1", photos: filepath.Join(dir, "photos"), keys: filepath.Join(dir, "keys")}
	if err := os.WriteFile(h.keys, []byte(mustLintel(t, nil, "new-key")), 0o600); err != nil {
		t.Fatal(err)
	}
	services := readCompose(t).Services

	for _, name := range []string{"roles", "schema", "roles", "schema"} { // compose runs them at each start
		mustLintel(t, h.environment(t, services[name]), arguments(services[name])...)
	}
	environment := h.environment(t, services["server"])
	mustLintel(t, environment, "administrator", "iris@lintel.example", "Iris")
	if _, complaint, code := lintel(t, environment, "administrator", "other@lintel.example", "Other"); code != 2 || !strings.Contains(complaint, "administrator") {
		t.Errorf("a second first administrator: exit code %d, %s", code, complaint)
	}

	face := start(t, environment, arguments(services["server"])...)
	if status, answer := call(t, "GET", face.address()+"/readyz", "", nil); status != 200 {
		t.Errorf("not ready: %d %v", status, answer)
	}
	worker := start(t, h.environment(t, services["worker"]), arguments(services["worker"])...)
	worker.logged("working")
	for name, r := range map[string]*running{"server": face, "worker": worker} {
		if code := r.stop(syscall.SIGTERM); code != 0 {
			t.Errorf("%s stopped with exit code %d", name, code)
		}
	}
}
