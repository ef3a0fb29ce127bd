package main

import (
	"context"
	"fmt"
	"os"
	"strings"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/rulebook"
	"lintel.example/lintel/internal/seal"
)

// stricter is a pack of a company's own that changes what every copy of the inspection comes to.
const stricter = `
id: bench@1
title: Bench
caution: Invented.
standard: Bench
edition: "1"
role: company
jurisdiction: any
applies_to: {kinds: [sliding], energies: [full]}
rules:
  - {id: soft, title: Soft, asks: Soft., measured: reading.closing_force_n, limit: {at_most: 80, unit: N}, severity: deficient, standing: common_practice, source: {note: bench}}
`

// replay measures judging every door's last inspection again, by another edition of the doors' basis (every rule of it) and by a pack of
// the company's own (one rule), against reading the same records and nothing else.
func (b *bench) replay(ctx context.Context) (lines []line, err error) {
	if err := b.inspect(ctx); err != nil {
		return nil, err
	}
	book := b.fleet.Book
	basis, _ := book.Pack("a156.10@2017")
	own, mistakes, err := rulebook.Check([]byte(stricter))
	if err != nil || own == nil {
		return nil, fmt.Errorf("the stricter pack: %v, %w", mistakes, err)
	}
	for _, pack := range []*rulebook.Pack{basis, own} {
		l := line{What: fmt.Sprintf("every door's last inspection judged again by %s, %d rules", pack.ID, len(pack.Rules)), Doors: b.doors, Against: "reading their records", Asked: "100,000 in ≤ 60 s", Unit: "s"}
		for range rounds {
			theirs, err := b.readRecords(ctx)
			if err != nil {
				return nil, err
			}
			began := time.Now()
			var sum fleet.ReplaySum
			err = b.fleet.Replay(ctx, by(), fleet.ReplayAsk{Pack: pack, Until: time.Now()}, fleet.ReplayCursor{}, func(p fleet.ReplayPage) error {
				sum.Add(p.Sum)
				return nil
			})
			if err != nil {
				return nil, err
			}
			if sum.Judged < b.doors {
				return nil, fmt.Errorf("only %d of %d doors were judged again", sum.Judged, b.doors)
			}
			l.Ours, l.Theirs = append(l.Ours, time.Since(began).Seconds()), append(l.Theirs, theirs)
		}
		lines = append(lines, l)
	}
	return lines, nil
}

// readRecords reads every signed record of a visit, and does nothing with it.
func (b *bench) readRecords(ctx context.Context) (float64, error) {
	began := time.Now()
	rows, err := b.admin.Query(ctx, "select canonical from record_log where kind = 'visit'")
	if err != nil {
		return 0, err
	}
	for rows.Next() {
		_ = rows.RawValues()
	}
	return time.Since(began).Seconds(), rows.Err()
}

