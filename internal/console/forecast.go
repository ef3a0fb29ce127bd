package console

import (
	"context"
	"net/http"
	"slices"
	"strconv"

	"lintel.example/lintel/internal/fleet"
)

// movesShown is how many of the visits to do earlier are on the page.
const movesShown = 200

type forecastData struct {
	fleet.Forecast
	Drawn []regionBars
	Shown []fleet.ForecastMove
	Form  form
}

// More is how many visits to do earlier are not shown.
func (d forecastData) More() int { return len(d.Moves) - len(d.Shown) }

// regionBars is a region as it is drawn: for each month the work as it is due in outline, the work once visits are done earlier filled, and the room as a
// line across both.
type regionBars struct {
	fleet.RegionForecast
	Bars []monthBars
	Wide float64
}

type monthBars struct {
	fleet.MonthForecast
	X                                         float64
	DueY, DueHigh, SmoothY, SmoothHigh, RoomY float64
	Letter                                    int // the number of the month
}

const barsHigh, barWide = 140.0, 48.0

func newRegionBars(r fleet.RegionForecast) regionBars {
	most := 1.0
	for _, m := range r.Months {
		most = max(most, m.WorkMin, m.SmoothMin, m.CapacityMin)
	}
	high := func(minutes float64) float64 { return minutes / most * barsHigh }
	bars := regionBars{RegionForecast: r, Wide: float64(len(r.Months)) * barWide}
	for i, m := range r.Months {
		_, month, _ := m.First.Date()
		bars.Bars = append(bars.Bars, monthBars{MonthForecast: m, X: float64(i) * barWide, DueY: barsHigh - high(m.WorkMin), DueHigh: high(m.WorkMin),
			SmoothY: barsHigh - high(m.SmoothMin), SmoothHigh: high(m.SmoothMin), RoomY: barsHigh - high(m.CapacityMin), Letter: int(month)})
	}
	return bars
}

// Nobody tells whether no technician goes to the region.
func (r regionBars) Nobody() bool {
	return !slices.ContainsFunc(r.Months, func(m fleet.MonthForecast) bool { return m.CapacityMin > 0 })
}

// TooMuch is how many minutes of work find no room, even once visits are done earlier.
func (m monthBars) TooMuch() float64 { return m.SmoothMin - m.CapacityMin }

// forecast shows the work of the months to come against the hours of the technicians.
func (c *Console) forecast(ctx context.Context, q *request) (answer, error) {
	usual := fleet.UsualForecast()
	f := newForm(map[string]string{"/months": strconv.Itoa(usual.Months), "/other_percent": strconv.FormatFloat(usual.OtherPercent, 'f', -1, 64), "/drive_min": ""})
	for name := range f.values {
		if asked := q.URL.Query()[name]; len(asked) > 0 {
			f.values.Set(name, asked[0])
		}
	}
	r := reader{form: &f, texts: q.texts}
	ask := fleet.ForecastAsk{Months: r.number("/months"), OtherPercent: r.decimal("/other_percent")}
	if r.form.Value("/drive_min") != "" {
		ask.DriveMin = r.decimal("/drive_min")
	}
	err := r.faults.Err()
	data := forecastData{Form: f}
	if err == nil {
		data.Forecast, err = c.Fleet.Forecast(ctx, q.by, ask)
	}
	if err != nil {
		return q.again(f, err, func(f form, status int) (answer, error) {
			return page{name: "forecast", status: status, data: forecastData{Form: f}}, nil
		})
	}
	for _, region := range data.Regions {
		data.Drawn = append(data.Drawn, newRegionBars(region))
	}
	data.Shown = data.Moves[:min(len(data.Moves), movesShown)]
	return page{name: "forecast", status: http.StatusOK, data: data}, nil
}
