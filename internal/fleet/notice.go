package fleet

type noticeRows interface{}
