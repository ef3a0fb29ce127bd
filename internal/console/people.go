package console

import (
	"context"
	"encoding/hex"
	"net/http"
	"slices"
	"strconv"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/identity"
	"lintel.example/lintel/internal/rulebook"
)

func hexOf(hash [32]byte) string { return hex.EncodeToString(hash[:]) }

type peopleData struct {
	Filter filter
	Lines  []identity.Person
	More   More
	Now    time.Time
}

func (c *Console) people(ctx context.Context, q *request) (answer, error) {
	f := q.filter()
	var key nameKey
	f.key(&key)
	if err := f.faults.Err(); err != nil {
		return nil, err
	}
	list, err := c.People.Persons(ctx, q.by, identity.PersonQuery{Search: f.Value("search"), Role: identity.Role(f.Value("role")), AfterName: key.Name, AfterID: key.ID, Limit: perPage + 1})
	if err != nil {
		return nil, err
	}
	var last any
	if len(list) > perPage {
		list = list[:perPage]
		last = nameKey{list[perPage-1].Name, list[perPage-1].PersonID}
	}
	return page{name: "people", data: peopleData{f, list, q.more(last), c.Now()}}, nil
}

type personData struct {
	Person         identity.Person
	New            bool
	Form           form // the person
	Certificate    form
	Kinds          []option // of certificates
	Token          form
	Customers      []option
	Sites          []option
	Qualifications []identity.Qualification
	Tokens         []identity.Token
	Now            time.Time
	Secret         string // a one-time password or a token that was just made: shown this once
	SecretOf       string // password, token
}

func (c *Console) person(ctx context.Context, q *request) (answer, error) {
	id, err := q.pathID("person_id")
	if err != nil {
		return nil, err
	}
	return c.personPage(ctx, q, id, personData{}, http.StatusOK)
}

// personPage shows a person; forms that were refused stay as they were sent.
func (c *Console) personPage(ctx context.Context, q *request, id uuid.UUID, data personData, status int) (answer, error) {
	var err error
	if data.Person, err = c.People.Person(ctx, q.by, id); err != nil {
		return nil, err
	}
	if data.Form.values == nil {
		data.Form = personForm(data.Person)
	}
	if data.Certificate.values == nil {
		data.Certificate = newForm(map[string]string{"qualification_id": c.NewID().String()})
	}
	if data.Token.values == nil {
		data.Token = newForm(nil)
	}
	data.Kinds = writer{q.texts}.options("qualification_kind", "", rulebook.CertificateKinds()...)
	data.Certificate.id, data.Token.id = "-certificate", "-token"
	if data.Qualifications, err = c.People.Qualifications(ctx, q.by, id, identity.Page{Limit: 100}); err != nil {
		return nil, err
	}
	if q.by.May(identity.ActManagePeople) {
		if data.Tokens, err = c.People.Tokens(ctx, q.by, id, identity.Page{Limit: 100}); err != nil {
			return nil, err
		}
	}
	return c.personShow(ctx, q, data, status)
}

// personShow adds the choices of a scope.
func (c *Console) personShow(ctx context.Context, q *request, data personData, status int) (answer, error) {
	data.Now = c.Now()
	customers, err := c.Fleet.Customers(ctx, q.by, fleet.CustomerQuery{Limit: 500})
	if err != nil {
		return nil, err
	}
	for _, one := range customers {
		data.Customers = append(data.Customers, option{one.CustomerID.String(), one.Name, data.Form.Has("/customers", one.CustomerID.String())})
	}
	sites, err := c.Fleet.Sites(ctx, q.by, fleet.SiteQuery{Limit: 500})
	if err != nil {
		return nil, err
	}
	for _, one := range sites {
		data.Sites = append(data.Sites, option{one.SiteID.String(), one.Name, data.Form.Has("/sites", one.SiteID.String())})
	}
	return page{name: "person", status: status, data: data}, nil
}

func personForm(p identity.Person) form {
	f := newForm(map[string]string{"/email": p.Email, "/name": p.Name, "/role": string(p.Role), "/scope_kind": string(p.ScopeKind), "version": strconv.Itoa(p.Version)})
	for _, id := range p.Customers {
		f.values.Add("/customers", id.String())
	}
	for _, id := range p.Sites {
		f.values.Add("/sites", id.String())
	}
	if p.ExpiresAt != nil {
		f.values.Set("/expires_at", p.ExpiresAt.UTC().Format("2006-01-02"))
	}
	return f
}

