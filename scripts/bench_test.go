package scripts

import (
	"context"
	"encoding/json"
	"io"
	"testing"
)

type silentHost struct{}

func (silentHost) Call(context.Context, string, json.RawMessage, int) (json.RawMessage, error) {
	return nil, nil
}

// BenchmarkStart is one whole script process.
func BenchmarkStart(b *testing.B) {
	for b.Loop() {
		if err := Run(b.Context(), Script{"empty.lua", ""}, Facts{}, silentHost{}, io.Discard); err != nil {
			b.Fatal(err)
		}
	}
}

// BenchmarkCall is 1,000 calls through the pipe.
func BenchmarkCall(b *testing.B) {
	for b.Loop() {
		err := Run(b.Context(), Script{"calls.lua", "for i = 1, 1000 do cycle { volts = 3.3 } end"}, Facts{}, silentHost{}, io.Discard)
		if err != nil {
			b.Fatal(err)
		}
	}
}
