// Package api is the HTTP face: one file a resource, each with the wire types, the operations and their handlers,
// in this order. openapi.yaml is generated from it, reviewed, and compared in a test.
//
// Everything that a client makes has an id of the client's own (UUIDv7) and is sent with PUT: the same again is
// success, so nothing is lost and nothing doubled when an answer gets lost on the way. A change of something that
// has versions names the version that it was made from (If-Match). Errors are RFC 9457 problem details with a
// stable code and the JSON pointer of each member at fault; values are never echoed.
//
// To add an operation: the wire types and the handler in the resource's file, an `add` line in its register
// function naming the action, a row in the authorisation matrix (api/matrix_test.go fails without), then
// `go test ./api -update` and review the differences of openapi.yaml and matrix.md.
package api
