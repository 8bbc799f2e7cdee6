package crystal

import (
	"math"
	"strings"
	"testing"
)

// deckStage is the bias of an OP or GM deck by our law.
func deckStage(t *testing.T, name, text string, volts, celsius float64) Stage {
	t.Helper()
	d := readDeck(t, name)
	n := board()
	n.Rf = d.values["Rf"]
	for name, field := range map[string]*float64{"RgA": &n.RgA, "RvA": &n.RvA, "Rleak": &n.Rleak} {
		if v, ok := d.values[name]; ok {
			*field = v
		}
	}
	inverter := squareLaw()
	if strings.HasPrefix(name, "GM") {
		inverter, celsius = healthy().Inverter, gmCelsius(t, text)
	}
	return inverter.Bias(&n, volts, celsius)
}

// Bias, gm and gds: ngspice 39, decks op01.cir to op14.cir (level-1 devices)
// and gm01.cir to gm09.cir (alpha-power stage as behavioural sources).
func TestBiasAgreesWithNgspice(t *testing.T) {
	for _, row := range readChecks(t).OP {
		got := deckStage(t, row.Case, row.Name, row.V, row.Temp)
		want := row.Spice
		if strings.HasPrefix(row.Case, "OP") && row.Temp != 25 {
			// ngspice has temperature laws of its own: there the deck's model
			// value is the check, and ngspice bounds the difference in form.
			want = row.Model
			near(t, row.Case+" gm against the simulator's own laws", got.Gm, row.Spice[2], 0.034)
		}
		near(t, row.Case+" V(A)", got.AVolts, want[0], 1e-6)
		near(t, row.Case+" V(B)", got.BVolts, want[1], 1e-6)
		near(t, row.Case+" gm", got.Gm, want[2], 1e-6)
		if len(want) > 3 {
			near(t, row.Case+" gds", got.Gds, want[3], 1e-6)
		}
	}
}

func gmCelsius(t *testing.T, name string) float64 {
	t.Helper()
	for celsius, text := range map[float64]string{25: "T=25 C", -20: "T=-20 C", 60: "T=60 C"} {
		if strings.Contains(name, text) {
			return celsius
		}
	}
	t.Fatalf("no temperature in %q", name)
	return 0
}

// A probe's resistance against the feedback resistor: 10 MΩ leaves the bias
// alone, 1 MΩ at A puts the output on the rail and the stage has no gain to
// speak of at any supply (values of the independent model of checks.json).
func TestProbeResistanceAtTheInput(t *testing.T) {
	u := healthy()
	n := u.Net.Loaded(Probe{Node: "A", Farads: 100e-12, Ohms: 1e6})
	stage := u.Inverter.Bias(&n, 3.6, 25)
	within(t, "gm", stage.Gm, 0.68e-3, 0.005e-3)
	within(t, "gds", stage.Gds, 0.46e-3, 0.005e-3)
	n.Gds = stage.Gds
	_, z := u.Crystal.Settle(&n, stage.Gm)
	within(t, "Re Z", real(z), 85, 1)

	ten := u.Net.Loaded(Probe{Node: "A", Farads: 12e-12, Ohms: 10e6})
	near(t, "gm with 10 MΩ", u.Inverter.Bias(&ten, 3.6, 25).Gm, 1.09e-3, 1e-3)
}

func TestNoFeedbackNoGain(t *testing.T) {
	u := healthy()
	u.Net.Rf = math.Inf(1)
	if got := u.Inverter.Bias(&u.Net, 3.6, 25); got.Gm != 0 {
		t.Errorf("floating input has gm %g", got.Gm)
	}
}

// gm in mS against supply and temperature: the independent model of
// checks.json, whose own rows GM01 to GM08 ngspice confirms.
func TestGmAgainstSupplyAndTemperature(t *testing.T) {
	volts := []float64{3.6, 3.0, 2.6, 2.4, 2.2, 2.0}
	for celsius, row := range map[float64][]float64{
		-20: {1.309, 0.903, 0.614, 0.459, 0.288, 0.085},
		25:  {1.090, 0.777, 0.557, 0.440, 0.316, 0.173},
		60:  {0.966, 0.704, 0.520, 0.424, 0.323, 0.211},
	} {
		u := healthy()
		for i, v := range volts {
			within(t, "gm mS", 1e3*u.Inverter.Bias(&u.Net, v, celsius).Gm, row[i], 0.00051)
		}
	}
}
