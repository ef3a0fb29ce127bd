package fleet

import (
	"math"
	"slices"

	"lintel.example/lintel/internal/fault"
)

// Basis says how a physical value came to be known.
type Basis string

// The bases, best first.
const (
	Measured   Basis = "measured"
	SeenOnSite Basis = "seen_on_site"
	Told       Basis = "told"
	FromPaper  Basis = "from_paper"
	Assumed    Basis = "assumed"
	Unknown    Basis = "unknown"
)

// Bases lists all bases, best first.
func Bases() []Basis { return []Basis{Measured, SeenOnSite, Told, FromPaper, Assumed, Unknown} }

// Quantity is a physical value in the SI unit that its member's name ends with, and how it came to be known.
// An unknown value has no number; a number has a basis.
type Quantity struct {
	Value *float64 `json:"value"`
	Basis Basis    `json:"basis"`
}

// Q makes a known quantity.
func Q(value float64, basis Basis) Quantity { return Quantity{Value: &value, Basis: basis} }

// UnknownQuantity is what stands where nobody knows.
func UnknownQuantity() Quantity { return Quantity{Basis: Unknown} }

// Known tells whether there is a number.
func (q Quantity) Known() bool { return q.Value != nil }

// check adds what is wrong with the quantity at pointer to faults; limits are inclusive, in the member's unit.
func (q Quantity) check(faults *fault.List, pointer string, least, greatest float64) {
	switch {
	case !slices.Contains(Bases(), q.Basis):
		faults.Add(pointer+"/basis", "basis_unknown", "basis", string(q.Basis))
	case q.Value == nil && q.Basis != Unknown:
		faults.Add(pointer+"/value", "value_missing", "basis", string(q.Basis))
	case q.Value != nil && q.Basis == Unknown:
		faults.Add(pointer+"/basis", "basis_missing")
	case q.Value != nil && (math.IsNaN(*q.Value) || *q.Value < least || *q.Value > greatest):
		faults.Add(pointer+"/value", "out_of_range", "least", least, "greatest", greatest)
	}
}
