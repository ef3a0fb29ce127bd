package drills

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"runtime"
	"strconv"
	"strings"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"lintel.example/lintel/internal/localpg"
)

// object is a JSON object.
type object = map[string]any

// patience is how long anything may take before a drill gives up; nothing is measured against it.
const patience = 90 * time.Second

// world is a company at work: PostgreSQL and the server as processes of their own, a proxy before each user of the
// database, and a small register.
type world struct {
	ctx      context.Context
	dir      string
	binary   string
	database *database
	server   *server
	atServer *proxy // between the server and PostgreSQL
	atJob    *proxy // between jobs that are run by hand and PostgreSQL
	half     *traps // in the uploads of photos

	dispatcher, technician *person
	site                   uuid.UUID
	doors                  []uuid.UUID // that are visited
	plans                  []plan      // of doors that nobody visits, aDay on each day from firstDue on
	firstDue               time.Time
}

// aDay is how many doors fall due on each day.
const aDay = 3

// plan is an inspection that falls due.
type plan struct {
	door uuid.UUID
	due  time.Time
}

// newWorld builds the program, starts everything and fills the register: doors to visit, and for each of the last
// days, yesterday included, a few doors whose inspection fell due then.
func newWorld(t *testing.T, doors, days int) *world {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), 30*time.Minute)
	t.Cleanup(cancel)
	// Not t.TempDir: PostgreSQL may run as another user, who must be able to come in, and a socket's path must be short.
	dir, err := os.MkdirTemp("/var/tmp", "lintel-drills-")
	if err != nil {
		t.Fatal(err)
	}
	w := &world{ctx: ctx, dir: dir, binary: filepath.Join(dir, "lintel"), half: &traps{}, firstDue: time.Now().UTC().Truncate(24*time.Hour).AddDate(0, 0, -days)}
	w.database = &database{options: localpg.Options{DataDir: filepath.Join(dir, "pg"), Durable: true}}
	w.server = &server{world: w}
	t.Cleanup(func() { w.end(t) })
	for _, step := range []func() error{w.build, w.database.start, w.placeProxies, w.install, w.server.start, w.people, w.register(doors, days)} {
		if err := step(); err != nil {
			t.Fatal(err)
		}
	}
	return w
}

// end stops what still runs, shows what the server last said when the test has failed, and removes everything.
func (w *world) end(t *testing.T) {
	if t.Failed() {
		t.Logf("the server's last words:\n%s", w.server.lastWords())
	}
	w.server.kill()
	ctx, cancel := context.WithTimeout(context.Background(), patience)
	defer cancel()
	if w.database.running != nil {
		_ = w.database.running.Stop(ctx)
	}
	for _, p := range []*proxy{w.atServer, w.atJob} {
		if p != nil {
			_ = p.listener.Close()
		}
	}
	_ = os.RemoveAll(w.dir)
}

func (w *world) build() error {
	if err := os.Chmod(w.dir, 0o755); err != nil {
		return err
	}
	cmd := exec.CommandContext(w.ctx, "go", "build", "-ldflags=-s -w", "-o", w.binary, "lintel.example/lintel/cmd/lintel")
	if out, err := cmd.CombinedOutput(); err != nil {
		return fmt.Errorf("build: %w\n%s", err, out)
	}
	return nil
}

func (w *world) placeProxies() (err error) {
	socket := filepath.Join(w.dir, "pg", "socket", ".s.PGSQL.5432")
	if w.atServer, err = newProxy(filepath.Join(w.dir, "s"), socket); err != nil {
		return err
	}
	w.atJob, err = newProxy(filepath.Join(w.dir, "j"), socket)
	return err
}

// lintel is a command of the program that reaches its database through the proxy.
func (w *world) lintel(through *proxy, args ...string) *exec.Cmd {
	cmd := exec.Command(w.binary, args...)
	for _, e := range os.Environ() {
		if !strings.HasPrefix(e, "LINTEL_") && !strings.HasPrefix(e, "PG") {
			cmd.Env = append(cmd.Env, e)
		}
	}
	address := url.URL{Scheme: "postgres", User: url.User("lintel_app"), Path: "/lintel",
		RawQuery: url.Values{"host": {filepath.Dir(through.listener.Addr().String())}, "port": {"5432"}}.Encode()}
	cmd.Env = append(cmd.Env, "LINTEL_DATABASE_URL="+address.String(), "LINTEL_ADMIN_DATABASE_URL="+w.database.running.URL("postgres", "lintel"),
		"LINTEL_PHOTO_DIR="+filepath.Join(w.dir, "photos"), "LINTEL_COMPANY_NAME=Drill Doors (invented)")
	return cmd
}

