package drivers

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"time"

	"ringup/drivers/link"
)

// lines are the two lines of a serial adapter that can drive a relay.
type lines interface {
	link.Lines
	Close() error
}

// lineRelay is a relay on a line of a serial adapter. The adapter has no
// identity to compare: an address by its stable name (/dev/serial/by-id/…) is
// what keeps another adapter from being taken for it.
type lineRelay struct {
	byHand
	options RelayOptions
	address string // with the line off from the moment of opening
	open    func(address string) (lines, error)
	memory  memory

	mu     sync.Mutex // guards what follows
	port   lines      // nil while the adapter is gone
	on     bool       // what the line was last told
	closed bool
}

func openLine(o RelayOptions) (Supply, error) {
	address, err := lineAddress(o)
	if err != nil {
		return nil, err
	}
	r := &lineRelay{byHand: byHand{o.SetVolts}, options: o, address: address, open: openLines}
	r.mu.Lock()
	defer r.mu.Unlock()
	if err := r.connect(); err != nil {
		return nil, err
	}
	return r, nil
}

// lineAddress has the adapter opened with the line in its off state. A port is
// otherwise opened with both lines on, which would give the unit a pulse.
func lineAddress(o RelayOptions) (string, error) {
	a, err := link.Parse(o.Address)
	if err != nil {
		return "", err
	}
	if a.Kind != link.Serial {
		return "", fmt.Errorf("address %q: a relay on the line %s needs a serial adapter, like \"serial:/dev/serial/by-id/…\"; leave line out for a switching instrument", o.Address, o.Line)
	}
	option := map[string]string{"DTR": "dtr", "RTS": "rts"}[o.Line]
	if option == "" {
		return "", fmt.Errorf("line %q; allowed: DTR, RTS", o.Line)
	}
	if o.Inverted {
		return a.String(), nil
	}
	return a.String() + "&" + option + "=off", nil
}

func openLines(address string) (lines, error) {
	l, err := link.Open(address)
	if err != nil {
		return nil, err
	}
	if port, ok := l.(lines); ok {
		return port, nil
	}
	return nil, errors.Join(fmt.Errorf("%s: this link has no lines", address), l.Close())
}

// connect opens the adapter and puts the line in its off state. r.mu is held.
func (r *lineRelay) connect() error {
	port, err := r.open(r.address)
	if err != nil { // it says itself what to look at
		return &InstrumentError{Role: r.options.Role, Address: r.options.Address, Err: err}
	}
	r.port = port
	return r.set(false)
}

// set drives the line. An adapter that does not obey is let go of. r.mu is held.
func (r *lineRelay) set(on bool) error {
	begun := time.Now()
	level := on != r.options.Inverted
	command := r.options.Line + map[bool]string{true: " on", false: " off"}[level]
	if r.port == nil {
		return r.explain(command, link.ErrGone)
	}
	drive := r.port.SetDTR
	if r.options.Line == "RTS" {
		drive = r.port.SetRTS
	}
	r.memory.add(Message{At: begun, Sent: true, Text: command})
	err := drive(level)
	if err != nil {
		r.memory.add(Message{At: time.Now(), Text: fmt.Sprintf("(failed: %v)", err)})
		_ = r.port.Close() // it is gone, or as good as gone
		r.port = nil
		err = r.explain(command, fmt.Errorf("%w: %w", link.ErrGone, err))
	} else {
		r.on = on
	}
	if r.options.Observe != nil {
		r.options.Observe(Exchange{Role: r.options.Role, Command: command, Elapsed: time.Since(begun), Err: err, Kind: KindOf(err)})
	}
	return err
}

func (r *lineRelay) explain(command string, err error) error {
	return &InstrumentError{Role: r.options.Role, Address: r.options.Address, Command: command, Err: err, Hint: hint(err)}
}

// Identity implements Supply. It names the line: an adapter says nothing of
// itself.
func (r *lineRelay) Identity() Identity {
	return Identity{Maker: "relay", Model: "line " + r.options.Line, Serial: r.options.Address}
}

// On implements Supply.
func (r *lineRelay) On(ctx context.Context) error {
	r.mu.Lock()
	defer r.mu.Unlock()
	if err := ctx.Err(); err != nil {
		return r.explain(r.options.Line, notSent(err))
	}
	return unknownState(r.set(true))
}

// Off implements Supply. A nil error says that the adapter took the command;
// nothing reads the contact back (ReadsBack).
func (r *lineRelay) Off(ctx context.Context) error {
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.closed {
		return &NotConfirmedOff{Address: r.options.Address, Err: link.ErrClosed}
	}
	return repeatOff(ctx, r.options.Address, func(context.Context) error {
		if r.port == nil {
			return r.connect()
		}
		return r.set(false)
	})
}

// Output implements Supply: what the line was last told, which is all that is
// known.
func (r *lineRelay) Output(context.Context) (bool, error) {
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.on, nil
}

// Reopen implements Supply. Opening puts the line in its off state.
func (r *lineRelay) Reopen(ctx context.Context) error {
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.closed {
		return r.explain("", link.ErrClosed)
	}
	return repeatOpen(ctx, func() error {
		if r.port != nil {
			_ = r.port.Close()
			r.port = nil
		}
		return r.connect()
	})
}

// Close implements Supply.
func (r *lineRelay) Close() error {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.closed = true
	if r.port == nil {
		return nil
	}
	port := r.port
	r.port = nil
	return port.Close()
}

// History implements Historian.
func (r *lineRelay) History() []Message { return r.memory.messages() }

// ReadsBack says no: see the function ReadsBack.
func (r *lineRelay) ReadsBack() bool { return false }
