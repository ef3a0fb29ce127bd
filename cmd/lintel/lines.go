package main

import (
	"bufio"
	"bytes"
	"errors"
	"fmt"
	"io"
	"os"
)

// openInput opens a file that is read from front to back, or standard input for "-".
func openInput(name string) (io.ReadCloser, error) {
	if name == "-" {
		return io.NopCloser(os.Stdin), nil
	}
	f, err := os.Open(name)
	if err != nil {
		return nil, badInput{err}
	}
	if info, err := f.Stat(); err == nil && info.IsDir() {
		f.Close()
		return nil, badInput{fmt.Errorf("%s is a folder; name a file", name)}
	}
	return f, nil
}

// longestLine is far above what any request needs; beyond it a file is taken to have no lines at all.
const longestLine = 1 << 20

// eachLine gives every line to take. An error of it is bad input, and said with the number of the line.
func eachLine(in io.Reader, take func(line []byte) error) error {
	n := 0
	lines := bufio.NewScanner(in)
	lines.Buffer(make([]byte, 0, 4096), longestLine)
	for lines.Scan() {
		n++
		if n == 1 && bytes.HasPrefix(lines.Bytes(), []byte("\ufeff")) {
			return badInput{errors.New("line 1: begins with a byte order mark; save the file as UTF-8 without one")}
		}
		if err := take(lines.Bytes()); err != nil {
			return badInput{fmt.Errorf("line %d: %w", n, err)}
		}
	}
	if err := lines.Err(); errors.Is(err, bufio.ErrTooLong) {
		return badInput{fmt.Errorf("line %d: is longer than %d bytes", n+1, longestLine)}
	} else if err != nil {
		return badInput{fmt.Errorf("line %d: %w", n+1, err)}
	}
	return nil
}
