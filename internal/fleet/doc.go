// Package fleet is the domain: the doors with everything on them, and the use-cases that change them, each one
// transaction.
//
// A use-case takes the actor it works for, checks what it was given (all faults at once, each with the pointer of
// the member), opens the transaction, and says what it needs of storage through the small interfaces that Tx
// joins; internal/store gives them. Pure rooms compute; fleet decides what is kept.
//
// Lock order of use-cases that change several rows: customer, site, door, component, each by id, for update.
//
// To add a use-case: its types and its storage interface in the file of its resource here, the SQL in the file of
// the same name in internal/store, the operation in the file of the resource in api, the row of the operation in
// the authorisation matrix.
package fleet
