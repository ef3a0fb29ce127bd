package identity

import (
	"slices"

	"github.com/google/uuid"
)

// Role is what a person is to the company.
type Role string

// The roles.
const (
	Dispatcher    Role = "dispatcher"
	Technician    Role = "technician"
	Support       Role = "support"
	OwnerAgent    Role = "owner_agent" // building owner, occupier or managing agent
	Auditor       Role = "auditor"     // reads only, scoped, expiring, every read logged
	Administrator Role = "administrator"
)

// Roles lists all roles in the order in which people read them.
func Roles() []Role {
	return []Role{Dispatcher, Technician, Support, OwnerAgent, Auditor, Administrator}
}

// Staff tells whether the role belongs to the service company, which sees every customer.
func (r Role) Staff() bool { return r != OwnerAgent && r != Auditor && r != "" }

// ScopeKind says how a person's sight is bounded.
type ScopeKind string

// The kinds of scope. A person who is not staff sees a SET of customers or a SET of sites.
const (
	ScopeAll       ScopeKind = "all"
	ScopeCustomers ScopeKind = "customers"
	ScopeSites     ScopeKind = "sites"
)

// Actor is who does something: a signed-in person, a token that acts for one, or the program itself.
type Actor struct {
	PersonID    uuid.UUID
	Name        string
	Role        Role
	ScopeKind   ScopeKind
	Customers   []uuid.UUID // with ScopeCustomers
	Sites       []uuid.UUID // with ScopeSites
	Units       string      // "metric" or "us": what the person sees, never what is stored
	Language    string
	SessionID   uuid.UUID    // zero for a token
	TokenScopes []TokenScope // nil for a session: everything that the role may
	// MustChangePassword: signed in with a one-time password, so all but changing it is refused.
	MustChangePassword bool
}

// ProgramID is the person id under which the program's own work is recorded.
var ProgramID = uuid.MustParse("00000000-0000-7000-8000-000000000001")

// Program is the actor of jobs and of the commands that an operator runs on the machine itself.
func Program() Actor {
	return Actor{PersonID: ProgramID, Name: "Lintel", Role: Administrator, ScopeKind: ScopeAll, Units: "metric", Language: "en"}
}

// Action is something that a role may or may not do. Each API operation names exactly one.
type Action string

// The actions.
const (
	ActSelf            Action = "self"             // one's own session and password
	ActReadRegister    Action = "register.read"    // customers, sites, doors, components, fields
	ActWriteRegister   Action = "register.write"   // the same, changed
	ActImport          Action = "register.import"  // whole lists in, and out again
	ActPlanDevice      Action = "device.plan"      // intended settings
	ActAcceptFit       Action = "device.fit"       // what a walk test says of a device
	ActReadCatalogue   Action = "catalogue.read"   // device models, antennas, accessories, rule packs
	ActWriteCatalogue  Action = "catalogue.write"  // new entries
	ActKeepInstruments Action = "instrument.write" // the register of what readings are taken with
	ActSetCode         Action = "code.set"         // lock and key-safe codes in
	ActRevealCode      Action = "code.reveal"      // and out, audited
	ActReadWork        Action = "work.read"        // plans, work orders, visits, findings, cases
	ActPlanWork        Action = "work.plan"        // plans and work orders changed
	ActLogVisit        Action = "visit.write"      // attendance, entries, photos, sign-off
	ActWatch           Action = "watch.write"      // working alone: by when somebody is back, and who sees to it
	ActDecide          Action = "decision.write"   // what owners decide on findings, also from the office
	ActDismiss         Action = "finding.dismiss"
	ActReadOddities    Action = "oddity.read"    // what is unusual about entries: the office, not those who made them
	ActExplainOddity   Action = "oddity.explain" // what somebody found out about it
	ActReadReport      Action = "report.read"
	ActMakeReport      Action = "report.make"
	ActReadOffice      Action = "office.read"  // notices, job runs, instruments
	ActSetJobs         Action = "jobs.set"     // when jobs run, and that one runs now
	ActMindPost        Action = "post.mind"    // letters sent again, bounces taken in, refused addresses cleared
	ActSetLadder       Action = "ladder.set"   // who is told when
	ActSetRules        Action = "rules.set"    // rule packs of the company's own, and when they judge
	ActSetWebhooks     Action = "webhooks.set" // other programs that are told of events
	ActSetLetters      Action = "letters.set"  // texts of letters, and their approval
	ActKeepFeeds       Action = "feed.keep"    // calendars for other programs: one's own, of sites in sight, the office all
	ActAcknowledge     Action = "case.acknowledge"
	ActManagePeople    Action = "people.manage" // people, roles, tokens of others
	ActReadAudit       Action = "audit.read"
	ActReadBackups     Action = "backup.read" // when the installation was last backed up
)

