package store

import (
	"context"
	"strings"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"lintel.example/lintel/internal/fleet"
)

type customerRow struct {
	CustomerID uuid.UUID
	Name       string
	Account    string
	Note       string
	Version    int
	CreatedAt  time.Time
	CreatedBy  uuid.UUID
}

func (r customerRow) customer() fleet.Customer { return fleet.Customer(r) }

const sqlCustomerByID = `-- customer_by_id
select customer_id, name, account, note, version, created_at, created_by from customer where customer_id = @customer_id`

// CustomerByID gives a customer that the actor may see.
func (t *Tx) CustomerByID(ctx context.Context, id uuid.UUID) (fleet.Customer, error) {
	r, err := queryOne[customerRow](ctx, t, "customer_by_id", sqlCustomerByID, pgx.StrictNamedArgs{"customer_id": id}, "customer_not_found")
	return r.customer(), err
}

const sqlCustomerPage = `-- customer_page
select customer_id, name, account, note, version, created_at, created_by from customer
where (lower(name), customer_id) > (lower(@after_name), @after_id)
  and (@search::text = '' or lower(name) like @search or lower(account) like @search)
order by lower(name), customer_id limit @limit`

// CustomerPage lists customers by name.
func (t *Tx) CustomerPage(ctx context.Context, q fleet.CustomerQuery) ([]fleet.Customer, error) {
	rows, err := query[customerRow](ctx, t, "customer_page", sqlCustomerPage, pgx.StrictNamedArgs{
		"after_name": q.AfterName, "after_id": q.AfterID, "search": containing(q.Search), "limit": q.Limit})
	return each(rows, customerRow.customer), err
}

// containing makes a LIKE pattern for "contains this text", ” for no text.
func containing(text string) string {
	if text == "" {
		return ""
	}
	return "%" + strings.NewReplacer(`\`, `\\`, "%", `\%`, "_", `\_`).Replace(strings.ToLower(text)) + "%"
}

const sqlInsertCustomer = `-- insert_customer
insert into customer (customer_id, name, account, note, version, created_at, created_by)
values (@customer_id, @name, @account, @note, @version, @created_at, @created_by)
on conflict (customer_id) do nothing`

// InsertCustomer adds a customer, or answers false when the id is taken.
func (t *Tx) InsertCustomer(ctx context.Context, c fleet.Customer) (bool, error) {
	return insertOne(ctx, t, "insert_customer", sqlInsertCustomer, pgx.StrictNamedArgs{
		"customer_id": c.CustomerID, "name": c.Name, "account": c.Account, "note": c.Note,
		"version": c.Version, "created_at": c.CreatedAt, "created_by": c.CreatedBy})
}

const sqlUpdateCustomer = `-- update_customer
update customer set name = @name, account = @account, note = @note, version = @version
where customer_id = @customer_id and version = @version - 1`

// UpdateCustomer writes the next version of a customer; somebody else's change in between is a conflict.
func (t *Tx) UpdateCustomer(ctx context.Context, c fleet.Customer) error {
	n, err := exec(ctx, t, "update_customer", sqlUpdateCustomer, pgx.StrictNamedArgs{
		"customer_id": c.CustomerID, "name": c.Name, "account": c.Account, "note": c.Note, "version": c.Version})
	return expectOne(n, err)
}

const sqlInsertChange = `-- insert_change
insert into change_log (change_id, at, person_id, subject_kind, subject_id, body)
values (@change_id, @at, @person_id, @subject_kind, @subject_id, @body)`

// InsertChange adds a state to the log of changes.
func (t *Tx) InsertChange(ctx context.Context, c fleet.Change) error {
	_, err := exec(ctx, t, "insert_change", sqlInsertChange, pgx.StrictNamedArgs{
		"change_id": c.ChangeID, "at": c.At, "person_id": c.PersonID, "subject_kind": c.SubjectKind, "subject_id": c.SubjectID, "body": c.Body})
	return err
}
