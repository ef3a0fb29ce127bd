package main

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"strings"
	"sync"

	"lintel.example/lintel/api"
	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/identity"
	"lintel.example/lintel/internal/notify/mailcatcher"
	"lintel.example/lintel/internal/store"
	"lintel.example/lintel/internal/words"
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
	catalogue, err := words.Load()
	if err != nil {
		return err
	}
	if err := identity.CheckAdministrator(c.Email, c.Name); err != nil {
		return told(catalogue, err) // before a database is made for nobody
	}
	return c.within(ctx, func(h *house) error {
		password, err := h.people.MakeFirstAdministrator(ctx, c.Email, c.Name)
		if err != nil {
			return told(h.words, err)
		}
		printOneTime(c.Email, password)
		return nil
	})
}

func printOneTime(email, password string) {
	fmt.Printf("%s may sign in with this password within %v hours, and must then change it:\n%s\n", email, identity.OneTimeFor.Hours(), password)
}

// passwordCmd lets somebody in again.
type passwordCmd struct {
	settings
	Email string `arg:"" help:"Address that the person signs in with."`
}

// Run prints the one-time password, once. Who can run it can read the database: it opens nothing that was closed to them.
func (c *passwordCmd) Run(ctx context.Context) error {
	return c.within(ctx, func(h *house) error {
		password, err := h.people.ResetPasswordOn(ctx, c.Email)
		if err != nil {
			return told(h.words, err)
		}
		printOneTime(c.Email, password)
		return nil
	})
}

// within opens the house for one piece of work, also beside a server that runs in the same data folder.
func (s *settings) within(ctx context.Context, f func(*house) error) error {
	if err := s.check(); err != nil {
		return err
	}
	h, err := open(ctx, s, asGuest, slog.New(slog.DiscardHandler))
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

// openapiCmd prints the contract.
type openapiCmd struct{}

// Run prints OpenAPI 3.1 as YAML.
func (c *openapiCmd) Run() error {
	catalogue, err := words.Load()
	if err != nil {
		return err
	}
	yaml, err := api.New(api.Rooms{Fleet: fleet.New(fleet.Parts{}), Words: catalogue, Version: version}).OpenAPI().YAML()
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
	if err := checkListen("--listen", c.Listen); err != nil {
		return err
	}
	var one sync.Mutex // several may arrive at once
	catcher, err := mailcatcher.Listen(c.Listen, nil, mailcatcher.Hooks{Data: func(m mailcatcher.Message, _ func()) error {
		one.Lock()
		defer one.Unlock()
		fmt.Printf("--- from %s to %s\n%s\n", m.From, m.To, m.Raw)
		return nil
	}})
	if err != nil {
		return err
	}
	defer catcher.Close()
	fmt.Println("taking mail on", catcher.Address())
	<-ctx.Done()
	return nil
}

// versionCmd prints the version.
type versionCmd struct{}

// Run prints the version and the schema that it knows.
func (c *versionCmd) Run() error {
	fmt.Printf("lintel %s, schema %d\n", version, store.LatestVersion())
	return nil
}
