package main

import (
	"bytes"
	"context"
	"fmt"
	"log/slog"
	"maps"
	"os"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/emersion/go-ical"
	"github.com/google/uuid"

	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/identity"
	"lintel.example/lintel/internal/notify"
	"lintel.example/lintel/internal/notify/mailcatcher"
	"lintel.example/lintel/internal/report"
	"lintel.example/lintel/internal/seal"
	"lintel.example/lintel/internal/store"
	"lintel.example/lintel/internal/store/storetest"
	"lintel.example/lintel/internal/words"
	"lintel.example/lintel/jobs"
)

// mailDay is a morning on which very many are to be told, by way of a mail server that has a bad day.
type mailDay struct {
	t       *testing.T
	db      storetest.DB
	now     time.Time
	fleet   *fleet.Fleet
	trouble *mailcatcher.Trouble
	address string // of the mail server, also of the next one

	mu      sync.Mutex
	server  *mailcatcher.Catcher
	dead    sync.WaitGroup
	past    []mailcatcher.Message      // what servers took that have died since
	seen    int                        // messages whose last byte came
	offered map[string]map[string]bool // Message-IDs by address, also of messages that were not taken
}

const dispatchersAddress = "ada@office.example"

// newMailDay makes so many parties, each the owner of a site with a door that is due in a week; every fourth has a second door,
// and every third another address. Through the use-cases that would take longer than the mail.
func newMailDay(t *testing.T, parties int) *mailDay {
	t.Helper()
	d := &mailDay{t: t, db: storetest.New(t), now: time.Date(2026, 3, 3, 9, 0, 0, 0, time.UTC), offered: map[string]map[string]bool{}}
	for _, statement := range []string{
		`insert into customer (customer_id, name, created_at, created_by) values (md5('customer')::uuid, 'Kestrel Arcades', now(), gen_random_uuid())`,
		`insert into person (person_id, email, name, role, scope_kind, created_at) values (gen_random_uuid(), '` + dispatchersAddress + `', 'Ada Lindqvist', 'dispatcher', 'all', now())`,
		`insert into party (party_id, name, email, further_addresses, created_at, created_by)
			select md5('party' || i)::uuid, 'Owner ' || i, 'owner' || i || '@d' || i % 40 || '.example', case when i % 3 = 0 then 'other' || i || '@d' || i % 40 || '.example' else '' end, now(), gen_random_uuid()
			from generate_series(1, $1::int) i`,
		`insert into site (customer_id, site_id, name, country, jurisdiction, time_zone, created_at, created_by)
			select md5('customer')::uuid, md5('site' || i)::uuid, 'Site ' || i, 'US', 'US-CA', 'UTC', now(), gen_random_uuid() from generate_series(1, $1::int) i`,
		`insert into site_party (customer_id, site_id, standing_id, party_id, role, from_day, recorded_at, recorded_by)
			select md5('customer')::uuid, md5('site' || i)::uuid, gen_random_uuid(), md5('party' || i)::uuid, 'owner', '2020-01-01', now(), gen_random_uuid() from generate_series(1, $1::int) i`,
		`insert into door (customer_id, site_id, door_id, tag, name, known_since, recorded_at, recorded_by)
			select md5('customer')::uuid, md5('site' || i)::uuid, gen_random_uuid(), lpad((2 * i + n)::text, 8, '0'), 'Door ' || n, '2025-01-01', now(), gen_random_uuid()
			from generate_series(1, $1::int) i, generate_series(0, 1) n where n = 0 or i % 4 = 0`,
		`insert into inspection_plan (customer_id, site_id, door_id, plan_id, interval_months, regime, tolerance_days, lead_days, anchor_on, next_due, recorded_at, recorded_by)
			select customer_id, site_id, door_id, gen_random_uuid(), 12, 'anniversary', 30, 30, '2026-03-10', '2026-03-10', now(), gen_random_uuid() from door`,
		`analyze`,
	} {
		var args []any
		if strings.Contains(statement, "$1") {
			args = []any{parties}
		}
		if _, err := d.db.Admin.Exec(t.Context(), statement, args...); err != nil {
			t.Fatal(err)
		}
	}
	d.trouble = &mailcatcher.Trouble{RefuseOneIn: 20, GreylistOneIn: 8, BusyOneIn: 20, HangOneIn: max(90, parties/40), CloseOneIn: 40, LoseOneIn: 50}
	d.serve("127.0.0.1:0")
	host, port, _ := strings.Cut(d.address, ":")
	way := notify.SMTP{Host: host, TLS: notify.TLSNone, From: "service@lindqvist.example", HELO: "localhost", Timeout: time.Second}
	if _, err := fmt.Sscan(port, &way.Port); err != nil {
		t.Fatal(err)
	}
	texts, err := words.Load()
	if err != nil {
		t.Fatal(err)
	}
	line := notify.NewMail(way)
	t.Cleanup(func() { _ = line.Close(); d.die(); d.dead.Wait() })
	d.fleet = fleet.New(fleet.Parts{Store: store.New(d.db.App, "lintel"), Words: texts, Company: fleet.ReportCompany{Name: "Lindqvist Doors", Phone: "+1 555 0100"},
		Post: post{line}, WriteCalendar: report.Calendar, Now: func() time.Time { return d.now }, NewID: newID})
	return d
}

