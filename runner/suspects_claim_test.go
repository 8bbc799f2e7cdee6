package runner_test

import (
	"cmp"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"slices"
	"strings"
	"testing"

	"ringup/runner"
	"ringup/runner/crystal"
	"ringup/runner/failrate"
)

// remedy is one treatment as a person offers it, and what it does to the unit and its surroundings.
type remedy struct {
	name string
	do   func(crystal.Unit) crystal.Unit
	part crystal.Part // held at celsius; empty: none
	at   float64
}

const (
	sprayCelsius  = -25.0 // a part under freeze spray
	hotAirCelsius = 60.0
)

func chilled(p crystal.Part) remedy {
	return remedy{name: string(p) + " chilled", part: p, at: sprayCelsius}
}

func warmed(p crystal.Part) remedy {
	return remedy{name: string(p) + " warmed", part: p, at: hotAirCelsius}
}

func fitted(p crystal.Part, name string) remedy {
	return remedy{name: name, do: func(u crystal.Unit) crystal.Unit {
		changed, err := u.Fit(p, 0)
		if err != nil {
			panic(err)
		}
		return changed
	}}
}

// cleanedAndDried takes the film off and leaves the crystal as it was.
var cleanedAndDried = remedy{name: "cleaned and dried", do: func(u crystal.Unit) crystal.Unit {
	u.Film = crystal.Spread{}
	return u.Dry()
}}

var (
	anotherCrystal = fitted(crystal.Y1, "another crystal at Y1")
	bypassed       = fitted(crystal.J1, "J1 bypassed")
	chills         = []remedy{chilled(crystal.C7), chilled(crystal.C8), chilled(crystal.Y1), chilled(crystal.U1)}
	warms          = []remedy{warmed(crystal.C7), warmed(crystal.C8), warmed(crystal.Y1), warmed(crystal.U1)}
)

func offered(lists ...[]remedy) (all []remedy) {
	for _, l := range lists {
		all = append(all, l...)
	}
	return all
}

// huntCase is a unit, where it is hunted, and what is offered.
type huntCase struct {
	unit           string
	celsius, volts float64
	offered        []remedy
	culprit        string // in the name of the first suspect; empty: nothing may be shown
}

var (
	spraysAndAir = offered(chills, warms)
	withCrystal  = offered(chills, []remedy{warmed(crystal.C7), anotherCrystal, warmed(crystal.C8), bypassed})
	// A new crystal goes on cleaned pads, and so cures the film as well: the two cannot be offered in one hunt.
	withCleaning = offered(chills, []remedy{warmed(crystal.C7), cleanedAndDried, warmed(crystal.C8), bypassed})
	// Chilling the microcontroller moves its drive, and with a supply contact that drops volts that is a true effect.
	withoutU1 = offered(chills[:3], warms[:3], []remedy{chilled(crystal.J1), warmed(crystal.J1)})
)

var huntCases = []huntCase{
	{"cracked-capacitor", -13, 2.2, spraysAndAir, "C7"},
	{"cracked-capacitor", -6, 2.2, spraysAndAir, "C7"},
	{"sleepy-crystal", 20, 2.2, withCrystal, "another crystal at Y1"},
	{"wet-flux", 20, 2.4, withCleaning, "cleaned and dried"},
	{"resistive-contact", 20, 2.4, withCleaning, "J1 bypassed"},
	{"healthy", -6, 2.2, spraysAndAir, ""},
	{"healthy", 20, 2.2, withCrystal, ""},
	// Faults that nothing offered can reveal.
	{"wet-flux", 20, 2.4, spraysAndAir, ""},
	{"resistive-contact", 20, 2.4, withoutU1, ""},
}

// The procedure of the library's hunt.lua.
const (
	huntRest               = 10.0
	huntWatch              = 0.080
	firstRound, between    = 14, 8
	secondRound, again     = 36, 16
	mostHuntCycles         = 300
	namedFirst, accusedAll = 0.95, 0.05 // shares of the hunts
)

