package drills

import (
	"bytes"
	"encoding/json"
	"fmt"
	"net/http"
	"time"

	"github.com/jackc/pgx/v5"

	"lintel.example/lintel/internal/seal"
)

// checker holds what is there, through the API and in the tables themselves, against what was acknowledged.
type checker struct {
	*world
	history    *history
	nights     int
	conn       *pgx.Conn
	complaints []string
}

// check lists everything that does not hold. An error is that it could not look.
func (w *world) check(h *history, nights int) ([]string, error) {
	conn, err := w.sql()
	if err != nil {
		return nil, err
	}
	defer conn.Close(w.ctx)
	c := &checker{world: w, history: h, nights: nights, conn: conn}
	for _, look := range []func() error{c.entries, c.attendances, c.photos, c.signOffs, c.consequences, c.visitsOverAPI, c.photosOverAPI, c.orders, c.ledger} {
		if err := look(); err != nil {
			return nil, err
		}
	}
	return c.complaints, nil
}

func (c *checker) complain(format string, args ...any) {
	c.complaints = append(c.complaints, fmt.Sprintf(format, args...))
}

// kept is a row that keeps bytes under their hash.
type kept struct {
	ID        string
	Visit     string
	Canonical []byte
	SHA256    []byte `db:"sha256"`
}

// keptOnce holds rows against what was acknowledged: each there once, with that hash, which is that of its bytes,
// and nothing besides.
func (c *checker) keptOnce(kind, sql string) error {
	rows, err := c.conn.Query(c.ctx, sql)
	if err != nil {
		return err
	}
	list, err := pgx.CollectRows(rows, pgx.RowToStructByName[kept])
	if err != nil {
		return err
	}
	there := map[string][]kept{}
	for _, k := range list {
		there[k.ID] = append(there[k.ID], k)
	}
	for _, th := range c.history.things(kind) {
		found := there[th.id]
		delete(there, th.id)
		if len(found) != 1 {
			c.complain("%s %s was acknowledged and is there %d times", kind, th.id, len(found))
			continue
		}
		k := found[0]
		if hash := fmt.Sprintf("%x", k.SHA256); hash != th.sha256 || seal.HashOf(k.Canonical).String() != hash {
			c.complain("%s %s was acknowledged as %s; its row says %s, its bytes %s", kind, th.id, th.sha256, hash, seal.HashOf(k.Canonical))
		}
		if k.Visit != th.visit {
			c.complain("%s %s is in visit %s, not %s", kind, th.id, k.Visit, th.visit)
		}
	}
	for id := range there {
		c.complain("%s %s is there and nobody was told", kind, id)
	}
	return nil
}

func (c *checker) entries() error {
	return c.keptOnce("entry", "select entry_id::text as id, visit_id::text as visit, canonical, sha256 from visit_entry")
}

func (c *checker) attendances() error {
	return c.keptOnce("attendance", "select visit_id::text as id, visit_id::text as visit, canonical, sha256 from visit")
}

// signOffs: the signed record is what a signature stands for.
func (c *checker) signOffs() error {
	if err := c.keptOnce("sign-off", "select subject_id::text as id, subject_id::text as visit, canonical, sha256 from record_log where kind = 'visit'"); err != nil {
		return err
	}
	rows, err := c.conn.Query(c.ctx, `select s.visit_id::text from visit_sign_off s
		full join record_log r on r.kind = 'visit' and r.subject_id = s.visit_id and r.sha256 = s.record_sha256 where r.seq is null or s.visit_id is null`)
	if err != nil {
		return err
	}
	odd, err := pgx.CollectRows(rows, pgx.RowTo[*string])
	for range odd {
		c.complain("a sign-off and its record do not go together")
	}
	return err
}

func (c *checker) photos() error {
	rows, err := c.conn.Query(c.ctx, "select encode(sha256, 'hex'), count(*) from photo group by sha256")
	if err != nil {
		return err
	}
	there := map[string]int{}
	var hash string
	var count int
	if _, err := pgx.ForEachRow(rows, []any{&hash, &count}, func() error { there[hash] = count; return nil }); err != nil {
		return err
	}
	for _, th := range c.history.things("photo") {
		if there[th.id] != 1 {
			c.complain("photo %s was acknowledged and is there %d times", th.id, there[th.id])
		}
	}
	return nil
}

