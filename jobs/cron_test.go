package jobs_test

import (
	"strings"
	"testing"
	"time"

	"lintel.example/lintel/internal/words"
	"lintel.example/lintel/jobs"
)

func TestEveryLineOfTheTableFiresOncePerDayAndSaysWhatItDoes(t *testing.T) {
	schedules, err := jobs.Schedules()
	if err != nil {
		t.Fatal(err)
	}
	catalogue, err := loadWords()
	if err != nil {
		t.Fatal(err)
	}
	texts := catalogue.Printer("en", words.Metric)
	seen := map[string]bool{}
	for i, j := range jobs.Table() {
		if seen[j.Name] || j.Work == nil {
			t.Errorf("%s is there twice, or does nothing", j.Name)
		}
		seen[j.Name] = true
		if title := texts.T("job." + j.Name + ".title"); strings.Contains(title, "⟦") {
			t.Errorf("%s has no title", j.Name)
		}
		first := schedules[i].Schedule.Next(time.Date(2026, 3, 28, 12, 0, 0, 0, time.UTC))
		fired, _ := schedules[i].Schedule.DueInstants(first.Add(-time.Second), first.AddDate(0, 0, 365), 1000)
		if schedules[i].Job != j.Name || len(fired) != 366 {
			t.Errorf("%s fires %d times in a year", j.Name, len(fired))
		}
		if h := first.Hour(); h < 3 {
			t.Errorf("%s runs at %d hours: as local hours those exist twice or never", j.Name, h)
		}
	}
}
