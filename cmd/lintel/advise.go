package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"

	"lintel.example/lintel/internal/advice"
	"lintel.example/lintel/internal/words"
)

// adviseCmd says what suits an opening without a database: a question as JSON in, ranked candidates out.
type adviseCmd struct {
	File  string `arg:"" help:"The question as one JSON object (openings, models, accessories); or - for standard input."`
	JSON  bool   `name:"json" help:"Print the answer as JSON."`
	Units string `enum:"metric,us" default:"metric" help:"Units of lengths: metric or us."`
}

// Run prints the answer. Bad input is one line of complaint and exit code 2; exit code 1 when nothing fits.
func (c *adviseCmd) Run() error {
	in, err := openInput(c.File)
	if err != nil {
		return err
	}
	defer in.Close()
	return c.answer(in, os.Stdout)
}

func (c *adviseCmd) answer(in io.Reader, out io.Writer) error {
	text, err := io.ReadAll(io.LimitReader(in, advice.MostBytes+1))
	if err != nil {
		return badInput{err}
	}
	question, err := advice.Parse(text)
	if err != nil {
		return badInput{err}
	}
	catalogue, err := words.Load()
	if err != nil {
		return err
	}
	answer := advice.Advise(question)
	if err := c.print(out, catalogue.Printer("en", words.Units(c.Units)), answer); err != nil {
		return err
	}
	if len(answer.Ranked) == 0 {
		return errors.New("nothing that was asked about fits")
	}
	return nil
}

func (c *adviseCmd) print(out io.Writer, p words.Printer, a advice.Answer) error {
	if c.JSON {
		line, err := json.Marshal(a)
		if err != nil {
			return err
		}
		_, err = fmt.Fprintln(out, string(line))
		return err
	}
	for i, s := range advice.Tell(p, a) {
		if i > 0 {
			fmt.Fprintln(out)
		}
		fmt.Fprintln(out, s.Heading)
		for _, line := range s.Sentences {
			if _, err := fmt.Fprintln(out, "  "+line); err != nil {
				return err
			}
		}
	}
	return nil
}
