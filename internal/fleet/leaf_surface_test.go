package fleet

import (
	"testing"

	"lintel.example/lintel/internal/field"
)

// Hinges are told as somebody on side A sees them who looks at the door, so their left is +x on side A and −x on side B.
func TestALeafMovesOnTheSideThatItOpensTowards(t *testing.T) {
	leaf := func(motion string) Leaf {
		return Leaf{Motion: motion, Hinge: "left", OpensTowards: "b", WidthM: Q(1, Measured), HeightM: Q(2.1, Measured)}
	}
	unhinged := leaf("fold")
	unhinged.Hinge = "unknown"
	p := picture{door: Door{Facts: DoorFacts{ClearWidthM: Q(2, Measured)}}}
	for _, c := range []struct {
		what  string
		leaf  Leaf
		side  string
		want  field.Leaf
		known bool
	}{
		{"swings to b", leaf("swing"), "b", field.SwingLeaf{HingeXM: -1, TowardsX: 1, WidthM: 1, HeightM: 2.1, OpensToDeg: 90}, true},
		{"folds to b", leaf("fold"), "b", field.FoldingLeaf{HingeXM: -1, TowardsX: 1, WidthM: 1, HeightM: 2.1, OpensToDeg: 90}, true},
		{"folds away from a", leaf("fold"), "a", nil, true},
		{"nobody knows where it is hinged", unhinged, "b", nil, false},
	} {
		if got, known := p.leafSurface(c.leaf, c.side); got != c.want || known != c.known {
			t.Errorf("%s: %+v, %v", c.what, got, known)
		}
	}
}
