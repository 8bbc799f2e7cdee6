package drivers

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"time"

	"ringup/drivers/dialect"
	"ringup/drivers/link"
	"ringup/drivers/scpi"
)

// device is one opened instrument: link, conversation and dialect. Its lock is
// held for a whole operation, so that two never interleave.
type device struct {
	options  Options
	kind     dialect.Kind
	dialects []*dialect.Dialect

	mu       sync.Mutex
	link     link.Link // nil after Close
	session  *scpi.Session
	dialect  *dialect.Dialect
	identity Identity
	opened   int // how often the link was opened
	closed   bool

	memory memory
}

func openDevice(ctx context.Context, o Options, kind dialect.Kind) (*device, error) {
	if o.Role == "" {
		o.Role = string(kind)
	}
	if o.Channel == 0 {
		o.Channel = 1
	}
	dialects, err := dialect.Load(o.DialectDir)
	if err != nil {
		return nil, err
	}
	d := &device{options: o, kind: kind, dialects: dialects}
	if err := d.connect(ctx); err != nil {
		return nil, err
	}
	return d, nil
}

// connect opens the link, identifies the instrument, chooses its dialect and
// prepares it. It leaves the device without a link if anything fails.
func (d *device) connect(ctx context.Context) (err error) {
	l, err := link.Open(d.options.Address)
	if err != nil { // it says itself what to look at
		return &InstrumentError{Role: d.options.Role, Address: d.options.Address, Err: err}
	}
	defer func() {
		if err != nil {
			err = errors.Join(err, l.Close())
		}
	}()
	named := d.options.Dialect
	var chosen *dialect.Dialect
	var config scpi.Config
	if named != "" && named != "auto" {
		if chosen, err = dialect.ByName(d.dialects, d.kind, named); err != nil {
			return err
		}
		config = chosen.Session()
	}
	config.Observe = d.observe
	session := scpi.New(l, config)
	d.memory.follow(session)
	if chosen != nil && chosen.Has("wake") {
		if _, err = chosen.Run(ctx, session, "wake", nil); err != nil {
			return d.explain("wake", err)
		}
	}
	reply, err := session.Identify(ctx)
	if err != nil {
		return d.explain("*IDN?", err)
	}
	identity, err := d.parseIdentity(reply, chosen != nil)
	if err != nil {
		return err
	}
	if d.identity != (Identity{}) && !sameInstrument(d.identity, identity) {
		if reply, identity, err = d.askAgain(ctx, session, identity, chosen != nil); err != nil {
			return err
		}
	}
	if err = dialect.CheckKind(d.dialects, d.kind, reply); err != nil {
		return d.explain("*IDN?", err)
	}
	if chosen == nil {
		if chosen, err = dialect.Choose(d.dialects, d.kind, reply); err != nil {
			return d.explain("", err)
		}
		config = chosen.Session()
		config.Observe = d.observe
		session.Configure(config)
	}
	d.link, d.session, d.dialect, d.identity = l, session, chosen, identity
	d.opened++
	if err = d.prepare(ctx); err != nil {
		d.link, d.session = nil, nil
	}
	return err
}

// askAgain gives an instrument that seems to be another one a second chance: a
// single wrong byte of its reply would end a night. The error is
// *IdentityChanged if it says the same again.
func (d *device) askAgain(ctx context.Context, session *scpi.Session, first Identity, named bool) (string, Identity, error) {
	reply, err := session.Identify(ctx)
	if err != nil {
		return "", Identity{}, d.explain("*IDN?", err)
	}
	second, err := d.parseIdentity(reply, named)
	switch {
	case err != nil:
		return "", Identity{}, err
	case sameInstrument(second, d.identity):
		return reply, second, nil
	case sameInstrument(second, first):
		return "", Identity{}, &IdentityChanged{Role: d.options.Role, Address: d.options.Address, Was: d.identity, Is: second}
	}
	return "", Identity{}, d.explain("*IDN?", fmt.Errorf("%w: it said %q first and %q then", scpi.ErrGarbled, first, second))
}

// parseIdentity takes a reply apart. An instrument whose dialect was named may
// identify itself in fewer fields than the standard asks for.
func (d *device) parseIdentity(reply string, named bool) (Identity, error) {
	identity, _, err := scpi.ParseIdentity(reply)
	if err != nil && named && reply != "" {
		return Identity{Model: reply}, nil
	}
	if err != nil {
		return Identity{}, &InstrumentError{Role: d.options.Role, Address: d.options.Address, Command: "*IDN?", Received: reply, Err: err,
			Hint: "if this is the right instrument, name its dialect in the bench file instead of \"auto\""}
	}
	return identity, nil
}

// sameInstrument leaves the firmware out: an update does not make another
// instrument.
func sameInstrument(a, b Identity) bool {
	return a.Maker == b.Maker && a.Model == b.Model && a.Serial == b.Serial
}

