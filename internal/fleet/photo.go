package fleet

type photoRows interface{}
