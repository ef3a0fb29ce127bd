package console

import (
	"context"
	"log/slog"
	"net/http"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/identity"
	"lintel.example/lintel/internal/words"
)

// Rooms are what the pages stand on.
type Rooms struct {
	Fleet   *fleet.Fleet
	People  *identity.People
	Words   *words.Catalogue
	Log     *slog.Logger
	Now     func() time.Time
	NewID   func() uuid.UUID
	Ready   func(context.Context) error                                // nil error: requests can be served
	Observe func(method, route string, status int, took time.Duration) // nil: nobody counts
	Version string
}

// Console is the web pages.
type Console struct {
	Rooms
	mux    *http.ServeMux
	looks  *looks
	static *static
	// patience is with those who come by links in letters, without signing in.
	patience patience
}

// route is one address, the action that it needs, and what answers it.
type route struct {
	pattern string
	action  identity.Action
	handle  handler
}

// handler answers a request that its actor may make.
type handler func(ctx context.Context, q *request) (answer, error)

// anybody marks the few pages that need nobody.
const anybody identity.Action = ""

// New makes the pages. It fails when a template cannot be read.
func New(rooms Rooms) (*Console, error) {
	c := &Console{Rooms: rooms, mux: http.NewServeMux()}
	var err error
	if c.static, err = newStatic(); err != nil {
		return nil, err
	}
	if c.looks, err = newLooks(rooms.Words, c.static); err != nil {
		return nil, err
	}
	for _, r := range c.routes() {
		c.mux.HandleFunc(r.pattern, c.serve(r))
	}
	c.mux.Handle("GET /static/", c.static)
	c.mux.HandleFunc("/", c.serve(route{pattern: "/", action: anybody, handle: c.nowhere}))
	return c, nil
}

// Handler serves the pages.
func (c *Console) Handler() http.Handler { return c.around(c.mux) }

