package api

import (
	"context"
	"net/http"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/identity"
	"lintel.example/lintel/internal/seal"
)

// entryDecision is what the owner decided on findings after having been shown what they mean.
type entryDecision struct {
	Findings    []uuid.UUID `json:"findings" minItems:"1" maxItems:"100" doc:"Those of which the shown text speaks."`
	Decision    string      `json:"decision" enum:"mended,quoted,declined,deferred,none" doc:"It closes no finding."`
	Until       string      `json:"until,omitempty" format:"date" doc:"Of what is deferred: the day after it presses again."`
	ShownSHA256 string      `json:"shown_sha256" pattern:"^[0-9a-f]{64}$" doc:"Of the text that was shown, from POST /v1/doors/{door_id}/shown-texts."`
	Outcome     string      `json:"outcome" enum:"signed,refused_to_sign,nobody_there,by_telephone,in_writing"`
	Name        string      `json:"name,omitempty" maxLength:"200" doc:"In capitals; absent when nobody was there."`
	Role        string      `json:"role,omitempty" maxLength:"100"`
	Signature   string      `json:"signature,omitempty" maxLength:"50000" pattern:"^([Mm][MmZzLlHhVvCcSsQqTtAaEe0-9 ,.+-]*)?$" doc:"Of what is signed: strokes as path data of SVG."`
	Witness     string      `json:"witness,omitempty" maxLength:"2000" doc:"Must be said of whatever is not signed: who saw or heard it, or where it is written."`
}

type entryDismissal struct {
	FindingID uuid.UUID `json:"finding_id" format:"uuid" doc:"One that is not unsafe."`
	Reason    string    `json:"reason" minLength:"1" maxLength:"2000"`
}

func (d entryDecision) fleet(read *reader) *fleet.EntryDecision {
	return &fleet.EntryDecision{Findings: d.Findings, Decision: d.Decision, Until: read.day("/decision/until", d.Until), ShownSHA256: read.hash("/decision/shown_sha256", d.ShownSHA256),
		Outcome: d.Outcome, Name: d.Name, Role: d.Role, Signature: d.Signature, Witness: d.Witness}
}

// decidedItem is the last decision on a finding.
type decidedItem struct {
	Decision string       `json:"decision" enum:"mended,quoted,declined,deferred,none"`
	Until    *duedate.Day `json:"until,omitempty" format:"date"`
	Outcome  string       `json:"outcome" enum:"signed,refused_to_sign,nobody_there,by_telephone,in_writing"`
	Name     string       `json:"name,omitempty"`
	At       time.Time    `json:"at"`
	VisitID  uuid.UUID    `json:"visit_id" format:"uuid"`
	EntryID  uuid.UUID    `json:"entry_id" format:"uuid"`
}

func newDecidedItem(d *fleet.Decided) *decidedItem {
	if d == nil {
		return nil
	}
	item := &decidedItem{Decision: d.Decision, Outcome: d.Outcome, Name: d.Name, At: d.At, VisitID: d.VisitID, EntryID: d.EntryID}
	if !d.Until.IsZero() {
		item.Until = &d.Until
	}
	return item
}

// shownTextItem is what somebody is shown of findings before they decide.
type shownTextItem struct {
	SHA256   seal.Hash   `json:"sha256" doc:"Of the text as UTF-8: what the decision carries."`
	DoorID   uuid.UUID   `json:"door_id" format:"uuid"`
	Findings []uuid.UUID `json:"findings"`
	Language string      `json:"language"`
	Text     string      `json:"text"`
	MadeAt   time.Time   `json:"made_at"`
}

func newShownTextItem(s fleet.ShownText) shownTextItem {
	return shownTextItem{SHA256: s.SHA256, DoorID: s.DoorID, Findings: s.Findings, Language: s.Language, Text: s.Text, MadeAt: s.MadeAt}
}

type shownTextIn struct {
	DoorPath
	Body struct {
		Findings []uuid.UUID `json:"findings" minItems:"1" maxItems:"100" doc:"Open ones that a person made."`
	}
}

