package api

func (a *API) cases() {}
