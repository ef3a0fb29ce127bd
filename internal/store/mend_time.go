package store

import (
	"context"
	"time"

	"github.com/jackc/pgx/v5"

	"lintel.example/lintel/internal/fleet"
)

type mendTimeRow struct {
	Severity     string
	Mended       int
	MedianS      float64
	LongestS     float64
	Open         int
	OpenMedianS  float64
	OpenLongestS float64
}

func (r mendTimeRow) times() fleet.MendTime {
	seconds := func(s float64) time.Duration { return time.Duration(s * float64(time.Second)) }
	return fleet.MendTime{Severity: r.Severity, Mended: r.Mended, Median: seconds(r.MedianS), Longest: seconds(r.LongestS), Open: r.Open,
		OpenMedian: seconds(r.OpenMedianS), OpenLongest: seconds(r.OpenLongestS)}
}

const sqlMendTimes = `-- mend_times
with t as (
  select severity, extract(epoch from closed_at - opened_at)::float8 as mended_s, null::float8 as open_s
  from finding where origin = 'visit' and state in ('mended', 'cleared')
    and (@door_id::uuid is null or door_id = @door_id) and (@site_id::uuid is null or site_id = @site_id)
  union all
  select severity, null, extract(epoch from @now::timestamptz - opened_at)::float8
  from finding where origin = 'visit' and state = 'open'
    and (@door_id::uuid is null or door_id = @door_id) and (@site_id::uuid is null or site_id = @site_id))
select severity, count(mended_s) as mended, coalesce(percentile_cont(0.5) within group (order by mended_s), 0) as median_s, coalesce(max(mended_s), 0) as longest_s,
  count(open_s) as open, coalesce(percentile_cont(0.5) within group (order by open_s), 0) as open_median_s, coalesce(max(open_s), 0) as open_longest_s
from t group by severity order by array_position(array['unsafe', 'deficient', 'advisory'], severity)`

// MendTimes tells how long findings took to be mended, and how old the open ones are, by severity.
func (t *Tx) MendTimes(ctx context.Context, q fleet.MendTimeQuery) ([]fleet.MendTime, error) {
	rows, err := query[mendTimeRow](ctx, t, "mend_times", sqlMendTimes, pgx.StrictNamedArgs{"door_id": optional(q.DoorID), "site_id": optional(q.SiteID), "now": q.Now})
	return each(rows, mendTimeRow.times), err
}
