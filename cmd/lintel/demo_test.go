package main

import (
	"bufio"
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"syscall"
	"testing"

	"lintel.example/lintel/internal/localpg"
)

func TestTheDemoTellsItsStoryOnceGoesOnAndStartsOverWhenTold(t *testing.T) {
	t.Parallel()
	dir := filepath.Join(openFolder(t), "demo")
	once := []string{"demo", "--data-dir", dir, "--listen", "127.0.0.1:0", "--once"}

	told := mustLintel(t, nil, once...)
	at := 0
	for n := 1; n <= 12; n++ {
		i := strings.Index(told[at:], fmt.Sprintf("\n%d. ", n))
		if i < 0 {
			t.Fatalf("step %d is missing, or not in its place:\n%s", n, told)
		}
		at += i
	}
	if strings.Contains(told, "⟦") {
		t.Errorf("a text is missing:\n%s", told)
	}
	if pdf, err := os.ReadFile(filepath.Join(dir, "report.pdf")); err != nil || !bytes.HasPrefix(pdf, []byte("%PDF-")) {
		t.Errorf("no report: %v", err)
	}
	if info, err := os.Stat(filepath.Join(dir, "keys")); err != nil || info.Mode().Perm() != 0o600 {
		t.Errorf("the key file: %v, %v", info, err)
	}

	if _, complaint, code := lintel(t, nil, append(once, "--fresh")...); code != 2 || !strings.Contains(complaint, "nothing was thrown away") {
		t.Errorf("started over without an answer: exit code %d, %s", code, complaint)
	}
	again := mustLintel(t, nil, once...)
	if !strings.Contains(again, "goes on as it was left") || strings.Contains(again, "\n1. ") {
		t.Errorf("started again, it told:\n%s", again)
	}
	if err := os.Remove(filepath.Join(dir, toldMark)); err != nil { // as if it had been stopped in the middle
		t.Fatal(err)
	}
	if _, complaint, code := lintel(t, nil, once...); code != 2 || !strings.Contains(complaint, "--fresh") {
		t.Errorf("went on with half a story: exit code %d, %s", code, complaint)
	}
	if over := mustLintel(t, nil, append(once, "--fresh", "--yes")...); !strings.Contains(over, "\n12. ") {
		t.Errorf("started over, it told:\n%s", over)
	}
}

var printedOpen = regexp.MustCompile(`open at (\S+) [^\n]*\nSign in as (\S+) with the one-time password +(\S+) `)

// printedCurl finds the address and the body of each line that the demo says to type.
var printedCurl = regexp.MustCompile(`curl -s '([^']+)'(?: -H '[^']+' -d '([^']+)')?`)

func TestTheDemoStaysOpenForItsVisitorAndStopsEverything(t *testing.T) {
	t.Parallel()
	dir := filepath.Join(openFolder(t), "demo")
	mustLintel(t, nil, "demo", "--data-dir", dir, "--listen", "127.0.0.1:0", "--once")
	demo := program(nil, "demo", "--data-dir", dir, "--listen", "127.0.0.1:0")
	printed, err := demo.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := demo.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = demo.Process.Kill() })
	var told strings.Builder
	lines := bufio.NewReader(printed)
	for !strings.Contains(told.String(), "Ctrl-C") {
		line, err := lines.ReadString('\n')
		if err != nil {
			t.Fatalf("it ended, having told:\n%s", &told)
		}
		told.WriteString(line)
	}
	m := printedOpen.FindStringSubmatch(told.String())
	if m == nil {
		t.Fatalf("no address and password in:\n%s", &told)
	}
	typed := printedCurl.FindAllStringSubmatch(told.String(), -1)
	if len(typed) != 4 || !strings.Contains(typed[0][2], m[3]) {
		t.Fatalf("it says to type %q", typed)
	}
	body := func(step int) (sent any) {
		if err := json.Unmarshal([]byte(typed[step][2]), &sent); err != nil {
			t.Fatalf("%s: %v", typed[step], err)
		}
		return sent
	}
	status, session := call(t, "POST", typed[0][1], "", body(0))
	secret := fmt.Sprint(session["secret"])
	if status != http.StatusCreated {
		t.Fatalf("signing in as it says: %d %v", status, session)
	}
	if status, refused := call(t, "PUT", typed[1][1], secret, body(1)); status/100 != 2 {
		t.Errorf("choosing a password as it says: %d %v", status, refused)
	}
	base, _, _ := strings.Cut(typed[0][1], "/v1/")
	_, orders := call(t, "GET", base+"/v1/work-orders?state=open&limit=1", secret, nil)
	first, _ := orders["work_orders"].([]any)
	if len(first) != 1 {
		t.Fatalf("no open work order: %v", orders)
	}
	door, _ := first[0].(map[string]any)["door_id"].(string)
	if status, fitted := call(t, "GET", base+"/v1/doors/"+door+"/components", secret, nil); len(answer{body: fitted}.list("components")) < 5 {
		t.Errorf("the first order that somebody finds is for a door with %d %v", status, fitted)
	}
	if status, refused := call(t, "POST", typed[3][1], "", body(3)); status != http.StatusCreated {
		t.Errorf("signing in with what was chosen: %d %v", status, refused)
	}
	if status, doors := call(t, "GET", typed[2][1], secret, nil); status != 200 || len(answer{body: doors}.list("doors")) < 4 {
		t.Errorf("the visitor sees %d %v", status, doors)
	}

	if err := demo.Process.Signal(syscall.SIGTERM); err != nil {
		t.Fatal(err)
	}
	_, _ = io.Copy(io.Discard, lines)
	if err := demo.Wait(); err != nil {
		t.Errorf("stopped, it ended with %v", err)
	}
	// The folder is free and no server lives in it: both would be refused here.
	if err := localpg.Discard(t.Context(), filepath.Join(dir, "database")); err != nil {
		t.Error(err)
	}
}
