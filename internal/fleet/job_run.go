package fleet

type jobRunRows interface{}
