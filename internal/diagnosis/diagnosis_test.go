package diagnosis

import (
	"slices"
	"testing"

	"pgregory.net/rapid"
)

func TestEverySymptomHasACauseAndEveryEvidenceIsUsed(t *testing.T) {
	used := map[string]bool{"leaf_masked_share": true} // it says why a leaf that is seen is no cause
	for _, s := range Symptoms() {
		if !slices.ContainsFunc(Rules(), func(r Rule) bool { return slices.Contains(r.Symptoms, s) }) {
			t.Errorf("nothing explains %s", s)
		}
	}
	for _, r := range Rules() {
		for _, c := range append(slices.Clone(r.Carries), r.Supports...) {
			used[c.Name] = true
		}
		for _, name := range r.Tells {
			used[name] = true
		}
	}
	for _, name := range Names() {
		if !used[name] {
			t.Errorf("%s is gathered for nothing", name)
		}
	}
}

func drawEvidence(t *rapid.T) (list []Evidence) {
	for _, name := range Names() {
		if rapid.Bool().Draw(t, name) {
			e := Evidence{Name: name, Value: rapid.SampledFrom([]float64{0, 0.03, 0.5, 1, 2, 50, 300, -1, -20}).Draw(t, name+" is"), Device: rapid.SampledFrom([]string{"", "one", "other"}).Draw(t, name+" of")}
			if rapid.Bool().Draw(t, name+" has a limit") {
				limit := rapid.SampledFrom([]float64{0, 1, 100}).Draw(t, name+" limit")
				e.Limit = &limit
			}
			list = append(list, e)
		}
	}
	return list
}

func TestACauseAppearsOnlyWithEvidenceThatCarriesIt(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		evidence := drawEvidence(t)
		a, err := Diagnose(rapid.SampledFrom(Symptoms()).Draw(t, "symptom"), evidence)
		if err != nil {
			t.Fatal(err)
		}
		for _, c := range a.Causes {
			r := Rules()[slices.IndexFunc(Rules(), func(r Rule) bool { return r.Cause == c.Name })]
			carried := slices.ContainsFunc(r.Carries, func(test Test) bool {
				return slices.ContainsFunc(evidence, func(e Evidence) bool { return e.Name == test.Name && test.Holds(e) })
			})
			if !carried || c.Score <= 0 || len(c.Because) == 0 {
				t.Fatalf("%+v from %v", c, evidence)
			}
		}
		for _, name := range a.FindOut {
			if known(name, evidence) {
				t.Fatalf("%s is to be found out, and known", name)
			}
		}
	})
}

func TestWhatIsKnownOfOneDeviceSpeaksForNoCauseInAnother(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a, _ := Diagnose(rapid.SampledFrom(Symptoms()).Draw(t, "symptom"), drawEvidence(t))
		for _, c := range a.Causes {
			for _, r := range c.Because {
				if r.Device != "" && r.Device != c.Device {
					t.Fatalf("%+v", c)
				}
			}
		}
	})
}

func TestAThingThatIsSeenCountsOnlyWhenItReachesItsOwnLimit(t *testing.T) {
	for _, c := range []struct {
		travel, limit float64
		causes        int
	}{{380, 20, 1}, {380, 380, 1}, {379, 380, 0}, {0, 0, 0}, {5, 0, 1}} {
		a, err := Diagnose("opens_in_weather", []Evidence{{Name: "drops_travel_mm", Value: c.travel, Limit: &c.limit}})
		if err != nil || len(a.Causes) != c.causes {
			t.Errorf("%v of %v: %v, %v", c.travel, c.limit, a.Causes, err)
		}
	}
	if a, _ := Diagnose("opens_in_weather", []Evidence{{Name: "drops_travel_mm", Value: 380}}); len(a.Causes) > 0 {
		t.Error("without a limit nothing is beyond it")
	}
}

func TestNoEvidenceNoCause(t *testing.T) {
	for _, s := range Symptoms() {
		a, err := Diagnose(s, nil)
		if err != nil || len(a.Causes) > 0 || len(a.FindOut) == 0 {
			t.Errorf("%s: %+v, %v", s, a, err)
		}
	}
	if _, err := Diagnose("squeaks", nil); err == nil {
		t.Error("a symptom that there is not is taken")
	}
}

func TestMoreEvidenceNeverLowersACause(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		evidence := drawEvidence(t)
		symptom := rapid.SampledFrom(Symptoms()).Draw(t, "symptom")
		n := rapid.IntRange(0, len(evidence)).Draw(t, "n")
		some, _ := Diagnose(symptom, evidence[:n])
		all, _ := Diagnose(symptom, evidence)
		for _, c := range some.Causes {
			i := slices.IndexFunc(all.Causes, func(d Cause) bool { return d.Name == c.Name })
			if i < 0 || all.Causes[i].Score < c.Score {
				t.Fatalf("%+v became %+v", c, all.Causes)
			}
		}
	})
}

func TestAnUnsoundRuleIsRefused(t *testing.T) {
	for what, text := range map[string]string{
		"no bound":              `[{cause: a, symptoms: [stays_open], carries: [{name: field_m2, weight: 1}], remedy: {name: r}, source: s}]`,
		"two bounds":            `[{cause: a, symptoms: [stays_open], carries: [{name: field_m2, above: 1, below: 2, weight: 1}], remedy: {name: r}, source: s}]`,
		"unknown evidence":      `[{cause: a, symptoms: [stays_open], carries: [{name: colour, above: 1, weight: 1}], remedy: {name: r}, source: s}]`,
		"unknown symptom":       `[{cause: a, symptoms: [squeaks], carries: [{name: field_m2, above: 1, weight: 1}], remedy: {name: r}, source: s}]`,
		"no source":             `[{cause: a, symptoms: [stays_open], carries: [{name: field_m2, above: 1, weight: 1}], remedy: {name: r}}]`,
		"nothing carries it":    `[{cause: a, symptoms: [stays_open], remedy: {name: r}, source: s}]`,
		"an unknown member":     `[{cause: a, colour: red}]`,
		"a number nobody knows": `[{cause: a, symptoms: [stays_open], carries: [{name: field_m2, above: 1, weight: 1}], tells: [colour], remedy: {name: r}, source: s}]`,
		"a change sideways":     `[{cause: a, symptoms: [stays_open], carries: [{name: field_m2, above: 1, weight: 1}], remedy: {name: r, tries: [[{name: reach_db, value: "0", only: sideways}]]}, source: s}]`,
		"two of one name":       `[{cause: a, symptoms: [stays_open], carries: [{name: field_m2, above: 1, weight: 1}], remedy: {name: r}, source: s}, {cause: a, symptoms: [stays_open], carries: [{name: field_m2, above: 1, weight: 1}], remedy: {name: r}, source: s}]`,
	} {
		if _, err := ParseRules([]byte(text)); err == nil {
			t.Errorf("%s: taken", what)
		}
	}
}