// openings is how often the link was opened: what the instrument was told
// before the last time it may have forgotten.
func (d *device) openings() int {
	d.mu.Lock()
	defer d.mu.Unlock()
	return d.opened
}

// prepare brings the instrument under remote control and chooses its output.
func (d *device) prepare(ctx context.Context) error {
	settings := d.settings(nil)
	if d.dialect.Has("prepare") {
		if _, err := d.run(ctx, "prepare", settings); err != nil {
			return err
		}
	}
	if d.kind == dialect.Supply && d.options.Channel > 1 {
		if d.dialect.NamesChannel() {
			return nil
		}
		if !d.dialect.Has("select_channel") {
			return fmt.Errorf("supply at %s: channel %d is asked for, but dialect %s cannot choose a channel; use channel 1 or another dialect",
				d.options.Address, d.options.Channel, d.dialect.Name)
		}
		_, err := d.run(ctx, "select_channel", settings)
		return err
	}
	return nil
}

// settings adds the supply's output, or the switch's contact, to an operation's
// settings.
func (d *device) settings(s dialect.Settings) dialect.Settings {
	if d.kind != dialect.Supply && d.kind != dialect.Switch {
		return s
	}
	out := dialect.Settings{"channel": float64(d.options.Channel)}
	for k, v := range s {
		out[k] = v
	}
	return out
}

// Identity is what the instrument said it is when it was opened.
func (d *device) Identity() Identity {
	d.mu.Lock()
	defer d.mu.Unlock()
	return d.identity
}

// run carries out one operation of the dialect.
func (d *device) run(ctx context.Context, operation string, s dialect.Settings) (dialect.Reply, error) {
	begun := time.Now()
	if d.session == nil {
		return dialect.Reply{}, d.explain("", d.absent())
	}
	r, err := d.dialect.Run(ctx, d.session, operation, d.settings(s))
	return r, d.explainAfter(operation, begun, err)
}

// absent says why there is no session.
func (d *device) absent() error {
	if d.closed {
		return link.ErrClosed
	}
	return link.ErrGone
}

// ready gets back into step if an earlier exchange failed. Nothing but the
// identity query is sent.
func (d *device) ready(ctx context.Context) error {
	if d.session == nil {
		return d.explain("", d.absent())
	}
	if d.session.Torn() == nil {
		return nil
	}
	if err := d.session.Resync(ctx); err != nil {
		return d.explain("*IDN?", err)
	}
	// What the queue holds belongs to the failed exchange, not to the next.
	_, err := d.session.Errors(ctx)
	return d.explain("", err)
}

// observe passes an exchange on.
func (d *device) observe(command string, elapsed time.Duration, err error) {
	if d.options.Observe != nil {
		d.options.Observe(Exchange{Role: d.options.Role, Command: command, Elapsed: elapsed, Err: err, Kind: KindOf(err)})
	}
}

func (d *device) explain(command string, err error) error {
	return d.explainAfter(command, time.Time{}, err)
}

// explainAfter makes an *InstrumentError of an error, with what the exchange
// knew of it.
func (d *device) explainAfter(command string, begun time.Time, err error) error {
	if err == nil {
		return nil
	}
	e := &InstrumentError{Role: d.options.Role, Address: d.options.Address, Command: command, Err: err, Hint: hint(err)}
	var wrong *dialect.WrongKindError
	if errors.As(err, &wrong) {
		e.Hint = fmt.Sprintf("give the address of the %s: ringup find lists what is there", d.options.Role)
	}
	if !begun.IsZero() {
		e.Elapsed = time.Since(begun)
	}
	var x *scpi.ExchangeError
	if errors.As(err, &x) {
		e.Command, e.Received, e.Err = x.Command, x.Received, x.Err
		if x.Elapsed > 0 {
			e.Elapsed = x.Elapsed
		}
	}
	return e
}

// hint says what to look at.
func hint(err error) string {
	if errors.Is(err, context.Canceled) || errors.Is(err, context.DeadlineExceeded) {
		return ""
	}
	switch KindOf(err) {
	case "timeout":
		return "check that the instrument is on and in remote control, the baud rate, and that the dialect fits it"
	case "gone":
		return "check power, cable and adapter; the address is opened again when it is back"
	case "garbled":
		return "check the baud rate, the cable, and that nothing else talks to the instrument"
	}
	return ""
}

// History returns the last 200 messages to and from the instrument, oldest
// first, over all its connections.
func (d *device) History() []Message { return d.memory.messages() }

// Close lets go of the instrument and switches nothing.
func (d *device) Close() error {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.closed = true
	return d.disconnect()
}

func (d *device) disconnect() error {
	if d.link == nil {
		return nil
	}
	l := d.link
	d.link, d.session = nil, nil
	return l.Close()
}
