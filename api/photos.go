package api

func (a *API) photos() {}
