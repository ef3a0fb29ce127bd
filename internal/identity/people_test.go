package identity_test

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/fault"
	"lintel.example/lintel/internal/identity"
)

func TestPuttingAPersonAgainChangesNothingAndGivesNoPassword(t *testing.T) {
	t.Parallel()
	r := newPeople(t)
	one, other := r.customer(t), r.customer(t)
	end := r.now.Add(24*time.Hour + 123*time.Nanosecond)
	in := identity.Person{PersonID: r.id(), Email: "Ada@Lintel.example ", Name: " Ada Lovell ", Role: identity.Auditor, ScopeKind: identity.ScopeCustomers,
		Customers: []uuid.UUID{other, one, other}, ExpiresAt: &end}
	made, oneTime, created, err := r.PutPerson(t.Context(), program, in, 0, "req-1")
	if err != nil || !created || oneTime == "" || made.Email != "ada@lintel.example" || made.Name != "Ada Lovell" || made.Version != 1 || !made.MustChangePassword || len(made.Customers) != 2 {
		t.Fatalf("%+v, %q, %v, %v", made, oneTime, created, err)
	}
	in.Customers = []uuid.UUID{one, other}
	r.pass(48 * time.Hour) // also when the end has passed meanwhile
	again, oneTime, created, err := r.PutPerson(t.Context(), program, in, 0, "")
	if err != nil || created || oneTime != "" || again.Version != 1 || !again.CreatedAt.Equal(made.CreatedAt) {
		t.Errorf("%+v, %q, %v, %v", again, oneTime, created, err)
	}
	if got := r.actions(t, in.PersonID); !slices.Equal(got, []string{"person_made"}) {
		t.Errorf("audit %v", got)
	}
}

func TestAChangeOfAPersonNamesTheVersionItWasMadeFrom(t *testing.T) {
	t.Parallel()
	r := newPeople(t)
	p, _ := r.person(t, "ada@lintel.example", identity.Technician)
	p.Role = identity.Dispatcher
	_, _, _, err := r.PutPerson(t.Context(), program, p, 0, "")
	wantFault(t, err, "version_required")
	_, _, _, err = r.PutPerson(t.Context(), program, p, 7, "")
	wantFault(t, err, "version_differs")
	saved, _, _, err := r.PutPerson(t.Context(), program, p, 1, "")
	if err != nil || saved.Version != 2 || saved.Role != identity.Dispatcher {
		t.Errorf("%+v, %v", saved, err)
	}
	if got := r.actions(t, p.PersonID); !slices.Equal(got, []string{"person_made", "rights_changed"}) {
		t.Errorf("audit %v", got)
	}
}

