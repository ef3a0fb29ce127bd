package rulebook

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"unicode/utf8"
)

// ValueKind is the kind of value that a reading has.
type ValueKind string

const (
	Number ValueKind = "number" // a measured value in SI units
	YesNo  ValueKind = "yes_no" // a check that a person answers
	Choice ValueKind = "choice" // one of some words; of a company's questions only
	Text   ValueKind = "text"   // what somebody wrote; of a company's questions only
)

// Station is one stop of the walk round a door in which an inspection is done.
type Station string

const (
	Papers   Station = "papers"
	Approach Station = "approach" // once on each side
	Doorway  Station = "doorway"
	Opening  Station = "opening"
	Closing  Station = "closing"
	Escape   Station = "escape"  // escape and fire, while the power is on
	ByHand   Station = "by_hand" // the power is off
	BackOn   Station = "back_on" // the power is on again, the door as people will find it
)

// Stations lists them as a person walks: outside first, and what needs the power off last, so that it is off once. Common practice, no source.
func Stations() []Station {
	return []Station{Papers, Approach, Doorway, Opening, Closing, Escape, ByHand, BackOn}
}

// TitleKey is the message key of the station's name.
func (s Station) TitleKey() string { return "station." + string(s) + ".title" }

// Each says at how many places of a door something is read.
type Each string

const (
	EachDoor Each = "door"
	EachSide Each = "side" // from which people are let in
	EachLeaf Each = "leaf"
	// EachSwing is each leaf that swings or folds; leaves that slide or turn are driven together (common practice, no source) and are read once.
	EachSwing Each = "swing"
)

// ReadingKind is one thing that an inspection can record.
type ReadingKind struct {
	Name    string    `json:"name"`           // ends in its unit when it is a number: latch_time_s
	Unit    string    `json:"unit,omitempty"` // SI: s, m, N, J, m/s, deg, or rpm and months as people count them; empty for yes or no
	Kind    ValueKind `json:"kind"`
	Min     float64   `json:"min"` // least and greatest possible value of a number, in Unit; outside is a slip of the pen
	Max     float64   `json:"max"`
	Station Station   `json:"station"` // where on the walk it is read
	Each    Each      `json:"each"`
	// DependsOn are the groups of a door's parts on which the reading depends: once one of them was touched, it is of another door. None:
	// what was read stays true.
	DependsOn []Group `json:"depends_on,omitempty"`
	// Title and Choices are of a company's question alone.
	Title   string   `json:"title,omitempty"`
	Choices []string `json:"choices,omitempty"`
}

// Short tells whether it is a length that people take in millimetres where they are metric: a threshold, a gap, the distance of a latch check.
func (k ReadingKind) Short() bool { return k.Unit == "m" && k.Max <= 2 }

// Group is a group of a door's parts that are set or mended together.
type Group string

const (
	Sensing Group = "sensing" // sensors, beams and activations with their areas
	Motion  Group = "motion"  // operator, control, drive: times, speeds, forces
	Latch   Group = "latch"   // locks, latches, breakout
	Fabric  Group = "fabric"  // leaves, glass, frame, guide rails, gaps
	Signs   Group = "signs"   // signs and labels
)

// Groups are all groups, in the order in which forms show them.
func Groups() []Group { return []Group{Sensing, Motion, Latch, Fabric, Signs} }

// TitleKey is the message key of the reading's name; a company's question has its Title instead.
func (k ReadingKind) TitleKey() string { return "reading." + k.Name + ".title" }

