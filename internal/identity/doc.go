// Package identity says who is who and may do what: people, sessions, tokens, roles, scopes, and the keys that
// guard codes.
//
// Rights are one table (Grants): action, roles, and the scope that a token needs. A person who is not staff sees
// a set of customers or a set of sites; the store turns that into a database role with a transaction-local scope,
// so that a forgotten filter shows nothing instead of everything.
//
// To add an action: a constant, a line in Grants, the operation that names it; the authorisation matrix test
// fails until the operation has a row.
package identity
