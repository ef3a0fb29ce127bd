package notify

import (
	"bytes"
	"context"
	"crypto/hmac"
	"crypto/rand"
	"crypto/sha256"
	"encoding/base64"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/netip"
	"net/url"
	"strconv"
	"strings"
	"syscall"
	"time"
)

// Hooks tells other programs of events over HTTP, signed by the Standard Webhooks scheme (its specification, 1.0.0): HMAC-SHA256 of
// "id.timestamp.body" under each secret. Safe for concurrent use.
type Hooks struct {
	inside bool
	client *http.Client
}

// HookMessage is one message to one address.
type HookMessage struct {
	Address string
	ID      string // without a dot; the same at each attempt, so that the receiver can drop the second copy
	At      time.Time
	Body    []byte
	Secrets []string // whsec_…; the one in force first, then the former one while it still holds
}

// HookAnswer is what came of a message.
type HookAnswer struct {
	Status     int           // 0: no answer came
	Text       string        // why, or the beginning of what was answered
	RetryAfter time.Duration // asked for by the receiver; 0: not
}

// Bounds of a delivery.
const (
	hookTimeout     = 15 * time.Second
	mostHookAnswer  = 300 // bytes of it are kept
	hookSecretBytes = 32  // the scheme allows 24 to 64
	hookSecretStart = "whsec_"
)

// NewHooks makes the way out. inside allows plain http and addresses of this machine and of networks that are not public.
func NewHooks(inside bool) *Hooks {
	h := &Hooks{inside: inside}
	dial := &net.Dialer{Timeout: hookTimeout, Control: h.control}
	h.client = &http.Client{Timeout: hookTimeout,
		Transport:     &http.Transport{DialContext: dial.DialContext, TLSHandshakeTimeout: hookTimeout, MaxResponseHeaderBytes: 16 << 10, DisableKeepAlives: true},
		CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }, // it could lead inside
	}
	return h
}

// NewSecret makes a secret of the scheme.
func (*Hooks) NewSecret() string {
	var raw [hookSecretBytes]byte
	_, _ = rand.Read(raw[:]) // never fails (crypto/rand)
	return hookSecretStart + base64.StdEncoding.EncodeToString(raw[:])
}

// Check says what is wrong with an address; nil: it may be told. Where a name leads is looked at when it is dialled.
func (h *Hooks) Check(address string) error {
	u, err := url.Parse(address)
	switch {
	case err != nil || u.Hostname() == "" || u.Opaque != "":
		return errors.New("it is no address of the web")
	case u.User != nil || u.Fragment != "":
		return errors.New("it holds a name, a password or a fragment")
	case u.Scheme != "https" && !(u.Scheme == "http" && h.inside):
		return errors.New("it does not begin with https://")
	}
	if ip, err := netip.ParseAddr(u.Hostname()); err == nil && !h.mayDial(ip) {
		return errNotPublic
	}
	return nil
}

var errNotPublic = errors.New("the address is not a public one")

// control looks at the address that is about to be dialled, after names are resolved: a name cannot be turned in between.
func (h *Hooks) control(_, address string, _ syscall.RawConn) error {
	to, err := netip.ParseAddrPort(address)
	if err != nil {
		return err
	}
	if !h.mayDial(to.Addr()) {
		return errNotPublic
	}
	return nil
}

// notPublic are networks that the properties of netip.Addr do not tell (IANA's special-purpose registries, RFC 6890; from memory).
var notPublic = []netip.Prefix{netip.MustParsePrefix("0.0.0.0/8"), netip.MustParsePrefix("100.64.0.0/10"), netip.MustParsePrefix("192.0.0.0/24"), netip.MustParsePrefix("192.0.2.0/24"),
	netip.MustParsePrefix("198.18.0.0/15"), netip.MustParsePrefix("198.51.100.0/24"), netip.MustParsePrefix("203.0.113.0/24"), netip.MustParsePrefix("240.0.0.0/4"),
	netip.MustParsePrefix("64:ff9b::/96"), netip.MustParsePrefix("64:ff9b:1::/48"), netip.MustParsePrefix("100::/64"), netip.MustParsePrefix("2001::/23"), netip.MustParsePrefix("2001:db8::/32"),
	netip.MustParsePrefix("2002::/16"), netip.MustParsePrefix("::/96")}

func (h *Hooks) mayDial(ip netip.Addr) bool {
	if h.inside {
		return true
	}
	ip = ip.Unmap().WithZone("")
	for _, p := range notPublic {
		if p.Contains(ip) {
			return false
		}
	}
	return ip.IsGlobalUnicast() && !ip.IsPrivate()
}

// Deliver sends a message and tells what was answered. 2xx alone is success; nothing is followed.
func (h *Hooks) Deliver(ctx context.Context, m HookMessage) HookAnswer {
	signature, err := signHook(m)
	if err != nil {
		return HookAnswer{Text: err.Error()}
	}
	if err := h.Check(m.Address); err != nil {
		return HookAnswer{Text: err.Error()}
	}
	r, err := http.NewRequestWithContext(ctx, http.MethodPost, m.Address, bytes.NewReader(m.Body))
	if err != nil {
		return HookAnswer{Text: err.Error()}
	}
	r.Header.Set("Content-Type", "application/json")
	r.Header.Set("User-Agent", "Lintel")
	r.Header.Set("webhook-id", m.ID)
	r.Header.Set("webhook-timestamp", strconv.FormatInt(m.At.Unix(), 10))
	r.Header.Set("webhook-signature", signature)
	answer, err := h.client.Do(r)
	if err != nil {
		var about *url.Error
		if errors.As(err, &about) {
			err = about.Err // without the address, which may hold a secret
		}
		return HookAnswer{Text: err.Error()}
	}
	defer answer.Body.Close()
	text, _ := io.ReadAll(io.LimitReader(answer.Body, mostHookAnswer)) // what was answered is for people alone
	out := HookAnswer{Status: answer.StatusCode, Text: strings.ToValidUTF8(strings.ReplaceAll(string(text), "\x00", ""), "")}
	if s, err := strconv.Atoi(answer.Header.Get("Retry-After")); err == nil && s > 0 {
		out.RetryAfter = min(time.Duration(s), 86400) * time.Second
	}
	return out
}

// signHook gives the value of webhook-signature: one signature for each secret, so that a receiver may change over in peace.
func signHook(m HookMessage) (string, error) {
	if len(m.Secrets) == 0 {
		return "", errors.New("there is no secret to sign with")
	}
	var list []string
	for _, secret := range m.Secrets {
		key, err := base64.StdEncoding.DecodeString(strings.TrimPrefix(secret, hookSecretStart))
		if err != nil {
			return "", errors.New("the secret cannot be read")
		}
		mac := hmac.New(sha256.New, key)
		fmt.Fprintf(mac, "%s.%d.", m.ID, m.At.Unix())
		mac.Write(m.Body)
		list = append(list, "v1,"+base64.StdEncoding.EncodeToString(mac.Sum(nil)))
	}
	return strings.Join(list, " "), nil
}
