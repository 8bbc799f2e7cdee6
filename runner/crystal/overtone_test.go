package crystal

import (
	"math"
	"math/rand/v2"
	"testing"
)

// overtoneDeck is the circuit of a deck with a third-overtone arm.
func overtoneDeck(t *testing.T, name string) (Resonator, Overtone, Net, float64) {
	t.Helper()
	d := readDeck(t, name)
	return d.resonator(), Overtone{L1: d.values["L3"], C1: d.values["C3"], R1: d.values["R3"]}, d.net(), d.values["Gm"]
}

// Growth of both arms, each loading the other: ngspice 39, decks tr10.cir (small
// load capacitors and a film: only the overtone starts) and tr11.cir (healthy).
// Without the mutual load the fundamental's would be 0.4 % off.
func TestOvertoneAgreesWithNgspice(t *testing.T) {
	for _, row := range []struct {
		name               string
		tau1, tau3, hertz3 float64
		within1, within3   float64
	}{
		{"TR10", -36.48423495570463e-6, 407.89825380288573e-6, 22030347.24, 0.001, 0.001},
		{"TR11", 16.802028720279094e-6, -492.2901708444597e-6, 22017875.43, 0.001, 0.01},
	} {
		x, o, n, gm := overtoneDeck(t, row.name)
		one, three := x.GrowthOfBoth(o, &n, gm)
		t.Logf("%s: tau1 %.5g us of %.5g, tau3 %.5g of %.5g", row.name, 1e6/one.AlphaPerSecond, 1e6*row.tau1, 1e6/three.AlphaPerSecond, 1e6*row.tau3)
		near(t, row.name+" τ of the fundamental", 1/one.AlphaPerSecond, row.tau1, row.within1)
		near(t, row.name+" τ of the overtone", 1/three.AlphaPerSecond, row.tau3, row.within3)
		near(t, row.name+" f of the overtone", three.Hertz, row.hertz3, 1e-4)
	}
}

// A healthy unit never starts on its overtone; one with small load capacitors, a
// film and a good overtone arm does, and its lamp blinks three times a second.
func TestOvertoneUnit(t *testing.T) {
	u := healthy()
	u.Overtone = ThirdOvertone(u.Crystal, 40)
	if p := u.PowerUp(warm, rand.New(rand.NewPCG(1, 1))); math.Abs(p.Hertz()/nominalHertz-1) > 1e-3 {
		t.Errorf("the healthy unit runs at %g Hz", p.Hertz())
	}
	u.Net.CA, u.Net.CB, u.Film = 8.2e-12, 8.2e-12, Spread{Ohms: 6e3}
	u.Overtone = ThirdOvertone(u.Crystal, 10)
	p := u.PowerUp(Surroundings{SupplyVolts: 3.6, AmbientCelsius: 25, RestSeconds: 5}, rand.New(rand.NewPCG(1, 1)))
	near(t, "frequency", p.Hertz(), 3*nominalHertz, 5e-3)
	if p.Outcome() != Starts {
		t.Fatalf("outcome %v", p.Outcome())
	}
	half := 1.0 / 6
	for i := range 6 {
		if at := p.ClockSeconds() + (float64(i)+0.5)*half; p.LampOn(at) != (i%2 == 1) {
			t.Errorf("lamp at %g s: %t", at, p.LampOn(at))
		}
	}
}

// Frequency over temperature: inside the class of ±20 ppm from -20 to 60 °C for
// AT cut; -0.034 ppm/K² for a tuning fork; none at 25 °C.
func TestFrequencyOverTemperature(t *testing.T) {
	for celsius := -20.0; celsius <= 60; celsius++ {
		if d := detuning(8e6, celsius); math.Abs(d) > 20e-6 {
			t.Errorf("AT cut at %g °C: %g ppm", celsius, 1e6*d)
		}
	}
	if detuning(8e6, 25) != 0 || detuning(32768, 25) != 0 {
		t.Error("detuned at 25 °C")
	}
	within(t, "tuning fork at -5 °C, ppm", 1e6*detuning(32768, -5), -30.6, 1e-9)
	cold, warm := Healthy().At(3.6, 60).Analyse(), Healthy().Analyse()
	c := Healthy().At(3.6, 60)
	c.Crystal.L1 /= math.Pow(1-detuning(nominalHertz, 60), 2) // the crystal detuned back
	within(t, "crystal's part of the change", cold.PullingPPM-c.Analyse().PullingPPM, 1e6*detuning(nominalHertz, 60), 0.01)
	if cold.Hertz == warm.Hertz {
		t.Error("60 °C changes nothing")
	}
}
