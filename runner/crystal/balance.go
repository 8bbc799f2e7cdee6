package crystal

import (
	"math"
	"math/cmplx"
)

// stageCurrent is a stage's static law: amperes pulled out of node D at the
// voltages of its input and its output.
type stageCurrent func(va, vd float64) float64

// SteadyState is a limited oscillation.
type SteadyState struct {
	AVolts, BVolts, MotionalAmps float64 // peak
	Hertz                        float64
}

// balance is one-harmonic balance of a stage in its net: the voltages are a
// direct part and one sine, the stage's current is sampled over a period. It
// serves where the closed form of rail limiting is too coarse, and shows what
// that cannot: a stage with more gain at large than at small amplitude.
type balance struct {
	n      *Net
	c0     float64
	sink   stageCurrent
	supply float64
	omega  float64
	// state is the phasor at D against A, and the direct voltages of A and D.
	state [4]float64
}

// balanceSamples a period: the stage's harmonics beyond it are small.
const balanceSamples = 96

var cosines, sines = func() (c, s [balanceSamples]float64) {
	for i := range c {
		s[i], c[i] = math.Sincos(2 * math.Pi * float64(i) / balanceSamples)
	}
	return
}()

// direct and fundamental parts of the stage's current for an amplitude a at A.
func (b *balance) current(a float64, state *[4]float64) (direct float64, first complex128) {
	var re, im float64
	for i := range balanceSamples {
		va := state[2] + a*cosines[i]
		vd := state[3] + state[0]*cosines[i] - state[1]*sines[i]
		y := b.sink(va, vd)
		direct += y
		re += y * cosines[i]
		im -= y * sines[i]
	}
	const k = 1.0 / balanceSamples
	return direct * k, complex(2*re*k, 2*im*k)
}

// links are node B's phasor and the motional current that follow from A and D,
// and what is left over at D apart from the stage.
func (b *balance) links(a float64, d complex128) (vb, motional, left complex128) {
	y := b.n.admittances(b.c0, complex(0, b.omega))
	y.d -= complex(b.n.Gds, 0) // the static law has its own output conductance
	va := complex(a, 0)
	if b.n.Rs == 0 {
		motional = -(y.a*va + (y.ab+y.ad)*(va-d))
		return d, motional, y.a*va + (y.b+y.d)*d
	}
	gs := complex(1/b.n.Rs, 0)
	vb = (gs*d + y.ad*(d-va) - y.a*va) / (y.b + gs)
	motional = -(y.a*va + y.ab*(va-vb) + y.ad*(va-d))
	return vb, motional, y.d*d + y.ad*(d-va) + gs*(d-vb)
}

// residual of the four balance equations at an amplitude.
func (b *balance) residual(a float64, state *[4]float64) [4]float64 {
	direct, first := b.current(a, state)
	_, _, left := b.links(a, complex(state[0], state[1]))
	sum := left + first
	l := b.n.leaks()
	va, vd := state[2], state[3]
	// A draws no direct current but its leaks'; R_s carries next to none.
	return [4]float64{
		real(sum), imag(sum),
		(vd-va)/l.feedback - va*l.aGround + (b.supply-va)*l.aSupply,
		direct + (vd-va)/l.feedback + vd*l.bGround,
	}
}

// solve settles the state at an amplitude by Newton's method from where it is.
func (b *balance) solve(a float64) bool {
	for range 60 {
		f := b.residual(a, &b.state)
		var jacobian [4][5]float64
		for j := range 4 {
			h := 1e-6 * max(math.Abs(b.state[j]), 1e-2)
			moved := b.state
			moved[j] += h
			g := b.residual(a, &moved)
			for i := range 4 {
				jacobian[i][j] = (g[i] - f[i]) / h
			}
		}
		for i := range 4 {
			jacobian[i][4] = -f[i]
		}
		step, ok := eliminate(jacobian)
		if !ok {
			return false
		}
		largest := 0.0
		for _, s := range step {
			largest = max(largest, math.Abs(s))
		}
		// A step of more than half a volt leaves the region where the slope holds.
		damp := min(1, 0.5/largest)
		for i := range step {
			b.state[i] += damp * step[i]
		}
		if largest < 1e-9*(1+a) {
			return true
		}
	}
	return false
}

// eliminate solves four linear equations by Gauss with pivoting.
func eliminate(m [4][5]float64) (x [4]float64, ok bool) {
	for k := range 4 {
		p := k
		for i := k + 1; i < 4; i++ {
			if math.Abs(m[i][k]) > math.Abs(m[p][k]) {
				p = i
			}
		}
		if m[p][k] == 0 {
			return x, false
		}
		m[k], m[p] = m[p], m[k]
		for i := k + 1; i < 4; i++ {
			q := m[i][k] / m[k][k]
			for j := k; j < 5; j++ {
				m[i][j] -= q * m[k][j]
			}
		}
	}
	for k := 3; k >= 0; k-- {
		x[k] = m[k][4]
		for j := k + 1; j < 4; j++ {
			x[k] -= m[k][j] * x[j]
		}
		x[k] /= m[k][k]
	}
	return x, true
}

