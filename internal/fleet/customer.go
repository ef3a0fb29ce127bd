package fleet

import (
	"context"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/fault"
	"lintel.example/lintel/internal/identity"
)

// Customer is whom the company works for.
type Customer struct {
	CustomerID uuid.UUID
	Name       string
	Account    string // the company's own number for it
	Note       string
	Version    int // counts the states; names the one that a change was made from
	CreatedAt  time.Time
	CreatedBy  uuid.UUID
}

type customerRows interface {
	CustomerByID(ctx context.Context, id uuid.UUID) (Customer, error)
	CustomerPage(ctx context.Context, q CustomerQuery) ([]Customer, error)
	// InsertCustomer answers false when the id is taken, by whomever.
	InsertCustomer(ctx context.Context, c Customer) (bool, error)
	UpdateCustomer(ctx context.Context, c Customer) error
}

// CustomerQuery asks for customers in the order of their names.
type CustomerQuery struct {
	Search    string // part of the name or account
	AfterName string
	AfterID   uuid.UUID
	Limit     int
}

// PutCustomer makes a customer or changes it. The same again changes nothing; a change names the version that
// it was made from.
func (f *Fleet) PutCustomer(ctx context.Context, by identity.Actor, c Customer, ifMatch int) (saved Customer, created bool, err error) {
	tidy(&c.Name)
	tidy(&c.Account)
	tidy(&c.Note)
	var faults fault.List
	checkLine(&faults, "/name", c.Name, 1, 200)
	checkLine(&faults, "/account", c.Account, 0, 60)
	checkText(&faults, "/note", c.Note, 0, 2000)
	if err := faults.Err(); err != nil {
		return Customer{}, false, err
	}
	err = f.Store.InTx(ctx, by, func(ctx context.Context, tx Tx) error {
		c.Version, c.CreatedAt, c.CreatedBy = 1, f.Now(), by.PersonID
		saved = c
		created, err = tx.InsertCustomer(ctx, c)
		if err != nil {
			return err
		}
		if !created {
			present, err := tx.CustomerByID(ctx, c.CustomerID)
			if err != nil {
				return err
			}
			saved = present
			saved.Name, saved.Account, saved.Note = c.Name, c.Account, c.Note
			if saved == present {
				return nil
			}
			if err := checkVersion(ifMatch, present.Version); err != nil {
				return err
			}
			saved.Version++
			if err := tx.UpdateCustomer(ctx, saved); err != nil {
				return err
			}
		}
		return f.record(ctx, tx, by, "customer", saved.CustomerID, saved)
	})
	return saved, created, err
}

// Customer gives one customer.
func (f *Fleet) Customer(ctx context.Context, by identity.Actor, id uuid.UUID) (c Customer, err error) {
	err = f.Store.InTxReadOnly(ctx, by, func(ctx context.Context, tx Tx) error {
		c, err = tx.CustomerByID(ctx, id)
		return err
	})
	return c, err
}

// Customers lists customers by name.
func (f *Fleet) Customers(ctx context.Context, by identity.Actor, q CustomerQuery) (list []Customer, err error) {
	err = f.Store.InTxReadOnly(ctx, by, func(ctx context.Context, tx Tx) error {
		list, err = tx.CustomerPage(ctx, q)
		return err
	})
	return list, err
}
