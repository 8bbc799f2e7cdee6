package simbench

import (
	"bufio"
	"errors"
	"io"
	"net"
	"net/url"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"sync"
	"testing"
	"time"

	"go.bug.st/serial"
)

// dial opens an address as the measuring side does: a serial port, or a socket.
func dial(t testing.TB, address string) io.ReadWriteCloser {
	t.Helper()
	var wire io.ReadWriteCloser
	var err error
	if at, tcp := strings.CutPrefix(address, "tcp:"); tcp {
		wire, err = net.Dial("tcp", at)
	} else {
		u, e := url.Parse(address)
		if e != nil || u.Scheme != "serial" || u.Query().Get("baud") != "115200" {
			t.Fatalf("address %q: %v", address, e)
		}
		wire, err = serial.Open(u.Opaque+u.Path, &serial.Mode{BaudRate: 115200})
	}
	if err != nil {
		t.Fatalf("%s: %v", address, err)
	}
	t.Cleanup(func() { wire.Close() })
	return wire
}

func send(t testing.TB, wire io.Writer, line string) {
	t.Helper()
	if _, err := io.WriteString(wire, line+"\n"); err != nil {
		t.Fatalf("%s: %v", line, err)
	}
}

func query(t testing.TB, wire io.ReadWriter, line string) string {
	t.Helper()
	send(t, wire, line)
	reply, err := bufio.NewReader(wire).ReadString('\n')
	if err != nil {
		t.Fatalf("%s: %v after %q", line, err, reply)
	}
	return strings.TrimSuffix(reply, "\n")
}

// transports are those that this system must have.
func transports() []string {
	if runtime.GOOS == "windows" {
		return []string{TCP}
	}
	return []string{PTY, TCP}
}

func TestServe(t *testing.T) {
	for _, transport := range transports() {
		t.Run(transport, func(t *testing.T) {
			r := newRig(t, nil)
			at, err := r.Serve(transport)
			if err != nil {
				t.Fatal(err)
			}
			supply, scope, thermometer := dial(t, at.Supply), dial(t, at.Scope), dial(t, at.Thermometer)
			for wire, want := range map[io.ReadWriter]string{supply: "SUP-7", scope: "OSC-7", thermometer: "THM-7"} {
				if got := query(t, wire, "*IDN?"); !strings.Contains(got, want) {
					t.Errorf("*IDN? %s, want %s", got, want)
				}
			}
			// Carriage returns, empty lines and a line break's NUL byte are not commands.
			if _, err := io.WriteString(supply, "\x00\r\n\nSOUR:VOLT 3.6\r\n"); err != nil {
				t.Fatal(err)
			}
			if got := query(t, supply, "SYST:ERR?\r"); got != `0,"No error"` {
				t.Errorf("error %s", got)
			}
			for _, line := range append(envelopeSetup, "INIT") {
				send(t, scope, line)
			}
			if got := query(t, scope, "STAT:OPER:COND?"); got != "32" {
				t.Errorf("condition %s", got)
			}
			send(t, supply, "OUTP ON")
			if got := query(t, supply, "OUTP?"); got != "1" {
				t.Errorf("output %s", got)
			}
			r.clock.pass(time.Second)
			// Every byte of the block arrives unchanged, line feeds and control characters among them.
			want := string(r.answer(Scope, "TRAC:DATA? CH2"))
			send(t, scope, "TRAC:DATA? CH2")
			got := make([]byte, len(want))
			if _, err := io.ReadFull(scope, got); err != nil || string(got) != want {
				t.Errorf("block of %d bytes: %v, equal %t", len(want), err, string(got) == want)
			}
			if len(want) != 2*4000+len("#48000")+len("\n") {
				t.Errorf("block of %d bytes", len(want))
			}
			if _, err := r.Serve(transport); err == nil {
				t.Error("served twice")
			}
		})
	}
	if _, err := newRig(t, nil).Serve("pigeon"); err == nil || !strings.Contains(err.Error(), "pty, tcp") {
		t.Errorf("unknown transport: %v", err)
	}
}

// A port can be opened again after its last reader has gone.
func TestPortOutlivesItsReader(t *testing.T) {
	for _, transport := range transports() {
		r := newRig(t, nil)
		at, err := r.Serve(transport)
		if err != nil {
			t.Fatal(err)
		}
		for range 3 {
			wire := dial(t, at.Supply)
			if got := query(t, wire, "*OPC?"); got != "1" {
				t.Errorf("%s: *OPC? %s", transport, got)
			}
			wire.Close()
		}
	}
}

func TestInputBufferOverrun(t *testing.T) {
	r := newRig(t, nil)
	at, err := r.Serve(TCP)
	if err != nil {
		t.Fatal(err)
	}
	wire := dial(t, at.Supply)
	send(t, wire, strings.Repeat("x", 3*lineMax))
	if got := query(t, wire, "SYST:ERR?"); !strings.HasPrefix(got, "-363,") {
		t.Errorf("error %s", got)
	}
}

// Four conversations at once, and a hand and a test's fault on the side; run with -race.
func TestConcurrentUse(t *testing.T) {
	r := newRig(t, nil)
	at, err := r.Serve(TCP)
	if err != nil {
		t.Fatal(err)
	}
	var all sync.WaitGroup
	for _, address := range []string{at.Supply, at.Scope, at.Thermometer, at.Supply} {
		wire := dial(t, address)
		all.Go(func() {
			for range 200 {
				send(t, wire, "OUTP ON;OUTP OFF;INIT;ABOR")
				query(t, wire, "*STB?")
			}
		})
	}
	all.Go(func() {
		for range 200 {
			r.clock.pass(time.Second)
			if err := r.Hand().Do(Action{Verb: Chill, Part: "Y1"}); err != nil {
				t.Error(err)
			}
			r.Faults().StickOutput(false)
			r.SupplyOutput()
		}
	})
	all.Wait()
}

func TestHangupAndPlug(t *testing.T) {
	for _, transport := range transports() {
		t.Run(transport, func(t *testing.T) {
			dir := t.TempDir()
			r := newRig(t, func(o *Options) { o.LinkDir = dir })
			at, err := r.Serve(transport)
			if err != nil {
				t.Fatal(err)
			}
			if transport == PTY && at.Supply != "serial:"+filepath.Join(dir, "supply")+"?baud=115200" {
				t.Errorf("address %s", at.Supply)
			}
			wire := dial(t, at.Supply)
			send(t, wire, "SOUR:VOLT 3;OUTP ON")
			query(t, wire, "*OPC?")
			if err := r.Faults().Hangup(Supply); err != nil {
				t.Fatal(err)
			}
			if n, err := wire.Read(make([]byte, 1)); n != 0 || err == nil {
				t.Errorf("read after hang-up: %d bytes, %v", n, err)
			}
			wire.Close()
			if on, _ := r.SupplyOutput(); !on {
				t.Error("the lost wire switched the output off")
			}
			again, err := r.Faults().Plug(Supply)
			if err != nil || again != at.Supply {
				t.Fatalf("plugged again at %s, was %s: %v", again, at.Supply, err)
			}
			if got := query(t, dial(t, again), "OUTP?"); got != "1" {
				t.Errorf("output %s", got)
			}
			if err := r.Close(); err != nil {
				t.Error(err)
			}
			if left, err := os.ReadDir(dir); err != nil || len(left) != 0 {
				t.Errorf("left behind: %v, %v", left, err)
			}
			if _, err := r.Faults().Plug(Supply); !errors.Is(err, errNotServed) {
				t.Errorf("plugging a closed bench: %v", err)
			}
		})
	}
}
