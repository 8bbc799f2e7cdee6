package main

import (
	"bufio"
	"fmt"
	"net"
	"os"
	"regexp"
	"strings"
	"testing"
)

// TestGuard kills a run with the output on. Only the guard is left to switch the supply off.
func TestGuard(t *testing.T) {
	t.Parallel()
	f := newFolder(t, `cycle { volts = 3.6, rest = "100 ms", watch = "10 s" }`)
	from, to, err := os.Pipe()
	if err != nil {
		t.Fatal(err)
	}
	defer from.Close()
	bench := f.start(t, to, "simbench", "--transport", "tcp")
	to.Close()
	bench.await("up")
	file := make([]byte, 4096) // written at once, before the line that has been read
	n, err := from.Read(file)
	if err != nil {
		t.Fatal(err)
	}
	f.write(t, "bench.toml", string(file[:n]))
	address := regexp.MustCompile(`(?s)\[supply\].*?"tcp:([^"?]+)`).FindStringSubmatch(string(file[:n]))
	if address == nil {
		t.Fatalf("no supply on TCP in\n%s", file[:n])
	}
	supply := dial(t, address[1])

	p := f.start(t, nil, "run", "night.lua", "--listen", "none")
	p.await("night.lua on")
	for !supply.on() {
		if p.ended() {
			t.Fatalf("the run ended without switching the supply on; it said\n%s", strings.Join(p.seen, "\n"))
		}
	}
	p.kill() // within the 10 s of its watch: it could not have switched off by itself
	p.await("the supply is off, read back")
	if supply.on() {
		t.Error("the guard says that the supply is off, and it is on")
	}
	for range p.lines {
		// The pipe closes when the guard has ended, too.
	}
	if status := bench.interrupt(); status != exitDone {
		t.Errorf("simbench ended with status %d", status)
	}
}

// wire is a connection of the test's own to the simulated supply.
type wire struct {
	t       *testing.T
	conn    net.Conn
	replies *bufio.Reader
}

func dial(t *testing.T, address string) *wire {
	t.Helper()
	conn, err := net.Dial("tcp", address)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { conn.Close() })
	return &wire{t, conn, bufio.NewReader(conn)}
}

// on asks for the state of the output, as SCPI-99 has it.
func (w *wire) on() bool {
	w.t.Helper()
	if _, err := fmt.Fprint(w.conn, "OUTP?\n"); err != nil {
		w.t.Fatal(err)
	}
	reply, err := w.replies.ReadString('\n')
	if err != nil {
		w.t.Fatal(err)
	}
	return strings.TrimSpace(reply) == "1"
}
