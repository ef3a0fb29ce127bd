package fleet

import (
	"context"

	"lintel.example/lintel/internal/identity"
	"lintel.example/lintel/internal/sheet"
)

// StateOf is for the property test of what becomes of an order.
var StateOf = stateOf

// ImportOneByOne is Import as it goes on when somebody came between.
func (f *Fleet) ImportOneByOne(ctx context.Context, by identity.Actor, o ImportOrder) (ImportRun, error) {
	list, err := sheet.Read(o.Data, o.Mapping)
	if err != nil {
		return ImportRun{}, err
	}
	return f.bring(ctx, by, o, list, true)
}
