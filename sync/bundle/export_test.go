package bundle

// SetStandardDay hands in what package daytest makes: it imports nothing of this
// package, but the tests that turn it into bundles stand outside.
func SetStandardDay(day func(changes int) *Bundle) { standardDay = day }

// Update tells that documents are to be written anew.
var Update = update
