// Package trend tells from the readings of years whether a reading of a door drifts towards its limit, and when it will
// be there. It is pure: days and values in, a line, a day and its interval out, or the reason why nothing is said.
//
// The line is that of Theil (1950): its slope is the median of the slopes of all pairs of points, so that a slip of the pen
// does not turn it; its height is the median of what the points leave over. The interval of the slope is that of Sen (1968): the
// pairwise slopes that stand as far from the middle as Kendall's S would by chance, with ties among days and among values
// taken out of its variance. Each end of the interval has its own line with its own height; where these two cross the
// limit is the interval of the day. H. Theil, "A rank-invariant method of linear and polynomial regression analysis", Proc.
// Kon. Ned. Akad. Wet. A 53 (1950) 386–392, 521–525, 1397–1412; P. K. Sen, "Estimates of the regression coefficient based on
// Kendall's tau", J. Am. Stat. Assoc. 63 (1968) 1379–1389.
//
// A line is an extrapolation. It is told only where the data bear it: enough points over enough time since the door was last
// changed, a slope whose whole interval points one way, and a day that is not farther off than anybody can say. It never
// says that a door is safe until then.
//
// To add a reason for silence: a Reason, its place in Of, and its sentence as trend.reason.<reason> in internal/words.
package trend
