// Package store is PostgreSQL: every SQL statement of the program is a constant in this room.
//
// One name three times: the constant sqlDoorByID begins with the comment `-- door_by_id` (which shows in
// pg_stat_activity and slow logs) and is run by the method DoorByID. Row types are private and mirror the
// columns; domain types know no database. StrictNamedArgs and RowToStructByName only: both fail on too many and
// on too few. A test PREPAREs every constant on the migrated database.
//
// A transaction runs as the database role of its actor, with a transaction-local scope (see 000014_walls); the
// login role has no rights of its own, so a statement outside a scope is refused aloud. Queries for persons who
// are not staff may add the scope themselves; row-level security is the wall behind.
//
// To add a statement: the constant and the method here, its signature in the storage interface of the use-case
// in internal/fleet. To add a table: a migration, its policies in it, and nothing else: the catalogue test fails
// for a table with a customer_id and no FORCE ROW LEVEL SECURITY.
package store
