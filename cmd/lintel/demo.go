package main

// demoCmd plays one door's story.
type demoCmd struct{}

// Run is to be written.
func (c *demoCmd) Run() error { return nil }
