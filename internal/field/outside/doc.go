// Package outside holds package field against PostGIS, an independent library of plane geometry, in a real database. It has tests only:
// the rooms that compute know no database, and PostGIS is no part of the program.
//
// To add a comparison: a row of the query in the test, with what of a Coverage it must equal.
package outside
