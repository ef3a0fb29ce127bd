package fleet

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/fault"
	"lintel.example/lintel/internal/identity"
	"lintel.example/lintel/internal/words"
)

// ForecastAsk says how far ahead the work that plans ask for is held against the technicians' hours, and how.
type ForecastAsk struct {
	Months       int     `json:"months" doc:"The present one included."` // 1 to 36
	OtherPercent float64 `json:"other_percent" doc:"Of the working time that goes to everything else: call-outs, repairs, absence."`
	DriveMin     float64 `json:"drive_min" doc:"To each visit."` // 0 of a question: as on the last routes that were taken over
}

// What is assumed where nothing else is said: common practice, no source.
const (
	usualForecastMonths = 18
	usualOtherPercent   = 30.0
	usualDriveMin       = 20.0
)

// UsualForecast is what is asked where nothing else is said.
func UsualForecast() ForecastAsk {
	return ForecastAsk{Months: usualForecastMonths, OtherPercent: usualOtherPercent}
}

// Forecast is the work that plans ask for in the months to come, by region of the sites, against the hours of the technicians who go there. The JSON
// names are what lintel forecast and the API answer with.
type Forecast struct {
	From duedate.Day `json:"from" doc:"Today, by UTC."`
	ForecastAsk
	DriveLearnt  int              `json:"drive_learnt_from" doc:"Visits of the routes from which drive_min is learnt; 0: it was asked for, or else is common practice without a source."`
	DriveAsked   bool             `json:"drive_asked"`
	VisitMin     float64          `json:"visit_min" doc:"How long an inspection is taken to last."`
	VisitLearnt  int              `json:"visit_learnt_from" doc:"Orders from which visit_min is learnt; 0: it is common practice without a source."`
	Technicians  int              `json:"technicians" doc:"Those whose working terms are known."`
	WithoutTerms []string         `json:"without_terms" doc:"Technicians who are not counted on: nobody said when they work."`
	Regions      []RegionForecast `json:"regions" doc:"By name; the sites without a region come last."`
	Moves        []ForecastMove   `json:"moves" doc:"Visits that find room in an earlier month, within the tolerance of their plans, by region and due day."`
}

// RegionForecast is the forecast of one region; "" holds the sites without one.
type RegionForecast struct {
	Region string          `json:"region"`
	Months []MonthForecast `json:"months"`
}

// MonthForecast is one month of a region.
type MonthForecast struct {
	First       duedate.Day `json:"first_day"`
	Visits      int         `json:"visits" doc:"Due in the month; in the first one also what is overdue."`
	WorkMin     float64     `json:"work_min" doc:"That they take, with the drives."`
	CapacityMin float64     `json:"capacity_min" doc:"Of the technicians who go there, without what goes to other work."`
	Over        bool        `json:"over" doc:"There is more work than room."`
	Smooth      int         `json:"smoothed_visits" doc:"Once what has no room is done earlier, as far as tolerances allow."`
	SmoothMin   float64     `json:"smoothed_min"`
	StillOver   bool        `json:"still_over"`
}

// ForecastMove is a visit that finds room in an earlier month than that of its due day, within the tolerance of its plan.
type ForecastMove struct {
	Region   string      `json:"region"`
	PlanID   uuid.UUID   `json:"plan_id" format:"uuid"`
	DoorID   uuid.UUID   `json:"door_id" format:"uuid"`
	Door     string      `json:"door"`
	Site     string      `json:"site"`
	Due      duedate.Day `json:"due" doc:"It stays due then."`
	Earliest duedate.Day `json:"earliest" doc:"From then on an inspection counts for the due day."`
	Until    duedate.Day `json:"until" doc:"By then it is done, in the month that has room."`
}

// ForecastPlan is a plan with what the forecast needs of its door.
type ForecastPlan struct {
	Plan
	Handover           duedate.Day // what the plan counts from instead of AnchorOn; zero: does not
	Region, Door, Site string
}

// plansTogether is how many plans are read at once.
const plansTogether = 10_000

type forecastRows interface {
	// ForecastPlans gives active plans by their ids.
	ForecastPlans(ctx context.Context, afterID uuid.UUID, limit int) ([]ForecastPlan, error)
}