// install makes the database, its schema and the administrator, whose one-time password is the last line.
func (w *world) install() error {
	var last []byte
	for _, command := range [][]string{{"setup"}, {"migrate"}, {"administrator", "ada@drill.example", "Ada Vance"}} {
		out, err := w.lintel(w.atServer, command...).CombinedOutput()
		if err != nil {
			return fmt.Errorf("lintel %s: %w\n%s", command[0], err, out)
		}
		last = out
	}
	lines := strings.Split(strings.TrimSpace(string(last)), "\n")
	return os.WriteFile(filepath.Join(w.dir, "one-time-password"), []byte(lines[len(lines)-1]), 0o600)
}

// sql opens a connection as superuser, past the proxies.
func (w *world) sql() (*pgx.Conn, error) {
	return pgx.Connect(w.ctx, w.database.running.URL("postgres", "lintel"))
}

// exec changes the database behind the program's back.
func (w *world) exec(statement string, args ...any) error {
	conn, err := w.sql()
	if err != nil {
		return err
	}
	defer conn.Close(w.ctx)
	_, err = conn.Exec(w.ctx, statement, args...)
	return err
}

// database is PostgreSQL.
type database struct {
	options localpg.Options
	running *localpg.Server
}

func (d *database) start() (err error) {
	ctx, cancel := context.WithTimeout(context.Background(), patience)
	defer cancel()
	if d.running != nil { // dead; its folder is given free
		if err := d.running.Stop(ctx); err != nil {
			return err
		}
	}
	d.running, err = localpg.Start(ctx, d.options)
	return err
}

// kill kills PostgreSQL's first process, then all its children.
func (d *database) kill() {
	text, _ := os.ReadFile(filepath.Join(d.options.DataDir, "data", "postmaster.pid"))
	first, _, _ := strings.Cut(string(text), "\n")
	if pid, err := strconv.Atoi(first); err == nil && d.owns(pid) {
		_ = syscall.Kill(pid, syscall.SIGKILL)
	}
	<-d.running.Done()
	entries, _ := os.ReadDir("/proc")
	for _, e := range entries {
		if pid, err := strconv.Atoi(e.Name()); err == nil && d.owns(pid) {
			_ = syscall.Kill(pid, syscall.SIGKILL)
		}
	}
}

// owns tells whether a process works in our data folder.
func (d *database) owns(pid int) bool {
	cwd, err := os.Readlink(fmt.Sprintf("/proc/%d/cwd", pid))
	return err == nil && cwd == filepath.Join(d.options.DataDir, "data")
}

// process is a child that dies with us.
type process struct {
	cmd    *exec.Cmd
	out    *os.File
	exited chan struct{}
	err    error // once exited
}

// launch starts a program whose output goes to a file.
func launch(cmd *exec.Cmd, output string) (*process, error) {
	out, err := os.Create(output)
	if err != nil {
		return nil, err
	}
	cmd.Stdout, cmd.Stderr = out, out
	cmd.SysProcAttr = &syscall.SysProcAttr{Pdeathsig: syscall.SIGKILL}
	p := &process{cmd: cmd, out: out, exited: make(chan struct{})}
	started := make(chan error)
	go func() {
		runtime.LockOSThread() // the signal is sent when the thread that started the child ends
		defer out.Close()
		err := cmd.Start()
		started <- err
		if err == nil {
			p.err = cmd.Wait()
			close(p.exited)
		}
	}()
	return p, <-started
}

// kill kills without warning and waits for the end.
func (p *process) kill() {
	_ = p.cmd.Process.Kill()
	<-p.exited
}

func (p *process) said() string {
	text, _ := os.ReadFile(p.out.Name())
	return string(text)
}

