package store

import (
	"context"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"lintel.example/lintel/internal/fleet"
)

type backupRunRow struct {
	BackupID  uuid.UUID
	BeganAt   time.Time
	EndedAt   time.Time
	Outcome   string
	Folder    string
	SizeBytes int64
	WithKeys  bool
	Note      string
}

func (r backupRunRow) run() fleet.BackupRun { return fleet.BackupRun(r) }

const sqlInsertBackupRun = `-- insert_backup_run
insert into backup_run (backup_id, began_at, ended_at, outcome, folder, size_bytes, with_keys, note)
values (@backup_id, @began_at, @ended_at, @outcome, @folder, @size_bytes, @with_keys, @note)`

// InsertBackupRun writes down what came of a backup.
func (t *Tx) InsertBackupRun(ctx context.Context, r fleet.BackupRun) error {
	_, err := exec(ctx, t, "insert_backup_run", sqlInsertBackupRun, pgx.StrictNamedArgs{"backup_id": r.BackupID, "began_at": r.BeganAt, "ended_at": r.EndedAt,
		"outcome": r.Outcome, "folder": r.Folder, "size_bytes": r.SizeBytes, "with_keys": r.WithKeys, "note": r.Note})
	return err
}

const sqlBackupRunPage = `-- backup_run_page
select backup_id, began_at, ended_at, outcome, folder, size_bytes, with_keys, note from backup_run
where (ended_at, backup_id) < (@before_at, @before_id) order by ended_at desc, backup_id desc limit @limit`

// BackupRunPage lists backups, the newest first.
func (t *Tx) BackupRunPage(ctx context.Context, q fleet.BackupQuery) ([]fleet.BackupRun, error) {
	rows, err := query[backupRunRow](ctx, t, "backup_run_page", sqlBackupRunPage, pgx.StrictNamedArgs{"before_at": bound(q.BeforeAt), "before_id": q.BeforeID, "limit": q.Limit})
	return each(rows, backupRunRow.run), err
}

const sqlLastGoodBackup = `-- last_good_backup
select max(ended_at) as at from backup_run where outcome = 'good'`

// LastGoodBackup gives the end of the newest good backup, the zero time when there is none.
func (t *Tx) LastGoodBackup(ctx context.Context) (time.Time, error) {
	r, err := queryOne[struct{ At *time.Time }](ctx, t, "last_good_backup", sqlLastGoodBackup, pgx.StrictNamedArgs{}, "internal")
	if err != nil || r.At == nil {
		return time.Time{}, err
	}
	return *r.At, nil
}