func TestAWrongPersonIsRefusedWithEveryMemberAtFault(t *testing.T) {
	t.Parallel()
	r := newPeople(t)
	customer := r.customer(t)
	soon, past, far := r.now.Add(time.Hour), r.now, time.Date(9999, 12, 31, 0, 0, 0, 0, time.UTC)
	taken, _ := r.person(t, "taken@lintel.example", identity.Technician)
	good := identity.Person{Email: "ada@lintel.example", Name: "Ada", Role: identity.OwnerAgent, ScopeKind: identity.ScopeCustomers, Customers: []uuid.UUID{customer}}
	for name, c := range map[string]struct {
		change func(*identity.Person)
		want   []string
	}{
		"everything":           {func(p *identity.Person) { *p = identity.Person{PersonID: p.PersonID} }, []string{"email_unreadable at /email", "text_missing at /name", "word_unknown at /role"}},
		"name with a bell":     {func(p *identity.Person) { p.Name = "A\a" }, []string{"text_binary at /name"}},
		"name not UTF-8":       {func(p *identity.Person) { p.Name = "A\xff" }, []string{"text_not_utf8 at /name"}},
		"long name":            {func(p *identity.Person) { p.Name = strings.Repeat("é", 201) }, []string{"text_length at /name"}},
		"address with a name":  {func(p *identity.Person) { p.Email = "Ada <ada@lintel.example>" }, []string{"email_unreadable at /email"}},
		"address not ASCII":    {func(p *identity.Person) { p.Email = "ÅDA@lintel.example" }, []string{"email_unreadable at /email"}},
		"staff with customers": {func(p *identity.Person) { p.Role = identity.Technician }, []string{"scope_of_other_role at /scope_kind"}},
		"agent who sees all":   {func(p *identity.Person) { p.ScopeKind = identity.ScopeAll }, []string{"scope_of_other_role at /scope_kind"}},
		"unknown scope":        {func(p *identity.Person) { p.ScopeKind = "towns" }, []string{"scope_of_other_role at /scope_kind"}},
		"no customers":         {func(p *identity.Person) { p.Customers = nil }, []string{"scope_set at /customers"}},
		"the other set too":    {func(p *identity.Person) { p.Sites = []uuid.UUID{customer} }, []string{"scope_set at /sites"}},
		"auditor for ever":     {func(p *identity.Person) { p.Role = identity.Auditor }, []string{"auditor_expires at /expires_at"}},
		"name that turns":      {func(p *identity.Person) { p.Name = "A\u202eda" }, []string{"text_turned at /name"}},
		"for ever in all but":  {func(p *identity.Person) { p.ExpiresAt = &far }, []string{"date_implausible at /expires_at"}},
		"ended":                {func(p *identity.Person) { p.ExpiresAt = &past }, []string{"in_the_past at /expires_at"}},
		"unknown customer":     {func(p *identity.Person) { p.Customers = []uuid.UUID{taken.PersonID} }, []string{"customer_not_found at /customers"}},
		"unknown site": {func(p *identity.Person) {
			p.ScopeKind, p.Customers, p.Sites = identity.ScopeSites, nil, []uuid.UUID{customer}
		}, []string{"site_not_found at /sites"}},
		"address taken": {func(p *identity.Person) { p.Email, p.ExpiresAt = "TAKEN@lintel.example", &soon }, []string{"email_taken at /email"}},
	} {
		p := good
		p.PersonID = r.id()
		c.change(&p)
		_, oneTime, _, err := r.PutPerson(t.Context(), program, p, 0, "")
		t.Run(name, func(t *testing.T) { wantFault(t, err, c.want...) })
		if oneTime != "" {
			t.Errorf("%s: a password for nobody", name)
		}
	}
	if n := r.count(t, "select count(*) from person"); n != 1 {
		t.Errorf("%d people, want the one whose address was taken", n)
	}
}

func TestThereIsAlwaysAnAdministratorWhoLasts(t *testing.T) {
	t.Parallel()
	r := newPeople(t)
	if _, err := r.MakeFirstAdministrator(t.Context(), "ada@lintel.example", "Ada"); err != nil {
		t.Fatal(err)
	}
	list, err := r.Persons(t.Context(), program, identity.PersonQuery{Limit: 10})
	if err != nil || len(list) != 1 {
		t.Fatalf("%v, %v", list, err)
	}
	ada := list[0]
	soon := r.now.Add(time.Hour)
	for name, change := range map[string]func(*identity.Person){
		"another role": func(p *identity.Person) { p.Role = identity.Technician },
		"an end":       func(p *identity.Person) { p.ExpiresAt = &soon },
	} {
		p := ada
		change(&p)
		_, _, _, err := r.PutPerson(t.Context(), program, p, p.Version, "")
		t.Run(name, func(t *testing.T) { wantFault(t, err, "last_administrator") })
	}
	_, err = r.DisablePerson(t.Context(), program, ada.PersonID, true, "")
	wantFault(t, err, "last_administrator")

	bo, _ := r.person(t, "bo@lintel.example", identity.Administrator)
	outcomes := make(chan error, 2)
	for _, id := range []uuid.UUID{ada.PersonID, bo.PersonID} { // both at once
		go func() {
			_, err := r.DisablePerson(context.Background(), program, id, true, "")
			outcomes <- err
		}()
	}
	refused := 0
	for range 2 {
		if err := <-outcomes; err != nil {
			wantFault(t, err, "last_administrator")
			refused++
		}
	}
	if refused != 1 {
		t.Errorf("%d of two were refused, want 1", refused)
	}
}