func (c *Console) personNew(ctx context.Context, q *request) (answer, error) {
	f := newForm(map[string]string{"person_id": c.NewID().String(), "/role": string(identity.Technician), "/scope_kind": string(identity.ScopeAll)})
	return c.personShow(ctx, q, personData{New: true, Form: f}, http.StatusOK)
}

// readPerson reads what the form says of a person. An end is the end of its day.
func (r *reader) readPerson(id uuid.UUID) identity.Person {
	p := identity.Person{PersonID: id, Email: r.form.Value("/email"), Name: r.form.Value("/name"), Role: identity.Role(r.form.Value("/role")), ScopeKind: identity.ScopeKind(r.form.Value("/scope_kind"))}
	switch p.ScopeKind {
	case identity.ScopeCustomers:
		p.Customers = r.ids("/customers")
	case identity.ScopeSites:
		p.Sites = r.ids("/sites")
	}
	p.ExpiresAt = r.endOf("/expires_at")
	return p
}

// endOf reads a last day; its end in UTC is meant.
func (r *reader) endOf(name string) *time.Time {
	d := r.day(name)
	if d.IsZero() {
		return nil
	}
	y, m, day := d.Date()
	return ref(time.Date(y, m, day, 23, 59, 59, 0, time.UTC))
}

func (c *Console) personMake(ctx context.Context, q *request) (answer, error) {
	f, err := q.form()
	if err != nil {
		return nil, err
	}
	r := reader{form: &f, texts: q.texts}
	person, oneTime := r.readPerson(r.id("person_id")), ""
	if err = r.faults.Err(); err == nil {
		_, oneTime, _, err = c.People.PutPerson(ctx, q.by, person, 0, q.id)
	}
	if err != nil {
		return q.again(f, err, func(f form, status int) (answer, error) {
			return c.personShow(ctx, q, personData{New: true, Form: f}, status)
		})
	}
	return c.personPage(ctx, q, person.PersonID, personData{Secret: oneTime, SecretOf: "password"}, http.StatusOK)
}

func (c *Console) personPut(ctx context.Context, q *request) (answer, error) {
	id, f, err := q.formOf("person_id")
	if err != nil {
		return nil, err
	}
	r := reader{form: &f, texts: q.texts}
	person, version := r.readPerson(id), r.number("version")
	if err = r.faults.Err(); err == nil {
		_, _, _, err = c.People.PutPerson(ctx, q.by, person, version, q.id)
	}
	if err != nil {
		return q.again(f, err, func(f form, status int) (answer, error) { return c.personPage(ctx, q, id, personData{Form: f}, status) })
	}
	return seeOther("/people/" + id.String()), nil
}

func (c *Console) certificatePut(ctx context.Context, q *request) (answer, error) {
	id, f, err := q.formOf("person_id")
	if err != nil {
		return nil, err
	}
	r := reader{form: &f, texts: q.texts}
	one := identity.Qualification{PersonID: id, QualificationID: r.id("qualification_id"), Kind: f.Value("/kind"), Scheme: f.Value("/scheme"), Number: f.Value("/number"), Issuer: f.Value("/issuer"),
		ValidFrom: r.day("/valid_from"), ValidUntil: r.day("/valid_until")}
	if err = r.faults.Err(); err == nil {
		_, _, err = c.People.PutQualification(ctx, q.by, one, q.id)
	}
	if err != nil {
		return q.again(f, err, func(f form, status int) (answer, error) {
			return c.personPage(ctx, q, id, personData{Certificate: f}, status)
		})
	}
	return seeOther("/people/" + id.String()), nil
}

type certificatesData struct {
	Filter filter
	Lines  []identity.Expiry
	More   More
	Today  duedate.Day
}

// Days is how many days a certificate still has; negative: since how many it has run out.
func (d certificatesData) Days(until duedate.Day) int { return d.Today.DaysUntil(until) }

type expiryKey struct {
	Day        duedate.Day `json:",omitzero"`
	Person, ID uuid.UUID
}

// certificates lists those that run out, by their last days.
func (c *Console) certificates(ctx context.Context, q *request) (answer, error) {
	f := q.filter()
	query := identity.ExpiryQuery{From: f.Day("from"), Until: f.Day("until"), Limit: perPage + 1}
	var key expiryKey
	f.key(&key)
	if err := f.faults.Err(); err != nil {
		return nil, err
	}
	query.AfterDay, query.AfterPerson, query.AfterID = key.Day, key.Person, key.ID
	list, err := c.People.Expiries(ctx, q.by, query)
	if err != nil {
		return nil, err
	}
	var last any
	if len(list) > perPage {
		list = list[:perPage]
		last = expiryKey{list[perPage-1].ValidUntil, list[perPage-1].PersonID, list[perPage-1].QualificationID}
	}
	return page{name: "certificates", data: certificatesData{f, list, q.more(last), duedate.DayIn(c.Now(), time.UTC)}}, nil
}

