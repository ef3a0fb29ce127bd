package main

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"log/slog"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"lintel.example/lintel/internal/store"
	"lintel.example/lintel/internal/store/storetest"
)

// environment is what serve needs to run on a test's database.
func environment(t *testing.T, db storetest.DB) []string {
	return []string{"LINTEL_DATABASE_URL=" + db.AppURL, "LINTEL_PHOTO_DIR=" + t.TempDir(), "LINTEL_LISTEN=127.0.0.1:0"}
}

// call sends a request with a body of JSON and gives status and answer.
func call(t *testing.T, method, url, secret string, body any) (int, map[string]any) {
	t.Helper()
	var data bytes.Buffer
	if body != nil {
		if err := json.NewEncoder(&data).Encode(body); err != nil {
			t.Fatal(err)
		}
	}
	r, err := http.NewRequestWithContext(t.Context(), method, url, &data)
	if err != nil {
		t.Fatal(err)
	}
	if body != nil {
		r.Header.Set("Content-Type", "application/json")
	}
	if secret != "" {
		r.Header.Set("Authorization", "Bearer "+secret)
	}
	res, err := http.DefaultClient.Do(r)
	if err != nil {
		t.Fatal(err)
	}
	defer res.Body.Close()
	text, err := io.ReadAll(res.Body)
	if err != nil {
		t.Fatal(err)
	}
	answer := map[string]any{"": string(text)}
	_ = json.Unmarshal(text, &answer)
	return res.StatusCode, answer
}

// signIn signs in with a one-time password and chooses another; it gives the session's secret.
func signIn(t *testing.T, base, email, oneTime string) string {
	t.Helper()
	status, session := call(t, "POST", base+"/v1/sessions", "", object{"email": email, "password": oneTime})
	if status != http.StatusCreated {
		t.Fatalf("sign-in: %d %v", status, session)
	}
	secret := fmt.Sprint(session["secret"])
	if status, refused := call(t, "GET", base+"/v1/customers", secret, nil); status != http.StatusForbidden || refused["code"] != "password_change_needed" {
		t.Fatalf("a one-time password opens more than its change: %d %v", status, refused)
	}
	if status, refused := call(t, "PUT", base+"/v1/me/password", secret, object{"present": oneTime, "next": "a window over the harbour"}); status/100 != 2 {
		t.Fatalf("password: %d %v", status, refused)
	}
	return secret
}

func TestServeAnswersFromTheFirstAdministratorToAKeptCustomer(t *testing.T) {
	t.Parallel()
	env := environment(t, storetest.New(t))
	printed := mustLintel(t, env, "administrator", "iris@lintel.example", "Iris")
	lines := strings.Split(strings.TrimSpace(printed), "\n")
	oneTime := lines[len(lines)-1]

	server := start(t, env, "serve")
	base := server.address()
	secret := signIn(t, base, "iris@lintel.example", oneTime)
	customer := base + "/v1/customers/01950000-0000-7000-8000-00000000c057"
	for _, want := range []int{http.StatusCreated, http.StatusOK} {
		if status, answer := call(t, "PUT", customer, secret, object{"name": "Quayside Markets"}); status != want {
			t.Fatalf("put: %d %v, want %d", status, answer, want)
		}
	}
	if code := server.stop(syscall.SIGTERM); code != 0 {
		t.Fatalf("stopped with exit code %d", code)
	}

	second := start(t, env, "serve", "--no-worker")
	customer = strings.Replace(customer, base, second.address(), 1)
	if status, answer := call(t, "GET", customer, secret, nil); status != http.StatusOK || answer["name"] != "Quayside Markets" {
		t.Errorf("after a restart: %d %v", status, answer)
	}
	if code := second.stop(syscall.SIGINT); code != 0 {
		t.Errorf("interrupted with exit code %d", code)
	}
}

