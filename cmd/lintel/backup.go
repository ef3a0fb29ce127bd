package main

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"

	"github.com/jackc/pgx/v5/pgxpool"

	"lintel.example/lintel/internal/archive"
	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/localpg"
	"lintel.example/lintel/internal/store"
)

// reached is the database of an installation as it is: not migrated, and beside a service that may be running.
type reached struct {
	appURL, adminURL string // adminURL is empty where nobody has given one
	close            func(context.Context) error
}

// reach finds the database: the one that is named, the private one that another process runs, or the private one that
// nobody runs, which is started for so long.
func (s *settings) reach(ctx context.Context) (reached, error) {
	if s.DatabaseURL != "" || s.DataDir == "" {
		return reached{s.DatabaseURL, s.AdminDatabaseURL, func(context.Context) error { return nil }}, nil
	}
	folder := filepath.Join(s.DataDir, "database")
	if _, err := os.Stat(folder); err != nil {
		return reached{}, badInput{fmt.Errorf("--data-dir: there is no database in %s", s.DataDir)}
	}
	server, err := localpg.Start(ctx, localpg.Options{DataDir: folder, BinDir: s.PostgresBin, Durable: true})
	if errors.Is(err, localpg.ErrInUse) {
		app, err1 := localpg.Neighbour(folder, s.RolePrefix+"_app", "lintel")
		admin, err2 := localpg.Neighbour(folder, "postgres", "lintel")
		return reached{app, admin, func(context.Context) error { return nil }}, errors.Join(err1, err2)
	}
	if err != nil {
		return reached{}, err
	}
	return reached{server.URL(s.RolePrefix+"_app", "lintel"), server.URL("postgres", "lintel"), server.Stop}, nil
}

// backupCmd writes a backup.
type backupCmd struct {
	settings
	To       string `placeholder:"DIR" help:"Folder that the backup is written into, as a folder of its own; LINTEL_BACKUP_DIR if empty. On another disk, and copied to another place."`
	Keep     int    `placeholder:"N" help:"How many complete backups stay; older ones are removed after a complete one. LINTEL_BACKUP_KEEP if not given, 0: all."`
	WithKeys bool   `help:"Put the key file into the backup: whoever has the backup then reads every lock and key-safe code."`
}

// check names what is wrong with what was given, after what is given for every night has filled the gaps.
func (c *backupCmd) check() error {
	c.BackupDir = cmp.Or(c.To, c.BackupDir)
	c.BackupKeep = cmp.Or(c.Keep, c.BackupKeep)
	c.BackupWithKeys = c.WithKeys || c.BackupWithKeys
	faults := []error{c.settings.check()}
	if c.BackupDir == "" {
		faults = append(faults, errors.New("neither --to nor LINTEL_BACKUP_DIR is given"))
	}
	if c.DatabaseURL != "" && c.AdminDatabaseURL == "" {
		faults = append(faults, errors.New("LINTEL_ADMIN_DATABASE_URL is not set: a backup needs a login that sees all rows"))
	}
	if err := errors.Join(faults...); err != nil {
		return badInput{err}
	}
	return nil
}

// Run writes the backup, says what is in it, and writes down in the database what came of it.
func (c *backupCmd) Run(ctx context.Context) (err error) {
	if err := c.check(); err != nil {
		return err
	}
	r, err := c.reach(ctx)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, r.close(context.WithoutCancel(ctx))) }()
	run, m, err := c.backUp(ctx, r.adminURL)
	if told := c.record(context.WithoutCancel(ctx), r, run); told != nil {
		fmt.Fprintln(os.Stderr, "lintel: the database was not told of the backup:", told)
	}
	if err != nil {
		return err
	}
	fmt.Printf("%s: %d rows, %d photos, %d signed records, %d bytes\n", run.Folder, sum(m.Tables), m.Photos, m.SignedRecords, run.SizeBytes)
	warnOfKeys(m)
	return incomplete(run)
}

// incomplete is the error of a backup that lacks something.
func incomplete(run fleet.BackupRun) error {
	if run.Outcome == "good" {
		return nil
	}
	return fmt.Errorf("the backup is not complete: %s", run.Note)
}

// backUp writes a backup and tells what came of it.
func (s *settings) backUp(ctx context.Context, adminURL string) (run fleet.BackupRun, m archive.Manifest, err error) {
	run = fleet.BackupRun{BackupID: newID(), BeganAt: now(), Folder: s.BackupDir, WithKeys: s.BackupWithKeys, Outcome: "good"}
	name, m, err := s.writeBackup(ctx, adminURL)
	run.EndedAt, run.SizeBytes = now(), m.SizeBytes
	if name != "" {
		run.Folder = name
	}
	switch {
	case err != nil:
		run.Outcome, run.Note, run.SizeBytes = "failed", err.Error(), 0
	case len(m.Missing) > 0:
		run.Outcome, run.Note = "incomplete", m.Missing[0]
		if n := len(m.Missing) - 1; n > 0 {
			run.Note += fmt.Sprintf(" (and %d more, in its manifest)", n)
		}
	}
	return run, m, err
}

