package api

import (
	"fmt"
	"strings"

	"github.com/danielgtaylor/huma/v2/validation"

	"lintel.example/lintel/internal/words"
)

// shape is one way in which a member or a parameter cannot have its type.
type shape struct {
	message *string // huma's text for it, which we make our code and the bound that the contract gives
	code    string  // its text is problem.<code>
	bound   string  // name of the argument of that text; "" when it has none
}

// shapes are those that the contract can ask for. huma keeps its texts in package variables and tells nothing else of
// what it finds, so the code travels in their place: texts for people are in internal/words, and no value comes back.
func shapes() []shape {
	return []shape{
		{&validation.MsgUnexpectedProperty, "member_unknown", ""},
		{&validation.MsgExpectedRequiredProperty, "member_missing", "member"},
		{&validation.MsgExpectedBoolean, "not_yes_or_no", ""},
		{&validation.MsgExpectedNumber, "not_number", ""},
		{&validation.MsgExpectedInteger, "not_whole_number", ""},
		{&validation.MsgExpectedString, "not_text", ""},
		{&validation.MsgExpectedArray, "not_list", ""},
		{&validation.MsgExpectedObject, "not_object", ""},
		{&validation.MsgExpectedRFC3339DateTime, "not_instant", ""},
		{&validation.MsgExpectedRFC3339Date, "date_unreadable", ""},
		{&validation.MsgExpectedRFC4122UUID, "not_id", ""},
		{&validation.MsgExpectedOneOf, "not_one_of", "allowed"},
		{&validation.MsgExpectedMinimumNumber, "too_small", "least"},
		{&validation.MsgExpectedMaximumNumber, "too_great", "greatest"},
		{&validation.MsgExpectedMinLength, "text_too_short", "least"},
		{&validation.MsgExpectedMaxLength, "text_too_long", "greatest"},
		{&validation.MsgExpectedMatchPattern, "not_of_form", ""},
		{&validation.MsgExpectedMinItems, "list_too_short", "least"},
		{&validation.MsgExpectedMaxItems, "list_too_long", "greatest"},
	}
}

// speakInCodes has huma say our codes. "not_one_of a, b" is a code and its bound.
func speakInCodes() {
	for _, s := range shapes() {
		*s.message = s.code + " " + verb(*s.message)
	}
}

// verb is the one verb of a format; without it the formatter would complain, and repeat what was sent.
func verb(format string) string {
	if i := strings.IndexByte(format, '%'); i >= 0 {
		return format[i : i+2]
	}
	return ""
}

// beforeShape are the texts of what huma finds while it reads parameters, which cannot be changed.
func beforeShape() [][2]string {
	return [][2]string{{"invalid integer", "not_whole_number"}, {"invalid float", "not_number"}, {"invalid boolean", "not_yes_or_no"},
		{"invalid date/time", "not_instant"}, {"invalid value: invalid UUID", "not_id"}, {"required ", "parameter_missing"}}
}

// readShape gives the code of one of huma's findings, the text for people, and the bound; known is false for a text that
// is none of ours.
func readShape(texts words.Printer, message string) (code, detail, bound string, known bool) {
	said, rest, _ := strings.Cut(message, " ")
	for _, s := range shapes() {
		if s.code == said {
			if s.bound == "" {
				return said, texts.T("problem." + said), "", true
			}
			return said, texts.T("problem."+said, s.bound, fmt.Sprint(rest)), rest, true
		}
	}
	for _, b := range beforeShape() {
		if strings.HasPrefix(message, b[0]) {
			return b[1], texts.T("problem." + b[1]), "", true
		}
	}
	return "", "", "", false
}
