package main

import (
	"context"
	"encoding/json"
	"fmt"
	"os"

	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/identity"
	"lintel.example/lintel/internal/words"
)

// forecastCmd holds the work of the months to come against the technicians' hours.
type forecastCmd struct {
	settings
	Months int     `default:"18" help:"How many, the present one included."`
	Other  float64 `default:"30" help:"Percent of the working time that goes to everything else: call-outs, repairs, absence. Common practice, no source."`
	Drive  float64 `placeholder:"MIN" help:"Minutes to a visit; left out: as on the last routes that were taken over, else 20: common practice, no source."`
	Moves  int     `default:"40" help:"How many of the visits to do earlier are named."`
	JSON   bool    `name:"json" help:"Print everything as one JSON object."`
}

// Run prints the forecast. Bad input is one line of complaint and exit code 2.
func (c *forecastCmd) Run(ctx context.Context) error {
	return c.within(ctx, func(h *house) error {
		forecast, err := h.fleet.Forecast(ctx, identity.Program(), fleet.ForecastAsk{Months: c.Months, OtherPercent: c.Other, DriveMin: c.Drive})
		if err != nil {
			return toldOf(h.words, map[string]string{"/months": "--months", "/other_percent": "--other", "/drive_min": "--drive"}, err)
		}
		if c.JSON {
			return json.NewEncoder(os.Stdout).Encode(forecast)
		}
		for _, line := range forecast.Lines(h.words.Printer("en", words.Metric), max(0, c.Moves)) {
			fmt.Println(line)
		}
		return nil
	})
}
