package fleet

type reportRows interface{}
