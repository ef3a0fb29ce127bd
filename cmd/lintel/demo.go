package main

import (
	"bufio"
	"bytes"
	"context"
	"crypto/rand"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/identity"
	"lintel.example/lintel/internal/localpg"
	"lintel.example/lintel/internal/notify/mailcatcher"
	"lintel.example/lintel/internal/words"
)

// demoCmd plays one door's story on a private PostgreSQL, through the API, and leaves the service open.
type demoCmd struct {
	DataDir     string `default:".demo" placeholder:"DIR" help:"Folder of the demo: database, photos, key, report."`
	PostgresBin string `env:"LINTEL_POSTGRES_BIN" placeholder:"DIR" help:"Folder of PostgreSQL's programs; found by itself if empty."`
	Listen      string `default:"127.0.0.1:8080" help:"Address of the service."`
	Fresh       bool   `help:"Ask, then throw the demo's data away and start over."`
	Yes         bool   `help:"With --fresh: do not ask."`
	Once        bool   `help:"End after the story instead of leaving the service open."`
	Year        bool   `help:"Instead of the story: a year of the invented company, told by those who work in it, and end. In a folder without a demo."`
	Fleet       bool   `help:"After the story, fill the register with an invented company: 40 sites, 400 doors, three years of history."`
}

// visitor is the person who is left to look around, with a one-time password that nobody has used.
const visitor = "visitor@calder-moss.example"

// inspector is the technician of the story, by whose eyes an inspection can be tried.
const inspector = "tomas@calder-moss.example"

// demoRolePrefix begins the names of the demo's database roles.
const demoRolePrefix = "lintel"

// Run plays the story if the data folder is new, else goes on where it was left.
func (c *demoCmd) Run(ctx context.Context) error {
	if err := checkListen("--listen", c.Listen); err != nil {
		return err
	}
	dir, err := filepath.Abs(c.DataDir)
	if err != nil {
		return err
	}
	if c.Fresh {
		if err := c.startOver(ctx, dir); err != nil {
			return err
		}
	}
	catcher, err := mailcatcher.Listen("127.0.0.1:0", nil, mailcatcher.Hooks{})
	if err != nil {
		return err
	}
	defer catcher.Close()
	s, err := demoSettings(dir, c.PostgresBin, catcher.Address())
	if err != nil {
		return err
	}
	logFile, err := os.OpenFile(filepath.Join(dir, "service.log"), os.O_CREATE|os.O_APPEND|os.O_WRONLY, 0o644)
	if err != nil {
		return err
	}
	defer logFile.Close()
	if c.Year {
		return tellYear(ctx, s, catcher, dir, slog.New(slog.NewJSONHandler(logFile, nil)))
	}
	h, err := open(ctx, s, asHost, slog.New(slog.NewJSONHandler(logFile, nil)))
	if err != nil {
		return err
	}
	defer func() { _ = h.close(context.WithoutCancel(ctx)) }()
	return c.play(ctx, h, catcher, dir)
}

// play serves, tells the story, and stays open until it is told to stop.
func (c *demoCmd) play(ctx context.Context, h *house, catcher *mailcatcher.Catcher, dir string) error {
	listener, err := net.Listen("tcp", c.Listen)
	if err != nil {
		return fmt.Errorf("listen: %w", err)
	}
	ctx, end := h.whileDatabaseLives(ctx)
	defer end()
	serving, stop := context.WithCancel(ctx)
	defer stop()
	ended := make(chan error, 1)
	face, err := h.face()
	if err != nil {
		return err
	}
	go func() { ended <- serve(serving, listener, face) }()
	t := &teller{ctx: ctx, texts: h.words.Printer("en", words.Metric), base: "http://" + listener.Addr().String(), house: h, catcher: catcher, dir: dir, out: os.Stdout}
	password, err := t.tell()
	var bad badInput
	switch {
	case errors.As(err, &bad):
		return err
	case err != nil:
		return fmt.Errorf("the story broke off: %w", err)
	}
	if c.Fleet {
		if err := t.fillFleet(); err != nil {
			return err
		}
	}
	if err := h.worker(ctx); err != nil { // after the story, which runs the jobs itself to show them
		return err
	}
	inspectors, err := t.passwordAgain(inspector)
	if err != nil {
		return err
	}
	t.say("inspector", "email", inspector, "password", inspectors)
	t.say("open", "address", t.base, "email", visitor, "password", password, "commands", firstSteps(t.base, visitor, password))
	if c.Once {
		stop()
	}
	return errors.Join(<-ended, endedBy(ctx))
}

// firstSteps are the lines to type: sign in and keep the session's secret, choose a password, look around, and sign in with
// the chosen one later on.
func firstSteps(base, email, oneTime string) string {
	const chosen = "a sentence of my own, long enough"
	post := func(path, body string) string {
		return fmt.Sprintf(`curl -s '%s%s' -H 'Content-Type: application/json' -d '%s'`, base, path, body)
	}
	signIn := func(password string) string {
		return fmt.Sprintf(`secret=$(%s | sed -E 's/.*"secret":"([^"]+)".*/\1/')`, post("/v1/sessions", fmt.Sprintf(`{"email":"%s","password":"%s"}`, email, password)))
	}
	return strings.Join([]string{
		signIn(oneTime),
		post("/v1/me/password", fmt.Sprintf(`{"present":"%s","next":"%s"}`, oneTime, chosen)) + ` -X PUT -H "Authorization: Bearer $secret"`,
		fmt.Sprintf(`curl -s '%s/v1/doors' -H "Authorization: Bearer $secret"`, base),
		signIn(chosen),
	}, "\n  ")
}

