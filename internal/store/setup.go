package store

import (
	"context"
	"crypto/hmac"
	"crypto/pbkdf2"
	"crypto/rand"
	"crypto/sha256"
	"encoding/base64"
	"errors"
	"fmt"
	"regexp"
	"strconv"
	"strings"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"
)

// DefaultPrefix begins the names of the database roles where an installation does not choose another, because it
// shares its server with a second installation.
const DefaultPrefix = "lintel"

const (
	oldestServer = 15_00_00 // server_version_num
	inheritGrant = 16_00_00 // from here on, a membership says itself whether it is inherited
)

// setupLock is the advisory lock of Setup. Roles belong to the whole server, so it is taken in one database that
// every run has.
const setupLock = 0x6c696e74_73657475

// rolesWithoutLogin are what a transaction may run as; each sees and may change what the migrations grant it.
func rolesWithoutLogin() []string { return []string{"staff", "customer", "site", "gate", "jobs"} }

// Setup makes the database that adminURL names, where it is missing, and the roles that the program uses there:
//
//	{prefix}_owner     owns the schema; the migrations run as it; nobody logs in as it
//	{prefix}_app       logs in, may read the schema's version only, and become one of the following
//	{prefix}_staff     all rows
//	{prefix}_customer  the rows of a set of customers
//	{prefix}_site      the rows of a set of sites
//	{prefix}_gate      identity: sign-in, people, tokens
//	{prefix}_jobs      the queue and the ledger of job runs
//
// adminURL logs in as a superuser, or as a role with CREATEROLE and CREATEDB as managed servers give it out. An empty
// appPassword leaves the password of {prefix}_app as it is. A repeated run changes nothing, runs at the same time
// wait for each other, and rights that have drifted are put back.
func Setup(ctx context.Context, adminURL, prefix, appPassword string) error {
	if err := setUp(ctx, adminURL, prefix, appPassword); err != nil {
		return fmt.Errorf("setup: %w", err)
	}
	return nil
}

var rolePrefix = regexp.MustCompile(`^[a-z][a-z0-9_]{0,39}$`)

// connectAdmin opens a connection of an administrator; settings are given as parameters at its start.
func connectAdmin(ctx context.Context, cfg *pgx.ConnConfig, database string) (*pgx.Conn, error) {
	cfg = cfg.Copy()
	cfg.Database = database
	return pgx.ConnectConfig(ctx, cfg)
}

// adminConfig reads an administrator's URL and checks the prefix that goes with it.
func adminConfig(adminURL, prefix string) (*pgx.ConnConfig, error) {
	if !rolePrefix.MatchString(prefix) {
		return nil, fmt.Errorf("the prefix of the roles %q must begin with a letter and consist of at most 40 of a to z, 0 to 9 and _", prefix)
	}
	cfg, err := pgx.ParseConfig(adminURL)
	if err != nil {
		return nil, err // says which part is wrong, without the password
	}
	if cfg.Database == "" {
		return nil, errors.New("the database's URL names no database")
	}
	return cfg, nil
}

func setUp(ctx context.Context, adminURL, prefix, appPassword string) error {
	cfg, err := adminConfig(adminURL, prefix)
	if err != nil {
		return err
	}
	if err := checkPassword(appPassword); err != nil {
		return err
	}
	// The server's own database "postgres" is where every run meets; a server without it has the one named.
	conn, err := connectAdmin(ctx, cfg, "postgres")
	if sqlState(err) == "3D000" {
		conn, err = connectAdmin(ctx, cfg, cfg.Database)
	}
	if err != nil {
		return err
	}
	defer conn.Close(context.WithoutCancel(ctx))
	// Held until the connection ends.
	if _, err := conn.Exec(ctx, "select pg_advisory_lock($1)", int64(setupLock)); err != nil {
		return fmt.Errorf("waiting for another setup: %w", err)
	}

	s := setup{conn: conn, prefix: prefix}
	if err := conn.QueryRow(ctx, "select current_setting('server_version_num')::int").Scan(&s.version); err != nil {
		return err
	}
	if s.version < oldestServer {
		return fmt.Errorf("the server is PostgreSQL %d, %d or newer is needed", s.version/10000, oldestServer/10000)
	}
	if err := s.roles(ctx); err != nil {
		return err
	}
	if err := s.password(ctx, appPassword); err != nil {
		return err
	}
	if err := s.database(ctx, cfg.Database); err != nil {
		return err
	}

	inside, err := connectAdmin(ctx, cfg, cfg.Database)
	if err != nil {
		return err
	}
	defer inside.Close(context.WithoutCancel(ctx))
	s.conn = inside
	return s.rights(ctx, cfg.Database)
}

