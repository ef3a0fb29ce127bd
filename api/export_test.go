package api

// ReadKey is for the fuzz test.
var ReadKey = readKey
