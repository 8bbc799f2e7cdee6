package simbench

import "errors"

// errNotServed says that a wire fault was asked of a bench that has no wires.
var errNotServed = errors.New("simulated bench: not served, or closed")

// behind changes something behind a front panel.
func (f *Faults) behind(change func(b *Bench)) {
	f.bench.mu.Lock()
	defer f.bench.mu.Unlock()
	change(f.bench)
}

// StickOutput makes the supply ignore every command to switch its output off, or obey again.
func (f *Faults) StickOutput(stuck bool) {
	f.IgnoreOff(map[bool]int{true: -1}[stuck])
}

// IgnoreOff makes the supply, while its output is on, ignore the next n commands to switch it off, or with -1 all.
func (f *Faults) IgnoreOff(n int) { f.behind(func(b *Bench) { b.supply.deaf = n }) }

// OpenLead breaks the lead between supply and unit, or mends it. A unit that was powered loses its power at once; a
// mended lead carries power from the next time the output comes on.
func (f *Faults) OpenLead(open bool) {
	f.behind(func(b *Bench) {
		b.supply.leadOpen = open
		if open {
			b.world.switchOff(b.clock.Now())
		}
	})
}

// Overcurrent makes the supply deliver and measure so many amperes more than the unit draws, its limit and protection
// notwithstanding; zero ends it.
func (f *Faults) Overcurrent(amps float64) { f.behind(func(b *Bench) { b.supply.extraAmps = amps }) }

// MissTrigger makes the scope's next acquisition that waits for an edge wait for ever.
func (f *Faults) MissTrigger() { f.behind(func(b *Bench) { b.scope.missed = true }) }

// QueueError puts an error into an instrument's queue, such as -240, "Hardware error".
func (f *Faults) QueueError(name Instrument, number int, detail string) {
	f.bench.complain(name, scpiError{number: number, detail: detail})
}

// endlessErrors gives an instrument an error queue that never empties, or mends it.
func (f *Faults) endlessErrors(name Instrument, on bool) {
	f.behind(func(b *Bench) { b.instruments[name].status.endless = on })
}

// reboot is an instrument that loses its own power for a moment: its output goes off, its settings are those of *RST,
// what it recorded is gone, and a socket breaks or a USB device leaves its bus. A serial line stays and shows a NUL, from the transmitter's fall.
func (f *Faults) reboot(name Instrument) error {
	f.behind(func(b *Bench) {
		i := b.instruments[name]
		i.reset(b.clock.Now())
		endless := i.status.endless
		i.status = status{event: eventPowerOn, endless: endless}
	})
	f.bench.wires.Lock()
	p := f.bench.ports[name]
	goes := p.transport == TCP || p.wire != nil
	f.bench.wires.Unlock()
	if goes {
		return f.replug(name)
	}
	return nil
}
