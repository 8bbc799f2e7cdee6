package failrate

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"
)

// says fails unless the text holds all the phrases.
func says(t *testing.T, text string, phrases ...string) {
	t.Helper()
	for _, p := range phrases {
		if !strings.Contains(text, p) {
			t.Errorf("%q lacks %q", text, p)
		}
	}
	for _, bad := range []string{"NaN", "Inf", "%!"} {
		if strings.Contains(text, bad) {
			t.Errorf("%q has %q", text, bad)
		}
	}
}

func TestNightSentences(t *testing.T) {
	random := rand.New(rand.NewPCG(6, 20))
	draw := func(n int, rate func(i int) float64) []bool {
		failed := make([]bool, n)
		for i := range failed {
			failed[i] = random.Float64() < rate(i)
		}
		return failed
	}
	night := func(failed []bool) Night {
		n, err := JudgeNight(failed, .95)
		if err != nil {
			t.Fatal(err)
		}
		return n
	}
	n := night(draw(600, func(int) float64 { return .1 }))
	says(t, n.Sentence(), "the cycles look independent", "no drift and no clusters shown")

	n = night(draw(600, func(i int) float64 { return []float64{.05, .35}[i/300] }))
	says(t, n.Sentence(), "not independent", "so the interval is wider than", "failed up to cycle", "from then on")
	if !n.Widened.Widened || !n.Change.Rose || n.Change.After < 250 || n.Change.After > 350 || n.Before.Cycles+n.After.Cycles != 600 {
		t.Errorf("%+v: the rate rose after 300 cycles", n)
	}
	if says(t, n.Sentence(), "an alarm for doubled odds of failing sounds at cycle "); n.AlarmAfter <= 300 || n.AlarmAfter > 600 {
		t.Errorf("the alarm sounds at cycle %d, the rate rose after 300", n.AlarmAfter)
	}
	n = night(draw(1200, func(i int) float64 { return []float64{.02, .6}[i/40%2] })) // comes and goes
	says(t, n.Sentence(), "failures come in clusters", "not independent")
	if n.Lag1 < n.Lag1Band {
		t.Errorf("lag 1 %v is within ±%v", n.Lag1, n.Lag1Band)
	}
	n = night(draw(300, func(int) float64 { return 0 }))
	says(t, n.Sentence(), "0 of 300 cycles failed: too few of a kind")
	if n.Judged || n.Widened.Widened {
		t.Errorf("nothing failed: %+v", n)
	}
	if _, err := JudgeNight(nil, .95); !isRefusal(err, "run some first") {
		t.Error(err)
	}
}

// Independent cycles are called so in about 95 % of nights, and the interval of
// dependent ones holds the mean rate far more often once widened.
func TestNightWidens(t *testing.T) {
	random := rand.New(rand.NewPCG(6, 21))
	const nights = 300
	var widened, alarms, plainHolds, widenedHolds int
	for range nights {
		independent := make([]bool, 400)
		for i := range independent {
			independent[i] = random.Float64() < .1
		}
		if n, err := JudgeNight(independent, .95); err != nil {
			t.Fatal(err)
		} else {
			if n.Widened.Widened {
				widened++
			}
			if n.AlarmAfter > 0 {
				alarms++
			}
		}
		var batches []Counts
		for range 20 { // rates of batches vary evenly from 0 to 20 %
			b, p := Counts{0, 40}, .2*random.Float64()
			for range b.Cycles {
				if random.Float64() < p {
					b.Failures++
				}
			}
			batches = append(batches, b)
		}
		w, err := Widened(batches, .95)
		if err != nil {
			t.Fatal(err)
		}
		if w.Plain.Low <= .1 && .1 <= w.Plain.High {
			plainHolds++
		}
		if w.Interval.Low <= .1 && .1 <= w.Interval.High {
			widenedHolds++
		}
	}
	if alarms > 15 { // the chart's promise is 5 % against a known rate; the run's own makes it rarer
		t.Errorf("the alarm sounds in %d of %d nights of independent cycles", alarms, nights)
	}
	if widened > 30 { // 5 % and three standard errors are 26
		t.Errorf("%d of %d nights of independent cycles were widened", widened, nights)
	}
	if widenedHolds < 270 || widenedHolds <= plainHolds {
		t.Errorf("of %d nights of dependent cycles, widened intervals hold in %d, plain ones in %d", nights, widenedHolds, plainHolds)
	}
}

