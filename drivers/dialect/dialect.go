// Package dialect reads dialect files and speaks by them. A dialect is how one
// family of instruments words its commands: data in TOML, so that a further
// instrument needs a file and no code.
package dialect

import (
	"regexp"
	"slices"
	"time"

	"ringup/drivers/scpi"
)

// Kind is what sort of instrument a dialect is for.
type Kind string

// The kinds of instrument there are.
const (
	Supply      Kind = "supply"
	Scope       Kind = "scope"
	Thermometer Kind = "thermometer"
	Switch      Kind = "switch"
)

// Dialect is one dialect file, checked.
type Dialect struct {
	Kind Kind
	Name string
	// File is where it was read from.
	File string
	// Guide cites the programming guide or standard that the words are from.
	Guide string
	// HardwareTried is "no", or which instrument it was tried on.
	HardwareTried string
	// MostPoints is how many points one record of a scope holds, and
	// MostSamplesPerSecond how fast it samples with all its channels on; 0 where
	// the file does not say.
	MostPoints           int
	MostSamplesPerSecond float64

	identity *regexp.Regexp
	own      bool // from the user's folder
	session  scpi.Config
	join     string // joins commands into one message; "" sends each alone
	longest  int    // bytes in a message
	ops      map[string]operation
}

// Session is how messages are framed for this family of instruments.
func (d *Dialect) Session() scpi.Config { return d.session }

// Has says whether the dialect has an operation.
func (d *Dialect) Has(operation string) bool {
	_, ok := d.ops[operation]
	return ok
}

// NamesChannel says whether every command that sets or switches an output names
// it, so that none has to be selected.
func (d *Dialect) NamesChannel() bool {
	for _, name := range []string{"set_volts", "set_amps", "output_on", "output_off"} {
		named := false
		for _, st := range d.ops[name].steps {
			named = named || slices.Contains(st.message.names(), "channel")
		}
		if !named {
			return false
		}
	}
	return true
}

// Matches says whether the dialect fits an instrument with this *IDN? reply.
func (d *Dialect) Matches(identity string) bool { return d.identity.MatchString(identity) }

// operation is an ordered list of steps, and what its reply means.
type operation struct {
	steps    []step
	optional bool     // an instrument without these commands is fine, too
	fields   []string // names of a list's values: by position, or as the reply names them
	values   map[string]expression
	meaning  []meaning
	sample   sampleForm
	chunk    int // samples that one query gives at most; 0 for all
}

// step sends a command or asks a query.
type step struct {
	message template
	ask     bool
	reply   ReplyType
	prefix  string // text that comes before the value
	mask    uint64 // of a bits or byte reply: yes if any of these bits is set
	as      string // the name by which values use the reply
	// verify is the setting that the reply must equal, or an expression over
	// settings; expected is the same parsed. The tolerance is an absolute one in
	// the reply's unit plus one relative to what is expected.
	verify           string
	expected         expression
	within, relative float64
}

// ReplyType is the form of a reply.
type ReplyType string

// The forms of reply there are.
const (
	NumberReply  ReplyType = "number"
	BooleanReply ReplyType = "boolean"
	TextReply    ReplyType = "text"
	NumbersReply ReplyType = "numbers"
	BlockReply   ReplyType = "block"
	// QuantityReply is a number with its unit, as in 500MSa/s or 3.300V.
	QuantityReply ReplyType = "quantity"
	// NamedReply is a list of names with values, as in YMULT 4.0E-3;YOFF 0.
	NamedReply ReplyType = "named"
	// BitsReply is a row of 0 and 1, the leftmost the most significant.
	BitsReply ReplyType = "bits"
	// ByteReply is one byte that is not text.
	ByteReply ReplyType = "byte"
)

// replyTypes lists them for messages.
var replyTypes = []ReplyType{NumberReply, BooleanReply, TextReply, NumbersReply, BlockReply, QuantityReply, NamedReply, BitsReply, ByteReply}

// gives is the kind of value that an operation gets from a reply of this form:
// a quantity is a number, and bits are a boolean.
func (r ReplyType) gives() ReplyType {
	switch r {
	case QuantityReply:
		return NumberReply
	case BitsReply, ByteReply:
		return BooleanReply
	}
	return r
}

// State is where an acquisition stands.
type State string

// The states of an acquisition.
const (
	Waiting State = "waiting" // for the trigger
	Running State = "running"
	Done    State = "done"
)

// meaning maps a reply to a state: any of bits set in it, all of clear not set
// in it, or it equals text.
type meaning struct {
	bits, clear uint64
	equals      string
	state       State
}

const (
	defaultTimeOut = 2 * time.Second
	defaultLongest = 255
)
