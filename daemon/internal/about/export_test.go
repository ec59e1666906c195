package about

// Licences is the table, for the test.
var Licences = licences