func TestTheFirstAdministratorIsMadeOnceByHoweverManyAtOnce(t *testing.T) {
	t.Parallel()
	r := newPeople(t)
	passwords := make(chan [2]string, 4)
	for i := range cap(passwords) {
		people, email := r.on(r.gate()), fmt.Sprintf("ada%d@lintel.example", i)
		go func() {
			oneTime, err := people.MakeFirstAdministrator(context.Background(), email, "Ada")
			if err != nil {
				wantFault(t, err, "administrator_exists")
				email = ""
			}
			passwords <- [2]string{email, oneTime}
		}()
	}
	made := 0
	for range cap(passwords) {
		got := <-passwords
		if (got[0] == "") != (got[1] == "") {
			t.Errorf("a password for nobody, or nobody's password: %q", got)
		}
		if got[0] == "" {
			continue
		}
		made++
		if _, who := r.signIn(t, got[0], got[1]); who.Role != identity.Administrator || !who.MustChangePassword {
			t.Errorf("%+v", who)
		}
	}
	if n := r.count(t, "select count(*) from person"); made != 1 || n != 1 {
		t.Errorf("%d were made, %d are there, want 1", made, n)
	}
}

func TestNobodyDisablesThemselves(t *testing.T) {
	t.Parallel()
	r := newPeople(t)
	who, _ := r.settled(t, "ada@lintel.example", identity.Administrator)
	_, err := r.DisablePerson(t.Context(), who, who.PersonID, true, "")
	wantFault(t, err, "not_yourself")
}

func TestWhoMayNotManagePeopleIsRefusedByTheUseCaseItself(t *testing.T) {
	t.Parallel()
	r := newPeople(t)
	other, _ := r.person(t, "other@lintel.example", identity.Technician)
	page := identity.Page{Limit: 10}
	for _, role := range identity.Roles() {
		if role == identity.Administrator {
			continue
		}
		who := identity.Actor{PersonID: r.id(), Role: role, ScopeKind: identity.ScopeAll}
		_, _, _, err := r.PutPerson(t.Context(), who, other, 1, "")
		wantFault(t, err, "not_allowed")
		_, err = r.DisablePerson(t.Context(), who, other.PersonID, true, "")
		wantFault(t, err, "not_allowed")
		_, err = r.ResetPassword(t.Context(), who, other.PersonID, "")
		wantFault(t, err, "not_allowed")
		_, err = r.Events(t.Context(), who, identity.EventQuery{Page: page})
		wantFault(t, err, "not_allowed")
		_, _, err = r.CreateToken(t.Context(), who, identity.Token{PersonID: other.PersonID}, "")
		wantFault(t, err, "person_not_found")
		_, err = r.Tokens(t.Context(), who, other.PersonID, page)
		wantFault(t, err, "person_not_found")
		wantFault(t, r.RevokeToken(t.Context(), who, other.PersonID, r.id(), ""), "person_not_found")
		if !role.Staff() {
			_, err = r.Person(t.Context(), who, other.PersonID)
			wantFault(t, err, "person_not_found")
			_, err = r.Persons(t.Context(), who, identity.PersonQuery{Limit: 10})
			wantFault(t, err, "not_allowed")
			_, err = r.Qualifications(t.Context(), who, other.PersonID, page)
			wantFault(t, err, "person_not_found")
		}
	}
}

