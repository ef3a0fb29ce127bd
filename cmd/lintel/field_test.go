package main

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

const fieldLine = `{"height_m":2.13,"tilt_deg":24,"azimuth_beamwidth_deg":29,"elevation_beamwidth_deg":36,"boresight_range_m":6,"offset_y_m":0.05}`

// runField gives what the command prints and its error.
func runField(t *testing.T, svg, in string) (string, error) {
	t.Helper()
	var out bytes.Buffer
	c := fieldCmd{File: "-", SVG: svg}
	err := c.answer(strings.NewReader(in), &out)
	return out.String(), err
}

func TestFieldAnswersLineByLineInOrder(t *testing.T) {
	empty := strings.Replace(fieldLine, `}`, `,"reach_db":-60}`, 1)
	out, err := runField(t, "", fieldLine+"\r\n"+empty+"\n"+fieldLine)
	if err != nil {
		t.Fatal(err)
	}
	lines := strings.Split(strings.TrimSuffix(out, "\n"), "\n")
	if len(lines) != 3 {
		t.Fatalf("%d lines out for 3 in", len(lines))
	}
	var got struct {
		WidthM   float64          `json:"width_m"`
		FarM     float64          `json:"far_m"`
		Polygons [][][][2]float64 `json:"polygons"`
	}
	if err := json.Unmarshal([]byte(lines[0]), &got); err != nil {
		t.Fatal(err)
	}
	if got.WidthM < 1.975 || got.WidthM > 1.985 || got.FarM < 2.433 || got.FarM > 2.443 || len(got.Polygons) != 1 {
		t.Errorf("got %s", lines[0])
	}
	if lines[1] != `{"width_m":0,"depth_m":0,"near_m":0,"far_m":0,"area_m2":0,"polygons":[]}` {
		t.Errorf("the empty field is %s", lines[1])
	}
	if lines[2] != lines[0] {
		t.Error("the same question got another answer")
	}
}

func TestNothingInNothingOut(t *testing.T) {
	if out, err := runField(t, "", ""); err != nil || out != "" {
		t.Errorf("got %q, %v", out, err)
	}
}

func TestOneBadLineAndNothingIsPrinted(t *testing.T) {
	for name, c := range map[string]struct{ bad, says string }{
		"not JSON":       {`{"height_m":`, "height_m"},
		"blank":          {``, "is empty"},
		"unknown member": {strings.Replace(fieldLine, "}", `,"colour":1}`, 1), "colour"},
		"wrong type":     {strings.Replace(fieldLine, "24", `"24"`, 1), "tilt_deg"},
		"out of limits":  {strings.Replace(fieldLine, "2.13", "0.2", 1), "height_m"},
		"too long":       {`{"` + strings.Repeat("x", longestLine) + `":1}`, "longer than"},
		"text after":     {fieldLine + fieldLine, "text after"},
	} {
		t.Run(name, func(t *testing.T) {
			svg := filepath.Join(t.TempDir(), "out.svg")
			out, err := runField(t, svg, fieldLine+"\n"+fieldLine+"\n"+c.bad+"\n"+fieldLine+"\n")
			var bad badInput
			if !errors.As(err, &bad) {
				t.Fatalf("got error %v", err)
			}
			if out != "" {
				t.Errorf("printed %q", out)
			}
			if text := err.Error(); !strings.HasPrefix(text, "line 3: ") || !strings.Contains(text, c.says) || strings.Contains(text, "\n") {
				t.Errorf("says %q, want line 3 and %q", text, c.says)
			}
			if _, err := os.Stat(svg); err == nil {
				t.Error("drew all the same")
			}
		})
	}
}

func TestTheLastOfManyLinesStillCounts(t *testing.T) {
	r, w := io.Pipe()
	go func() {
		for range 20_000 {
			fmt.Fprintln(w, fieldLine)
		}
		fmt.Fprintln(w, "{}")
		w.Close()
	}()
	var out bytes.Buffer
	err := (&fieldCmd{File: "-"}).answer(r, &out)
	if err == nil || !strings.HasPrefix(err.Error(), "line 20001: height_m") || out.Len() != 0 {
		t.Errorf("got %v and %d bytes", err, out.Len())
	}
}

func TestAFileThatIsNotThereIsBadInput(t *testing.T) {
	var bad badInput
	if err := (&fieldCmd{File: filepath.Join(t.TempDir(), "none")}).Run(); !errors.As(err, &bad) {
		t.Errorf("got %v", err)
	}
}

func TestAFolderAndAByteOrderMarkAreNamedForWhatTheyAre(t *testing.T) {
	marked := filepath.Join(t.TempDir(), "marked")
	if err := os.WriteFile(marked, []byte("\ufeff"+fieldLine+"\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	for file, says := range map[string]string{filepath.Dir(marked): "is a folder", marked: "line 1: begins with a byte order mark"} {
		out, complaint, code := lintel(t, nil, "field", file)
		if code != 2 || out != "" || strings.Count(complaint, "\n") != 1 || !strings.Contains(complaint, says) {
			t.Errorf("exit code %d, printed %q, complained %q; want %q", code, out, complaint, says)
		}
	}
}

func TestFieldDrawsToScale(t *testing.T) {
	svg := filepath.Join(t.TempDir(), "out.svg")
	if _, err := runField(t, svg, fieldLine+"\n"); err != nil {
		t.Fatal(err)
	}
	drawn, err := os.ReadFile(svg)
	if err != nil || !bytes.HasPrefix(bytes.TrimSpace(drawn), []byte("<svg")) && !bytes.Contains(drawn[:200], []byte("<svg")) {
		t.Fatalf("no drawing: %v", err)
	}
	if !bytes.Contains(drawn, []byte("1.98")) || !bytes.Contains(drawn, []byte("2.44")) {
		t.Error("width and depth are not on the drawing")
	}
}
