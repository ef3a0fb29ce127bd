package api

func (a *API) jobRuns() {}
