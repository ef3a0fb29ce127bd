package fleet

import (
	"strings"
	"testing"

	"pgregory.net/rapid"

	"lintel.example/lintel/internal/fault"
)

// Numbers that others published with a MOD 11,10 check digit as their last digit.
func TestCheckDigitAgreesWithPublishedNumbers(t *testing.T) {
	for _, published := range []struct{ number, source string }{
		{"794623", "FOUND: github.com/arthurdejong/python-stdnum, stdnum/iso7064/mod_11_10.py"},
		{"002006673085", "FOUND: the same file"},
		{"136695976", "FOUND: the same project, stdnum/de/vat.py (German VAT number, without DE)"},
		{"36574261809", "FOUND: the same project, stdnum/de/idnr.py (German tax number)"},
		{"12345678995", "FOUND: kryptografie.de/kryptografie/chiffre/steuer-id.htm (German tax number)"},
		{"129430206", "FOUND: docs.oracle.com/en/cloud/saas/financials/24b/faitx/germany.html (German VAT number)"},
		{"815243055", "FOUND: the same page"},
		{"07945", "from memory: the standard's own string 0794 (with MOD 11-2, another system, it takes 0)"},
	} {
		body, check := published.number[:len(published.number)-1], published.number[len(published.number)-1]
		if got := mod11_10(body); got != check {
			t.Errorf("%s: check digit %c, published %c (%s)", body, got, check, published.source)
		}
	}
}

func TestTagIsReadAsPeopleWriteIt(t *testing.T) {
	want, err := TagFor(1234567)
	if err != nil {
		t.Fatal(err)
	}
	if want.String() != "1234 5672" {
		t.Fatalf("tag of door 1234567 is written %q", want)
	}
	for _, text := range []string{
		"12345672", "1234 5672", " 1234 5672 ", "1234-5672", "12.34.56.72", "1 2 3 4 5 6 7 2", "1234\u00a05672",
		"1234\u202f5672", "1234\u20115672", "1234 \u2013 5672", "12345672\n",
	} {
		if got, err := ParseTag(text); err != nil || got != want {
			t.Errorf("ParseTag(%q) = %q, %v; want %q", text, string(got), err, string(want))
		}
	}
}

func TestWrongTagIsRefusedWithItsReason(t *testing.T) {
	for _, c := range []struct {
		text string
		want string
	}{
		{"", "tag_length"},
		{"1234 567", "tag_length"},
		{"1234 5672 1", "tag_length"},
		{strings.Repeat("1", 1000), "tag_length"},
		{"1234 567Z", "tag_character"},
		{"1234_5672", "tag_character"},
		{"١٢٣٤٥٦٧٢", "tag_character"},
		{"1234 567\x00", "tag_character"},
		{"\xff1234567", "tag_character"},
		{"1234 5674", "tag_check_digit"},
		{"1324 5672", "tag_check_digit"},
		{"0000 000" + string(mod11_10("0000000")), "tag_number"},
	} {
		if got, err := ParseTag(c.text); !fault.Is(err, c.want) || got != "" {
			t.Errorf("ParseTag(%q) = %q, %v; want the fault %s", c.text, string(got), err, c.want)
		}
	}
	for _, number := range []int64{0, -1, 10_000_000, 1 << 40} {
		if got, err := TagFor(number); !fault.Is(err, "tag_number") || got != "" {
			t.Errorf("TagFor(%d) = %q, %v; want tag_number", number, string(got), err)
		}
	}
}

func TestEveryTagIsReadBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		tag, err := TagFor(rapid.Int64Range(1, lastTagNumber).Draw(t, "number"))
		if err != nil {
			t.Fatal(err)
		}
		if back, err := ParseTag(tag.String()); err != nil || back != tag {
			t.Fatalf("ParseTag(%q) = %q, %v", tag.String(), string(back), err)
		}
	})
}

// sampledTags walks through the whole range; the step has no factor in common with 10, so every digit takes every value in
// every place.
func sampledTags(t *testing.T, each func(tag string)) {
	t.Helper()
	for number := int64(1); number <= lastTagNumber; number += 1999 {
		tag, err := TagFor(number)
		if err != nil {
			t.Fatal(err)
		}
		each(string(tag))
	}
}

func TestEverySingleWrongDigitIsFound(t *testing.T) {
	sampledTags(t, func(tag string) {
		for place := range tagDigits {
			for digit := byte('0'); digit <= '9'; digit++ {
				if digit == tag[place] {
					continue
				}
				wrong := tag[:place] + string(digit) + tag[place+1:]
				if _, err := ParseTag(wrong); err == nil {
					t.Fatalf("%s passed for %s", wrong, tag)
				}
			}
		}
	})
}

// Over all 9,999,999 tags 97.78 % of the swaps of two different neighbours are found (61,599,999 of 62,999,999, measured
// once by this loop with step 1); the sample has to come out the same.
func TestNearlyEverySwapOfNeighboursIsFound(t *testing.T) {
	var swaps, found int
	sampledTags(t, func(tag string) {
		for place := range tagDigits - 1 {
			if tag[place] == tag[place+1] {
				continue
			}
			swaps++
			if _, err := ParseTag(swapped(tag, place)); err != nil {
				found++
			}
		}
	})
	share := float64(found) / float64(swaps)
	t.Logf("%d of %d swaps found: %.2f %%", found, swaps, 100*share)
	if share < 0.975 || share == 1 {
		t.Errorf("%.2f %% of the swaps were found, measured over all tags: 97.78 %%", 100*share)
	}
}

func swapped(tag string, place int) string {
	b := []byte(tag)
	b[place], b[place+1] = b[place+1], b[place]
	return string(b)
}

func FuzzParseTag(f *testing.F) {
	for _, seed := range []string{"1234 5672", "1234-5672", "", "0000 0000", "12.34.56.72", "1234567Z", "\u00a01", "\xff"} {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, text string) {
		tag, err := ParseTag(text)
		if err != nil {
			if tag != "" {
				t.Fatalf("refused %q and still gave %q", text, string(tag))
			}
			return
		}
		digits := strings.Map(func(r rune) rune {
			if r >= '0' && r <= '9' {
				return r
			}
			return -1
		}, text)
		if string(tag) != digits {
			t.Fatalf("%q became %q", text, string(tag))
		}
		if back, err := ParseTag(tag.String()); err != nil || back != tag {
			t.Fatalf("%q is not read back: %v", tag.String(), err)
		}
	})
}
