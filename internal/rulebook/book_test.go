package rulebook

import (
	"maps"
	"math"
	"os"
	"slices"
	"strings"
	"testing"
	"testing/fstest"

	"cel.dev/cel-go/cel"
	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"go.yaml.in/yaml/v3"
	"pgregory.net/rapid"
)

func TestTableOneOfLowEnergyTimes(t *testing.T) {
	widths := []float64{30, 36, 42, 48} // in
	for _, row := range []struct {
		lb float64
		us [4]float64
	}{
		{100, [4]float64{3.0, 3.0, 3.5, 4.0}},
		{125, [4]float64{3.0, 3.5, 4.0, 4.5}},
		{150, [4]float64{3.0, 3.5, 4.0, 4.5}},
		{175, [4]float64{3.0, 4.0, 4.5, 5.0}},
		{200, [4]float64{3.5, 4.0, 4.5, 5.5}},
	} {
		for i, width := range widths {
			if got := LowEnergyTimeUS(*inches(width), *pounds(row.lb)); got != row.us[i] {
				t.Errorf("US form, %v in × %v lb: %v s, want %v s", width, row.lb, got, row.us[i])
			}
		}
	}
}

func TestTheTwoFormsOfTheLowEnergyTimeDifferAtThirtyInchesAnd175Pounds(t *testing.T) {
	width, mass := *inches(30), *pounds(175)
	if got := LowEnergyTimeUS(width, mass); got != 3.0 {
		t.Errorf("US form: %v s, want 3.0 s", got)
	}
	if got := LowEnergyTimeSI(width, mass); got != 3.5 {
		t.Errorf("SI form: %v s, want 3.5 s", got)
	}
}

func TestTheConstantsOfTheLowEnergyTimeMeanTheseEnergies(t *testing.T) {
	// One leaf is enough: in D·√m/constant the leaf cancels out.
	width, mass := *inches(36), *pounds(150)
	us := SwingEnergy(width, mass, 80, 36*math.Sqrt(150)/133)
	si := SwingEnergy(width, mass, 80, 914.4*math.Sqrt(mass)/2260)
	if math.Abs(us-1.682) > 0.0005 || math.Abs(us/joulesPerLbfFoot-1.2406) > 0.00005 {
		t.Errorf("133: %v J, want 1.682 J (1.2406 lbf·ft)", us)
	}
	if math.Abs(si-1.660) > 0.0005 {
		t.Errorf("2260: %v J, want 1.660 J", si)
	}
}

func TestATimeThatIsAHalfSecondAlreadyIsNotRoundedUp(t *testing.T) {
	for lb := 80.0; lb <= 300; lb += 10 {
		for want := 3.0; want <= 8; want += 0.5 {
			if got := LowEnergyTimeUS(*inches(133 * want / math.Sqrt(lb)), *pounds(lb)); got != want {
				t.Errorf("%v lb: %v s, want %v s", lb, got, want)
			}
		}
	}
}

func TestAWiderOrHeavierLeafNeverMayMoveFaster(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		width, mass := rapid.Float64Range(0.1, 3).Draw(t, "width"), rapid.Float64Range(1, 500).Draw(t, "mass")
		wider, heavier := rapid.Float64Range(width, 3).Draw(t, "wider"), rapid.Float64Range(mass, 500).Draw(t, "heavier")
		for _, form := range []func(float64, float64) float64{LowEnergyTimeUS, LowEnergyTimeSI} {
			time := form(width, mass)
			if time < 3 || math.Mod(time, 0.5) != 0 {
				t.Fatalf("%v s is no half second of at least 3 s", time)
			}
			if form(wider, mass) < time || form(width, heavier) < time {
				t.Fatalf("a larger leaf gets less than %v s", time)
			}
		}
	})
}

