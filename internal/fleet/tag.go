package fleet

import (
	"fmt"
	"strconv"
	"strings"
	"unicode"

	"lintel.example/lintel/internal/fault"
)

// Tag names a door for people: seven digits and a check digit (ISO/IEC 7064, MOD 11,10), kept as eight bare
// digits and written in two groups, "1234 5678", so that it can be read over a telephone.
// The zero value is no tag.
//
// The check digit finds every single wrong digit; of two neighbouring digits swapped it finds 97.8 %
// (measured over all tags, see tag_test.go).
type Tag string

const (
	tagNumberDigits = 7
	tagDigits       = tagNumberDigits + 1
	lastTagNumber   = 9_999_999
)

// ParseTag reads a tag as people write it: spaces, hyphens and dots may stand anywhere between the digits.
// The error is a fault: tag_length, tag_character, tag_check_digit or tag_number. It does not say which digit would
// fit: a tag that was corrected by guessing names some other door.
func ParseTag(text string) (Tag, error) {
	var digits strings.Builder
	for _, r := range text {
		switch {
		case r >= '0' && r <= '9':
			if digits.Len() == tagDigits {
				return "", fault.New(fault.Invalid, "tag_length")
			}
			digits.WriteRune(r)
		case separatesTagDigits(r):
		default:
			return "", fault.New(fault.Invalid, "tag_character", "character", strconv.QuoteRune(r))
		}
	}
	if digits.Len() != tagDigits {
		return "", fault.New(fault.Invalid, "tag_length")
	}
	tag := digits.String()
	number, check := tag[:tagNumberDigits], tag[tagNumberDigits]
	if mod11_10(number) != check {
		return "", fault.New(fault.Invalid, "tag_check_digit")
	}
	if number == strings.Repeat("0", tagNumberDigits) {
		return "", fault.New(fault.Invalid, "tag_number")
	}
	return Tag(tag), nil
}

// separatesTagDigits covers what word processors and web pages put in place of a plain space or hyphen.
func separatesTagDigits(r rune) bool {
	return r == '-' || r == '.' || unicode.IsSpace(r) || unicode.Is(unicode.Pd, r)
}

// TagFor gives the tag of the door with this number, 1 to 9,999,999.
func TagFor(number int64) (Tag, error) {
	if number < 1 || number > lastTagNumber {
		return "", fault.New(fault.Invalid, "tag_number")
	}
	digits := fmt.Sprintf("%0*d", tagNumberDigits, number)
	return Tag(digits + string(mod11_10(digits))), nil
}

// String writes the tag for people, "1234 5678". For the database and for addresses take string(tag).
func (t Tag) String() string {
	if len(t) != tagDigits {
		return string(t)
	}
	return string(t[:4]) + " " + string(t[4:])
}

// mod11_10 gives the check digit of a string of digits by ISO/IEC 7064, MOD 11,10, the hybrid system for digits
// with a digit as check character. The steps are from memory, confirmed against published numbers in the test.
func mod11_10(digits string) byte {
	product := 10
	for i := range len(digits) {
		sum := (product + int(digits[i]-'0')) % 10
		if sum == 0 {
			sum = 10
		}
		product = 2 * sum % 11
	}
	return byte('0' + (11-product)%10)
}
