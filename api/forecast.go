package api

import (
	"context"
	"net/http"

	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/identity"
)

type forecastIn struct {
	Months       int     `query:"months" minimum:"1" maximum:"36" default:"18" doc:"How many, the present one included."`
	OtherPercent float64 `query:"other_percent" minimum:"0" maximum:"99" default:"30" doc:"Of the working time that goes to everything else: call-outs, repairs, absence. The default is common practice, no source."`
	DriveMin     float64 `query:"drive_min" minimum:"0" maximum:"480" doc:"To each visit; left out: as on the last routes that were taken over, else 20, common practice, no source."`
	Moves        int     `query:"moves" minimum:"0" maximum:"100000" default:"500" doc:"How many of the visits to do earlier are named."`
}

type forecastOut struct {
	Body struct {
		fleet.Forecast
		AllMoves int    `json:"all_moves" doc:"How many visits are to be done earlier."`
		Caution  string `json:"caution"`
	}
}

func (a *API) forecast() {
	add(a, operation("forecast", http.MethodGet, "/v1/forecast", identity.ActReadOffice, "The work of the months to come against the technicians' hours"), a.forecastGet)
}

func (a *API) forecastGet(ctx context.Context, by identity.Actor, in *forecastIn) (*forecastOut, error) {
	c, err := a.Fleet.Forecast(ctx, by, fleet.ForecastAsk{Months: in.Months, OtherPercent: in.OtherPercent, DriveMin: in.DriveMin})
	if err != nil {
		return nil, err
	}
	out := &forecastOut{}
	out.Body.Forecast, out.Body.AllMoves, out.Body.Caution = c, len(c.Moves), a.text(by, "forecast.caution")
	out.Body.Moves = c.Moves[:min(len(c.Moves), in.Moves)]
	return out, nil
}
