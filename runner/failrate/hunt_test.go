package failrate

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
)

// part is how a simulated unit answers to one treatment.
type part struct {
	name   string
	fails  float64 // failure rate under the treatment
	factor float64 // on the start time
}

// sound is a treatment that does nothing.
func sound(name string) part { return part{name, math.NaN(), 1} }

// simulateHunt makes the cycles of a hunt: base, treatment, base, …, with the
// failure rate and start times of the unit drifting by the given factors from
// first to last cycle.
func simulateHunt(random *rand.Rand, baseFails float64, parts []part, treated, between int, rateDrift, startDrift float64) []Cycle {
	total := float64(len(parts)*(treated+between) + between)
	var cycles []Cycle
	run := func(name string, n int, fails, factor float64) {
		for range n {
			along := float64(len(cycles)) / total
			rate := baseFails * math.Pow(rateDrift, along)
			if !math.IsNaN(fails) {
				rate = fails
			}
			c := Cycle{Treatment: name, Volts: 2.2, StartSeconds: math.NaN(), GrowthSeconds: math.NaN()}
			if c.Failed = random.Float64() < rate; !c.Failed {
				// Start times have a tail to the late side (a Gumbel distribution).
				noise := -0.04 * math.Log(-math.Log(random.Float64()))
				c.StartSeconds = 0.012 * factor * math.Pow(startDrift, along) * (1 + noise)
			}
			cycles = append(cycles, c)
		}
	}
	for _, p := range parts {
		run("as found", between, math.NaN(), 1)
		run(p.name, treated, p.fails, p.factor)
	}
	run("as found", between, math.NaN(), 1)
	return cycles
}

func eightSound() []part {
	var parts []part
	for _, name := range []string{"C7 chilled", "C8 chilled", "Y1 chilled", "U1 chilled", "C7 warmed", "C8 warmed", "Y1 warmed", "U1 warmed"} {
		parts = append(parts, sound(name))
	}
	return parts
}

var huntAtFivePercent = HuntOptions{Base: "as found", Confidence: .95}

// A healthy unit is accused of something in at most 5 % of hunts, steady or
// drifting, whatever its failure rate.
func TestHuntFalseAccusation(t *testing.T) {
	hunts := 300
	if longRun() {
		hunts = 4000
	}
	for _, c := range []struct {
		name              string
		fails, rate, time float64
	}{
		{"steady, never fails", 0, 1, 1},
		{"steady, 5 %", .05, 1, 1},
		{"steady, 30 %", .3, 1, 1},
		{"the night cools: rate times 4, start times 10 % longer", .1, 4, 1.1},
		{"the night warms: start times 30 % shorter", .2, .5, .7},
	} {
		random := rand.New(rand.NewPCG(6, 1))
		accused := 0
		for range hunts {
			h, err := Hunt(simulateHunt(random, c.fails, eightSound(), 25, 11, c.rate, c.time), huntAtFivePercent)
			if err != nil {
				t.Fatal(err)
			}
			if h.Shown {
				accused++
			}
		}
		// Three standard errors of 5 % above 5 %.
		if most := .05 + 3*math.Sqrt(.05*.95/float64(hunts)); float64(accused) > most*float64(hunts) {
			t.Errorf("%s: %d of %d hunts accuse a sound part", c.name, accused, hunts)
		}
		t.Logf("%s: %.1f %% of %d hunts accuse", c.name, 100*float64(accused)/float64(hunts), hunts)
	}
}

