package rulebook

import (
	"bytes"
	"strings"
	"testing"
	"testing/fstest"
)

// packMistakes spoil the sample in one place each. Line and column are of the sample with its mistake in it; whoever reads the hint must
// be able to mend it. In the order of the sample.
var packMistakes = []struct {
	name         string
	from, to     string
	line, column int
	what, hint   string // begin so
}{
	{"no caution", "caution: Invented.\n", "", 1, 1, "caution: required", "add what is missing"},
	{"no edition", "edition: 2020", "", 1, 1, "edition: required", "add what is missing"},
	{"no role", "role: basis\n", "", 1, 1, "role: required", "add what is missing"},
	{"unknown role", "role: basis", "role: boss", 37, 7, `role: "boss": want basis, law, owner or company`, "take one of these words"},
	{"bad id", "id: ex.1@2020", "id: Ex 1", 1, 5, `id: "Ex 1": want name@edition, each of lower-case words joined by `, "as in a156.10@2005"},
	{"id of another edition", "id: ex.1@2020", "id: ex.1@2019", 1, 5, `id: "ex.1@2019": want it to end with @2020, the edition`, "the id is name@edition"},
	{"a text that begins with @", "title: Example", "title: @Example", 2, 1, "found character that cannot start any token", "members of one object begin in one c"},
	{"a quote that never closes", "title: Example", `title: "Example`, 2, 1, "did not find expected key", "members of one object begin in one c"},
	{"a text that begins with %", "title: Example", "title: %Example", 2, 1, "found character that cannot start any token", "members of one object begin in one c"},
	{"title a list", "title: Example", "title: [Example]", 2, 8, "a list where a text is wanted", "see the packs that come with the pro"},
	{"formerly what it is now", "title: Example", "formerly: [ex.1@2020]\ntitle: Example", 2, 12, `formerly: former id: "ex.1@2020": want each other id that the pack`, "only ids that the pack had before, e"},
	{"an alias of nothing", "caution: Invented.", "caution: *nothing", 3, 1, "unknown anchor 'nothing' referenced", "members of one object begin in one c"},
	{"a colon in a text", "caution: Invented.", "caution: Invented: all of it.", 3, 1, "mapping values are not allowed in this context", "members of one object begin in one c"},
	{"not UTF-8", "caution: Invented.", "caution: Inv\xffented.", 3, 13, "invalid leading UTF-8 octet", "only plain UTF-8 text"},
	{"a control character", "caution: Invented.", "caution: Inv\x00ented.", 3, 13, "control characters are not allowed", "only plain UTF-8 text"},
	{"a list that never closes", "standard: Example 1", "standard: [Example 1", 4, 1, "did not find expected ',' or ']'", "members of one object begin in one c"},
	{"member twice", "edition: 2020", "edition: 2020\nedition: 2021", 6, 1, `mapping key "edition" already defined at line 5`, "each member once; a rule begins with"},
	{"an item that nothing covers", "rules:\n", "coverage: [{item: Force, rules: [force]}, {item: Signs}]\nrules:\n", 9, 43, "coverage: want item, and either rules or not", "what is looked at; rules: [ids] that"},
	{"an item covered and not covered", "rules:\n", "coverage: [{item: All, rules: [force, signs], not: why}]\nrules:\n", 9, 12, "coverage: want item, and either rules or not", "what is looked at; rules: [ids] that"},
	{"an item twice", "rules:\n", "coverage: [{item: All, rules: [force, signs]}, {item: All, not: why}]\nrules:\n", 9, 48, "coverage: All: twice", "each once"},
	{"an item covered by no rule of the pack", "rules:\n", "coverage: [{item: All, rules: [force, signs, sines]}]\nrules:\n", 9, 12, "coverage: there is no rule or zone sines", "an id of this pack"},
	{"a rule that covers nothing", "rules:\n", "coverage: [{item: Force, rules: [force]}]\nrules:\n", 20, 5, "rule signs: no item of coverage names it", "name it in the rules of an item, or "},
	{"an unknown certificate", "rules:\n", "signed_by: [general, revolvng]\nrules:\n", 9, 22, `signed_by: unknown kind of certificate "revolvng"`, "did you mean revolving?"},
	{"nobody signs", "rules:\n", "signed_by: []\nrules:\n", 9, 12, "signed_by: nobody could sign by this pack", "name kinds of certificate, or leave i"},
	{"a certificate twice", "rules:\n", "signed_by: [fire, fire]\nrules:\n", 9, 19, `signed_by: kind of certificate "fire" twice`, "each once"},
	{"no kinds", "kinds: [folding], ", "", 7, 13, "applies_to: kinds and energies are required", "kinds: [sliding], energies: [full]"},
	{"kinds a word", "kinds: [folding]", "kinds: folding", 7, 21, "a text where a list is wanted", "see the packs that come with the pro"},
	{"unknown door kind", "[folding]", "[rolling]", 7, 22, `applies_to: kinds: unknown door kind "rolling"`, "sliding, swinging, folding or revolv"},
	{"kind twice", "[folding]", "[folding, folding]", 7, 31, "applies_to: kinds: folding: twice", "each once"},
	{"unknown energy", "[full]", "[much]", 7, 43, `applies_to: energies: unknown energy "much"`, "full, low or assist"},
	{"rules that are no list", "rules:\n", "rules: {a: b}\nrulez:\n", 9, 8, "members where a list is wanted", "see the packs that come with the pro"},
	{"rules misspelt", "rules:\n", "rules: []\nzonez:\n", 10, 1, "there is no member zonez", "did you mean zones?"},
	{"limit and pass", "    measured: reading.closing_force_n", "    measured: reading.closing_force_n\n    pass: reading.signs_present", 10, 5, "rule force: want either measured and limit, or pass", "measured and limit go together, for "},
	{"limit without measured", "    measured: reading.closing_force_n\n", "", 10, 5, "rule force: want either measured and limit, or pass", "measured and limit go together, for "},
	{"no standing", "standing: found", "", 10, 5, "rule force: standing: required", "add what is missing"},
	{"no title", "    title: Force\n", "", 10, 5, "rule force: title: required", "add what is missing"},
	{"bad rule id", "id: force", "id: Force!", 10, 9, `rule Force!: id "Force!": want lower-case words, joined by -`, "as in hold-open-time"},
	{"indented with a tab", "    title: Force\n", "\ttitle: Force\n", 11, 1, "found a tab character that violates indentation", "indent with spaces"},
	{"bad indentation", "    title: Force\n", "   title: Force\n", 11, 4, "did not find expected '-' indicator", "members of one object begin in one c"},
	{"a member that says nothing", "when: presence_by != 'beams'", "when:", 13, 10, "when: nothing stands there", "write what it is, or take the member"},
	{"anything may come out", "presence_by != 'beams'", "dyn(egress_breakout)", 13, 11, `rule force: when: "dyn(egress_breakout)" gives dyn, want bool`, "a condition and pass are true or fal"},
	{"condition is a number", "presence_by != 'beams'", "clear_width_m", 13, 11, `rule force: when: "clear_width_m" gives double, want bool`, "a condition and pass are true or fal"},
	{"brackets without end", "presence_by != 'beams'", strings.Repeat("(", 300) + "egress" + strings.Repeat(")", 300), 13, 11, "rule force: when: expression recursion limit exceeded: 250", "fewer brackets within brackets"},
	{"fact not compared", "presence_by != 'beams'", "presence_by.startsWith('b')", 13, 11, "rule force: when: presence_by may only be compared (==, !=, in) wi", "write NAME == 'value', or NAME in ['"},
	{"leaves within leaves within leaves", "presence_by != 'beams'", "leaves.all(a, leaves.all(b, leaves.all(c, leaves.all(d, leaves.all(e, a.mass_kg + b.mass_kg + c.mass_kg + d.mass_kg > e.mass_kg)))))", 13, 11, "rule force: when: may take 580458 steps with 8 leaves, more than t", "one pass over the leaves is enough f"},
	{"reading bare", "when: presence_by != 'beams'", "when: signs_present", 13, 11, "rule force: when: undeclared reference to 'signs_present'", "a reading is written reading.signs_p"},
	{"a reading before its presence is checked", "presence_by != 'beams'", "reading.signs_present", 13, 11, "rule force: when: undeclared reference to 'reading.", "a reading stands in measured or pass"},
	{"unknown fact", "presence_by", "presents_by", 13, 11, "rule force: when: undeclared reference to 'presents_by'", "did you mean presence_by?"},
	{"a condition that is always so", "presence_by != 'beams'", "true", 13, 11, "rule force: when: names no fact, so it is always or never so", "leave when out for a rule that alway"},
	{"zone's fact in a rule", "presence_by != 'beams'", "side_activation == 'sensor'", 13, 11, "rule force: when: undeclared reference to 'side_activation'", "side_activation may not stand here: "},
	{"text that is no value", "presence_by != 'beams'", "(('a' == 'a'))", 13, 13, `rule force: when: text "a" is compared with no fact`, "compare a fact with it, or take it o"},
	{"asks itself whether a value is there", "presence_by != 'beams'", "has(leaves[0].mass_kg)", 13, 14, "rule force: when: undeclared reference to 'has'", "the judge looks itself whether a val"},
	{"unknown function", "presence_by != 'beams'", "sqrt(clear_width_m) > 1.0", 13, 15, "rule force: when: undeclared reference to 'sqrt'", "did you mean math.sqrt?"},
	{"whole leaves compared", "presence_by != 'beams'", "leaves[0] == leaves[1]", 13, 17, "rule force: when: leaves cannot be compared as a whole", "compare a member of a leaf: leaves.e"},
	{"and written out", "presence_by != 'beams'", "egress and interior", 13, 18, "rule force: when: Syntax error: mismatched input 'and' expecting <", "a formula with a comma or a colon st"},
	{"one equals sign", "presence_by != 'beams'", "presence_by = 'beams'", 13, 23, "rule force: when: Syntax error: token recognition error at: '= '", "a formula with a comma or a colon st"},
	{"made leaves", "presence_by != 'beams'", `"rulebook.leaf{mass_kg: 3.0}.mass_kg > 1.0"`, 13, 25, "rule force: when: objects cannot be made in a rule", "a rule reads what is there: facts, l"},
	{"metres compared with kilos", "presence_by != 'beams'", "clear_width_m > leaves[0].mass_kg", 13, 25, "rule force: when: puts m beside kg", "facts and readings are in SI; m_to_i"},
	{"two facts compared", "presence_by != 'beams'", "presence_by == activation_a", 13, 26, "rule force: when: presence_by may only be compared with its own va", "write NAME == 'value', or NAME in ['"},
	{"value that never is", "'beams'", "'beam'", 13, 26, `rule force: when: presence_by is never "beam"; its values: overhea`, "take one of its values"},
	{"expression that never closes", "presence_by != 'beams'", "((egress_breakout", 13, 28, "rule force: when: Syntax error: mismatched input '<EOF>' expecting", "a formula with a comma or a colon st"},
	{"in double quotes", "when: presence_by != 'beams'", `when: "presence_by != \"beams\" && energie == 'low'"`, 13, 40, "rule force: when: undeclared reference to 'energie'", "did you mean energy?"},
	{"in single quotes", "when: presence_by != 'beams'", "when: 'presence_by != ''beams'' && energie == ''low'''", 13, 40, "rule force: when: undeclared reference to 'energie'", "did you mean energy?"},
	{"on two plain lines", "when: presence_by != 'beams'", "when: presence_by != 'beams' &&\n      energie == 'low'", 14, 7, "rule force: when: undeclared reference to 'energie'", "did you mean energy?"},
	{"a quotient of another dimension", "measured: reading.closing_force_n", "measured: reading.closing_force_n / reading.latch_time_s", 14, 15, "rule force: measured: is in m^1·kg^1·s^-3, the limit in lbf", "facts and readings are in SI; m_to_i"},
	{"limit of another dimension", "unit: lbf}", "unit: s}", 14, 15, "rule force: measured: is in N, the limit in s", "facts and readings are in SI; m_to_i"},
	{"measured bool", "measured: reading.closing_force_n", "measured: reading.signs_present", 14, 15, `rule force: measured: "reading.signs_present" gives bool, want dou`, "a condition and pass are true or fal"},
	{"measured without a reading", "measured: reading.closing_force_n", "measured: clear_width_m", 14, 15, "rule force: measured: names no reading", "a reading is written reading.NAME; w"},
	{"reading without dot", "measured: reading.closing_force_n", "measured: closing_force_n", 14, 15, "rule force: measured: undeclared reference to 'closing_force_n'", "a reading is written reading.closing"},
	{"rpm for N", "unit: lbf", "unit: rpm", 14, 15, "rule force: measured: is in N, the limit in rpm", "facts and readings are in SI; m_to_i"},
	{"unknown reading", "reading.closing_force_n", "reading.stop_force", 14, 22, "rule force: measured: undeclared reference to 'reading.stop_force'", "did you mean reading.peak_force_n?"},
	{"seconds held against newtons", "measured: reading.closing_force_n", "measured: 'reading.closing_force_n + reading.latch_time_s'", 14, 40, "rule force: measured: puts N beside s", "facts and readings are in SI; m_to_i"},
	{"on folded lines", "when: presence_by != 'beams'", "when: >-\n      presence_by != 'beams' &&\n      energie == 'low'", 15, 7, "rule force: when: undeclared reference to 'energie'", "did you mean energy?"},
	{"on lines kept as they are", "when: presence_by != 'beams'", "when: |\n      presence_by != 'beams' &&\n        energie == 'low'", 15, 9, "rule force: when: undeclared reference to 'energie'", "did you mean energy?"},
	{"limit a number", "limit: {at_most: 10, unit: lbf}", "limit: 10", 15, 12, "a number where an object of members is wanted", "see the packs that come with the pro"},
	{"limit without bounds", "at_most: 10, ", "", 15, 12, "rule force: limit: want at_least, at_most or both", "at_least, at_most or both, and the u"},
	{"a limit that runs for ever", "at_most: 10", `at_most: "greatest(leaves.map(a, greatest(leaves.map(b, greatest(leaves.map(c, greatest(leaves.map(d, kg_to_lb(a.mass_kg + b.mass_kg + c.mass_kg + d.mass_kg)))))))))"`, 15, 22, "rule force: limit: at_most: may take 112917 steps with 8 leaves, m", "one pass over the leaves is enough f"},
	{"limit by reading", "at_most: 10", "at_most: reading.latch_time_s", 15, 22, "rule force: limit: at_most: undeclared reference to 'reading.", "a reading stands in measured or pass"},
	{"limit is a list", "at_most: 10", "at_most: [10]", 15, 22, "want an expression", "a number, or a formula as one line o"},
	{"limit is infinite", "at_most: 10", "at_most: .inf", 15, 22, ".inf is no finite number", "a plain number"},
	{"limit is true", "at_most: 10", "at_most: true", 15, 22, `rule force: limit: at_most: "true" gives bool, want double`, "a condition and pass are true or fal"},
	{"metres for inches", "at_most: 10, unit: lbf", "at_most: clear_width_m, unit: in", 15, 22, "rule force: limit: at_most: is in m, the limit in in", "facts and readings are in SI; m_to_i"},
	{"a limit that nothing keeps", "at_most: 10", "at_most: -10", 15, 22, "rule force: limit: at_most: closing_force_n is read from 0 to 674.", "look at the number and at the unit"},
	{"a limit that nothing breaks", "at_most: 10", "at_most: 1000", 15, 22, "rule force: limit: at_most: closing_force_n is read from 0 to 674.", "look at the number and at the unit"},
	{"at least more than at most", "at_most: 10", "at_least: 20, at_most: 10", 15, 23, "rule force: limit: at_least: 20 is more than at_most 10", "turn them round, or keep one"},
	{"a reading in a limit before its presence is checked", "at_most: 10", "at_most: 'reading.latch_time_s * 2.0'", 15, 23, "rule force: limit: at_most: undeclared reference to 'reading.", "a reading stands in measured or pass"},
	{"unknown unit", "unit: lbf}", "unit: stone}", 15, 32, `rule force: limit: unit: unknown unit "stone"`, "one of s, m, mm, in, ft, kg, lb, N, "},
	{"whole number for a real", "at_most: 10", "at_most: clear_width_m + 1", 15, 36, "rule force: limit: at_most: found no matching overload for '_+_' a", "write whole numbers as 15.0 inside a"},
	{"mass for a width", "at_most: 10, unit: lbf", "at_most: 'm_to_in(leaves[0].mass_kg)', unit: lbf", 15, 40, "rule force: limit: at_most: m_to_in takes m, not kg", "facts and readings are in SI; m_to_i"},
	{"unknown member", "severity: unsafe", "severty: unsafe", 16, 5, "there is no member severty", "did you mean severity?"},
	{"unknown severity", "severity: unsafe", "severity: bad", 16, 15, `rule force: severity: "bad": want unsafe, deficient or advisory`, "take one of these words"},
	{"unknown standing", "standing: found", "standing: heard", 17, 15, `rule force: standing: "heard": want found, second_hand, common_pra`, "take one of these words"},
	{"edition without standard", "clause: 1.2", "edition: 1999, clause: 1.2", 18, 13, "rule force: source: standard and edition go together; leave out bo", "name both, or neither"},
	{"found without address", ", address: print", "", 18, 13, "rule force: source: found needs clause and address", "name both, or use the standing from_"},
	{"found without clause", "clause: 1.2, ", "", 18, 13, "rule force: source: found needs clause and address", "name both, or use the standing from_"},
	{"unknown address", "address: print", "address: letter", 18, 36, `rule force: source: address: "letter" is not among the pack's addr`, "write it into addresses, with the pa"},
	{"rule twice", "id: signs", "id: force", 19, 9, "rule force: id force: twice in this pack", "every rule, zone and computed reading has an id "},
	{"limit hidden in pass", "pass: reading.signs_present", "pass: reading.latch_time_s > 2.0", 22, 11, "rule signs: pass: latch_time_s is a number: judge it by measured a", "measured: reading.NAME, and limit wi"},
	{"pass a number", "pass: reading.signs_present", "pass: reading.closing_force_n", 22, 11, `rule signs: pass: "reading.closing_force_n" gives double, want boo`, "a condition and pass are true or fal"},
	{"pass on nothing", "pass: reading.signs_present", "pass: true", 22, 11, "rule signs: pass: names neither a reading nor a fact", "name what a person answers or what t"},
	{"practice with a clause", "note: everybody does", "clause: 3", 25, 13, "rule signs: source: common_practice has no standard, edition or cl", "take them out, or say found, second_"},
	{"practice without a note", "note: everybody does", "", 25, 13, "rule signs: source: note: required for common_practice", "note: who does it so, and where"},
	{"empty rule", "zones:", "  -\nzones:", 26, 4, "rules: an empty rule", "take out the lone -"},
	{"zone without a bound", "    y0_m: 0.0\n", "", 27, 5, "zone front: y0_m: required", "add what is missing"},
	{"zone without a title", "    title: Front\n", "", 27, 5, "zone front: title: required", "add what is missing"},
	{"unknown zone kind", "kind: presence", "kind: nice", 29, 11, `zone front: kind: "nice": want activation or presence`, "take one of these words"},
	{"body without height", "height: {value: 28, unit: in}, ", "", 34, 11, `zone front: body: height: unit: unknown unit ""`, "one of s, m, mm, in, ft, kg, lb, N, "},
	{"body of no height", "value: 28", "value: 0", 34, 28, "zone front: body: height: value: 0: want a positive number", "value: a number above nothing, with "},
	{"height a word", "value: 28", "value: high", 34, 28, "a text where a number is wanted", "see the packs that come with the pro"},
	{"body height in seconds", "value: 28, unit: in", "value: 28, unit: s", 34, 38, "zone front: body: height: unit: s does not measure m", "a height has a unit of length, a spe"},
	{"body held for ever", "value: 30", "value: .inf", 34, 57, "zone front: body: held: value: +Inf: want a positive number", "value: a number above nothing, with "},
	{"second document", "    source: {}", "    source: {}\n---\nid: other", 37, 1, "more than one document", "one file, one pack: take out the lin"},
}

