package duedate

import (
	"cmp"
	"slices"
)

// Task is work that is due once. It may be done from its earliest day on.
type Task struct {
	Earliest, Due Day
	Minutes       float64
}

// MonthsFrom is the number of the month in which a day lies, counted from the month of another; days before that one are in month 0.
func MonthsFrom(first, d Day) int {
	return max(0, (int(d.year)-int(first.year))*12+int(d.month)-int(first.month))
}

// Smooth says in which month each of the tasks is done, so that as little work as can be lies in months that have no room for it. capacity are the
// minutes of every month, the first being that of first; no task may be due after the last.
//
//   - A task is done in the month of its due day, or in an earlier one that its earliest day allows: never later.
//   - Only what finds no room is moved, and no month is filled over its capacity by it: a month has at most what it had, or its capacity.
//
// The months are gone through backwards, and each keeps those tasks that can be moved the least (the rule of the earliest deadline, mirrored in
// time; Glover 1967 for the matching of intervals). With tasks that take the same time it leaves the fewest without room.
func Smooth(tasks []Task, first Day, capacity []float64) (months []int) {
	home, least := make([]int, len(tasks)), make([]int, len(tasks))
	in := make([][]int, len(capacity)) // tasks by the month in which they are done
	for i, t := range tasks {
		home[i] = MonthsFrom(first, t.Due)
		least[i] = min(home[i], MonthsFrom(first, t.Earliest))
		in[home[i]] = append(in[home[i]], i)
	}
	months = slices.Clone(home)
	for m := len(capacity) - 1; m > 0; m-- {
		slices.SortFunc(in[m], func(a, b int) int { // those that can be moved the least, and that would be moved the furthest, stay
			return cmp.Or(cmp.Compare(least[b], least[a]), tasks[b].Due.Compare(tasks[a].Due), cmp.Compare(a, b))
		})
		load, stay := 0.0, in[m][:0:0]
		for _, i := range in[m] {
			if least[i] < m && load+tasks[i].Minutes > capacity[m] {
				months[i]--
				in[m-1] = append(in[m-1], i)
				continue
			}
			load += tasks[i].Minutes
			stay = append(stay, i)
		}
		in[m] = stay
	}
	takeBack(tasks, home, months, in, capacity)
	return months
}

// takeBack gives to the months of their due days what found no room in earlier ones either.
func takeBack(tasks []Task, home, months []int, in [][]int, capacity []float64) {
	load := make([]float64, len(capacity))
	for m := range in {
		for _, i := range in[m] {
			load[m] += tasks[i].Minutes
		}
	}
	for m := 0; m < len(capacity); m++ { // what is taken back goes to a later month, whose turn is still to come
		for k := len(in[m]) - 1; k >= 0 && load[m] > capacity[m]; k-- {
			i := in[m][k]
			if home[i] == m {
				continue
			}
			in[m] = slices.Delete(in[m], k, k+1)
			load[m] -= tasks[i].Minutes
			months[i] = home[i]
			in[home[i]] = append(in[home[i]], i)
			load[home[i]] += tasks[i].Minutes
		}
	}
}

// Onward gives the dates from the next one on, up to and including a day, as if each were done on its day: what Dues gives whose first date next is.
// c must be valid.
func (c Cycle) Onward(next, until Day) (list []Day) {
	d, ok := Due{On: next}, true
	for s := (standing{from: c.Anchor, basis: OfAnchor}); ok && !d.On.After(until); d, ok = c.next(s) {
		list = append(list, d.On)
		s = c.then(s, d)
	}
	return list
}
