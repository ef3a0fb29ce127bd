package api

func (a *API) parties() {}
