// Package rulebook holds the rule packs (one pack is one edition of one standard) and judges a door's readings by them.
// It is pure: packs come from a file system that is handed in or from the ones embedded here; there is no clock and no state.
//
// A pack is a YAML file. A rule of it asks one thing, in one of two ways:
//
//   - `measured` (an expression, SI) is held against `limit` (at_least, at_most or both, in the unit that the standard makes
//     primary). The comparison is made in that primary unit, because standards round their second one: 15 lbf is 66.72 N but is
//     printed as 67 N, and a reading of 66.9 N must not be judged by the print.
//   - `pass` (an expression, true or false) for checks that a person answers with yes or no, and for plain facts.
//
// Expressions are CEL. They name facts of the door bare (`energy`, `clear_width_m`, `leaves`) and readings as
// `reading.latch_time_s`. What a rule needs is read off its compiled expressions, so a pack cannot forget to declare it; the
// judge checks presence, finiteness, unit and range of every needed input BEFORE an expression runs. CEL alone would not do:
// `reading.missing > 1.0 || true` is true there, and a rule would pass although nobody measured.
//
// A pack may work readings out that nobody takes (`computed`: the energy of a leaf, the time that it must take) and name them in `measured`, in
// limits and in `when` as `computed.leaf_energy_j`. One that `prefers` a reading is that reading wherever somebody took it: a gauge that
// saw the peak beats a mean. A verdict that leans on a formula from memory is advice, whatever its limit's standing.
//
// Where a limit comes from decides what its verdict weighs. `found` and `second_hand` (read in somebody's notes about the
// standard) and `common_practice` (no standard says so, the trade does it) are binding. `from_memory` is unverified: no verdict may
// lean on it before somebody has opened the standard, so a failure is shown as advice and never fails an inspection.
//
// Doors with several leaves have one reading a door, that of the worst leaf; limits that depend on the leaf take the
// strictest leaf. With unequal leaves that can fail a door that a reading a leaf would pass, never the other way round.
//
// The same packs say which rectangles of floor must be watched on each side of a door (RequiredZone). The frame of a side: origin in
// the middle of the opening on the floor, in the mid-plane of the closed leaf; y away from the door; x so that somebody who
// stands in the opening with the door behind them has +x on their right; metres.
//
// A reading may state its expanded uncertainty. A rule passes or fails when the whole interval does, and is undecided else: guard bands on
// both sides, as in JCGM 106 and ISO 14253-1. What to do then: measure again with a better instrument, or treat it as failed. The
// interval is exact, because an expression that neither only rises nor only falls with a reading is refused (course.go).
//
// Two kinds of record are worked out here into readings: a force over time (ForceSeries: peak, force from 0.75 s after the contact on, the time above the
// limits) and the positions of a test body (Covered: width and depth that they bear out; Residuals: walks against a computed field's edge).
//
// Every expression's dimensions are worked out when a pack is loaded: seconds held against newtons, or metres against a limit in inches,
// are refused, and so is an expression that may take more steps than costLimit with eight leaves.
//
// To add a rule pack: put packs/<name>@<edition>.yaml beside the others and give every rule its title, what it asks, and every limit its source and its
// standing. Write 15 or 15.0 for a bare limit; inside a formula only 15.0 is a number that compares with a reading. A formula with a comma goes on a line
// of its own, not between braces. In coverage, name every item that the standard has an inspector look at, with the rules that ask it or why none does;
// packs/README.md is made of it. Loading refuses everything that is wrong; Check says it with line, column and hint. Add rows for the boundary of every new limit
// to TestLimitsAreJudgedInThePrimaryUnit.
//
// A pack may name the kinds of certificate of which one signs by it (`signed_by`, CertificateKinds); the general one does where it does not.
//
// A company's pack may ask questions of its own (`questions`, Question). Each declares a reading, own.NAME, and becomes a rule of its id: it passes by an
// answer that is wanted, or by any where none is wrong; one that is not required does not apply while nobody has answered it.
//
// To add a computed reading: an entry of `computed` in the pack, with source and standing; a function that it needs in newLanguage (expression.go), with
// what it takes, gives and falls with in measuring (dimension.go).
//
// To add a reading: one line in Readings (readings.go), at its station of the walk, and its title in internal/words/en/rules.yaml.
//
// To add a fact: a field of Facts, one line in factKinds and one in Facts.known (facts.go).
package rulebook
