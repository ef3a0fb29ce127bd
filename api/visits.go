package api

func (a *API) visits() {}