func TestEveryMistakeHasItsLineItsColumnAndAHint(t *testing.T) {
	if p, mistakes, err := Check([]byte(samplePack)); p == nil {
		t.Fatalf("the sound sample: %v %v", mistakes, err)
	}
	seen := map[string]bool{}
	for _, c := range packMistakes {
		if seen[c.name] || !strings.Contains(samplePack, c.from) {
			t.Errorf("%s: twice in the table, or the sample has no %q", c.name, c.from)
			continue
		}
		seen[c.name] = true
		text := strings.Replace(samplePack, c.from, c.to, 1)
		p, mistakes, err := Check([]byte(text))
		if err != nil || p != nil || len(mistakes) == 0 {
			t.Errorf("%s: accepted, %v", c.name, err)
			continue
		}
		m := mistakes[0]
		if m.Line != c.line || m.Column != c.column || !strings.HasPrefix(m.What, c.what) || c.hint == "" || !strings.HasPrefix(m.Hint, c.hint) {
			t.Errorf("%s: %v\nwant %d:%d: %s… (%s…)", c.name, m, c.line, c.column, c.what, c.hint)
		}
		for _, m := range mistakes {
			if m.Line == 0 || m.Column == 0 || m.Hint == "" || strings.Contains(m.What, "rulebook.") || strings.Contains(m.What, "\n") {
				t.Errorf("%s: %v", c.name, m)
			}
		}
		if book, err := loadSample(t, text); err == nil || !strings.Contains(err.Error(), "ex.1@2020.yaml") || book != nil && len(book.Packs()) != 0 {
			t.Errorf("%s: in a book: %v", c.name, err)
		}
	}
	if len(seen) < 40 {
		t.Errorf("%d kinds of mistake, want 40 at least", len(seen))
	}
}

