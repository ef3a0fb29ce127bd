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
