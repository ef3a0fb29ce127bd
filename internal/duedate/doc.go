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
// To add a regime: write its constant and its case in NextDue and Plan.Validate, its row in the tables of
// plan_test.go and its sentence in NextDue's documentation; add it to the plans that plan_test.go draws.
package duedate