func checkForecastAsk(a ForecastAsk) error {
	var faults fault.List
	if a.Months < 1 || a.Months > 36 {
		faults.Add("/months", "out_of_range", "least", 1, "greatest", 36)
	}
	if !(a.OtherPercent >= 0 && a.OtherPercent <= 99) {
		faults.Add("/other_percent", "out_of_range", "least", 0, "greatest", 99)
	}
	if !(a.DriveMin >= 0 && a.DriveMin <= 480) {
		faults.Add("/drive_min", "out_of_range", "least", 0, "greatest", 480)
	}
	return faults.Err()
}

// Forecast holds the work that plans ask for against the technicians' hours, and says what to do earlier, within its tolerance, where a month has no
// room. Nothing is changed by it.
func (f *Fleet) Forecast(ctx context.Context, by identity.Actor, ask ForecastAsk) (c Forecast, err error) {
	if err := checkForecastAsk(ask); err != nil {
		return c, err
	}
	c = Forecast{From: duedate.DayIn(f.Now(), time.UTC), ForecastAsk: ask, VisitMin: usualMinutes("inspection"), WithoutTerms: []string{}, Regions: []RegionForecast{}, Moves: []ForecastMove{}}
	due := dueLoad{from: c.From, until: c.firstDay(ask.Months).AddDays(-1), of: map[string][]duedate.Task{}, plans: map[string][]*ForecastPlan{}}
	var technicians []RoundTechnician
	var closed []ClosedDay
	err = f.Store.InTxReadOnly(ctx, by, func(ctx context.Context, tx Tx) error {
		lastings, err := tx.Lastings(ctx, f.Now().AddDate(-2, 0, 0))
		if err != nil {
			return err
		}
		for _, l := range lastings {
			if l.Kind == "inspection" && l.Of >= learntFrom {
				c.VisitMin, c.VisitLearnt = l.Minutes, l.Of
			}
		}
		if err := c.learnDrive(ctx, tx); err != nil {
			return err
		}
		if technicians, err = tx.RoundTechnicians(ctx, f.Now()); err != nil {
			return err
		}
		if closed, err = tx.ClosedDayPage(ctx, ClosedDayQuery{From: due.from, Until: due.until}); err != nil {
			return err
		}
		for after := (uuid.UUID{}); ; {
			plans, err := tx.ForecastPlans(ctx, after, plansTogether)
			if err != nil {
				return err
			}
			due.add(plans, c.VisitMin+c.DriveMin)
			if len(plans) < plansTogether {
				return nil
			}
			after = plans[len(plans)-1].PlanID
		}
	})
	if err != nil {
		return c, err
	}
	c.regions(due, technicians, closed)
	return c, nil
}

// firstDay is the first day of a month, counted from the present one; of the present one it is today.
func (c Forecast) firstDay(month int) duedate.Day {
	if month == 0 {
		return c.From
	}
	_, _, d := c.From.Date()
	return c.From.AddDays(1 - d).AddMonths(month)
}

// learnDrive takes the drive to a visit from the last routes that were taken over, unless it was asked for.
func (c *Forecast) learnDrive(ctx context.Context, tx Tx) error {
	if c.DriveAsked = c.DriveMin > 0; c.DriveAsked {
		return nil
	}
	c.DriveMin = usualDriveMin
	plans, err := tx.RoutePlanPage(ctx, RoutePlanQuery{Limit: 20})
	for _, p := range plans {
		if p.State == "taken_over" && p.Visits >= learntFrom {
			c.DriveMin, c.DriveLearnt = p.DriveMin/float64(p.Visits), p.Visits
			break
		}
	}
	return err
}

// dueLoad is what is due, by region.
type dueLoad struct {
	from, until duedate.Day
	of          map[string][]duedate.Task
	plans       map[string][]*ForecastPlan // of each task
}

func (l *dueLoad) add(plans []ForecastPlan, minutes float64) {
	for i := range plans {
		p := &plans[i]
		rule := p.Rule()
		if !p.Handover.IsZero() {
			rule.Anchor = p.Handover
		}
		next := p.NextDue
		if next.Before(l.from) { // as if it were done today: what is overdue does not stack
			next = l.from
		}
		for _, on := range rule.Onward(next, l.until) {
			earliest := rule.Resumed(on.AddDays(-rule.ToleranceBeforeDays)) // on no day of a suspension
			if earliest.Before(l.from) {
				earliest = l.from
			}
			l.of[p.Region] = append(l.of[p.Region], duedate.Task{Earliest: earliest, Due: on, Minutes: minutes})
			l.plans[p.Region] = append(l.plans[p.Region], p)
		}
	}
}

