package api

func (a *API) doors() {}