// TokenScope bounds what a token may do beneath its person's role.
type TokenScope string

// The token scopes.
const (
	TokenRead           TokenScope = "read"
	TokenVisits         TokenScope = "visits"
	TokenRegister       TokenScope = "register"
	TokenAdministration TokenScope = "administration"
)

// Grant is one line of the table of rights.
type Grant struct {
	Action Action
	Roles  []Role
	Token  TokenScope // the scope that a token needs for it; "" = no token may, only a session
}

// Grants is the whole table of rights: the only place where roles meet actions.
func Grants() []Grant {
	staff := []Role{Dispatcher, Technician, Support, Administrator}
	everybody := Roles()
	return []Grant{
		{ActSelf, everybody, ""},
		{ActReadRegister, everybody, TokenRead},
		{ActWriteRegister, []Role{Dispatcher, Administrator}, TokenRegister},
		{ActImport, []Role{Dispatcher, Administrator}, TokenRegister},
		{ActPlanDevice, []Role{Dispatcher, Support, Administrator}, TokenRegister},
		{ActAcceptFit, staff, TokenVisits},
		{ActReadCatalogue, everybody, TokenRead},
		{ActWriteCatalogue, []Role{Support, Administrator}, TokenRegister},
		{ActKeepInstruments, []Role{Dispatcher, Administrator}, TokenRegister},
		{ActSetCode, []Role{Dispatcher, Technician, Administrator}, TokenVisits},
		{ActRevealCode, []Role{Dispatcher, Technician, Administrator}, ""},
		{ActReadWork, everybody, TokenRead},
		{ActPlanWork, []Role{Dispatcher, Administrator}, TokenRegister},
		{ActLogVisit, []Role{Technician}, TokenVisits},
		{ActWatch, staff, TokenVisits},
		{ActDecide, staff, TokenVisits},
		{ActDismiss, []Role{Technician, Support, Administrator}, ""},
		{ActReadOddities, []Role{Dispatcher, Support, Administrator}, TokenRead},
		{ActExplainOddity, []Role{Dispatcher, Administrator}, ""}, // a person's word
		{ActReadReport, everybody, TokenRead},
		{ActMakeReport, []Role{Dispatcher, Technician, OwnerAgent, Administrator}, TokenRegister},
		{ActReadOffice, staff, TokenRead},
		{ActMindPost, []Role{Dispatcher, Administrator}, TokenRegister},
		{ActSetJobs, []Role{Administrator}, TokenAdministration},
		{ActSetLadder, []Role{Administrator}, TokenAdministration},
		{ActSetRules, []Role{Administrator}, TokenAdministration},
		{ActSetWebhooks, []Role{Administrator}, TokenAdministration},
		{ActSetLetters, []Role{Administrator}, TokenAdministration},
		{ActKeepFeeds, []Role{Dispatcher, Technician, OwnerAgent, Administrator}, ""}, // a secret is not made by a secret
		{ActAcknowledge, []Role{Dispatcher, Technician, OwnerAgent, Administrator}, ""},
		{ActManagePeople, []Role{Administrator}, TokenAdministration},
		{ActReadAudit, []Role{Administrator}, TokenAdministration},
		{ActReadBackups, []Role{Administrator}, TokenAdministration},
	}
}

// May tells whether the actor's role, and its token if it is one, allow the action.
func (a Actor) May(action Action) bool {
	if a.MustChangePassword && action != ActSelf {
		return false
	}
	for _, g := range Grants() {
		if g.Action == action {
			return slices.Contains(g.Roles, a.Role) && (a.TokenScopes == nil || g.Token != "" && slices.Contains(a.TokenScopes, g.Token))
		}
	}
	return false
}
