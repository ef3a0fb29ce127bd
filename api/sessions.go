package api

func (a *API) sessions() {}
