package fleet

type findingRows interface{}
