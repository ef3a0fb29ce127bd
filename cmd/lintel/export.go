package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"

	"lintel.example/lintel/internal/archive"
	"lintel.example/lintel/internal/localpg"
	"lintel.example/lintel/internal/store"
	"lintel.example/lintel/internal/words"
)

// exportCmd writes what a company takes along.
type exportCmd struct {
	settings
	To string `arg:"" placeholder:"DIR" help:"New folder for the export."`
}

// Run writes the export beside a running service, as of one moment.
func (c *exportCmd) Run(ctx context.Context) error {
	return c.within(ctx, func(h *house) error {
		photos, err := store.OpenPhotoDir(c.photoDir())
		if err != nil {
			return err
		}
		defer photos.Close()
		m, err := archive.Export(ctx, store.New(h.pool, c.RolePrefix), photos, h.words.Printer("en", words.Metric), c.To, printProgress)
		if err != nil {
			return usable(err)
		}
		fmt.Printf("%s: %d rows of %d tables, %d photos, %d bytes\n", c.To, sum(m.Tables), len(m.Tables), m.Photos, m.SizeBytes)
		return nil
	})
}

// printProgress says on the error output how far it has come.
func printProgress(table string, rows int64, ended bool) {
	end := " …"
	if ended {
		end = ""
	}
	fmt.Fprintf(os.Stderr, "%s: %d rows%s\n", table, rows, end)
}

// refillCmd fills an empty database from an export.
type refillCmd struct {
	settings
	From string `arg:"" help:"The export: a folder that lintel export wrote."`
}

// Run checks the export, makes and migrates the database where it is missing, and fills it: all or nothing.
func (c *refillCmd) Run(ctx context.Context) error {
	if c.DataDir == "" && c.AdminDatabaseURL == "" {
		return badInput{errors.New("neither --data-dir nor LINTEL_ADMIN_DATABASE_URL is given")}
	}
	if c.photoDir() == "" {
		return badInput{errors.New("LINTEL_PHOTO_DIR is not set: there is no place for photos")}
	}
	export, err := archive.OpenExport(c.From)
	if err != nil {
		return usable(err)
	}
	adminURL, end, err := c.administered(ctx)
	if err != nil {
		return err
	}
	err = c.refill(ctx, export, adminURL)
	return errors.Join(err, end(context.WithoutCancel(ctx)))
}

func (c *refillCmd) refill(ctx context.Context, export archive.Exported, adminURL string) error {
	if err := store.Setup(ctx, adminURL, c.RolePrefix, ""); err != nil {
		return err
	}
	if err := store.Migrate(ctx, adminURL, c.RolePrefix); err != nil {
		return err
	}
	photos, err := store.OpenPhotoDir(c.photoDir())
	if err != nil {
		return err
	}
	defer photos.Close()
	if err := export.Refill(ctx, adminURL, c.RolePrefix, photos, printProgress); err != nil {
		return usable(err)
	}
	fmt.Printf("Filled with %d rows and %d photos. Nobody has a password: lintel password EMAIL gives an administrator a new one.\n", sum(export.Tables), export.Photos)
	return nil
}

// administered is the database as an administrator reaches it: the one that is named, or the private one, which is
// made where it is missing.
func (c *refillCmd) administered(ctx context.Context) (url string, end func(context.Context) error, err error) {
	nothing := func(context.Context) error { return nil }
	if c.AdminDatabaseURL != "" {
		return c.AdminDatabaseURL, nothing, nil
	}
	folder := filepath.Join(c.DataDir, "database")
	server, err := localpg.Start(ctx, localpg.Options{DataDir: folder, BinDir: c.PostgresBin, Durable: true})
	if errors.Is(err, localpg.ErrInUse) {
		url, err = localpg.Neighbour(folder, "postgres", "lintel")
		return url, nothing, err
	}
	if err != nil {
		return "", nil, err
	}
	return server.URL("postgres", "lintel"), server.Stop, nil
}
