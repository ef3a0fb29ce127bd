// Package advice answers what support is asked before anybody climbs a ladder: which antenna, place, accessories and
// settings suit this opening.
//
// It is pure: an opening and a catalogue in, ranked candidates with the numbers behind them out. It knows no kind of door, no
// symptom and no rule of thumb: an opening is leaves that move, zones that must be watched, places that must not
// answer, ways that people come, things that blow about, a header that shakes. What the trade says of a door comes out of the
// computed field, or it is not said.
//
// # How the search goes
//
// A candidate is hardware (an antenna, a place, what covers it) at one step of each setting. For one geometry (hardware, tilt and yaw) two
// numbers settle most of its candidates: the reach from which a required zone has no gap left, and the reach from which a leaf is seen. Only
// steps of reach between the two are looked at further: shaking, what blows about, whether those who come find the door open. What is left is ranked by the time in
// hand (in bands of BandS; more than EnoughS is not worth more), then by how much it answers to those who merely pass, then by the
// fewest parts; those alike keep the order of the catalogue. Before a candidate is shown it is held against everything in full: exact
// polygons, every sample of the leaf, the fine grid of paths.
//
// When nothing fits, the answer says which one thing to give up so that something does, and what that would be.
//
// No answer goes without its caution: it is computed without reflections and shadows, a walk test on site verifies it, and
// the standard in force and the maker's instructions prevail.
package advice
