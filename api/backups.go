package api

import (
	"context"
	"net/http"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/identity"
)

type backupRunItem struct {
	BackupID  uuid.UUID `json:"backup_id" format:"uuid"`
	BeganAt   time.Time `json:"began_at"`
	EndedAt   time.Time `json:"ended_at"`
	Outcome   string    `json:"outcome" enum:"good,incomplete,failed" doc:"Incomplete: kept, but something was missing or damaged before it was made."`
	Folder    string    `json:"folder" doc:"On the machine that made it."`
	SizeBytes int64     `json:"size_bytes"`
	WithKeys  bool      `json:"with_keys" doc:"Whoever has it reads every lock and key-safe code."`
	Note      string    `json:"note,omitempty" doc:"What was missing or went wrong."`
}

type backupRunListOut struct {
	Body struct {
		LastGoodAt   *time.Time      `json:"last_good_at,omitempty" doc:"When the newest good backup ended; absent: there is none."`
		LastGoodAgeS *int64          `json:"last_good_age_s,omitempty" doc:"How long ago that was."`
		BackupRuns   []backupRunItem `json:"backup_runs"`
		PageOut
	}
}

// backupKey is the cursor of the backups.
type backupKey struct {
	At time.Time `json:"a"`
	ID uuid.UUID `json:"i"`
}

func (a *API) backups() {
	add(a, operation("backup-run-list", http.MethodGet, "/v1/backup-runs", identity.ActReadBackups, "Backups, the newest first, and the age of the last good one"), a.backupRunList)
}

func (a *API) backupRunList(ctx context.Context, by identity.Actor, in *PageIn) (*backupRunListOut, error) {
	var key backupKey
	if err := readCursor(in.After, &key); err != nil {
		return nil, err
	}
	list, lastGood, err := a.Fleet.Backups(ctx, by, fleet.BackupQuery{BeforeAt: key.At, BeforeID: key.ID, Limit: in.Limit})
	if err != nil {
		return nil, err
	}
	out := &backupRunListOut{}
	if !lastGood.IsZero() {
		age := int64(a.Now().Sub(lastGood).Seconds())
		out.Body.LastGoodAt, out.Body.LastGoodAgeS = &lastGood, &age
	}
	out.Body.BackupRuns = make([]backupRunItem, len(list))
	for i, r := range list {
		out.Body.BackupRuns[i] = backupRunItem(r)
	}
	if len(list) == in.Limit {
		last := list[len(list)-1]
		out.Body.Next = cursor(backupKey{last.EndedAt, last.BackupID})
	}
	return out, nil
}
