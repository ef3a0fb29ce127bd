package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"os"
	"strings"
	"syscall"
	"time"

	"github.com/jackc/pgx/v5/pgxpool"

	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/identity"
	"lintel.example/lintel/internal/seal"
	"lintel.example/lintel/internal/store"
	"lintel.example/lintel/internal/words"
	"lintel.example/lintel/jobs"
)

// doctorCmd looks at an installation and says of each thing whether it is right.
type doctorCmd struct {
	settings
	BackupAge time.Duration `default:"36h" help:"How old the last good backup may be."`
	JSON      bool          `name:"json" help:"One JSON array instead of lines."`
}

// What counts as wrong. Common practice, no source.
const (
	mostClockDrift = time.Minute
	leastFreeBytes = 1 << 30
	leastFreeShare = 0.05
)

// finding is what one check says.
type finding struct {
	Check string `json:"check"`
	OK    bool   `json:"ok"`
	Says  string `json:"says"`
}

// Run looks at everything, also after something is wrong, and fails if anything is.
func (c *doctorCmd) Run(ctx context.Context) (err error) {
	if err := c.check(); err != nil {
		return err
	}
	catalogue, err := words.Load()
	if err != nil {
		return err
	}
	r, err := c.reach(ctx)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, r.close(context.WithoutCancel(ctx))) }()
	d, err := c.doctor(ctx, r.appURL, catalogue.Printer("en", words.Metric))
	if err != nil {
		return err
	}
	defer d.close()
	d.look(ctx)
	return d.print(c.JSON)
}

// doctor is what the checks need, and what they found.
type doctor struct {
	*doctorCmd
	texts  words.Printer
	pool   *pgxpool.Pool
	store  *store.Store
	fleet  *fleet.Fleet
	photos *store.PhotoDir
	found  []finding
}

func (c *doctorCmd) doctor(ctx context.Context, appURL string, texts words.Printer) (*doctor, error) {
	pool, err := pgxpool.New(ctx, appURL)
	if err != nil {
		return nil, errors.New("the database address cannot be read") // the driver's error would print it
	}
	keys, err := c.keys()
	if err != nil {
		return nil, err
	}
	photos, err := store.OpenPhotoDir(c.photoDir())
	if err != nil {
		return nil, err
	}
	schedules, err := jobs.Schedules()
	if err != nil {
		return nil, err
	}
	database := store.New(pool, c.RolePrefix)
	return &doctor{doctorCmd: c, texts: texts, pool: pool, store: database, photos: photos,
		fleet: fleet.New(fleet.Parts{Store: database, Keys: keys, Now: now, NewID: newID, Schedules: schedules})}, nil
}

func (d *doctor) close() {
	_ = d.photos.Close()
	d.pool.Close()
}

// look makes all checks. Those of rows need a database with the schema that this program knows.
func (d *doctor) look(ctx context.Context) {
	answers := d.note(ctx, "database", d.database)
	d.note(ctx, "login", d.only(answers, d.login))
	known := d.note(ctx, "schema", d.only(answers, d.schema))
	d.note(ctx, "walls", d.only(answers, d.walls))
	d.note(ctx, "documents", d.only(known, d.documents))
	d.note(ctx, "photos", d.only(known, d.photosWhole))
	d.note(ctx, "codes", d.only(known, d.codes))
	d.note(ctx, "clock", d.only(answers, d.clock))
	d.note(ctx, "space", d.space)
	d.note(ctx, "backup", d.only(known, d.backup))
	d.note(ctx, "jobs", d.only(known, d.jobs))
}

// check looks at one thing: whether it is right, and what to say of it.
type check func(context.Context) (ok bool, says string, err error)

// note makes a check and writes down what it found.
func (d *doctor) note(ctx context.Context, name string, look check) bool {
	ok, says, err := look(ctx)
	if err != nil {
		ok, says = false, d.texts.T("doctor.failed", "error", strings.ReplaceAll(err.Error(), "\n", " "))
	}
	d.found = append(d.found, finding{name, ok, says})
	return ok
}

// only makes a check of one that cannot be made.
func (d *doctor) only(can bool, look check) check {
	if can {
		return look
	}
	return func(context.Context) (bool, string, error) { return false, d.texts.T("doctor.not_looked_at"), nil }
}

func (d *doctor) database(ctx context.Context) (bool, string, error) {
	s, err := d.store.Server(ctx)
	if err != nil {
		return false, "", err
	}
	if s.TooOld {
		return false, d.texts.T("doctor.database.too_old", "version", s.Version), nil
	}
	return true, d.texts.T("doctor.database.fine", "version", s.Version, "mb", s.SizeBytes>>20), nil
}

func (d *doctor) login(ctx context.Context) (bool, string, error) {
	l, err := d.store.Login(ctx)
	switch {
	case err != nil:
		return false, "", err
	case l.Powerful:
		return false, d.texts.T("doctor.login.powerful", "name", l.Name), nil
	case l.Owns:
		return false, d.texts.T("doctor.login.owns", "name", l.Name), nil
	case l.HasRights:
		return false, d.texts.T("doctor.login.has_rights", "name", l.Name), nil
	case len(l.Lacks) > 0:
		return false, d.texts.T("doctor.login.lacks", "name", l.Name, "roles", strings.Join(l.Lacks, ", ")), nil
	}
	return true, d.texts.T("doctor.login.fine", "name", l.Name), nil
}

func (d *doctor) schema(ctx context.Context) (bool, string, error) {
	if err := store.CheckVersion(ctx, d.pool); err != nil {
		return false, d.texts.T("doctor.schema.differs", "error", err.Error()), nil
	}
	return true, d.texts.T("doctor.schema.fine", "version", store.LatestVersion()), nil
}

