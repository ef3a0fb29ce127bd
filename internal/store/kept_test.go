package store_test

import (
	"context"
	"errors"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/store"
	"lintel.example/lintel/internal/store/storetest"
)

func customerNamed(name string) fleet.Customer {
	return fleet.Customer{CustomerID: uuid.New(), Name: name, Version: 1, CreatedAt: time.Date(2026, 3, 3, 9, 0, 0, 0, time.UTC), CreatedBy: uuid.New()}
}

// keep has a customer written later.
func keep(ctx context.Context, tx fleet.Tx, c fleet.Customer) error {
	return tx.Keep(ctx, func() error {
		_, err := tx.InsertCustomer(ctx, c)
		return err
	})
}

// names gives the customers as a transaction that is going on sees them.
func names(ctx context.Context, t *testing.T, tx fleet.Tx) string {
	t.Helper()
	list, err := tx.AllCustomers(ctx)
	if err != nil {
		t.Fatal(err)
	}
	var all []string
	for _, c := range list {
		all = append(all, c.Name)
	}
	return strings.Join(all, " ")
}

func TestWhatIsKeptIsThereWhenSomethingIsReadAndAtTheEnd(t *testing.T) {
	t.Parallel()
	s := store.New(storetest.New(t).App, "lintel")
	err := s.InTx(t.Context(), staff, func(ctx context.Context, tx fleet.Tx) error {
		if err := keep(ctx, tx, customerNamed("a")); err != nil {
			return err
		}
		if got := names(ctx, t, tx); got != "a" {
			t.Errorf("read: %q", got)
		}
		return keep(ctx, tx, customerNamed("b"))
	})
	if err != nil {
		t.Fatal(err)
	}
	_ = s.InTx(t.Context(), staff, func(ctx context.Context, tx fleet.Tx) error {
		if got := names(ctx, t, tx); got != "a b" {
			t.Errorf("afterwards: %q", got)
		}
		return nil
	})
}

func TestASavepointTakesBackItsOwnKeptWritesAndNoOthers(t *testing.T) {
	t.Parallel()
	s := store.New(storetest.New(t).App, "lintel")
	bad := errors.New("bad")
	for name, between := range map[string]func(context.Context, fleet.Tx) error{
		"nothing is written between": func(context.Context, fleet.Tx) error { return nil },
		"something is read between":  func(ctx context.Context, tx fleet.Tx) error { _ = names(ctx, t, tx); return nil },
		"something is written at once between": func(ctx context.Context, tx fleet.Tx) error {
			_, err := tx.InsertCustomer(ctx, customerNamed("y"))
			return err
		},
	} {
		t.Run(name, func(t *testing.T) {
			_ = s.InTx(t.Context(), staff, func(ctx context.Context, tx fleet.Tx) error {
				if err := keep(ctx, tx, customerNamed("a")); err != nil {
					t.Fatal(err)
				}
				for _, fails := range []error{bad, nil} {
					err := tx.Savepoint(ctx, func(ctx context.Context) error {
						for _, step := range []error{keep(ctx, tx, customerNamed("x")), between(ctx, tx), keep(ctx, tx, customerNamed("x"))} {
							if step != nil {
								t.Fatal(step)
							}
						}
						return fails
					})
					if !errors.Is(err, fails) {
						t.Fatal(err)
					}
					if got := names(ctx, t, tx); fails != nil && got != "a" || fails == nil && strings.Count(got, "x") != 2 {
						t.Errorf("with %v: %q", fails, got)
					}
				}
				return bad
			})
		})
	}
}

func TestWhatWasKeptAndCannotBeWrittenEndsTheTransaction(t *testing.T) {
	t.Parallel()
	s := store.New(storetest.New(t).App, "lintel")
	taken := customerNamed("a")
	err := s.InTx(t.Context(), staff, func(ctx context.Context, tx fleet.Tx) error {
		for _, c := range []fleet.Customer{taken, taken, customerNamed("b")} {
			if err := keep(ctx, tx, c); err != nil {
				return err
			}
		}
		return tx.Savepoint(ctx, func(ctx context.Context) error {
			_, err := tx.AllCustomers(ctx)
			return err
		})
	})
	if !errors.Is(err, fleet.ErrKept) {
		t.Errorf("%v", err)
	}
	_ = s.InTx(t.Context(), staff, func(ctx context.Context, tx fleet.Tx) error {
		if got := names(ctx, t, tx); got != "" {
			t.Errorf("left: %q", got)
		}
		return nil
	})
}