// serve starts the mail server; what went wrong with a recipient before is remembered.
func (d *mailDay) serve(address string) {
	d.t.Helper()
	server, err := mailcatcher.Listen(address, nil, mailcatcher.Hooks{Trouble: d.trouble, Keep: 1 << 20, Data: d.data})
	if err != nil {
		d.t.Fatal(err)
	}
	d.mu.Lock()
	defer d.mu.Unlock()
	d.server, d.address = server, server.Address()
}

// die ends the mail server in the middle of whatever it does.
func (d *mailDay) die() {
	d.mu.Lock()
	defer d.mu.Unlock()
	if server := d.server; server != nil {
		d.server = nil
		d.dead.Go(func() {
			_ = server.Close()
			d.mu.Lock()
			defer d.mu.Unlock()
			d.past = append(d.past, server.Messages()...)
		})
	}
}

func (d *mailDay) data(m mailcatcher.Message, _ func()) error {
	d.mu.Lock()
	d.seen++
	if d.offered[m.To] == nil {
		d.offered[m.To] = map[string]bool{}
	}
	d.offered[m.To][m.Header.Get("Message-Id")] = true
	d.mu.Unlock()
	return nil
}

func (d *mailDay) messagesSeen() int {
	d.mu.Lock()
	defer d.mu.Unlock()
	return d.seen
}

// round is what a server does each minute; something may happen to it once so many more messages have been handed over.
func (d *mailDay) round(after int, happens func()) (err error) {
	ctx, cancel := context.WithCancel(d.t.Context())
	defer cancel()
	var watch sync.WaitGroup
	if happens != nil {
		until := d.messagesSeen() + after
		watch.Go(func() {
			for d.messagesSeen() < until {
				select {
				case <-ctx.Done():
					return
				case <-time.After(time.Millisecond):
				}
			}
			happens()
		})
	}
	_, err = jobs.SendWaiting(ctx, d.fleet)
	cancel()
	watch.Wait()
	return err
}

// arrived is every message that a mail server took, by address.
func (d *mailDay) arrived() map[string][]mailcatcher.Message {
	d.die()
	d.dead.Wait()
	list := map[string][]mailcatcher.Message{}
	for _, m := range d.past {
		list[m.To] = append(list[m.To], m)
	}
	return list
}

func (d *mailDay) count(query string) (n int) {
	d.t.Helper()
	if err := d.db.Admin.QueryRow(d.t.Context(), query).Scan(&n); err != nil {
		d.t.Fatal(err)
	}
	return n
}

// outcome is what the record says of a party's notices, all of which one letter carries.
type outcome struct {
	name, states, becauses string
	addresses, letters     []string
	unknown                bool // an attempt without an answer is on record
	alarmed                bool // the dispatchers are told
}

