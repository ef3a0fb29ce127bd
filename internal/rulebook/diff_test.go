package rulebook

import (
	"slices"
	"strings"
	"testing"
)

func TestTheDifferenceOfTwoPacksNamesEveryRuleThatCameWentOrAsksSomethingElse(t *testing.T) {
	sound := func(replace ...string) *Pack {
		p, mistakes, err := Check([]byte(strings.NewReplacer(replace...).Replace(samplePack)))
		if p == nil {
			t.Fatal(mistakes, err)
		}
		return p
	}
	a := sound()
	if got := Diff(a, sound()); got != nil {
		t.Errorf("of a pack and itself: %v", got)
	}
	got := Diff(a, sound("at_most: 10", "at_most: 9", "severity: unsafe", "severity: deficient", "id: signs", "id: labels", "y1_m: 1", "y1_m: 2", "[folding]", "[folding, sliding]"))
	want := []Change{
		{"", Changed, "kinds", "[folding]", "[folding sliding]"},
		{"force", Changed, "limit", "≤ 10.0 lbf", "≤ 9.0 lbf"},
		{"force", Changed, "severity", "unsafe", "deficient"},
		{Rule: "labels", Kind: RuleAdded, To: "Signs"},
		{"front", Changed, "zone", "x -clear_width_m / 2.0 to clear_width_m / 2.0, y 0.0 to 1.0 m", "x -clear_width_m / 2.0 to clear_width_m / 2.0, y 0.0 to 2.0 m"},
		{Rule: "signs", Kind: RuleRemoved, From: "Signs"},
	}
	if !slices.Equal(got, want) {
		t.Errorf("%v\nwant %v", got, want)
	}
}

func TestTheDifferenceOfTwoPacksNamesWhatIsWorkedOutOtherwise(t *testing.T) {
	a := soundPack(t, computedPack)
	b := soundPack(t, strings.NewReplacer("prefers: kinetic_energy_j\n    ", "", "value: clear_width_m / reading", "value: 0.9 * clear_width_m / reading", "allowed_n", "table_n").Replace(computedPack))
	got := Diff(a, b)
	want := []Change{
		{"energy_j", Changed, "prefers", "kinetic_energy_j", ""},
		{"speed_mps", Changed, "value", "clear_width_m / reading.closing_time_s", "0.9 * clear_width_m / reading.closing_time_s"},
		{Rule: "table_n", Kind: RuleAdded, To: "Force allowed"},
		{"force", Changed, "limit", "≤ computed.allowed_n N", "≤ computed.table_n N"},
		{Rule: "allowed_n", Kind: RuleRemoved, From: "Force allowed"},
	}
	if !slices.Equal(got, want) {
		t.Errorf("%v\nwant %v", got, want)
	}
}