func TestPacksAreFoundByIDAndByDoor(t *testing.T) {
	book, err := Embedded()
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		kind   DoorKind
		energy Energy
		want   string
	}{{Swinging, LowEnergy, swingPack}, {Swinging, PowerAssist, swingPack}, {Sliding, FullEnergy, slidePack}, {Sliding, LowEnergy, ""}, {"", "", ""}} {
		for _, id := range []string{swingPack, slidePack} {
			if p, ok := book.Pack(id); !ok || p.IsFor(c.kind, c.energy) != (id == c.want) {
				t.Errorf("%s %s: %s, want %q", c.kind, c.energy, id, c.want)
			}
		}
	}
	if _, ok := book.Pack("a156.19@1890"); ok {
		t.Error("found a pack that does not exist")
	}
	if p, ok := book.Pack("us-a156.10-2005"); !ok || p.ID != slidePack {
		t.Error("a record that names the pack as it was called before finds none")
	}
	packs := book.Packs()
	if !slices.IsSortedFunc(packs, func(p, q *Pack) int { return strings.Compare(p.ID, q.ID) }) || len(packs) < 2 {
		t.Errorf("packs: %v", packs)
	}
	packs[0] = nil
	if book.Packs()[0] == nil {
		t.Error("the list of packs can be changed from outside")
	}
}

func TestEachEditionIsAPackOfItsOwn(t *testing.T) {
	older := strings.NewReplacer("ex.1@2020", "ex.1@1999", "edition: 2020", "edition: 1999").Replace(samplePack)
	book, err := Load(fstest.MapFS{"ex.1@2020.yaml": {Data: []byte(samplePack)}, "ex.1@1999.yaml": {Data: []byte(older)}})
	if err != nil {
		t.Fatal(err)
	}
	a, _ := book.Pack("ex.1@2020")
	b, _ := book.Pack("ex.1@1999")
	if a.Digest == b.Digest || len(a.Digest) != 64 {
		t.Errorf("digests %q and %q", a.Digest, b.Digest)
	}
}

func TestEveryLimitOfTheEmbeddedPacksNamesItsSource(t *testing.T) {
	book, err := Embedded()
	if err != nil {
		t.Fatal(err)
	}
	check := func(where string, s Source, standing Standing) {
		switch standing {
		case Found, SecondHand:
			if s.Standard == "" || s.Edition == "" || s.Clause == "" || s.Address == "" {
				t.Errorf("%s: %s, but %+v", where, standing, s)
			}
		case FromMemory:
			if s.Standard == "" || s.Edition == "" {
				t.Errorf("%s: %s, but %+v", where, standing, s)
			}
		case CommonPractice:
			if s.Note == "" || s.Clause != "" {
				t.Errorf("%s: %s, but %+v", where, standing, s)
			}
		default:
			t.Errorf("%s: standing %q", where, standing)
		}
	}
	for _, p := range book.Packs() {
		for _, r := range p.Rules {
			check(p.ID+" "+r.ID, r.Source, r.Standing)
		}
		for _, z := range p.ZoneRules {
			check(p.ID+" zone "+z.ID, z.Source, z.Standing)
		}
	}
}

func TestEveryKeyHasAnEnglishText(t *testing.T) {
	text, err := os.ReadFile("../words/en/rules.yaml")
	if err != nil {
		t.Fatal(err)
	}
	words := map[string]string{}
	if err := yaml.Unmarshal(text, &words); err != nil {
		t.Fatal(err)
	}
	var want []string
	for _, k := range Readings() {
		want = append(want, k.TitleKey())
	}
	for _, s := range Stations() {
		want = append(want, s.TitleKey())
	}
	for group, values := range map[string][]string{
		"outcome":  {string(Passed), string(Failed), string(Undecided), string(NotJudged), string(NotApplicable)},
		"result":   {string(InspectionPassed), string(InspectionFailed), string(InspectionIncomplete)},
		"weight":   {string(Binding), string(Unverified)},
		"standing": {string(Found), string(SecondHand), string(CommonPractice), string(FromMemory)},
		"severity": {string(Unsafe), string(Deficient), string(Advisory), string(NoSeverity)},
		"reason":   {string(RuleDoesNotApply), string(PackIsForOthers), string(InputsUnusable), string(NotComputable), string(TooManyReadings), string(LeftOpen), string(MayNotApply)},
		"problem":  {string(Missing), string(Unknown), string(NotFinite), string(WrongUnit), string(WrongKind), string(OutOfRange)},
	} {
		for _, v := range values {
			want = append(want, "rulebook."+group+"."+v)
		}
	}
	slices.Sort(want)
	if diff := cmp.Diff(want, slices.Sorted(maps.Keys(words))); diff != "" {
		t.Errorf("keys (- needed, + written):\n%s", diff)
	}
	for key, text := range words {
		if strings.TrimSpace(text) == "" {
			t.Errorf("%s: empty", key)
		}
	}
}

