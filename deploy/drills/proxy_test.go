package drills

import (
	"net"
	"os"
	"path/filepath"
	"strings"
	"sync"

	"github.com/jackc/pgx/v5/pgproto3"
)

// place is a moment at which a drill can strike.
type place string

// halfPhoto is when half of a photo's bytes are on their way to the server.
const halfPhoto place = "half of a photo"

// before is when a statement has not been passed on to PostgreSQL yet.
func before(statement string) place { return place("before " + statement) }

// beforeCommit is when the commit of a transaction with that statement has not been passed on yet.
func beforeCommit(statement string) place { return place("before the commit of " + statement) }

// afterCommit is when PostgreSQL has committed a transaction with that statement and nobody has heard of it.
func afterCommit(statement string) place { return place("after the commit of " + statement) }

// verdict is how a conversation goes on after a trap.
type verdict int

const (
	goOn   verdict = iota
	cut            // the conversation is over: an end of it is dead
	forget         // roll back instead of committing, and say that it was committed
)

// traps holds the one trap that is set.
type traps struct {
	mu     sync.Mutex
	where  place
	strike func() verdict
	sprung chan place
}

// set sets a trap; whoever comes to the place first springs it, alone, and waits until strike is done. What is
// answered receives the place then.
func (t *traps) set(where place, strike func() verdict) <-chan place {
	t.mu.Lock()
	defer t.mu.Unlock()
	t.where, t.strike, t.sprung = where, strike, make(chan place, 1)
	return t.sprung
}

// reach says that somebody is at one of the places.
func (t *traps) reach(places ...place) verdict {
	t.mu.Lock()
	for _, p := range places {
		if t.strike != nil && p == t.where {
			strike, sprung := t.strike, t.sprung
			t.strike = nil
			t.mu.Unlock()
			v := strike()
			sprung <- p
			return v
		}
	}
	t.mu.Unlock()
	return goOn
}

// proxy stands between the program and PostgreSQL. It has a Unix socket of its own.
type proxy struct {
	traps
	listener net.Listener
	database string // path of PostgreSQL's socket
}

// newProxy listens in the folder; PostgreSQL's socket is at the path, now or later.
func newProxy(folder, database string) (*proxy, error) {
	if err := os.Mkdir(folder, 0o755); err != nil {
		return nil, err
	}
	listener, err := net.Listen("unix", filepath.Join(folder, ".s.PGSQL.5432"))
	if err != nil {
		return nil, err
	}
	p := &proxy{listener: listener, database: database}
	go func() {
		for {
			program, err := listener.Accept()
			if err != nil {
				return // closed
			}
			go p.pass(program)
		}
	}()
	return p, nil
}

// pass passes one connection's messages on until an end of it is gone. When PostgreSQL is not there, neither are we.
func (p *proxy) pass(program net.Conn) {
	defer program.Close()
	database, err := net.Dial("unix", p.database)
	if err != nil {
		return
	}
	defer database.Close()
	c := &conversation{traps: &p.traps, program: pgproto3.NewBackend(program, program), database: pgproto3.NewFrontend(database, database), statements: map[string]string{}}
	go func() {
		c.answers()
		_ = program.Close()
		_ = database.Close()
	}()
	c.questions()
}

// conversation is one connection of the program with PostgreSQL.
type conversation struct {
	*traps
	program    *pgproto3.Backend
	database   *pgproto3.Frontend
	statements map[string]string // prepared statement to our name of it

	mu        sync.Mutex
	ran       []string // the statements of the transaction
	ending    bool     // its commit has been passed on
	forgotten bool     // as a rollback
}

// questions passes on what the program says.
func (c *conversation) questions() {
	first, err := c.program.ReceiveStartupMessage()
	for message := pgproto3.FrontendMessage(first); err == nil; message, err = c.program.Receive() {
		switch c.heard(message) {
		case cut:
			return
		case forget:
			message = &pgproto3.Query{String: "rollback"}
		}
		c.database.Send(message)
		if c.database.Flush() != nil {
			return
		}
	}
}

// heard follows the program's transaction.
func (c *conversation) heard(message pgproto3.FrontendMessage) verdict {
	switch m := message.(type) {
	case *pgproto3.Parse:
		c.statements[m.Name] = statementName(m.Query)
	case *pgproto3.Bind:
		name := c.statements[m.PreparedStatement]
		c.mu.Lock()
		c.ran = append(c.ran, name)
		c.mu.Unlock()
		return c.reach(before(name))
	case *pgproto3.Query: // without parameters: begin, commit, rollback
		if strings.HasPrefix(m.String, "begin") {
			c.mu.Lock()
			c.ran = nil
			c.mu.Unlock()
		}
		if m.String == "commit" {
			return c.committing()
		}
	}
	return goOn
}

func (c *conversation) committing() verdict {
	v := c.reach(places(beforeCommit, c.ran)...)
	c.mu.Lock()
	defer c.mu.Unlock()
	c.ending, c.forgotten = v != cut, v == forget
	return v
}

// answers passes on what PostgreSQL says.
func (c *conversation) answers() {
	for {
		message, err := c.database.Receive()
		if err != nil {
			return
		}
		if done, is := message.(*pgproto3.CommandComplete); is && c.told(done) == cut {
			return
		}
		c.program.Send(message)
		if c.program.Flush() != nil {
			return
		}
	}
}

// told follows how PostgreSQL ends the transaction.
func (c *conversation) told(done *pgproto3.CommandComplete) verdict {
	c.mu.Lock()
	ran, ending, forgotten := c.ran, c.ending, c.forgotten
	c.ending = false
	c.mu.Unlock()
	switch {
	case ending && forgotten:
		done.CommandTag = []byte("COMMIT")
	case ending && string(done.CommandTag) == "COMMIT":
		return c.reach(places(afterCommit, ran)...)
	}
	return goOn
}

func places(of func(string) place, statements []string) []place {
	list := make([]place, len(statements))
	for i, s := range statements {
		list[i] = of(s)
	}
	return list
}

// statementName is what the first line of each of the program's statements says: "-- insert_entry".
func statementName(sql string) string {
	first, _, _ := strings.Cut(sql, "\n")
	name, found := strings.CutPrefix(first, "-- ")
	if !found {
		return ""
	}
	return strings.TrimSpace(name)
}
