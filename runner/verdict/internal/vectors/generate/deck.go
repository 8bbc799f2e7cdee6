package main

import (
	"fmt"
	"math"
	"strings"
)

// deck is the circuit in ngspice's words, with the measures taken by ngspice
// itself: when the rail passes half of the setting, when the clock passes 90 %
// of its settled amplitude, its frequency over many periods, its extremes.
func (c circuit) deck() string {
	var b strings.Builder
	w := 2 * math.Pi * c.hertz
	l1 := c.q * c.r1 / w
	ca, cb, across := c.ca+6.5, c.cb+5.5, 4.9 // pF, with the strays of board and stage
	net := across + ca*cb/(ca+cb)
	c1 := 1 / (w*w*l1*1e-12 - 1/net) // pF: with the net's capacitance in series it resonates at hertz
	fmt.Fprintf(&b, "* %s: %s\n", c.name, c.comment)
	fmt.Fprintf(&b, "Vset set 0 PWL(0 0 10u 0 12u %g%s)\nRset set vdd %g\nCdec vdd 0 100n\n", c.volts, c.dip, c.ohms)
	if c.load > 0 {
		fmt.Fprintf(&b, "Rload vdd 0 %g\n", c.load)
	}
	switch c.stage {
	case "inverter":
		fmt.Fprintf(&b, "Mn b a 0 0 nm W=10u L=10u\nMp b a vdd vdd pm W=10u L=10u\n")
		fmt.Fprintf(&b, ".model nm NMOS(LEVEL=1 VTO=0.9 KP=%g LAMBDA=0.05 TNOM=25)\n", c.kp)
		fmt.Fprintf(&b, ".model pm PMOS(LEVEL=1 VTO=-0.9 KP=%g LAMBDA=0.05 TNOM=25)\n", c.kp)
	default:
		fmt.Fprintf(&b, "Bstage b 0 I = V(vdd)/%g*%g*tanh(1m/%g*V(a))\nRo b 0 50k\n", c.volts, c.saturate, c.saturate)
	}
	fmt.Fprintf(&b, "Ra a ax %g\nCa ax 0 %gp\nCas a 0 6.5p\nRb b bx 0.3\nCb bx 0 %gp\nCbs b 0 5.5p\nCx a b %gp\nRf a b %g\n",
		c.ra, c.ca, c.cb, across, c.rf)
	if c.leak > 0 {
		fmt.Fprintf(&b, "Rleak a b %g\n", c.leak)
	}
	fmt.Fprintf(&b, "L1 a m1 %.9g ic=0.1u\nC1 m1 m2 %.9gp\nR1 m2 b %g\n%s", l1, c1, c.r1, c.extra)
	fmt.Fprintf(&b, ".options method=trap reltol=1e-5 abstol=1e-15 vntol=1e-9 temp=25\n.tran 1n 121u 0 1n uic\n")
	fmt.Fprintf(&b, ".control\nsave v(vdd) v(a)\nrun\nlinearize v(vdd) v(a)\n")
	fmt.Fprintf(&b, "meas tran rise when v(vdd)=%g rise=1\nmeas tran rail avg v(vdd) from=105u to=110u\n", c.volts/2)
	if c.runs {
		fmt.Fprintf(&b, "meas tran top max v(a) from=%gu to=%gu\nmeas tran bottom min v(a) from=%gu to=%gu\n",
			c.settled[0], c.settled[1], c.settled[0], c.settled[1])
		fmt.Fprintf(&b, "meas tran early max v(a) from=%gu to=%gu\n", c.settled[0], (c.settled[0]+c.settled[1])/2)
		b.WriteString("let middle = (top + bottom)/2\nlet high = middle + 0.9*(top - bottom)/2\nlet half = middle + 0.5*(top - bottom)/2\n")
		b.WriteString("meas tran reach when v(a)=$&high rise=1 td=14u\n")
		fmt.Fprintf(&b, "meas tran first when v(a)=$&middle rise=1 td=%gu\n", c.settled[0])
		fmt.Fprintf(&b, "meas tran last when v(a)=$&middle rise=%d td=%gu\n", 1+c.periods(), c.settled[0])
	}
	if c.stops {
		b.WriteString("meas tran stop when v(a)=$&half fall=last\n")
		b.WriteString("meas tran left max v(a) from=106u to=110u\n")
	}
	fmt.Fprintf(&b, "set wr_singlescale\nwrdata %s.dat v(vdd) v(a)\n.endc\n.end\n", c.name)
	return b.String()
}

// periods is how many whole periods of the lowest frequency in question lie in
// the settled stretch.
func (c circuit) periods() int { return int(0.9 * (c.settled[1] - c.settled[0]) * c.hertz / 1e6) }
