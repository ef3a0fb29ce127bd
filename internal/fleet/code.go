package fleet

type codeRows interface{}
