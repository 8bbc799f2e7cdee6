// Command ringup power-cycles a unit at set supply voltages, judges from the scope whether its clock started,
// and says how often it fails and how sure that is.
package main

import (
	"context"
	"os"
)

func main() {
	os.Exit(run(context.Background(), os.Args[1:], os.Stdin, os.Stdout, os.Stderr))
}