// setup is one run, under the lock. Names are put into its statements as text: a prefix holds no quotes.
type setup struct {
	conn    *pgx.Conn
	prefix  string
	version int // server_version_num
}

func (s setup) exec(ctx context.Context, format string, args ...any) error {
	if _, err := s.conn.Exec(ctx, fmt.Sprintf(format, args...)); err != nil {
		what, _, _ := strings.Cut(format, " %")
		return fmt.Errorf("%s: %w", what, err)
	}
	return nil
}

func (s setup) roles(ctx context.Context) error {
	if err := s.role(ctx, "owner", false); err != nil {
		return err
	}
	if err := s.role(ctx, "app", true); err != nil {
		return err
	}
	for _, name := range rolesWithoutLogin() {
		if err := s.role(ctx, name, false); err != nil {
			return err
		}
		if err := s.mayBecome(ctx, name); err != nil {
			return err
		}
	}
	return s.actAsOwner(ctx)
}

// role makes a role, or takes away what a role of that name has too much of.
func (s setup) role(ctx context.Context, name string, login bool) error {
	attributes := "nologin inherit"
	if login {
		attributes = "login noinherit"
	}
	attributes += " nosuperuser nocreatedb nocreaterole noreplication nobypassrls"
	var asWanted bool
	err := s.conn.QueryRow(ctx, `select rolcanlogin = $2 and rolinherit <> $2 and not (rolsuper or rolcreatedb or rolcreaterole or rolreplication or rolbypassrls)
		from pg_roles where rolname = $1`, s.prefix+"_"+name, login).Scan(&asWanted)
	switch {
	case errors.Is(err, pgx.ErrNoRows):
		return s.exec(ctx, "create role %s_%s %s", s.prefix, name, attributes)
	case err != nil:
		return err
	case asWanted:
		return nil
	}
	return s.exec(ctx, "alter role %s_%s %s", s.prefix, name, attributes)
}

// mayBecome lets the login role switch to the named one, without having its rights before it does.
func (s setup) mayBecome(ctx context.Context, name string) error {
	member := `select exists (select from pg_auth_members m
		where m.roleid = $1::regrole and m.member = $2::regrole`
	grant := "grant %[1]s_%[2]s to %[1]s_app"
	if s.version >= inheritGrant {
		member += ` and m.set_option and not m.inherit_option`
		grant += " with inherit false, set true"
	}
	var done bool
	if err := s.conn.QueryRow(ctx, member+")", s.prefix+"_"+name, s.prefix+"_app").Scan(&done); err != nil || done {
		return err
	}
	return s.exec(ctx, grant, s.prefix, name)
}

// actAsOwner lets an administrator who is no superuser migrate as the owner.
func (s setup) actAsOwner(ctx context.Context) error {
	right, grant := "member", "grant %s_owner to current_user"
	if s.version >= inheritGrant {
		right, grant = "set", "grant %s_owner to current_user with inherit true, set true"
	}
	var may bool
	if err := s.conn.QueryRow(ctx, "select pg_has_role(current_user, $1, $2)", s.prefix+"_owner", right).Scan(&may); err != nil || may {
		return err
	}
	return s.exec(ctx, grant, s.prefix)
}

// database makes the database where it is missing. From template0, because nobody can be connected to that.
func (s setup) database(ctx context.Context, name string) error {
	var exists bool
	if err := s.conn.QueryRow(ctx, "select exists (select from pg_database where datname = $1)", name).Scan(&exists); err != nil || exists {
		return err
	}
	return s.exec(ctx, "create database %s owner %s_owner template template0 encoding 'UTF8'", pgx.Identifier{name}.Sanitize(), s.prefix)
}

