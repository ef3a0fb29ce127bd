// Package migrations holds the files that shape the database, and nothing else does.
//
// NNNNNN_what.up.sql and .down.sql, numbered without a gap. One file is one transaction, so it holds no begin or
// commit, a new value of an enum and its first use go into two files, and "create index concurrently" stands alone
// in its file. A file that has landed is never edited: landed.sha256 guards it. Role names are written with the
// prefix lintel_; store.Migrate puts another in where the installation has one. Files named river are copies of
// River's own migrations, one of its versions a file, without its version 1 (its own bookkeeping).
//
// To add a migration: both files with the next number, then `go test ./migrations -update` to enter them in the list.
// To take a new version of River: copy each of its new migrations into a file of its own, with the grants to
// lintel_jobs; the tests name what is missing.
package migrations

import "embed"

// Files are the migrations, as golang-migrate reads them.
//
//go:embed *.sql
var Files embed.FS
