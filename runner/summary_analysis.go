package runner

import (
	"errors"
	"strings"

	"ringup/runner/failrate"
	"ringup/runner/logbook"
)

// Analysis is all that the counted cycles of a run say, in the form that show prints as JSON.
type Analysis struct {
	Summary
	Rates      []RateInWords `json:"rates"`      // of the conditions, in their order
	Anytime    []RateInWords `json:"anytime"`    // by treatment, where the script ended by what it had seen: intervals that allow for that
	Nights     []Night       `json:"nights"`     // of those conditions whose order says something
	Starts     []StartTimes  `json:"starts"`     // of those conditions with cycles enough
	Rests      []RestEffect  `json:"rests"`      // of those conditions that were started after several rests
	Thresholds []Threshold   `json:"thresholds"` // of those treatments that were tried at several voltages
	Hunt       *Hunt         `json:"hunt"`       // null without treatments to compare
}

// RateInWords is a condition's failure rate as a sentence for a report.
type RateInWords struct {
	Treatment string        `json:"treatment"`
	Volts     *float64      `json:"volts"` // null where several are pooled
	Rate      failrate.Rate `json:"rate"`
	Sentence  string        `json:"sentence"`
}

// Night says whether the cycles of one condition were alike from first to last.
type Night struct {
	Treatment  string            `json:"treatment"`
	Volts      float64           `json:"volts"`
	Interval   failrate.Interval `json:"interval"` // of the rate, wider where the cycles are not independent
	Widened    bool              `json:"widened"`
	Factor     float64           `json:"variance_factor"` // against independent cycles
	BatchP     float64           `json:"p_batches"`
	ClusteredP float64           `json:"p_clustered"` // runs test
	TrendP     float64           `json:"p_trend"`     // Mann-Kendall
	ChangeP    float64           `json:"p_change"`    // Pettitt
	Change     int               `json:"change_after_cycle"`
	Alarm      int               `json:"alarm_at_cycle"` // of a CUSUM for doubled odds of failing; 0: never
	Lag1       float64           `json:"lag1_autocorrelation"`
	Sentence   string            `json:"sentence"`
}

// Analyse looks at the cycles of a run: conditions as tallied, and the counted cycles in the order they were done.
func Analyse(s Summary, counted []failrate.Cycle) Analysis {
	a := Analysis{Summary: s, Rates: []RateInWords{}, Anytime: []RateInWords{}, Nights: []Night{}, Starts: []StartTimes{}, Rests: []RestEffect{}, Thresholds: []Threshold{}}
	for _, c := range s.Conditions {
		a.Rates = append(a.Rates, RateInWords{c.Treatment, measured(c.Volts), c.Rate(), c.Rate().Sentence()})
		cycles := cyclesAt(c, counted)
		if n, ok := nightOf(c, cycles); ok {
			a.Nights = append(a.Nights, n)
		}
		if t, ok := startTimesOf(c, cycles); ok {
			a.Starts = append(a.Starts, t)
		}
		if e, ok := restEffectOf(c, cycles); ok {
			a.Rests = append(a.Rests, e)
		}
	}
	for _, treatment := range treatmentsOf(s.Conditions) {
		if s.Accepted != nil {
			a.Anytime = append(a.Anytime, anytimeOf(s.Conditions, treatment))
		}
		if t, ok := thresholdOf(s.Conditions, treatment); ok {
			for _, n := range a.Nights {
				if n.Treatment == treatment && n.Widened {
					t.Clustered = append(t.Clustered, n.Volts)
				}
			}
			a.Thresholds = append(a.Thresholds, t)
		}
	}
	if h, err := RankTreatments(counted); err == nil { // refused where there is nothing to compare
		a.Hunt = &h
	}
	return a
}

// anytimeOf is the rate of a treatment over all its voltages.
func anytimeOf(conditions []failrate.Condition, treatment string) RateInWords {
	rate := failrate.Rate{Method: failrate.MethodAnytime}
	for _, c := range conditions {
		if c.Treatment == treatment {
			rate.Failures, rate.Cycles, rate.NotCounted = rate.Failures+c.Failures, rate.Cycles+c.Cycles, rate.NotCounted+c.NotCounted
		}
	}
	rate.Interval = failrate.Anytime(rate.Failures, rate.Cycles, Confidence)
	return RateInWords{Treatment: treatment, Rate: rate, Sentence: rate.Sentence()}
}

// AnalyseRun reads a run from the logbook and analyses it.
func AnalyseRun(book *logbook.Book, run int64) (Analysis, error) {
	s, err := Summarise(book, run, 0)
	if err != nil {
		return Analysis{}, err
	}
	counted, err := CountedCycles(book, run)
	return Analyse(s, counted), err
}

// CountedCycles reads the counted cycles of a run, in the order they were done.
func CountedCycles(book *logbook.Book, run int64) (cycles []failrate.Cycle, err error) {
	err = book.EachCycle(run, func(c logbook.Cycle) error {
		if counted, ok := CountedCycle(c); ok {
			cycles = append(cycles, counted)
		}
		return nil
	})
	return cycles, err
}

