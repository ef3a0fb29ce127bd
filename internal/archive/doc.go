// Package archive writes a whole installation into a folder, and brings one back: as a backup, by PostgreSQL's own
// programs and for the same program again, or as an export, in open formats and for whoever comes after.
//
// Both kinds of folder are written under a passing name, flushed, read back, and only then given their name; both end
// with SHA256SUMS, which the program sha256sum reads, and with manifest.json, which holds the hash of SHA256SUMS.
//
// # Backup
//
// pg_dump's custom format, not pg_basebackup: it needs a login and no access to the server's disk or replication, so it
// works for a private server and for a managed one alike; it goes back into any server of the same or a newer version,
// beside others that run there; and it holds only our database. What it does not do is lose less than a day, or bring
// back a very large database fast: for that, PostgreSQL's own base backups with continuous archiving of WAL stand
// beside it, as whoever runs the server sets them up.
//
// The counts, the hashes of signed records and the list of photos in a backup are read in the snapshot that pg_dump
// dumps. Photos are copied after that moment: none that the database names can be missing, because its file is there
// before its row. A photo that an earlier backup beside it holds is linked, not copied.
//
// # Export
//
// One file of JSON lines a table, in the order of its key, each line canonical JSON (RFC 8785); the same as CSV for
// people; the photos. Which tables and columns there are is read from PostgreSQL's catalogue, so that a new table is
// exported without anybody thinking of it; what is left out stands with its reason in store.LeftOut.
//
// To add a kind of file to a folder: write it through folder.create, which hashes it, and check it where the folder is
// read. A change that an older program would read wrongly gets a new number in the format's name.
package archive
