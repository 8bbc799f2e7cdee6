package crystal

import (
	"bufio"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
)

// Growth and frequency of every TR deck with one arm (TR07 below), run here and
// now on decks cut short after the exponential part has been seen. The full decks take
// minutes: TestNgspiceTransientsInFull.
func TestNgspiceGrowth(t *testing.T) {
	for _, c := range []struct {
		name     string
		from, to float64 // s, of the exponential part
	}{
		{"TR01", 60e-6, 150e-6},
		{"TR02", 60e-6, 150e-6},
		{"TR03", 60e-6, 150e-6},
		{"TR04", 40e-6, 120e-6},
		{"TR05", 30e-6, 130e-6},
		{"TR06", 60e-6, 150e-6},
		{"TR08", 60e-6, 150e-6},
		{"TR09", 50e-6, 130e-6},
	} {
		x, n, gm, d := transient(t, c.name)
		peaks := runTransient(t, c.name, d.text, c.to+10e-6)
		compareGrowth(t, c.name, x, &n, gm, peaks, c.from, c.to, 1e-3, 2e-6)
	}
}

// runTransient runs a TR deck up to stop seconds; 0 leaves it as it is.
func runTransient(t *testing.T, name, text string, stop float64) []peak {
	t.Helper()
	if stop > 0 {
		var b strings.Builder
		for line := range strings.Lines(text) {
			if fields := strings.Fields(line); len(fields) > 2 && fields[0] == ".tran" {
				fields[2] = fmt.Sprintf("%g", stop)
				line = strings.Join(fields, " ") + "\n"
			}
			b.WriteString(line)
		}
		text = b.String()
	}
	// The node voltages are not looked at, and take most of the file.
	text = strings.ReplaceAll(text, "i(L1) v(a) v(b)", "i(L1)")
	_, folder := ngspice(t, text)
	file := filepath.Join(folder, strings.ToLower(name)+".dat")
	peaks := readPeaks(t, file)
	if err := os.Remove(file); err != nil { // up to 170 MB each
		t.Fatal(err)
	}
	return peaks
}

// compareGrowth holds the complex root against an exponential fitted to peaks,
// corrected for the trapezoidal rule's known warp of both at a 1 ns step.
func compareGrowth(t *testing.T, name string, x Resonator, n *Net, gm float64, peaks []peak, from, to, tauWithin, hertzWithin float64) {
	t.Helper()
	tau, hertz := exponential(t, peaks, from, to)
	warp := math.Pow(2*math.Pi*hertz*1e-9, 2)
	alpha, want := x.Growth(n, gm)
	near(t, name+" τ", 1/alpha, tau*(1-warp/4), tauWithin)
	near(t, name+" f", want, hertz*(1+warp/12), hertzWithin)
}

// The 8 MHz, 50 Ω, 15 fF circuit at ten times its critical gm: the growth rate
// that the characteristic cubic gives, 8426.76/s, seen by ngspice.
func TestNgspiceThreeCapacitorGrowth(t *testing.T) {
	c := threeCapacitors[1]
	w := 2 * math.Pi * c.hertz
	deck := fmt.Sprintf(`* three capacitors and a linear gm
CA a 0 %[1]g
CB b 0 %[1]g
C0 a b %[2]g
Gm b 0 a 0 %.12g
L1 a m1 %.15g ic=1e-6
C1 m1 m2 %[5]g
R1 m2 b %[6]g
Ra a 0 1e12
Rb b 0 1e12
.ic v(a)=0 v(b)=0
.options method=trap reltol=1e-5 abstol=1e-15 vntol=1e-12
.tran 1e-9 200e-6 0 1e-9 uic
.control
save i(L1)
run
wrdata tr.dat i(L1)
.endc
.end
`, c.load, c.c0, 10*c.gm, 1/(w*w*c.cm), c.cm, c.rm)
	peaks := runTransient(t, "tr", deck, 0)
	tau, hertz := exponential(t, peaks, 40e-6, 195e-6)
	near(t, "growth rate", 1/(tau*(1-math.Pow(2*math.Pi*hertz*1e-9, 2)/4)), c.rate[10], 1e-3)
}

