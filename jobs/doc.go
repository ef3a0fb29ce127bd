// Package jobs is what runs when: the cron table, and one worker a file.
//
// robfig/cron is the schedule language, River runs the work, and the ledger (job_run) is the truth: River's
// periodic jobs live in memory and may fire twice, late or never, so each tick computes from the ledger which due
// instants have passed, and a worker does what the ledger says is not done. Every effect has a key of its own, so
// that running something twice, late or on three servers at once changes nothing.
//
// To add a job: a line in Table (cron.go), its work in a file of its own as a function of a civil day, its name and
// purpose in internal/words/en/jobs.yaml (job.<name>.title).
package jobs
