package api

import (
	"context"
	"net/http"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/identity"
)

// CustomerBody is what a client says of a customer.
type CustomerBody struct {
	Name    string `json:"name" minLength:"1" maxLength:"200"`
	Account string `json:"account,omitempty" maxLength:"60" doc:"The company's own number for the customer."`
	Note    string `json:"note,omitempty" maxLength:"2000"`
}

type customerItem struct {
	CustomerID uuid.UUID `json:"customer_id" format:"uuid"`
	CustomerBody
	Version int `json:"version"`
}

func newCustomerItem(c fleet.Customer) customerItem {
	return customerItem{CustomerID: c.CustomerID, CustomerBody: CustomerBody{Name: c.Name, Account: c.Account, Note: c.Note}, Version: c.Version}
}

type CustomerPath struct {
	CustomerID uuid.UUID `path:"customer_id" format:"uuid"`
}

type customerPutIn struct {
	CustomerPath
	IfMatch
	Body CustomerBody
}

type customerOut struct {
	Status int
	ETag   string `header:"ETag"`
	Body   customerItem
}

type customerListIn struct {
	PageIn
	Search string `query:"search" maxLength:"100" doc:"Part of the name or account."`
}

type customerListOut struct {
	Body struct {
		Customers []customerItem `json:"customers"`
		PageOut
	}
}

func (a *API) customers() {
	add(a, operation("customer-list", http.MethodGet, "/v1/customers", identity.ActReadRegister, "Customers by name"), a.customerList)
	add(a, operation("customer-get", http.MethodGet, "/v1/customers/{customer_id}", identity.ActReadRegister, "One customer"), a.customerGet)
	add(a, operation("customer-put", http.MethodPut, "/v1/customers/{customer_id}", identity.ActWriteRegister, "Make or change a customer"), a.customerPut)
}

func (a *API) customerList(ctx context.Context, by identity.Actor, in *customerListIn) (*customerListOut, error) {
	var after nameKey
	if err := readCursor(in.After, &after); err != nil {
		return nil, err
	}
	list, err := a.Fleet.Customers(ctx, by, fleet.CustomerQuery{Search: in.Search, AfterName: after.Name, AfterID: after.ID, Limit: in.Limit})
	if err != nil {
		return nil, err
	}
	out := &customerListOut{}
	out.Body.Customers = make([]customerItem, len(list))
	for i, c := range list {
		out.Body.Customers[i] = newCustomerItem(c)
	}
	if len(list) == in.Limit {
		last := list[len(list)-1]
		out.Body.Next = cursor(nameKey{last.Name, last.CustomerID})
	}
	return out, nil
}

func (a *API) customerGet(ctx context.Context, by identity.Actor, in *CustomerPath) (*customerOut, error) {
	c, err := a.Fleet.Customer(ctx, by, in.CustomerID)
	if err != nil {
		return nil, err
	}
	return &customerOut{Status: http.StatusOK, ETag: etag(c.Version), Body: newCustomerItem(c)}, nil
}

func (a *API) customerPut(ctx context.Context, by identity.Actor, in *customerPutIn) (*customerOut, error) {
	version, err := in.version()
	if err != nil {
		return nil, err
	}
	c, isNew, err := a.Fleet.PutCustomer(ctx, by, fleet.Customer{CustomerID: in.CustomerID, Name: in.Body.Name, Account: in.Body.Account, Note: in.Body.Note}, version)
	if err != nil {
		return nil, err
	}
	return &customerOut{Status: created(isNew), ETag: etag(c.Version), Body: newCustomerItem(c)}, nil
}