// The TR decks in full: growth, frequency, limiting by harmonic balance and by
// the closed form, overtone and hysteresis. Two minutes: RINGUP_LONG=1.
func TestNgspiceTransientsInFull(t *testing.T) {
	if os.Getenv("RINGUP_LONG") == "" {
		t.Skip("set RINGUP_LONG=1 to run the transient decks in full (about two minutes)")
	}
	for _, c := range []struct {
		name     string
		from, to float64
	}{
		{"TR01", 60e-6, 150e-6}, {"TR02", 60e-6, 400e-6}, {"TR03", 60e-6, 250e-6}, {"TR04", 40e-6, 250e-6},
		{"TR05", 30e-6, 590e-6}, {"TR06", 60e-6, 200e-6}, {"TR07", 30e-6, 70e-6}, {"TR08", 60e-6, 240e-6}, {"TR09", 50e-6, 130e-6},
	} {
		t.Run(c.name, func(t *testing.T) {
			x, n, gm, d := transient(t, c.name)
			peaks := runTransient(t, c.name, d.text, 0)
			compareGrowth(t, c.name, x, &n, gm, peaks, c.from, c.to, 1e-3, 1e-6)
			if c.name == "TR05" {
				return // decays
			}
			settled := peaks[len(peaks)-20].amps
			s := deckSteady(t, c.name)
			near(t, c.name+" I by balance", s.MotionalAmps, settled, 0.02)
			if c.name == "TR07" || c.name == "TR08" {
				omega, z := x.Settle(&n, gm)
				steady := finalAmps(railAmps(&n, x.C0, d.values["Vdd"], omega), -real(z), x.R1)
				near(t, c.name+" I by the closed form", steady, settled, 0.065)
				alpha, _ := x.Growth(&n, gm)
				l := newLogistic(1e-6, steady, 1/alpha)
				near(t, c.name+" t90 by the closed form", l.seconds(0.9), reached(t, peaks, 0.9*settled), 0.08)
			}
		})
	}
	for _, c := range []struct {
		name, arm string
		from, to  float64
		overtone  bool
		relative  float64
	}{
		// The overtone of tr11.cir dies under the fundamental and cannot be fitted
		// from its peaks.
		{"TR10", "i(L1)", 20e-6, 120e-6, false, 0.01},
		{"TR10", "i(L3)", 200e-6, 490e-6, true, 0.005},
		{"TR11", "i(L1)", 30e-6, 80e-6, false, 0.003},
	} {
		t.Run(c.name+" "+c.arm, func(t *testing.T) {
			x, o, n, gm := overtoneDeck(t, c.name)
			want, three := x.GrowthOfBoth(o, &n, gm)
			if c.overtone {
				want = three
			}
			near(t, "τ", 1/want.AlphaPerSecond, armGrowth(t, c.name, c.arm, c.from, c.to, 0), c.relative)
		})
	}
	for name, amps := range map[string]float64{"TR13": 1.6485e-3, "TR14": 1.2147e-3} {
		t.Run(name, func(t *testing.T) {
			peaks := runTransient(t, name, readDeck(t, name).text, 0)
			near(t, "sustained current", amps, peaks[len(peaks)-20].amps, 2e-3)
		})
	}
	t.Run("TR12", func(t *testing.T) {
		near(t, "decay", weakDecay(t), armGrowth(t, "TR12", "i(L1)", 300e-6, 890e-6, 0), 2e-3)
	})
}

// The fundamental of a crystal with two arms, blocked (TR10) and not (TR11), and
// the decay of a small oscillation at 1.9 V (TR12), run here and now on decks cut
// short.
func TestNgspiceTwoArmsAndDecay(t *testing.T) {
	for _, c := range []struct {
		name               string
		from, to, relative float64
	}{{"TR10", 20e-6, 80e-6, 0.01}, {"TR11", 30e-6, 80e-6, 0.003}} {
		x, o, n, gm := overtoneDeck(t, c.name)
		one, _ := x.GrowthOfBoth(o, &n, gm)
		near(t, c.name+" τ", 1/one.AlphaPerSecond, armGrowth(t, c.name, "i(L1)", c.from, c.to, c.to+5e-6), c.relative)
	}
	near(t, "TR12 τ", weakDecay(t), armGrowth(t, "TR12", "i(L1)", 40e-6, 140e-6, 145e-6), 2e-3)
}

