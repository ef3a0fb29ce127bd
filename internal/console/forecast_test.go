package console_test

import "testing"

func TestTheForecastIsDrawnAndAsksAgainForWhatItCannotRead(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	d := w.dispatcher
	d.get(t, "/forecast").want(t, 200, "Forecast", "March 2026", "August 2027", "technician", "common practice, no source", "every visit stays due on its day").source(t, `class="bars-room`)
	d.get(t, "/forecast?%2Fmonths=2&%2Fother_percent=99.9").want(t, 422, "outside of 0 to 99")
	d.get(t, "/forecast?%2Fmonths=many").want(t, 422, "This is not a whole number.").holds(t, "/months", "many")
}