func TestZonesOfASlidingDoor(t *testing.T) {
	p := embeddedPack(t, slidePack)
	facts, _ := slideDoor() // 1.8 m wide, a sensor on side A, a knowing act on side B, presence by overhead sensors
	near := cmpopts.EquateApprox(0, 1e-9)
	approach := RequiredZone{
		ID: "approach", Title: "Approach: people who come are noticed", Kind: ActivationZone,
		Rect: &Rect{X0M: -0.9, X1M: 0.9, Y0M: 0.127, Y1M: 1.0922}, BodyHeightM: 0.7112, BodySpeedMps: pointer(0.1524),
		Standing: FromMemory, Weight: Unverified,
	}
	threshold := RequiredZone{
		ID: "threshold", Title: "Threshold: people who stand there are noticed", Kind: PresenceZone,
		Rect: &Rect{X0M: -0.9, X1M: 0.9, Y0M: 0, Y1M: 0.127}, BodyHeightM: 0.7112, HeldS: pointer(30.0),
		Standing: FromMemory, Weight: Unverified,
	}
	for side, want := range map[Side][]RequiredZone{SideA: {approach, threshold}, SideB: {threshold}} {
		got := p.Zones(facts, side)
		if diff := cmp.Diff(want, got, near, cmpopts.IgnoreFields(RequiredZone{}, "Source")); diff != "" {
			t.Errorf("side %s:\n%s", side, diff)
		}
		for _, z := range got {
			if z.Source.Clause == "" {
				t.Errorf("%s: no clause", z.ID)
			}
		}
	}
	facts.PresenceBy, facts.ActivationB = Beams, ByNothing
	if got := p.Zones(facts, SideB); len(got) != 0 {
		t.Errorf("side without activation, presence by beams: %+v", got)
	}
}

func TestAZoneOfWhichInputsAreUnknownHasNoRectangleAndSaysWhy(t *testing.T) {
	p := embeddedPack(t, slidePack)
	for name, c := range map[string]struct {
		change func(*Facts)
		side   Side
		want   Gap
	}{
		"no width":        {func(f *Facts) { f.ClearWidthM = nil }, SideA, Gap{Name: "clear_width_m", Problem: Missing}},
		"width is NaN":    {func(f *Facts) { f.ClearWidthM = pointer(math.NaN()) }, SideA, Gap{Name: "clear_width_m", Problem: NotFinite}},
		"width in inches": {func(f *Facts) { f.ClearWidthM = pointer(72.0) }, SideA, Gap{Name: "clear_width_m", Problem: OutOfRange}},
		"no activation A": {func(f *Facts) { f.ActivationA = "" }, SideA, Gap{Name: "activation_a", Problem: Missing}},
		"no activation B": {func(f *Facts) { f.ActivationB = "" }, SideB, Gap{Name: "activation_b", Problem: Missing}},
		"no door kind":    {func(f *Facts) { f.DoorKind = "" }, SideA, Gap{Name: "door_kind", Problem: Missing}},
	} {
		facts, _ := slideDoor()
		c.change(&facts)
		zones := p.Zones(facts, c.side)
		i := slices.IndexFunc(zones, func(z RequiredZone) bool { return z.ID == "approach" })
		if i < 0 {
			t.Errorf("%s: left out, as if it were known not to apply", name)
			continue
		}
		if z := zones[i]; z.Rect != nil || z.Reason != InputsUnusable || !slices.Equal(z.Gaps, []Gap{c.want}) {
			t.Errorf("%s: %+v %s %v, want no rectangle because of %v", name, z.Rect, z.Reason, z.Gaps, c.want)
		}
	}
}

func TestAZoneThatComesOutWithoutAreaIsNotComputable(t *testing.T) {
	for _, bound := range []string{"y1_m: 0", "y1_m: -1", "y1_m: 1.0 / m_to_in(clear_width_m - clear_width_m)"} {
		book, err := loadSample(t, strings.Replace(samplePack, "y1_m: 1", bound, 1))
		if err != nil {
			t.Fatalf("%s: %v", bound, err)
		}
		p, _ := book.Pack("ex.1@2020")
		zones := p.Zones(Facts{DoorKind: Folding, Energy: FullEnergy, ClearWidthM: pointer(2.0)}, SideA)
		if len(zones) != 1 || zones[0].Rect != nil || zones[0].Reason != NotComputable {
			t.Errorf("%s: %+v", bound, zones)
		}
	}
}

