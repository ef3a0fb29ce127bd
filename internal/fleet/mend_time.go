package fleet

import (
	"context"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/identity"
)

// MendTime is how long findings of one severity that people made took to be mended, and how old the open ones are. What was
// withdrawn or dismissed was never mended and is not counted.
type MendTime struct {
	Severity                string
	Mended                  int // or cleared by a passed re-inspection
	Median, Longest         time.Duration
	Open                    int
	OpenMedian, OpenLongest time.Duration
}

// MendTimeQuery asks for a door, a site, or everything in sight.
type MendTimeQuery struct {
	DoorID, SiteID uuid.UUID // zero for all
	Now            time.Time // the use-case fills it in
}

type mendTimeRows interface {
	// MendTimes gives one line a severity of which there are any, the gravest first.
	MendTimes(ctx context.Context, q MendTimeQuery) ([]MendTime, error)
}

// MendTimes tells how long findings take to be mended.
func (f *Fleet) MendTimes(ctx context.Context, by identity.Actor, q MendTimeQuery) (list []MendTime, err error) {
	q.Now = f.Now()
	err = f.Store.InTxReadOnly(ctx, by, func(ctx context.Context, tx Tx) error {
		list, err = tx.MendTimes(ctx, q)
		return err
	})
	return list, err
}