// cyclesAt is those of one condition.
func cyclesAt(c failrate.Condition, counted []failrate.Cycle) (cycles []failrate.Cycle) {
	for _, cycle := range counted {
		if cycle.Treatment == c.Treatment && sameVolts(cycle.Volts, c.Volts) {
			cycles = append(cycles, cycle)
		}
	}
	return cycles
}

func nightOf(c failrate.Condition, cycles []failrate.Cycle) (Night, bool) {
	var failed []bool
	for _, cycle := range cycles {
		failed = append(failed, cycle.Failed)
	}
	n, err := failrate.JudgeNight(failed, Confidence)
	if err != nil || !n.Judged {
		return Night{}, false
	}
	return Night{
		Treatment: c.Treatment, Volts: c.Volts, Interval: n.Widened.Interval, Widened: n.Widened.Widened, Factor: n.Widened.Factor, BatchP: n.Widened.P,
		ClusteredP: n.Runs.Clustered, TrendP: n.Trend.P, ChangeP: n.ChangeP, Change: n.Change.After, Alarm: n.AlarmAfter, Lag1: n.Lag1, Sentence: n.Sentence(),
	}, true
}

func treatmentsOf(conditions []failrate.Condition) (names []string) {
	for i, c := range conditions {
		if i == 0 || c.Treatment != conditions[i-1].Treatment {
			names = append(names, c.Treatment)
		}
	}
	return names
}

// Threshold is the failure rate against the voltage, of one treatment.
type Threshold struct {
	Treatment string           `json:"treatment"`
	Curve     string           `json:"curve"`     // what was fitted; empty when nothing could be
	Fits      *float64         `json:"p_fit"`     // Pearson's: small when the curve does not describe the rates; null without degrees of freedom
	Volts     []ThresholdVolts `json:"volts"`     // at 1, 10 and 50 %
	Steps     []IsotonicStep   `json:"steps"`     // without a curve: only that the rate does not rise with the voltage
	Clustered []float64        `json:"clustered"` // voltages at which cycles are not independent, so that the limits are too narrow
	Refused   string           `json:"refused"`   // why there is no curve
}

// IsotonicStep is the rate at one voltage, when no curve but only the order is assumed.
type IsotonicStep struct {
	Volts  float64 `json:"volts"`
	Fitted float64 `json:"rate"`
}

// ThresholdVolts is the voltage at which a share of cycles fails. Limits that the cycles do not bound are null.
type ThresholdVolts struct {
	Rate         float64     `json:"rate"`
	Volts        float64     `json:"volts"`
	Confidence   float64     `json:"confidence"`
	Profile      [2]*float64 `json:"profile"`
	Fieller      [2]*float64 `json:"fieller"`
	Delta        [2]*float64 `json:"delta"`
	Extrapolated bool        `json:"extrapolated"`
	Sentence     string      `json:"sentence"`
}

// thresholdOf fits a logistic curve, or where one voltage parts all failures from all starts, Firth's. ok is false for a
// treatment at one voltage only.
func thresholdOf(conditions []failrate.Condition, treatment string) (t Threshold, ok bool) {
	doses := failrate.Doses(conditions, treatment)
	var tried []failrate.Dose
	for _, d := range doses {
		if d.Cycles > 0 {
			tried = append(tried, d)
		}
	}
	if len(tried) < 2 {
		return t, false
	}
	t = Threshold{Treatment: treatment, Volts: []ThresholdVolts{}, Steps: []IsotonicStep{}, Clustered: []float64{}}
	if steps, err := failrate.Isotonic(tried); err == nil {
		for _, s := range steps {
			t.Steps = append(t.Steps, IsotonicStep{s.Volts, s.Fitted})
		}
	}
	fit, err := failrate.FitThreshold(tried, failrate.Logit)
	t.Curve = "logistic"
	if err != nil {
		t.Curve = "logistic, Firth-penalised"
		if fit, err = failrate.FitFirth(tried); err != nil {
			t.Curve, t.Refused = "", err.Error()
			if refused := new(failrate.InputError); errors.As(err, &refused) {
				t.Refused = refused.Allowed
			}
			return t, true
		}
	}
	if fit.Degrees > 0 {
		t.Fits = measured(fit.PearsonP)
	}
	for _, rate := range []float64{0.01, 0.1, 0.5} {
		v, err := fit.Volts(rate, Confidence)
		if err != nil {
			t.Refused = err.Error()
			break
		}
		limits := func(l failrate.Limits) [2]*float64 { return [2]*float64{measured(l.Low), measured(l.High)} }
		t.Volts = append(t.Volts, ThresholdVolts{v.Rate, v.Volts, v.Confidence, limits(v.Profile), limits(v.Fieller), limits(v.Delta), v.Extrapolated, v.Sentence()})
	}
	return t, true
}

// Sentence says the threshold in words, a line each.
func (t Threshold) Sentence() string {
	if t.Refused != "" {
		return t.Refused
	}
	var lines []string
	for _, v := range t.Volts {
		lines = append(lines, v.Sentence)
	}
	text := strings.Join(lines, "\n")
	if len(t.Clustered) > 0 {
		text += "\nthe cycles are not independent at every voltage (see through the run), so these limits are narrower than they should be"
	}
	if t.Fits != nil && *t.Fits < 1-Confidence {
		text += "\nthe rates do not follow the curve well: believe the voltages between those tried only roughly"
	}
	return text
}
