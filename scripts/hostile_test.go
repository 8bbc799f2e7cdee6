package scripts

import (
	"bufio"
	"bytes"
	"fmt"
	"os"
	"strings"
	"testing"
)

// hostile is a script process that does what ChildMain never does.
func hostile(how string) {
	in := bufio.NewReader(os.Stdin)
	if _, err := in.ReadString('\n'); err != nil {
		os.Exit(1)
	}
	cycle := `{"call":"cycle","args":{"volts":3.3},"line":1}` + "\n"
	switch how {
	case "unknown call":
		fmt.Println(`{"call":"format_disk","args":{},"line":1}`)
	case "unknown option":
		fmt.Println(`{"call":"cycle","args":{"volts":3.3,"force":true},"line":1}`)
	case "out of range":
		fmt.Println(`{"call":"cycle","args":{"volts":-3.3},"line":1}`)
	case "no object":
		fmt.Println(`{"call":"cycle","args":[[[[[]]]]],"line":1}`)
	case "not JSON":
		fmt.Println(`hello`)
	case "deep":
		fmt.Println(`{"call":"log","args":{"text":` + strings.Repeat("[", 400_000) + strings.Repeat("]", 400_000) + `}}`)
	case "long":
		fmt.Print(strings.Repeat("x", 2<<20))
	case "ready twice":
		fmt.Print("{\"ready\":true}\n{\"ready\":true}\n")
	case "out of turn":
		fmt.Print(strings.Repeat(cycle, 3))
	case "odd line":
		fmt.Println(`{"end":{"line":-7,"message":"no such line"}}`)
	case "closes and stays":
		os.Stdout.Close()
	case "exit":
		fmt.Fprintln(os.Stderr, "panic: nothing left")
		fmt.Fprint(os.Stderr, strings.Repeat("x", 1<<20))
		os.Exit(7)
	}
	// Stay until the parent ends it.
	_, _ = in.ReadString(0)
	os.Exit(0)
}

func TestParentTrustsNoChild(t *testing.T) {
	for how, part := range map[string]string{
		"unknown call":     `called "format_disk", which does not exist`,
		"unknown option":   "force",
		"out of range":     "-3.3",
		"no object":        "not a JSON object",
		"not JSON":         "not a message",
		"deep":             "depth",
		"long":             "more than 1 MiB",
		"ready twice":      "out of turn",
		"odd line":         "soak.lua: no such line",
		"closes and stays": "the script's process",
		"exit":             "ended unexpectedly (exit status 7): panic: nothing left",
	} {
		t.Run(how, func(t *testing.T) {
			h := &fakeHost{}
			engine := Engine{command: []string{os.Args[0], "hostile", how}}
			err := engine.Run(t.Context(), Script{"soak.lua", "-- one line"}, testFacts, h, &bytes.Buffer{})
			wantError(t, err, "soak.lua", part)
			if len(h.calls) != 0 {
				t.Errorf("the host was called: %v", h.calls)
			}
		})
	}
	t.Run("out of turn", func(t *testing.T) {
		h := &fakeHost{}
		engine := Engine{command: []string{os.Args[0], "hostile", "out of turn"}}
		err := engine.Run(t.Context(), Script{"soak.lua", "-- one line"}, testFacts, h, &bytes.Buffer{})
		wantError(t, err, "soak.lua:1: ", "out of turn")
	})
}
