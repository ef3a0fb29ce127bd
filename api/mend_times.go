package api

import (
	"context"
	"net/http"
	"time"

	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/identity"
)

// mendTimeItem is how long findings of one severity took to be mended, in hours.
type mendTimeItem struct {
	Severity string  `json:"severity" enum:"unsafe,deficient,advisory"`
	Mended   int     `json:"mended" doc:"How many were mended or cleared by a passed re-inspection."`
	MedianH  float64 `json:"median_h" doc:"From being found to being mended; 0 if none was."`
	LongestH float64 `json:"longest_h"`
	Open     int     `json:"open"`
	// Ages of the open ones.
	OpenMedianH  float64 `json:"open_median_h" doc:"Age of the open ones; 0 if none is."`
	OpenLongestH float64 `json:"open_longest_h"`
}

type mendTimeIn struct {
	DoorID string `query:"door_id" format:"uuid"`
	SiteID string `query:"site_id" format:"uuid"`
}

type mendTimeOut struct {
	Body struct {
		MendTimes []mendTimeItem `json:"mend_times" doc:"The gravest first."`
	}
}

func (a *API) mendTimes() {
	add(a, operation("mend-times", http.MethodGet, "/v1/mend-times", identity.ActReadWork,
		"How long findings took to be mended, by severity, at a door, a site, or everywhere in sight"), a.mendTimeList)
}

func (a *API) mendTimeList(ctx context.Context, by identity.Actor, in *mendTimeIn) (*mendTimeOut, error) {
	list, err := a.Fleet.MendTimes(ctx, by, fleet.MendTimeQuery{DoorID: optionalID(in.DoorID), SiteID: optionalID(in.SiteID)})
	if err != nil {
		return nil, err
	}
	hours := func(d time.Duration) float64 { return d.Hours() }
	out := &mendTimeOut{}
	out.Body.MendTimes = make([]mendTimeItem, len(list))
	for i, m := range list {
		out.Body.MendTimes[i] = mendTimeItem{Severity: m.Severity, Mended: m.Mended, MedianH: hours(m.Median), LongestH: hours(m.Longest), Open: m.Open,
			OpenMedianH: hours(m.OpenMedian), OpenLongestH: hours(m.OpenLongest)}
	}
	return out, nil
}
