package crystal

import (
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
		compareImpedance(t, row.Case, d.net(), d.values["C0"], d.values["Gm"], row.F, got)
	}
}

// compareImpedance holds the network against what ngspice printed of it.
func compareImpedance(t *testing.T, name string, n Net, c0, gm, hertz float64, got map[string]float64) {
	t.Helper()
	s := complex(0, 2*math.Pi*hertz)
	z := Coeffs(&n, c0, s).Ohms(gm)
	a, b := magnitudes(NodeOhms(&n, c0, gm, s))
	// Where resistance is a small part of the impedance its digits are fewer.
	within(t, name+" Re Z", real(z), got["real(z)"], 1e-9*math.Hypot(real(z), imag(z)))
	within(t, name+" Im Z", imag(z), got["imag(z)"], 1e-9*math.Hypot(real(z), imag(z)))
	near(t, name+" |V(A)|", a, got["mag(v(a))"], 1e-9)
	near(t, name+" |V(B)|", b, got["mag(v(b))"], 1e-9)
}

// Every OP and GM deck, run here and now: bias, gm and output conductance.
func TestNgspiceBias(t *testing.T) {
	for _, row := range readChecks(t).OP {
		stage := deckStage(t, row.Case, row.Name, row.V, row.Temp)
		got, _ := ngspice(t, readDeck(t, row.Case).text)
		volts, gm, gds := 1e-6, 1e-6, 1e-6
		if row.Temp != 25 && strings.HasPrefix(row.Case, "OP") {
			// ngspice's own laws of temperature differ in form: its threshold moves
			// by another amount, and that is all these rows can show.
			volts, gm, gds = 0.006, 0.034, 0.07
		}
		near(t, row.Case+" V(A)", stage.AVolts, got["v(a)"], volts)
		near(t, row.Case+" V(B)", stage.BVolts, got["v(b)"], volts)
		near(t, row.Case+" gm", stage.Gm, got["gmt"], gm)
		if strings.HasPrefix(row.Case, "OP") {
			near(t, row.Case+" gds", stage.Gds, got["gdst"], gds)
		}
	}
}

// Every PS deck, run here and now: the rail behind a resistance, and discharge.
func TestNgspiceSupply(t *testing.T) {
	for _, row := range []struct {
		name       string
		ohms, amps float64
		at         []float64 // s
	}{
		{"ps01", 0.2, 0, []float64{0.1e-3, 0.2e-3, 0.3e-3, 1e-3}},
		{"ps02", 45, 0, []float64{0.1e-3, 0.36e-3, 1e-3, 3e-3}},
		{"ps03", 100, 8.5e-3, []float64{0.36e-3, 1e-3, 3e-3}},
	} {
		_, folder := ngspice(t, readDeck(t, row.name).text)
		points := readColumns(t, filepath.Join(folder, row.name+".dat"))
		path := soundSupply()
		path.ResetAmps = row.amps
		var rail timeline
		rail.begin(&path, row.ohms, 0, inReset)
		rail.stand(0.36e-3, 3.6)
		for _, at := range row.at {
			near(t, row.name, rail.volts(at), valueAt(points, at), 1e-4)
		}
	}
	_, folder := ngspice(t, readDeck(t, "ps04").text)
	points := readColumns(t, filepath.Join(folder, "ps04.dat"))
	u := healthy()
	for _, volts := range []float64{2.5, 1.2, 0.7, 0.3} {
		// When: of ours by its own inverse, bisected.
		ours := boundary(0, 10, func(s float64) bool { return u.Discharge(3.6, s) > volts })
		near(t, "ps04 time to fall", ours, fallsTo(t, points, volts), 6e-4)
	}
}

// readColumns reads time and the first value of what ngspice wrote.
func readColumns(t *testing.T, file string) [][2]float64 {
	t.Helper()
	text, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	var points [][2]float64
	for line := range strings.Lines(string(text)) {
		fields := strings.Fields(line)
		if len(fields) < 2 {
			continue
		}
		at, err1 := strconv.ParseFloat(fields[0], 64)
		v, err2 := strconv.ParseFloat(fields[1], 64)
		if err1 != nil || err2 != nil {
			t.Fatalf("%s: %q", file, line)
		}
		points = append(points, [2]float64{at, v})
	}
	if len(points) < 100 {
		t.Fatalf("%s: %d points", file, len(points))
	}
	return points
}

func valueAt(points [][2]float64, at float64) float64 {
	for i := 1; i < len(points); i++ {
		if a, b := points[i-1], points[i]; b[0] >= at {
			return a[1] + (b[1]-a[1])*(at-a[0])/(b[0]-a[0])
		}
	}
	return math.NaN()
}

func fallsTo(t *testing.T, points [][2]float64, volts float64) float64 {
	t.Helper()
	for i := 1; i < len(points); i++ {
		if a, b := points[i-1], points[i]; b[1] <= volts {
			return a[0] + (b[0]-a[0])*(a[1]-volts)/(a[1]-b[1])
		}
	}
	t.Fatalf("never falls to %g V", volts)
	return 0
}
