package api

func (a *API) notices() {}
