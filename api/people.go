package api

func (a *API) people() {}