// server is lintel serve.
type server struct {
	world   *world
	worker  bool // it works off the jobs, too
	starts  int
	process *process
	address atomic.Value // string; of the last that was started
}

var announced = regexp.MustCompile(`"msg":"serving","address":"([^"]+)"`)

// start starts the server and returns when it says that it is ready.
func (s *server) start() error {
	s.starts++
	args := []string{"serve", "--listen", "127.0.0.1:0"}
	if !s.worker {
		args = append(args, "--no-worker")
	}
	p, err := launch(s.world.lintel(s.world.atServer, args...), filepath.Join(s.world.dir, fmt.Sprintf("serve-%d.log", s.starts)))
	if err != nil {
		return err
	}
	s.process = p
	for {
		if m := announced.FindStringSubmatch(p.said()); m != nil {
			s.address.Store(m[1])
			return s.ready()
		}
		select {
		case <-p.exited:
			return fmt.Errorf("the server ended: %v\n%s", p.err, p.said())
		case <-s.world.ctx.Done():
			return context.Cause(s.world.ctx)
		case <-time.After(5 * time.Millisecond):
		}
	}
}

// ready waits until /readyz answers 200.
func (s *server) ready() error {
	var status int
	var err error
	for end := time.Now().Add(patience); time.Now().Before(end); time.Sleep(10 * time.Millisecond) {
		if status, err = s.readiness(); status == http.StatusOK {
			return nil
		}
	}
	return fmt.Errorf("the server does not get ready: /readyz answers %d, %w", status, err)
}

// readiness is what /readyz answers.
func (s *server) readiness() (status int, err error) {
	res, err := http.Get(s.url("/readyz"))
	if err != nil {
		return 0, err
	}
	return res.StatusCode, res.Body.Close()
}

func (s *server) url(path string) string { return s.address.Load().(string) + path }

func (s *server) kill() {
	if s.process != nil {
		s.process.kill()
	}
}

// lastWords are what the server last said that is not about single requests.
func (s *server) lastWords() string {
	if s.process == nil {
		return ""
	}
	var words []string
	for line := range strings.Lines(s.process.said()) {
		if !strings.Contains(line, `"msg":"request"`) && !strings.Contains(line, `"msg":"refused"`) {
			words = append(words, line)
		}
	}
	return strings.Join(words[max(0, len(words)-20):], "")
}

// person asks the API as somebody.
type person struct {
	server *server
	id     string
	secret string
}

// ask sends one request. An answer is only one when it has arrived whole.
func (p *person) ask(ctx context.Context, method, path, mediaType string, body io.Reader, size int) (status int, answer []byte, err error) {
	r, err := http.NewRequestWithContext(ctx, method, p.server.url(path), body)
	if err != nil {
		return 0, nil, err
	}
	r.ContentLength = int64(size)
	r.Header.Set("Content-Type", mediaType)
	if p.secret != "" {
		r.Header.Set("Authorization", "Bearer "+p.secret)
	}
	res, err := http.DefaultClient.Do(r)
	if err != nil {
		return 0, nil, err
	}
	defer res.Body.Close()
	answer, err = io.ReadAll(res.Body)
	return res.StatusCode, answer, err
}

// must sends JSON and reads the answer, which has to be a success.
func (p *person) must(method, path string, body any) (object, error) {
	data, err := json.Marshal(body)
	if err != nil {
		return nil, err
	}
	status, raw, err := p.ask(p.server.world.ctx, method, path, "application/json", bytes.NewReader(data), len(data))
	if err != nil {
		return nil, err
	}
	if status/100 != 2 {
		return nil, fmt.Errorf("%s %s answered %d: %s", method, path, status, raw)
	}
	answer := object{}
	if len(raw) == 0 {
		return answer, nil
	}
	return answer, json.Unmarshal(raw, &answer)
}

// signIn signs somebody in with a one-time password, and chooses another.
func (w *world) signIn(email, oneTime string) (*person, error) {
	p := &person{server: w.server}
	a, err := p.must(http.MethodPost, "/v1/sessions", object{"email": email, "password": oneTime})
	if err != nil {
		return nil, err
	}
	p.id, p.secret = fmt.Sprint(a["person_id"]), fmt.Sprint(a["secret"])
	_, err = p.must(http.MethodPut, "/v1/me/password", object{"present": oneTime, "next": "seven quiet kestrels over " + email[:3]})
	return p, err
}