// startOver throws the demo's data away after asking.
func (c *demoCmd) startOver(ctx context.Context, dir string) error {
	if _, err := os.Stat(dir); errors.Is(err, os.ErrNotExist) {
		return nil
	}
	if !c.Yes {
		fmt.Printf("Everything in %s will be thrown away. Type yes to go on: ", dir)
		answer, err := bufio.NewReader(os.Stdin).ReadString('\n')
		if err != nil || strings.TrimSpace(answer) != "yes" {
			return badInput{errors.New("nothing was thrown away")}
		}
	}
	if err := localpg.Discard(ctx, filepath.Join(dir, "database")); err != nil && !errors.Is(err, os.ErrNotExist) {
		return err
	}
	for _, name := range []string{"photos", "keys", "service.log", "report.pdf", "backups", toldMark, fleetMark} {
		if err := os.RemoveAll(filepath.Join(dir, name)); err != nil {
			return err
		}
	}
	return nil
}

// demoSettings makes the demo's folder and key file, and settings that use the mail catcher.
func demoSettings(dir, postgresBin, smtp string) (*settings, error) {
	// PostgreSQL runs as another user when this is root: the folder must be open to it.
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return nil, err
	}
	keys := filepath.Join(dir, "keys")
	if _, err := os.Stat(keys); errors.Is(err, os.ErrNotExist) {
		line, err := identity.NewKey(rand.Reader)
		if err != nil {
			return nil, err
		}
		if err := os.WriteFile(keys, []byte(line+"\n"), 0o600); err != nil {
			return nil, err
		}
	}
	host, port, err := net.SplitHostPort(smtp)
	if err != nil {
		return nil, err
	}
	s := &settings{DataDir: dir, PostgresBin: postgresBin, RolePrefix: demoRolePrefix, KeyFile: keys, SMTPHost: host, SMTPTLS: "none", MailFrom: "Calder & Moss Door Service <service@calder-moss.example>",
		CompanyName: "Calder & Moss Door Service", CompanyAddress: "18 Foundry Lane, Millhaven", CompanyPhone: "+1 555 0142", CompanyLicence: "demo, not a real company"}
	_, err = fmt.Sscan(port, &s.SMTPPort)
	return s, errors.Join(err, s.check())
}

// teller tells the story: who does what through the API, and what it answers.
type teller struct {
	ctx     context.Context
	texts   words.Printer
	base    string
	house   *house
	catcher *mailcatcher.Catcher
	dir     string
	out     io.Writer
	begun   time.Time
}

// say tells one sentence.
func (t *teller) say(key string, args ...any) {
	fmt.Fprintln(t.out, t.texts.T("demo."+key, args...))
}

// person is somebody of the story, signed in.
type person struct {
	t      *teller
	id     uuid.UUID
	name   string
	secret string
}

// answer is what the API answered.
type answer struct {
	status int
	etag   string
	body   map[string]any
	raw    []byte
}

// text digs a text out of the answer by its members.
func (a answer) text(path ...string) string {
	var v any = a.body
	for _, step := range path {
		m, _ := v.(map[string]any)
		v = m[step]
	}
	if v == nil {
		return ""
	}
	return fmt.Sprint(v)
}

// list gives the objects in a member.
func (a answer) list(member string) []map[string]any {
	items, _ := a.body[member].([]any)
	out := make([]map[string]any, 0, len(items))
	for _, i := range items {
		if m, ok := i.(map[string]any); ok {
			out = append(out, m)
		}
	}
	return out
}

// ask sends a request as somebody; a body that is bytes goes as a picture.
func (p *person) ask(method, path string, body any, header ...string) (answer, error) {
	var data []byte
	mediaType := "application/json"
	switch b := body.(type) {
	case nil:
	case []byte:
		data, mediaType = b, "image/png"
	default:
		var err error
		if data, err = json.Marshal(b); err != nil {
			return answer{}, err
		}
	}
	r, err := http.NewRequestWithContext(p.t.ctx, method, p.t.base+path, bytes.NewReader(data))
	if err != nil {
		return answer{}, err
	}
	if body != nil {
		r.Header.Set("Content-Type", mediaType)
	}
	if p.secret != "" {
		r.Header.Set("Authorization", "Bearer "+p.secret)
	}
	for i := 0; i+1 < len(header); i += 2 {
		r.Header.Set(header[i], header[i+1])
	}
	res, err := http.DefaultClient.Do(r)
	if err != nil {
		return answer{}, err
	}
	defer res.Body.Close()
	a := answer{status: res.StatusCode, etag: res.Header.Get("ETag")}
	if a.raw, err = io.ReadAll(res.Body); err != nil {
		return a, err
	}
	_ = json.Unmarshal(a.raw, &a.body) // a picture or a PDF is no JSON
	return a, nil
}

// must sends a request that has to succeed with one of the statuses; none given: any 2xx.
func (p *person) must(method, path string, body any, statuses ...int) (answer, error) {
	a, err := p.ask(method, path, body)
	if err != nil {
		return a, err
	}
	for _, s := range statuses {
		if a.status == s {
			return a, nil
		}
	}
	if len(statuses) == 0 && a.status/100 == 2 {
		return a, nil
	}
	return a, fmt.Errorf("%s: %s %s answered %d: %s", p.name, method, path, a.status, a.raw)
}

// object is a JSON object.
type object = map[string]any
