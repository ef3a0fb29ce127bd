package api

import (
	"context"
	"net/http"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/identity"
)

type trendsItem struct {
	DoorID uuid.UUID         `json:"door_id" format:"uuid"`
	Series []seriesItem      `json:"series"`
	Fields []fieldSeriesItem `json:"fields" doc:"How much floor each device watched, by its recorded settings. Nothing is predicted of it."`
}

type seriesItem struct {
	Reading string            `json:"reading"`
	Title   string            `json:"title"`
	Unit    string            `json:"unit" doc:"SI, of every value here."`
	Leaf    int               `json:"leaf,omitempty"`
	Side    string            `json:"side,omitempty" enum:"a,b"`
	Limit   *seriesLimitItem  `json:"limit,omitempty" doc:"What the rules ask of this door today; absent when they ask nothing of the reading itself."`
	Points  []seriesPointItem `json:"points" doc:"What signed inspections read, one an inspection and change; the worst of several."`
	Changes []doorChangeItem  `json:"changes" doc:"Since the last of them the reading is of another door."`
	Trend   trendItem         `json:"trend"`
}

type seriesLimitItem struct {
	AtLeast *float64         `json:"at_least,omitempty"`
	AtMost  *float64         `json:"at_most,omitempty"`
	Advice  bool             `json:"advice" doc:"No rule that counts sets a bound: these are from memory, or advisory."`
	Rules   []seriesRuleItem `json:"rules"`
}

type seriesRuleItem struct {
	Pack     string `json:"pack"`
	RuleID   string `json:"rule_id"`
	Title    string `json:"title"`
	Standing string `json:"standing"`
}

type seriesPointItem struct {
	Day     string    `json:"day" format:"date"`
	Value   float64   `json:"value"`
	VisitID uuid.UUID `json:"visit_id" format:"uuid"`
	Counts  bool      `json:"counts" doc:"Read since the last change, so the trend is told from it."`
}

type doorChangeItem struct {
	Day     string    `json:"day" format:"date"`
	What    string    `json:"what" enum:"settings,part,mending,adjustment"`
	EntryID uuid.UUID `json:"entry_id" format:"uuid"`
}

type trendItem struct {
	Reason   string        `json:"reason,omitempty" enum:"few_points,short_time,no_drift,no_limit,away_from_limit,far_off" doc:"Why no day is told; absent when one is."`
	Why      string        `json:"why,omitempty" doc:"The reason in words."`
	PerYear  *perYearItem  `json:"per_year,omitempty" doc:"The slope by Theil and Sen; absent when it may as well be nothing."`
	Crossing *crossingItem `json:"crossing,omitempty"`
}

type perYearItem struct {
	Low    float64 `json:"low" doc:"The ends of the interval that holds the true slope in 95 of 100 cases."`
	Likely float64 `json:"likely"`
	High   float64 `json:"high"`
}

type crossingItem struct {
	Bound    float64 `json:"bound"`
	AtMost   bool    `json:"at_most" doc:"The bound is the greatest value allowed; else the least."`
	Earliest string  `json:"earliest" format:"date" doc:"With latest, the interval that holds the day in about nine of ten cases. No day is before the last reading's."`
	Likely   string  `json:"likely" format:"date"`
	Latest   string  `json:"latest,omitempty" format:"date" doc:"Absent when it is farther off than anybody can say."`
}

type fieldSeriesItem struct {
	ComponentID uuid.UUID        `json:"component_id" format:"uuid"`
	Points      []fieldPointItem `json:"points"`
}

type fieldPointItem struct {
	RevisionID  uuid.UUID `json:"revision_id" format:"uuid"`
	Standing    string    `json:"standing" enum:"found,left"`
	EffectiveAt time.Time `json:"effective_at"`
	AreaM2      *float64  `json:"area_m2,omitempty"`
	WidthM      *float64  `json:"width_m,omitempty"`
	DepthM      *float64  `json:"depth_m,omitempty"`
}

type trendsOut struct {
	Body trendsItem
}

type expectedCrossingListIn struct {
	PageIn
	Months int    `query:"months" minimum:"0" maximum:"120" default:"12" doc:"Those that are likely within so many months; days that have passed are among them."`
	SiteID string `query:"site_id" format:"uuid"`
}

type expectedCrossingItem struct {
	CustomerID uuid.UUID    `json:"customer_id" format:"uuid"`
	SiteID     uuid.UUID    `json:"site_id" format:"uuid"`
	DoorID     uuid.UUID    `json:"door_id" format:"uuid"`
	Tag        string       `json:"tag"`
	DoorName   string       `json:"door_name"`
	SiteName   string       `json:"site_name"`
	Reading    string       `json:"reading"`
	Title      string       `json:"title"`
	Unit       string       `json:"unit"`
	Leaf       int          `json:"leaf,omitempty"`
	Side       string       `json:"side,omitempty" enum:"a,b"`
	Advice     bool         `json:"advice"`
	PerYear    float64      `json:"per_year"`
	LastOn     string       `json:"last_on" format:"date"`
	LastValue  float64      `json:"last_value"`
	Crossing   crossingItem `json:"crossing"`
	ComputedAt time.Time    `json:"computed_at"`
}