func TestPacksThatCannotStandBesideEachOtherAreRefused(t *testing.T) {
	other, mistakes, err := Check([]byte(strings.NewReplacer("ex.1@2020", "ex.2@2020", "Example 1", "Example 2", "title: Example\n", "title: Example\nformerly: [old-ex]\n").Replace(samplePack)))
	if other == nil {
		t.Fatal(mistakes, err)
	}
	for name, c := range map[string]struct {
		from, to, at, what string
	}{
		"one edition of one standard for the same doors": {"standard: Example 1", "standard: Example 2", "5:10", "overlaps with ex.2@2020"},
		"a former id that is another's now":              {"title: Example\n", "title: Example\nformerly: [ex.2@2020]\n", "3:12", "is, or was, the id of ex.2@2020"},
		"a former id that was another's":                 {"title: Example\n", "title: Example\nformerly: [ex.0@2020, old-ex]\n", "3:23", "is, or was, the id of ex.2@2020"},
	} {
		text := strings.Replace(samplePack, c.from, c.to, 1)
		p, mistakes, err := Check([]byte(text), other)
		if p != nil || err != nil || len(mistakes) != 1 || !strings.HasPrefix(mistakes[0].String(), c.at+": ") || !strings.Contains(mistakes[0].What, c.what) || mistakes[0].Hint == "" {
			t.Errorf("%s: %v %v", name, mistakes, err)
		}
		if p, mistakes, _ := Check([]byte(text)); p == nil {
			t.Errorf("%s: alone: %v", name, mistakes)
		}
	}
	if p, mistakes, _ := Check([]byte(samplePack), other); p == nil {
		t.Errorf("a pack of another standard: %v", mistakes)
	}
	same := strings.Replace(samplePack, "Example 1", "Example 2", 1)
	elsewhere := strings.Replace(same, "kinds: [folding]", "kinds: [sliding]", 1)
	if p, mistakes, _ := Check([]byte(elsewhere), other); p == nil {
		t.Errorf("the same edition for other doors: %v", mistakes)
	}
	files := fstest.MapFS{"ex.1@2020.yaml": {Data: []byte(same)}, "ex.2@2020.yaml": {Data: []byte(strings.Replace(same, "ex.1@2020", "ex.2@2020", 1))}}
	if _, err := Load(files); err == nil || !strings.Contains(err.Error(), "overlaps with ex.1@2020") {
		t.Errorf("in a book: %v", err)
	}
}

