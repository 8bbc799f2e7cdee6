package crystal

import (
	"bufio"
	"bytes"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
)

// ngspice runs a deck in a folder of its own and returns what it printed as
// "name = value". Under CI the program must be there.
func ngspice(t *testing.T, text string) (printed map[string]float64, folder string) {
	t.Helper()
	program, err := exec.LookPath("ngspice")
	if err != nil {
		if os.Getenv("CI") == "true" {
			t.Fatal("ngspice is not installed; Debian package: ngspice")
		}
		t.Skip("ngspice is not installed; Debian package: ngspice")
	}
	folder = t.TempDir()
	file := filepath.Join(folder, "deck.cir")
	if err := os.WriteFile(file, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	run := exec.Command(program, "-b", file)
	run.Dir = folder
	// In batch mode ngspice ends with status 1 when a deck prints from its own
	// control section, as these do; what it printed is the proof that it ran.
	output, err := run.CombinedOutput()
	if _, ended := err.(*exec.ExitError); err != nil && !ended {
		t.Fatal(err)
	}
	printed = map[string]float64{}
	for line := range bytes.Lines(output) {
		name, value, ok := strings.Cut(string(line), " = ")
		if v, err := strconv.ParseFloat(strings.TrimSpace(value), 64); ok && err == nil {
			printed[strings.TrimSpace(name)] = v
		}
	}
	if strings.Contains(string(output), "Error") {
		t.Fatalf("ngspice: %s", output)
	}
	return printed, folder
}

// Every AC deck, run here and now: impedance and both node voltages.
func TestNgspiceImpedance(t *testing.T) {
	for _, row := range readChecks(t).AC {
		d := readDeck(t, row.Case)
		got, _ := ngspice(t, strings.Replace(d.text, "print real(z) imag(z)",
			"print real(z) imag(z) mag(v(a)) mag(v(b))", 1))
		if len(got) != 4 {
			t.Fatalf("%s: ngspice printed %v", row.Case, got)
		}
		n := d.net()
		s := complex(0, 2*math.Pi*row.F)
		z := Coeffs(&n, d.values["C0"], s).Ohms(d.values["Gm"])
		a, b := magnitudes(NodeOhms(&n, d.values["C0"], d.values["Gm"], s))
		near(t, row.Case+" Re Z", real(z), got["real(z)"], 1e-9)
		near(t, row.Case+" Im Z", imag(z), got["imag(z)"], 1e-9)
		near(t, row.Case+" |V(A)|", a, got["mag(v(a))"], 1e-9)
		near(t, row.Case+" |V(B)|", b, got["mag(v(b))"], 1e-9)
	}
}

// Bias of the leaky alpha-power stage, run here and now.
func TestNgspiceBias(t *testing.T) {
	d := readDeck(t, "GM09")
	got, _ := ngspice(t, d.text)
	n := board()
	n.RgA = d.values["RgA"]
	inverter := healthy().Inverter
	stage := inverter.Bias(&n, 3.0, 25)
	near(t, "V(A)", stage.AVolts, got["v(a)"], 1e-6)
	near(t, "V(B)", stage.BVolts, got["v(b)"], 1e-6)
	near(t, "gm", stage.Gm, got["gmt"], 1e-6)
}

// Growth and limit in the time domain, run here and now on shortened decks:
// TR01 (saturating stage), TR07 (inverter at 3.6 V), TR09 (leak and crack).
func TestNgspiceTransient(t *testing.T) {
	for _, c := range []struct {
		name, stop, shorter string
		from, to            float64 // s, of the exponential part
		limits              bool
	}{
		{"TR01", "0.0015", "0.00016", 60e-6, 150e-6, false},
		{"TR07", "0.0007", "0.0003", 30e-6, 70e-6, true},
		{"TR09", "0.0009", "0.00014", 50e-6, 130e-6, false},
	} {
		x, n, gm, d := transient(t, c.name)
		text := strings.Replace(d.text, ".tran 1e-09 "+c.stop+" ", ".tran 1e-09 "+c.shorter+" ", 1)
		if text == d.text {
			t.Fatalf("%s: no .tran line that stops at %s", c.name, c.stop)
		}
		_, folder := ngspice(t, text)
		peaks := readPeaks(t, filepath.Join(folder, strings.ToLower(c.name)+".dat"))
		tau, hertz := exponential(t, peaks, c.from, c.to)
		// The trapezoidal rule at step h is known to warp both.
		omega := 2 * math.Pi * hertz
		warp := math.Pow(omega*1e-9, 2)
		tau *= 1 - warp/4
		hertz *= 1 + warp/12

		alpha, want := x.Growth(&n, gm)
		near(t, c.name+" τ", 1/alpha, tau, 1e-3)
		near(t, c.name+" f", want, hertz, 2e-6)
		if !c.limits {
			continue
		}
		omega, z := x.Settle(&n, gm)
		steady := finalAmps(railAmps(&n, x.C0, d.values["Vdd"], omega), -real(z), x.R1)
		settled := peaks[len(peaks)-20].amps
		near(t, c.name+" steady I", steady, settled, 0.05)
		l := newLogistic(1e-6, steady, 1/alpha) // the deck's .ic of L1
		near(t, c.name+" t90", l.seconds(0.9), reached(t, peaks, 0.9*settled), 0.08)
	}
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
		fields := strings.Fields(lines.Text())
		at, err1 := strconv.ParseFloat(fields[0], 64)
		amps, err2 := strconv.ParseFloat(fields[1], 64)
		if err1 != nil || err2 != nil {
			t.Fatalf("%s: %q", file, lines.Text())
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
