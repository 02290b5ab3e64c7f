// Command pulk keeps the season's procedures, spares and decisions of a remote
// site, and carries them home over a thin link.
package main

import "fmt"

func main() { fmt.Println("pulk") }
