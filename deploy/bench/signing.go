package main

import (
	"context"
	"fmt"
	"math/rand/v2"
	"os"
	"strings"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/identity"
	"lintel.example/lintel/internal/rulebook"
	"lintel.example/lintel/internal/seal"
)

const (
	inspectors     = 40
	doorsOfADay    = 8 // that one of them inspects
	yearsOfHistory = 3
	signedOff      = 12 // in each round
)

// inspector is one of the people who have inspected the fleet.
func inspector(i int) identity.Actor {
	return identity.Actor{PersonID: uuid.NewMD5(uuid.Nil, fmt.Appendf(nil, "inspector %d", i)), Name: fmt.Sprint("Inspector ", i), Role: identity.Technician, ScopeKind: identity.ScopeAll}
}

// signing measures the sign-off of an inspection, in a fleet that was inspected each year by people who inspected other doors on the same day,
// against the same without asking what is unusual about its entries; and tells how the two statements that look furthest are run.
func (b *bench) signing(ctx context.Context) ([]line, error) {
	if err := b.history(ctx); err != nil {
		return nil, err
	}
	without := b.fleet.Parts
	without.Store = unasking{without.Store}
	silent := fleet.New(without)
	var lines []line
	for _, c := range []struct {
		what string
		same bool
	}{{"signing off an inspection with 25 readings", false}, {"the same, each reading that of a year before", true}} {
		l := line{What: c.what, Doors: b.doors, Against: "without asking about entries", Asked: "no figure", Unit: "ms"}
		for range rounds {
			var with, less time.Duration
			for range signedOff {
				for _, f := range []struct {
					*fleet.Fleet
					sum *time.Duration
				}{{b.fleet, &with}, {silent, &less}} {
					b.signed++
					took, err := b.signOne(ctx, f.Fleet, c.same)
					if err != nil {
						return nil, err
					}
					*f.sum += took
				}
			}
			l.Ours, l.Theirs = append(l.Ours, with.Seconds()*1000/signedOff), append(l.Theirs, less.Seconds()*1000/signedOff)
		}
		lines = append(lines, l)
	}
	b.trace.statements, b.trace.on = nil, true
	b.signed++
	_, err := b.signOne(ctx, b.fleet, false)
	b.trace.on = false
	if err != nil {
		return nil, err
	}
	return lines, b.explain(ctx, "spells_beside", "readings_of_last_year")
}

// signOne has the next inspector inspect the next door, and gives how long the sign-off took.
func (b *bench) signOne(ctx context.Context, f *fleet.Fleet, same bool) (time.Duration, error) {
	who, number := inspector(b.signed%inspectors), b.signed*7
	var door, site uuid.UUID
	if err := b.admin.QueryRow(ctx, "select door_id, site_id from door order by door_id offset $1 limit 1", number%b.doors).Scan(&door, &site); err != nil {
		return 0, err
	}
	// After what the same inspector did before; nobody is at two doors at once.
	visit, at := f.NewID(), f.Now().Add(-4*time.Hour+time.Duration((b.signed+inspectors-1)/inspectors)*30*time.Minute).Truncate(time.Second)
	if _, _, err := f.PutVisit(ctx, who, visit, fleet.Attendance{SiteID: site, ArrivedAt: at, People: []uuid.UUID{who.PersonID}, Doors: []fleet.DoorsOfVisit{{DoorID: door, WorkOrders: []uuid.UUID{}}}}); err != nil {
		return 0, err
	}
	sign := fleet.SignOff{SignedAt: at.Add(50 * time.Minute), LeftAt: at.Add(50 * time.Minute), Statement: "Inspected as recorded.", Signature: "M0 0L9 9"}
	for i, body := range inspection(same) {
		body.DoorID, body.ObservedAt = door, at.Add(time.Duration(i)*time.Minute)
		entry := f.NewID()
		if _, _, err := f.PutEntry(ctx, who, visit, entry, body); err != nil {
			return 0, err
		}
		_, hash, err := seal.Marshal(body)
		if err != nil {
			return 0, err
		}
		sign.Entries = append(sign.Entries, fleet.SignedEntry{EntryID: entry, SHA256: hash})
	}
	began := time.Now()
	_, _, err := f.PutSignOff(ctx, who, visit, sign)
	return time.Since(began), err
}

// inspection is what somebody writes down at a door: the work place made safe, 25 readings, and that the door fails.
// What it reads is the same each time, or never.
func inspection(same bool) []fleet.EntryBody {
	list := []fleet.EntryBody{{Kind: "safe_work", SafeWork: &fleet.EntrySafeWork{Traffic: "barriered", Power: "isolated", Ladder: "not_used", SecondPerson: "there"}}}
	for _, k := range rulebook.Readings() {
		if k.Kind != rulebook.Number || len(list) > 25 {
			continue
		}
		value := (k.Min + k.Max) / 2
		if !same {
			value = k.Min + (k.Max-k.Min)*rand.Float64()
		}
		list = append(list, fleet.EntryBody{Kind: "reading", Reading: &fleet.EntryReading{Name: k.Name, Value: &value}})
	}
	return append(list, fleet.EntryBody{Kind: "conclusion", Conclusion: &fleet.EntryConclusion{Result: "failed"}})
}

