package api

func (a *API) findings() {}