func TestRestTrendSentences(t *testing.T) {
	up, err := RestTrend([]RestCounts{{3600, Counts{40, 100}}, {5, Counts{2, 100}}, {60, Counts{12, 100}}}, .95)
	if err != nil {
		t.Fatal(err)
	}
	says(t, up.Sentence(), "2 % fail after 5 s of rest", "40 % after 3600 s", "p below 1 in a million", "fails more often the longer it rests")
	if !(up.OddsTen.Low > 1) {
		t.Errorf("%+v", up.OddsTen)
	}
	down, err := RestTrend([]RestCounts{{5, Counts{30, 100}}, {60, Counts{3, 100}}}, .95)
	if err != nil {
		t.Fatal(err)
	}
	says(t, down.Sentence(), "fails more seldom the longer it rests")
	none, err := RestTrend([]RestCounts{{5, Counts{10, 100}}, {60, Counts{11, 100}}}, .95)
	if err != nil {
		t.Fatal(err)
	}
	says(t, none.Sentence(), "no effect of rest shown")
	for _, bad := range [][]RestCounts{nil, {{5, Counts{1, 2}}}, {{0, Counts{1, 2}}, {5, Counts{1, 2}}}, {{1, Counts{0, 9}}, {5, Counts{0, 9}}}} {
		if _, err := RestTrend(bad, .95); !isRefusal(err, "") {
			t.Errorf("%v: %v", bad, err)
		}
	}
}

func TestWords(t *testing.T) {
	for p, want := range map[float64]string{.5: "p = 0.50", .0996: "p = 0.10", .0123: "p = 0.012", .000345: "p = 0.00034", 2e-6: "p below 1 in 10,000", 1e-9: "p below 1 in a million", 0: "p below 1 in a million"} {
		if got := pValue(p); got != want {
			t.Errorf("%v: %q, want %q", p, got, want)
		}
	}
	for n, want := range map[int]string{0: "no", 6: "six", 12: "twelve", 13: "13"} {
		if got := inWords(n); got != want {
			t.Errorf("%d: %q", n, got)
		}
	}
	if got := List([]string{"a", "b", "c"}); got != "a, b and c" {
		t.Error(got)
	}
	c, err := NewCUSUM(.01, .05, 3000)
	if err != nil {
		t.Fatal(err)
	}
	says(t, c.Sentence(), "from 1 % to 5 %", "a false signal comes once in")
}

func TestThresholdSentences(t *testing.T) {
	tally := NewTally(.95)
	random := rand.New(rand.NewPCG(6, 22))
	for _, v := range []float64{2.0, 2.2, 2.4, 2.6, 2.8} {
		for range 100 {
			p, _, _, _ := Logit.at(-(v - 2.4) / .1)
			tally.Add(Observation{Volts: v, Treatment: "as found", Counted: true, Failed: random.Float64() < p, StartSeconds: math.NaN()})
		}
	}
	doses := Doses(tally.Conditions(), "as found")
	if len(doses) != 5 || doses[0].Volts != 2.0 || doses[4].Volts != 2.8 {
		t.Fatalf("%+v", doses)
	}
	fit, err := FitFirth(doses)
	if err != nil {
		t.Fatal(err)
	}
	half, err := fit.Volts(.5, .95)
	if err != nil {
		t.Fatal(err)
	}
	says(t, half.Sentence(), "50 % of cycles fail at 2.", " V, between 2.", "with 95 % confidence")
	if p := fit.Rate(half.Volts); !near(p, .5, 1e-9) {
		t.Errorf("the rate at the half is %v", p)
	}
	hundredth, err := fit.Volts(.001, .95)
	if err != nil || !hundredth.Extrapolated {
		t.Errorf("%+v (%v)", hundredth, err)
	}
	says(t, hundredth.Sentence(), "outside the voltages tried")
}

// Growth is compared where it was measured; a cycle that never started has none
// but counts as slower.
func TestCompareGrowth(t *testing.T) {
	random := rand.New(rand.NewPCG(6, 23))
	var a, b Sample
	a.Name, b.Name = "C7 chilled", "as found"
	for i := range 60 {
		a.Cycles = append(a.Cycles, Cycle{Treatment: a.Name, Volts: []float64{2.2, 2.8}[i%2], StartSeconds: .012, GrowthSeconds: .0012 * (1 + .1*random.Float64())})
		b.Cycles = append(b.Cycles, Cycle{Treatment: b.Name, Volts: []float64{2.2, 2.8}[i%2], StartSeconds: .012, GrowthSeconds: .0010 * (1 + .1*random.Float64())})
	}
	a.Cycles[0] = Cycle{Treatment: a.Name, Volts: 2.2, Failed: true, StartSeconds: math.NaN(), GrowthSeconds: math.NaN()}
	a.Cycles[1].GrowthSeconds = math.NaN()
	c, err := Compare(a, b, .95)
	if err != nil {
		t.Fatal(err)
	}
	if g := c.Growth; !g.Known || g.MeasuredA != 58 || g.CensoredA != 1 || !(g.Ratio.Low > 1.15 && g.Ratio.High < 1.25) {
		t.Errorf("growth is 1.2 times as long: %+v", c.Growth)
	}
	if len(c.Volts) != 2 || c.Volts[0] != 2.8 {
		t.Errorf("voltages %v", c.Volts)
	}
	says(t, c.Sentence(), "growth time constant ", ": longer", "start time 12 ms against 12 ms")
}
