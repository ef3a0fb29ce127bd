package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

func TestWhatIsWrongIsToldInOneLineWithExitCodeTwo(t *testing.T) {
	open := filepath.Join(t.TempDir(), "keys")
	if err := os.WriteFile(open, []byte("k:x\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	database, photos := "LINTEL_DATABASE_URL=postgres://lintel_app@127.0.0.1:1/lintel", "LINTEL_PHOTO_DIR=/nowhere"
	for name, c := range map[string]struct {
		env  []string
		args []string
		says string
	}{
		"unknown command":                        {nil, []string{"nonsense"}, "nonsense"},
		"unknown flag":                           {nil, []string{"serve", "--colour"}, "--colour"},
		"missing argument":                       {nil, []string{"field"}, "<file>"},
		"no database":                            {nil, []string{"serve"}, "LINTEL_DATABASE_URL"},
		"address of something":                   {[]string{"LINTEL_DATABASE_URL=mysql://x", photos}, []string{"worker"}, "LINTEL_DATABASE_URL is not a postgres:// address"},
		"address without a port":                 {[]string{database, photos}, []string{"serve", "--listen", "nowhere"}, "LINTEL_LISTEN"},
		"port that there is not":                 {[]string{database, photos}, []string{"serve", "--listen", "127.0.0.1:999999"}, "LINTEL_LISTEN"},
		"figures on no port":                     {[]string{database, photos, "LINTEL_METRICS_LISTEN=9090"}, []string{"worker"}, "LINTEL_METRICS_LISTEN"},
		"mail catcher on no address":             {nil, []string{"mail-catcher", "--listen", "999999"}, "--listen"},
		"administrator without an address":       {[]string{database, photos}, []string{"administrator", "bad-mail", "Name"}, "address"},
		"duration without a unit":                {[]string{database, photos, "LINTEL_LEAVE=5"}, []string{"serve"}, "LINTEL_LEAVE"},
		"mail without a sender":                  {[]string{database, photos, "LINTEL_SMTP_HOST=mail"}, []string{"worker"}, "smtp: from"},
		"key file that all read":                 {[]string{database, photos, "LINTEL_KEY_FILE=" + open}, []string{"worker"}, "0600"},
		"no place for photos":                    {[]string{database}, []string{"worker"}, "LINTEL_PHOTO_DIR"},
		"unknown job":                            {[]string{database}, []string{"job", "tea"}, "due_work_orders"},
		"day that does not exist":                {[]string{database}, []string{"job", "due_work_orders", "--as-of", "2026-02-30"}, "--as-of"},
		"no administrator to log in as, setup":   {nil, []string{"setup"}, "LINTEL_ADMIN_DATABASE_URL"},
		"no administrator to log in as, migrate": {nil, []string{"migrate"}, "LINTEL_ADMIN_DATABASE_URL"},
		"file that is not there":                 {nil, []string{"field", "no-such-file"}, "no-such-file"},
		"secret as a flag":                       {nil, []string{"serve", "--database-url", "postgres://lintel_app:hush@db/lintel"}, "--database-url"},
	} {
		t.Run(name, func(t *testing.T) {
			out, complaint, code := lintel(t, c.env, c.args...)
			if code != 2 || out != "" || strings.Count(complaint, "\n") != 1 || !strings.HasPrefix(complaint, "lintel: ") || !strings.Contains(complaint, c.says) {
				t.Errorf("exit code %d, printed %q, complained %q; want 2, nothing, one line with %q", code, out, complaint, c.says)
			}
		})
	}
}

func TestAnAdministratorWhoCannotBeMadeLeavesNoDatabaseBehind(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "data")
	if _, complaint, code := lintel(t, []string{"LINTEL_DATA_DIR=" + dir}, "administrator", "bad-mail", ""); code != 2 || strings.Count(complaint, "\n") != 1 {
		t.Errorf("exit code %d, %s", code, complaint)
	}
	if _, err := os.Stat(dir); err == nil {
		t.Error("a data folder was made")
	}
}

func TestEveryFaultOfTheSettingsIsNamedAtOnce(t *testing.T) {
	_, complaint, code := lintel(t, []string{"LINTEL_ADMIN_DATABASE_URL=x", "LINTEL_SMTP_HOST=mail", "LINTEL_KEY_FILE=/nowhere"}, "serve", "--listen", "x")
	for _, want := range []string{"LINTEL_DATABASE_URL", "LINTEL_ADMIN_DATABASE_URL", "smtp: from", "/nowhere", "LINTEL_LISTEN"} {
		if !strings.Contains(complaint, want) {
			t.Errorf("%s is missing in:\n%s", want, complaint)
		}
	}
	if code != 2 {
		t.Errorf("exit code %d", code)
	}
}

func TestConfigShowsWhatIsInForceAndFromWhereButNoSecret(t *testing.T) {
	env := []string{"LINTEL_DATABASE_URL=postgres://lintel_app:hush-hush@db/lintel", "LINTEL_PHOTO_DIR=/from/environment", "LINTEL_COMPANY_NAME=Env & Co", "LINTEL_SMTP_HOTS=typo"}
	out := mustLintel(t, env, "config", "--company-name", "Flag & Co")
	for name, want := range map[string][]string{
		"LINTEL_DATABASE_URL":       {`"set"`, "environment"},
		"LINTEL_ADMIN_DATABASE_URL": {`"not set"`, "default"},
		"LINTEL_PHOTO_DIR":          {`"/from/environment"`, "environment"},
		"LINTEL_COMPANY_NAME":       {`"Flag & Co"`, "flag"},
		"LINTEL_LISTEN":             {`"127.0.0.1:8080"`, "default"},
		"LINTEL_SMTP_HOTS":          {"does not read it"},
	} {
		found := false
		for line := range strings.Lines(out) {
			if strings.HasPrefix(line, name+" ") {
				found = true
				for _, w := range want {
					if !strings.Contains(line, w) {
						t.Errorf("%s lacks %s", line, w)
					}
				}
			}
		}
		if !found {
			t.Errorf("no line for %s in:\n%s", name, out)
		}
	}
	if strings.Contains(out, "hush") {
		t.Errorf("the secret is shown:\n%s", out)
	}
}