func (d *mailDay) outcomes() (list []outcome) {
	d.t.Helper()
	rows, err := d.db.Admin.Query(d.t.Context(), `select p.name, string_agg(distinct n.state, ' '), string_agg(distinct n.because, ' '),
			array_remove(array[p.email, p.further_addresses], ''), coalesce(array_agg(distinct l.letter_id::text) filter (where l.letter_id is not null), '{}'),
			coalesce(bool_or(exists (select from letter_attempt a where a.letter_id = l.letter_id and a.outcome = 'unknown')), false),
			coalesce(bool_or(exists (select from notice x where x.reason = 'letter:' || l.letter_id and x.state = 'sent')), false)
		from party p left join notice n on n.recipient_id = p.party_id and n.state <> 'superseded'
		left join letter_notice c on c.notice_id = n.notice_id left join letter l on l.letter_id = c.letter_id
		group by p.party_id order by p.name`)
	if err != nil {
		d.t.Fatal(err)
	}
	defer rows.Close()
	for rows.Next() {
		var o outcome
		if err := rows.Scan(&o.name, &o.states, &o.becauses, &o.addresses, &o.letters, &o.unknown, &o.alarmed); err != nil {
			d.t.Fatal(err)
		}
		list = append(list, o)
	}
	if err := rows.Err(); err != nil {
		d.t.Fatal(err)
	}
	return list
}

// LINTEL_DRILLS=long makes it ten thousand notices.
func TestEachRecipientIsToldOnceOrTheRecordSaysWhyNot(t *testing.T) {
	parties := 240
	if os.Getenv("LINTEL_DRILLS") == "long" {
		parties = 8000
	}
	notices := parties + parties/4
	d := newMailDay(t, parties)
	today := duedate.DayIn(d.now, time.UTC)
	if made, err := d.fleet.OpenDueWorkOrders(t.Context(), today); err != nil || made != int64(notices) {
		t.Fatalf("%d orders, %v", made, err)
	}
	if _, err := d.fleet.QueueNotices(t.Context(), today); err != nil {
		t.Fatal(err)
	}
	if n := d.count(`select count(*) from notice where state = 'queued' and rung = 'due_in_7'`); n != notices {
		t.Fatalf("%d notices wait", n)
	}
	if _, err := d.db.Admin.Exec(t.Context(), `analyze`); err != nil {
		t.Fatal(err)
	}

	// The server dies under the first letters and is away for a while; the database drops our lines; nobody gives an answer to some.
	if err := d.round(parties/6, d.die); err != nil {
		t.Fatal(err)
	}
	d.now = d.now.Add(2 * time.Minute)
	if err := d.round(0, nil); err != nil { // nobody is there
		t.Fatal(err)
	}
	d.dead.Wait()
	d.serve(d.address)
	d.now = d.now.Add(2 * time.Minute)
	if err := d.round(parties/6, func() {
		if _, err := d.db.Admin.Exec(t.Context(), `select pg_terminate_backend(pid) from pg_stat_activity where usename = 'lintel_app' and datname = current_database()`); err != nil {
			t.Error(err)
		}
	}); err == nil {
		t.Log("the lines to the database were dropped at a moment when nobody needed them")
	}
	d.db.App.Reset() // those that lay idle: else the next round finds out
	for i := 0; d.count(`select count(*) from letter where state in ('queued', 'sending')`) > 0; i++ {
		if i == 20 {
			t.Fatalf("%d letters still wait after %s", d.count(`select count(*) from letter where state in ('queued', 'sending')`), d.now.Format(time.DateTime))
		}
		d.now = d.now.Add(7 * time.Minute) // longer than anything asks to wait, and than a letter is in a dead sender's hands
		if err := d.round(0, nil); err != nil {
			t.Fatal(err)
		}
	}
	d.now = d.now.Add(24 * time.Hour) // the dispatchers' digest of the next day
	if err := d.round(0, nil); err != nil {
		t.Fatal(err)
	}

	arrived := d.arrived()
	tally := map[string]int{}
	var open []string
	for _, o := range d.outcomes() {
		got := 0
		for _, a := range o.addresses {
			got += len(arrived[a])
			if n := len(d.offered[a]); n > 1 {
				t.Errorf("%s was offered %d letters under different Message-IDs at %s", o.name, n, a)
			}
		}
		refused := !slices.ContainsFunc(o.addresses, func(a string) bool { return !d.trouble.Refuses(a) })
		tally[strings.TrimSpace(o.states+" "+o.becauses)]++
		switch what := o.states + " " + o.becauses; {
		case what == "sent " && got == 1:
			for _, a := range o.addresses {
				for _, m := range arrived[a] {
					dueDaysIn(t, m)
				}
			}
			if last := o.letters[len(o.letters)-1]; !slices.ContainsFunc(o.addresses, func(a string) bool { return d.offered[a]["<"+last+"@lindqvist.example>"] }) {
				t.Errorf("%s got a letter that is not on record", o.name)
			}
		case what == "failed address_refused" && got == 0 && refused && o.alarmed:
		case what == "perhaps_sent no_answer" && got <= 1 && o.unknown && o.alarmed:
			open = append(open, o.letters[len(o.letters)-1])
		default:
			t.Errorf("%s got %d letters, and the record says %q (refused everywhere: %v, dispatchers told: %v)", o.name, got, what, refused, o.alarmed)
		}
	}
	t.Logf("%d recipients: %v", parties, tally)
	if tally["sent"] < parties/2 || tally["failed address_refused"] == 0 || len(open) == 0 {
		t.Errorf("the day shows too little: %v", tally)
	}
	for a := range arrived {
		if a != dispatchersAddress && !strings.HasPrefix(a, "owner") && !strings.HasPrefix(a, "other") {
			t.Errorf("somebody else was told: %s", a)
		}
	}
	for what, query := range map[string]string{
		"notices in no final state": `select count(*) from notice where state in ('queued', 'sending')`,
		"letters of failed parties": `select count(*) from letter where state = 'failed' and answer = ''`,
		"second digests of a day":   `select count(*) from (select from letter where kind = 'digest' group by address, day having count(*) > 1) x`,
	} {
		if n := d.count(query); n != 0 {
			t.Errorf("%d %s", n, what)
		}
	}

	// A person decides that what perhaps arrived is sent again, now that the server is well.
	*d.trouble = mailcatcher.Trouble{}
	d.serve(d.address)
	for _, id := range open {
		if _, err := d.fleet.SendLetterAgain(t.Context(), identity.Program(), uuid.MustParse(id)); err != nil {
			t.Fatal(err)
		}
	}
	if err := d.round(0, nil); err != nil {
		t.Fatal(err)
	}
	arrived = d.arrived()
	for _, o := range d.outcomes() {
		if o.states == "failed" {
			continue
		}
		ids := map[string]int{}
		for _, a := range o.addresses {
			for _, m := range arrived[a] {
				ids[m.Header.Get("Message-Id")]++
			}
		}
		if o.states != "sent" || len(ids) != 1 {
			t.Errorf("%s: the record says %s, and letters arrived under %v", o.name, o.states, slices.Collect(maps.Keys(ids)))
		}
	}
}