// people makes a dispatcher and a technician with a certificate.
func (w *world) people() error {
	password, err := os.ReadFile(filepath.Join(w.dir, "one-time-password"))
	if err != nil {
		return err
	}
	administrator, err := w.signIn("ada@drill.example", string(password))
	if err != nil {
		return err
	}
	hire := func(name, email, role string) (*person, error) {
		a, err := administrator.must(http.MethodPut, "/v1/people/"+newID(), object{"email": email, "name": name, "role": role, "scope_kind": "all"})
		if err != nil {
			return nil, err
		}
		return w.signIn(email, fmt.Sprint(a["one_time_password"]))
	}
	if w.dispatcher, err = hire("Dora Finch", "dora@drill.example", "dispatcher"); err != nil {
		return err
	}
	if w.technician, err = hire("Theo Marsh", "theo@drill.example", "technician"); err != nil {
		return err
	}
	_, err = w.dispatcher.must(http.MethodPut, "/v1/people/"+w.technician.id+"/qualifications/"+newID(), object{"scheme": "Certified inspector (invented scheme)",
		"number": "T-11", "valid_from": time.Now().UTC().AddDate(-1, 0, 0).Format(time.DateOnly)})
	return err
}

// register brings in one site with its doors.
func (w *world) register(visited, days int) func() error {
	return func() error {
		customer := newID()
		w.site = uuid.MustParse(newID())
		if _, err := w.dispatcher.must(http.MethodPut, "/v1/customers/"+customer, object{"name": "Copperfield Halls"}); err != nil {
			return err
		}
		if _, err := w.dispatcher.must(http.MethodPut, "/v1/sites/"+w.site.String(), object{"customer_id": customer, "name": "East hall", "address": "9 Copper Lane",
			"city": "Millhaven", "country": "US", "jurisdiction": "US-IL", "time_zone": "America/Chicago"}); err != nil {
			return err
		}
		for i := range visited {
			door, err := w.door(fmt.Sprintf("Visited %d", i))
			if err != nil {
				return err
			}
			w.doors = append(w.doors, door)
		}
		for i := range days * aDay {
			door, err := w.door(fmt.Sprintf("Planned %d", i))
			if err != nil {
				return err
			}
			p := plan{door: door, due: w.firstDue.AddDate(0, 0, i/aDay)}
			if _, err := w.dispatcher.must(http.MethodPut, "/v1/doors/"+door.String()+"/plans/"+newID(), object{"interval_months": 12, "regime": "anniversary",
				"tolerance_days": 30, "lead_days": 0, "anchor_on": p.due.Format(time.DateOnly), "active": true}); err != nil {
				return err
			}
			w.plans = append(w.plans, p)
		}
		return nil
	}
}

func (w *world) door(name string) (uuid.UUID, error) {
	id := uuid.MustParse(newID())
	yearAgo := time.Now().UTC().AddDate(-1, 0, 0)
	side := func(label string) object { return object{"label": label, "activation": "knowing_act"} }
	_, err := w.dispatcher.must(http.MethodPut, "/v1/doors/"+id.String(), object{"site_id": w.site, "name": name, "reason": "Taken over.", "effective_at": yearAgo,
		"facts": object{"kind": "swinging", "energy": "low", "traffic": "two_way", "presence_by": "none", "side_a": side("outside"), "side_b": side("inside"),
			"clear_width_m": object{"entered": "36 in", "basis": "measured"}, "guide_rails": "none",
			"rule_basis": object{"pack": "a156.19@2013", "since": yearAgo.Format(time.DateOnly), "why": "Edition in force when it was installed."},
			"leaves":     []object{{"motion": "swing", "hinge": "left", "opens_towards": "b", "width_m": object{"entered": "38 in", "basis": "measured"}, "mass_kg": object{"value": 58, "basis": "assumed"}}}}})
	return id, err
}

func newID() string { return uuid.Must(uuid.NewV7()).String() }
