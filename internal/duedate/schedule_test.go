package duedate

import (
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"
)

func TestScheduleFiresInUTC(t *testing.T) {
	newYork, err := time.LoadLocation("America/New_York")
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct{ line, after, want string }{
		{"15 4 * * *", "2026-03-28T00:00:00Z", "2026-03-28T04:15:00Z"},
		{"CRON_TZ=UTC 15 4 * * *", "2026-03-28T04:15:00Z", "2026-03-29T04:15:00Z"}, // strictly after
		{"30 2 * * *", "2026-03-08T02:29:59Z", "2026-03-08T02:30:00Z"},             // clocks that change elsewhere do not matter
		{"@daily", "2026-02-28T12:00:00Z", "2026-03-01T00:00:00Z"},
		{"0 0 29 2 *", "2096-03-01T00:00:00Z", "2104-02-29T00:00:00Z"}, // 2100 is no leap year
		{"0 0 1 * 1", "2026-03-01T00:00:00Z", "2026-03-02T00:00:00Z"},  // the 1st, or any Monday
	} {
		got := schedule(t, c.line).Next(instant(t, c.after).In(newYork))
		if want := instant(t, c.want); !got.Equal(want) || got.Location() != time.UTC {
			t.Errorf("%q after %s: %v, want %s", c.line, c.after, got, c.want)
		}
	}
}

func TestParseScheduleSaysWhatIsWrong(t *testing.T) {
	for _, c := range []struct{ line, want string }{
		{"", "empty"},
		{"* * * *", "5 fields"},
		{"0 15 4 * * *", "5 fields"},
		{"60 4 * * *", "60"},
		{"*/0 4 * * *", "step"},
		{"0 0 30 2 *", "never fires"},
		{"0 0 31 2,4,6,9,11 *", "never fires"},
		{"@every 5m", "counts from when it was started"},
		{"@reboot", "reboot"},
		{"TZ=", "names a zone"},
		{"TZ=Europe/Berlin 0 4 * * *", "names a zone"},
		{"CRON_TZ=America/New_York 0 4 * * *", "names a zone"},
		{"CRON_TZ=UTC CRON_TZ=Europe/Berlin 0 4 * * *", "names a zone"},
		{strings.Repeat("1,", 300) + "1 * * * *", "longer than 512 bytes"},
	} {
		_, err := ParseSchedule(c.line)
		if err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("ParseSchedule(%.60q): %v, want an error with %q", c.line, err, c.want)
		}
	}
}

func TestDueInstantsAreThoseAfterTheFirstUpToTheLast(t *testing.T) {
	for _, c := range []struct {
		line, after, until string
		most               int
		want               string
		more               bool
	}{
		{"15 4 * * *", "2026-03-01T04:15:00Z", "2026-03-04T04:15:00Z", 10, "03-02T04:15 03-03T04:15 03-04T04:15", false},
		{"15 4 * * *", "2026-03-01T04:14:59Z", "2026-03-03T04:14:59Z", 10, "03-01T04:15 03-02T04:15", false},
		{"15 4 * * *", "2026-03-01T04:15:00Z", "2026-03-02T04:14:59Z", 10, "", false},
		{"15 4 * * *", "2020-03-01T00:00:00Z", "2026-03-04T12:00:00Z", 2, "03-03T04:15 03-04T04:15", true},
		{"15 4 * * *", "2026-03-04T00:00:00Z", "2026-03-01T00:00:00Z", 10, "", false},
		{"15 4 * * *", "2026-03-01T00:00:00Z", "2026-03-01T12:00:00Z", 0, "", true},
		{"0 0 29 2 *", "2093-01-01T00:00:00Z", "2105-01-01T00:00:00Z", 10, "02-29T00:00 02-29T00:00", false},
	} {
		got, more := schedule(t, c.line).DueInstants(instant(t, c.after), instant(t, c.until), c.most)
		texts := make([]string, len(got))
		for i, due := range got {
			texts[i] = due.Format("01-02T15:04")
		}
		if strings.Join(texts, " ") != c.want || more != c.more {
			t.Errorf("%q from %s to %s: %v (more %v), want %s (more %v)", c.line, c.after, c.until, texts, more, c.want, c.more)
		}
	}
}