func TestHealthReadinessAndMetricsAreTold(t *testing.T) {
	t.Parallel()
	env := environment(t, storetest.New(t))
	mustLintel(t, env, "job", "due_work_orders", "--as-of", "2026-03-03")
	env = append(env, "LINTEL_METRICS_LISTEN=127.0.0.1:0")
	server := start(t, env, "serve", "--no-worker")
	figures, _ := server.logged("telling figures")["address"].(string)
	base := server.address()
	for path, want := range map[string]string{"/healthz": "alive\n", "/readyz": "ready\n"} {
		if status, answer := call(t, "GET", base+path, "", nil); status != http.StatusOK || answer[""] != want {
			t.Errorf("%s: %d %q", path, status, answer[""])
		}
	}
	if status, answer := call(t, "GET", base+"/metrics", "", nil); status != http.StatusNotFound {
		t.Errorf("the figures are told to whoever reaches the API: %d %v", status, answer)
	}
	_, answer := call(t, "GET", figures, "", nil)
	for _, want := range []string{`lintel_request_seconds_count{method="GET",route="/readyz",status="200"} 1`, `lintel_database_connections_most{pool="requests"}`,
		`lintel_job_last_success_timestamp_seconds{job="due_work_orders"} 1.`, `lintel_job_missed{job="due_work_orders"} `,
		`lintel_job_missed{job="queue_notices"} 1`, "go_goroutines "} {
		if !strings.Contains(fmt.Sprint(answer[""]), want) {
			t.Errorf("the metrics lack %s", want)
		}
	}
	if strings.Contains(fmt.Sprint(answer[""]), `lintel_job_last_success_timestamp_seconds{job="queue_notices"`) {
		t.Error("a job that never ran has a last success")
	}
}

func TestAJobByHandRunsOnceForADay(t *testing.T) {
	t.Parallel()
	env := environment(t, storetest.New(t))
	if out := mustLintel(t, env, "job", "due_work_orders", "--as-of", "2026-03-03"); !strings.Contains(out, "done") {
		t.Errorf("the first run printed %q", out)
	}
	if out := mustLintel(t, env, "job", "due_work_orders", "--as-of", "2026-03-03"); !strings.Contains(out, "nothing to do") {
		t.Errorf("the second run printed %q", out)
	}
}

func TestWorkerWorksOffTheCalendarAndLeavesInOrder(t *testing.T) {
	t.Parallel()
	db := storetest.New(t)
	worker := start(t, environment(t, db), "worker")
	worker.logged("working")
	done := func() (n int) {
		if err := db.Admin.QueryRow(t.Context(), "select count(*) from job_run where state = 'done'").Scan(&n); err != nil {
			t.Fatal(err)
		}
		return n
	}
	for done() < 2 { // both jobs of the table are due on a new database
		time.Sleep(50 * time.Millisecond)
	}
	if code := worker.stop(syscall.SIGTERM); code != 0 {
		t.Errorf("exit code %d", code)
	}
}

func TestServeSaysAtItsStartThatCodesCannotBeKept(t *testing.T) {
	t.Parallel()
	env := environment(t, storetest.New(t))
	if line := start(t, env, "serve", "--no-worker").logged("no key file"); line["level"] != "WARN" || line["setting"] != "LINTEL_KEY_FILE" {
		t.Errorf("it says %v", line)
	}
	keys := filepath.Join(t.TempDir(), "keys")
	if err := os.WriteFile(keys, []byte(mustLintel(t, nil, "new-key")), 0o600); err != nil {
		t.Fatal(err)
	}
	server := start(t, append(env, "LINTEL_KEY_FILE="+keys), "serve", "--no-worker")
	server.address()
	server.mu.Lock()
	defer server.mu.Unlock()
	if strings.Contains(server.log.String(), "no key file") {
		t.Error("with a key file it warns too")
	}
}

func TestServeRefusesASchemaThatItDoesNotKnow(t *testing.T) {
	t.Parallel()
	db := storetest.New(t)
	for version, says := range map[int]string{store.LatestVersion() - 1: "run migrate", store.LatestVersion() + 1: "newer program"} {
		if _, err := db.Admin.Exec(t.Context(), "update schema_migrations set version = $1", version); err != nil {
			t.Fatal(err)
		}
		if _, complaint, code := lintel(t, environment(t, db), "serve"); code != 1 || !strings.Contains(complaint, says) {
			t.Errorf("version %d: exit code %d, %s", version, code, complaint)
		}
	}
}

