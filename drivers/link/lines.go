package link

import "fmt"

// Lines switches the two output lines of a serial port. A relay that hangs on
// one of them is a switch that needs no instrument. Links over serial ports
// implement it; pseudo-terminals and some adapters have no such lines, and say
// so with an error.
//
// What the operating system does by itself, which a relay sees:
//
//   - Opening a port switches both lines on; no program can prevent that. With
//     dtr=off or rts=off in the address they go off again within the same Open:
//     one pulse, of 0.2 ms on an idle computer and up to 14 ms on a crowded one
//     (seen with a 16550), some milliseconds more on a USB adapter. A relay that
//     must not twitch needs a delay of 50 ms or so before its coil; and the port
//     is best opened once and held.
//   - Closing the port switches both lines off where the port's "hang up on
//     close" is set. It is as the last program left it, but an address with
//     dtr=off or rts=off sets it. The kernel closes the port of a process that
//     is killed, so the relay falls then, too.
type Lines interface {
	// SetDTR switches the line "data terminal ready" on or off.
	SetDTR(on bool) error
	// SetRTS switches the line "request to send" on or off.
	SetRTS(on bool) error
}

var _ Lines = (*serialLink)(nil)

// SetDTR implements Lines.
func (s *serialLink) SetDTR(on bool) error { return s.setLine("DTR", s.port.SetDTR, on) }

// SetRTS implements Lines.
func (s *serialLink) SetRTS(on bool) error { return s.setLine("RTS", s.port.SetRTS, on) }

func (s *serialLink) setLine(name string, set func(bool) error, on bool) error {
	s.lines.Lock()
	defer s.lines.Unlock()
	if err := s.enter(); err != nil {
		return err
	}
	defer s.leave()
	if err := set(on); err != nil {
		return fmt.Errorf("%s: switching %s: %w: %w; a pseudo-terminal has no such line, and an adapter that is unplugged has none either", s, name, ErrGone, err)
	}
	return nil
}

// linesOff switches off the lines that the address wants off. Opening the port
// has done so already, unless setting the baud rate switched them on again,
// which happens where an earlier program left the port at 0 baud.
func (s *serialLink) linesOff() error {
	if !s.address.DTROff && !s.address.RTSOff {
		return nil
	}
	if err := s.lock.hangUpOnClose(); err != nil {
		return fmt.Errorf("%s: %w: setting hang up on close: %w", s, ErrGone, err)
	}
	if s.address.DTROff {
		if err := s.SetDTR(false); err != nil {
			return err
		}
	}
	if s.address.RTSOff {
		return s.SetRTS(false)
	}
	return nil
}
