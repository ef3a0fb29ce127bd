package demo

import (
	"context"
	"errors"

	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/identity"
)

// batch runs many use-cases in one transaction: at forty thousand changes, what a transaction costs by itself is most of
// the time. It is honest only because all who act here are staff, who see the same, and because nobody is told that
// anything was recorded before the whole history stands.
type batch struct {
	fleet.Transactor
	open fleet.Tx // nil: each use-case has its own
}

// InTx joins the open transaction.
func (b *batch) InTx(ctx context.Context, by identity.Actor, f func(context.Context, fleet.Tx) error) error {
	if b.open == nil {
		return b.Transactor.InTx(ctx, by, f)
	}
	return f(ctx, b.open)
}

// InTxReadOnly joins the open transaction.
func (b *batch) InTxReadOnly(ctx context.Context, by identity.Actor, f func(context.Context, fleet.Tx) error) error {
	if b.open == nil {
		return b.Transactor.InTxReadOnly(ctx, by, f)
	}
	return f(ctx, b.open)
}

// together runs everything that f does in one transaction.
func (b *batch) together(ctx context.Context, f func(context.Context) error) error {
	begun := false
	return b.Transactor.InTx(ctx, identity.Program(), func(ctx context.Context, tx fleet.Tx) error {
		if begun { // the history has moved on: what f did cannot be done again
			return errors.New("the database asked for a transaction to be run again: somebody else is at work")
		}
		begun, b.open = true, tx
		defer func() { b.open = nil }()
		return f(ctx)
	})
}
