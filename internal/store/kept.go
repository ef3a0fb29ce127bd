package store

import (
	"context"
	"fmt"

	"github.com/jackc/pgx/v5"

	"lintel.example/lintel/internal/fleet"
)

// keptWrites are writes that are put off, because many go to the database faster together, and the savepoint that is
// begun no sooner than something is written after it.
type keptWrites struct {
	keeping bool
	list    []keptWrite
	point   *savepoint
}

type keptWrite struct {
	name, sql string
	args      pgx.StrictNamedArgs
	one       bool // must add its row
}

type savepoint struct {
	from  int // how many writes were kept before it
	begun bool
}

// mostKept is how many writes are kept before they are sent.
const mostKept = 1000

func (k *keptWrites) add(name, sql string, args pgx.StrictNamedArgs, one bool) {
	k.list = append(k.list, keptWrite{name, sql, args, one})
}

// Keep runs f and keeps what it writes, instead of writing at once. All that is kept goes to the database before the next
// statement of any other kind, and before the end of the transaction, so nothing is ever read without it.
func (t *Tx) Keep(ctx context.Context, f func() error) error {
	t.kept.keeping = true
	err := f()
	t.kept.keeping = false
	if err == nil && t.kept.point == nil && len(t.kept.list) >= mostKept {
		err = t.SendKept(ctx)
	}
	return err
}

// SendKept writes what is kept. When it cannot be written the transaction has failed, with fleet.ErrKept: which of many
// steps was to blame is known only when they are taken one by one.
func (t *Tx) SendKept(ctx context.Context) error {
	if len(t.kept.list) == 0 {
		return nil
	}
	list, p := t.kept.list, t.kept.point
	t.kept.list = nil
	if p != nil && !p.begun {
		if err := t.send(ctx, list[:p.from]); err != nil {
			return err
		}
		if list = list[p.from:]; len(list) == 0 {
			p.from = 0
			return nil
		}
		if err := t.beginPoint(ctx); err != nil {
			return err
		}
	}
	return t.send(ctx, list)
}

func (t *Tx) send(ctx context.Context, list []keptWrite) error {
	if len(list) == 0 {
		return nil
	}
	batch := &pgx.Batch{}
	for _, w := range list {
		batch.Queue(w.sql, w.args)
	}
	results := t.tx.SendBatch(ctx, batch)
	var err error
	for _, w := range list {
		tag, failed := results.Exec()
		if failed == nil && w.one && tag.RowsAffected() != 1 {
			failed = fmt.Errorf("%d rows added", tag.RowsAffected())
		}
		if failed != nil {
			err = fmt.Errorf("%w: %s: %w", fleet.ErrKept, w.name, failed)
			break
		}
	}
	if closed := results.Close(); err == nil && closed != nil {
		err = fmt.Errorf("%w: %w", fleet.ErrKept, closed)
	}
	return err
}

// beforeWrite makes sure that what is written now comes after what is kept, and can be taken back alone.
func (t *Tx) beforeWrite(ctx context.Context) error {
	if err := t.SendKept(ctx); err != nil {
		return err
	}
	if p := t.kept.point; p != nil && !p.begun {
		return t.beginPoint(ctx)
	}
	return nil
}

func (t *Tx) beginPoint(ctx context.Context) error {
	if _, err := t.tx.Exec(ctx, sqlBeginPoint); err != nil {
		return fmt.Errorf("begin_point: %w", err)
	}
	t.kept.point.begun, t.kept.point.from = true, 0
	return nil
}
