package fleet

import (
	"context"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/identity"
)

// Named asks for the names of things by their ids.
type Named struct {
	Customers, Sites, Doors, Components, Models, People []uuid.UUID
}

// Name is how a list or a page calls something.
type Name struct {
	Text     string    // what people call it; of a model its maker before it, of a component its model
	Tag      Tag       // of a door
	SiteID   uuid.UUID // of a door
	TimeZone string    // of a site and of a door
	Kind     string    // of a component
}

// Names are the names that were found, by id. What these eyes may not see has none.
type Names map[uuid.UUID]Name

type nameRows interface {
	// NamesOf gives the names of everything asked for in one statement. The site of a door has its name too.
	NamesOf(ctx context.Context, ids Named) (Names, error)
}

// Names gives the names of things by their ids, whatever and however many they are, in one statement.
func (f *Fleet) Names(ctx context.Context, by identity.Actor, ids Named) (names Names, err error) {
	err = f.Store.InTxReadOnly(ctx, by, func(ctx context.Context, tx Tx) error {
		names, err = tx.NamesOf(ctx, ids)
		return err
	})
	return names, err
}
