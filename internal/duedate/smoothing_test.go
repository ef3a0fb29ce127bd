package duedate

import (
	"slices"
	"testing"

	"pgregory.net/rapid"
)

func TestWorkWithoutRoomGoesToAnEarlierMonthThatHasSome(t *testing.T) {
	first := Day{2026, 1, 15}
	day := func(m, d uint8) Day { return Day{2026, m, d} }
	for name, c := range map[string]struct {
		tasks    []Task
		capacity []float64
		months   []int
	}{
		"room everywhere: nothing moves":               {[]Task{{day(1, 20), day(3, 10), 60}, {day(1, 20), day(3, 20), 60}}, []float64{120, 120, 120}, []int{2, 2}},
		"the one due first goes":                       {[]Task{{day(1, 20), day(3, 20), 60}, {day(1, 20), day(3, 10), 60}}, []float64{120, 120, 60}, []int{2, 1}},
		"one that may not stays":                       {[]Task{{day(3, 1), day(3, 10), 60}, {day(2, 20), day(3, 20), 60}}, []float64{120, 120, 60}, []int{2, 1}},
		"a full month hands on what can go further":    {[]Task{{day(1, 20), day(2, 10), 60}, {day(2, 2), day(3, 20), 60}, {day(3, 1), day(3, 3), 60}}, []float64{60, 60, 60}, []int{0, 1, 2}},
		"no room anywhere: each stays where it is due": {[]Task{{day(1, 20), day(3, 10), 60}, {day(1, 20), day(3, 20), 60}}, []float64{0, 0, 60}, []int{2, 2}},
		"overdue work is in the first month":           {[]Task{{Day{2025, 3, 1}, Day{2025, 5, 1}, 60}}, []float64{0, 60}, []int{0}},
	} {
		if got := Smooth(c.tasks, first, c.capacity); !slices.Equal(got, c.months) {
			t.Errorf("%s: %v, want %v", name, got, c.months)
		}
	}
}

// someTasks draws tasks of a year and a half and what its months have room for, in units.
func someTasks(t *rapid.T, minutes *rapid.Generator[int]) (tasks []Task, first Day, capacity []float64) {
	first = Day{2026, uint8(rapid.IntRange(1, 12).Draw(t, "month")), uint8(rapid.IntRange(1, 28).Draw(t, "day"))}
	n := rapid.IntRange(1, 8).Draw(t, "months")
	last := Day{first.year, first.month, 1}.AddMonths(n).AddDays(-1)
	for range n {
		capacity = append(capacity, float64(rapid.IntRange(0, 6).Draw(t, "capacity")))
	}
	for range rapid.IntRange(0, 30).Draw(t, "tasks") {
		due := first.AddDays(rapid.IntRange(-40, first.DaysUntil(last)).Draw(t, "due"))
		tasks = append(tasks, Task{due.AddDays(-rapid.IntRange(0, 100).Draw(t, "before")), due, float64(minutes.Draw(t, "minutes"))})
	}
	return tasks, first, capacity
}

func loads(tasks []Task, months []int, n int) []float64 {
	load := make([]float64, n)
	for i, m := range months {
		load[m] += tasks[i].Minutes
	}
	return load
}

func TestSmoothingKeepsToToleranceAndFillsNoMonthOverItsRoom(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		tasks, first, capacity := someTasks(t, rapid.IntRange(1, 3))
		months := Smooth(tasks, first, capacity)
		home := make([]int, len(tasks))
		for i, task := range tasks {
			home[i] = MonthsFrom(first, task.Due)
			if months[i] > home[i] || months[i] < home[i] && months[i] < MonthsFrom(first, task.Earliest) {
				t.Fatalf("task %d may be done from month %d to %d and is in %d", i, MonthsFrom(first, task.Earliest), home[i], months[i])
			}
		}
		before, after := loads(tasks, home, len(capacity)), loads(tasks, months, len(capacity))
		for m := range capacity {
			if after[m] > max(before[m], capacity[m]) {
				t.Fatalf("month %d has %g, and had %g with room for %g", m, after[m], before[m], capacity[m])
			}
			if before[m] <= capacity[m] && slices.Contains(home, m) && m == len(capacity)-1 && after[m] != before[m] {
				t.Fatalf("the last month had room for all, and something of it was moved")
			}
		}
	})
}

// The most tasks that have room are found by augmenting paths (Berge 1957), which share nothing with Smooth.
func TestSmoothingOfEqualTasksLeavesTheFewestWithoutRoom(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		tasks, first, capacity := someTasks(t, rapid.Just(1))
		held := make([][]int, len(capacity))
		var place func(i int, seen []bool) bool
		place = func(i int, seen []bool) bool {
			for m := min(MonthsFrom(first, tasks[i].Earliest), MonthsFrom(first, tasks[i].Due)); m <= MonthsFrom(first, tasks[i].Due); m++ {
				if seen[m] {
					continue
				}
				seen[m] = true
				if len(held[m]) < int(capacity[m]) {
					held[m] = append(held[m], i)
					return true
				}
				for k, other := range held[m] {
					if place(other, seen) {
						held[m][k] = i
						return true
					}
				}
			}
			return false
		}
		most := 0
		for i := range tasks {
			if place(i, make([]bool, len(capacity))) {
				most++
			}
		}
		roomy := 0
		for m, load := range loads(tasks, Smooth(tasks, first, capacity), len(capacity)) {
			roomy += int(min(load, capacity[m]))
		}
		if roomy != most {
			t.Fatalf("%d tasks have room, and %d can", roomy, most)
		}
	})
}

func TestTheDatesOnwardAreThoseThatFollowTheNext(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c, done, _ := drawnCycle(t)
		if rapid.Bool().Draw(t, "capped") {
			c.LongestMonths = rapid.IntRange(1, 30).Draw(t, "longest")
		}
		c.AnchorDue = rapid.Bool().Draw(t, "anchor due")
		next := c.Next(done)
		until := next.On.AddMonths(rapid.IntRange(0, 60).Draw(t, "until"))
		var want []Day
		for _, d := range c.Dues(done, until) {
			want = append(want, d.On)
		}
		if got := c.Onward(next.On, until); !slices.Equal(got, want) {
			t.Fatalf("onward from %s: %v, want %v", next.On, got, want)
		}
	})
}