// consequences: what follows from an entry was written in its transaction.
func (c *checker) consequences() error {
	rows, err := c.conn.Query(c.ctx, `select e.entry_id::text, (select count(*) from finding f where f.entry_id = e.entry_id),
		(select count(*) from work_order o where o.door_id = e.door_id and o.origin_visit_id = e.visit_id) from visit_entry e where e.kind = 'finding'`)
	if err != nil {
		return err
	}
	type count struct{ findings, repairs int }
	there := map[string]count{}
	var id string
	var n count
	if _, err := pgx.ForEachRow(rows, []any{&id, &n.findings, &n.repairs}, func() error { there[id] = n; return nil }); err != nil {
		return err
	}
	for _, th := range c.history.things("entry") {
		if n := there[th.id]; th.repair && n != (count{1, 1}) {
			c.complain("entry %s led to %d findings and %d corrective work orders", th.id, n.findings, n.repairs)
		}
	}
	return nil
}

// visitsOverAPI: everybody who asks sees each entry once, with the acknowledged hash.
func (c *checker) visitsOverAPI() error {
	seen := map[string][]string{}
	for _, th := range c.history.things("attendance") {
		status, raw, err := c.technician.ask(c.ctx, http.MethodGet, "/v1/visits/"+th.id, "", nil, 0)
		if err != nil {
			return err
		}
		var visit struct {
			SHA256       string `json:"sha256"`
			RecordSHA256 string `json:"record_sha256"`
			Entries      []struct {
				EntryID string          `json:"entry_id"`
				SHA256  string          `json:"sha256"`
				Entry   json.RawMessage `json:"entry"`
			} `json:"entries"`
		}
		if err := json.Unmarshal(raw, &visit); err != nil {
			return err
		}
		if status != http.StatusOK || visit.SHA256 != th.sha256 {
			c.complain("visit %s answers %d with hash %s, not %s", th.id, status, visit.SHA256, th.sha256)
		}
		seen[th.id+" signed"] = []string{visit.RecordSHA256}
		for _, e := range visit.Entries {
			if seal.HashOf(e.Entry).String() == e.SHA256 {
				seen[th.id+" "+e.EntryID] = append(seen[th.id+" "+e.EntryID], e.SHA256)
			}
		}
	}
	for _, th := range c.history.things("entry") {
		if hashes := seen[th.visit+" "+th.id]; len(hashes) != 1 || hashes[0] != th.sha256 {
			c.complain("entry %s was acknowledged as %s; the API answers %v", th.id, th.sha256, hashes)
		}
	}
	for _, th := range c.history.things("sign-off") {
		if hashes := seen[th.visit+" signed"]; len(hashes) != 1 || hashes[0] != th.sha256 {
			c.complain("sign-off %s was acknowledged as %s; the API answers %v", th.id, th.sha256, hashes)
		}
	}
	return nil
}

func (c *checker) photosOverAPI() error {
	for _, th := range c.history.things("photo") {
		status, data, err := c.technician.ask(c.ctx, http.MethodGet, "/v1/photos/"+th.id, "", bytes.NewReader(nil), 0)
		if err != nil {
			return err
		}
		if hash := seal.HashOf(data).String(); status != http.StatusOK || hash != th.id {
			c.complain("photo %s answers %d with bytes of hash %s", th.id, status, hash)
		}
	}
	return nil
}

// orders: one work order for every door and period that has fallen due, none for those to come.
func (c *checker) orders() error {
	for i, p := range c.plans {
		want := 0
		if i/aDay < c.nights {
			want = 1
		}
		var count, ofPeriod int
		if err := c.conn.QueryRow(c.ctx, "select count(*), count(*) filter (where period = $2) from work_order where door_id = $1", p.door, p.due).Scan(&count, &ofPeriod); err != nil {
			return err
		}
		if count != want || ofPeriod != want {
			c.complain("door %s, due on %s, has %d work orders instead of %d", p.door, p.due.Format(time.DateOnly), count, want)
		}
	}
	return nil
}

// ledger: every night's run is done.
func (c *checker) ledger() error {
	var done int
	err := c.conn.QueryRow(c.ctx, "select count(*) from job_run where job = 'due_work_orders' and state = 'done'").Scan(&done)
	if done != c.nights {
		c.complain("%d of %d nightly jobs are done", done, c.nights)
	}
	return err
}
