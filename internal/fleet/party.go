package fleet

type partyRows interface{}
