package vectors

import "math"

// Oscillation is one stretch of running: it grows from its beginning, settles,
// and may die again. Times count from the rail's threshold.
//
// While it grows its envelope is that of an oscillator whose gain falls with
// the square of its amplitude,
//
//	A(t) = Volts / sqrt(1 + ((Volts/a0)^2 - 1) exp(-2t/Growth))
//
// so that t = (Growth/2) ln[((Volts/a0)^2 - 1) / (1/f^2 - 1)] at the fraction f
// of Volts (the averaged van der Pol oscillator).
type Oscillation struct {
	Hertz   float64
	Volts   float64 // peak, settled
	Growth  float64 // s, time constant
	Begins  float64 // s, before which there is nothing
	StartAt float64 // s, when the envelope passes 90 % of Volts
	StopAt  float64 // s, when it begins to die; 0 = never
	Decay   float64 // s, time constant of its dying
	Shape   Shape
	Sag     func(t float64) float64 // factor on the envelope; nil = 1
	Pull    func(t float64) float64 // phase added, radians; nil = 0
}

// Shape is the form of the wave.
type Shape int

// Shapes: a crystal's pin, a logic output, a pin whose peaks are rounded by
// harmonics, and the sawtooth of a circuit that relaxes.
const (
	Sine Shape = iota
	Square
	Harmonics // 20 % second and 10 % third harmonic
	Sawtooth
)

// wave is the shape at a phase, its peak about 1.
func (s Shape) wave(phase float64) float64 {
	switch s {
	case Square:
		return math.Copysign(1, math.Cos(phase))
	case Harmonics:
		return math.Cos(phase) + 0.2*math.Cos(2*phase+0.4) + 0.1*math.Cos(3*phase+1)
	case Sawtooth:
		return math.Remainder(phase, 2*math.Pi) / math.Pi
	}
	return math.Cos(phase)
}

// Envelope is the amplitude at a time.
func (o Oscillation) Envelope(t float64) float64 {
	if t < o.Begins || o.Volts == 0 {
		return 0
	}
	a := o.Volts
	if o.Growth > 0 {
		a /= math.Sqrt(1 + (1/0.81-1)*math.Exp(-2*(t-o.StartAt)/o.Growth))
	}
	if o.StopAt > 0 && t > o.StopAt {
		a *= math.Exp(-(t - o.StopAt) / o.Decay)
	}
	if o.Sag != nil {
		a *= o.Sag(t)
	}
	return a
}

// Reaches returns when a growing envelope passes a fraction of Volts.
func (o Oscillation) Reaches(fraction float64) float64 {
	return o.StartAt + o.Growth/2*math.Log((1/0.81-1)/(1/(fraction*fraction)-1))
}

// Dropout returns when a dying envelope falls through half of Volts.
func (o Oscillation) Dropout() float64 {
	if o.StopAt == 0 {
		return math.NaN()
	}
	return o.StopAt + o.Decay*math.Ln2
}
