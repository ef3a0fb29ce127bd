package main

import (
	"bufio"
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"

	"lintel.example/lintel/internal/field"
	"lintel.example/lintel/internal/report"
	"lintel.example/lintel/internal/words"
)

// fieldCmd computes fields without a database: one JSON object a line in, one a line out, in order.
//
// All lines are read and checked before anything is printed: one bad line and nothing is. A blank line is a bad line, so
// that line n of the output always answers line n of the input; the last line needs no line end.
type fieldCmd struct {
	File string `arg:"" help:"File with one JSON object a line, or - for standard input."`
	SVG  string `name:"svg" placeholder:"OUT" help:"Also draw the fields to scale into this file."`
}

// Run answers every line of the file on standard output.
func (c *fieldCmd) Run() error {
	in, err := openInput(c.File)
	if err != nil {
		return err
	}
	defer in.Close()
	return c.answer(in, os.Stdout)
}

// answer does the work of Run. The drawing is written first: when it cannot be, nothing is printed.
func (c *fieldCmd) answer(in io.Reader, out io.Writer) error {
	requests, err := readFieldRequests(in)
	if err != nil {
		return err
	}
	if c.SVG != "" {
		if err := drawFields(requests, c.SVG); err != nil {
			return err
		}
	}
	w := bufio.NewWriter(out)
	lines := json.NewEncoder(w)
	for _, r := range requests {
		if err := lines.Encode(r.Answer()); err != nil {
			return err
		}
	}
	return w.Flush()
}

func readFieldRequests(in io.Reader) (requests []field.Request, err error) {
	err = eachLine(in, func(line []byte) error {
		r, err := field.ParseRequest(line)
		requests = append(requests, r)
		return err
	})
	return requests, err
}

// mostDrawings is how many fields one drawing shows, one below the other.
const mostDrawings = 100

// drawFields writes one drawing of all fields. The file appears only when the drawing is complete.
func drawFields(requests []field.Request, name string) error {
	if len(requests) == 0 {
		return badInput{errors.New("--svg: there is no line to draw")}
	}
	if len(requests) > mostDrawings {
		return badInput{fmt.Errorf("--svg: draws at most %d lines, not %d", mostDrawings, len(requests))}
	}
	catalogue, err := words.Load()
	if err != nil {
		return err
	}
	drawings := make([]report.FieldDrawing, len(requests))
	for i, r := range requests {
		drawings[i] = fieldDrawing(r)
	}
	var svg bytes.Buffer
	if err := report.FieldSVG(&svg, catalogue.Printer("en", words.Metric), drawings...); err != nil {
		return err
	}
	if err := os.WriteFile(name, svg.Bytes(), 0o644); err != nil {
		return badInput{fmt.Errorf("--svg: %w", err)}
	}
	return nil
}

func fieldDrawing(r field.Request) report.FieldDrawing {
	d, a := r.Device, r.Answer()
	polygons := make(report.Polygons, len(a.Polygons))
	for i, p := range a.Polygons {
		polygons[i] = p
	}
	return report.FieldDrawing{
		Units:   report.Metric,
		HeightM: d.HeightM, TiltDeg: d.TiltDeg, YawDeg: d.YawDeg, OffsetXM: d.OffsetXM, OffsetYM: d.OffsetYM,
		AzimuthBeamwidthDeg: d.AzimuthBeamwidthDeg, ElevationBeamwidthDeg: d.ElevationBeamwidthDeg,
		BoresightRangeM: d.BoresightRangeM, ReachDB: d.ReachDB, AttenuationLimitDB: d.AttenuationLimitDB,
		PlaneHeightM: r.PlaneHeightM, ClipAtDoorPlane: r.ClipAtDoorPlane,
		WidthM: a.WidthM, DepthM: a.DepthM, NearM: a.NearM, FarM: a.FarM, AreaM2: a.AreaM2,
		Polygons: polygons,
	}
}
