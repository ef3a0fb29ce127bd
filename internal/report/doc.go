// Package report prints what the register holds: drawings to scale (SVG and PDF
// out of one drawing code), reports of a door, of a site and of a portfolio, and
// inspection certificates, each as PDF, HTML and CSV.
//
// Everything here is a pure function of its arguments: no clock, no database, no
// files; the same document, texts and options give the same bytes. A report is
// printed from its frozen document alone (fleet.Document), never from the register,
// so that what it said stays provable.
//
// A drawing is a Scene: shapes in metres, with pens and type in millimetres of
// paper. plan.go and elevation.go make scenes, pattern.go tells areas apart by
// strokes, svg.go, pdf.go and png.go write scenes, ordered.go chooses sheet and scale.
// There is no colour: what is told by strokes alone is seen alike by everybody, on
// every printer. Words come from the message file
// report.yaml, numbers are turned into the reader's units in measure.go and nowhere
// else.
//
// To add a report: freeze its content as a document in internal/fleet (SI and
// codes, versioned by its format member), lay it out in a file of its own here
// in terms of surface, once for paper and HTML, give it a CSV in csv.go, a line in
// layoutOf, its words in report.yaml and a sample in kinds_test.go. To add a kind of area to drawings: give it a pattern
// that none of the others can be taken for, in plan.go, and a row in the legend.
package report