func (d *doctor) walls(ctx context.Context) (bool, string, error) {
	w, err := d.store.Walls(ctx)
	switch {
	case err != nil:
		return false, "", err
	case len(w.Open) > 0:
		return false, d.texts.T("doctor.walls.open", "tables", strings.Join(w.Open, ", ")), nil
	}
	return true, d.texts.T("doctor.walls.fine", "count", w.Tables), nil
}

func (d *doctor) documents(ctx context.Context) (bool, string, error) {
	found, err := d.store.Documents(ctx)
	switch {
	case err != nil:
		return false, "", err
	case len(found.Broken) > 0:
		return false, d.texts.T("doctor.documents.broken", "what", strings.Join(found.Broken, ", ")), nil
	}
	return true, d.texts.T("doctor.documents.fine", "count", int(found.Whole)), nil
}

func (d *doctor) photosWhole(ctx context.Context) (bool, string, error) {
	whole, broken, first := 0, 0, ""
	err := d.store.Photos(ctx, func(hash seal.Hash, _ int64) error {
		switch {
		case d.photos.Intact(hash):
			whole++
		case broken == 0:
			first = hash.String()
			fallthrough
		default:
			broken++
		}
		return context.Cause(ctx)
	})
	switch {
	case err != nil:
		return false, "", err
	case broken > 0:
		return false, d.texts.T("doctor.photos.broken", "count", broken, "what", first), nil
	}
	return true, d.texts.T("doctor.photos.fine", "count", whole), nil
}

func (d *doctor) codes(ctx context.Context) (bool, string, error) {
	n, shut, err := d.fleet.CheckCodes(ctx)
	switch {
	case err != nil:
		return false, "", err
	case n > 0 && d.fleet.Keys == nil:
		return false, d.texts.T("doctor.codes.no_keys", "count", n), nil
	case len(shut) > 0:
		return false, d.texts.T("doctor.codes.shut", "count", len(shut), "what", shut[0].Kind+" "+shut[0].ID.String()), nil
	}
	return true, d.texts.T("doctor.codes.fine", "count", n), nil
}

func (d *doctor) clock(ctx context.Context) (bool, string, error) {
	s, err := d.store.Server(ctx)
	if err != nil {
		return false, "", err
	}
	apart := now().Sub(s.Now).Abs()
	if apart > mostClockDrift {
		return false, d.texts.T("doctor.clock.differs", "seconds", int(apart.Seconds())), nil
	}
	return true, d.texts.T("doctor.clock.fine", "seconds", int(apart.Seconds())), nil
}

// space looks at every place on this machine that grows.
func (d *doctor) space(context.Context) (bool, string, error) {
	least := uint64(math.MaxUint64)
	var short []string
	for _, place := range []string{d.DataDir, d.photoDir(), d.BackupDir} {
		if place == "" {
			continue
		}
		var disk syscall.Statfs_t
		if err := syscall.Statfs(place, &disk); err != nil {
			return false, "", &os.PathError{Op: "look at", Path: place, Err: err}
		}
		free, all := disk.Bavail*uint64(disk.Bsize), disk.Blocks*uint64(disk.Bsize)
		least = min(least, free)
		if free < leastFreeBytes || float64(free) < leastFreeShare*float64(all) {
			short = append(short, d.texts.T("doctor.space.place", "place", place, "free", inGB(free)))
		}
	}
	if len(short) > 0 {
		return false, d.texts.T("doctor.space.short", "places", strings.Join(short, ", ")), nil
	}
	return true, d.texts.T("doctor.space.fine", "free", inGB(least)), nil
}

func inGB(bytes uint64) string { return fmt.Sprintf("%.1f GB", float64(bytes)/1e9) }

func (d *doctor) backup(ctx context.Context) (bool, string, error) {
	_, last, err := d.fleet.Backups(ctx, identity.Program(), fleet.BackupQuery{Limit: 1})
	if err != nil {
		return false, "", err
	}
	if last.IsZero() {
		return false, d.texts.T("doctor.backup.never"), nil
	}
	age := now().Sub(last)
	if age > d.BackupAge {
		return false, d.texts.T("doctor.backup.old", "hours", int(age.Hours()), "most", int(d.BackupAge.Hours())), nil
	}
	return true, d.texts.T("doctor.backup.fine", "hours", int(age.Hours())), nil
}

// jobs asks the ledger whether each job's latest due instant is done.
func (d *doctor) jobs(ctx context.Context) (bool, string, error) {
	states, err := d.fleet.JobStates(ctx, identity.Program())
	if err != nil {
		return false, "", err
	}
	var behind []string
	for _, s := range states {
		if !s.MissedAt.IsZero() {
			behind = append(behind, d.texts.T("doctor.jobs.since", "job", s.Job, "when", s.MissedAt.Format("2006-01-02 15:04 MST")))
		}
	}
	if len(behind) > 0 {
		return false, d.texts.T("doctor.jobs.behind", "what", strings.Join(behind, ", ")), nil
	}
	return true, d.texts.T("doctor.jobs.fine", "count", len(states)), nil
}

// print writes what was found; something wrong is an error.
func (d *doctor) print(asJSON bool) error {
	wrong := 0
	for _, f := range d.found {
		word := d.texts.T("doctor.ok")
		if !f.OK {
			word = d.texts.T("doctor.wrong")
			wrong++
		}
		if !asJSON {
			fmt.Printf("%-6s %-20s %s\n", word, d.texts.T("doctor.check."+f.Check), f.Says)
		}
	}
	if asJSON {
		text, err := json.MarshalIndent(d.found, "", "  ")
		if err != nil {
			return err
		}
		fmt.Println(string(text))
	}
	if wrong > 0 {
		return errors.New(d.texts.T("doctor.sum", "count", wrong, "all", len(d.found)))
	}
	return nil
}