// The part at fault is named first in at least 95 % of hunts of at most 300 cycles.
func TestHuntNamesThePart(t *testing.T) {
	const hunts = 100
	for _, c := range []struct {
		name  string
		base  float64
		fault part
	}{
		{"fails under cold", .03, part{"C7 chilled", .5, 1.4}},
		{"start time alone", 0, part{"C7 chilled", 0, 1.1}},
		{"start time alone, shorter", 0, part{"C7 chilled", 0, .9}},
		{"cured", .6, part{"C7 chilled", 0, .8}},
		{"never starts", .02, part{"C7 chilled", 1, 1}},
	} {
		random := rand.New(rand.NewPCG(6, 2))
		first := 0
		for range hunts {
			parts := eightSound()
			parts[0] = c.fault
			random.Shuffle(len(parts), func(i, j int) { parts[i], parts[j] = parts[j], parts[i] })
			cycles := simulateHunt(random, c.base, parts, 25, 11, 1.2, 1.02)
			if len(cycles) > 300 {
				t.Fatalf("%d cycles", len(cycles))
			}
			h, err := Hunt(cycles, huntAtFivePercent)
			if err != nil {
				t.Fatal(err)
			}
			if h.Shown && h.Suspects[0].Treatment == "C7 chilled" {
				first++
			}
		}
		if first < 95 {
			t.Errorf("%s: named first in %d of %d hunts", c.name, first, hunts)
		}
	}
}

// With a least ratio a sound part may move the start time that much and is not
// accused, and one that moves it more still is.
func TestHuntLeastStartRatio(t *testing.T) {
	random := rand.New(rand.NewPCG(6, 7))
	o := huntAtFivePercent
	o.LeastStartRatio = 1.3
	var little, much int
	for range 100 {
		for _, c := range []struct {
			factor float64
			shown  *int
		}{{1.28, &little}, {1 / 1.28, &little}, {1.6, &much}, {1 / 1.6, &much}} {
			parts := eightSound()
			parts[4].factor = c.factor
			h, err := Hunt(simulateHunt(random, .02, parts, 25, 11, 1, 1), o)
			if err != nil {
				t.Fatal(err)
			}
			if h.Shown && h.Suspects[0].Treatment == parts[4].name {
				*c.shown++
			}
		}
	}
	if little > 10 || much < 190 {
		t.Errorf("least ratio 1.3: a factor of 1.28 is shown in %d of 200 hunts, one of 1.6 in %d", little, much)
	}
}

// A step of the base in the middle of a treatment does not accuse it.
func TestHuntHoldsAgainstBothSides(t *testing.T) {
	random := rand.New(rand.NewPCG(6, 3))
	accused := 0
	for range 200 {
		cycles := simulateHunt(random, .1, []part{sound("C7 chilled")}, 40, 40, 1, 1)
		for i := 55; i < len(cycles); i++ { // the unit gets slower early in the treatment
			cycles[i].StartSeconds *= 1.3
		}
		h, err := Hunt(cycles, huntAtFivePercent)
		if err != nil {
			t.Fatal(err)
		}
		if !h.Suspects[0].BaseMoved {
			t.Fatalf("a base 30 %% slower was not noticed: %+v", h.Suspects[0])
		}
		if h.Shown {
			accused++
		}
	}
	if accused > 16 { // 5 % and three standard errors is 19; pooled before and after, nearly all would be
		t.Errorf("%d of 200 accused after a step of the base", accused)
	}
}

// A unit that changed for good while a part was treated, before or after which it
// behaves as it did then, says nothing of the part.
func TestHuntOfAUnitThatChanged(t *testing.T) {
	block := func(treatment string, failures, cycles int) (block []Cycle) {
		for i := range cycles {
			c := Cycle{Treatment: treatment, Volts: 2.4, StartSeconds: .01, GrowthSeconds: math.NaN()}
			if c.Failed = (i+1)*failures/cycles > i*failures/cycles; c.Failed {
				c.StartSeconds = math.NaN()
			}
			block = append(block, c)
		}
		return block
	}
	for _, c := range []struct {
		before, treated, after int // failures in 60, 40 and 60 cycles
		shown                  bool
	}{
		{0, 20, 30, false}, // changed while it was treated
		{30, 20, 0, false}, // changed when the treatment ended
		{0, 20, 0, true},
		{30, 38, 0, true}, // worse than on either side
	} {
		cycles := append(append(block("as found", c.before, 60), block("C7 chilled", c.treated, 40)...), block("as found", c.after, 60)...)
		o := HuntOptions{Base: "as found", Confidence: .95, LeastStartRatio: 1}
		_, visits := visitsOf(cycles, o.Base)
		// Before what clusters do to it, which so few stretches look like, too.
		s, ok := suspectOf("C7 chilled", visits["C7 chilled"], o)
		if !ok || (s.FailureP < .05) != c.shown || s.BaseMoved != (c.before != c.after) {
			t.Errorf("%+v: p %v, base moved %v", c, s.FailureP, s.BaseMoved)
		}
	}
}

