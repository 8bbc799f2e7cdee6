package crystal

import "math"

const (
	boltzmann   = 1.380649e-23    // J/K, exact (SI 2019)
	electron    = 1.602176634e-19 // C, exact (SI 2019)
	zeroCelsius = 273.15          // K
)

// Inverter is the law of the push-pull stage: the alpha-power law (Sakurai &
// Newton, IEEE JSSC 1990, from memory) with a soft threshold, and the
// temperature laws of threshold and mobility (after Filanovsky & Allam, IEEE
// TCAS-I 2001, from memory).
type Inverter struct {
	Gm0           float64 // S, both devices, at V0 and T0
	V0Volts       float64
	T0Kelvin      float64
	Vt0Volts      float64 // threshold at T0
	KvtVolts      float64 // threshold fall per kelvin
	Alpha         float64
	Mobility      float64 // exponent m of (T/T0)^-m
	Slope         float64 // n of the thermal voltage n·kT/q; 0 = hard threshold
	LambdaPerVolt float64
}

// Stage is the inverter at one bias point.
type Stage struct {
	Gm, Gds        float64 // S
	AVolts, BVolts float64 // DC at A and B
}

// devices are the two transistors' constants at one temperature.
type devices struct {
	vt, nu, beta, alpha, lambda float64
}

func (v *Inverter) at(celsius float64) devices { return v.heated(celsius, v.beta()) }

// heated is at for a current factor at T0 worked out before.
func (v *Inverter) heated(celsius, beta float64) devices {
	t := celsius + zeroCelsius
	d := devices{
		vt:     v.Vt0Volts - v.KvtVolts*(t-v.T0Kelvin),
		nu:     v.Slope * boltzmann * t / electron,
		alpha:  v.Alpha,
		lambda: v.LambdaPerVolt,
	}
	d.beta = beta * math.Pow(t/v.T0Kelvin, -v.Mobility)
	return d
}

// beta is the current factor of one device at T0 that gives Gm0 at V0.
func (v *Inverter) beta() float64 {
	u := devices{vt: v.Vt0Volts, nu: v.Slope * boltzmann * v.T0Kelvin / electron}
	vov, sigma := u.overdrive(v.V0Volts / 2)
	return v.Gm0 / (1 + v.LambdaPerVolt*v.V0Volts/2) / (2 * v.Alpha * math.Pow(vov, v.Alpha-1) * sigma)
}

// overdrive is the gate drive beyond the threshold, softened below it, and its
// slope against the gate voltage.
func (d *devices) overdrive(vgs float64) (vov, sigma float64) {
	if d.nu == 0 {
		if vgs <= d.vt {
			return 0, 0
		}
		return vgs - d.vt, 1
	}
	u := (vgs - d.vt) / d.nu
	if u > 40 {
		return vgs - d.vt, 1
	}
	e := math.Exp(u)
	return d.nu * math.Log1p(e), e / (1 + e)
}

// amps is one device's drain current.
func (d *devices) amps(vgs, vds float64) float64 {
	vov, _ := d.overdrive(vgs)
	if vov <= 0 {
		return 0
	}
	half := math.Pow(vov, d.alpha/2)
	r := min(1, vds/half)
	return d.beta * half * half * (1 + d.lambda*vds) * r * (2 - r)
}

// slopes is amps with its derivatives by the gate's and the drain's voltage.
func (d *devices) slopes(vgs, vds float64) (amps, gm, gds float64) {
	vov, sigma := d.overdrive(vgs)
	if vov <= 0 {
		return 0, 0, 0
	}
	half := math.Pow(vov, d.alpha/2)
	halfSlope := d.alpha / 2 * half / vov * sigma
	length := 1 + d.lambda*vds
	if vds >= half {
		square := d.beta * half * half
		return square * length, 2 * d.beta * half * halfSlope * length, square * d.lambda
	}
	triode := vds * (2*half - vds)
	return d.beta * triode * length,
		d.beta * 2 * vds * halfSlope * length,
		d.beta * (triode*d.lambda + 2*(half-vds)*length)
}

// sinkSlopes is sink with its derivatives by the input's and the output's voltage.
func (d *devices) sinkSlopes(supply, va, vb float64) (amps, gm, gds float64) {
	n, gmN, gdsN := d.slopes(va, vb)
	p, gmP, gdsP := d.slopes(supply-va, supply-vb)
	return n - p, gmN + gmP, gdsN + gdsP
}

// sink is the net current the stage pulls out of its output.
func (d *devices) sink(supply, va, vb float64) float64 {
	return d.amps(va, vb) - d.amps(supply-va, supply-vb)
}

// unloaded is the stage biased at half the supply through the feedback
// resistor, with no leak to either rail.
func (d *devices) unloaded(supply float64) Stage {
	mid := supply / 2
	vov, sigma := d.overdrive(mid)
	if supply <= 0 || vov <= 0 {
		return Stage{AVolts: mid, BVolts: mid}
	}
	power := math.Pow(vov, d.alpha-1)
	return Stage{
		Gm:     2 * d.alpha * d.beta * power * sigma * (1 + d.lambda*mid),
		Gds:    2 * d.beta * power * vov * d.lambda,
		AVolts: mid, BVolts: mid,
	}
}
