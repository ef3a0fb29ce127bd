package fleet

type workOrderRows interface{}