// history has one door inspected and copies that: to every door in each of the last years, about the same time of the year, and to what
// everybody inspected today before.
func (b *bench) history(ctx context.Context) error {
	for i := range inspectors {
		who := inspector(i)
		if _, err := b.admin.Exec(ctx, "insert into person (person_id, email, name, role, scope_kind, created_at) values ($1, $2, $3, 'technician', 'all', now())", who.PersonID, fmt.Sprintf("%d@example.com", i), who.Name); err != nil {
			return err
		}
		if _, err := b.admin.Exec(ctx, "insert into qualification (person_id, qualification_id, scheme, number, valid_from, valid_until, recorded_at) values ($1, $2, 'Inspector', '7', '2020-01-01', null, now())", who.PersonID, b.fleet.NewID()); err != nil {
			return err
		}
	}
	if _, err := b.signOne(ctx, b.fleet, true); err != nil {
		return err
	}
	began := time.Now()
	people := make([]uuid.UUID, inspectors)
	for i := range people {
		people[i] = inspector(i).PersonID
	}
	if _, err := b.admin.Exec(ctx, `create temporary table past as
		select d.customer_id, d.site_id, d.door_id, md5(format('visit %s %s', y, d.door_id))::uuid as visit_id, ($1::uuid[])[1 + n % $2] as person_id,
			make_interval(days => 365 * y - (n / ($2 * $3)) % 40, mins => 30 * ((n / $2) % $3)::int) as ago
		from (select *, (row_number() over (order by door_id))::int as n from door) d cross join generate_series(1, $4::int) y
		union all
		select d.customer_id, d.site_id, d.door_id, md5(format('today %s', d.door_id))::uuid, ($1::uuid[])[1 + n % $2], make_interval(mins => 60 + 30 * (n / $2))
		from (select *, (row_number() over (order by door_id))::int as n from door) d where n < $2 * ($3 - 1)`, people, inspectors, doorsOfADay, yearsOfHistory); err != nil {
		return err
	}
	var original uuid.UUID
	if err := b.admin.QueryRow(ctx, "select visit_id from visit_sign_off").Scan(&original); err != nil {
		return err
	}
	for _, statement := range []string{
		`insert into visit select copy.* from visit o cross join past p cross join lateral jsonb_populate_record(o, jsonb_build_object('customer_id', p.customer_id, 'site_id', p.site_id,
			'visit_id', p.visit_id)) as copy where o.visit_id = $1`,
		`insert into visit_entry select copy.* from visit_entry o cross join past p cross join lateral jsonb_populate_record(o, jsonb_build_object('customer_id', p.customer_id, 'site_id', p.site_id,
			'door_id', p.door_id, 'visit_id', p.visit_id, 'entry_id', md5(o.entry_id::text || p.visit_id)::uuid, 'recorded_by', p.person_id, 'observed_at', o.observed_at - p.ago,
			'received_at', o.received_at - p.ago)) as copy where o.visit_id = $1`,
		`insert into visit_sign_off select copy.* from visit_sign_off o cross join past p cross join lateral jsonb_populate_record(o, jsonb_build_object('customer_id', p.customer_id, 'site_id', p.site_id,
			'visit_id', p.visit_id, 'signed_by', p.person_id, 'signed_at', o.signed_at - p.ago)) as copy where o.visit_id = $1`,
		"vacuum analyze",
	} {
		args := []any{original}
		if !strings.Contains(statement, "$1") {
			args = nil
		}
		if _, err := b.admin.Exec(ctx, statement, args...); err != nil {
			return fmt.Errorf("%.60s: %w", statement, err)
		}
	}
	var entries int
	if err := b.admin.QueryRow(ctx, "select count(*) from visit_entry").Scan(&entries); err != nil {
		return err
	}
	fmt.Fprintf(os.Stderr, "%d entries of inspections, copied in %.0f s\n", entries, time.Since(began).Seconds())
	return nil
}

// explain tells how statements that were traced are run, as the role that ran them.
func (b *bench) explain(ctx context.Context, names ...string) error {
	conn, err := b.pool.Acquire(ctx)
	if err != nil {
		return err
	}
	defer conn.Release()
	if _, err := conn.Exec(ctx, "set role lintel_staff"); err != nil {
		return err
	}
	defer func() { _, _ = conn.Exec(ctx, "reset role") }()
	for _, name := range names {
		for _, s := range b.trace.statements {
			if !strings.HasPrefix(s.SQL, "-- "+name+"\n") {
				continue
			}
			rows, err := conn.Query(ctx, "explain (analyze, buffers) "+s.SQL[strings.Index(s.SQL, "\n"):], s.Args...)
			if err != nil {
				return err
			}
			fmt.Fprintln(os.Stderr, name)
			for rows.Next() {
				var text string
				if err := rows.Scan(&text); err != nil {
					return err
				}
				fmt.Fprintln(os.Stderr, "  "+text)
			}
			if err := rows.Err(); err != nil {
				return err
			}
			break
		}
	}
	return nil
}

// unasking is a store in which nothing is asked about entries.
type unasking struct{ fleet.Transactor }

// InTx implements fleet.Transactor.
func (u unasking) InTx(ctx context.Context, by identity.Actor, f func(context.Context, fleet.Tx) error) error {
	return u.Transactor.InTx(ctx, by, func(ctx context.Context, tx fleet.Tx) error { return f(ctx, silentTx{tx}) })
}

// silentTx knows of nothing that a question about entries could follow from.
type silentTx struct{ fleet.Tx }

func (silentTx) LockOddities(context.Context, []uuid.UUID) error { return nil }
func (silentTx) PutOddities(context.Context, uuid.UUID, []fleet.Oddity) error {
	return nil
}
func (silentTx) ReadingsOfLastYear(context.Context, uuid.UUID) ([]fleet.Entry, error) {
	return nil, nil
}
func (silentTx) SpellsBeside(context.Context, uuid.UUID) ([]fleet.Spell, error) { return nil, nil }
func (silentTx) PhotosBefore(context.Context, uuid.UUID) ([]fleet.PhotoUse, error) {
	return nil, nil
}
func (silentTx) VisitsHeldAgainst(context.Context, uuid.UUID) ([]uuid.UUID, error) { return nil, nil }