// inspect inspects the one door and copies what a replay reads of it to the others: its visit, conclusion, signature and record.
func (b *bench) inspect(ctx context.Context) error {
	me, id, at := by().PersonID, b.fleet.NewID, time.Now().UTC().Truncate(time.Second).Add(-2*time.Hour)
	if _, err := b.admin.Exec(ctx, "insert into person (person_id, email, name, role, scope_kind, created_at) values ($1, 'bench@example.com', 'Bench', 'technician', 'all', $2)", me, at); err != nil {
		return err
	}
	if _, err := b.admin.Exec(ctx, "insert into qualification (person_id, qualification_id, scheme, number, valid_from, valid_until, recorded_at) values ($1, $2, 'Inspector', '7', '2020-01-01', null, $3)", me, id(), at); err != nil {
		return err
	}
	door, err := b.fleet.Door(ctx, by(), b.door, fleet.AsOf{})
	if err != nil {
		return err
	}
	visit := id()
	if _, _, err := b.fleet.PutVisit(ctx, by(), visit, fleet.Attendance{SiteID: door.SiteID, ArrivedAt: at, People: []uuid.UUID{me}, Doors: []fleet.DoorsOfVisit{{DoorID: b.door, WorkOrders: []uuid.UUID{}}}}); err != nil {
		return err
	}
	sign := fleet.SignOff{SignedAt: at.Add(time.Hour), LeftAt: at.Add(time.Hour), Statement: "Inspected as recorded.", Signature: "M0 0L9 9"}
	add := func(minute int, body fleet.EntryBody) error {
		body.DoorID, body.ObservedAt = b.door, at.Add(time.Duration(minute)*time.Minute)
		entry := id()
		if _, _, err := b.fleet.PutEntry(ctx, by(), visit, entry, body); err != nil {
			return err
		}
		_, hash, err := seal.Marshal(body)
		sign.Entries = append(sign.Entries, fleet.SignedEntry{EntryID: entry, SHA256: hash})
		return err
	}
	if err := add(0, fleet.EntryBody{Kind: "safe_work", SafeWork: &fleet.EntrySafeWork{Traffic: "barriered", Power: "isolated", Ladder: "not_used", SecondPerson: "there"}}); err != nil {
		return err
	}
	for i, k := range rulebook.Readings() { // a form that is filled in twice: at both sides
		yes, value := true, (k.Min+k.Max)/2
		for _, side := range []string{"a", "b"} {
			r := fleet.EntryReading{Name: k.Name, Side: side, Yes: &yes}
			if k.Kind == rulebook.Number {
				r.Yes, r.Value = nil, &value
			}
			if err := add(1+i, fleet.EntryBody{Kind: "reading", Reading: &r}); err != nil {
				return err
			}
		}
	}
	if err := add(59, fleet.EntryBody{Kind: "conclusion", Conclusion: &fleet.EntryConclusion{Result: "failed"}}); err != nil {
		return err
	}
	if _, _, err := b.fleet.PutSignOff(ctx, by(), visit, sign); err != nil {
		return err
	}
	began := time.Now()
	for _, statement := range []string{
		`insert into visit select copy.* from visit o cross join door d cross join lateral jsonb_populate_record(o, jsonb_build_object('customer_id', d.customer_id, 'site_id', d.site_id,
			'visit_id', md5('visit' || d.door_id)::uuid)) as copy where o.visit_id = $1 and d.door_id <> $2::text::uuid`,
		`insert into visit_entry select copy.* from visit_entry o cross join door d cross join lateral jsonb_populate_record(o, jsonb_build_object('customer_id', d.customer_id, 'site_id', d.site_id,
			'door_id', d.door_id, 'visit_id', md5('visit' || d.door_id)::uuid, 'entry_id', md5('entry' || d.door_id)::uuid)) as copy where o.visit_id = $1 and o.kind = 'conclusion' and d.door_id <> $2::text::uuid`,
		`insert into visit_sign_off select copy.* from visit_sign_off o cross join door d cross join lateral jsonb_populate_record(o, jsonb_build_object('customer_id', d.customer_id, 'site_id', d.site_id,
			'visit_id', md5('visit' || d.door_id)::uuid)) as copy where o.visit_id = $1 and d.door_id <> $2::text::uuid`,
		`insert into record_log (kind, customer_id, site_id, subject_id, canonical, sha256, recorded_at, recorded_by)
			select 'visit', d.customer_id, d.site_id, md5('visit' || d.door_id)::uuid, c.canonical, sha256(c.canonical), o.recorded_at, o.recorded_by
			from record_log o cross join door d cross join lateral (select convert_to(replace(convert_from(o.canonical, 'UTF8'), $2::text, d.door_id::text), 'UTF8') as canonical) c
			where o.subject_id = $1 and d.door_id <> $2::text::uuid`,
		"vacuum analyze",
	} {
		args := []any{visit, b.door.String()}
		if !strings.Contains(statement, "$1") {
			args = nil
		}
		if _, err := b.admin.Exec(ctx, statement, args...); err != nil {
			return fmt.Errorf("%s: %w", statement, err)
		}
	}
	var bytes int
	if err := b.admin.QueryRow(ctx, "select octet_length(canonical) from record_log where subject_id = $1", visit).Scan(&bytes); err != nil {
		return err
	}
	fmt.Fprintf(os.Stderr, "an inspection of %d entries, a record of %d bytes, at every door, copied in %.0f s\n", len(sign.Entries), bytes, time.Since(began).Seconds())
	return nil
}
