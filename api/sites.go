package api

func (a *API) sites() {}
