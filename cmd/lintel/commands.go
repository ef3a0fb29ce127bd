package main

import (
	"context"
	"crypto/rand"
	"encoding/json"
	"errors"
	"fmt"
	"log/slog"
	"net/http"
	"os"
	"strings"

	"lintel.example/lintel/api"
	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/identity"
	"lintel.example/lintel/internal/notify/mailcatcher"
	"lintel.example/lintel/internal/store"
	"lintel.example/lintel/internal/words"
	"lintel.example/lintel/jobs"
)

// setupCmd makes the database and its roles.
type setupCmd struct {
	settings
	AppPassword     string `name:"app-password" hidden:"" env:"LINTEL_APP_PASSWORD" secret:"" help:"Password that the login role gets (environment only)."`
	AppPasswordFile string `env:"LINTEL_APP_PASSWORD_FILE" placeholder:"FILE" help:"Password that the login role gets; without one the database must know the role in another way."`
}

// Run is idempotent.
func (c *setupCmd) Run(ctx context.Context) error {
	if c.AdminDatabaseURL == "" {
		return badInput{errors.New("LINTEL_ADMIN_DATABASE_URL is not set")}
	}
	password := c.AppPassword
	if c.AppPasswordFile != "" {
		text, err := os.ReadFile(c.AppPasswordFile)
		if err != nil {
			return badInput{err}
		}
		password = strings.TrimRight(string(text), "\r\n")
	}
	if err := store.Setup(ctx, c.AdminDatabaseURL, c.RolePrefix, password); err != nil {
		return err
	}
	fmt.Println("The database and its roles are there.")
	return nil
}

// migrateCmd brings the schema to what this program knows.
type migrateCmd struct {
	settings
}

// Run migrates forward only.
func (c *migrateCmd) Run(ctx context.Context) error {
	if c.AdminDatabaseURL == "" {
		return badInput{errors.New("LINTEL_ADMIN_DATABASE_URL is not set")}
	}
	if err := store.Migrate(ctx, c.AdminDatabaseURL, c.RolePrefix); err != nil {
		return err
	}
	fmt.Printf("The schema is at version %d.\n", store.LatestVersion())
	return nil
}

// administratorCmd makes the first administrator.
type administratorCmd struct {
	settings
	Email string `arg:"" help:"Address to sign in with."`
	Name  string `arg:"" help:"The person's name."`
}

// Run prints the one-time password, once.
func (c *administratorCmd) Run(ctx context.Context) error {
	return c.within(ctx, func(h *house) error {
		password, err := h.people.MakeFirstAdministrator(ctx, c.Email, c.Name)
		if err != nil {
			return h.told(err)
		}
		fmt.Printf("%s may sign in once with this password, and must then change it:\n%s\n", c.Email, password)
		return nil
	})
}

// within opens the house for one piece of work.
func (s *settings) within(ctx context.Context, f func(*house) error) error {
	if err := s.check(); err != nil {
		return err
	}
	h, err := open(ctx, s, slog.New(slog.DiscardHandler))
	if err != nil {
		return err
	}
	return errors.Join(f(h), h.close(context.WithoutCancel(ctx)))
}

// newKeyCmd prints a line for the key file.
type newKeyCmd struct{}

// Run prints the line. The first line of the file is the key that new codes are sealed with; older ones stay.
func (c *newKeyCmd) Run() error {
	line, err := identity.NewKey(rand.Reader)
	if err != nil {
		return err
	}
	fmt.Println(line)
	return nil
}

// jobCmd runs a job by hand, through the ledger.
type jobCmd struct {
	settings
	Name string `arg:"" help:"Name of the job: due_work_orders, queue_notices or send_notices."`
	AsOf string `name:"as-of" placeholder:"DATE" help:"The day (YYYY-MM-DD) that the run is a function of; today if empty."`
}

// Run does the job if the ledger says that it is not done for that day, and prints what came of it.
func (c *jobCmd) Run(ctx context.Context) error {
	day := duedate.DayIn(now(), now().Location())
	if c.AsOf != "" {
		var err error
		if day, err = duedate.ParseDay(c.AsOf); err != nil {
			return badInput{fmt.Errorf("--as-of: %w", err)}
		}
	}
	if _, ok := jobs.Find(c.Name); !ok && c.Name != "send_notices" {
		return badInput{fmt.Errorf("there is no job %q; there are due_work_orders, queue_notices and send_notices", c.Name)}
	}
	return c.within(ctx, func(h *house) error {
		if c.Name == "send_notices" {
			n, err := jobs.SendWaiting(ctx, h.fleet)
			fmt.Printf("%d notices tried\n", n)
			return err
		}
		r, did, err := jobs.RunOnce(ctx, h.fleet, c.Name, day)
		if err != nil {
			return h.told(err)
		}
		return printRun(r, did)
	})
}

func printRun(r fleet.JobRun, did bool) error {
	result, err := json.Marshal(r.Result)
	if err != nil {
		return err
	}
	if did {
		fmt.Printf("%s as of %s: done, %s\n", r.Job, r.AsOf, result)
	} else {
		fmt.Printf("%s as of %s: nothing to do, the ledger has it as %s, %s\n", r.Job, r.AsOf, r.State, result)
	}
	return nil
}

// openapiCmd prints the contract.
type openapiCmd struct{}

// Run prints OpenAPI 3.1 as YAML.
func (c *openapiCmd) Run() error {
	catalogue, err := words.Load()
	if err != nil {
		return err
	}
	yaml, err := api.New(api.Rooms{Fleet: fleet.New(fleet.Parts{}), Words: catalogue, Metrics: http.NotFoundHandler(), Version: version}).OpenAPI().YAML()
	if err != nil {
		return err
	}
	_, err = os.Stdout.Write(yaml)
	return err
}

// mailCatcherCmd takes mail and prints it.
type mailCatcherCmd struct {
	Listen string `env:"LINTEL_MAIL_CATCHER_LISTEN" default:"127.0.0.1:2525"`
}

// Run prints each message until it is told to stop.
func (c *mailCatcherCmd) Run(ctx context.Context) error {
	catcher, err := mailcatcher.Listen(c.Listen, nil, mailcatcher.Hooks{})
	if err != nil {
		return err
	}
	defer catcher.Close()
	fmt.Println("taking mail on", catcher.Address())
	for seen := 0; ; seen++ {
		n := 0
		m, err := catcher.Wait(ctx, func(mailcatcher.Message) bool { n++; return n > seen })
		if err != nil {
			return nil // told to stop
		}
		fmt.Printf("--- from %s to %s\n%s\n", m.From, m.To, m.Raw)
	}
}

// versionCmd prints the version.
type versionCmd struct{}

// Run prints the version and the schema that it knows.
func (c *versionCmd) Run() error {
	fmt.Printf("lintel %s, schema %d\n", version, store.LatestVersion())
	return nil
}