// hunt simulates the cycles of one hunt: a round of all that is offered, and a second one of the two that did most.
func (c huntCase) hunt(t *testing.T, random *rand.Rand) runner.Hunt {
	t.Helper()
	unit, err := crystal.NewUnit(c.unit)
	if err != nil {
		t.Fatal(err)
	}
	var cycles []failrate.Cycle
	do := func(r remedy, n int) {
		u := unit
		if r.do != nil {
			u = r.do(u)
		}
		around := crystal.Surroundings{SupplyVolts: c.volts, RestSeconds: huntRest, AmbientCelsius: c.celsius}
		if r.part != "" {
			around.PartCelsius = map[crystal.Part]float64{r.part: r.at}
		}
		for range n {
			p := u.PowerUp(around, random)
			cycle := failrate.Cycle{Treatment: r.name, Volts: c.volts, Failed: p.Outcome().Failed(), StartSeconds: math.NaN(), GrowthSeconds: math.NaN()}
			if s := p.ClockSeconds(); s < huntWatch {
				cycle.StartSeconds = s
			}
			cycles = append(cycles, cycle)
		}
	}
	rank := func() runner.Hunt {
		h, err := runner.RankTreatments(cycles)
		if err != nil {
			t.Fatal(err)
		}
		return h
	}
	asFound := remedy{name: runner.AsFound}
	do(asFound, between)
	for _, r := range c.offered {
		do(r, firstRound)
		do(asFound, between)
	}
	suspects := rank().List()[:2]
	do(asFound, again-between)
	for _, s := range suspects {
		at := slices.IndexFunc(c.offered, func(r remedy) bool { return r.name == s.Treatment })
		do(c.offered[at], secondRound)
		do(asFound, again)
	}
	if len(cycles) > mostHuntCycles {
		t.Fatalf("%d cycles, at most %d are claimed", len(cycles), mostHuntCycles)
	}
	return rank()
}

// Hunts of every unit of the crystal model: the faulty part is named first, and a healthy one is not accused. With
// RINGUP_LONG=1 it takes 200 hunts of each.
func TestHuntNamesTheFaultyPart(t *testing.T) {
	hunts := 100
	if os.Getenv("RINGUP_LONG") == "1" {
		hunts = 200
	}
	for i, c := range huntCases {
		t.Run(fmt.Sprintf("%s at %g °C, %s", c.unit, c.celsius, cmp.Or(c.culprit, "nothing to find")), func(t *testing.T) {
			t.Parallel()
			random := rand.New(rand.NewPCG(73728, uint64(i)))
			first := map[string]int{}
			for range hunts {
				h := c.hunt(t, random)
				if list := h.List(); list[0].Shown {
					first[list[0].Treatment]++
				} else if said := h.Sentence(); !strings.HasPrefix(said, "nothing was shown") || !strings.Contains(said, "would have been seen") {
					t.Errorf("a hunt without a find says: %s", said)
				}
			}
			named, shown := 0, 0
			for treatment, n := range first {
				shown += n
				if c.culprit != "" && strings.HasPrefix(treatment, c.culprit) {
					named += n
				}
			}
			t.Logf("of %d hunts, named first: %v; nothing shown in %d", hunts, first, hunts-shown)
			if c.culprit != "" && float64(named) < namedFirst*float64(hunts) {
				t.Errorf("%s was named first in %d of %d hunts", c.culprit, named, hunts)
			}
			if c.culprit == "" && float64(shown) > accusedAll*float64(hunts) {
				t.Errorf("%d of %d hunts accuse a part", shown, hunts)
			}
		})
	}
}

// What a treatment does to a sound unit's start time is below what counts, at every voltage at which it starts with time
// to spare.
func TestSoundUnitMovesLessThanCounts(t *testing.T) {
	unit, err := crystal.NewUnit("healthy")
	if err != nil {
		t.Fatal(err)
	}
	median := func(around crystal.Surroundings) float64 {
		random := rand.New(rand.NewPCG(1, 2))
		var starts []float64
		for range 401 {
			p := unit.PowerUp(around, random)
			starts = append(starts, p.ClockSeconds())
		}
		slices.Sort(starts)
		return starts[len(starts)/2]
	}
	most := 1.0
	for _, celsius := range []float64{-13, -6, 10, 25} {
		for _, volts := range []float64{2.2, 2.4, 2.8, 3.3, 3.6} {
			around := crystal.Surroundings{SupplyVolts: volts, RestSeconds: huntRest, AmbientCelsius: celsius}
			base := median(around)
			for _, r := range offered(chills, warms) {
				around.PartCelsius = map[crystal.Part]float64{r.part: r.at}
				ratio := median(around) / base
				most = max(most, ratio, 1/ratio)
			}
		}
	}
	t.Logf("at most a factor of %.3f", most)
	if most > runner.LeastStartRatio {
		t.Errorf("a sound unit's start time moves by a factor of %.3f, and %g already counts", most, runner.LeastStartRatio)
	}
}