type expectedCrossingListOut struct {
	Body struct {
		ExpectedCrossings []expectedCrossingItem `json:"expected_crossings"`
		PageOut
	}
}

func (a *API) trends() {
	add(a, operation("trends-get", http.MethodGet, "/v1/doors/{door_id}/trends", identity.ActReadOffice, "The readings of a door over the years, and when they are likely to reach their limits"), a.trendsGet)
	add(a, operation("expected-crossing-list", http.MethodGet, "/v1/expected-crossings", identity.ActReadOffice, "Readings that are likely to reach their limits, the next first"), a.expectedCrossingList)
}

func (a *API) trendsGet(ctx context.Context, by identity.Actor, in *DoorPath) (*trendsOut, error) {
	t, err := a.Fleet.Trends(ctx, by, in.DoorID)
	if err != nil {
		return nil, err
	}
	out := &trendsOut{Body: trendsItem{DoorID: in.DoorID, Series: make([]seriesItem, len(t.Series)), Fields: make([]fieldSeriesItem, len(t.Fields))}}
	for i, s := range t.Series {
		out.Body.Series[i] = a.newSeriesItem(by, s)
	}
	for i, f := range t.Fields {
		item := fieldSeriesItem{ComponentID: f.ComponentID, Points: make([]fieldPointItem, len(f.Points))}
		for k, p := range f.Points {
			item.Points[k] = fieldPointItem{RevisionID: p.RevisionID, Standing: p.Standing, EffectiveAt: p.EffectiveAt, AreaM2: p.AreaM2, WidthM: p.WidthM, DepthM: p.DepthM}
		}
		out.Body.Fields[i] = item
	}
	return out, nil
}

func (a *API) newSeriesItem(by identity.Actor, s fleet.Series) seriesItem {
	item := seriesItem{Reading: s.Reading, Title: a.text(by, "reading."+s.Reading+".title"), Unit: s.Unit, Leaf: s.Leaf, Side: s.Side,
		Points: make([]seriesPointItem, len(s.Points)), Changes: make([]doorChangeItem, len(s.Changes))}
	if s.Limit.AtLeast != nil || s.Limit.AtMost != nil {
		item.Limit = &seriesLimitItem{AtLeast: s.Limit.AtLeast, AtMost: s.Limit.AtMost, Advice: s.Limit.Advice, Rules: []seriesRuleItem{}}
		for _, r := range s.Limit.Rules {
			item.Limit.Rules = append(item.Limit.Rules, seriesRuleItem{Pack: r.Pack, RuleID: r.RuleID, Title: r.Title, Standing: string(r.Standing)})
		}
	}
	for i, p := range s.Points {
		item.Points[i] = seriesPointItem{Day: p.Day.String(), Value: p.Value, VisitID: p.VisitID, Counts: s.Counts(p)}
	}
	for i, c := range s.Changes {
		item.Changes[i] = doorChangeItem{Day: c.Day.String(), What: c.What, EntryID: c.EntryID}
	}
	if reason := string(s.Trend.Reason); reason != "" {
		item.Trend.Reason, item.Trend.Why = reason, a.text(by, "trend.reason."+reason)
	}
	if l := s.Trend.Line; l != nil {
		low, likely, high := l.PerYear()
		item.Trend.PerYear = &perYearItem{low, likely, high}
	}
	if c := s.Trend.Crossing; c != nil {
		item.Trend.Crossing = &crossingItem{Bound: c.Bound, AtMost: c.AtMost, Earliest: c.Earliest.String(), Likely: c.Likely.String(), Latest: c.Latest.String()}
	}
	return item
}

func (a *API) expectedCrossingList(ctx context.Context, by identity.Actor, in *expectedCrossingListIn) (*expectedCrossingListOut, error) {
	q := fleet.CrossingQuery{SiteID: optionalID(in.SiteID), Until: duedate.DayIn(a.Now(), time.UTC).AddMonths(in.Months), Limit: in.Limit}
	if err := readCursor(in.After, &q.After); err != nil {
		return nil, err
	}
	list, err := a.Fleet.ExpectedCrossings(ctx, by, q)
	if err != nil {
		return nil, err
	}
	out := &expectedCrossingListOut{}
	out.Body.ExpectedCrossings = make([]expectedCrossingItem, len(list))
	for i, c := range list {
		out.Body.ExpectedCrossings[i] = expectedCrossingItem{CustomerID: c.CustomerID, SiteID: c.SiteID, DoorID: c.DoorID, Tag: c.Tag.String(), DoorName: c.DoorName, SiteName: c.SiteName,
			Reading: c.Reading, Title: a.text(by, "reading."+c.Reading+".title"), Unit: c.Unit, Leaf: c.Leaf, Side: c.Side, Advice: c.Advice, PerYear: c.PerYear,
			LastOn: c.LastOn.String(), LastValue: c.LastValue, ComputedAt: c.ComputedAt,
			Crossing: crossingItem{Bound: c.Bound, AtMost: c.AtMost, Earliest: c.EarliestOn.String(), Likely: c.LikelyOn.String(), Latest: c.LatestOn.String()}}
	}
	if len(list) == in.Limit {
		out.Body.Next = cursor(list[len(list)-1].Key())
	}
	return out, nil
}
