package fleet

type siteRows interface{}
