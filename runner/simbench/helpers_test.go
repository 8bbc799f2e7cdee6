package simbench

import (
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"
)

// evening is when the benches of these tests are made.
var evening = time.Date(2025, 11, 3, 21, 0, 0, 0, time.UTC)

// handClock stands still until it is moved.
type handClock struct {
	mu  sync.Mutex
	now time.Time
}

func (c *handClock) Now() time.Time {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.now
}

func (c *handClock) pass(d time.Duration) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.now = c.now.Add(d)
}

// warmRoom is an ambient without swing or wander.
var warmRoom = Climate{MeanCelsius: 25, Still: true}

// rig is a bench under test with its clock.
type rig struct {
	*Bench
	t     testing.TB
	clock *handClock
}

// newRig makes a bench with a healthy unit in a still room; change, where given, adapts the options.
func newRig(t testing.TB, change func(*Options)) *rig {
	t.Helper()
	clock := &handClock{now: evening}
	o := Options{Unit: "healthy", Seed: 7, Clock: clock, Climate: warmRoom, LampProbe: true,
		ClockProbe: Probe{Node: NodeNearField}}
	if change != nil {
		change(&o)
	}
	b, err := New(o)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := b.Close(); err != nil {
			t.Errorf("close: %v", err)
		}
	})
	return &rig{Bench: b, t: t, clock: clock}
}

// say has an instrument execute lines, and fails the test where one leaves an error or answers.
func (r *rig) say(name Instrument, lines ...string) {
	r.t.Helper()
	for _, l := range lines {
		if reply := r.answer(name, l); reply != nil {
			r.t.Fatalf("%s: %s answered %q", name, l, reply)
		}
		if e := r.ask(name, "SYST:ERR?"); e != `0,"No error"` {
			r.t.Fatalf("%s: %s left %s", name, l, e)
		}
	}
}

// ask returns the reply to a query without its line feed.
func (r *rig) ask(name Instrument, query string) string {
	r.t.Helper()
	reply := string(r.answer(name, query))
	if !strings.HasSuffix(reply, "\n") {
		r.t.Fatalf("%s: reply to %s is %q, not a line", name, query, reply)
	}
	return strings.TrimSuffix(reply, "\n")
}

// number returns the reply to a query as a number.
func (r *rig) number(name Instrument, query string) float64 {
	r.t.Helper()
	v, err := strconv.ParseFloat(r.ask(name, query), 64)
	if err != nil {
		r.t.Fatalf("%s: %s: %v", name, query, err)
	}
	return v
}

// power switches the supply on at the given volts.
func (r *rig) power(volts string) {
	r.t.Helper()
	r.say(Supply, "SOUR:VOLT "+volts, "OUTP ON")
}

// wave is a record decoded by its own preamble.
type wave struct {
	start, step float64
	min, max    []float64 // the same slice for plain samples
	clipped     int
}

// fetch reads and decodes one channel.
func (r *rig) fetch(channel string) wave {
	r.t.Helper()
	fields := strings.Split(r.ask(Scope, "TRAC:PRE? "+channel), ",")
	if len(fields) != 10 {
		r.t.Fatalf("preamble has %d fields: %v", len(fields), fields)
	}
	var f [10]float64
	for i, s := range fields {
		v, err := strconv.ParseFloat(s, 64)
		if err != nil {
			r.t.Fatalf("preamble field %d: %v", i, err)
		}
		f[i] = v
	}
	if f[9] != 1 {
		r.t.Fatalf("preamble says the record is not valid: %v", fields)
	}
	data := r.blockOf(string(r.answer(Scope, "TRAC:DATA? "+channel)))
	volts := make([]float64, len(data))
	w := wave{start: f[1], step: f[2]}
	for i, c := range []byte(data) {
		volts[i] = (float64(c)-f[4])*f[3] + f[5]
		if float64(c) == f[6] || float64(c) == f[7] {
			w.clipped++
		}
	}
	w.min, w.max = volts, volts
	if f[8] == 1 {
		w.min, w.max = nil, nil
		for i := 0; i < len(volts); i += 2 {
			w.min, w.max = append(w.min, volts[i]), append(w.max, volts[i+1])
		}
	}
	if len(w.min) != int(f[0]) {
		r.t.Fatalf("%d points arrived, the preamble says %g", len(w.min), f[0])
	}
	return w
}

// blockOf takes the bytes out of a definite-length block, which is all of the reply but the line feed.
func (r *rig) blockOf(reply string) string {
	r.t.Helper()
	if len(reply) < 3 || reply[0] != '#' {
		r.t.Fatalf("reply %.20q is not a block", reply)
	}
	digits := int(reply[1] - '0')
	length, err := strconv.Atoi(reply[2 : 2+digits])
	if err != nil || len(reply) != 2+digits+length+1 || reply[len(reply)-1] != '\n' {
		r.t.Fatalf("block %.20q of %d bytes: announced length %d (%v)", reply, len(reply), length, err)
	}
	return reply[2+digits : 2+digits+length]
}
