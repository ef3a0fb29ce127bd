package api

import (
	"strings"
	"testing"

	"github.com/danielgtaylor/huma/v2/validation"

	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/words"
)

func TestEveryShapeIsToldInOurWordsAndWithoutTheValue(t *testing.T) {
	catalogue, err := words.Load()
	if err != nil {
		t.Fatal(err)
	}
	New(Rooms{Fleet: fleet.New(fleet.Parts{}), Words: catalogue, Version: "0"})
	texts := catalogue.Printer("en", words.Metric)
	for _, s := range shapes() {
		code, detail, bound, known := readShape(texts, s.code+" 17")
		if !known || code != s.code || strings.Contains(detail, "⟦") || strings.Contains(detail, "17") != (s.bound != "" && s.bound != "member") || (bound == "17") != (s.bound != "") {
			t.Errorf("%s is told as %q, %q, %v", s.code, code, detail, known)
		}
		if !strings.HasPrefix(*s.message, s.code+" ") {
			t.Errorf("huma says %q", *s.message)
		}
	}
	for _, b := range beforeShape() {
		if code, detail, _, known := readShape(texts, b[0]+" Qx7391"); !known || code != b[1] || strings.Contains(detail, "⟦") || strings.Contains(detail, "Qx7391") {
			t.Errorf("%s is told as %q, %q", b[0], code, detail)
		}
	}
	if _, _, _, known := readShape(texts, validation.MsgExpectedArrayItemsUnique); known {
		t.Error("a text of huma's own is known")
	}
}
