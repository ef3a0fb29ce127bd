// Package fault holds the one kind of error that is meant for people.
//
// Everything else that goes wrong is internal: it is logged, and the outside gets a fixed sentence. A fault has
// a code that is stable and for programs; its text for people is the message `problem.<code>` in internal/words.
//
// To add a fault: choose a code, return it where the fault is noticed, write its text in
// internal/words/en/problem.yaml; the test of the message files names every code without a text.
package fault

import (
	"errors"
	"fmt"
	"strings"
	"time"
)

// Kind says what sort of answer a fault deserves.
type Kind int

// The kinds of fault; the face of the program turns each into one status.
const (
	Invalid              Kind = iota + 1 // what was sent cannot be right
	Unauthenticated                      // nobody, or nobody any more
	Forbidden                            // known, seen, not allowed
	NotFound                             // not there, or not for these eyes
	Conflict                             // right by itself, at odds with what is recorded
	PreconditionFailed                   // the version named is not the present one
	PreconditionRequired                 // a change needs the version that it changes
	TooLarge                             // over a size limit
	TooMany                              // over a rate limit
	Unavailable                          // later, with the same request, it may work
)

// Error is one fault.
type Error struct {
	Kind    Kind
	Code    string // stable, for programs
	Pointer string // RFC 6901 pointer to the member at fault, "" for the whole
	Args    []any  // name, value pairs for the text; never a secret
	Err     error  // the cause, for the log only
	// Wait is after how long the same request may succeed, of the kinds TooMany and Unavailable and of a
	// Conflict with something that is under way; 0: not known.
	Wait time.Duration
}

// Error implements error for logs.
func (e *Error) Error() string {
	text := e.Code
	if e.Pointer != "" {
		text += " at " + e.Pointer
	}
	for i := 0; i+1 < len(e.Args); i += 2 {
		text += fmt.Sprintf(" %v=%v", e.Args[i], e.Args[i+1])
	}
	if e.Err != nil {
		text += ": " + e.Err.Error()
	}
	return text
}

// Unwrap gives the cause.
func (e *Error) Unwrap() error { return e.Err }

// New makes a fault of any kind about the whole of what was asked.
func New(kind Kind, code string, args ...any) *Error {
	return &Error{Kind: kind, Code: code, Args: args}
}

// At makes a fault of kind Invalid about the member at an RFC 6901 pointer.
func At(pointer, code string, args ...any) *Error {
	return &Error{Kind: Invalid, Code: code, Pointer: pointer, Args: args}
}

// Because returns a copy of the fault that carries its cause for the log.
func (e *Error) Because(err error) *Error {
	c := *e
	c.Err = err
	return &c
}

// List gathers faults so that somebody who sends ten wrong members hears of all ten.
type List []*Error

// Add appends a fault about one member.
func (l *List) Add(pointer, code string, args ...any) {
	*l = append(*l, At(pointer, code, args...))
}

// Err is nil for an empty list.
func (l List) Err() error {
	if len(l) == 0 {
		return nil
	}
	return l
}

// Error implements error for logs.
func (l List) Error() string {
	texts := make([]string, len(l))
	for i, e := range l {
		texts[i] = e.Error()
	}
	return strings.Join(texts, "; ")
}

// Of gives all the faults within err, none when err is internal.
func Of(err error) []*Error {
	var list List
	if errors.As(err, &list) {
		return list
	}
	var one *Error
	if errors.As(err, &one) {
		return []*Error{one}
	}
	return nil
}

// Is tells whether err holds a fault with this code.
func Is(err error, code string) bool {
	for _, e := range Of(err) {
		if e.Code == code {
			return true
		}
	}
	return false
}