// regions holds the load of each region against the hours of those who go there.
func (c *Forecast) regions(due dueLoad, technicians []RoundTechnician, closed []ClosedDay) {
	var names []string
	for region := range due.of {
		names = append(names, region)
	}
	slices.Sort(names)
	if len(names) > 0 && names[0] == "" {
		names = append(names[1:], "") // the last
	}
	load := make([][]float64, len(names))
	for r, name := range names {
		load[r] = make([]float64, c.Months)
		of := RegionForecast{Region: name, Months: make([]MonthForecast, c.Months)}
		for _, t := range due.of[name] {
			m := duedate.MonthsFrom(c.From, t.Due)
			load[r][m] += t.Minutes
			of.Months[m].Visits++
		}
		c.Regions = append(c.Regions, of)
	}
	capacity := c.capacity(names, load, technicians, closed)
	for r, name := range names {
		months := duedate.Smooth(due.of[name], c.From, capacity[r])
		of := c.Regions[r].Months
		for m := range of {
			of[m].First, of[m].WorkMin, of[m].CapacityMin, of[m].Over = c.firstDay(m), load[r][m], capacity[r][m], load[r][m] > capacity[r][m]
		}
		first := len(c.Moves)
		for i, t := range due.of[name] {
			of[months[i]].Smooth++
			of[months[i]].SmoothMin += t.Minutes
			if months[i] != duedate.MonthsFrom(c.From, t.Due) {
				p := due.plans[name][i]
				c.Moves = append(c.Moves, ForecastMove{Region: name, PlanID: p.PlanID, DoorID: p.DoorID, Door: p.Door, Site: p.Site, Due: t.Due, Earliest: t.Earliest, Until: c.firstDay(months[i] + 1).AddDays(-1)})
			}
		}
		for m := range of {
			of[m].StillOver = of[m].SmoothMin > of[m].CapacityMin
		}
		slices.SortFunc(c.Moves[first:], func(a, b ForecastMove) int {
			return cmp.Or(a.Due.Compare(b.Due), cmp.Compare(a.PlanID.String(), b.PlanID.String()))
		})
	}
}

// capacity is how many minutes each region has in each month. Who goes to several regions is shared among them so that all are filled alike, as far as
// that can be.
func (c *Forecast) capacity(regions []string, load [][]float64, technicians []RoundTechnician, closed []ClosedDay) [][]float64 {
	capacity := make([][]float64, len(regions))
	for r := range regions {
		capacity[r] = make([]float64, c.Months)
	}
	var goes [][]bool // by technician and region
	var hours [][]float64
	for _, t := range technicians {
		if t.Terms == nil {
			c.WithoutTerms = append(c.WithoutTerms, t.Name)
			continue
		}
		c.Technicians++
		to := make([]bool, len(regions))
		for r, name := range regions {
			to[r] = len(t.Terms.Regions) == 0 || slices.Contains(t.Terms.Regions, name)
		}
		goes, hours = append(goes, to), append(hours, c.workingMinutes(*t.Terms, closed))
	}
	for m := range c.Months {
		for r, minutes := range shared(goes, func(t int) float64 { return hours[t][m] }, func(r int) float64 { return load[r][m] }, len(regions)) {
			capacity[r][m] = minutes
		}
	}
	return capacity
}

// workingMinutes is how long somebody works for planned inspections in each month.
func (c *Forecast) workingMinutes(w WorkingTerms, closed []ClosedDay) []float64 {
	minutes := make([]float64, c.Months)
	each := float64(w.Hours.ToMinute-w.Hours.FromMinute-(w.Break.ToMinute-w.Break.FromMinute)) * (1 - c.OtherPercent/100)
	end := c.firstDay(c.Months)
	for day := c.From; day.Before(end); day = day.AddDays(1) {
		if slices.Contains(w.Weekdays, isoDay(day)) && !closedEverywhere(closed, day) {
			minutes[duedate.MonthsFrom(c.From, day)] += each
		}
	}
	return minutes
}

