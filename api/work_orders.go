package api

func (a *API) workOrders() {}
