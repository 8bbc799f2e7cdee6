package verdict

import (
	"math"
	"strings"
	"testing"
)

func TestPlanCapture(t *testing.T) {
	needs := CaptureNeeds{ClockHertz: 7.3728e6, WatchSeconds: 86.4e-3}
	for name, c := range map[string]struct {
		change           func(n *CaptureNeeds)
		envelope, steady int
		rate             float64
		warning          string
	}{
		"nothing in the way": {func(n *CaptureNeeds) {}, 2000, 4096, 13 * 7.3728e6, ""},
		"fast link":          {func(n *CaptureNeeds) { n.BytesPerSecond = 1e6 }, 2000, 4096, 13 * 7.3728e6, ""},
		// 12,096 bytes at 960 bytes/s are 12.6 s: two fifths of it fit into 5 s.
		"9600 baud":       {func(n *CaptureNeeds) { n.BytesPerSecond = 960 }, 793, 1625, 13 * 7.3728e6, "the wire is the bottleneck"},
		"300 baud":        {func(n *CaptureNeeds) { n.BytesPerSecond = 30 }, 400, 1024, 13 * 7.3728e6, "fetching takes 87.5 s"},
		"text, 9600 baud": {func(n *CaptureNeeds) { n.BytesPerSecond, n.BytesPerSample = 960, 5 }, 400, 1024, 13 * 7.3728e6, "bottleneck"},
		// The least, 1600 + 1024 samples, takes 10.9 s at 480 bytes/s when it is read twice.
		"4800 baud, twice": {func(n *CaptureNeeds) { n.BytesPerSecond, n.BytesPerSample = 480, 2 }, 400, 1024, 13 * 7.3728e6, "takes 10.9 s"},
		"shallow":          {func(n *CaptureNeeds) { n.Depth = 1000 }, 1000, 1000, 13 * 7.3728e6, ""},
		"very shallow":     {func(n *CaptureNeeds) { n.Depth = 250 }, 250, 250, 13 * 7.3728e6, "0.4 % of the window"},
		"slow converter":   {func(n *CaptureNeeds) { n.MaxSamplesPerSecond = 50e6 }, 2000, 4096, 50e6, ""},
		"slower than that": {func(n *CaptureNeeds) { n.MaxSamplesPerSecond = 10e6 }, 2000, 4096, 10e6, "as an alias"},
	} {
		n := needs
		c.change(&n)
		p := PlanCapture(n)
		if p.EnvelopePoints != c.envelope || p.SteadyPoints != c.steady || math.Abs(p.SteadySamplesPerSecond/c.rate-1) > 1e-9 ||
			p.Alias != (name == "slower than that") || (c.warning == "") != (len(p.Warnings) == 0) || !strings.Contains(strings.Join(p.Warnings, "\n"), c.warning) {
			t.Errorf("%s: %+v", name, p)
		}
		if math.Abs(p.EnvelopeBinSeconds*float64(p.EnvelopePoints)/n.WatchSeconds-1) > 1e-12 {
			t.Errorf("%s: bins of %v s", name, p.EnvelopeBinSeconds)
		}
		if n.BytesPerSecond > 0 != (p.TransferSeconds > 0) {
			t.Errorf("%s: %v s on the link", name, p.TransferSeconds)
		}
	}
	// A scope that measures by itself is spared its steady record by the slowest wires only.
	for baud, leaves := range map[float64]bool{0: false, 115200: false, 9600: false, 4800: true} {
		n := needs
		n.BytesPerSecond, n.BytesPerSample, n.MeasuresItself = baud/10, 2, true
		p := PlanCapture(n)
		told := strings.Contains(strings.Join(p.Warnings, "\n"), "what the scope itself measures")
		if p.LeaveSteady != leaves || told != leaves || leaves && math.Abs(p.TransferSeconds-1600*2/480.0) > 1e-9 {
			t.Errorf("%v baud: %+v", baud, p)
		}
	}
	// Close to half the rate, or to all of it, an alias shows nothing; the rate gives way.
	for _, most := range []float64{7.3728e6, 7.3728e6 / 1.5, 14e6} {
		p := PlanCapture(CaptureNeeds{ClockHertz: 7.3728e6, WatchSeconds: 1, MaxSamplesPerSecond: most})
		cycles := 7.3728e6 / p.SteadySamplesPerSecond
		if folded := math.Abs(cycles - math.Round(cycles)); p.SteadySamplesPerSecond > most || folded < .15 || folded > .35 {
			t.Errorf("at most %v samples/s: %v, where the clock is %v of the rate", most, p.SteadySamplesPerSecond, folded)
		}
	}
}