func (s *settings) writeBackup(ctx context.Context, adminURL string) (name string, m archive.Manifest, err error) {
	photos, err := store.OpenPhotoDir(s.photoDir())
	if err != nil {
		return "", m, err
	}
	defer photos.Close()
	source := archive.Source{AdminURL: adminURL, RolePrefix: s.RolePrefix, Photos: photos, BinDir: s.PostgresBin, Program: version, Now: now}
	if s.BackupWithKeys {
		source.KeyFile = s.KeyFile
	}
	return archive.Backup(ctx, source, s.BackupDir, s.BackupKeep)
}

// nightly is the backup as a job, where a folder for it is set and the database lets it be made from here; else nil.
func (h *house) nightly(s *settings) func(context.Context) (map[string]any, error) {
	adminURL := s.AdminDatabaseURL
	if s.DatabaseURL == "" {
		adminURL, _ = localpg.Neighbour(filepath.Join(s.DataDir, "database"), "postgres", "lintel") // ours, or that of the host we are a guest of
	}
	if s.BackupDir == "" || adminURL == "" {
		return nil
	}
	return func(ctx context.Context) (map[string]any, error) {
		run, m, err := s.backUp(ctx, adminURL)
		if recorded := h.fleet.RecordBackup(context.WithoutCancel(ctx), run); err != nil || recorded != nil {
			return nil, errors.Join(err, recorded)
		}
		return map[string]any{"folder": run.Folder, "rows": sum(m.Tables), "photos": m.Photos}, incomplete(run)
	}
}

// record writes the run into the database, unless its schema is not the one that this program knows: before a
// migration is when people back up with the new program.
func (c *backupCmd) record(ctx context.Context, r reached, run fleet.BackupRun) error {
	pool, err := pgxpool.New(ctx, r.appURL)
	if err != nil {
		return errors.New("the database address cannot be read")
	}
	defer pool.Close()
	if err := store.CheckVersion(ctx, pool); err != nil {
		return err
	}
	return fleet.New(fleet.Parts{Store: store.New(pool, c.RolePrefix)}).RecordBackup(ctx, run)
}

func sum(counts map[string]int64) (n int64) {
	for _, c := range counts {
		n += c
	}
	return n
}

// warnOfKeys says what becomes of the codes.
func warnOfKeys(m archive.Manifest) {
	switch {
	case m.WithKeys:
		fmt.Fprintln(os.Stderr, "lintel: the backup holds the keys: whoever has it reads every lock and key-safe code. Guard it like them.")
	case m.Codes > 0:
		fmt.Fprintf(os.Stderr, "lintel: the backup does not hold the keys: without the key file its %d lock and key-safe codes are lost. Keep the file in another place, or use --with-keys.\n", m.Codes)
	}
}

// restoreCmd brings a backup back.
type restoreCmd struct {
	settings
	From string `arg:"" help:"The backup: a folder that lintel backup wrote."`
	Into string `placeholder:"DIR" help:"New data folder, for lintel serve --data-dir. Without it: the database of LINTEL_ADMIN_DATABASE_URL and the photo folder."`
}

// Run restores into what is empty, checks everything, and says what there is.
func (c *restoreCmd) Run(ctx context.Context) error {
	var m archive.Manifest
	var err error
	switch {
	case c.Into != "":
		m, err = archive.RestoreInto(ctx, c.From, c.Into, c.PostgresBin)
	case c.AdminDatabaseURL == "":
		return badInput{errors.New("neither --into nor LINTEL_ADMIN_DATABASE_URL is given")}
	case c.PhotoDir == "":
		return badInput{errors.New("LINTEL_PHOTO_DIR is not set: there is no place for photos")}
	default:
		var photos *store.PhotoDir
		if photos, err = store.OpenPhotoDir(c.PhotoDir); err != nil {
			return err
		}
		defer photos.Close()
		m, err = archive.RestoreIntoDatabase(ctx, c.From, c.AdminDatabaseURL, c.PostgresBin, photos)
	}
	if err != nil {
		return usable(err)
	}
	fmt.Printf("Restored as of %s and checked: %d rows, %d photos, %d signed records.\n", m.MadeAt.Format("2006-01-02 15:04:05 MST"), sum(m.Tables), m.Photos, m.SignedRecords)
	for _, what := range m.Missing {
		fmt.Fprintln(os.Stderr, "lintel: when the backup was made:", what)
	}
	switch {
	case m.WithKeys && c.Into != "":
		fmt.Printf("The keys are in %s.\n", filepath.Join(c.Into, "keys"))
	case m.WithKeys:
		fmt.Printf("The keys are in %s: put them where LINTEL_KEY_FILE says.\n", filepath.Join(c.From, "keys"))
	case m.Codes > 0:
		fmt.Fprintf(os.Stderr, "lintel: the backup does not hold the keys: its %d lock and key-safe codes open with the old key file only.\n", m.Codes)
	}
	fmt.Fprintln(os.Stderr, "lintel: notices that waited when the backup was made go out when jobs run here: for a rehearsal, name no mail server.")
	return nil
}

// usable tells main that what a person named is at fault, where it is.
func usable(err error) error {
	var u *archive.Unusable
	if errors.As(err, &u) {
		return badInput{err}
	}
	return err
}
