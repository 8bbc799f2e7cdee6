package main

import (
	"bufio"
	"bytes"
	"fmt"
	"hash/fnv"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"

	"ringup/runner/verdict/internal/vectors"
)

// transient is what ngspice made of a deck.
type transient struct {
	step      float64 // s
	rail, pin []float64
	measures  map[string]float64 // NaN where ngspice found none
}

var measure = regexp.MustCompile(`(?m)^(\w+) +=\s+([-+.0-9eE]+)`)

// simulate writes the circuit's deck to the folder and has ngspice run it.
func (c circuit) simulate(decks string) (transient, error) {
	deck, err := filepath.Abs(filepath.Join(decks, c.name+".cir"))
	if err != nil {
		return transient{}, err
	}
	if err := os.WriteFile(deck, []byte(c.deck()), 0o644); err != nil {
		return transient{}, err
	}
	scratch, err := os.MkdirTemp("", "ringup-deck-")
	if err != nil {
		return transient{}, err
	}
	defer os.RemoveAll(scratch)
	cmd := exec.Command("ngspice", "-b", deck)
	cmd.Dir = scratch
	out, err := cmd.CombinedOutput()
	data, readErr := os.ReadFile(filepath.Join(scratch, c.name+".dat"))
	if readErr != nil {
		return transient{}, fmt.Errorf("ngspice (Debian package ngspice) made no data: %v\n%s", err, out)
	}
	tr := transient{measures: map[string]float64{}}
	for _, m := range measure.FindAllStringSubmatch(string(out), -1) {
		if tr.measures[m[1]], err = strconv.ParseFloat(m[2], 64); err != nil {
			return transient{}, fmt.Errorf("measure %s: %w", m[1], err)
		}
	}
	return tr, tr.read(data)
}

// read takes the columns time, rail, pin.
func (tr *transient) read(data []byte) error {
	lines := bufio.NewScanner(bytes.NewReader(data))
	var times []float64
	for line := 1; lines.Scan(); line++ {
		f := strings.Fields(lines.Text())
		var v [3]float64
		if len(f) != len(v) {
			return fmt.Errorf("line %d of ngspice's data has %d columns, not time, rail and pin", line, len(f))
		}
		for i := range v {
			var err error
			if v[i], err = strconv.ParseFloat(f[i], 64); err != nil {
				return fmt.Errorf("line %d of ngspice's data: %w", line, err)
			}
		}
		times, tr.rail, tr.pin = append(times, v[0]), append(tr.rail, v[1]), append(tr.pin, v[2])
	}
	if len(times) < 2 {
		return fmt.Errorf("ngspice's data has %d lines", len(times))
	}
	tr.step = (times[len(times)-1] - times[0]) / float64(len(times)-1)
	return lines.Err()
}

// at is v at a time, linearly between ngspice's nanoseconds.
func (tr transient) at(v []float64, t float64) float64 {
	x := min(max(t/tr.step, 0), float64(len(v)-2))
	i := int(x)
	return v[i] + (x-float64(i))*(v[i+1]-v[i])
}

