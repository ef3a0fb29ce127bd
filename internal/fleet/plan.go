package fleet

type planRows interface{}
