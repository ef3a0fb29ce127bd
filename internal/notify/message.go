package notify

import (
	"fmt"
	"net/mail"
	"regexp"
	"strconv"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"github.com/google/uuid"
)

// Message is one letter to one recipient. Sending it again sends the same bytes.
type Message struct {
	ID      uuid.UUID // of the letter; the Message-ID is <ID@domain of the sender>
	To      string    // one address, with or without a name: `Anna Berg <anna@example.org>`
	Subject string    // one line
	Text    string    // plain text
	HTML    string    // says the same; "": plain text alone
	Date    time.Time // when the letter was written
	// Unsubscribe is where the recipient can stop such mail (RFC 2369), with one POST where it begins with https (RFC 8058); "": nowhere.
	Unsubscribe string
	// Enclosed goes with the text.
	Enclosed *Enclosure
}

// Enclosure is a file that goes with a message, as it is.
type Enclosure struct {
	Name      string // of the file: letters, digits, dots and hyphens
	MediaType string
	Bytes     []byte
}

// unsubscribeLink is an address that needs no writing around in a header.
var unsubscribeLink = regexp.MustCompile(`^https?://[A-Za-z0-9._~:/?#\[\]@!$&'()*+;=%-]+$`)

var enclosureName = regexp.MustCompile(`^[A-Za-z0-9][A-Za-z0-9.-]{0,99}$`)

// Receipt is the server's word that it took the message over.
type Receipt struct {
	MessageID string // without the angle brackets
	Answer    string // the server's text after the last byte, at most 500 characters, one line
}

// Stage is how far a delivery came.
type Stage string

const (
	StageMessage   Stage = "message"   // before any connection: the message itself cannot be sent
	StageConnect   Stage = "connect"   // connecting, greeting, TLS, signing in
	StageSender    Stage = "sender"    // MAIL FROM
	StageRecipient Stage = "recipient" // RCPT TO
	StageContent   Stage = "content"   // DATA and the message
)

// Failure says why a message was not, or perhaps not, delivered.
type Failure struct {
	Stage Stage
	// Temporary: worth trying again with the same Message. Permanent at StageRecipient means that the address is bad:
	// the notice goes to the next contact. A failure to connect is always temporary, even a refused sign-in: it says
	// nothing about the message.
	Temporary bool
	// Uncertain: the line broke after the whole message was sent and before the answer came. It may have arrived.
	Uncertain bool
	Code      int    // the server's, 0 when it said nothing
	Answer    string // the server's words, at most 500 characters, one line; "" when it said nothing
	// RetryAfter is after how long the server itself asks to try again; 0 when it does not say.
	RetryAfter time.Duration
	Err        error
}

func (f *Failure) Error() string {
	kind := "permanent"
	if f.Temporary {
		kind = "temporary"
	}
	if f.Uncertain {
		kind += ", may have arrived"
	}
	return fmt.Sprintf("mail not delivered (%s, at %s): %v", kind, f.Stage, f.Err)
}

func (f *Failure) Unwrap() error { return f.Err }

// BadAddress tells whether the server refused the recipient for good: at once, or, as some do, after the content with a
// status that speaks of the mailbox (RFC 3463: 5.1.…, 5.2.…).
func (f *Failure) BadAddress() bool {
	mailbox := strings.HasPrefix(f.Answer, "5.1.") || strings.HasPrefix(f.Answer, "5.2.")
	return !f.Temporary && (f.Stage == StageRecipient || f.Stage == StageContent && mailbox)
}

// asksToWait finds in a server's words how long it asks to wait: there is no member for it in SMTP, but servers that put
// a stranger's mail off at first ("greylisting") tell people, as in "try again in 300 seconds".
var asksToWait = regexp.MustCompile(`(?i)\b(\d{1,5})\s*(s|sec|secs|seconds?|m|min|mins|minutes?|h|hours?)\b`)

// longestWait bounds what a server may ask for.
const longestWait = 12 * time.Hour

func retryAfter(answer string) time.Duration {
	m := asksToWait.FindStringSubmatch(answer)
	if m == nil {
		return 0
	}
	n, err := strconv.Atoi(m[1])
	if err != nil {
		return 0
	}
	unit := map[byte]time.Duration{'s': time.Second, 'm': time.Minute, 'h': time.Hour}[m[2][0]|0x20]
	return min(time.Duration(n)*unit, longestWait)
}

// check gives the recipient's address, or says what makes the message impossible to send.
func (m Message) check() (*mail.Address, error) {
	switch {
	case m.ID == uuid.Nil:
		return nil, fmt.Errorf("id: missing")
	case m.Date.IsZero():
		return nil, fmt.Errorf("date: missing")
	case oneLine(m.Subject) == "":
		return nil, fmt.Errorf("subject: empty")
	case strings.TrimSpace(m.Text) == "":
		return nil, fmt.Errorf("text: empty")
	case m.Enclosed != nil && (!enclosureName.MatchString(m.Enclosed.Name) || len(m.Enclosed.Bytes) == 0):
		return nil, fmt.Errorf("enclosed: without a plain name, or empty")
	case m.Unsubscribe != "" && !unsubscribeLink.MatchString(m.Unsubscribe):
		return nil, fmt.Errorf("unsubscribe: not a plain web address")
	case !utf8.ValidString(m.Subject) || !utf8.ValidString(m.Text) || !utf8.ValidString(m.HTML):
		return nil, fmt.Errorf("subject or text: not UTF-8")
	}
	to, err := parseAddress(m.To)
	if err != nil {
		return nil, fmt.Errorf("to: %w", err)
	}
	return to, nil
}

// parseAddress accepts exactly one address in ASCII: not every mail server carries others (RFC 6531 is an extension).
func parseAddress(text string) (*mail.Address, error) {
	if strings.ContainsFunc(text, unicode.IsControl) {
		return nil, fmt.Errorf("address with a control character")
	}
	address, err := mail.ParseAddress(text)
	if err != nil {
		return nil, fmt.Errorf("not one mail address: %w", err)
	}
	for _, r := range address.Address {
		if r > unicode.MaxASCII {
			return nil, fmt.Errorf("mail address with the letter %q: write the domain in its ASCII form", r)
		}
	}
	return address, nil
}

// oneLine makes text fit for a header or a log: no line breaks, no control characters, no runs of spaces.
func oneLine(text string) string {
	text = strings.Join(strings.Fields(text), " ")
	return strings.Map(func(r rune) rune {
		if unicode.IsControl(r) {
			return -1
		}
		return r
	}, text)
}

const longestAnswer = 500

// answerText is a stranger's text on its way to the database and to people.
func answerText(text string) string {
	runes := []rune(oneLine(strings.ToValidUTF8(text, "?")))
	if len(runes) > longestAnswer {
		runes = append(runes[:longestAnswer-1], '…')
	}
	return string(runes)
}