type shownTextOut struct {
	Body shownTextItem
}

type shownTextGetIn struct {
	DoorPath
	SHA256 string `path:"sha256" pattern:"^[0-9a-f]{64}$"`
}

type decisionPutIn struct {
	DoorPath
	EntryID uuid.UUID `path:"entry_id" format:"uuid"`
	Body    struct {
		ObservedAt time.Time     `json:"observed_at" doc:"When it was decided."`
		Decision   entryDecision `json:"decision"`
	}
}

type dismissalPutIn struct {
	FindingID uuid.UUID `path:"finding_id" format:"uuid"`
	EntryID   uuid.UUID `path:"entry_id" format:"uuid"`
	Body      struct {
		ObservedAt time.Time `json:"observed_at"`
		Reason     string    `json:"reason" minLength:"1" maxLength:"2000"`
	}
}

func (a *API) decisions() {
	add(a, operation("shown-text-make", http.MethodPost, "/v1/doors/{door_id}/shown-texts", identity.ActDecide,
		"Write what open findings mean for whoever is to decide on them. The text is kept under its hash"), a.shownTextMake)
	add(a, operation("shown-text-get", http.MethodGet, "/v1/doors/{door_id}/shown-texts/{sha256}", identity.ActReadWork, "What somebody was shown before they decided"), a.shownTextGet)
	add(a, operation("decision-put", http.MethodPut, "/v1/doors/{door_id}/decisions/{entry_id}", identity.ActDecide,
		"Record a decision on findings that reached the office. At the door it is an entry of the visit"), a.decisionPut)
	add(a, operation("dismissal-put", http.MethodPut, "/v1/findings/{finding_id}/dismissals/{entry_id}", identity.ActDismiss,
		"Close a finding that is not unsafe for a reason, without a repair"), a.dismissalPut)
}

func (a *API) shownTextMake(ctx context.Context, by identity.Actor, in *shownTextIn) (*shownTextOut, error) {
	s, err := a.Fleet.MakeShownText(ctx, by, in.DoorID, in.Body.Findings)
	return &shownTextOut{Body: newShownTextItem(s)}, err
}

func (a *API) shownTextGet(ctx context.Context, by identity.Actor, in *shownTextGetIn) (*shownTextOut, error) {
	var read reader
	hash := read.hash("/sha256", in.SHA256)
	if err := read.faults.Err(); err != nil {
		return nil, err
	}
	s, err := a.Fleet.ShownText(ctx, by, in.DoorID, hash)
	return &shownTextOut{Body: newShownTextItem(s)}, err
}

func (a *API) decisionPut(ctx context.Context, by identity.Actor, in *decisionPutIn) (*entryOut, error) {
	var read reader
	body := fleet.EntryBody{DoorID: in.DoorID, Kind: "decision", ObservedAt: in.Body.ObservedAt, Decision: in.Body.Decision.fleet(&read)}
	if err := read.faults.Err(); err != nil {
		return nil, err
	}
	return a.fromOffice(ctx, by, in.EntryID, body)
}

func (a *API) dismissalPut(ctx context.Context, by identity.Actor, in *dismissalPutIn) (*entryOut, error) {
	of, err := a.Fleet.FindingByID(ctx, by, in.FindingID)
	if err != nil {
		return nil, err
	}
	return a.fromOffice(ctx, by, in.EntryID, fleet.EntryBody{DoorID: of.DoorID, Kind: "dismissal", ObservedAt: in.Body.ObservedAt,
		Dismissal: &fleet.EntryDismissal{FindingID: in.FindingID, Reason: in.Body.Reason}})
}

func (a *API) fromOffice(ctx context.Context, by identity.Actor, id uuid.UUID, body fleet.EntryBody) (*entryOut, error) {
	e, isNew, err := a.Fleet.PutFromOffice(ctx, by, id, body)
	if err != nil {
		return nil, err
	}
	return &entryOut{Status: created(isNew), Body: newEntryItem(e)}, nil
}
