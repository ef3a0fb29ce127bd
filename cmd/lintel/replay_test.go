package main

import (
	"bytes"
	"context"
	"encoding/json"
	"log/slog"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"lintel.example/lintel/internal/demo"
	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/store"
	"lintel.example/lintel/internal/store/storetest"
)

// stricter is a pack of the company's own that most doors of the invented company fail.
const stricter = `id: house@1
title: House rules
caution: Invented.
standard: House rules
edition: "1"
role: company
jurisdiction: any
applies_to: {kinds: [sliding, swinging, folding], energies: [full, low, assist]}
rules:
  - id: soft-closing
    title: Closes softly
    asks: The closing leaf stops at 20 N or less.
    measured: reading.closing_force_n
    limit: {at_most: 20, unit: N}
    severity: deficient
    standing: common_practice
    source: {note: rule of the house}
`

// inspectedSite is a database with three years of one site of the invented company.
func inspectedSite(t *testing.T) (storetest.DB, []string) {
	t.Helper()
	db := storetest.New(t)
	env := environment(t, db)
	h, err := open(t.Context(), &settings{DatabaseURL: db.AppURL, PhotoDir: t.TempDir(), RolePrefix: "lintel", CompanyName: "Calder & Moss"}, asGuest, slog.New(slog.DiscardHandler))
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = h.close(context.Background()) }()
	parts, err := h.partsOfHistory(store.New(db.App, "lintel"))
	if err != nil {
		t.Fatal(err)
	}
	parts.Night = func(ctx context.Context, f *fleet.Fleet, day duedate.Day) error {
		_, err := f.OpenDueWorkOrders(ctx, day)
		return err
	}
	last, err := duedate.ParseDay("2026-11-20")
	if err != nil {
		t.Fatal(err)
	}
	if _, err := demo.Build(t.Context(), parts, demo.Options{Seed: 7, LastDay: last, Only: []string{"Harbor branch"}}); err != nil {
		t.Fatal(err)
	}
	return db, env
}

func TestAReplayThatIsKilledGoesOnAndSaysWhatItWouldHaveSaid(t *testing.T) {
	t.Parallel()
	db, env := inspectedSite(t)
	pack := writeFile(t, "house.yaml", stricter)
	whole := mustLintel(t, env, "pack", "replay", pack, "--json")
	lines := strings.Split(strings.TrimSpace(whole), "\n")
	var sum struct {
		Judged int
		Until  time.Time
	}
	if err := json.Unmarshal([]byte(lines[len(lines)-1]), &sum); err != nil || sum.Judged < 3 || len(lines) < 3 {
		t.Fatalf("%v: %s", err, whole)
	}

	// One reader of the records is let through, the next one waits: the program is killed between two parts.
	keep := filepath.Join(t.TempDir(), "replay.jsonl")
	first, err := db.Admin.Begin(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = first.Rollback(context.Background()) }()
	const lock = "lock table record_log in access exclusive mode"
	if _, err := first.Exec(t.Context(), lock); err != nil {
		t.Fatal(err)
	}
	killed := program(env, "pack", "replay", pack, "--json", "--keep", keep, "--part", "1")
	var said bytes.Buffer
	killed.Stdout, killed.Stderr = &said, &said
	if err := killed.Start(); err != nil {
		t.Fatal(err)
	}
	waiting := func(n int) {
		t.Helper()
		for until := time.Now().Add(time.Minute); ; time.Sleep(5 * time.Millisecond) {
			var found int
			if err := db.Admin.QueryRow(t.Context(), "select count(*) from pg_locks l join pg_database d on d.oid = l.database where d.datname = current_database() and l.relation = 'record_log'::regclass and not l.granted").Scan(&found); err != nil {
				t.Fatal(err)
			}
			if found == n {
				return
			}
			if time.Now().After(until) {
				_ = killed.Process.Kill()
				t.Fatalf("%d wait for the records, want %d: %s", found, n, &said)
			}
		}
	}
	waiting(1)
	second, err := db.Admin.Begin(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = second.Rollback(context.Background()) }()
	locked := make(chan error, 1)
	go func() { _, err := second.Exec(context.Background(), lock); locked <- err }()
	waiting(2)
	if err := first.Rollback(t.Context()); err != nil {
		t.Fatal(err)
	}
	if err := <-locked; err != nil {
		t.Fatal(err)
	}
	for until := time.Now().Add(time.Minute); ; time.Sleep(5 * time.Millisecond) {
		if text, _ := os.ReadFile(keep); bytes.Contains(text, []byte(`"next"`)) {
			break
		}
		if time.Now().After(until) {
			t.Fatalf("no part was kept: %s", &said)
		}
	}
	if err := killed.Process.Kill(); err != nil {
		t.Fatal(err)
	}
	if err := killed.Wait(); err == nil {
		t.Fatal("it ended before it was killed")
	}
	if err := second.Rollback(t.Context()); err != nil {
		t.Fatal(err)
	}
	text, err := os.ReadFile(keep)
	if err != nil {
		t.Fatal(err)
	}
	if parts := bytes.Count(text, []byte(`"next"`)); parts != 1 {
		t.Fatalf("%d parts were done before it was killed", parts)
	}
	if err := os.WriteFile(keep, append(text, []byte(`{"changed":{"door_id":"0`)...), 0o644); err != nil { // and a line that was being written
		t.Fatal(err)
	}

	until := func(out string) string { // when each run began is its own
		lines := strings.Split(strings.TrimSpace(out), "\n")
		var last map[string]any
		if err := json.Unmarshal([]byte(lines[len(lines)-1]), &last); err != nil {
			t.Fatalf("%v: %s", err, out)
		}
		delete(last, "until")
		text, _ := json.Marshal(last)
		return strings.Join(append(lines[:len(lines)-1], string(text)), "\n")
	}
	for range 2 { // the second time there is nothing left to do
		if again := mustLintel(t, env, "pack", "replay", pack, "--json", "--keep", keep, "--part", "1"); until(again) != until(whole) {
			t.Errorf("taken up again it says\n%s\nin one go it said\n%s", again, whole)
		}
	}
	other := writeFile(t, "house.yaml", strings.Replace(stricter, "at_most: 20", "at_most: 21", 1))
	if _, complaint, code := lintel(t, env, "pack", "replay", other, "--keep", keep); code != 2 || !strings.Contains(complaint, "another text") {
		t.Errorf("another pack with the same file: %d, %s", code, complaint)
	}
}