// rights takes from everybody what PostgreSQL gives to everybody, and gives it to the roles that need it.
func (s setup) rights(ctx context.Context, database string) error {
	// The login role is among them so that a statement outside a scope is told "permission denied", not "does not exist".
	schemaUsers := append(rolesWithoutLogin(), "owner", "app")
	done, err := s.rightsAreSet(ctx, schemaUsers)
	if err != nil || done {
		return err
	}
	database = pgx.Identifier{database}.Sanitize()
	if err := s.exec(ctx, "revoke all on database %s from public", database); err != nil {
		return err
	}
	if err := s.exec(ctx, "grant connect on database %s to %s_app", database, s.prefix); err != nil {
		return err
	}
	if err := s.exec(ctx, "revoke all on schema public from public"); err != nil {
		return err
	}
	if err := s.exec(ctx, "grant create on schema public to %s_owner", s.prefix); err != nil {
		return err
	}
	for _, name := range schemaUsers {
		if err := s.exec(ctx, "grant usage on schema public to %s_%s", s.prefix, name); err != nil {
			return err
		}
	}
	// A grant by somebody who may not give it is a warning to PostgreSQL, not an error.
	done, err = s.rightsAreSet(ctx, schemaUsers)
	if err == nil && !done {
		err = fmt.Errorf("this login may not give out rights on the database %s and its schema public: use their owner's or a superuser's", database)
	}
	return err
}

func (s setup) rightsAreSet(ctx context.Context, schemaUsers []string) (done bool, err error) {
	err = s.conn.QueryRow(ctx, `select
		    not exists (select from pg_database d, aclexplode(coalesce(d.datacl, acldefault('d', d.datdba))) a where d.datname = current_database() and a.grantee = 0)
		and not exists (select from pg_namespace n, aclexplode(coalesce(n.nspacl, acldefault('n', n.nspowner))) a where n.nspname = 'public' and a.grantee = 0)
		and has_database_privilege($1 || '_app', current_database(), 'connect')
		and has_schema_privilege($1 || '_owner', 'public', 'create')
		and not exists (select from unnest($2::text[]) r where not has_schema_privilege($1 || '_' || r, 'public', 'usage'))`,
		s.prefix, schemaUsers).Scan(&done)
	return done, err
}

// password sets the login role's password as a SCRAM-SHA-256 verifier made here, so that the password itself stands
// in no statement and no log of the server. One that is right already is left alone, as far as we may look.
func (s setup) password(ctx context.Context, password string) error {
	if password == "" {
		return nil
	}
	var stored string
	err := s.conn.QueryRow(ctx, "select coalesce(rolpassword, '') from pg_authid where rolname = $1", s.prefix+"_app").Scan(&stored)
	if err != nil && sqlState(err) != "42501" { // only a superuser may look
		return err
	}
	if verifies(stored, password) {
		return nil
	}
	salt := make([]byte, 16)
	_, _ = rand.Read(salt) // never fails
	verifier, err := scramVerifier(password, salt, 4096)
	if err != nil {
		return err
	}
	return s.exec(ctx, "alter role %s_app password '%s'", s.prefix, verifier)
}

// checkPassword refuses what would have to be normalised (RFC 4013) before it is hashed.
func checkPassword(password string) error {
	for _, r := range password {
		if r < ' ' || r > '~' {
			return errors.New("the password of the login role must consist of printable ASCII characters")
		}
	}
	return nil
}

// scramVerifier is what PostgreSQL stores for a password: SCRAM-SHA-256$iterations:salt$StoredKey:ServerKey
// (RFC 5803 with the keys of RFC 5802, 3).
func scramVerifier(password string, salt []byte, iterations int) (string, error) {
	salted, err := pbkdf2.Key(sha256.New, password, salt, iterations, sha256.Size)
	if err != nil {
		return "", err
	}
	keyed := func(text string) []byte {
		h := hmac.New(sha256.New, salted)
		h.Write([]byte(text))
		return h.Sum(nil)
	}
	stored := sha256.Sum256(keyed("Client Key"))
	b64 := base64.StdEncoding.EncodeToString
	return fmt.Sprintf("SCRAM-SHA-256$%d:%s$%s:%s", iterations, b64(salt), b64(stored[:]), b64(keyed("Server Key"))), nil
}

var scramParts = regexp.MustCompile(`^SCRAM-SHA-256\$([0-9]{1,7}):([A-Za-z0-9+/=]+)\$`)

// verifies tells whether a stored verifier is that of the password.
func verifies(stored, password string) bool {
	m := scramParts.FindStringSubmatch(stored)
	if m == nil {
		return false
	}
	iterations, err1 := strconv.Atoi(m[1])
	salt, err2 := base64.StdEncoding.DecodeString(m[2])
	if err1 != nil || err2 != nil || iterations == 0 {
		return false
	}
	again, err := scramVerifier(password, salt, iterations)
	return err == nil && hmac.Equal([]byte(again), []byte(stored))
}

// sqlState is PostgreSQL's code of an error, "" for every other error.
func sqlState(err error) string {
	var e *pgconn.PgError
	if errors.As(err, &e) {
		return e.Code
	}
	return ""
}