func TestALowEnergyDoorHasNoZones(t *testing.T) {
	facts, _ := swingDoor()
	if got := embeddedPack(t, swingPack).Zones(facts, SideA); len(got) != 0 {
		t.Errorf("%+v", got)
	}
}

// samplePack is a valid pack that the tests below spoil in one place each. The standard is invented.
const samplePack = `id: ex.1@2020
title: Example
caution: Invented.
standard: Example 1
edition: 2020
jurisdiction: XX
applies_to: {kinds: [folding], energies: [full]}
addresses: {print: "second printing, page 7"}
rules:
  - id: force
    title: Force
    asks: Little force.
    when: presence_by != 'beams'
    measured: reading.closing_force_n
    limit: {at_most: 10, unit: lbf}
    severity: unsafe
    standing: found
    source: {clause: 1.2, address: print}
  - id: signs
    title: Signs
    asks: Signs are there.
    pass: reading.signs_present
    severity: advisory
    standing: common_practice
    source: {note: everybody does}
zones:
  - id: front
    title: Front
    kind: presence
    x0_m: -clear_width_m / 2.0
    x1_m: clear_width_m / 2.0
    y0_m: 0.0
    y1_m: 1
    body: {height: {value: 28, unit: in}, held: {value: 30, unit: s}}
    standing: from_memory
    source: {}
role: basis
`

func loadSample(t *testing.T, text string) (*Book, error) {
	t.Helper()
	return Load(fstest.MapFS{"ex.1@2020.yaml": {Data: []byte(text)}})
}

func TestEveryMistakeOfAPackIsReportedAtOnce(t *testing.T) {
	spoilt := strings.NewReplacer("severity: unsafe", "severity: bad", "kind: presence", "kind: nice").Replace(samplePack)
	_, err := loadSample(t, spoilt)
	if err == nil || !strings.Contains(err.Error(), "rule force: severity") || !strings.Contains(err.Error(), "zone front: kind") {
		t.Errorf("%v", err)
	}
}

func TestAnExpressionThatIsTrueAnywayStillWaitsForItsReading(t *testing.T) {
	book, err := loadSample(t, strings.Replace(samplePack, "pass: reading.signs_present", "pass: reading.signs_present || true", 1))
	if err != nil {
		t.Fatal(err)
	}
	p, _ := book.Pack("ex.1@2020")
	facts := Facts{DoorKind: Folding, Energy: FullEnergy, PresenceBy: NoPresence}
	if v := verdictOf(t, p.Judge(facts, nil), "signs"); v.Outcome != NotJudged {
		t.Errorf("without the reading: %s", v.Outcome)
	}
	if v := verdictOf(t, p.Judge(facts, taken(map[string]Reading{"signs_present": Answered(false)})), "signs"); v.Outcome != Passed {
		t.Errorf("with the reading: %s", v.Outcome)
	}
}

func TestArithmeticThatGoesWrongLeavesTheRuleNotJudged(t *testing.T) {
	for name, limit := range map[string]string{
		"division by zero": "at_most: 1.0 / m_to_in(clear_width_m - clear_width_m)",
		"no number":        "at_most: math.sqrt(-m_to_in(clear_width_m))",
		"empty list":       `at_most: "greatest(leaves.filter(l, l.mass_kg > 1e9).map(l, kg_to_lb(l.mass_kg)))"`,
	} {
		book, err := loadSample(t, strings.Replace(samplePack, "at_most: 10", limit, 1))
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		p, _ := book.Pack("ex.1@2020")
		facts := Facts{DoorKind: Folding, Energy: FullEnergy, PresenceBy: NoPresence, ClearWidthM: pointer(2.0)}
		for range 12 {
			facts.Leaves = append(facts.Leaves, LeafFacts{MassKg: pointer(40.0)})
		}
		v := verdictOf(t, p.Judge(facts, taken(map[string]Reading{"closing_force_n": Measured(0, "N")})), "force")
		if v.Outcome != NotJudged || v.Reason != NotComputable || v.Limit != nil {
			t.Errorf("%s: %s %s %+v", name, v.Outcome, v.Reason, v.Limit)
		}
	}
}