// shared shares the minutes of technicians among the regions to which they go. Each round gives more of a technician to the regions that are fuller
// than the others; a region without any load gets what nobody else needs.
func shared(goes [][]bool, minutes, load func(int) float64, regions int) []float64 {
	const rounds = 200
	part := make([][]float64, len(goes)) // by technician and region; sums to 1
	for t := range goes {
		part[t] = make([]float64, regions)
		for r := range regions {
			if goes[t][r] {
				part[t][r] = max(load(r), 1e-9)
			}
		}
		normalise(part[t])
	}
	capacity := make([]float64, regions)
	for range rounds {
		clear(capacity)
		for t := range goes {
			for r := range regions {
				capacity[r] += part[t][r] * minutes(t)
			}
		}
		for t := range goes {
			for r := range regions {
				if part[t][r] > 0 && capacity[r] > 0 {
					part[t][r] *= math.Sqrt(max(load(r), 1e-9) / capacity[r])
				}
			}
			normalise(part[t])
		}
	}
	clear(capacity)
	for t := range goes {
		for r := range regions {
			capacity[r] += part[t][r] * minutes(t)
		}
	}
	return capacity
}

func normalise(parts []float64) {
	sum := 0.0
	for _, p := range parts {
		sum += p
	}
	for i := range parts {
		if sum > 0 {
			parts[i] /= sum
		}
	}
}

// RestsOn says in sentences what the forecast rests on.
func (c Forecast) RestsOn(texts words.Printer) []string {
	from := func(learnt int, asked bool) string {
		switch {
		case learnt > 0:
			return texts.T("forecast.learnt", "count", learnt)
		case asked:
			return texts.T("forecast.asked")
		}
		return texts.T("forecast.usual")
	}
	minutes := func(m float64) float64 { return math.Round(m*10) / 10 }
	lines := []string{
		texts.T("forecast.head", "count", c.Technicians, "other", minutes(c.OtherPercent)),
		texts.T("forecast.visit", "visit", minutes(c.VisitMin), "visit_from", from(c.VisitLearnt, false), "drive", minutes(c.DriveMin), "drive_from", from(c.DriveLearnt, c.DriveAsked)),
	}
	if len(c.WithoutTerms) > 0 {
		lines = append(lines, texts.T("forecast.without", "names", strings.Join(c.WithoutTerms, ", ")))
	}
	return lines
}

// Lines is the forecast as text; most is how many of the visits to do earlier are named.
func (c Forecast) Lines(texts words.Printer, most int) (lines []string) {
	if len(c.Regions) == 0 {
		return []string{texts.T("forecast.none")}
	}
	lines = c.RestsOn(texts)
	hours := func(minutes float64) float64 { return math.Round(minutes/6) / 10 }
	fits := true
	for _, r := range c.Regions {
		lines = append(lines, "", r.named(texts))
		for _, m := range r.Months {
			year, month, _ := m.First.Date()
			line := fmt.Sprintf("  %d-%02d  ", year, month) + texts.T("forecast.month", "visits", m.Visits, "work", hours(m.WorkMin), "capacity", hours(m.CapacityMin))
			if m.Smooth != m.Visits {
				line += "; " + texts.T("forecast.smoothed", "work", hours(m.SmoothMin))
			}
			if m.StillOver {
				line, fits = line+"; ! "+texts.T("forecast.over", "hours", hours(m.SmoothMin-m.CapacityMin)), false
			}
			lines = append(lines, line)
		}
	}
	if fits {
		lines = append(lines, "", texts.T("forecast.fits"))
	}
	if len(c.Moves) > 0 {
		lines = append(lines, "", texts.T("forecast.moves", "count", len(c.Moves)))
	}
	for _, m := range c.Moves[:min(len(c.Moves), most)] {
		lines = append(lines, "  "+texts.T("forecast.move", "site", m.Site, "door", m.Door, "due", m.Due.String(), "until", m.Until.String()))
	}
	if rest := len(c.Moves) - most; rest > 0 {
		lines = append(lines, "  "+texts.T("forecast.more", "count", rest))
	}
	return append(lines, "", texts.T("forecast.caution"))
}

func (r RegionForecast) named(texts words.Printer) string {
	if r.Region == "" {
		return texts.T("forecast.no_region")
	}
	return texts.T("forecast.region", "region", r.Region)
}
