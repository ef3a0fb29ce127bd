package main

import (
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"time"
)

// line is one comparison. Each ratio is of two measurements in turn.
type line struct {
	What    string    `json:"what"`
	Doors   int       `json:"doors"`
	Against string    `json:"against"`
	Asked   string    `json:"asked"`
	Unit    string    `json:"unit"` // of ours and theirs
	Ours    []float64 `json:"ours"`
	Theirs  []float64 `json:"theirs"`
}

// median of the ratios, ours to theirs.
func (l line) median() float64 {
	ratios := make([]float64, len(l.Ours))
	for i := range ratios {
		ratios[i] = l.Ours[i] / l.Theirs[i]
	}
	slices.Sort(ratios)
	return ratios[len(ratios)/2]
}

func (l line) String() string {
	return fmt.Sprintf("%d doors: %s, %.2f of %s (asked: %s)", l.Doors, l.What, l.median(), l.Against, l.Asked)
}

func markdown(lines []line) string {
	var b strings.Builder
	b.WriteString("| fleet | what | ours, median | against | theirs, median | ratio, median | asked |\n| --- | --- | --- | --- | --- | --- | --- |\n")
	for _, l := range lines {
		fmt.Fprintf(&b, "| %d | %s | %.4g %s | %s | %.4g %s | %.2f | %s |\n", l.Doors, l.What, middle(l.Ours), l.Unit, l.Against, middle(l.Theirs), l.Unit, l.median(), l.Asked)
	}
	return b.String()
}

// keep writes the table for people and for programs.
func keep(lines []line) error {
	commit, err := exec.Command("git", "log", "-1", "--format=%h").Output()
	if err != nil {
		commit = []byte("unknown")
	}
	when := time.Now().UTC().Format(time.DateOnly)
	about := map[string]any{"date": when, "commit": strings.TrimSpace(string(commit)), "go": runtime.Version(), "cores": runtime.NumCPU(), "lines": lines}
	text, err := json.MarshalIndent(about, "", "  ")
	if err != nil {
		return err
	}
	dir := filepath.Join("deploy", "bench")
	if err := os.WriteFile(filepath.Join(dir, "table.json"), append(text, '\n'), 0o644); err != nil {
		return err
	}
	title := fmt.Sprintf("Measured on %s at commit %s with %s on %d cores, by `go run ./deploy/bench`.\n\n", when, about["commit"], about["go"], about["cores"])
	return os.WriteFile(filepath.Join(dir, "table.md"), []byte(title+markdown(lines)), 0o644)
}
