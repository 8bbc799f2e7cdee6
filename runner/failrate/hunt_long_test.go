package failrate

import "os"

// longRun reports whether simulations take their full size, as `make soak` asks.
func longRun() bool { return os.Getenv("RINGUP_LONG") == "1" }
