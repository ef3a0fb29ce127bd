// Package seal gives a record one text and one hash that anybody can compute again: canonical JSON after RFC 8785 and
// SHA-256 over its bytes.
//
// RFC 8785 writes numbers as doubles, sorts members by UTF-16 code units and leaves text as it is. Two texts of one
// document have one canonical form; but a number with more digits than a double keeps would be changed on the way, so
// such numbers are refused here and belong into strings: identifiers and counters over 2^53, civil dates and instants
// are strings in a sealed record. Free text is normalised (NFC) where it is taken in, never here.
//
// What was sealed once must give the same bytes for ever: a change of Canonical is a change of the format.
//
// To add a refusal: write it in refuseText or refuseNumber (canonical.go), its row in the table of
// canonical_test.go, and make sure that no record that was sealed before falls under it. To add a vector: a row in
// vectors_test.go with its source.
package seal
