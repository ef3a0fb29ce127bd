package fleet

import (
	"errors"
	"fmt"
	"strings"
	"unicode"
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

// What can be wrong with a tag. Whoever reads a tag from people answers with one of these.
var (
	ErrTagLength     = errors.New("a door tag has eight digits")
	ErrTagCharacter  = errors.New("a door tag has digits only")
	ErrTagCheckDigit = errors.New("the check digit of the door tag does not fit: one digit is wrong, or two are swapped")
	ErrTagNumber     = errors.New("a door's number is between 1 and 9999999")
)

// ParseTag reads a tag as people write it: spaces, hyphens and dots may stand anywhere between the digits.
// The error is one of ErrTagLength, ErrTagCharacter, ErrTagCheckDigit, ErrTagNumber. It does not say which digit
// would fit: a tag that was corrected by guessing names some other door.
func ParseTag(text string) (Tag, error) {
	var digits strings.Builder
	for _, r := range text {
		switch {
		case r >= '0' && r <= '9':
			if digits.Len() == tagDigits {
				return "", ErrTagLength
			}
			digits.WriteRune(r)
		case separatesTagDigits(r):
		default:
			return "", fmt.Errorf("%w, not %q", ErrTagCharacter, r)
		}
	}
	if digits.Len() != tagDigits {
		return "", fmt.Errorf("%w, not %d", ErrTagLength, digits.Len())
	}
	tag := digits.String()
	number, check := tag[:tagNumberDigits], tag[tagNumberDigits]
	if mod11_10(number) != check {
		return "", ErrTagCheckDigit
	}
	if number == strings.Repeat("0", tagNumberDigits) {
		return "", ErrTagNumber
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
		return "", fmt.Errorf("%w, not %d", ErrTagNumber, number)
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