// armGrowth runs a deck up to stop seconds (0: to its end), and fits the growth
// of the current in one arm.
func armGrowth(t *testing.T, name, arm string, from, to, stop float64) float64 {
	t.Helper()
	text := strings.ReplaceAll(readDeck(t, name).text, "i(L1) i(L3)", arm)
	tau, _ := exponential(t, runTransient(t, name, text, stop), from, to)
	return tau
}

// weakDecay is the time constant of the circuit of TR12 by the equations.
func weakDecay(t *testing.T) float64 {
	t.Helper()
	c := Healthy().At(1.9, 25)
	c.Crystal = readDeck(t, "TR12").resonator()
	o := c.operate()
	return 2 * o.x.L1 / (o.negative() - o.x.R1)
}

// Limiting in the time domain, run here and now on a shortened deck: TR07, the
// inverter at 3.6 V, by the closed form.
func TestNgspiceLimiting(t *testing.T) {
	x, n, gm, d := transient(t, "TR07")
	peaks := runTransient(t, "TR07", d.text, 300e-6)
	compareGrowth(t, "TR07", x, &n, gm, peaks, 30e-6, 70e-6, 1e-3, 2e-6)
	omega, z := x.Settle(&n, gm)
	steady := finalAmps(railAmps(&n, x.C0, d.values["Vdd"], omega), -real(z), x.R1)
	settled := peaks[len(peaks)-20].amps
	near(t, "steady I", steady, settled, 0.05)
	near(t, "steady I by balance", deckSteady(t, "TR07").MotionalAmps, settled, 0.02)
	alpha, _ := x.Growth(&n, gm)
	l := newLogistic(1e-6, steady, 1/alpha) // the deck's .ic of L1
	near(t, "t90", l.seconds(0.9), reached(t, peaks, 0.9*settled), 0.08)
}

type peak struct{ seconds, amps float64 }

// readPeaks finds the maxima of the motional current, refined by a parabola.
func readPeaks(t *testing.T, file string) []peak {
	t.Helper()
	f, err := os.Open(file)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	var peaks []peak
	var t0, t1, a, b float64
	lines := bufio.NewScanner(f)
	for lines.Scan() {
		text := strings.TrimSpace(lines.Text())
		first, rest, _ := strings.Cut(text, " ")
		second, _, _ := strings.Cut(strings.TrimSpace(rest), " ")
		at, err1 := strconv.ParseFloat(first, 64)
		amps, err2 := strconv.ParseFloat(second, 64)
		if err1 != nil || err2 != nil {
			t.Fatalf("%s: %q", file, text)
		}
		if b > a && b >= amps && b > 0 {
			// The parabola through (t0,a), (t1,b), (at,amps), steps as they are.
			left, right := (b-a)/(t1-t0), (amps-b)/(at-t1)
			bend := (right - left) / (at - t0)
			slope := left + bend*(t1-t0) // at t1
			shift := -slope / (2 * bend)
			peaks = append(peaks, peak{t1 + shift, b + slope*shift/2})
		}
		t0, t1, a, b = t1, at, b, amps
	}
	if err := lines.Err(); err != nil {
		t.Fatal(err)
	}
	return peaks
}

// exponential fits ln(peak) against time, and takes the frequency from the
// peaks' spacing.
func exponential(t *testing.T, peaks []peak, from, to float64) (tau, hertz float64) {
	t.Helper()
	var n, st, sy, stt, sty, first, last float64
	for _, p := range peaks {
		if p.seconds < from || p.seconds > to {
			continue
		}
		if n == 0 {
			first = p.seconds
		}
		last = p.seconds
		u, y := p.seconds-from, math.Log(p.amps)
		n, st, sy, stt, sty = n+1, st+u, sy+y, stt+u*u, sty+u*y
	}
	if n < 50 {
		t.Fatalf("%g peaks between %g and %g s", n, from, to)
	}
	return (n*stt - st*st) / (n*sty - st*sy), (n - 1) / (last - first)
}

func reached(t *testing.T, peaks []peak, amps float64) float64 {
	t.Helper()
	for _, p := range peaks {
		if p.amps >= amps {
			return p.seconds
		}
	}
	t.Fatalf("%g A never reached", amps)
	return 0
}
