//go:build linux || darwin

package simbench

import (
	"bufio"
	"strings"
	"testing"

	"go.bug.st/serial"
)

// What a receiver at half or double the speed makes of a byte follows from the frame of RS-232 (EIA-232): start bit 0,
// eight data bits from the lowest, stop bit 1.
func TestResample(t *testing.T) {
	for _, c := range []struct {
		name     string
		sent     []byte
		from, to int
		want     []byte
	}{
		{"equal speeds", []byte("*IDN?"), 9600, 9600, []byte("*IDN?")},
		// 0x55 alternates on the wire, 0 10101010 1, and at double speed each bit is seen twice: 00 11 00 11 00 …
		// From the first fall: start 0, then 0 11 00 11 0 = 0x66, with a stop that is 0. From the next fall: 0, then
		// 0 11 00 11 and the idle line = 0xe6.
		{"0x55 at double speed", []byte{0x55}, 9600, 19200, []byte{0x66, 0xe6}},
		// A NUL is low for nine bits: at a ninth of the speed only the start bit is seen, the line then idles high.
		{"NUL at a ninth of the speed", []byte{0}, 86400, 9600, []byte{0xff}},
		// 0xff is low for the start bit only: two bits long at double speed.
		{"0xff at double speed", []byte{0xff}, 9600, 19200, []byte{0xfe}},
	} {
		if got := resample(c.sent, c.from, c.to); string(got) != string(c.want) {
			t.Errorf("%s: % x, want % x", c.name, got, c.want)
		}
	}
}

// A port opened at the wrong speed gives no readable answer, and one at the right speed does.
func TestBaudMatters(t *testing.T) {
	r := newRig(t, func(o *Options) { o.Baud = 9600 })
	at, err := r.Serve(PTY)
	if err != nil {
		t.Fatal(err)
	}
	path, _, _ := strings.Cut(strings.TrimPrefix(at.Supply, "serial:"), "?")
	if !strings.HasSuffix(at.Supply, "?baud=9600") {
		t.Errorf("address %s does not tell the speed", at.Supply)
	}
	port, err := serial.Open(path, &serial.Mode{BaudRate: 19200})
	if err != nil {
		t.Fatal(err)
	}
	defer port.Close()
	if _, err := port.Write([]byte("\n*IDN?\n")); err != nil {
		t.Fatal(err)
	}
	if err := port.SetMode(&serial.Mode{BaudRate: 9600}); err != nil {
		t.Fatal(err)
	}
	// The first line ends whatever the garbage left in the instrument's input.
	if _, err := port.Write([]byte("\n*IDN?\n")); err != nil {
		t.Fatal(err)
	}
	reply, err := bufio.NewReader(port).ReadString('\n')
	if err != nil || reply != "ringup,simulated supply,SUP-7,1\n" {
		t.Errorf("at the right speed: %q, %v", reply, err)
	}
}
