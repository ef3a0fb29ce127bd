// Package drills holds the fault drills: people upload visits, each piece again and again until it is acknowledged,
// while the server, the nightly job and PostgreSQL are killed without warning and started again. Afterwards
// everything that was acknowledged must be there once, as it was sent.
//
// The drills run with the other tests, a few kills only; LINTEL_DRILLS=long makes it more than twenty. A kill does
// not hope to hit its moment. Between the program and its database stands a proxy of the drills' own, which reads
// the conversation and springs a trap exactly there: before a commit is passed on, or after PostgreSQL has committed
// and before the program hears of it.
//
// What a kill of processes cannot show is a power cut: the kernel keeps what they wrote.
//
// To add a drill: a line in shortDrills or longDrills (nemesis_test.go), with the place at which it strikes. To add
// something that must hold: a method of the checker (checker_test.go), and a way to break it in TestNothingAcknowledgedIsLost.
package drills