func TestPeopleArePagedByNameWhateverItsLetters(t *testing.T) {
	t.Parallel()
	r := newPeople(t)
	for _, email := range []string{"bo@lintel.example", "Ada@lintel.example", "cy@lintel.example", "ada@other.example"} {
		r.person(t, email, identity.Technician)
	}
	var got []string
	for q := (identity.PersonQuery{Limit: 1}); ; {
		list, err := r.Persons(t.Context(), program, q)
		if err != nil {
			t.Fatal(err)
		}
		if len(list) == 0 {
			break
		}
		got = append(got, list[0].Email)
		q.AfterName, q.AfterID = list[0].Name, list[0].PersonID
	}
	if want := []string{"ada@lintel.example", "ada@other.example", "bo@lintel.example", "cy@lintel.example"}; !slices.Equal(got, want) {
		t.Errorf("got %v, want %v", got, want)
	}
	list, err := r.Persons(t.Context(), program, identity.PersonQuery{Search: "OTHER.", Role: identity.Technician, Limit: 10})
	if err != nil || len(list) != 1 || list[0].Email != "ada@other.example" {
		t.Errorf("search: %v, %v", list, err)
	}
}

func TestEverybodyChoosesTheirOwnUnits(t *testing.T) {
	t.Parallel()
	r := newPeople(t)
	who, secret := r.settled(t, "ada@lintel.example", identity.Technician)
	if _, err := r.SetUnits(t.Context(), who, "us"); err != nil {
		t.Fatal(err)
	}
	if who, err := r.Authenticate(t.Context(), secret); err != nil || who.Units != "us" {
		t.Errorf("%+v, %v", who, err)
	}
	_, err := r.SetUnits(t.Context(), who, "cubits")
	wantFault(t, err, "word_unknown at /units")
}

func TestWhatAnAuditorReadsIsWrittenDownAndFoundAgain(t *testing.T) {
	t.Parallel()
	r := newPeople(t)
	who, _ := r.settled(t, "ada@lintel.example", identity.Auditor)
	for i := range 5 {
		if i == 3 {
			r.pass(time.Minute)
		}
		if err := r.RecordRead(t.Context(), who, "door-get", fmt.Sprintf("/v1/doors/%d?x=%s", i, strings.Repeat("é\n", 900)), fmt.Sprintf("req-%d", i)); err != nil {
			t.Fatal(err)
		}
	}
	var got []string
	for q := (identity.EventQuery{Person: who.PersonID, Page: identity.Page{Limit: 2}}); ; {
		list, err := r.Events(t.Context(), program, q)
		if err != nil {
			t.Fatal(err)
		}
		for _, e := range list {
			if e.Action == "read" && e.SubjectKind == "door-get" {
				got = append(got, e.RequestID+" "+e.SubjectID[:11])
			}
			q.BeforeAt, q.BeforeID = e.At, e.AuditID
		}
		if len(list) < q.Limit {
			break
		}
	}
	if want := []string{"req-4 /v1/doors/4", "req-3 /v1/doors/3", "req-2 /v1/doors/2", "req-1 /v1/doors/1", "req-0 /v1/doors/0"}; !slices.Equal(got, want) {
		t.Errorf("got %v, want %v", got, want)
	}
}

func TestFaultsOfPeopleNeverRepeatASecret(t *testing.T) {
	t.Parallel()
	r := newPeople(t)
	who, _ := r.settled(t, "ada@lintel.example", identity.Technician)
	const secret = "the secret of a technician"
	_, _, _, signIn := r.SignIn(t.Context(), "ada@lintel.example", secret, "", "")
	_, authenticate := r.Authenticate(t.Context(), secret)
	change := r.ChangePassword(t.Context(), who, secret, "short", "")
	for _, err := range []error{signIn, authenticate, change, r.ChangePassword(t.Context(), who, secret, secret+"\x00", "")} {
		if len(fault.Of(err)) == 0 || strings.Contains(err.Error(), secret) {
			t.Errorf("%v", err)
		}
	}
}
