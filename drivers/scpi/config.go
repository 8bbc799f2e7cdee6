// Package scpi exchanges IEEE 488.2 and SCPI messages with one instrument over
// a link: commands, queries, blocks, the error queue, and getting back into
// step after a reply was lost.
package scpi

import (
	"regexp"
	"time"
)

// Config is what differs between instruments in how a message is framed.
type Config struct {
	// Send and Receive end each message; both default to newline. A carriage
	// return before a received newline is dropped.
	Send, Receive string
	// Pause is the least time between the end of one exchange and the next
	// message, for instruments with small input queues.
	Pause time.Duration
	// TimeOut bounds each exchange; it defaults to 2 s. A block gets more by
	// its length, and each of its bytes must follow within TimeOut.
	TimeOut time.Duration
	// Quiet is how long nothing must arrive for Resync to believe that nothing
	// more comes, and for an unterminated reply to be complete; it defaults to
	// 100 ms.
	Quiet time.Duration
	// Unterminated says that neither the instrument's messages nor its replies
	// have an end of line. A message is then sent bare, and a reply is what came
	// before Quiet.
	Unterminated bool
	// BlankLines says that empty lines may come between replies; they are
	// dropped.
	BlankLines bool
	// Acknowledgement is the line an instrument sends after each setting;
	// empty for none.
	Acknowledgement string
	// Refusal is what a line looks like that comes instead of the
	// acknowledgement when the instrument does not accept a setting; nil for an
	// instrument that says nothing.
	Refusal *regexp.Regexp
	// Echo says that the instrument repeats each message before answering.
	Echo bool
	// ErrorQuery reads one entry of the error queue, or is *ESR? for an
	// instrument that only has the standard event status register; empty for
	// instruments without either.
	ErrorQuery string
	// IdentityQuery asks who the instrument is; it defaults to *IDN?.
	IdentityQuery string
	// Observe is called after each exchange with what was sent, how long it
	// took and how it ended; it may be nil.
	Observe func(command string, elapsed time.Duration, err error)
}

func (c Config) withDefaults() Config {
	if c.Send == "" && !c.Unterminated {
		c.Send = "\n"
	}
	if c.IdentityQuery == "" {
		c.IdentityQuery = "*IDN?"
	}
	if c.Receive == "" {
		c.Receive = "\n"
	}
	if c.TimeOut == 0 {
		c.TimeOut = 2 * time.Second
	}
	if c.Quiet == 0 {
		c.Quiet = 100 * time.Millisecond
	}
	return c
}
