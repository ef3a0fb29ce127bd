package api

import (
	"context"
	"net/http"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/advice"
	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/identity"
)

type adviceIn struct {
	DoorPath
	Side          string  `query:"side" enum:"a,b,either" default:"either" doc:"Where the device may stand."`
	HeaderHeightM float64 `query:"header_height_m" doc:"Height of a device on the header; left out: that of the one that is fitted now."`
	CeilingM      float64 `query:"ceiling_m" doc:"Height of a ceiling that a device can be set into; left out: none."`
	StraightOnly  bool    `query:"straight_only" doc:"Everybody comes straight to the door."`
	Exposed       bool    `query:"exposed" doc:"Rain and litter reach the door."`
	Inhibited     bool    `query:"inhibited" doc:"The control ignores the device while the leaf moves."`
	ShakeMM       float64 `query:"shake_mm" doc:"Amplitude of the header's shaking, with shake_hz; left out: it is still."`
	ShakeHz       float64 `query:"shake_hz"`
}

func (in adviceIn) ask() fleet.AdviceAsk {
	given := func(v float64) *float64 {
		if v == 0 {
			return nil
		}
		return &v
	}
	return fleet.AdviceAsk{DoorID: in.DoorID, Side: in.Side, HeaderHeightM: given(in.HeaderHeightM), CeilingM: given(in.CeilingM), StraightOnly: in.StraightOnly, Exposed: in.Exposed, Inhibited: in.Inhibited,
		ShakeMM: given(in.ShakeMM), ShakeHz: given(in.ShakeHz)}
}

type adviceOut struct {
	Body struct {
		DoorID  uuid.UUID `json:"door_id"`
		Missing []string  `json:"missing" doc:"Facts that nobody has recorded; nothing was computed then."`
		Assumed []string  `json:"assumed" doc:"What was taken for what nobody has recorded."`
		advice.Answer
		Told []advice.Section `json:"told" doc:"The same in words, with the caution."`
	}
}

func (a *API) advices() {
	add(a, operation("advice-get", http.MethodGet, "/v1/doors/{door_id}/advice", identity.ActReadOffice, "Which sensor, antenna, place, accessories and settings suit a door"), a.adviceGet)
}

func (a *API) adviceGet(ctx context.Context, by identity.Actor, in *adviceIn) (*adviceOut, error) {
	d, err := a.Fleet.Advise(ctx, by, in.ask())
	if err != nil {
		return nil, err
	}
	out := &adviceOut{}
	out.Body.DoorID, out.Body.Missing, out.Body.Assumed, out.Body.Answer = in.DoorID, d.Missing, d.Assumed, d.Answer
	if len(d.Missing) == 0 {
		out.Body.Told = advice.Tell(a.printer(by), d.Answer)
	}
	return out, nil
}
