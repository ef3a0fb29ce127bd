package api

func (a *API) devices() {}
