package scripts

import (
	"bytes"
	"context"
	"encoding/json"
	"runtime"
	"testing"
	"testing/synctest"
	"time"
)

func TestTimeBound(t *testing.T) {
	for name, source := range map[string]string{
		"loop":          "mark('a')\nwhile true do end",
		"pcall loop":    "mark('a')\nwhile true do pcall(function() while true do end end) end",
		"xpcall loop":   "mark('a')\nwhile true do xpcall(function() while true do end end, print) end",
		"handler calls": "mark('a')\nwhile true do xpcall(function() while true do end end, function() mark('b') end) end",
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			h := &fakeHost{}
			err := quick.Run(t.Context(), Script{"soak.lua", source}, testFacts, h, &bytes.Buffer{})
			wantError(t, err, "soak.lua:2: the script ran 0.4 s without calling anything; ")
			if len(h.calls) != 1 {
				t.Errorf("calls %v", h.calls)
			}
		})
	}
}

// A call starts the time anew: a script that calls often may run all night.
func TestCallsRenewTheTime(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := newBudget(10 * time.Second)
		for range 100 {
			<-time.After(9 * time.Second)
			if !b.stop() {
				t.Fatal("over after 9 s")
			}
			<-time.After(12 * time.Hour) // the call itself
			b.restart()
		}
		<-time.After(11 * time.Second)
		if b.stop() || b.context.Err() == nil {
			t.Error("not over after 11 s")
		}
	})
}

// The time that the host takes is the bench's, in the child and in the parent.
func TestCallsMayTakeLong(t *testing.T) {
	t.Parallel()
	engine := Engine{Compute: time.Second, Grace: 100 * time.Millisecond}
	h := &fakeHost{answer: func(ctx context.Context, _ string, _ json.RawMessage) (json.RawMessage, error) {
		longer, cancel := context.WithTimeout(ctx, engine.Compute+2*engine.Grace)
		defer cancel()
		<-longer.Done()
		return nil, ctx.Err()
	}}
	if err := engine.Run(t.Context(), Script{"soak.lua", "wait '8 h'"}, testFacts, h, &bytes.Buffer{}); err != nil {
		t.Error(err)
	}
}

// One step of the engine cannot be interrupted; the parent's watchdog ends it.
func TestUninterruptibleStep(t *testing.T) {
	source := "local s = ('a'):rep(3000)\nmark('a')\n\npcall(string.find, s, '.-.-.-.-b$')\nmark('b')"
	t.Parallel()
	h := &fakeHost{}
	engine := quick
	engine.Grace = 200 * time.Millisecond
	err := engine.Run(t.Context(), Script{"soak.lua", source}, testFacts, h, &bytes.Buffer{})
	wantError(t, err, "soak.lua:2: the script ran 0.4 s without calling anything; ", "could not be interrupted")
	if len(h.calls) != 1 {
		t.Errorf("calls %v", h.calls)
	}
}

func TestMemoryBound(t *testing.T) {
	for name, source := range map[string]string{
		"endless table": "mark('a')\nlocal t = {}\npcall(function() for i = 1, 1e12 do t[i] = { i } end end)",
		"doubling":      "mark('a')\nlocal s = 'x'\npcall(function() while true do s = s .. s end end)",
		"gsub":          "mark('a')\npcall(string.gsub, ('x'):rep(1e6), 'x', ('y'):rep(1e6))",
		"one far entry": "mark('a')\nlocal t = {}\npcall(function() t[6e7] = 1 end)",
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			engine := Engine{MemoryBytes: 128 << 20}
			err := engine.Run(t.Context(), Script{"soak.lua", source}, testFacts, &fakeHost{}, &bytes.Buffer{})
			wantError(t, err, "soak.lua:1: the script used more than 128 MiB; ")
		})
	}
}

func TestLargeTextsAreRefused(t *testing.T) {
	for source, part := range map[string]string{
		"local s = string.rep('x', 1e12)": "1000000000000 bytes",
		"local s = ('x'):rep(1e9)":        "at most 16777216",
		"local p = ('x'):rep(1e6); local s = table.concat({p,p,p,p,p,p,p,p,p,p,p,p,p,p,p,p,p})":    "table.concat",
		"local t = {} for i = 1, 1000 do t[i] = 'x' end local s = table.concat(t, (' '):rep(1e6))": "table.concat",
	} {
		wantError(t, run(t, &fakeHost{}, "\n"+source), "soak.lua:2: ", part)
	}
	wantError(t, run(t, &fakeHost{}, "local function f() return 1 + f() end\nf()"), "soak.lua:1: ", "stack overflow")
}

// Ordinary work fits: the bounds are for mistakes.
func TestOrdinaryScriptFits(t *testing.T) {
	got := logged(t, `
local t = {}
for i = 1, 2e5 do t[i] = { volts = i, text = "cycle " .. i } end
local function depth(n) if n == 0 then return 0 end return 1 + depth(n - 1) end
log(#t .. " " .. depth(500) .. " " .. select("#", unpack(t, 1, 20000)))`)
	if got[0] != "200000 500 20000" {
		t.Errorf("got %q", got)
	}
}

func TestWatchHeap(t *testing.T) {
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	held := bytes.Repeat([]byte("x"), 8<<20)
	over := make(chan struct{})
	go watchHeap(ctx, 4<<20, func() { close(over) })
	select {
	case <-over:
	case <-t.Context().Done():
		t.Fatal("never looked")
	}
	runtime.KeepAlive(held)
	cancel()
	watchHeap(ctx, 0, func() { t.Error("looked after the end") })
}