func TestAPackInAFileOfAnotherNameIsRefused(t *testing.T) {
	if _, err := loadSample(t, strings.Replace(samplePack, "id: ex.1@2020", "id: ex.2@2020", 1)); err == nil || !strings.Contains(err.Error(), "the file's name must be the id") {
		t.Errorf("%v", err)
	}
	if _, err := Load(fstest.MapFS{}); err == nil {
		t.Error("a book without packs was accepted")
	}
}

func TestEveryMistakeIsListedInTheOrderOfTheText(t *testing.T) {
	_, mistakes, _ := Check([]byte(strings.NewReplacer("severity: unsafe", "severity: bad", "kind: presence", "kind: nice", "presence_by", "presents_by").Replace(samplePack)))
	if len(mistakes) < 2 || mistakes[0].Line > mistakes[len(mistakes)-1].Line {
		t.Errorf("%v", mistakes)
	}
}

func TestASoundPackHasNoMistake(t *testing.T) {
	p, mistakes, err := Check([]byte(samplePack))
	if err != nil || mistakes != nil || p.Name() != "ex.1" {
		t.Errorf("%v %v %v", p, mistakes, err)
	}
}

func TestAnEmptyFileIsNoPack(t *testing.T) {
	for _, text := range []string{"", "# nothing\n", "3\n", "- a\n"} {
		if p, mistakes, err := Check([]byte(text)); p != nil || len(mistakes) == 0 || err != nil {
			t.Errorf("%q: %v %v %v", text, p, mistakes, err)
		}
	}
}

