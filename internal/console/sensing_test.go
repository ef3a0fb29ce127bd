package console_test

import (
	"net/url"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"github.com/google/uuid"

	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/steps"
)

// curtain fits a curtain of laser rays over the main entrance that lets go of somebody who stands after 20 s.
func (w *world) curtain(t testing.TB) uuid.UUID {
	model := must[fleet.Model](t)(w.PutModel(t.Context(), w.support.actor, fleet.Model{ModelID: w.id(), Kind: "safety_device", Maker: "Fenwick", Name: "Curtain 1", Sensing: "laser_curtain",
		Senses: &fleet.Senses{Purpose: "presence", StillS: p(20.0), HoldS: 1, LeansDeg: []float64{-2, 4}, FromDeg: p(-35.0), ToDeg: p(35.0), StepDeg: p(0.3), RangeM: p(6.0), SpotM: p(0.01), DivergenceDeg: p(0.0)}}))
	c := must[fleet.Component](t)(w.PutComponent(t.Context(), w.dispatcher.actor, fleet.ComponentPut{ComponentID: w.id(), DoorID: w.door.DoorID, Kind: "safety_device", ModelID: &model.ModelID, Serial: "L-1",
		Fitting: fleet.Fitting{State: "fitted", Side: "a", Input: "protect", Contact: "normally_closed"}, EffectiveAt: time.Date(2025, 10, 2, 12, 0, 0, 0, time.UTC), Reason: "fitted"}))
	facts := w.facts(0)
	facts.AntennaID = nil
	facts.Mount.OffsetYM, facts.Mount.TiltDeg, facts.Mount.OffsetXM = fleet.Q(0.14, fleet.Measured), fleet.Q(0, fleet.Measured), fleet.Q(0.05, fleet.Measured)
	must[fleet.Revision](t)(w.PutRevision(t.Context(), w.dispatcher.actor, fleet.Revision{ComponentID: c.ComponentID, RevisionID: w.id(), Standing: "left", Reason: "mounted", Device: facts}))
	w.now = w.now.Add(time.Minute)
	return c.ComponentID
}

// present is a settings form as it stands when it is opened.
func present(t *testing.T, form shown) url.Values {
	t.Helper()
	values := url.Values{}
	for _, m := range inputs.FindAllStringSubmatch(form.body, -1) {
		if strings.HasPrefix(m[1], "/device") || m[1] == "revision_id" {
			values.Set(m[1], form.hidden(t, m[1]))
		}
	}
	for _, m := range regexp.MustCompile(`(?s)<select[^>]* name="([^"]+)".*?</select>`).FindAllStringSubmatch(form.body, -1) {
		if chosen := regexp.MustCompile(`value="([^"]*)" selected`).FindStringSubmatch(m[0]); chosen != nil {
			values.Set(m[1], chosen[1])
		}
	}
	return values
}

func TestADeviceOfLightIsShownLikeARadarAndWhyItDoesNotCount(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	id := w.curtain(t)
	const why = "it lets go of somebody who stands after 20 s, and 30 s are asked"
	w.support.get(t, "/doors/"+w.door.DoorID.String()).want(t, 200, "Fenwick Curtain 1", "By computation it tells of a grown person in an area", why, "Curtain of laser rays", "Rays of light, some of them")
	w.support.get(t, "/devices/"+id.String()).want(t, 200, "What it sees of the door's leaves", "It sees leaf 1 as it closes.")
	path := "/devices/" + id.String() + "/settings"
	values := present(t, w.support.get(t, path))
	values.Set("/standing", "intended")
	values.Set("/reason", "Further out.")
	values.Set("/device/mount/offset_y_m", "0.60 m")
	values.Set("do", "preview")
	w.support.post(t, path, values).want(t, 200, "It tells of a grown person in", "Not counted", why, "Better. Now: NOT MET: It sees the leaf")
	// Under the floor of the side, where nobody is: nothing, in words.
	values.Set("/device/mount/offset_y_m", "-8 m")
	w.support.post(t, path, values).want(t, 200, "it would in nothing at all", "nothing on the floor").lacks(t, "0.00 m by 0.00 m", "0.00 m wide")
}

