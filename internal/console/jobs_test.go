package console_test

import (
	"net/url"
	"testing"
)

func TestWhenAJobRunsIsLookedAtSetAndDoneAgainOnItsPage(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	w.dispatcher.get(t, "/jobs").want(t, 200, "Next", "Last done").lacks(t, "Run now")
	w.admin.get(t, "/jobs").want(t, 200, "Run now")
	page := w.admin.get(t, "/jobs/queue_notices?line=30+6+*+*+1")
	page.want(t, 200, "The next ten times", "Monday, 9 March 2026", "6:30", "Set when it runs").holds(t, "/line", "30 6 * * 1")
	w.dispatcher.get(t, "/jobs/queue_notices").want(t, 200, "The next ten times").lacks(t, "Set when it runs")
	w.admin.get(t, "/jobs/queue_notices?line=*+*+*+*+*").want(t, 200, "more often than once an hour")
	w.admin.get(t, "/jobs/tidy_up").want(t, 404)

	form := url.Values{"line_id": {page.hidden(t, "line_id")}, "/line": {"30 6 * * 1"}, "/why": {""}}
	w.admin.post(t, "/jobs/queue_notices", form).want(t, 422)
	form.Set("/why", "Letters go out on Mondays.")
	w.admin.post(t, "/jobs/queue_notices", form).leads(t, "/jobs/queue_notices")
	w.dispatcher.get(t, "/jobs/queue_notices").want(t, 200, "30 6 * * 1", "Letters go out on Mondays.", "Ada Lindqvist")

	w.admin.get(t, "/jobs/queue_notices/run").want(t, 200, "Nothing is made twice by it.")
	w.admin.post(t, "/jobs/queue_notices/run", url.Values{}).leads(t, "/jobs")
	w.dispatcher.get(t, "/jobs").want(t, 200, "Queues the notices", "usually")
}
