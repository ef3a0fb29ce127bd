package localpg

import "testing"

func TestParseMajor(t *testing.T) {
	for line, want := range map[string]int{
		"postgres (PostgreSQL) 15.14 (Debian 15.14-0+deb12u1)\n": 15,
		"postgres (PostgreSQL) 18beta1\n":                        18,
		"postgres (PostgreSQL) 17devel":                          17,
		"postgres (PostgreSQL) 9.6.24":                           9,
	} {
		if got, err := parseMajor(line); err != nil || got != want {
			t.Errorf("%q: got %d, %v; want %d", line, got, err, want)
		}
	}
	for _, line := range []string{"", "psql (PostgreSQL) 15.1", "postgres (PostgreSQL) x", "15"} {
		if got, err := parseMajor(line); err == nil {
			t.Errorf("%q: got %d, want an error", line, got)
		}
	}
}

func FuzzParseMajor(f *testing.F) {
	for _, line := range []string{"postgres (PostgreSQL) 15.14", "postgres (PostgreSQL) 99999999999999999999", "postgres (PostgreSQL) -1", "\x00"} {
		f.Add(line)
	}
	f.Fuzz(func(t *testing.T, line string) {
		if n, err := parseMajor(line); err == nil && n < 0 {
			t.Errorf("%q: version %d", line, n)
		}
	})
}

func TestComplaint(t *testing.T) {
	for output, want := range map[string]string{
		"": "",
		"2026-01-01 00:00:00 UTC [1] LOG:  starting\n2026-01-01 00:00:00 UTC [2] FATAL:  the database system is starting up\n" +
			"2026-01-01 00:00:00 UTC [3] PANIC:  could not locate a valid checkpoint record\n2026-01-01 00:00:00 UTC [1] LOG:  aborting\n": "could not locate a valid checkpoint record",
		"running bootstrap script ...\ninitdb: error: invalid locale name\ninitdb: removing data directory\n": "invalid locale name",
		"one\ntwo\n": "two",
	} {
		if got := complaint(output); got != want {
			t.Errorf("got %q, want %q", got, want)
		}
	}
}