// Readings is the catalogue of everything that can be read at a door, in the order in which somebody comes to it who walks round the
// door, which is how forms show it. Ranges are ours: wide enough for any
// real door, narrow enough to catch a reading in the wrong unit or with a slipped decimal point.
func Readings() []ReadingKind {
	number := func(each Each, name, unit string, min, max float64, dependsOn ...Group) ReadingKind {
		return ReadingKind{Name: name, Unit: unit, Kind: Number, Min: min, Max: max, Each: each, DependsOn: dependsOn}
	}
	yesNo := func(each Each, name string, dependsOn ...Group) ReadingKind {
		return ReadingKind{Name: name, Kind: YesNo, Each: each, DependsOn: dependsOn}
	}
	at := func(s Station, kinds ...ReadingKind) []ReadingKind {
		for i := range kinds {
			kinds[i].Station = s
		}
		return kinds
	}
	return slices.Concat(
		at(Papers,
			yesNo(EachDoor, "log_book_kept"),
			number(EachDoor, "months_since_inspection", "months", 0, 1200), // whole months between the civil dates, rounded down
			yesNo(EachDoor, "daily_check_label_present", Signs),
		),
		at(Approach,
			yesNo(EachSide, "signs_present", Fabric, Signs),
			number(EachSide, "activation_zone_width_m", "m", 0, 12, Sensing),
			number(EachSide, "activation_zone_depth_m", "m", 0, 12, Sensing),
			yesNo(EachSide, "manoeuvring_room_kept", Fabric),
		),
		at(Doorway,
			yesNo(EachDoor, "free_of_damage", Fabric),
			number(EachDoor, "threshold_height_m", "m", 0, 0.5, Fabric),
			number(EachDoor, "guide_rail_height_m", "m", 0, 3, Fabric),
			number(EachDoor, "diameter_m", "m", 0.5, 15, Fabric),  // inside diameter of a revolving door
			number(EachDoor, "changing_gap_m", "m", 0, 1, Fabric), // a gap that changes while the door moves, at its narrowest reachable place
			yesNo(EachDoor, "changing_gaps_safe", Fabric),         // too narrow or wide enough for a finger wherever they can be reached
			yesNo(EachDoor, "finger_guards_in_place", Fabric),
			yesNo(EachDoor, "safe_distances_kept", Fabric), // between moving leaves and fixed parts, for head and body
			number(EachSide, "presence_zone_width_m", "m", 0, 12, Sensing),
			number(EachSide, "presence_zone_depth_m", "m", 0, 12, Sensing),
			number(EachDoor, "lowest_beam_height_m", "m", 0, 3, Sensing),
			number(EachDoor, "top_beam_height_m", "m", 0, 3, Sensing),
			yesNo(EachDoor, "stationary_person_held", Sensing, Motion),
			number(EachDoor, "presence_held_s", "s", 0, 600, Sensing),       // how long somebody who stands still is held
			yesNo(EachDoor, "stays_closed_while_occupied", Sensing, Motion), // somebody stands in the path of the closed leaf: the door does not open into them
		),
		at(Opening,
			number(EachSwing, "opening_time_s", "s", 0.1, 60, Motion),      // from closed to backcheck or to 80 degrees, whichever comes first
			number(EachSwing, "opening_time_full_s", "s", 0.1, 60, Motion), // from closed to fully open
			number(EachSwing, "backcheck_angle_deg", "deg", 0, 180, Motion),
			number(EachLeaf, "opening_force_n", "N", 0, 3000, Motion),                 // stops the opening leaf, or keeps a stopped one from opening; not an impact force
			number(EachDoor, "hold_open_s", "s", 0, 300, Sensing, Motion),             // after the last detection or the last act
			number(EachDoor, "hold_open_knowing_act_s", "s", 0, 300, Sensing, Motion), // after a knowing act, on a door that has a sensor on its other side
			number(EachDoor, "rotation_rpm", "rpm", 0, 60, Motion),
			yesNo(EachDoor, "slow_speed_button_works", Motion),
			yesNo(EachDoor, "emergency_stop_works", Motion),
		),
		at(Closing,
			number(EachSwing, "closing_time_s", "s", 0.1, 60, Motion),           // from 90 to 10 degrees, not the 90 to 12 of manual closers
			number(EachSwing, "latch_time_s", "s", 0, 60, Motion, Latch),        // the last 10 degrees
			number(EachDoor, "closing_speed_mps", "m/s", 0, 3, Motion),          // before the latch check, the fastest leaf
			number(EachSwing, "latch_check_distance_m", "m", 0, 2, Motion),      // before closed
			number(EachSwing, "kinetic_energy_j", "J", 0, 1000, Motion, Fabric), // as a gauge shows it, or computed from speed and mass
			number(EachLeaf, "closing_force_n", "N", 0, 3000, Motion),           // stops the closing leaf, or keeps a stopped one from closing; not an impact force
			number(EachLeaf, "peak_force_n", "N", 0, 5000, Motion, Fabric),      // greatest force of a contact, measured over time
			number(EachLeaf, "static_force_n", "N", 0, 5000, Motion, Fabric),    // force of a contact that is still there after 0.75 s
			yesNo(EachDoor, "stops_on_contact", Sensing, Motion),
			yesNo(EachDoor, "self_closes_and_latches", Motion, Latch),
		),
		at(Escape,
			yesNo(EachDoor, "fire_label_legible", Fabric, Signs),
			yesNo(EachDoor, "breakout_sign_present", Fabric, Signs),
			yesNo(EachDoor, "opens_on_alarm", Motion, Latch),
		),
		at(ByHand,
			number(EachLeaf, "manual_release_force_n", "N", 0, 3000, Motion, Latch), // without power, frees the latch
			number(EachLeaf, "manual_start_force_n", "N", 0, 3000, Motion, Fabric),  // without power, sets the leaf in motion
			number(EachLeaf, "manual_full_force_n", "N", 0, 3000, Motion, Fabric),   // without power, opens fully
			yesNo(EachDoor, "opens_without_power", Motion, Latch),
			yesNo(EachDoor, "opens_from_any_position", Motion, Latch), // pushed from inside, wherever the leaf stands
			number(EachDoor, "breakout_width_m", "m", 0, 12, Fabric),  // of all paths together when leaves or wings are broken out
			number(EachLeaf, "breakout_force_n", "N", 0, 3000, Latch, Fabric),
		),
		at(BackOn,
			yesNo(EachDoor, "walk_test_passed", Sensing, Motion),
		),
	)
}

// readingNamed gives the kind of that name, of a company's question as much as its name says; nil when there is none.
func readingNamed(name string) *ReadingKind {
	if IsOwn(name) {
		return ownNamed(name)
	}
	for _, k := range Readings() {
		if k.Name == name {
			return &k
		}
	}
	return nil
}