func TestHuntSentences(t *testing.T) {
	random := rand.New(rand.NewPCG(6, 4))
	parts := eightSound()[:7]
	parts[0] = part{"C7 chilled", .4, 1.3}
	h, err := Hunt(simulateHunt(random, .03, parts, 50, 20, 1, 1), huntAtFivePercent)
	if err != nil {
		t.Fatal(err)
	}
	s := h.Sentence()
	for _, want := range []string{"C7 chilled: ", " fail against ", "p below 1 in a million", "the other six treatments: no change seen"} {
		if !strings.Contains(s, want) {
			t.Errorf("%q lacks %q", s, want)
		}
	}
	h, err = Hunt(simulateHunt(random, .05, eightSound(), 25, 11, 1, 1), huntAtFivePercent)
	if err != nil {
		t.Fatal(err)
	}
	s = h.Sentence()
	for _, want := range []string{"nothing was shown", "a failure rate of ", " instead of ", "start times ", "would have been seen four times in five"} {
		if !strings.Contains(s, want) {
			t.Errorf("%q lacks %q", s, want)
		}
	}
	h, err = Hunt(simulateHunt(random, .05, eightSound()[:1], 2, 2, 1, 1), huntAtFivePercent)
	if err != nil || h.Shown || !strings.Contains(h.Sentence(), "do more") && !strings.Contains(h.Sentence(), "start times") {
		t.Errorf("two cycles each: %v (%v)", h.Sentence(), err)
	}
}

// What a hunt calls visible, it does see about four times in five.
func TestHuntVisible(t *testing.T) {
	random := rand.New(rand.NewPCG(6, 5))
	quiet, err := Hunt(simulateHunt(random, .05, eightSound(), 25, 11, 1, 1), huntAtFivePercent)
	if err != nil {
		t.Fatal(err)
	}
	var ratio float64
	for _, s := range quiet.Suspects {
		ratio = max(ratio, s.Visible().StartRatio)
	}
	seen := 0
	for range 200 {
		parts := eightSound()
		parts[3].factor = ratio
		h, err := Hunt(simulateHunt(random, 0, parts, 25, 11, 1, 1), huntAtFivePercent)
		if err != nil {
			t.Fatal(err)
		}
		if h.Shown {
			seen++
		}
	}
	if seen < 140 {
		t.Errorf("start times %v times as long are called visible, and are seen in %d of 200 hunts", ratio, seen)
	}
	if ratio > 1.3 {
		t.Errorf("only start times %v times as long are called visible", ratio)
	}
}