// vectors looks at the circuit twice: with everything at full rate, and by peak-detect
// with a steady record.
func (c circuit) vectors(decks string) ([]vectors.Vector, error) {
	tr, err := c.simulate(decks)
	if err != nil {
		return nil, err
	}
	if err := c.sane(tr.measures); err != nil {
		return nil, err
	}
	const watched, end = 110e-6, 121e-6
	trigger := 11e-6
	if rise, ok := tr.measures["rise"]; ok {
		trigger = rise
	}
	name := fnv.New64a()
	name.Write([]byte(c.name))
	rng := rand.New(rand.NewPCG(name.Sum64(), 2))
	scope := func(step, from, to float64) vectors.Scope {
		return vectors.Scope{Start: from - trigger, Step: step, Count: int((to - from) / step), Late: trigger}
	}
	rail := func(t float64) float64 { return tr.at(tr.rail, t) }
	pin := func(t float64) float64 { return tr.at(tr.pin, t) }
	file := func() vectors.File {
		return vectors.File{
			Source: "ngspice 39, decks/" + c.name + ".cir",
			Limits: vectors.Limits{SetVolts: c.volts, RailFraction: 0.5, ClockHertz: 7.3728e6, FrequencyWithin: 0.01,
				AmplitudeMinVolts: c.required, StartWithinSeconds: c.allowed * 1e-6, WatchSeconds: watched - trigger},
			Records: vectors.Records{SupplyVolts: tr.measures["rail"], SupplyAmps: math.NaN()},
		}
	}

	full := file()
	full.Comment = c.comment + ", at full rate"
	s := scope(c.step*1e-9, 0, watched)
	full.Records.Rail = s.Scaled(0.5, 2, 0.5).Sample(rng, rail)
	full.Records.Clock = s.Scaled(c.scale, c.centre, 0.6).Sample(rng, pin)
	full.Expect = c.expect(tr, full.Records.Clock.CodeVolts, true)

	peak := file()
	peak.Comment = c.comment + ", by peak-detect"
	s = scope(0.4e-6, 0, watched)
	peak.Records.Rail = s.Scaled(0.5, 2, 0.5).Peaks(rng, func(t, _ float64) float64 { return rail(t) })
	peak.Records.Clock = s.Scaled(c.scale, c.centre, 0.6).Peaks(rng, func(t, _ float64) float64 { return pin(t) })
	steady := scope(10e-9, watched, end)
	steady.Late, steady.Start = watched, 0
	peak.Records.Steady = steady.Scaled(c.scale, c.centre, 0.6).Sample(rng, pin)
	peak.Expect = c.expect(tr, peak.Records.Clock.CodeVolts, !c.stops)
	return []vectors.Vector{{Name: "circuit-" + c.name, File: full}, {Name: "circuit-" + c.name + "-peaks", File: peak}}, nil
}

// sane refuses a circuit that is not what it is said to be.
func (c circuit) sane(m map[string]float64) error {
	if !c.runs {
		return nil
	}
	amplitude, start := (m["top"]-m["bottom"])/2, 1e6*(m["reach"]-m["rise"])
	switch {
	case !(math.Abs(m["top"]-m["early"]) < 0.01*amplitude):
		return fmt.Errorf("not settled from %g to %g µs: peaks of %g V, then %g V", c.settled[0], c.settled[1], m["early"], m["top"])
	case c.stops && !(math.Abs(m["left"]-(m["top"]+m["bottom"])/2) < 0.05*amplitude):
		return fmt.Errorf("it has not stopped: peaks of %g V at the end", m["left"])
	case c.verdict == "weak" != (amplitude < c.required):
		return fmt.Errorf("%s, but its amplitude is %g V of %g V", c.verdict, amplitude, c.required)
	case c.verdict == "started" && !(start < c.allowed-2), c.verdict == "late" && !(start > c.allowed+2):
		return fmt.Errorf("%s, but it starts after %g µs of %g µs", c.verdict, start, c.allowed)
	}
	return nil
}

// expect states what ngspice measured. The start is good to 2 % of the watch.
func (c circuit) expect(tr transient, code float64, frequency bool) vectors.Expect {
	e := vectors.Expect{Verdict: c.verdict}
	set := func(name string, v, within float64) {
		e.Measures = append(e.Measures, vectors.Measure{Name: name, Value: v, Within: within})
	}
	m := tr.measures
	if c.verdict != "unpowered" {
		set("rail_v", m["rail"], 0.005*c.volts+0.04)
	}
	if !c.runs {
		set("start_seconds", math.NaN(), 0)
		set("frequency_hz", math.NaN(), 0)
		return e
	}
	amplitude := (m["top"] - m["bottom"]) / 2
	set("amplitude_v", amplitude, 0.03*amplitude+2*code)
	if c.verdict == "weak" || c.verdict == "off-frequency" {
		set("start_seconds", math.NaN(), 0)
	} else {
		set("start_seconds", m["reach"]-m["rise"], 2e-6)
	}
	if frequency {
		hertz := float64(c.periods()) / (m["last"] - m["first"])
		set("frequency_hz", hertz, 1e-4*hertz)
	}
	if c.stops {
		set("dropout_seconds", m["stop"]-m["rise"], 2e-6)
	} else {
		set("dropout_seconds", math.NaN(), 0)
	}
	return e
}
