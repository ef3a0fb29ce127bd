// Package duedate answers when something is due: on which civil date the next inspection of a door falls, which
// notice of a ladder has its turn, which day is a working day, and at which instants a line of the cron table fires.
//
// A Day is a civil date without a time and without a zone. What is due, overdue or early is asked with the site's own
// today (DayIn), because two sites can be on different dates at one instant. Months are counted from an anchor and
// clamped to the month's end; a clamped date is never the start of the next count, so the 31st comes back after a
// short month. No other room and no SQL statement adds months to a date.
//
// Everything here is a function of its arguments: the clock is passed in as a Day or an instant.
//
// To add a regime: write its constant and its case in Cycle.regular and Cycle.date, its rows in the tables of cycle_test.go, its place in the paper
// calendar there, and its sentence in the words (due.REGIME).
package duedate
