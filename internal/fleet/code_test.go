package fleet_test

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"strings"
	"testing"
	"time"

	"lintel.example/lintel/internal/fault"
	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/identity"
	"lintel.example/lintel/internal/store"
)

func TestTheNewestCodeIsRevealedAndTheRevealIsOnRecord(t *testing.T) {
	t.Parallel()
	r := newFleet(t)
	site := r.site(t, r.customer(t, "Brandt Retail").CustomerID, "Mill")
	safe := fleet.KeySafeOf(site.SiteID)
	_, _, err := r.RevealCode(t.Context(), dispatcher, safe, "request-0")
	wantFault(t, err, "code_not_found")
	for _, text := range []string{"1111", "2222", "2222"} {
		if _, err := r.SetCode(t.Context(), dispatcher, safe, fleet.NewCode(text)); err != nil {
			t.Fatal(err)
		}
	}
	if n := r.count(t, `select count(*) from sealed_code`); n != 3 {
		t.Errorf("%d codes are kept, want every one of 3", n)
	}
	r.pass(time.Minute)
	code, set, err := r.RevealCode(t.Context(), dispatcher, safe, "request-1")
	if err != nil || code.Reveal() != "2222" || set.SetBy != dispatcher.PersonID {
		t.Fatalf("%v %v", set, err)
	}
	if n := r.count(t, `select count(*) from audit_event where action = 'code.reveal' and subject_kind = 'site' and subject_id = $1
		and person_id = $2 and request_id = 'request-1' and at = $3`, site.SiteID.String(), dispatcher.PersonID, r.now); n != 1 {
		t.Errorf("%d reveals on record, want 1", n)
	}
	if n := r.count(t, `select count(*) from audit_event`); n != 1 {
		t.Errorf("%d events on record, want 1: a reveal of nothing is none", n)
	}
}

func TestACodeIsNowhereInTheDatabaseInClear(t *testing.T) {
	t.Parallel()
	r := newFleet(t)
	site := r.site(t, r.customer(t, "Brandt Retail").CustomerID, "Mill")
	door := r.door(t, site.SiteID, "Main")
	sensor := r.sensor(t, door, r.control(t, door))
	const secret = "SESAME-90417"
	for _, subject := range []fleet.CodeSubject{fleet.KeySafeOf(site.SiteID), fleet.LockOf(sensor.ComponentID)} {
		if _, err := r.SetCode(t.Context(), dispatcher, subject, fleet.NewCode(secret)); err != nil {
			t.Fatal(err)
		}
		if code, _, err := r.RevealCode(t.Context(), dispatcher, subject, ""); err != nil || code.Reveal() != secret {
			t.Fatal(err)
		}
	}
	rows, err := r.db.Admin.Query(t.Context(), `select table_name from information_schema.tables where table_schema = 'public' and table_type = 'BASE TABLE'`)
	if err != nil {
		t.Fatal(err)
	}
	var tables []string
	for rows.Next() {
		var name string
		if err := rows.Scan(&name); err != nil {
			t.Fatal(err)
		}
		tables = append(tables, name)
	}
	for _, table := range tables {
		// A row's text shows bytea in hexadecimal: look for both.
		if n := r.count(t, `select count(*) from `+table+` x where x::text like $1 or x::text like $2`,
			"%"+secret+"%", "%"+fmt.Sprintf("%x", secret)+"%"); n != 0 {
			t.Errorf("%s holds the code in clear", table)
		}
	}
}

// A sealed code that was moved to another row does not open there.
func TestACodeOpensOnItsOwnSubjectOnly(t *testing.T) {
	t.Parallel()
	r := newFleet(t)
	customer := r.customer(t, "Brandt Retail").CustomerID
	a, b := r.site(t, customer, "Mill"), r.site(t, customer, "Kiln")
	if _, err := r.SetCode(t.Context(), dispatcher, fleet.KeySafeOf(a.SiteID), fleet.NewCode("1111")); err != nil {
		t.Fatal(err)
	}
	if _, err := r.db.Admin.Exec(t.Context(), `update sealed_code set subject_id = $1`, b.SiteID); err != nil {
		t.Fatal(err)
	}
	code, _, err := r.RevealCode(t.Context(), dispatcher, fleet.KeySafeOf(b.SiteID), "")
	if err == nil || code.Reveal() != "" || len(fault.Of(err)) != 0 {
		t.Errorf("got %v, want an internal error", err)
	}
	if n := r.count(t, `select count(*) from audit_event`); n != 0 {
		t.Errorf("%d reveals on record of a code that was not given", n)
	}
}

