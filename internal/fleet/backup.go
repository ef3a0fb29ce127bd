package fleet

import (
	"context"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/identity"
)

// BackupRun is one backup of the installation and what came of it.
type BackupRun struct {
	BackupID         uuid.UUID
	BeganAt, EndedAt time.Time
	Outcome          string // good, incomplete (kept, but something was missing already), failed
	Folder           string // where it was written; the copies that people make elsewhere are not known here
	SizeBytes        int64
	WithKeys         bool
	Note             string // what was missing or went wrong
}

// BackupQuery asks for backups, the newest first.
type BackupQuery struct {
	BeforeAt time.Time
	BeforeID uuid.UUID
	Limit    int
}

type backupRows interface {
	InsertBackupRun(ctx context.Context, r BackupRun) error
	BackupRunPage(ctx context.Context, q BackupQuery) ([]BackupRun, error)
	// LastGoodBackup gives the end of the newest good backup, the zero time when there is none.
	LastGoodBackup(ctx context.Context) (time.Time, error)
}

// RecordBackup writes down what came of a backup.
func (f *Fleet) RecordBackup(ctx context.Context, r BackupRun) error {
	return f.Store.InTx(ctx, identity.Program(), func(ctx context.Context, tx Tx) error { return tx.InsertBackupRun(ctx, r) })
}

// Backups lists the backups, the newest first, and the end of the last good one (zero: there is none).
func (f *Fleet) Backups(ctx context.Context, by identity.Actor, q BackupQuery) (list []BackupRun, lastGood time.Time, err error) {
	err = f.Store.InTxReadOnly(ctx, by, func(ctx context.Context, tx Tx) error {
		if list, err = tx.BackupRunPage(ctx, q); err != nil {
			return err
		}
		lastGood, err = tx.LastGoodBackup(ctx)
		return err
	})
	return list, lastGood, err
}
