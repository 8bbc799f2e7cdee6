package crystal

import (
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
)

const netlists = "../../testdata/netlists"

// checks are the check values: decks run with ngspice 39, values as printed by
// it (testdata/netlists/README.md).
type checks struct {
	AC []struct {
		Case  string
		F     float64
		Spice [2]float64
	}
	OP []struct {
		Case, Name   string
		V, Temp      float64
		Spice, Model []float64
	}
	TR []struct {
		Case     string
		TauSpice float64 `json:"tau_spice"`
		FSpice   float64 `json:"f_spice"`
		VASpice  float64 `json:"VA_spice"`
		VBSpice  float64 `json:"VB_spice"`
		ISpice   float64 `json:"I_spice"`
	}
	MC struct {
		V    []float64
		Rows map[string][]float64
	}
}

func readChecks(t *testing.T) checks {
	t.Helper()
	text, err := os.ReadFile(filepath.Join(netlists, "checks.json"))
	if err != nil {
		t.Fatal(err)
	}
	var c checks
	if err := json.Unmarshal(text, &c); err != nil {
		t.Fatal(err)
	}
	if len(c.AC) != 21 || len(c.OP) != 23 || len(c.TR) != 9 || len(c.MC.Rows) != 12 {
		t.Fatalf("checks.json holds %d AC, %d OP, %d TR, %d MC rows; 21, 23, 9, 12 are wanted",
			len(c.AC), len(c.OP), len(c.TR), len(c.MC.Rows))
	}
	return c
}

// deck is a netlist's element values by name, and the supply's.
type deck struct {
	text   string
	values map[string]float64
}

func readDeck(t *testing.T, name string) deck {
	t.Helper()
	text, err := os.ReadFile(filepath.Join(netlists, strings.ToLower(name)+".cir"))
	if err != nil {
		t.Fatal(err)
	}
	d := deck{text: string(text), values: map[string]float64{}}
	for line := range strings.Lines(d.text) {
		fields := strings.Fields(line)
		if len(fields) < 4 || strings.ContainsAny(line[:1], "*.") {
			continue
		}
		at := 3
		switch fields[0] {
		case "Gm":
			at = 5
		case "Bg": // I=Isat*tanh(gm/Isat*V(a))
			inner := line[strings.Index(line, "tanh(")+len("tanh("):]
			gm, _, _ := strings.Cut(inner, "/")
			fields[0], fields[at] = "Gm", gm
		}
		if v, err := strconv.ParseFloat(fields[at], 64); err == nil {
			d.values[fields[0]] = v
		}
	}
	return d
}

// net translates a deck's elements. What the deck does not have is absent.
func (d deck) net() Net {
	ohms := func(name string) float64 {
		if v, ok := d.values[name]; ok {
			return v
		}
		return math.Inf(1)
	}
	v := d.values
	return Net{
		CA: v["CA"], RA: v["RA"], CB: v["CB"], RB: v["RB"], Cin: v["Cin"], Cout: v["Cout"],
		CsA: v["CsA"], CsB: v["CsB"], Cs: v["Cs"], Cfb: v["Cfb"], Rs: v["Rs"],
		CpA: v["CpA"], CpB: v["CpB"], Rf: ohms("Rf"), Rleak: ohms("Rleak"),
		RgA: ohms("RgA"), RgB: ohms("RgB"), RvA: ohms("RvA"), RpA: ohms("RpA"), RpB: ohms("RpB"),
		Gds: 1 / ohms("Ro"),
	}
}

func (d deck) resonator() Resonator {
	return Resonator{L1: d.values["L1"], C1: d.values["C1"], R1: d.values["R1"], C0: d.values["C0"]}
}

// squareLaw is the inverter of the OP and TR07 to TR09 decks: level-1 devices.
func squareLaw() Inverter {
	return Inverter{
		Gm0: 1.09e-3, V0Volts: 3.6, T0Kelvin: 298.15, Vt0Volts: 0.9, KvtVolts: 1e-3,
		Alpha: 2, Mobility: 1.5, LambdaPerVolt: 0.05,
	}
}

// near fails unless got is within the relative tolerance of want.
func near(t *testing.T, what string, got, want, relative float64) {
	t.Helper()
	if !(math.Abs(got-want) <= relative*math.Abs(want)) {
		t.Errorf("%s: got %.9g, want %.9g within %.2g", what, got, want, relative)
	}
}

// within fails unless got is within an absolute tolerance of want.
func within(t *testing.T, what string, got, want, absolute float64) {
	t.Helper()
	if !(math.Abs(got-want) <= absolute) {
		t.Errorf("%s: got %.9g, want %.9g ± %.2g", what, got, want, absolute)
	}
}