func TestHuntRefusals(t *testing.T) {
	one := Cycle{Treatment: "as found", Volts: 2.2, StartSeconds: .01, GrowthSeconds: math.NaN()}
	cold := Cycle{Treatment: "C7 chilled", Volts: 2.2, Failed: true, StartSeconds: math.NaN(), GrowthSeconds: math.NaN()}
	elsewhere := Cycle{Treatment: "C7 chilled", Volts: 2.8, Failed: true, StartSeconds: math.NaN(), GrowthSeconds: math.NaN()}
	for _, c := range []struct {
		name   string
		cycles []Cycle
		o      HuntOptions
		says   string
	}{
		{"no cycles", nil, huntAtFivePercent, "treatments 0"},
		{"base only", []Cycle{one, one}, huntAtFivePercent, "treatments 0"},
		{"no base", []Cycle{cold, cold}, huntAtFivePercent, "base as found"},
		{"no voltage in common", []Cycle{one, elsewhere, one}, huntAtFivePercent, "same voltage"},
		{"confidence 95", []Cycle{one, cold, one}, HuntOptions{Base: "as found", Confidence: 95}, "confidence 95"},
		{"ratio", []Cycle{one, cold, one}, HuntOptions{Base: "as found", Confidence: .95, LeastStartRatio: .5}, "factor of 1 or more"},
		{"negative time", []Cycle{one, {Treatment: "C7 chilled", Volts: 2.2, StartSeconds: -1, GrowthSeconds: math.NaN()}, one}, huntAtFivePercent, "above 0 s"},
	} {
		if h, err := Hunt(c.cycles, c.o); !isRefusal(err, c.says) {
			t.Errorf("%s: %+v, %v; want %q", c.name, h, err, c.says)
		}
	}
	// All failed, none failed, nothing measured: an answer.
	never := Cycle{Treatment: "as found", Volts: 2.2, Failed: true, StartSeconds: math.NaN(), GrowthSeconds: math.NaN()}
	for _, cycles := range [][]Cycle{{never, cold, never}, {one, one, {Treatment: "C7 chilled", Volts: 2.2, Failed: false, StartSeconds: .01, GrowthSeconds: math.NaN()}, one}} {
		h, err := Hunt(cycles, huntAtFivePercent)
		if err != nil || h.Shown || strings.Contains(fmt.Sprint(h.Sentence()), "NaN") {
			t.Errorf("%v: %v (%v)", cycles, h.Sentence(), err)
		}
	}
}

func TestCompareSentences(t *testing.T) {
	random := rand.New(rand.NewPCG(6, 6))
	cycles := simulateHunt(random, .03, []part{{"C7 chilled", .41, 1.5}}, 200, 200, 1, 1)
	var a, b Sample
	a.Name, b.Name = "C7 chilled", "as found"
	for _, c := range cycles {
		if c.Treatment == a.Name {
			a.Cycles = append(a.Cycles, c)
		} else {
			b.Cycles = append(b.Cycles, c)
		}
	}
	c, err := Compare(a, b, .95)
	if err != nil {
		t.Fatal(err)
	}
	s := c.Sentence()
	for _, want := range []string{"C7 chilled: ", "% fail against ", "(as found); ", "points more", "with 95 % confidence", "p below 1 in a million: fails more often", "start time ", ": longer"} {
		if !strings.Contains(s, want) {
			t.Errorf("%q lacks %q", s, want)
		}
	}
	if c.P != FisherExact(c.A.Failures, c.A.Cycles, c.B.Failures, c.B.Cycles) {
		t.Errorf("at one voltage P %v is not Fisher's", c.P)
	}
	if r := c.Start.Ratio; !(r.Low > 1.4 && r.High < 1.8) {
		t.Errorf("start times are 1.5 times as long, more with those that never came, found %+v", r)
	}
	same, err := Compare(b, Sample{"again", b.Cycles}, .95)
	if err != nil || same.P < .99 || same.Start.P < .99 || !strings.Contains(same.Sentence(), "no change") {
		t.Errorf("%+v (%v)", same.Sentence(), err)
	}
	t.Log(s)
	for i := range a.Cycles {
		a.Cycles[i].Volts = 3
	}
	if _, err := Compare(a, b, .95); !isRefusal(err, "none in common") {
		t.Errorf("no voltage in common: %v", err)
	}
	if _, err := Compare(Sample{Name: "x"}, b, .95); !isRefusal(err, "cycles of x") {
		t.Errorf("no cycles: %v", err)
	}
}