func TestEveryReadingSaysItsUnitInItsName(t *testing.T) {
	suffix := map[string]string{"s": "_s", "m": "_m", "N": "_n", "m/s": "_mps", "deg": "_deg", "J": "_j", "rpm": "_rpm"}
	seen := map[string]bool{}
	for _, k := range Readings() {
		if k.Unit == "months" {
			continue // months_since_inspection says it at its beginning
		}
		if k.Kind == Number && (suffix[k.Unit] == "" || !strings.HasSuffix(k.Name, suffix[k.Unit]) || k.Min >= k.Max) || k.Kind == YesNo && k.Unit != "" || seen[k.Name] {
			t.Errorf("%+v", k)
		}
		seen[k.Name] = true
	}
}

func TestNoEmbeddedRuleRunsIntoTheCostLimitWithEightLeaves(t *testing.T) {
	book, err := Embedded()
	if err != nil {
		t.Fatal(err)
	}
	readings := map[string]Reading{}
	for _, k := range Readings() {
		readings[k.Name] = Measured(k.Max, k.Unit)
		if k.Kind == YesNo {
			readings[k.Name] = Answered(true)
		}
	}
	for _, p := range book.Packs() {
		facts, _ := slideDoor()
		facts.Leaves = slices.Repeat(facts.Leaves[:1], 8)
		facts.DoorKind, facts.Energy = p.AppliesTo.Kinds[0], p.AppliesTo.Energies[0]
		facts.Egress, facts.FireRated, facts.Interior, facts.VulnerableUsers = new(true), new(true), new(true), new(true)
		for _, v := range p.Judge(facts, taken(readings)) {
			if v.Outcome == NotJudged {
				t.Errorf("%s %s: %s %v", p.ID, v.RuleID, v.Reason, v.Gaps)
			}
		}
	}
}

func FuzzPack(f *testing.F) {
	f.Add([]byte(samplePack))
	f.Add([]byte(computedPack))
	f.Add([]byte(askingPack))
	for _, id := range []string{swingPack, slidePack} {
		text, err := embedded.ReadFile("packs/" + id + ".yaml")
		if err != nil {
			f.Fatal(err)
		}
		f.Add(text)
	}
	f.Add([]byte("id: a\nrules: [{}]"))
	f.Add([]byte("rules: &r [{when: *r}]"))
	f.Add([]byte("rules: [~]\nzones: [~]"))
	f.Add([]byte{0xff, 0x00})
	l, err := newLanguage()
	if err != nil {
		f.Fatal(err)
	}
	facts, readings := slideDoor()
	f.Fuzz(func(t *testing.T, text []byte) {
		p, err := parsePack(l, text)
		if err != nil {
			return
		}
		for _, v := range p.Judge(facts, taken(readings)) {
			if v.Outcome == "" || v.Standing == "" || v.Title == "" {
				t.Errorf("an accepted pack gives %+v", v)
			}
			if v.Outcome == Passed && len(v.Gaps) > 0 {
				t.Errorf("passed with gaps: %+v", v)
			}
		}
		for _, z := range p.Zones(facts, SideA) {
			if (z.Rect == nil) == (z.Reason == "") {
				t.Errorf("a zone without a rectangle or a reason: %+v", z)
			}
		}
	})
}

func FuzzExpression(f *testing.F) {
	for _, text := range []string{
		"energy == 'low'", "activation_a in ['sensor', 'both']", "greatest(leaves.map(l, l.mass_kg)) > 3.0", "kg_to_lb(dyn('x')) > 1.0",
		"greatest(dyn(leaves)) > 1.0", "least([dyn('a')]) < 1.0", "size(leaves) == 2", "leaves.exists(l, l.width_m > 0.5) || leaves[9].mass_kg > 1.0",
		"math.sqrt(clear_width_m) > 1.0", "reading.signs_present", "leaves.all(energy, energy.mass_kg > 0.0)", "clear_width_m > 1.0 ? true : egress_breakout",
	} {
		f.Add(text)
	}
	l, err := newLanguage()
	if err != nil {
		f.Fatal(err)
	}
	facts, readings := slideDoor()
	s := newSituation(facts, taken(readings))
	f.Fuzz(func(t *testing.T, text string) {
		p, err := compile(l.readings, Expression(text), cel.BoolType)
		if err != nil || len(s.gaps(p)) > 0 {
			return
		}
		first, firstErr := s.truth(p)
		again, againErr := s.truth(p)
		if first != again || (firstErr == nil) != (againErr == nil) {
			t.Errorf("%q: %v %v, then %v %v", text, first, firstErr, again, againErr)
		}
	})
}