func TestAProcessThatIsToldToStopIsNotReadyButStillAnswers(t *testing.T) {
	t.Parallel()
	h := &house{log: slog.New(slog.DiscardHandler)}
	ctx, tell := context.WithCancel(t.Context())
	serving := h.leaving(ctx, time.Hour)
	if h.left.Load() {
		t.Fatal("not ready before it was told to stop")
	}
	tell()
	for !h.left.Load() {
		time.Sleep(time.Millisecond)
	}
	if err := h.ready(t.Context()); err == nil {
		t.Error("told to stop, and ready")
	}
	if serving.Err() != nil {
		t.Error("it stopped listening at once")
	}
	at := &house{log: slog.New(slog.DiscardHandler)}
	<-at.leaving(ctx, 0).Done()
}

func TestARunningRequestIsAnsweredBeforeTheProcessEnds(t *testing.T) {
	t.Parallel()
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	entered, finish := make(chan struct{}), make(chan struct{})
	ctx, tell := context.WithCancel(t.Context())
	ended := make(chan error, 1)
	go func() {
		ended <- serve(ctx, listener, http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
			close(entered)
			<-finish
			_, _ = io.WriteString(w, "kept")
		}))
	}()
	answered := make(chan string, 1)
	go func() {
		res, err := http.Get("http://" + listener.Addr().String())
		if err != nil {
			answered <- err.Error()
			return
		}
		defer res.Body.Close()
		text, _ := io.ReadAll(res.Body)
		answered <- string(text)
	}()
	<-entered
	tell()
	select {
	case err := <-ended:
		t.Fatalf("ended with a request running: %v", err)
	case <-time.After(100 * time.Millisecond):
	}
	close(finish)
	if text := <-answered; text != "kept" {
		t.Errorf("the running request got %q", text)
	}
	if err := <-ended; err != nil {
		t.Error(err)
	}
}

// openFolder makes a folder that PostgreSQL may enter when it runs as another user, because this is root.
func openFolder(t *testing.T) string {
	t.Helper()
	dir, err := os.MkdirTemp("/var/tmp", "lintel-test-")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = os.RemoveAll(dir) })
	if err := os.Chmod(dir, 0o755); err != nil {
		t.Fatal(err)
	}
	return dir
}

func TestServeWithAPrivateDatabaseEndsWithItAndFindsEverythingAgain(t *testing.T) {
	t.Parallel()
	dir := filepath.Join(openFolder(t), "data")
	env := []string{"LINTEL_DATA_DIR=" + dir, "LINTEL_LISTEN=127.0.0.1:0"}
	mustLintel(t, env, "administrator", "iris@lintel.example", "Iris")

	server := start(t, env, "serve")
	server.address()
	if _, complaint, code := lintel(t, env, "worker"); code != 1 || !strings.Contains(complaint, "in use by process "+strconv.Itoa(server.cmd.Process.Pid)) {
		t.Errorf("a second process on the same folder: exit code %d, %s", code, complaint)
	}
	if out := mustLintel(t, env, "password", "iris@lintel.example"); !strings.Contains(out, "iris@lintel.example may sign in") {
		t.Errorf("beside the server: %s", out)
	}
	if out := mustLintel(t, env, "job", "send_notices"); !strings.Contains(out, "0 notices") {
		t.Errorf("beside the server: %s", out)
	}
	postmaster, err := os.ReadFile(filepath.Join(dir, "database", "data", "postmaster.pid"))
	if err != nil {
		t.Fatal(err)
	}
	first, _, _ := strings.Cut(string(postmaster), "\n")
	pid, err := strconv.Atoi(first)
	if err != nil {
		t.Fatal(err)
	}
	if err := syscall.Kill(pid, syscall.SIGKILL); err != nil {
		t.Fatal(err)
	}
	server.logged("the private PostgreSQL has ended")
	if code := server.end(); code != 1 {
		t.Errorf("its database died, and it ended with exit code %d", code)
	}
	if _, complaint, code := lintel(t, env, "administrator", "other@lintel.example", "Other"); code != 2 || !strings.Contains(complaint, "administrator") {
		t.Errorf("the first administrator was forgotten: exit code %d, %s", code, complaint)
	}
}
