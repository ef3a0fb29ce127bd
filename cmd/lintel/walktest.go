package main

import (
	"bufio"
	"encoding/json"
	"fmt"
	"io"
	"os"

	"lintel.example/lintel/internal/field"
)

// walkTestCmd works out of walk tests what the devices are, without a database: one JSON object a line in, one a line out, in order.
//
// As with fieldCmd, one bad line and nothing is printed.
type walkTestCmd struct {
	File string `arg:"" help:"File with one JSON object a line, or - for standard input."`
}

// Run answers every line of the file on standard output.
func (c *walkTestCmd) Run() error {
	in, err := openInput(c.File)
	if err != nil {
		return err
	}
	defer in.Close()
	return c.answer(in, os.Stdout)
}

func (c *walkTestCmd) answer(in io.Reader, out io.Writer) error {
	var answers []field.WalkAnswer
	if err := eachLine(in, func(line []byte) error {
		w, err := field.ParseWalkTest(line)
		if err != nil {
			return err
		}
		a, err := w.Answer()
		answers = append(answers, a)
		return err
	}); err != nil {
		return err
	}
	buffered := bufio.NewWriter(out)
	lines := json.NewEncoder(buffered)
	lines.SetEscapeHTML(false)
	for _, a := range answers {
		if err := lines.Encode(a); err != nil {
			return fmt.Errorf("answer: %w", err)
		}
	}
	return buffered.Flush()
}
