package api

func (a *API) catalogue() {}
