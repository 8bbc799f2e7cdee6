package report

import (
	"encoding/json"
	"fmt"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"ringup/runner"
	"ringup/runner/logbook"
	"ringup/runner/verdict"
)

// The table of start times holds what show prints as JSON, and what follows from the cycles by counting.
func TestReportOfStartTimes(t *testing.T) {
	i := invent(t)
	run := i.begin("soak.lua", 0, false)
	i.soak("as found", 41, map[float64]int{2.4: 9, 2.2: 30}, 3.6, 2.4, 2.2)
	i.soak("as found", 5, nil, 3.0)
	text := words(render(t, i.book, run, Options{AllowedSeconds: 65e-3}))

	started := map[float64][]float64{}
	i.must(i.book.EachCycle(run, func(c logbook.Cycle) error {
		if c.StartSeconds > 0 {
			started[c.SetVolts] = append(started[c.SetVolts], c.StartSeconds)
		}
		return nil
	}))
	for _, times := range started {
		slices.Sort(times)
	}
	// With one window and an odd number of cycles, half have started with the one in the middle; 37 is the least number
	// that is at least 90 % of 41.
	times := started[3.6]
	half, ninety := times[20], times[36]
	expect(t, text,
		"treatment voltage cycles no start half within 90 % within slowest start of 65 ms allowed",
		fmt.Sprintf("as found 3.6 V 41 0 %.2f ms ", 1e3*half), fmt.Sprintf(" %.2f ms ", 1e3*ninety),
		fmt.Sprintf(" %.1f ms %.1f %%", 1e3*times[40], 100*times[40]/65e-3),
		fmt.Sprintf("as found 2.4 V 41 %d %.1f ms ", 41-len(started[2.4]), 1e3*started[2.4][20]),
		"Conditions with too few cycles for this are left out")
	late := 0
	for _, s := range started[2.2] {
		if s > 65e-3 {
			late++
		}
	}
	expect(t, text, fmt.Sprintf("not reached 70.0 ms 107.7 %%, %d over", late))
	if regexp.MustCompile(`as found 3\.0 V 5 0 \d`).MatchString(strings.SplitAfter(text, "How long a start takes")[1]) {
		t.Error("five cycles are described")
	}
	if strings.Contains(text, "The slowest start took") {
		t.Error("the slowest start is praised although some came late")
	}

	analysis, err := runner.AnalyseRun(i.book, run)
	i.must(err)
	shown, err := json.Marshal(analysis)
	i.must(err)
	var show struct {
		Starts []struct {
			Treatment       string
			Volts           float64
			Cycles, Started int
			Within          []struct{ Share, Seconds, Low, High *float64 }
		}
	}
	i.must(json.Unmarshal(shown, &show))
	if len(show.Starts) != 3 {
		t.Fatalf("show has %d conditions, want 3", len(show.Starts))
	}
	for _, s := range show.Starts {
		row := fmt.Sprintf("%s %s %d %d", s.Treatment, volts(s.Volts), s.Cycles, s.Cycles-s.Started)
		for _, w := range s.Within[:2] {
			switch {
			case w.Seconds == nil:
				row += " not reached"
			case w.High == nil:
				row += fmt.Sprintf(" %s ms %s ms or more", threeDigits(1e3**w.Seconds), threeDigits(1e3**w.Low))
			default:
				row += fmt.Sprintf(" %s ms %s to %s ms", threeDigits(1e3**w.Seconds), threeDigits(1e3**w.Low), threeDigits(1e3**w.High))
			}
		}
		expect(t, text, row)
	}
}

func TestReportSaysHowNearTheSlowestStartCame(t *testing.T) {
	i := invent(t)
	run := i.begin("soak.lua", 0, false)
	i.soak("as found", 25, nil, 3.6, 2.2)
	slowest := 0.0
	i.must(i.book.EachCycle(run, func(c logbook.Cycle) error {
		slowest = max(slowest, c.StartSeconds)
		return nil
	}))
	said := fmt.Sprintf("The slowest start took %.1f ms, at 2.2 V: %.1f %% of the 65 ms that are allowed.", 1e3*slowest, 100*slowest/65e-3)
	text := words(render(t, i.book, run, Options{AllowedSeconds: 65e-3}))
	expect(t, text, said)
	if strings.Contains(text, "median start") || strings.Contains(text, "left out.") {
		t.Error("the median is there twice, or a condition is missed that is there")
	}
	if text := words(render(t, i.book, run, Options{})); strings.Contains(text, "allowed") {
		t.Error("a time is allowed that nobody set")
	}
}

// A search spreads its cycles: the headline is the threshold, not the rate of two cycles.
func TestReportOfASearch(t *testing.T) {
	i := invent(t)
	run := i.begin("threshold.lua", 0, false)
	for _, c := range []struct {
		volts  float64
		failed []bool
	}{{2.6, []bool{false}}, {2.4, []bool{false}}, {2.3, []bool{false, false, true}}, {2.25, []bool{true, false, true, false}}, {2.2, []bool{true, false, true}}, {2.1, []bool{true}}, {2.0, []bool{true, true}}} {
		for _, failed := range c.failed {
			kind := verdict.Started
			if failed {
				kind = verdict.Silent
			}
			i.cycle("as found", c.volts, kind)
		}
	}
	page := render(t, i.book, run, Options{})
	text := words(page)
	// R's glm(cbind(failed, started) ~ volts, family = binomial) crosses one half at 2.250292 V, and predicts a rate of
	// 0.992936 at 2.0 V and of 0.000997 at 2.6 V, the ends of the curve.
	expect(t, text, "50 % of cycles fail at 2.250 V, between ", "This was a search: 15 cycles spread over 7 voltages, too few at any one to speak of that voltage alone.",
		"run the hunt near 2.25 V, where about half of the starts fail", "logistic fit")
	for _, unsaid := range []string{"worst voltage", "Over all", "How long a start takes"} {
		if strings.Contains(text, unsaid) {
			t.Errorf("the report of a search says %q", unsaid)
		}
	}
	curve := regexp.MustCompile(`plot-curve" d="M[\d.]+ ([\d.]+)[^"]* ([\d.]+)"`).FindStringSubmatch(page)
	panel := regexp.MustCompile(`plot-span" x="[\d.]+" y="([\d.]+)" width="[\d.]+" height="([\d.]+)"`).FindStringSubmatch(page)
	if curve == nil || panel == nil {
		t.Fatalf("no curve or no limits are drawn: %v, %v", curve, panel)
	}
	number := func(text string) float64 {
		v, err := strconv.ParseFloat(text, 64)
		i.must(err)
		return v
	}
	top, height := number(panel[1]), number(panel[2])
	for k, want := range []float64{0.992936, 0.000997} {
		if got := (top + height - number(curve[k+1])) / height; math.Abs(got-want) > 1e-3 {
			t.Errorf("end %d of the curve is at %.4f, want %.4f", k, got, want)
		}
	}
}
