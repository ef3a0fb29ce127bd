package rulebook

import (
	"strings"
	"testing"
)

func TestEveryMistakeHasItsLineItsColumnAndAHint(t *testing.T) {
	for name, c := range map[string]struct {
		from, to     string
		line, column int
		what, hint   string
	}{
		"misspelt member":    {"severity: unsafe", "severty: unsafe", 16, 5, "there is no member severty", "did you mean severity?"},
		"misspelt reading":   {"measured: reading.closing_force_n", "measured: reading.closing_forse_n", 14, 22, "undeclared reference", "did you mean reading.closing_force_n?"},
		"misspelt fact":      {"when: presence_by != 'beams'", "when: energy == 'low' && presents_by != 'beams'", 13, 30, "undeclared reference", "did you mean presence_by?"},
		"reading bare":       {"when: presence_by != 'beams'", "when: signs_present", 13, 11, "undeclared reference", "written reading.signs_present"},
		"in quotes":          {"when: presence_by != 'beams'", `when: "egress && presents_by"`, 13, 22, "undeclared reference", "presence_by"},
		"unit":               {"unit: lbf", "unit: stone", 15, 12, "rule force: limit: unknown unit", "lbf"},
		"severity":           {"severity: unsafe", "severity: bad", 16, 15, "want unsafe, deficient or advisory", ""},
		"source":             {"{clause: 1.2, address: print}", "{clause: 1.2}", 18, 13, "found needs clause and address", "from_memory"},
		"newtons as seconds": {"measured: reading.closing_force_n", "measured: reading.latch_time_s", 0, 0, "measured is in s, the limit in lbf", "SI"},
		"not yaml":           {"standard: Example 1", "standard: [Example 1", 0, 0, "", ""},
		"zone":               {"y1_m: 1", "y1_m: wide", 0, 0, "zone front: y1_m: undeclared reference", "did you mean"},
		"rule twice":         {"id: signs", "id: force", 19, 9, "twice", ""},
	} {
		p, mistakes, err := Check([]byte(strings.Replace(samplePack, c.from, c.to, 1)))
		if err != nil || p != nil || len(mistakes) == 0 {
			t.Errorf("%s: %v, %v, %v", name, p, mistakes, err)
			continue
		}
		m := mistakes[0]
		if c.line > 0 && (m.Line != c.line || m.Column != c.column) || m.Line == 0 || m.Column == 0 || !strings.Contains(m.What, c.what) || !strings.Contains(m.Hint, c.hint) || strings.Contains(m.What, "rulebook.") || strings.Contains(m.What, "\n") {
			t.Errorf("%s: %v", name, mistakes)
		}
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
	f.Add([]byte("id: a@1\nrules: [{id: x}]"))
	f.Fuzz(func(t *testing.T, text []byte) {
		p, mistakes, err := Check(text)
		if err != nil || (p == nil) != (len(mistakes) > 0) {
			t.Fatalf("%v %v %v", p, mistakes, err)
		}
	})
}
