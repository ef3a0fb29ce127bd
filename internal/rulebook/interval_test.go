package rulebook

import "testing"

// Sources: A156.10 and A156.19 name no clause, what the trade asks, from memory; EN 16005 cl. 5 with national rules, from memory; ASR A1.7 10.2; NFPA 80
// 5.2.1; for France twice a year, article 9 of the decree of 21 December 1993. Each stands beside the rule in its pack.
func TestTheLongestIntervalIsWhatTheRulesOfADoorAllow(t *testing.T) {
	book, err := Embedded()
	if err != nil {
		t.Fatal(err)
	}
	yes, no := true, false
	sliding := Facts{DoorKind: "sliding", Energy: "full"}
	fire := sliding
	fire.FireRated = &yes
	plain := sliding
	plain.FireRated = &no
	for _, c := range []struct {
		what  string
		facts Facts
		packs []string
		want  int
		by    string
	}{
		{"United States, full energy", sliding, []string{"a156.10@2017"}, 12, "yearly-inspection"},
		{"Europe", sliding, []string{"en16005@2023"}, 12, "yearly"},
		{"Germany: the rule basis says it first", sliding, []string{"en16005@2012", "asr-a1.7@2009"}, 12, "yearly"},
		{"France: half a year, whatever the rule basis allows", sliding, []string{"en16005@2012", "arrete-portes@1993"}, 6, "half-yearly"},
		{"a fire door", fire, []string{"egress-fire@2018"}, 12, "fire-yearly"},
		{"no fire door", plain, []string{"egress-fire@2018"}, 0, ""},
		{"nobody knows whether it is a fire door", sliding, []string{"egress-fire@2018"}, 0, ""},
		{"a pack for other doors", Facts{DoorKind: "revolving", Energy: "full"}, []string{"a156.10@2017"}, 0, ""},
		{"no rule basis", sliding, nil, 0, ""},
	} {
		packs := []*Pack{{}}
		for _, id := range c.packs {
			p, ok := book.Pack(id)
			if !ok {
				t.Fatal(id)
			}
			packs = append(packs, p)
		}
		got, named := LongestInterval(c.facts, packs...)
		if named != (c.want > 0) || got.Months != c.want || named && got.Rule.ID != c.by {
			t.Errorf("%s: %+v, want %d months by %q", c.what, got, c.want, c.by)
		}
	}
}
