package notify

import (
	"bufio"
	"bytes"
	"encoding/base64"
	"errors"
	"fmt"
	"io"
	"mime"
	"mime/multipart"
	"mime/quotedprintable"
	"net/mail"
	"net/textproto"
	"strings"

	"github.com/google/uuid"
)

// Bounce is a mail server's report about a message of ours (RFC 3464).
type Bounce struct {
	MessageID uuid.UUID // of the message that it is about
	Action    string    // failed, delayed, delivered, relayed, expanded
	Status    string    // RFC 3463, such as 5.1.1; "" when it is not readable
	Answer    string    // the reporting server's words, at most 500 characters, one line
}

const (
	// MostBounceBytes is how long a report may be. Most carry the whole message back.
	MostBounceBytes = 1 << 20
	mostParts       = 20
)

// ReadBounce reads a report. What it is about is known by the address that it came to (bounces+ID@…), or by the Message-ID
// of the message that it carries; the two must not disagree. Mail that is no report, or about nothing of ours, is an error.
func ReadBounce(raw []byte) (Bounce, error) {
	if len(raw) > MostBounceBytes {
		return Bounce{}, fmt.Errorf("longer than %d bytes", MostBounceBytes)
	}
	message, err := mail.ReadMessage(bytes.NewReader(raw))
	if err != nil {
		return Bounce{}, fmt.Errorf("no mail: %w", err)
	}
	kind, parameters, err := mime.ParseMediaType(message.Header.Get("Content-Type"))
	if err != nil || kind != "multipart/report" || !strings.EqualFold(parameters["report-type"], "delivery-status") {
		return Bounce{}, errors.New("no report about a delivery (multipart/report, delivery-status)")
	}
	b, about, err := readReport(multipart.NewReader(message.Body, parameters["boundary"]))
	if err != nil {
		return Bounce{}, err
	}
	for _, name := range []string{"To", "Delivered-To", "X-Original-To"} {
		for _, value := range message.Header[textproto.CanonicalMIMEHeaderKey(name)] {
			about = append(about, idsAfterPlus(value)...)
		}
	}
	for _, id := range about {
		if b.MessageID != uuid.Nil && b.MessageID != id {
			return Bounce{}, errors.New("names two messages")
		}
		b.MessageID = id
	}
	if b.MessageID == uuid.Nil {
		return Bounce{}, errors.New("names no message of ours")
	}
	return b, nil
}

// readReport reads the parts: what happened to which recipient, and the message that it happened to.
func readReport(parts *multipart.Reader) (b Bounce, about []uuid.UUID, err error) {
	for range mostParts {
		part, err := parts.NextRawPart()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return b, nil, fmt.Errorf("a part: %w", err)
		}
		kind, _, _ := mime.ParseMediaType(part.Header.Get("Content-Type"))
		body := decoded(part)
		switch kind {
		case "message/delivery-status", "message/global-delivery-status":
			if err := b.readStatus(body); err != nil {
				return b, nil, fmt.Errorf("the status: %w", err)
			}
		case "message/rfc822", "text/rfc822-headers", "message/rfc822-headers", "message/global", "message/global-headers":
			header, err := textproto.NewReader(bufio.NewReader(body)).ReadMIMEHeader()
			if err != nil && !errors.Is(err, io.EOF) {
				return b, nil, fmt.Errorf("the returned message: %w", err)
			}
			if id, ok := idBeforeAt(header.Get("Message-Id")); ok {
				about = append(about, id)
			}
		}
	}
	if b.Action == "" {
		return b, nil, errors.New("says of no recipient what happened")
	}
	return b, about, nil
}

func decoded(part *multipart.Part) io.Reader {
	switch strings.ToLower(strings.TrimSpace(part.Header.Get("Content-Transfer-Encoding"))) {
	case "quoted-printable":
		return quotedprintable.NewReader(part)
	case "base64":
		return base64.NewDecoder(base64.StdEncoding, part)
	}
	return part
}

// gravity orders what may have happened; of several recipients the gravest counts.
func gravity(action string) int {
	return map[string]int{"expanded": 1, "relayed": 2, "delivered": 3, "delayed": 4, "failed": 5}[action]
}

// readStatus reads groups of fields: the first is about the message, each other about a recipient.
func (b *Bounce) readStatus(body io.Reader) error {
	r := textproto.NewReader(bufio.NewReader(body))
	for first := true; ; first = false {
		fields, err := r.ReadMIMEHeader()
		if err != nil && !errors.Is(err, io.EOF) {
			return err
		}
		action := strings.ToLower(strings.TrimSpace(fields.Get("Action")))
		if !first && gravity(action) > gravity(b.Action) {
			b.Action, b.Status = action, statusOf(fields.Get("Status"))
			_, words, typed := strings.Cut(fields.Get("Diagnostic-Code"), ";")
			if !typed {
				words = fields.Get("Diagnostic-Code")
			}
			b.Answer = answerText(strings.TrimSpace(b.Status + " " + words))
		}
		if err != nil {
			return nil
		}
	}
}

// statusOf reads "5.1.1 (a comment)".
func statusOf(text string) string {
	text, _, _ = strings.Cut(strings.TrimSpace(text), " ")
	parts := strings.Split(text, ".")
	if len(parts) != 3 || len(text) > 11 || parts[0] != "2" && parts[0] != "4" && parts[0] != "5" {
		return ""
	}
	for _, p := range parts {
		if p == "" || strings.Trim(p, "0123456789") != "" {
			return ""
		}
	}
	return text
}

func idBeforeAt(messageID string) (uuid.UUID, bool) {
	text, _, _ := strings.Cut(strings.Trim(strings.TrimSpace(messageID), "<>"), "@")
	return ourID(text)
}

// idsAfterPlus finds the ids in addresses such as bounces+ID@example.org.
func idsAfterPlus(addresses string) (ids []uuid.UUID) {
	for _, piece := range strings.FieldsFunc(addresses, func(r rune) bool { return strings.ContainsRune(" ,;<>\"\t", r) }) {
		local, _, is := strings.Cut(piece, "@")
		if plus := strings.LastIndexByte(local, '+'); is && plus >= 0 {
			if id, ok := ourID(local[plus+1:]); ok {
				ids = append(ids, id)
			}
		}
	}
	return ids
}

// ourID reads an id in the one form in which Lintel writes it.
func ourID(text string) (uuid.UUID, bool) {
	id, err := uuid.Parse(text)
	return id, err == nil && id != uuid.Nil && strings.EqualFold(id.String(), text)
}
