package main

import (
	"context"
	"fmt"
	"path/filepath"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/fleet"
)

// folder measures everything that the page of a door shows; of a copy, whose sensor was set once.
func (b *bench) folder(ctx context.Context) ([]line, error) {
	var door uuid.UUID
	if err := b.admin.QueryRow(ctx, "select door_id from door where door_id <> $1 order by tag limit 1", b.door).Scan(&door); err != nil {
		return nil, err
	}
	use := func() error {
		_, err := b.fleet.Folder(ctx, by(), fleet.FolderQuery{DoorID: door})
		return err
	}
	if err := use(); err != nil {
		return nil, err
	}
	script := filepath.Join(b.dir, "folder.sql")
	n, err := b.script(ctx, script, uuid.Nil, use)
	if err != nil {
		return nil, err
	}
	return b.compare(ctx, line{What: fmt.Sprintf("a door's page, %d statements", n), Asked: "≥ 0.4"}, script, use)
}

const (
	linesOfPage = 10
	pageTurns   = 400
)

// pages measures a late page of each list against the first.
func (b *bench) pages(ctx context.Context) ([]line, error) {
	late := min(10_000, b.doors/linesOfPage-1)
	var tag string
	if err := b.admin.QueryRow(ctx, "select tag from door order by tag offset $1 limit 1", late*linesOfPage-1).Scan(&tag); err != nil {
		return nil, err
	}
	turn := func(after fleet.Tag) (float64, error) {
		began := time.Now()
		for range pageTurns {
			list, err := b.fleet.Doors(ctx, by(), fleet.DoorQuery{AfterTag: after, Limit: linesOfPage})
			if err != nil {
				return 0, err
			}
			if len(list) != linesOfPage {
				return 0, fmt.Errorf("a page has %d doors", len(list))
			}
		}
		return float64(time.Since(began).Microseconds()) / pageTurns, nil
	}
	l := line{What: fmt.Sprintf("doors, page %d", late), Doors: b.doors, Against: "page 1", Asked: "≤ 1.2", Unit: "µs"}
	if _, err := turn(""); err != nil { // warm
		return nil, err
	}
	for range rounds {
		theirs, err := turn("")
		if err != nil {
			return nil, err
		}
		ours, err := turn(fleet.Tag(tag))
		if err != nil {
			return nil, err
		}
		l.Ours, l.Theirs = append(l.Ours, ours), append(l.Theirs, theirs)
	}
	return []line{l}, nil
}