func TestACompanysPackIsTriedAddedActivatedAndEndedOnTheCommandLine(t *testing.T) {
	t.Parallel()
	_, env := inspectedSite(t)
	pack := writeFile(t, "house.yaml", stricter)
	today := duedate.DayIn(time.Now(), time.UTC)
	for _, c := range []struct {
		args []string
		code int
		want string
	}{
		{[]string{"pack", "replay", pack}, 0, "soft-closing"},
		{[]string{"pack", "replay", pack, "--last", "2"}, 0, "the newest 2 inspections"},
		{[]string{"pack", "replay", "a156.10@2017"}, 0, "judged by it"},
		{[]string{"pack", "replay", "daily-check"}, 2, "judges no inspection"},
		{[]string{"pack", "replay", pack, "--last", "-1"}, 2, "--last"},
		{[]string{"pack", "activate", "house@1", "--from", today.AddDays(1).String(), "--why", "decided"}, 2, "no rule pack house@1"},
		{[]string{"pack", "add", writeFile(t, "bad.yaml", strings.Replace(stricter, "unit: N", "unit: stone", 1))}, 2, "unknown unit"},
		{[]string{"pack", "add", "a156.10@2017"}, 2, "no such file"},
		{[]string{"pack", "add", pack, "--note", "first"}, 0, "house@1 is here, 1 rules"},
		{[]string{"pack", "add", pack}, 0, "already"},
		{[]string{"pack", "add", writeFile(t, "other.yaml", strings.Replace(stricter, "at_most: 20", "at_most: 30", 1))}, 2, "new edition"},
		{[]string{"pack", "activate", "house", "--from", today.String(), "--why", "decided"}, 2, "NAME@EDITION"},
		{[]string{"pack", "activate", "house@1", "--from", "tomorrow", "--why", "decided"}, 2, "--from"},
		{[]string{"pack", "activate", "house@1", "--from", today.AddDays(-2).String(), "--why", "decided"}, 2, "from today on at the earliest"},
		{[]string{"pack", "activate", "house@1", "--from", today.AddDays(1).String(), "--why", "decided"}, 0, "house@1 judges from " + today.AddDays(1).String() + " on."},
		{[]string{"pack", "end", "house", "--from", today.AddDays(9).String(), "--why", "enough"}, 0, "no edition of house judges"},
		{[]string{"pack", "end", "house", "--from", today.AddDays(19).String(), "--why", "enough"}, 2, "nothing to end"},
	} {
		out, complaint, code := lintel(t, env, c.args...)
		if code != c.code || !strings.Contains(out+complaint, c.want) || code == 2 && strings.Count(complaint, "\n") != 1 {
			t.Errorf("lintel %v: %d\n%s%s\nwant %d and %q", c.args, code, out, complaint, c.code, c.want)
		}
	}
}
