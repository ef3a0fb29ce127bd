package api

func (a *API) codes() {}
