package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

func TestAnExportFillsAnotherInstallationAndPeopleSignInThereAgain(t *testing.T) {
	t.Parallel()
	dir, parent := toldDemo(t), openFolder(t)
	first, fresh, again := filepath.Join(parent, "first"), filepath.Join(parent, "fresh"), filepath.Join(parent, "again")
	out, progress, code := lintel(t, nil, "export", first, "--data-dir", dir)
	if code != 0 || !strings.Contains(out, "1 photos") || !strings.Contains(progress, "door: 4 rows\n") {
		t.Fatalf("exit code %d: %s%s", code, out, progress)
	}
	if out := mustLintel(t, nil, "refill", first, "--data-dir", fresh); !strings.Contains(out, "lintel password") {
		t.Errorf("refill says %q", out)
	}
	mustLintel(t, nil, "export", again, "--data-dir", fresh)
	for _, name := range []string{"SHA256SUMS", "manifest.json"} {
		one, err1 := os.ReadFile(filepath.Join(first, name))
		other, err2 := os.ReadFile(filepath.Join(again, name))
		if err1 != nil || err2 != nil || string(one) != string(other) {
			t.Errorf("%s differs, %v, %v:\n%s\n%s", name, err1, err2, one, other)
		}
	}

	server := start(t, []string{"LINTEL_DATA_DIR=" + fresh, "LINTEL_LISTEN=127.0.0.1:0"}, "serve", "--no-worker")
	base := server.address()
	given := mustLintel(t, nil, "password", "iris@calder-moss.example", "--data-dir", fresh) // beside the service
	given = strings.TrimSpace(given)
	secret := signIn(t, base, "iris@calder-moss.example", given[strings.LastIndex(given, "\n")+1:])
	if status, doors := call(t, "GET", base+"/v1/doors", secret, nil); status != 200 || len(doors["doors"].([]any)) != 4 {
		t.Errorf("doors: %d %v", status, doors)
	}
	if _, complaint, code := lintel(t, nil, "refill", first, "--data-dir", fresh); code != 2 || strings.Count(complaint, "\n") != 1 || !strings.Contains(complaint, "not empty") {
		t.Errorf("into what is in use: exit code %d, %s", code, complaint)
	}
	if _, complaint, code := lintel(t, nil, "export", first, "--data-dir", fresh); code != 2 || !strings.Contains(complaint, "not empty") {
		t.Errorf("over another export: exit code %d, %s", code, complaint)
	}
}