func FuzzCheck(f *testing.F) {
	f.Add([]byte(samplePack))
	f.Add([]byte(computedPack))
	f.Add([]byte(askingPack))
	for _, c := range questionMistakes {
		f.Add([]byte(strings.Replace(askingPack, c.from, c.to, 1)))
	}
	f.Add([]byte("id: a@1\nrules: [{id: x}]"))
	for _, c := range packMistakes {
		f.Add([]byte(strings.Replace(samplePack, c.from, c.to, 1)))
	}
	names, err := embedded.ReadDir("packs")
	if err != nil {
		f.Fatal(err)
	}
	for _, n := range names {
		text, err := embedded.ReadFile("packs/" + n.Name())
		if err != nil {
			f.Fatal(err)
		}
		f.Add(text)
	}
	facts, readings := slideDoor()
	f.Fuzz(func(t *testing.T, text []byte) {
		p, mistakes, err := Check(text)
		if err != nil || (p == nil) != (len(mistakes) > 0) {
			t.Fatalf("%v %v %v", p, mistakes, err)
		}
		lines := bytes.Count(text, []byte("\n")) + 1
		for _, m := range mistakes {
			if m.What == "" || m.Hint == "" || m.Line < 0 || m.Line > lines+1 || m.Line > 0 && m.Column < 1 {
				t.Errorf("%d lines: %+v", lines, m)
			}
		}
		if p == nil {
			return
		}
		for _, v := range p.Judge(facts, taken(readings)) {
			if v.Outcome == "" || v.Outcome == Passed && len(v.Gaps) > 0 {
				t.Errorf("an accepted pack gives %+v", v)
			}
		}
	})
}
