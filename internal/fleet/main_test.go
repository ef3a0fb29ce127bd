package fleet_test

import (
	"context"
	"fmt"
	"os"
	"strings"
	"testing"
	"time"

	"github.com/jackc/pgx/v5/pgxpool"

	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/store"
	"lintel.example/lintel/internal/store/storetest"
)

func TestMain(m *testing.M) {
	if url := os.Getenv("LINTEL_TEST_GENERATE_ON"); url != "" {
		os.Exit(generate(url, strings.Fields(os.Getenv("LINTEL_TEST_GENERATE_DAYS"))))
	}
	os.Exit(storetest.Main(m))
}

// generate is a process of its own that makes the work orders of days, as a second server would.
func generate(url string, days []string) int {
	ctx := context.Background()
	pool, err := pgxpool.New(ctx, url)
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		return 1
	}
	defer pool.Close()
	f := fleet.New(fleet.Parts{Store: store.New(pool, "lintel"), Now: func() time.Time { return time.Date(2026, 5, 1, 4, 15, 0, 0, time.UTC) }})
	for _, d := range days {
		if _, err := f.OpenDueWorkOrders(ctx, day(d)); err != nil {
			fmt.Fprintln(os.Stderr, err)
			return 1
		}
	}
	return 0
}
