// Command lintel is the one binary: it reads the configuration and wires the rooms.
package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"os/signal"
	"syscall"
	_ "time/tzdata" // sites have zones that the machine may not know

	"github.com/alecthomas/kong"
)

// version is written by the linker of a release.
var version = "development"

// commands is everything that the program can be told to do.
type commands struct {
	Serve         serveCmd         `cmd:"" help:"Serve the API and work off the jobs."`
	Worker        workerCmd        `cmd:"" help:"Work off the jobs only."`
	Setup         setupCmd         `cmd:"" help:"Make the database and its roles. Again changes nothing."`
	Migrate       migrateCmd       `cmd:"" help:"Bring the database's schema to what this program knows."`
	Administrator administratorCmd `cmd:"" help:"Make the first administrator and print a one-time password."`
	Password      passwordCmd      `cmd:"" help:"Give somebody a new one-time password, when nobody who may can sign in any more."`
	Backup        backupCmd        `cmd:"" help:"Write database, photos and, if wanted, keys into a folder, and read it back."`
	Restore       restoreCmd       `cmd:"" help:"Bring a backup into a new data folder or an empty database, and check it."`
	Export        exportCmd        `cmd:"" help:"Write the whole fleet as open formats into a new folder."`
	Refill        refillCmd        `cmd:"" help:"Fill an empty database from an export."`
	Doctor        doctorCmd        `cmd:"" help:"Look at the installation and say of each thing whether it is right; exit code 1 if something is not."`
	NewKey        newKeyCmd        `cmd:"" name:"new-key" help:"Print a new line for the key file that guards codes."`
	Bounce        bounceCmd        `cmd:"" help:"Take in a mail server's report (RFC 3464) from standard input: lintel bounce <message."`
	Job           jobCmd           `cmd:"" help:"Run a job by hand, as of a day."`
	Recompute     recomputeCmd     `cmd:"" help:"Compute anew what is watched at every door, after the program or the catalogue changed; goes on where it was cut off."`
	Import        importCmd        `cmd:"" help:"Bring in a list of doors (CSV, XLSX), or take one back."`
	Field         fieldCmd         `cmd:"" help:"Compute fields without a database: one JSON object a line in, one a line out."`
	Advise        adviseCmd        `cmd:"" help:"Say which antenna, place, accessories and settings suit an opening, without a database: a JSON question in, ranked answers out."`
	WhatIf        whatIfCmd        `cmd:"" name:"whatif" help:"Say what changes of a device would do; nothing is recorded."`
	Sheet         sheetCmd         `cmd:"" help:"Say which steps to set at a door's devices, and what they then watch; nothing is recorded."`
	Diagnose      diagnoseCmd      `cmd:"" help:"Say why a door may misbehave, by its record and its computed fields."`
	Catalogue     catalogueCmd     `cmd:"" help:"Work out entries of the catalogue of device models from what was published of them."`
	Pack          packCmd          `cmd:"" help:"Rule packs: list them, check one, compare two, try one on past inspections; add and activate the company's own."`
	WalkTest      walkTestCmd      `cmd:"" name:"walktest" help:"Work out of walk tests what the sensors are, without a database: one JSON object a line in, one a line out."`
	Judge         judgeCmd         `cmd:"" help:"Hold readings against a rule pack without a database: one JSON object a line in, one a line out."`
	Due           dueCmd           `cmd:"" help:"Say on which days something is due without a database: one JSON object a line in, one a line out."`
	Force         forceCmd         `cmd:"" help:"Work out a recorded force over time (the CSV of a gauge) without a database: peak, force after 0.75 s, impulse, limits."`
	Route         routeCmd         `cmd:"" help:"Who drives where: solve an instance of a public benchmark, without a database."`
	Forecast      forecastCmd      `cmd:"" help:"Say in which months plans ask for more work than the technicians have hours, and what to do earlier."`
	Config        configCmd        `cmd:"" help:"Print what is in force. Secrets show as set or not set."`
	OpenAPI       openapiCmd       `cmd:"" name:"openapi" help:"Print the contract of the API."`
	Demo          demoCmd          `cmd:"" help:"Play one door's story on a private database and leave the service open."`
	MailCatcher   mailCatcherCmd   `cmd:"" name:"mail-catcher" help:"Take mail over SMTP, print it and deliver nothing. For trying out."`
	Version       versionCmd       `cmd:"" help:"Print the version."`
}

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	context.AfterFunc(ctx, stop) // a second signal ends the program at once
	os.Exit(run(ctx, os.Args[1:]))
}

// run parses and does a command. Exit codes: 0 done, 1 failed, 2 what was given is wrong.
func run(ctx context.Context, args []string) int {
	var c commands
	parser, err := kong.New(&c, kong.Name("lintel"), kong.UsageOnError(),
		kong.Description("Register, calculator, calendar and proof for a fleet of automatic pedestrian doors.\n\nLintel computes and records; it certifies nothing."))
	if err != nil {
		fmt.Fprintln(os.Stderr, "lintel:", err)
		return 1
	}
	if len(args) == 0 {
		args = []string{"--help"}
	}
	parsed, err := parser.Parse(args)
	if err != nil {
		fmt.Fprintln(os.Stderr, "lintel:", err)
		return 2
	}
	parsed.BindTo(ctx, (*context.Context)(nil))
	err = parsed.Run()
	var bad badInput
	switch {
	case err == nil:
		return 0
	case errors.As(err, &bad):
		fmt.Fprintln(os.Stderr, "lintel:", err)
		return 2
	}
	fmt.Fprintln(os.Stderr, "lintel:", err)
	return 1
}
