package vectors

import "math"

// Power is one power-up in closed form: the rail, and what the unit and the
// wiring make of it at the clock's probe. Time 0 is where the rail passes its
// threshold.
type Power struct {
	RailVolts float64               // where the rail settles
	Ramp      float64               // s, from 0 to RailVolts, a straight line
	Threshold float64               // V; where it is above RailVolts time 0 is the ramp's beginning
	RailSag   func(float64) float64 // V, added to the rail; nil = 0
	Always    bool                  // the rail was up long before the record

	Clock []Oscillation

	Bias          float64 // V, the mean of the clock's node when powered
	BiasDelay     float64 // s, time constant by which the mean follows the rail
	Coupling      float64 // V, peak of what the rail's rise couples into the probe, through a high-pass
	CouplingDecay float64 // s, time constant of the high-pass
	Ringing       float64 // V, peak of a burst that the rail's rise sets off in the probe's ground lead
	RingingHertz  float64
	RingingDecay  float64 // s
	Hum           float64 // V peak, mains
	HumHertz      float64
	Pickup        float64 // V peak, a steady foreign carrier
	PickupHertz   float64
	ProbeError    float64 // relative overshoot of an uncompensated probe's step, negative = undershoot
	ProbeDelay    float64 // s, time constant of that error
	Drift         float64 // V/s
}

// rampStart is when the rail leaves 0.
func (p Power) rampStart() float64 {
	if p.Threshold > p.RailVolts || p.RailVolts == 0 {
		return 0
	}
	return -p.Ramp * p.Threshold / p.RailVolts
}

// Rail is the rail's voltage.
func (p Power) Rail(t float64) float64 {
	v := p.RailVolts
	if !p.Always {
		v *= min(1, max(0, (t-p.rampStart())/p.Ramp))
	}
	if p.RailSag != nil {
		v += p.RailSag(t)
	}
	return v
}

// lag is the response of a single pole to the rail's ramp from 0 to 1.
func (p Power) lag(t, delay float64) float64 {
	if p.Always {
		return 1
	}
	t -= p.rampStart()
	if t <= 0 {
		return 0
	}
	if delay == 0 {
		return min(1, t/p.Ramp)
	}
	integral := func(t float64) float64 { return t + delay*math.Expm1(-t/delay) }
	v := integral(t)
	if t > p.Ramp {
		v -= integral(t - p.Ramp)
	}
	return v / p.Ramp
}

// Mean is the voltage at the clock's probe without any oscillation.
func (p Power) Mean(t float64) float64 {
	v := p.Bias*p.lag(t, p.BiasDelay) + p.Drift*t
	if p.ProbeError != 0 {
		// What a probe adds that is out of trim: a high-pass of what it sees.
		v += p.ProbeError * p.Bias * (p.lag(t, p.BiasDelay) - p.lag(t, p.BiasDelay+p.ProbeDelay))
	}
	if p.Coupling != 0 {
		peak := p.CouplingDecay / p.Ramp * -math.Expm1(-p.Ramp/p.CouplingDecay)
		v += p.Coupling / peak * (p.lag(t, 0) - p.lag(t, p.CouplingDecay))
	}
	if since := t - p.rampStart(); p.Ringing != 0 && since > 0 {
		v += p.Ringing * math.Exp(-since/p.RingingDecay) * math.Sin(2*math.Pi*p.RingingHertz*since)
	}
	if p.Hum != 0 {
		v += p.Hum * math.Sin(2*math.Pi*p.HumHertz*t+1)
	}
	if p.Pickup != 0 {
		v += p.Pickup * math.Sin(2*math.Pi*p.PickupHertz*t+2)
	}
	return v
}

// Envelope is the amplitude of the clock.
func (p Power) Envelope(t float64) float64 {
	a := 0.0
	for _, o := range p.Clock {
		a += o.Envelope(t)
	}
	return a
}

// At is the voltage at the clock's probe; phase is added to every oscillation.
func (p Power) At(t, phase float64) float64 {
	v := p.Mean(t)
	for _, o := range p.Clock {
		if a := o.Envelope(t); a != 0 {
			turn := 2*math.Pi*o.Hertz*t + phase
			if o.Pull != nil {
				turn += o.Pull(t)
			}
			v += a * o.Shape.wave(turn)
		}
	}
	return v
}
