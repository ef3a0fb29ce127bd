package api

func (a *API) components() {}