// dueDaysIn reads a digest's calendar as a recipient's program does.
func dueDaysIn(t *testing.T, m mailcatcher.Message) {
	t.Helper()
	if len(m.Files) != 1 || m.Files[0].MediaType != "text/calendar" || m.Text == "" || m.HTML == "" {
		t.Fatalf("%d files, %d letters of text, %d of HTML to %s", len(m.Files), len(m.Text), len(m.HTML), m.To)
	}
	calendar, err := ical.NewDecoder(bytes.NewReader(m.Files[0].Bytes)).Decode()
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range calendar.Events() {
		if start := e.Props.Get("DTSTART"); start.Value != "20260310" || start.ValueType() != ical.ValueDate || !strings.Contains(e.Props.Get("SUMMARY").Value, "due") {
			t.Errorf("event %v", e.Props)
		}
		if _, err := uuid.Parse(e.Props.Get("UID").Value); err != nil {
			t.Error(err)
		}
	}
	if method := calendar.Props.Get("METHOD"); len(calendar.Events()) == 0 || method.Value != "PUBLISH" {
		t.Errorf("%d events, method %v", len(calendar.Events()), method)
	}
}

// The whole way: issued by the use-cases, printed, queued, written, handed over a real line, and taken apart by who gets it.
func TestALetterAboutFindingsArrivesWithItsPDFByWayOfTheQueue(t *testing.T) {
	t.Parallel()
	db, _ := inspectedSite(t)
	catcher, err := mailcatcher.Listen("127.0.0.1:0", nil, mailcatcher.Hooks{Trouble: &mailcatcher.Trouble{BusyOneIn: 1}}) // each mail is put off the first time
	if err != nil {
		t.Fatal(err)
	}
	defer catcher.Close()
	host, port, _ := strings.Cut(catcher.Address(), ":")
	number, err := strconv.Atoi(port)
	if err != nil {
		t.Fatal(err)
	}
	h, err := open(t.Context(), &settings{DatabaseURL: db.AppURL, PhotoDir: t.TempDir(), RolePrefix: "lintel", CompanyName: "Calder & Moss",
		SMTPHost: host, SMTPPort: number, SMTPTLS: "none", MailFrom: "service@calder.example", MailBounces: "bounces@calder.example"}, asGuest, slog.New(slog.DiscardHandler))
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = h.close(context.Background()) }()
	var ids [5]uuid.UUID // a site, a door, a finding, a party, whoever approves
	if err := db.Admin.QueryRow(t.Context(), `select f.site_id, f.door_id, f.finding_id, p.party_id, (select person_id from person order by person_id limit 1)
		from finding f join site_party s on s.site_id = f.site_id and s.to_day is null join party p on p.party_id = s.party_id and p.email <> ''
		where f.state = 'open' and f.origin = 'visit' order by f.finding_id limit 1`).Scan(&ids[0], &ids[1], &ids[2], &ids[3], &ids[4]); err != nil {
		t.Fatal(err)
	}
	office := identity.Actor{PersonID: ids[4], Name: "Ada", Role: identity.Administrator, ScopeKind: identity.ScopeAll, Units: "metric", Language: "en"}
	writer := office
	writer.PersonID = newID()
	template, _, err := h.fleet.PutLetterTemplate(t.Context(), writer, fleet.LetterTemplate{TemplateID: newID(), Kind: "declination", Text: "We offered to mend, at {door}:\n{findings}\n{decision}"})
	if err != nil {
		t.Fatal(err)
	}
	if _, _, err := h.fleet.ApproveLetterTemplate(t.Context(), office, template.TemplateID, ""); err != nil {
		t.Fatal(err)
	}
	report := newID()
	if _, _, err := h.fleet.MakeReport(t.Context(), office, report, fleet.ReportAsk{Kind: fleet.KindLetter, DoorID: ids[1], TemplateID: template.TemplateID, Findings: ids[2:3]}); err != nil {
		t.Fatal(err)
	}
	if _, _, err := h.fleet.PutDelivery(t.Context(), office, fleet.Delivery{ReportID: report, DeliveryID: newID(), Way: "mail", PartyID: ids[3]}); err != nil {
		t.Fatal(err)
	}
	for range 2 { // what is put off is tried again after a minute; the clock is put back instead of waiting
		if _, err := jobs.SendWaiting(t.Context(), h.fleet); err != nil {
			t.Fatal(err)
		}
		if _, err := db.Admin.Exec(t.Context(), `update letter set next_try_at = now() - interval '1 minute' where report_id = $1 and state = 'queued'`, report); err != nil {
			t.Fatal(err)
		}
	}
	told, err := h.fleet.LetterDeliveries(t.Context(), office, report)
	if err != nil || len(told) != 1 || told[0].Notice.State != "sent" || len(told[0].Letters) != 1 || len(told[0].Letters[0].Tries) != 2 {
		t.Fatalf("%+v, %v", told, err)
	}
	mails := slices.DeleteFunc(catcher.Messages(), func(m mailcatcher.Message) bool { return len(m.Files) == 0 })
	kept, err := h.fleet.ReportIn(t.Context(), office, report, "pdf")
	if err != nil || len(mails) != 1 {
		t.Fatal(len(mails), err)
	}
	m, id := mails[0], told[0].Letters[0].LetterID.String()
	if m.To != told[0].Notice.RecipientEmail || m.From != "bounces+"+id+"@calder.example" || m.Header.Get("Message-Id") != "<"+id+"@calder.example>" {
		t.Errorf("from %s to %s, %v", m.From, m.To, m.Header)
	}
	if f := m.Files[0]; f.Name != "letter-"+report.String()+".pdf" || f.MediaType != "application/pdf" || !bytes.Equal(f.Bytes, kept.Bytes) {
		t.Errorf("%s, %s, %d bytes, kept %d", f.Name, f.MediaType, len(f.Bytes), len(kept.Bytes))
	}
	if !strings.Contains(m.Text, seal.HashOf(kept.Bytes).String()) || m.HTML != "" {
		t.Errorf("the mail says %s", m.Text)
	}
}
