package simbench_test

import (
	"errors"
	"testing"
	"time"

	"ringup/runner/simbench"
)

// channels is a wire that keeps messages apart, within this process.
type channels struct {
	messages chan string
	replies  chan string
	plugged  int // how often
	shut     chan struct{}
}

func (c *channels) Plug() (string, error) {
	c.plugged++
	c.shut = make(chan struct{})
	return "channels", nil
}

func (c *channels) Next() (string, error) {
	select {
	case m := <-c.messages:
		return m, nil
	case <-c.shut:
		return "", errors.New("unplugged")
	}
}

func (c *channels) Say(reply []byte) error { c.replies <- string(reply); return nil }
func (c *channels) Close() error           { close(c.shut); return nil }

type stopped struct{}

func (stopped) Now() time.Time { return time.Date(2026, 1, 14, 18, 30, 0, 0, time.UTC) }

// TestWireOfMessages has the supply on a wire that keeps messages apart: each reply is one message, whatever pieces its
// fault makes of it, and an instrument that reboots leaves the wire and comes back.
func TestWireOfMessages(t *testing.T) {
	c := &channels{messages: make(chan string), replies: make(chan string, 1)}
	b, err := simbench.New(simbench.Options{Unit: "healthy", Seed: 1, Clock: stopped{}, Wires: map[simbench.Instrument]simbench.Wire{simbench.Supply: c}})
	if err != nil {
		t.Fatal(err)
	}
	at, err := b.Serve(simbench.TCP)
	if err != nil {
		t.Fatal(err)
	}
	if at.Supply != "channels" {
		t.Errorf("the supply is at %q", at.Supply)
	}
	for _, fault := range []simbench.WireFault{"", simbench.ReplySplit, simbench.EchoOn} {
		b.Faults().Strike(simbench.Supply, simbench.Blow{Fault: fault})
		c.messages <- "OUTPut?"
		want := "0\n"
		if fault == simbench.EchoOn {
			want = "OUTPut?\n0\n"
		}
		if got := <-c.replies; got != want {
			t.Errorf("%q: replied %q, want %q", fault, got, want)
		}
		if err := b.Faults().Heal(simbench.Supply); err != nil {
			t.Fatal(err)
		}
	}
	b.Faults().Strike(simbench.Supply, simbench.Blow{Fault: simbench.Rebooted})
	c.messages <- "SOURce:VOLTage?"
	c.messages <- "OUTPut?"
	if got := <-c.replies; got != "0\n" || c.plugged != 2 {
		t.Errorf("after it rebooted: replied %q, plugged %d times, want 2", got, c.plugged)
	}
	if err := b.Close(); err != nil {
		t.Error(err)
	}
}
