package main

import (
	"encoding/json"
	"fmt"
	"io"
	"os"

	"lintel.example/lintel/internal/field"
	"lintel.example/lintel/internal/words"
)

// catalogueCmd works on what the catalogue of device models is made of.
type catalogueCmd struct {
	Fit catalogueFitCmd `cmd:"" help:"Work out an antenna's beamwidths and range from published extents of its field, without a database."`
}

// catalogueFitCmd turns published extents into an antenna for the catalogue.
type catalogueFitCmd struct {
	File  string `arg:"" help:"Published extents, YAML or JSON (patterns with height_m, tilt_deg, width_m, depth_m); or - for standard input."`
	JSON  bool   `name:"json" help:"Print the answer as JSON."`
	Units string `enum:"metric,us" default:"metric" help:"Units of lengths: metric or us."`
}

// Run prints the antenna and what the extents leave open. Bad input is one line of complaint and exit code 2.
func (c *catalogueFitCmd) Run() error {
	in, err := openInput(c.File)
	if err != nil {
		return err
	}
	defer in.Close()
	return c.answer(in, os.Stdout)
}

func (c *catalogueFitCmd) answer(in io.Reader, out io.Writer) error {
	text, err := io.ReadAll(io.LimitReader(in, field.MostPatternBytes+1))
	if err != nil {
		return badInput{err}
	}
	sheet, err := field.ParsePatterns(text)
	if err != nil {
		return badInput{err}
	}
	entry, err := sheet.Fit()
	if err != nil {
		return badInput{err}
	}
	if c.JSON {
		line, err := json.Marshal(entry)
		if err != nil {
			return err
		}
		_, err = fmt.Fprintln(out, string(line))
		return err
	}
	catalogue, err := words.Load()
	if err != nil {
		return err
	}
	_, err = io.WriteString(out, tellEntry(catalogue.Printer("en", words.Units(c.Units)), entry))
	return err
}

// tellEntry puts an entry into words.
func tellEntry(p words.Printer, e field.Entry) (told string) {
	heading := func(key string) { told += p.T(key) + "\n" }
	sentence := func(s string) { told += "  " + s + "\n" }
	heading("catalogue_fit.heading")
	for _, v := range e.Values {
		sentence(tellBeam(p, e, v))
	}
	sentence(p.T("catalogue_fit.limit", "value", p.Quantity(e.Antenna.AttenuationLimitDB, words.Decibel)))
	if e.OneHeight {
		sentence(p.T("catalogue_fit.one_height"))
	}
	if len(e.Alike) > 0 {
		heading("catalogue_fit.alike.heading")
		for _, a := range e.Alike {
			sentence(p.T("catalogue_fit.alike", "azimuth", p.Quantity(a.AzimuthBeamwidthDeg, words.Degree), "elevation", p.Quantity(a.ElevationBeamwidthDeg, words.Degree), "range", p.Length(a.BoresightRangeM)))
		}
		sentence(p.T("catalogue_fit.alike.help"))
	}
	heading("catalogue_fit.misses.heading")
	for _, m := range e.Misses {
		s := p.T("catalogue_fit.miss."+m.Member, "pattern", m.Pattern+1, "published", p.Length(m.PublishedM), "has", p.Length(m.HasM))
		if m.ContradictsTheOthers {
			s += p.T("catalogue_fit.contradicts")
		}
		sentence(s)
	}
	heading("catalogue_fit.caution.heading")
	sentence(p.T("catalogue_fit.caution"))
	return told
}

func tellBeam(p words.Printer, e field.Entry, v field.Fitted) string {
	write := func(value float64) string { return p.Quantity(value, words.Degree) }
	if v.Parameter == field.RangeParameter {
		write = p.Length
		switch {
		case e.RangeHeld && v.Determined:
			return p.T("catalogue_fit.held", "value", write(v.Value))
		case e.RangeHeld:
			return p.T("catalogue_fit.taken", "value", write(v.Value))
		}
	}
	if !v.Determined {
		return p.T("catalogue_fit.open."+string(v.Parameter), "value", write(v.Value))
	}
	return p.T("catalogue_fit."+string(v.Parameter), "value", write(v.Value), "low", write(v.Low), "top", write(v.Top))
}