func TestLatestIsTheOneThatAJobOfACivilDateNeeds(t *testing.T) {
	daily := schedule(t, "15 4 * * *")
	due, ok := daily.Latest(instant(t, "2026-01-01T04:15:00Z"), instant(t, "2026-02-10T09:00:00Z"))
	if !ok || !due.Equal(instant(t, "2026-02-10T04:15:00Z")) {
		t.Errorf("after 40 days of standstill: %v, %v", due, ok)
	}
	if due, ok := daily.Latest(due, instant(t, "2026-02-10T09:00:01Z")); ok {
		t.Errorf("due again at once: %v", due)
	}
}

func TestDueInstantsAgreeWithWalkingForward(t *testing.T) {
	lines := []string{"* * * * *", "*/7 3 * * *", "15 4 * * *", "0 0 1 * *", "0 0 29 2 *", "5 5 31 * *", "0 0 1 1 *", "1-3 12 * 6 2", "59 23 31 12 *"}
	rapid.Check(t, func(t *rapid.T) {
		s, err := ParseSchedule(rapid.SampledFrom(lines).Draw(t, "line"))
		if err != nil {
			t.Fatal(err)
		}
		after := time.Unix(rapid.Int64Range(0, 5_000_000_000).Draw(t, "after"), rapid.Int64Range(0, 999_999_999).Draw(t, "ns"))
		var forward []time.Time
		for next := after; len(forward) < 20; {
			next = s.Next(next)
			forward = append(forward, next)
		}
		count := rapid.IntRange(0, 19).Draw(t, "count")
		until := forward[count].Add(-time.Nanosecond) // all before number `count`
		got, more := s.DueInstants(after, until, 20)
		if more || !slices.EqualFunc(got, forward[:count], time.Time.Equal) {
			t.Fatalf("%v, %v: got %v (more %v), want %v", s, after, got, more, forward[:count])
		}
		if previous := s.Previous(forward[count]); !previous.Equal(forward[count]) {
			t.Fatalf("%v: previous of a due instant %v is %v, want itself", s, forward[count], previous)
		}
		most := rapid.IntRange(0, count).Draw(t, "most")
		got, more = s.DueInstants(after, until, most)
		if more != (most < count) || !slices.EqualFunc(got, forward[count-most:count], time.Time.Equal) {
			t.Fatalf("%v: the latest %d are %v (more %v), want %v", s, most, got, more, forward[count-most:count])
		}
	})
}

func FuzzParseSchedule(f *testing.F) {
	for _, line := range []string{"15 4 * * *", "CRON_TZ=UTC 15 4 * * *", "@daily", "@every 1s", "0 0 30 2 *", "TZ=", "CRON_TZ=UTC ", "*/5 0-23/2 1,15 jan-dec mon", "? ? ? ? ?", "1-0 * * * *", "\x00", "0 0 29 2 *"} {
		f.Add(line)
	}
	from := time.Date(2026, time.March, 1, 4, 15, 0, 0, time.UTC)
	f.Fuzz(func(t *testing.T, line string) {
		s, err := ParseSchedule(line)
		if err != nil {
			if len(err.Error()) > 2000 {
				t.Fatalf("an error of %d bytes", len(err.Error()))
			}
			return
		}
		next := s.Next(from)
		if !next.After(from) || next.Location() != time.UTC || next.Second() != 0 {
			t.Fatalf("%q after %v is due at %v", line, from, next)
		}
		if got := s.Previous(next); !got.Equal(next) {
			t.Fatalf("%q: previous of %v is %v", line, next, got)
		}
		if got := s.Previous(next.Add(-time.Second)); got.After(from) {
			t.Fatalf("%q: due at %v, between %v and its next %v", line, got, from, next)
		}
		again, err := ParseSchedule(s.String())
		if err != nil || !again.Next(from).Equal(next) {
			t.Fatalf("%q reads differently the second time: %v", line, err)
		}
	})
}

func schedule(t *testing.T, line string) Schedule {
	t.Helper()
	s, err := ParseSchedule(line)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func instant(t *testing.T, text string) time.Time {
	t.Helper()
	at, err := time.Parse(time.RFC3339, text)
	if err != nil {
		t.Fatal(err)
	}
	return at
}
