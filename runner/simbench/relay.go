package simbench

import (
	"fmt"
	"strconv"
	"strings"
	"time"
)

// contacts is how many relays the simulated switching instrument has. The first is in the supply's lead.
const contacts = 4

// relays is the simulated switching instrument of a bench whose supply has no remote control: that is set by hand, its
// output always on, and reaches the unit while contact 1 is closed.
type relays struct {
	supply *supply
	closed [contacts + 1]bool // of the contacts that lead nowhere, by number
}

func newRelays(s *supply, seed uint64) *instrument {
	r := &relays{supply: s}
	route := func(close bool) func(call) *scpiError {
		return func(c call) *scpiError {
			n, err := c.contact(0)
			if err == nil {
				err = r.route(c.now, n, close)
			}
			return err
		}
	}
	return newInstrument(fmt.Sprintf("ringup,simulated switch,SWI-%d,1", seed), r.reset, func(time.Time) {},
		command{pattern: "[ROUTe]:CLOSe", parameters: 1, queryParameters: 1, set: route(true),
			query: func(c call) ([]byte, *scpiError) {
				n, err := c.contact(0)
				if err != nil {
					return nil, err
				}
				return flag(n == 1 && s.on || r.closed[n]), nil
			},
		},
		command{pattern: "[ROUTe]:OPEN", parameters: 1, set: route(false)},
		command{pattern: "[ROUTe]:OPEN:ALL", set: func(c call) *scpiError { r.reset(c.now); return nil }},
	)
}

func (r *relays) route(now time.Time, n int, close bool) *scpiError {
	switch {
	case n != 1:
		r.closed[n] = close
	case close:
		return r.supply.switchOn(now)
	default:
		r.supply.switchOff(now)
	}
	return nil
}

func (r *relays) reset(now time.Time) {
	r.closed = [contacts + 1]bool{}
	r.supply.switchOff(now)
}

// contact reads parameter i as a channel list of SCPI-99 (volume 1, 8.3.2) with one channel in it, such as (@1).
func (c call) contact(i int) (int, *scpiError) {
	text, list := strings.CutPrefix(c.parameters[i], "(@")
	text, ends := strings.CutSuffix(text, ")")
	n, err := strconv.Atoi(strings.TrimSpace(text))
	if !list || !ends || err != nil {
		return 0, errorf(-171, "%s; a channel list is (@1)", c.parameters[i])
	}
	if n < 1 || n > contacts {
		return 0, errorf(-222, "contact %d, allowed 1 to %d", n, contacts)
	}
	return n, nil
}