func TestBesideEachValueStandsTheStepThatIsNearest(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	p := func(v float64) *float64 { return &v }
	model := must[fleet.Model](t)(w.PutModel(t.Context(), w.support.actor, fleet.Model{ModelID: w.id(), Kind: "sensor", Maker: "Fenwick", Name: "Motion 5", Sensing: "radar",
		Antennas: []fleet.Antenna{{AntennaID: w.id(), Name: "wide", AzimuthBeamwidthDeg: 60, ElevationBeamwidthDeg: 36, AttenuationLimitDB: 25, BoresightRangeM: 5, Source: "data sheet"}},
		Steps: &steps.Chart{Scales: []steps.Scale{
			{Setting: "reach_db", Way: steps.Dial, Control: "dial R", Steps: []steps.Step{{Label: "9", Value: p(0)}, {Label: "7", Value: p(-6)}}},
			{Setting: "motion_direction", Way: steps.Dial, Control: "dial D", Steps: []steps.Step{{Label: "in", Word: "approach"}, {Label: "all", Word: "either"}}}}}}))
	c := must[fleet.Component](t)(w.PutComponent(t.Context(), w.dispatcher.actor, fleet.ComponentPut{ComponentID: w.id(), DoorID: w.door.DoorID, Kind: "sensor", ModelID: &model.ModelID, Serial: "S-5",
		Fitting: fleet.Fitting{State: "fitted", Side: "a", Input: "activate", Contact: "normally_open"}, EffectiveAt: time.Date(2025, 10, 2, 12, 0, 0, 0, time.UTC), Reason: "fitted"}))
	path := "/devices/" + c.ComponentID.String() + "/settings"
	empty := w.support.get(t, path).want(t, 200).lacks(t, "dial R", "dial D")
	values := present(t, empty)
	values.Set("do", "preview")
	values.Set("/device/settings/motion_direction", "either")
	values.Set("/device/settings/reach_db", "-6")
	got := w.support.post(t, path, values) // the rest is not known: there is nothing to compute, and the steps stand there nevertheless
	got.want(t, got.status, "dial R: 7", "dial D: all").lacks(t, "nearest is")
	values.Set("/device/settings/reach_db", "-4")
	got = w.support.post(t, path, values)
	got.want(t, got.status, "dial R: nearest is 7, which is -6 dB")
	values.Set("/device/settings/reach_db", "much")
	w.support.post(t, path, values).want(t, 422).lacks(t, "dial R")
}

func TestNowAndAfterStandBesideEachOtherInAWindowOf1280(t *testing.T) {
	w := newWorld(t)
	id := w.curtain(t)
	b := browse(t, w.desk)
	b.signIn(w.support)
	b.open("/doors/" + w.door.DoorID.String())
	b.says("Not counted for")
	b.look("door-light")
	b.open("/devices/" + id.String())
	b.look("device-light")
	for name, device := range map[string]uuid.UUID{"preview-light": id, "preview-radar": w.sensor} {
		b.size(1280, "light")
		b.open("/devices/" + device.String() + "/settings")
		b.fill("/device/mount/tilt_deg", "15")
		b.fill("/reason", "Less far.")
		b.press("Show what it would do")
		b.says("What it would do")
		const beside = `(() => {const f = [...document.querySelectorAll('.drawings.pair figure')].map(e => e.getBoundingClientRect()); return f.length === 2 && f[0].top === f[1].top && f[0].right <= f[1].left})()`
		if !run(b, chromedp.Evaluate[bool](beside)) {
			t.Errorf("%s: they stand below each other", name)
		}
		const small = `Math.min(...[...document.querySelectorAll('.drawings.pair svg text')].map(e => e.getBoundingClientRect().height))`
		if px := run(b, chromedp.Evaluate[float64](small)); px < 9 {
			t.Errorf("%s: text of %.1f pixels", name, px)
		}
		b.look(name)
	}
}
