package crystal

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"strconv"
	"strings"
	"testing"
	"time"
)

// Circuits chosen at random, another set each run, against ngspice: impedance
// and node voltages. RINGUP_SEED repeats a run.
func TestNgspiceRandomCircuits(t *testing.T) {
	seed := uint64(time.Now().UnixNano())
	if text := os.Getenv("RINGUP_SEED"); text != "" {
		var err error
		if seed, err = strconv.ParseUint(text, 10, 64); err != nil {
			t.Fatalf("RINGUP_SEED=%q: a whole number is wanted", text)
		}
	}
	circuits := 8
	if os.Getenv("RINGUP_LONG") != "" {
		circuits = 200
	}
	fmt.Printf("random circuits: RINGUP_SEED=%d\n", seed)
	rng := rand.New(rand.NewPCG(seed, 0))
	for i := range circuits {
		n, c0, gm, hertz := randomCircuit(rng)
		text := impedanceDeck(&n, c0, gm, hertz)
		got, _ := ngspice(t, text)
		if len(got) != 4 {
			t.Fatalf("seed %d, circuit %d: ngspice printed %v for\n%s", seed, i, got, text)
		}
		compareImpedance(t, fmt.Sprintf("seed %d, circuit %d", seed, i), n, c0, gm, hertz, got)
		if t.Failed() {
			t.Fatal(text)
		}
	}
}

// randomCircuit draws every part from the range it may be met in, sound or
// faulty; what may be absent is absent half the time.
func randomCircuit(rng *rand.Rand) (n Net, c0, gm, hertz float64) {
	between := func(low, high float64) float64 { return low * math.Pow(high/low, rng.Float64()) }
	maybe := func(low, high, absent float64) float64 {
		if rng.IntN(2) == 0 {
			return absent
		}
		return between(low, high)
	}
	none := math.Inf(1)
	n = Net{
		CA: between(0.1e-12, 100e-12), CB: between(0.1e-12, 100e-12),
		RA: between(0.1, 30e3), RB: between(0.1, 30e3),
		Cin: between(1e-12, 10e-12), Cout: between(1e-12, 10e-12),
		CsA: between(0.2e-12, 5e-12), CsB: between(0.2e-12, 5e-12),
		Cs: between(0.1e-12, 3e-12), Cfb: between(0.05e-12, 2e-12),
		Rf: between(100e3, 20e6), Gds: 1 / between(500, 1e6),
		Rleak: maybe(2e3, 10e6, none), RgA: maybe(100e3, 100e6, none), RgB: maybe(100e3, 100e6, none),
		Rs: maybe(10, 100e3, 0), RpA: none, RpB: none, RvA: none,
	}
	if rng.IntN(2) == 0 {
		n.CpA, n.RpA = between(1e-12, 120e-12), between(1e6, 10e6)
	}
	if rng.IntN(2) == 0 {
		n.CpB, n.RpB = between(1e-12, 120e-12), between(1e6, 10e6)
	}
	return n, between(0.5e-12, 8e-12), between(5e-6, 60e-3), between(30e3, 60e6)
}

// impedanceDeck writes the net as a netlist with 1 A through the place of the
// motional arm. An absent part is left out.
func impedanceDeck(n *Net, c0, gm, hertz float64) string {
	var b strings.Builder
	fmt.Fprintln(&b, "* impedance seen by the motional arm, circuit drawn at random")
	out := "d"
	if n.Rs == 0 {
		out = "b"
	}
	part := func(name, from, to string, value float64) {
		if value != 0 && !math.IsInf(value, 0) {
			fmt.Fprintf(&b, "%s %s %s %.17g\n", name, from, to, value)
		}
	}
	part("RA", "a", "ax", n.RA)
	part("CA", "ax", "0", n.CA)
	part("RB", "b", "bx", n.RB)
	part("CB", "bx", "0", n.CB)
	part("Cin", "a", "0", n.Cin)
	part("CsA", "a", "0", n.CsA)
	part("CsB", "b", "0", n.CsB)
	part("Cout", out, "0", n.Cout)
	part("C0", "a", "b", c0)
	part("Cs", "a", "b", n.Cs)
	part("Cfb", "a", out, n.Cfb)
	part("Rf", "a", out, n.Rf)
	part("Rleak", "a", "b", n.Rleak)
	part("RgA", "a", "0", n.RgA)
	part("RgB", "b", "0", n.RgB)
	part("CpA", "a", "0", n.CpA)
	part("RpA", "a", "0", n.RpA)
	part("CpB", "b", "0", n.CpB)
	part("RpB", "b", "0", n.RpB)
	part("Rs", "d", "b", n.Rs)
	part("Ro", out, "0", 1/n.Gds)
	fmt.Fprintf(&b, "Gm %s 0 a 0 %.17g\nI1 b a DC 0 AC 1\n", out, gm)
	fmt.Fprintf(&b, ".control\nset numdgt=12\nac lin 1 %.17g %.17g\nlet z=v(a)-v(b)\nprint real(z) imag(z) mag(v(a)) mag(v(b))\n.endc\n.end\n", hertz, hertz)
	return b.String()
}
