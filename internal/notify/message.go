package notify

import (
	"fmt"
	"net/mail"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"github.com/google/uuid"
)

// Message is one notice to one recipient. Sending it again sends the same bytes.
type Message struct {
	ID      uuid.UUID // of the notice; the Message-ID is <ID@domain of the sender>
	To      string    // one address, with or without a name: `Anna Berg <anna@example.org>`
	Subject string    // one line
	Text    string    // plain text
	Date    time.Time // when the notice was written
}

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
	Err       error
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

// BadAddress tells whether the server refused the recipient for good.
func (f *Failure) BadAddress() bool { return f.Stage == StageRecipient && !f.Temporary }

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
	case !utf8.ValidString(m.Subject) || !utf8.ValidString(m.Text):
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
