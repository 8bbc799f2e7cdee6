// Package dialect reads dialect files and speaks by them. A dialect is how one
// family of instruments words its commands: data in TOML, so that a further
// instrument needs a file and no code.
package dialect

import (
	"regexp"
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

// Matches says whether the dialect fits an instrument with this *IDN? reply.
func (d *Dialect) Matches(identity string) bool { return d.identity.MatchString(identity) }

// operation is an ordered list of steps, and what its reply means.
type operation struct {
	steps    []step
	optional bool     // an instrument without these commands is fine, too
	fields   []string // names of a list's values by position
	meaning  []meaning
}

// step sends a command or asks a query.
type step struct {
	message template
	ask     bool
	reply   ReplyType
	// verify names the setting that the reply must equal, within an absolute
	// tolerance in the setting's unit plus one relative to it.
	verify           string
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
)

// State is where an acquisition stands.
type State string

// The states of an acquisition.
const (
	Waiting State = "waiting" // for the trigger
	Running State = "running"
	Done    State = "done"
)

// meaning maps a reply to a state: any of bits set in it, or it equals text.
type meaning struct {
	bits   uint64
	equals string
	state  State
}

const (
	defaultTimeOut = 2 * time.Second
	defaultLongest = 255
)