func (c *Console) tokenMake(ctx context.Context, q *request) (answer, error) {
	id, f, err := q.formOf("person_id")
	if err != nil {
		return nil, err
	}
	r := reader{form: &f, texts: q.texts}
	t, secret := identity.Token{PersonID: id, Name: f.Value("/name")}, ""
	if end := r.endOf("/expires_at"); end != nil {
		t.ExpiresAt = *end
	}
	for _, s := range f.Values("/scopes") {
		t.Scopes = append(t.Scopes, identity.TokenScope(s))
	}
	if err = r.faults.Err(); err == nil {
		secret, _, err = c.People.CreateToken(ctx, q.by, t, q.id)
	}
	if err != nil {
		return q.again(f, err, func(f form, status int) (answer, error) {
			return c.personPage(ctx, q, id, personData{Token: f}, status)
		})
	}
	return c.personPage(ctx, q, id, personData{Secret: secret, SecretOf: "token"}, http.StatusOK)
}

// sure is a question before something that cannot be taken back.
type sureData struct {
	Question, Do, Action, Back string
	Version                    int // that is asked about; 0: whichever holds
}

// ask shows the question.
func (c *Console) sure(question, do, action, back string) answer {
	return page{name: "sure", data: sureData{Question: question, Do: do, Action: action, Back: back}}
}

func (c *Console) personAsk(ctx context.Context, q *request) (answer, error) {
	id, err := q.pathID("person_id")
	if err != nil {
		return nil, err
	}
	p, err := c.People.Person(ctx, q.by, id)
	if err != nil {
		return nil, err
	}
	back := "/people/" + id.String()
	switch q.PathValue("what") {
	case "disable":
		return c.sure(q.texts.T("console.person.disable.sure", "name", p.Name), q.texts.T("console.person.disable"), back+"/disable", back), nil
	case "enable":
		return c.sure(q.texts.T("console.person.enable.sure", "name", p.Name), q.texts.T("console.person.enable"), back+"/enable", back), nil
	case "reset":
		return c.sure(q.texts.T("console.person.reset.sure", "name", p.Name), q.texts.T("console.person.reset"), back+"/reset", back), nil
	}
	return c.nowhere(ctx, q)
}

func (c *Console) personDo(ctx context.Context, q *request) (answer, error) {
	id, err := q.pathID("person_id")
	if err != nil {
		return nil, err
	}
	switch what := q.PathValue("what"); what {
	case "disable", "enable":
		if _, err := c.People.DisablePerson(ctx, q.by, id, what == "disable", q.id); err != nil {
			return nil, err
		}
		return seeOther("/people/" + id.String()), nil
	case "reset":
		oneTime, err := c.People.ResetPassword(ctx, q.by, id, q.id)
		if err != nil {
			return nil, err
		}
		return c.personPage(ctx, q, id, personData{Secret: oneTime, SecretOf: "password"}, http.StatusOK)
	}
	return c.nowhere(ctx, q)
}

func (c *Console) tokenAsk(ctx context.Context, q *request) (answer, error) {
	person, token, err := c.tokenOf(ctx, q)
	if err != nil {
		return nil, err
	}
	back := "/people/" + person.String()
	return c.sure(q.texts.T("console.token.revoke.sure", "name", token.Name), q.texts.T("console.token.revoke"), back+"/tokens/"+token.TokenID.String()+"/revoke", back), nil
}

func (c *Console) tokenOf(ctx context.Context, q *request) (person uuid.UUID, token identity.Token, err error) {
	if person, err = q.pathID("person_id"); err != nil {
		return person, token, err
	}
	id, err := q.pathID("token_id")
	if err != nil {
		return person, token, err
	}
	list, err := c.People.Tokens(ctx, q.by, person, identity.Page{Limit: 100})
	if err != nil {
		return person, token, err
	}
	i := slices.IndexFunc(list, func(t identity.Token) bool { return t.TokenID == id })
	if i < 0 {
		_, err := c.nowhere(ctx, q)
		return person, token, err
	}
	return person, list[i], nil
}

func (c *Console) tokenRevoke(ctx context.Context, q *request) (answer, error) {
	person, token, err := c.tokenOf(ctx, q)
	if err != nil {
		return nil, err
	}
	if token.RevokedAt == nil {
		if err := c.People.RevokeToken(ctx, q.by, person, token.TokenID, q.id); err != nil {
			return nil, err
		}
	}
	return seeOther("/people/" + person.String()), nil
}