// formerNames are names that readings had before: signed records keep them.
var formerNames = map[string]string{
	"opening_time_to_backcheck_s":  "opening_time_s",
	"closing_time_90_to_10_s":      "closing_time_s",
	"close_speed_mps":              "closing_speed_mps",
	"stop_force_n":                 "closing_force_n",
	"stopped_leaf_force_n":         "closing_force_n",
	"manual_set_in_motion_force_n": "manual_start_force_n",
	"manual_open_force_n":          "manual_full_force_n",
}

// NameNow gives the name that a recorded reading has today.
func NameNow(recorded string) string { return cmp.Or(formerNames[recorded], recorded) }

// Reading is one recorded value. Exactly one of Number, Yes and Text is set.
type Reading struct {
	Number *float64 `json:"number,omitempty"` // in Unit
	Unit   string   `json:"unit,omitempty"`   // the unit of the reading's kind, said again so that a mix-up is seen
	Yes    *bool    `json:"yes,omitempty"`
	Text   string   `json:"text,omitempty"` // of a choice, or what was written
	// Question is the title of the company's question as it was asked; "" of every other reading.
	Question string `json:"question,omitempty"`
	// Uncertainty is the expanded uncertainty of Number (coverage factor k = 2), in its unit; nil when nobody states one.
	Uncertainty *float64 `json:"uncertainty,omitempty"`
	Place
}

// Place is where at the door something was read. The zero value is the door as a whole.
type Place struct {
	Leaf int  `json:"leaf,omitempty"` // 1 is the first leaf of the door's facts; 0: not of one leaf
	Side Side `json:"side,omitempty"` // "": not of one side
}

// meets tells whether two readings may be judged together: they are of one place, or one of them is of the whole door.
func (p Place) meets(q Place) bool {
	return (p.Leaf == 0 || q.Leaf == 0 || p.Leaf == q.Leaf) && (p.Side == "" || q.Side == "" || p.Side == q.Side)
}

// Measured makes the reading of a number in the SI unit of its kind.
func Measured(value float64, unit string) Reading { return Reading{Number: &value, Unit: unit} }

// IsTaken tells whether anything was read.
func (r Reading) IsTaken() bool { return r.Number != nil || r.Yes != nil || r.Text != "" }

// Answered makes the reading of a yes or no.
func Answered(yes bool) Reading { return Reading{Yes: &yes} }

// Problem says why an input cannot be used. It is also the last part of a message key, "rulebook.problem.<problem>".
type Problem string

const (
	Missing    Problem = "missing"
	Unknown    Problem = "unknown" // no reading or value of that name
	NotFinite  Problem = "not_finite"
	WrongUnit  Problem = "wrong_unit"
	WrongKind  Problem = "wrong_kind" // a number where yes or no is asked, or the other way round
	OutOfRange Problem = "out_of_range"
)

// Gap names one input that cannot be used and says why.
type Gap struct {
	Name    string  `json:"name"` // a reading, or a fact as expressions name it: leaves[0].mass_kg
	Problem Problem `json:"problem"`
	Title   string  `json:"title,omitempty"` // of a company's question
}

func (g Gap) Error() string { return fmt.Sprintf("%s: %s", g.Name, g.Problem) }

// Check says whether a reading of the kind may have that value. The error is a Gap.
func (k ReadingKind) Check(r Reading) error {
	if p := k.problem(r); p != "" {
		return k.gap(p)
	}
	return nil
}

func (k ReadingKind) gap(p Problem) Gap { return Gap{k.Name, p, k.Title} }

// CheckReading says whether a reading of that name, not of a company's question, may have that value. The error is a Gap.
func CheckReading(name string, r Reading) error {
	k := readingNamed(name)
	if k == nil || IsOwn(name) {
		return Gap{Name: name, Problem: Unknown}
	}
	return k.Check(r)
}

func (k ReadingKind) problem(r Reading) Problem {
	switch {
	case !r.IsTaken():
		return Missing
	case (k.Kind == Number) != (r.Number != nil), (k.Kind == YesNo) != (r.Yes != nil), (k.Kind == Choice || k.Kind == Text) != (r.Text != ""):
		return WrongKind
	case r.Unit != k.Unit:
		return WrongUnit
	case r.Uncertainty != nil:
		if p := numberProblem(*r.Uncertainty, 0, math.MaxFloat64); p != "" || k.Kind != Number {
			return cmp.Or(p, WrongKind)
		}
	}
	switch {
	case k.Kind == Choice && !slices.Contains(k.Choices, r.Text):
		return Unknown
	case k.Kind == Text && utf8.RuneCountInString(r.Text) > LongestAnswer:
		return OutOfRange
	case k.Kind != Number:
		return ""
	}
	return numberProblem(*r.Number, k.Min, k.Max)
}

func numberProblem(v, min, max float64) Problem {
	switch {
	case math.IsNaN(v) || math.IsInf(v, 0):
		return NotFinite
	case v < min || v > max:
		return OutOfRange
	}
	return ""
}
