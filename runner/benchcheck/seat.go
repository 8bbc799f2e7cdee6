package benchcheck

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"ringup/drivers"
	"ringup/drivers/dialect"
	"ringup/drivers/link"
	"ringup/drivers/scpi"
	"ringup/runner"
	"ringup/runner/bench"
)

// seat is a place for an instrument in the bench file, and what sits there.
type seat struct {
	role    string
	kind    dialect.Kind
	key     string // of the table in the bench file
	says    bench.Instrument
	address string // to be opened
	line    string // of a serial adapter that drives a relay: nothing answers there

	found    bool // the right kind of instrument answers there
	identity scpi.Identity
	dialect  *dialect.Dialect
}

// power opens what switches the unit's supply.
func (s *seat) power(ctx context.Context, b *bench.Bench, dialects string) (drivers.Supply, error) {
	p := runner.PowerOf(b, dialects)
	p.Address = s.address
	if s.dialect != nil {
		p.Dialect = s.dialect.Name
	}
	return p.Open(ctx, nil)
}

func seatsOf(b *bench.Bench, addresses map[string]string) []*seat {
	all := []*seat{{role: "supply", kind: dialect.Supply, key: "supply", says: b.Supply}}
	if b.Switch != nil {
		all[0] = &seat{role: "switch", kind: dialect.Switch, key: "switch", says: b.Switch.Instrument, line: b.Switch.Line}
	}
	if b.HasScope() {
		all = append(all, &seat{role: "scope", kind: dialect.Scope, key: "scope", says: b.Scope})
	}
	if b.Thermometer != nil {
		all = append(all, &seat{role: "thermometer", kind: dialect.Thermometer, key: "thermometer", says: *b.Thermometer})
	}
	for _, s := range all {
		s.address = s.says.Address
		if actual, ok := addresses[s.address]; ok {
			s.address = actual
		}
	}
	return all
}

func (s *seat) options(dialects string) drivers.Options {
	return drivers.Options{Role: s.role, Address: s.address, Dialect: s.dialect.Name, Channel: s.says.Channel, DialectDir: dialects}
}

// identify finds out who sits where. An instrument is asked nothing but who it is and what its error queue holds until
// it is known to be of the right kind: to the wrong one, the next command might mean anything.
func (c *Checker) identify(ctx context.Context) error {
	for _, s := range c.seats {
		if s.line != "" {
			s.found = true
			c.note(s.role, "", "the line %s of %s drives a relay: nothing there can be identified or read back", s.line, s.says.Address)
			continue
		}
		if err := c.identifyOne(ctx, s); err != nil {
			return err
		}
	}
	for i, s := range c.seats {
		for _, other := range c.seats[:i] {
			if s.found && other.found && s.line == "" && other.line == "" && SameInstrument(s.identity, other.identity) {
				s.found = false
				c.wrongAt(s.key+".address", s.role, "give the address of another instrument",
					"%s and the %s's %s lead to one and the same instrument, %s", s.says.Address, other.role, other.says.Address, name(s.identity))
			}
		}
	}
	return ctx.Err()
}

// name is an identity for a person.
func name(i scpi.Identity) string {
	text := i.Maker + " " + i.Model
	if i.Serial != "" && i.Serial != "0" {
		text += ", serial number " + i.Serial
	}
	return text
}

// identifyPatience is how long an instrument of unknown dialect may take to say who it is.
const identifyPatience = time.Second

// identifyOne asks one instrument. Its error is the end of ctx; all else is a finding.
func (c *Checker) identifyOne(ctx context.Context, s *seat) error {
	key := s.key + ".address"
	config := scpi.Config{TimeOut: identifyPatience}
	named := s.says.Dialect != "" && s.says.Dialect != "auto"
	if named {
		d, err := dialect.ByName(c.dialects, s.kind, s.says.Dialect)
		if err != nil {
			c.wrongAt(s.key+".dialect", s.role, "", "%v", err)
			return nil
		}
		s.dialect, config = d, d.Session()
	}
	l, err := link.Open(s.address)
	if errors.Is(err, link.ErrNoStatus) {
		c.noAnswer(ctx, s, err)
		return ctx.Err()
	}
	if err != nil {
		c.cannotOpen(s, err)
		return ctx.Err()
	}
	defer func() { l.Close() }()
	session := scpi.New(l, config)
	reply, err := session.Identify(ctx)
	if err != nil && ctx.Err() == nil {
		l.Close()
		c.noAnswer(ctx, s, err)
		return ctx.Err()
	}
	if err != nil {
		return err
	}
	identity, _, err := scpi.ParseIdentity(reply)
	if err != nil {
		identity = scpi.Identity{Model: reply}
	}
	var wrong *dialect.WrongKindError
	if errors.As(dialect.CheckKind(c.dialects, s.kind, reply), &wrong) {
		c.wrongAt(key, s.role, "give the address of the "+s.role+": ringup find lists what is there",
			"at %s stands no %s: this is a %s (%s)", s.says.Address, s.role, wrong.Is, name(identity))
		return nil
	}
	if !named {
		if s.dialect, err = dialect.Choose(c.dialects, s.kind, reply); err != nil {
			c.wrongAt(key, s.role, "", "%v", err)
			return nil
		}
		session.Configure(s.dialect.Session())
	}
	s.found, s.identity = true, identity
	c.pass(s.role, "%s at %s, dialect %s%s", name(identity), s.address, s.dialect.Name, tried(s.dialect))
	c.readQueue(ctx, s, session)
	return ctx.Err()
}

