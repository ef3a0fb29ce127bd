package fleet

type catalogueRows interface{}
