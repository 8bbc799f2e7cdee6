package link_test

import (
	"bytes"
	"errors"
	"io"
	"testing"
	"time"

	"ringup/drivers/internal/fake"
	"ringup/drivers/link"
	"ringup/drivers/link/internal/conformance"
)

const (
	soon = 20 * time.Millisecond // for what must time out
	late = 10 * time.Second      // for what must happen
)

// TestConformance holds the links that this computer has to Link's promises.
// Those over USB-TMC are held to them in the guest of package usbguest.
func TestConformance(t *testing.T) {
	for _, transport := range fake.Transports() {
		t.Run(transport, func(t *testing.T) {
			conformance.Run(t, func(t *testing.T) conformance.Far { return plug(t, transport) })
		})
	}
}

func plug(t *testing.T, transport string) conformance.Far {
	t.Helper()
	got, say := make(chan []byte, 100), make(chan []byte)
	wire := fake.ServeFunc(t, func(rw io.ReadWriter) { play(rw, got, say) }, transport)
	return conformance.Far{
		Address: wire.Address,
		Receive: func(t *testing.T, n int) []byte { return receive(t, got, n) },
		Say:     func(_ *testing.T, p []byte) { say <- p },
		Cut:     func(*testing.T) { wire.Cut() },
	}
}

// play puts what arrives into got and sends what is put into say.
func play(rw io.ReadWriter, got chan<- []byte, say <-chan []byte) {
	ended := make(chan struct{})
	go func() {
		defer close(ended)
		buf := make([]byte, 4096)
		for {
			n, err := rw.Read(buf)
			if n > 0 {
				got <- bytes.Clone(buf[:n])
			}
			if err != nil {
				return
			}
		}
	}()
	for {
		select {
		case p := <-say:
			if _, err := rw.Write(p); err != nil {
				return
			}
		case <-ended:
			return
		}
	}
}

func receive(t *testing.T, got <-chan []byte, n int) []byte {
	t.Helper()
	var all []byte
	for len(all) < n {
		select {
		case p := <-got:
			all = append(all, p...)
		case <-time.After(late):
			t.Fatalf("only %d of %d bytes arrived", len(all), n)
		}
	}
	return all
}

func TestOpenNothing(t *testing.T) {
	for _, address := range []string{"serial:/dev/no-such-port", "serial:" + t.TempDir(), "tcp:127.0.0.1:1"} {
		l, err := link.Open(address)
		if err == nil {
			l.Close()
			t.Fatalf("%s: opened", address)
		}
		if !errors.Is(err, link.ErrGone) {
			t.Errorf("%s: %v, want ErrGone", address, err)
		}
	}
}