// tried warns of a dialect that has never met its instrument.
func tried(d *dialect.Dialect) string {
	if d.HardwareTried == "no" && !strings.HasPrefix(d.Name, "simulated-") {
		return " (not yet tried on hardware)"
	}
	return ""
}

// readQueue reports what an instrument has to complain of from before.
func (c *Checker) readQueue(ctx context.Context, s *seat, session *scpi.Session) {
	of := s.role + " errors"
	if session.Config().ErrorQuery == "" {
		c.note(of, "", "the instrument has no error queue; every setting is read back instead")
		return
	}
	messages, err := session.Errors(ctx)
	switch {
	case ctx.Err() != nil:
	case err != nil:
		s.found = false
		c.wrongAt("", of, "check that the dialect fits the instrument", "%v", err)
	case len(messages) == 0:
		c.pass(of, "none")
	case !slices.ContainsFunc(messages, scpi.InstrumentMessage.OfItself):
		c.note(of, "", "the error queue held %d, of messages that it did not understand: %v; an earlier program, or *IDN? at another baud rate; reading has emptied it",
			len(messages), texts(messages))
	default:
		c.wrongAt("", of, "reading has emptied it: look the error up in the instrument's manual, and check again",
			"the error queue held %d: %v", len(messages), texts(messages))
	}
}

func texts(messages []scpi.InstrumentMessage) string {
	var all []string
	for _, m := range messages {
		all = append(all, m.String())
	}
	return strings.Join(all, "; ")
}

// cannotOpen reports an address that does not open.
func (c *Checker) cannotOpen(s *seat, err error) {
	c.wrongAt(s.key+".address", s.role, "", "%v", Cause(err))
}

// Cause leaves out of an error that an address does not open what says no more: that this user lacks the permission.
func Cause(err error) error {
	var permission *link.PermissionError
	if errors.As(err, &permission) {
		return permission
	}
	return err
}

// noAnswer reports an instrument that does not say who it is and, where it would have at another speed or without its
// status byte, the address for that.
func (c *Checker) noAnswer(ctx context.Context, s *seat, cause error) {
	key := s.key + ".address"
	a, err := link.Parse(s.address)
	var answer Answer
	if err == nil && a.Kind != link.TCP {
		answer, err = Ask(ctx, a, true)
	}
	var unreadable *UnreadableError
	switch {
	case ctx.Err() != nil:
	case a.Kind == link.TCP, a.Kind == link.USBTMC && errors.As(err, &unreadable):
		c.wrongAt(key, s.role, "check that it is on and in remote control, and the address; an instrument that does not know *IDN?, or does not end its lines with LF, needs its dialect named",
			"%s: %s", s.says.Address, strings.ReplaceAll(cmp.Or(err, cause).Error(), s.address+": ", ""))
	case errors.As(err, &unreadable):
		c.wrongAt(key, s.role, "check that it is on and in remote control, its baud rate and the cable; an instrument that does not know *IDN? needs its dialect named",
			"%s: %v", s.says.Address, err)
	case err != nil:
		c.wrongAt(key, s.role, "", "%s: %v", s.says.Address, err)
	case answer.Address.MAVOff != a.MAVOff:
		c.wrongAt(key, s.role, fmt.Sprintf("write %q", answer.Address),
			"its status byte does not say when a reply waits; asked straight away, it answers %s", answer.Reply)
	case answer.Address.Baud != a.Baud:
		c.wrongAt(key, s.role, fmt.Sprintf("write %q", answer.Address),
			"no readable *IDN? at %d baud; at %d baud answers %s", a.Baud, answer.Address.Baud, answer.Reply)
	default:
		c.wrongAt(cmp.Or(s.key+".dialect", key), s.role, "name a dialect that ends its messages so",
			"%s answers %q to *IDN? ended with %s, its reply ends with %s, and dialect %q does not read that: %v",
			s.says.Address, answer.Reply, answer.Sent, answer.Ended, cmp.Or(s.says.Dialect, "auto"), cause)
	}
}