// ohms is |-R| that the motional arm sees at an amplitude, and the steady state
// it would be.
func (b *balance) ohms(x Resonator, a float64) (negative float64, s SteadyState, ok bool) {
	for range 3 { // the crystal is stiff: ω hardly moves
		if ok = b.solve(a); !ok {
			return 0, s, false
		}
		vb, motional, _ := b.links(a, complex(b.state[0], b.state[1]))
		z := (complex(a, 0) - vb) / motional
		negative = real(z)
		b.omega = x.omega(-imag(z))
		s = SteadyState{AVolts: a, BVolts: cmplx.Abs(vb), MotionalAmps: cmplx.Abs(motional), Hertz: b.omega / (2 * math.Pi)}
	}
	return negative, s, true
}

// steady finds the largest stable amplitude: the last one at which |-R| still
// covers R1 while the amplitude rises. most is the largest amplitude looked at.
func (b *balance) steady(x Resonator, most float64) (SteadyState, bool) {
	const least, steps = 2e-3, 48
	ratio := math.Pow(most/least, 1.0/steps)
	type seen struct {
		a     float64
		state [4]float64
	}
	var good, bad seen
	a := least
	for range steps + 1 {
		negative, _, ok := b.ohms(x, a)
		if !ok {
			break
		}
		if negative > x.R1 {
			good, bad = seen{a, b.state}, seen{}
		} else if good.a > 0 && bad.a == 0 {
			bad = seen{a, b.state}
		}
		a *= ratio
	}
	if good.a == 0 || bad.a == 0 {
		return SteadyState{}, false
	}
	b.state = good.state
	a = boundary(good.a, bad.a, func(a float64) bool {
		negative, _, ok := b.ohms(x, a)
		return ok && negative > x.R1
	})
	_, s, ok := b.ohms(x, a)
	return s, ok
}

// Steady is the limited oscillation of the circuit by one-harmonic balance of
// the inverter's static law; false where none is sustained. It needs the law:
// ErrNoLaw where Gm is fixed, ErrNoLimiting where Ro is. It takes milliseconds; Analyse's closed form is good to some 6 %.
func (c Circuit) Steady() (SteadyState, bool, error) {
	if err := c.limitingLaw(); err != nil {
		return SteadyState{}, false, err
	}
	s, ok := c.balanced()
	return s, ok, nil
}

// limitingLaw is an error where the stage is not that of the static law.
func (c *Circuit) limitingLaw() error {
	switch {
	case c.Gm > 0:
		return ErrNoLaw
	case c.Ro > 0:
		return ErrNoLimiting
	}
	return nil
}

func (c *Circuit) balanced() (SteadyState, bool) {
	o := c.operate()
	d := c.Inverter.at(c.Celsius)
	b := balance{
		n: &o.n, c0: o.x.C0, supply: c.SupplyVolts, omega: o.omega,
		sink: func(va, vd float64) float64 { return d.sink(c.SupplyVolts, va, vd) },
	}
	b.state = [4]float64{0, 0, o.stage.AVolts, o.stage.BVolts}
	return b.steady(o.x, 2*c.SupplyVolts)
}

// HoldVolts is the least supply in volts at which an oscillation once running
// is sustained: at low supply the push-pull stage has more gain at large than at
// small amplitude, so that it can lie below LowestStart. NaN if none is up to
// 6 V; ErrNoLaw where gm is fixed, ErrNoLimiting where ro is.
func (c Circuit) HoldVolts() (float64, error) {
	if err := c.limitingLaw(); err != nil {
		return math.NaN(), err
	}
	holds := func(volts float64) bool {
		d := c.At(volts, c.Celsius)
		_, ok := d.balanced()
		return ok
	}
	// It holds where it starts, and the search goes down from there.
	high := c.lowest(func(d *Circuit) bool { o := d.operate(); return o.negative() > o.x.R1 })
	if math.IsNaN(high) {
		high = mostSupply
	}
	for high += 0.05; high > leastSupply && holds(high); high -= 0.05 {
		if low := high - 0.05; !holds(low) {
			for range 7 { // to 0.4 mV
				mid := (low + high) / 2
				if holds(mid) {
					high = mid
				} else {
					low = mid
				}
			}
			return high, nil
		}
	}
	return math.NaN(), nil
}
