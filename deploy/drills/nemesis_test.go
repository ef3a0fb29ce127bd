package drills

import (
	"errors"
	"fmt"
	"net/http"
	"path/filepath"
	"time"
)

// drill is one kill: who dies where. A drill of the nightly job kills the job's own process, or PostgreSQL under it.
type drill struct {
	kind   string
	victim string // server, job, database
	where  place
}

const (
	beforeTheCommit = "before commit"
	beforeAnswer    = "between commit and answer"
	duringPhoto     = "during a photo"
	duringJob       = "during the nightly job"
)

// shortDrills go with the other tests: one of each kind.
func shortDrills() []drill {
	return []drill{
		{beforeTheCommit, "server", beforeCommit("insert_entry")},
		{duringJob, "database", afterCommit("insert_due_orders")},
		{beforeAnswer, "database", afterCommit("insert_entry")},
		{duringPhoto, "server", before("insert_photo")},
	}
}

// longDrills strike everywhere: the piece itself, what follows from it, the signature; the photo's bytes, the moment
// when they have their name but no row; the job's work and its line in the ledger.
func longDrills() []drill {
	var list []drill
	for _, victim := range []string{"server", "database"} {
		for _, statement := range []string{"insert_entry", "upsert_repairs", "insert_sign_off"} {
			list = append(list, drill{beforeTheCommit, victim, beforeCommit(statement)}, drill{beforeAnswer, victim, afterCommit(statement)})
		}
		for _, where := range []place{halfPhoto, before("insert_photo"), afterCommit("insert_photo")} {
			list = append(list, drill{duringPhoto, victim, where})
		}
	}
	for _, victim := range []string{"job", "database"} {
		for _, where := range []place{beforeCommit("insert_due_orders"), afterCommit("insert_due_orders"), beforeCommit("finish_run")} {
			list = append(list, drill{duringJob, victim, where})
		}
	}
	return list
}

// jobs counts the drills that need a day of their own.
func jobs(list []drill) (count int) {
	for _, d := range list {
		if d.kind == duringJob {
			count++
		}
	}
	return count
}

// nemesis kills and starts again, and does nothing else: whatever has to be put right, the program does by itself.
type nemesis struct {
	*world
	history *history
	nights  int // days for which the nightly job has run
	kills   map[string]int
}

// strike does one drill, and waits until pieces are acknowledged again.
func (n *nemesis) strike(d drill) error {
	work := func() error { return nil }
	at, victim := &n.atServer.traps, make(chan killable, 1)
	switch {
	case d.where == halfPhoto:
		at = n.half
	case d.kind == duringJob:
		at = &n.atJob.traps
		work = func() error { return n.night(d.victim, victim) }
	}
	switch d.victim {
	case "server":
		victim <- n.server
	case "database":
		victim <- n.database
	}
	sprung := at.set(d.where, func() verdict {
		(<-victim).kill()
		return cut
	})
	if err := work(); err != nil {
		return fmt.Errorf("%s %s: %w", d.victim, d.where, err)
	}
	select {
	case <-sprung:
	case <-time.After(patience):
		return fmt.Errorf("nobody came to the place %s", d.where)
	}
	n.kills[d.kind]++
	if err := n.recover(d); err != nil {
		return fmt.Errorf("%s %s: %w", d.victim, d.where, err)
	}
	return nil
}

// killable is a victim.
type killable interface{ kill() }

// recover starts what is dead, and waits for /readyz and for pieces to be acknowledged.
func (n *nemesis) recover(d drill) error {
	var err error
	switch d.victim {
	case "server":
		err = n.server.start()
	case "database":
		if status, err := n.server.readiness(); status != http.StatusServiceUnavailable {
			return fmt.Errorf("without a database /readyz answers %d: %w", status, err)
		}
		err = n.database.start()
	}
	if err != nil {
		return err
	}
	if err := n.server.ready(); err != nil {
		return err
	}
	if d.kind == duringJob {
		if err := n.nextTime(); err != nil {
			return err
		}
	}
	return n.acknowledged(20)
}

// acknowledged waits for so many acknowledgements.
func (n *nemesis) acknowledged(count int) error {
	begun := n.history.count()
	for end := time.Now().Add(patience); n.history.count() < begun+count; time.Sleep(5 * time.Millisecond) {
		if time.Now().After(end) {
			return fmt.Errorf("%d pieces acknowledged since, not %d", n.history.count()-begun, count)
		}
	}
	return nil
}

// day is the day of the latest night.
func (n *nemesis) day() string { return n.firstDue.AddDate(0, 0, n.nights-1).Format(time.DateOnly) }

// job starts the nightly job as a process of its own.
func (n *nemesis) job(name string) (*process, error) {
	return launch(n.lintel(n.atJob, "job", "due_work_orders", "--as-of", n.day()), filepath.Join(n.dir, fmt.Sprintf("job-%d-%s.log", n.nights, name)))
}

// night runs the nightly job of the next day until something kills it, or what it works on.
func (n *nemesis) night(who string, victim chan<- killable) error {
	n.nights++
	p, err := n.job("killed")
	if err != nil {
		return err
	}
	if who == "job" {
		victim <- p
	}
	<-p.exited
	if p.err == nil {
		return fmt.Errorf("the job ended well: %s", p.said())
	}
	return nil
}

// nextTime is the next time that the job's turn comes.
func (n *nemesis) nextTime() error {
	if err := n.hourPasses(); err != nil {
		return err
	}
	p, err := n.job("again")
	if err != nil {
		return err
	}
	<-p.exited
	if p.err != nil {
		return fmt.Errorf("the job does not go on: %w: %s", p.err, p.said())
	}
	return nil
}

// hourPasses makes what was begun an hour older. What somebody began and did not end counts as abandoned after a
// while, which is too long to wait for.
func (n *nemesis) hourPasses() error {
	return errors.Join(n.exec("update job_run set started_at = started_at - interval '1 hour' where state = 'running'"),
		n.exec("update river_job set attempted_at = attempted_at - interval '1 hour' where state = 'running'"))
}

// serversNight has the server itself run the job that has fallen due, kills it in the middle, and waits until the
// server, started again, has done it: nobody helps but the clock.
func (n *nemesis) serversNight() error {
	n.nights++
	sprung := n.atServer.set(beforeCommit("insert_due_orders"), func() verdict {
		n.server.kill()
		return cut
	})
	n.server.kill()
	n.server.worker = true
	if err := n.server.start(); err != nil {
		return err
	}
	select {
	case <-sprung:
	case <-time.After(2 * patience): // it looks each minute
		return errors.New("the server does not run the job that is due")
	}
	n.kills[duringJob]++
	if err := n.hourPasses(); err != nil {
		return err
	}
	if err := n.server.start(); err != nil {
		return err
	}
	return n.latestDone()
}

// latestDone waits until the ledger has the latest run as done.
func (n *nemesis) latestDone() error {
	conn, err := n.sql()
	if err != nil {
		return err
	}
	defer conn.Close(n.ctx)
	state := ""
	for end := time.Now().Add(2 * patience); time.Now().Before(end); time.Sleep(200 * time.Millisecond) {
		if err := conn.QueryRow(n.ctx, "select state from job_run where job = 'due_work_orders' order by scheduled_for desc limit 1").Scan(&state); err != nil {
			return err
		}
		if state == "done" {
			return nil
		}
	}
	return fmt.Errorf("the latest run of the job is %s", state)
}
