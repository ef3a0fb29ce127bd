package archive

import (
	"context"
	"os"
	"path/filepath"
	"runtime"
	"testing"
	"time"

	"lintel.example/lintel/internal/store"
	"lintel.example/lintel/internal/store/storetest"
	"lintel.example/lintel/internal/words"
)

// tenThousandDoors multiplies the rows of the world's first door, with a visit of ten entries at each.
const tenThousandDoors = `
set session_replication_role = replica; -- spares the checks of what is right by its making
insert into customer (customer_id, name, created_at, created_by) select md5('c' || n)::uuid, 'Customer ' || n, now(), md5('technician')::uuid from generate_series(1, 100) n;
insert into site (customer_id, site_id, name, country, jurisdiction, time_zone, created_at, created_by)
	select md5('c' || (n - 1) / 10 + 1)::uuid, md5('s' || n)::uuid, 'Site ' || n, 'US', 'US-CA', 'UTC', now(), md5('technician')::uuid from generate_series(1, 1000) n;
create temporary table spot as select s.customer_id, s.site_id, md5('d' || n)::uuid as door_id, n from generate_series(1, 10000) n join site s on s.site_id = md5('s' || (n - 1) / 10 + 1)::uuid;
analyze;
insert into door select customer_id, site_id, door_id, (50000000 + n)::text, 'Door ' || n, '2026-01-01', now(), md5('technician')::uuid from spot;
insert into door_version select r.* from spot, (select v from door_version v limit 1) w, lateral jsonb_populate_record(w.v, jsonb_build_object('customer_id', spot.customer_id, 'site_id', spot.site_id, 'door_id', spot.door_id, 'version_id', spot.door_id)) r;
insert into door_leaf (customer_id, site_id, door_id, version_id, leaf_no, motion, hinge, opens_towards) select customer_id, site_id, door_id, door_id, k, 'slide', 'none', 'left' from spot, generate_series(1, 2) k;
insert into component (customer_id, site_id, door_id, component_id, kind, model_text, recorded_at, recorded_by)
	select customer_id, site_id, door_id, md5(n || 'p' || k)::uuid, 'sensor', 'radar', now(), door_id from spot, generate_series(1, 3) k;
analyze component;
insert into component_version select r.* from component p join spot using (door_id), (select v from component_version v limit 1) w, lateral jsonb_populate_record(w.v, jsonb_build_object('customer_id', p.customer_id, 'site_id', p.site_id, 'door_id', p.door_id, 'component_id', p.component_id,
	'version_id', p.component_id, 'wired_to', null)) r;
insert into revision select r.* from component p join spot using (door_id), (select v from revision v limit 1) w, lateral jsonb_populate_record(w.v, jsonb_build_object('customer_id', p.customer_id, 'site_id', p.site_id, 'door_id', p.door_id, 'component_id', p.component_id,
	'revision_id', p.component_id)) r;
insert into inspection_plan select r.* from spot, (select v from inspection_plan v limit 1) w, lateral jsonb_populate_record(w.v, jsonb_build_object('customer_id', spot.customer_id, 'site_id', spot.site_id, 'door_id', spot.door_id, 'plan_id', spot.door_id)) r;
insert into visit select customer_id, site_id, md5(n || 'v' || k)::uuid, '{"a":1}', sha256('{"a":1}'), now(), now(), door_id from spot, generate_series(1, 1) k;
insert into visit_entry (customer_id, site_id, door_id, visit_id, entry_id, kind, observed_at, received_at, recorded_by, canonical, sha256)
	select customer_id, site_id, door_id, md5(n || 'v1')::uuid, md5(n || 'e' || e)::uuid, 'note', now(), now(), door_id, c, sha256(c)
	from spot, generate_series(0, 9) e, lateral (select convert_to(format('{"kind":"note","n":%s,"text":"%s"}', e, repeat('seen at the door, ', 20)), 'UTF8') as c) t;
insert into record_log (kind, customer_id, site_id, subject_id, canonical, sha256, recorded_at, recorded_by)
	select 'visit', customer_id, site_id, visit_id, c, sha256(c), now(), visit_id from visit, lateral (select convert_to('{"visit":"' || visit_id || repeat('x', 2000) || '"}', 'UTF8') as c) t where site_id in (select site_id from spot);
insert into report (customer_id, site_id, door_id, report_id, canonical, sha256, pdf, pdf_sha256, made_at, made_by)
	select customer_id, site_id, door_id, door_id, '{"a":1}', sha256('{"a":1}'), p, sha256(p), now(), door_id from spot,
	lateral (select decode(string_agg(md5(n || ' ' || k), ''), 'hex') as p from generate_series(1, 2000) k) t where n % 10 = 0;
set session_replication_role = origin`

// Once is enough: -benchtime 1x.
func BenchmarkTenThousandDoorsThereAndBack(b *testing.B) {
	w := newWorld(b)
	if _, err := w.db.Admin.Exec(b.Context(), tenThousandDoors); err != nil {
		b.Fatal(err)
	}
	catalogue, err := words.Load()
	if err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		var most uint64
		tell := func(string, int64, bool) {
			var m runtime.MemStats
			runtime.ReadMemStats(&m)
			most = max(most, m.HeapInuse)
		}
		took := func(name string, do func() error) {
			start := time.Now()
			if err := do(); err != nil {
				b.Fatal(err)
			}
			b.ReportMetric(time.Since(start).Seconds(), name+"_s")
		}
		parent := b.TempDir()
		var m Manifest
		took("export", func() (err error) {
			m, err = Export(b.Context(), store.New(w.db.App, "lintel"), w.photos, catalogue.Printer("en", words.Metric), filepath.Join(parent, "export"), tell)
			return err
		})
		empty, photos := storetest.New(b), photoDir(b)
		took("refill", func() error {
			e, err := OpenExport(filepath.Join(parent, "export"))
			if err != nil {
				return err
			}
			return e.Refill(b.Context(), empty.AdminURL, "lintel", photos, tell)
		})
		took("backup", func() error {
			_, _, err := Backup(context.WithoutCancel(b.Context()), w.source(), filepath.Join(parent, "backups"), 0)
			return err
		})
		again := filepath.Join(parent, "again")
		if _, err := Export(b.Context(), store.New(empty.App, "lintel"), photos, catalogue.Printer("en", words.Metric), again, tell); err != nil {
			b.Fatal(err)
		}
		one, err1 := os.ReadFile(filepath.Join(parent, "export", sumsName))
		other, err2 := os.ReadFile(filepath.Join(again, sumsName))
		if err1 != nil || err2 != nil || string(one) != string(other) {
			b.Fatalf("the second export differs: %v, %v", err1, err2)
		}
		rows := int64(0)
		for _, n := range m.Tables {
			rows += n
		}
		b.ReportMetric(float64(rows), "rows")
		b.ReportMetric(float64(m.SizeBytes)/1e6, "export_MB")
		b.ReportMetric(float64(most)/1e6, "heap_MB")
	}
}
