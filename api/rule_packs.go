package api

func (a *API) rulePacks() {}
