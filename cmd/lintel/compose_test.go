package main

import (
	"context"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/alecthomas/kong"
	"go.yaml.in/yaml/v3"

	"lintel.example/lintel/internal/localpg"
)

type compose struct {
	Services map[string]struct {
		Image       string
		Init        bool
		Command     []string
		Environment map[string]string
		DependsOn   map[string]any `yaml:"depends_on"`
	}
}

func TestTheComposeFileRunsCommandsThatTheProgramHas(t *testing.T) {
	text, err := os.ReadFile("../../docker-compose.yml")
	if err != nil {
		t.Fatal(err)
	}
	var c compose
	if err := yaml.Unmarshal(text, &c); err != nil {
		t.Fatal(err)
	}
	for _, name := range []string{"server", "worker", "database", "mail"} {
		if _, ok := c.Services[name]; !ok {
			t.Errorf("no service %s", name)
		}
	}
	for name, s := range c.Services {
		if !s.Init {
			t.Errorf("%s has no init: a killed child would stay a zombie and block the next start", name)
		}
		for on := range s.DependsOn {
			if _, ok := c.Services[on]; !ok {
				t.Errorf("%s depends on %s, which is not there", name, on)
			}
		}
		if len(s.Command) == 0 {
			continue
		}
		parser, err := kong.New(&commands{}, kong.Exit(func(int) { t.Errorf("%s: the program would exit", name) }))
		if err != nil {
			t.Fatal(err)
		}
		if _, err := parser.Parse(s.Command); err != nil {
			t.Errorf("%s: %v: %v", name, s.Command, err)
		}
	}
}

func TestTheSameCommandsRunWithoutAContainer(t *testing.T) {
	dir, err := os.MkdirTemp("/var/tmp", "lintel-compose")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = os.RemoveAll(dir) })
	if err := os.Chmod(dir, 0o755); err != nil { // PostgreSQL runs as another user when this is root
		t.Fatal(err)
	}
	server, err := localpg.Start(t.Context(), localpg.Options{DataDir: filepath.Join(dir, "database")})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = server.Stop(context.Background()) })
	t.Setenv("LINTEL_ADMIN_DATABASE_URL", server.URL("postgres", "lintel"))
	t.Setenv("LINTEL_DATABASE_URL", server.URL("lintel_app", "lintel"))
	t.Setenv("LINTEL_PHOTO_DIR", filepath.Join(dir, "photos"))
	for _, command := range [][]string{{"setup"}, {"migrate"}, {"setup"}, {"migrate"}, {"administrator", "iris@lintel.example", "Iris"}, {"job", "due_work_orders", "--as-of", "2026-11-25"}, {"config"}} {
		if code := run(t.Context(), command); code != 0 {
			t.Fatalf("%v: exit code %d", command, code)
		}
	}
	if code := run(t.Context(), []string{"administrator", "other@lintel.example", "Other"}); code != 2 {
		t.Errorf("a second first administrator: exit code %d", code)
	}
	free, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	address := free.Addr().String()
	_ = free.Close()
	ctx, stop := context.WithCancel(t.Context())
	ended := make(chan int, 2)
	go func() { ended <- run(ctx, []string{"serve", "--no-worker", "--listen", address}) }()
	go func() { ended <- run(ctx, []string{"worker"}) }()
	waitReady(t, address)
	stop()
	for range 2 {
		if code := <-ended; code != 0 {
			t.Errorf("server or worker ended with exit code %d", code)
		}
	}
}

func waitReady(t *testing.T, address string) {
	t.Helper()
	for deadline := time.Now().Add(30 * time.Second); time.Now().Before(deadline); time.Sleep(50 * time.Millisecond) {
		res, err := http.Get("http://" + address + "/readyz")
		if err != nil {
			continue
		}
		_ = res.Body.Close()
		if res.StatusCode == http.StatusOK {
			return
		}
	}
	t.Error("the server did not become ready")
}

func TestWrongCommandsSayWhatIsWrongAndExitWithTwo(t *testing.T) {
	t.Setenv("LINTEL_DATABASE_URL", "")
	for _, command := range [][]string{{"nonsense"}, {"serve"}, {"serve", "--listen", "nowhere", "--data-dir", "x"}, {"job", "nothing", "--data-dir", "x"},
		{"job", "due_work_orders", "--as-of", "2026-02-30", "--data-dir", "x"}, {"setup"}, {"migrate"}, {"field", "no-such-file"}} {
		if code := run(t.Context(), command); code != 2 {
			t.Errorf("%v: exit code %d, want 2", command, code)
		}
	}
}
