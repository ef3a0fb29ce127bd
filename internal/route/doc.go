// Package route plans who visits what, when and in which order: visits with time windows, shifts of technicians with their
// working hours, break, place of start and end, and what they may do. It is pure: distances and hours in, a plan out, with
// the reason for each placement and for each visit left out; the clock is the caller's (Budget), chance comes from a seed.
//
// The method is slack induction by string removals: J. Christiaens and G. Vanden Berghe, "Slack induction by string removals
// for vehicle routing problems", Transportation Science 54(2), 2020, 417–433. Each step takes short strings of neighbouring
// visits out of routes that lie near each other, puts them back one by one where they cost least, passing over a position
// now and then ("blink"), and keeps the outcome by simulated annealing. Where fewer shifts are better than any distance, a first
// phase dissolves one route after the other: an incomplete plan is better than another when the visits that it leaves out were
// left out less often so far (sum of absences).
//
// An insertion is judged in constant time: every stop knows how early it can be left and how late it may be reached without
// anything after it being late (the forward and backward slack of M. W. P. Savelsbergh, "The vehicle routing problem with time
// windows: minimizing route duration", ORSA Journal on Computing 4(2), 1992).
//
// Distances and times have the units of whoever asks; times are counted from any one zero. What is not here: several windows
// within one shift (the one that overlaps the shift longest counts), and breaks that float.
//
// To add a limit on visits or shifts: a member of Visit or Shift with its check in Problem.Check, its place in mayServe when it
// does not depend on the route, else in the loop of search.position, a Reason in explain.go, and the same limit in
// the verifier of the tests, which shares no code with the search.
package route
