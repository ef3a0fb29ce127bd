package fleet

type visitRows interface{}
