package api

func (a *API) reports() {}
