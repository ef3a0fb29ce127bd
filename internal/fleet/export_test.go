package fleet

// StateOf is for the property test of what becomes of an order.
var StateOf = stateOf
