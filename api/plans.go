package api

func (a *API) plans() {}
