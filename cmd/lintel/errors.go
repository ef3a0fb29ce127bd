package main

// badInput is what is wrong with what a person gave to a command: main prints its one line and exits with 2.
type badInput struct{ error }

// Unwrap gives the cause.
func (b badInput) Unwrap() error { return b.error }