// routes is every page and form.
func (c *Console) routes() []route {
	return []route{
		{"GET /sign-in", anybody, c.signInForm},
		{"POST /sign-in", anybody, c.signIn},
		{"GET /answer/{token}", anybody, c.link(c.answerForm)},
		{"POST /answer/{token}", anybody, c.link(c.answerPut)},
		{"GET /reminders/{token}", anybody, c.link(c.declineForm)},
		{"POST /reminders/{token}", anybody, c.link(c.declinePut)},
		{"POST /sign-out", identity.ActSelf, c.signOut},
		{"GET /password", identity.ActSelf, c.passwordForm},
		{"POST /password", identity.ActSelf, c.passwordPut},
		{"GET /me", identity.ActSelf, c.me},
		{"POST /me/units", identity.ActSelf, c.unitsPut},
		{"POST /me/sessions/{session_id}/end", identity.ActSelf, c.sessionEnd},

		{"GET /{$}", identity.ActReadWork, c.today},

		{"GET /doors", identity.ActReadRegister, c.doors},
		{"POST /doors", identity.ActWriteRegister, c.doorMake},
		{"GET /doors/new", identity.ActWriteRegister, c.doorNew},
		{"GET /doors/{door_id}", identity.ActReadRegister, c.door},
		{"POST /doors/{door_id}", identity.ActWriteRegister, c.doorPut},
		{"GET /doors/{door_id}/trends", identity.ActReadOffice, c.trends},
		{"GET /doors/{door_id}/change", identity.ActWriteRegister, c.doorChange},
		{"GET /doors/{door_id}/comparison", identity.ActReadOffice, c.comparison},
		{"GET /doors/{door_id}/diagnosis", identity.ActReadOffice, c.diagnosis},
		{"GET /doors/{door_id}/advice", identity.ActReadOffice, c.advice},
		{"GET /doors/{door_id}/settings-sheet/{print}", identity.ActReadOffice, c.doorSheet},
		{"POST /doors/{door_id}/plans", identity.ActPlanWork, c.planMake},
		{"GET /doors/{door_id}/plans/new", identity.ActPlanWork, c.planNew},
		{"GET /doors/{door_id}/plans/{plan_id}", identity.ActPlanWork, c.planChange},
		{"POST /doors/{door_id}/plans/{plan_id}", identity.ActPlanWork, c.planPut},
		{"GET /doors/{door_id}/plans/{plan_id}/suspensions", identity.ActPlanWork, c.suspensions},
		{"POST /doors/{door_id}/plans/{plan_id}/suspensions", identity.ActPlanWork, c.planSuspend},
		{"POST /doors/{door_id}/plans/{plan_id}/resumptions", identity.ActPlanWork, c.planResume},
		{"GET /doors/{door_id}/due", identity.ActReadWork, c.due},
		{"GET /doors/{door_id}/plans/{plan_id}/{what}", identity.ActPlanWork, c.planTurnForm},
		{"POST /doors/{door_id}/plans/{plan_id}/{what}", identity.ActPlanWork, c.planTurn},

		{"GET /findings", identity.ActReadWork, c.findings},
		{"GET /findings/{finding_id}/dismissal", identity.ActDismiss, c.dismissalForm},
		{"POST /findings/{finding_id}/dismissal", identity.ActDismiss, c.dismissalAdd},
		{"GET /doors/{door_id}/decisions/new", identity.ActDecide, c.decisionForm},
		{"POST /doors/{door_id}/decisions", identity.ActDecide, c.decisionAdd},
		{"POST /doors/{door_id}/shown-texts", identity.ActDecide, c.shownTextMake},

		{"POST /components", identity.ActWriteRegister, c.componentMake},
		{"GET /components/new", identity.ActWriteRegister, c.componentNew},
		{"GET /components/{component_id}", identity.ActWriteRegister, c.componentRefit},
		{"POST /components/{component_id}", identity.ActWriteRegister, c.componentPut},
		{"GET /components/{component_id}/out", identity.ActWriteRegister, c.componentOutForm},
		{"POST /components/{component_id}/out", identity.ActWriteRegister, c.componentOut},

		{"GET /work-orders", identity.ActReadWork, c.orders},
		{"POST /work-orders", identity.ActPlanWork, c.orderMake},
		{"GET /work-orders/new", identity.ActPlanWork, c.orderNew},
		{"GET /work-orders/{work_order_id}", identity.ActReadWork, c.order},
		{"POST /work-orders/{work_order_id}", identity.ActPlanWork, c.orderChange},
		{"POST /work-orders/{work_order_id}/assign", identity.ActPlanWork, c.orderAssign},
		{"GET /work-orders/{work_order_id}/hold", identity.ActPlanWork, c.orderHoldForm},
		{"POST /work-orders/{work_order_id}/hold", identity.ActPlanWork, c.orderHold},
		{"GET /work-orders/{work_order_id}/{what}", identity.ActPlanWork, c.orderDecideForm},
		{"POST /work-orders/{work_order_id}/{what}", identity.ActPlanWork, c.orderDecide},

		{"GET /webhooks", identity.ActSetWebhooks, c.webhooks},
		{"POST /webhooks", identity.ActSetWebhooks, c.webhookMake},
		{"GET /webhooks/{webhook_id}", identity.ActSetWebhooks, c.webhook},
		{"POST /webhooks/{webhook_id}", identity.ActSetWebhooks, c.webhookChange},
		{"GET /webhooks/{webhook_id}/rotation", identity.ActSetWebhooks, c.webhookRotateAsk},
		{"POST /webhooks/{webhook_id}/rotation", identity.ActSetWebhooks, c.webhookRotate},
		{"POST /webhooks/{webhook_id}/replay", identity.ActSetWebhooks, c.webhookReplay},
		{"GET /forecast", identity.ActReadOffice, c.forecast},
		{"GET /route-plans", identity.ActReadOffice, c.routePlans},
		{"POST /route-plans", identity.ActPlanWork, c.routePlanMake},
		{"GET /route-plans/{route_plan_id}", identity.ActReadOffice, c.routePlan},
		{"GET /route-plans/{route_plan_id}/take-over", identity.ActPlanWork, c.routePlanSure},
		{"POST /route-plans/{route_plan_id}/take-over", identity.ActPlanWork, c.routePlanTakeOver},
		{"GET /people/{person_id}/working-terms", identity.ActPlanWork, c.termsForm},
		{"POST /people/{person_id}/working-terms", identity.ActPlanWork, c.termsPut},
		{"GET /sites/{site_id}/visiting-hours", identity.ActPlanWork, c.siteHoursForm},
		{"POST /sites/{site_id}/visiting-hours", identity.ActPlanWork, c.siteHoursPut},

		{"GET /closed-days", identity.ActReadOffice, c.closedDays},
		{"POST /closed-days", identity.ActPlanWork, c.closedDayMake},
		{"GET /closed-days/{closed_day_id}/cancel", identity.ActPlanWork, c.closedDaySure},
		{"POST /closed-days/{closed_day_id}/cancel", identity.ActPlanWork, c.closedDayCancel},

		{"GET /oddities", identity.ActReadOddities, c.oddities},
		{"GET /oddities/{oddity_id}", identity.ActReadOddities, c.oddity},
		{"POST /oddities/{oddity_id}/explanation", identity.ActExplainOddity, c.oddityExplain},

		{"GET /visits", identity.ActReadWork, c.visits},
		{"GET /visits/new", identity.ActLogVisit, c.visitNew},
		{"POST /visits", identity.ActLogVisit, c.visitOpen},
		{"GET /visits/{visit_id}", identity.ActReadWork, c.visit},
		{"GET /visits/{visit_id}/doors/{door_id}/inspect", identity.ActLogVisit, c.inspection},
		{"POST /visits/{visit_id}/doors/{door_id}/inspect", identity.ActLogVisit, c.inspectionPut},
		{"GET /doors/{door_id}/inspection-form/{print}", identity.ActReadWork, c.inspectionPrint},
		{"GET /visits/{visit_id}/entries/new", identity.ActLogVisit, c.entryForm},
		{entryRoute, identity.ActLogVisit, c.entryAdd},
		{"GET /visits/{visit_id}/entries/{entry_id}/force", identity.ActReadWork, c.force},
		{"GET /visits/{visit_id}/entries/{entry_id}/force/series", identity.ActReadWork, c.forceSeries},
		{"GET /visits/{visit_id}/entries/{entry_id}/fit", identity.ActReadOffice, c.walkFit},
		{"POST /visits/{visit_id}/entries/{entry_id}/fit", identity.ActAcceptFit, c.walkFitAccept},
		{"GET /visits/{visit_id}/photos/new", identity.ActLogVisit, c.photoForm},
		{photoRoute, identity.ActLogVisit, c.photoAdd},
		{"GET /photos/{sha256}", identity.ActReadWork, c.photo},
		{"GET /visits/{visit_id}/sign-off", identity.ActLogVisit, c.signOffForm},
		{"POST /visits/{visit_id}/sign-off", identity.ActLogVisit, c.signOff},

		{"GET /devices/{component_id}", identity.ActReadRegister, c.device},
		{"GET /devices/{component_id}/settings-sheet/{print}", identity.ActReadOffice, c.deviceSheet},
		{"GET /devices/{component_id}/settings", identity.ActPlanDevice, c.settingsForm},
		{"POST /devices/{component_id}/settings", identity.ActPlanDevice, c.settingsPut},

		{"GET /sites", identity.ActReadRegister, c.sites},
		{"POST /sites", identity.ActWriteRegister, c.siteMake},
		{"GET /sites/new", identity.ActWriteRegister, c.siteNew},
		{"GET /sites/{site_id}", identity.ActReadRegister, c.site},
		{"POST /sites/{site_id}", identity.ActWriteRegister, c.sitePut},
		{"GET /sites/{site_id}/change", identity.ActWriteRegister, c.siteChange},
		{"GET /sites/{site_id}/hand-over", identity.ActWriteRegister, c.handOverForm},
		{"POST /sites/{site_id}/hand-over", identity.ActWriteRegister, c.handOver},
		{"POST /sites/{site_id}/parties", identity.ActWriteRegister, c.standingMake},
		{"GET /sites/{site_id}/parties/new", identity.ActWriteRegister, c.standingNew},
		{"GET /sites/{site_id}/parties/{standing_id}/end", identity.ActWriteRegister, c.standingEndForm},
		{"POST /sites/{site_id}/parties/{standing_id}/end", identity.ActWriteRegister, c.standingEnd},
		{"GET /parties", identity.ActReadRegister, c.parties},
		{"POST /parties", identity.ActWriteRegister, c.partyMake},
		{"GET /parties/new", identity.ActWriteRegister, c.partyNew},
		{"GET /parties/{party_id}", identity.ActReadRegister, c.party},
		{"POST /parties/{party_id}", identity.ActWriteRegister, c.partyPut},
		{"GET /customers", identity.ActReadRegister, c.customers},
		{"POST /customers", identity.ActWriteRegister, c.customerMake},
		{"GET /customers/new", identity.ActWriteRegister, c.customerNew},
		{"GET /customers/{customer_id}", identity.ActReadRegister, c.customer},
		{"POST /customers/{customer_id}", identity.ActWriteRegister, c.customerPut},

		{"GET /reports", identity.ActReadReport, c.reports},
		{"POST /reports", identity.ActMakeReport, c.reportMake},
		{"GET /reports/{report_id}", identity.ActReadReport, c.report},
		{"POST /reports/{report_id}/deliveries", identity.ActMindPost, c.deliver},
		{"POST /reports/{report_id}/letters/{letter_id}/again", identity.ActMindPost, c.deliverAgain},
		{"GET /out-of-service/{case_id}/{print}", identity.ActReadWork, c.caseTag},
		{"GET /reports/{report_id}/{print}", identity.ActReadReport, c.reportPrint},

		{"GET /rule-packs", identity.ActSetRules, c.packs},
		{packRoute, identity.ActSetRules, c.packAdd},
		{"GET /rule-packs/{pack}", identity.ActSetRules, c.pack},
		{"GET /rule-packs/{pack}/replay", identity.ActSetRules, c.packReplay},
		{"GET /rule-packs/{pack}/{what}", identity.ActSetRules, c.packTurnForm},
		{"POST /rule-packs/{pack}/{what}", identity.ActSetRules, c.packTurn},

		{"GET /letter-templates", identity.ActReadOffice, c.letterTexts},
		{"POST /letter-templates", identity.ActSetLetters, c.letterTextAdd},
		{"GET /letter-templates/new", identity.ActSetLetters, c.letterTextNew},
		{"GET /letter-templates/{template_id}", identity.ActReadOffice, c.letterText},
		{"POST /letter-templates/{template_id}/approval", identity.ActSetLetters, c.letterTextApprove},
		{"GET /doors/{door_id}/letters", identity.ActMakeReport, c.doorLetters},
		{"POST /doors/{door_id}/letters", identity.ActMakeReport, c.letterIssue},
		{"POST /doors/{door_id}/letter-preview", identity.ActSetLetters, c.letterPreview},

		{"GET /imports", identity.ActImport, c.imports},
		{importRoute, identity.ActImport, c.importTake},
		{"GET /imports/{import_id}", identity.ActImport, c.importRun},
		{"GET /imports/{import_id}/undo", identity.ActImport, c.importUndoAsk},
		{"POST /imports/{import_id}/undo", identity.ActImport, c.importUndo},

		{"GET /trends", identity.ActReadOffice, c.crossings},
		{"GET /notices", identity.ActReadOffice, c.notices},
		{"GET /unanswered", identity.ActReadOffice, c.unanswered},
		{"POST /letters/{letter_id}/acknowledgement", identity.ActMindPost, c.letterNoted},
		{"POST /declined-addresses/end", identity.ActMindPost, c.declineEnd},
		{"GET /ladders", identity.ActReadOffice, c.ladders},
		{"POST /ladders", identity.ActSetLadder, c.ladderMake},
		{"GET /ladders/new", identity.ActSetLadder, c.ladderNew},
		{"GET /alone", identity.ActWatch, c.watches},
		{"POST /alone", identity.ActWatch, c.watchBegin},
		{"POST /alone/{watch_id}/events", identity.ActWatch, c.watchEvent},
		{"GET /jobs", identity.ActReadOffice, c.jobs},
		{"GET /jobs/{job}", identity.ActReadOffice, c.job},
		{"POST /jobs/{job}", identity.ActSetJobs, c.jobLinePut},
		{"GET /jobs/{job}/run", identity.ActSetJobs, c.jobAsk},
		{"POST /jobs/{job}/run", identity.ActSetJobs, c.jobRun},

		{"GET /calendar/{file}", anybody, c.calendar}, // whoever has the address
		{"GET /calendar-feeds", identity.ActKeepFeeds, c.calendarFeeds},
		{"POST /calendar-feeds", identity.ActKeepFeeds, c.calendarFeedMake},
		{"GET /calendar-feeds/{feed_id}/revoke", identity.ActKeepFeeds, c.calendarFeedAsk},
		{"POST /calendar-feeds/{feed_id}/revoke", identity.ActKeepFeeds, c.calendarFeedRevoke},

		{"GET /people", identity.ActReadOffice, c.people},
		{"POST /people", identity.ActManagePeople, c.personMake},
		{"GET /people/new", identity.ActManagePeople, c.personNew},
		{"GET /people/{person_id}", identity.ActReadOffice, c.person},
		{"POST /people/{person_id}", identity.ActManagePeople, c.personPut},
		{"POST /people/{person_id}/certificates", identity.ActPlanWork, c.certificatePut},
		{"GET /certificates", identity.ActReadOffice, c.certificates},
		{"POST /people/{person_id}/tokens", identity.ActManagePeople, c.tokenMake},
		{"GET /people/{person_id}/tokens/{token_id}/revoke", identity.ActManagePeople, c.tokenAsk},
		{"POST /people/{person_id}/tokens/{token_id}/revoke", identity.ActManagePeople, c.tokenRevoke},
		{"GET /people/{person_id}/{what}", identity.ActManagePeople, c.personAsk},
		{"POST /people/{person_id}/{what}", identity.ActManagePeople, c.personDo},
	}
}