func TestCodesAreForThoseWhoMayRevealThem(t *testing.T) {
	t.Parallel()
	r := newFleet(t)
	customer := r.customer(t, "Brandt Retail")
	site := r.site(t, customer.CustomerID, "Mill")
	safe := fleet.KeySafeOf(site.SiteID)
	if _, err := r.SetCode(t.Context(), dispatcher, safe, fleet.NewCode("1111")); err != nil {
		t.Fatal(err)
	}
	token := dispatcher
	token.TokenScopes = []identity.TokenScope{identity.TokenRead, identity.TokenRegister, identity.TokenVisits, identity.TokenAdministration}
	support := dispatcher
	support.Role = identity.Support
	for name, by := range map[string]identity.Actor{"agent": agentOf(customer.CustomerID), "tenant": tenantOf(site.SiteID), "token": token, "support": support} {
		if code, _, err := r.RevealCode(t.Context(), by, safe, ""); code.Reveal() != "" || !fault.Is(err, "not_allowed") {
			t.Errorf("%s: %v", name, err)
		}
	}
	if n := r.count(t, `select count(*) from audit_event`); n != 0 {
		t.Errorf("%d reveals on record, want none", n)
	}
	// The wall behind: even with the check gone, the roles of persons outside the company have no right on the table.
	for name, by := range map[string]identity.Actor{"agent": agentOf(customer.CustomerID), "tenant": tenantOf(site.SiteID)} {
		err := store.New(r.db.App, "lintel").InTx(t.Context(), by, func(ctx context.Context, tx fleet.Tx) error {
			_, err := tx.PresentCode(ctx, safe)
			return err
		})
		if err == nil || !strings.Contains(err.Error(), "permission denied") {
			t.Errorf("%s reads the table of codes: %v", name, err)
		}
	}
}

func TestBadCodesAreRefusedWithoutEchoingThem(t *testing.T) {
	t.Parallel()
	r := newFleet(t)
	safe := fleet.KeySafeOf(r.site(t, r.customer(t, "Brandt Retail").CustomerID, "Mill").SiteID)
	for name, text := range map[string]string{"empty": "", "overlong": strings.Repeat("7391", 17), "NUL": "7391\x00", "line": "7391\n", "not UTF-8": "7391\xff"} {
		t.Run(name, func(t *testing.T) {
			_, err := r.SetCode(t.Context(), dispatcher, safe, fleet.NewCode(text))
			wantFault(t, err, "code_unusable at /code")
			if text != "" && strings.Contains(err.Error(), "7391") {
				t.Errorf("the error tells the code: %v", err)
			}
		})
	}
	_, err := r.SetCode(t.Context(), dispatcher, fleet.KeySafeOf(r.id()), fleet.NewCode("1"))
	wantFault(t, err, "site_not_found")
	_, err = r.SetCode(t.Context(), dispatcher, fleet.LockOf(r.id()), fleet.NewCode("1"))
	wantFault(t, err, "component_not_found")
	if n := r.count(t, `select count(*) from sealed_code`); n != 0 {
		t.Errorf("%d codes are kept", n)
	}
}

func TestWithoutTheKeyThereAreNoCodes(t *testing.T) {
	t.Parallel()
	r := newFleet(t)
	safe := fleet.KeySafeOf(r.site(t, r.customer(t, "Brandt Retail").CustomerID, "Mill").SiteID)
	if _, err := r.SetCode(t.Context(), dispatcher, safe, fleet.NewCode("1111")); err != nil {
		t.Fatal(err)
	}
	parts := r.Parts
	parts.Keys = nil
	keyless := fleet.New(parts)
	_, err := keyless.SetCode(t.Context(), dispatcher, safe, fleet.NewCode("2222"))
	wantFault(t, err, "keys_missing")
	_, _, err = keyless.RevealCode(t.Context(), dispatcher, safe, "")
	wantFault(t, err, "keys_missing")
	line, err := identity.NewKey(strings.NewReader(strings.Repeat("another key for the test ", 9)))
	if err != nil {
		t.Fatal(err)
	}
	if parts.Keys, err = identity.ParseKeyring([]byte(line)); err != nil {
		t.Fatal(err)
	}
	_, _, err = fleet.New(parts).RevealCode(t.Context(), dispatcher, safe, "")
	wantFault(t, err, "key_unknown")
}

func TestACodePrintsAsNothingThatCouldBeUsed(t *testing.T) {
	code := fleet.NewCode("4711")
	wrapped := struct{ Code fleet.Code }{code}
	for _, verb := range []string{"%v", "%+v", "%#v", "%s", "%q", "%x", "%d"} {
		for _, shown := range []string{fmt.Sprintf(verb, code), fmt.Sprintf(verb, wrapped), fmt.Sprintf(verb, &wrapped), fmt.Sprintf(verb, []fleet.Code{code})} {
			if strings.Contains(shown, "4711") || strings.Contains(shown, "34373131") {
				t.Errorf("%s shows %s", verb, shown)
			}
		}
	}
	if out, err := json.Marshal(wrapped); err == nil {
		t.Errorf("marshals as %s", out)
	} else if strings.Contains(err.Error(), "4711") {
		t.Error(err)
	}
	if err := fmt.Errorf("with %w", errors.New(fmt.Sprint(code))); strings.Contains(err.Error(), "4711") {
		t.Error(err)
	}
}
