package main

import (
	"bufio"
	"fmt"
	"net/smtp"
	"slices"
	"strings"
	"testing"
)

func TestTheMailCatcherPrintsEachMailOnce(t *testing.T) {
	t.Parallel()
	cmd := program(nil, "mail-catcher", "--listen", "127.0.0.1:0")
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = cmd.Process.Kill(); _ = cmd.Wait() })
	lines := bufio.NewScanner(out)
	lines.Scan()
	address, ok := strings.CutPrefix(lines.Text(), "taking mail on ")
	if !ok {
		t.Fatalf("it began with %q", lines.Text())
	}
	var sent, printed []string
	for i := range 5 {
		to := fmt.Sprintf("person%d@kestrel.example", i)
		if err := smtp.SendMail(address, nil, "service@lintel.example", []string{to}, []byte("Subject: Door "+to+"\r\n\r\nIt is due.\r\n")); err != nil {
			t.Fatal(err)
		}
		sent = append(sent, to)
	}
	for len(printed) < len(sent) && lines.Scan() {
		if _, to, is := strings.Cut(lines.Text(), "--- from service@lintel.example to "); is {
			printed = append(printed, to)
		}
	}
	if !slices.Equal(printed, sent) {
		t.Errorf("printed %v, sent %v", printed, sent)
	}
}
