package failrate

import (
	"cmp"
	"math"
	"slices"
)

// Observation is one cycle as the tally sees it.
type Observation struct {
	Volts        float64 // set voltage
	Treatment    string
	Verdict      string
	Counted      bool    // enters the failure rate
	Failed       bool    // counted, and not a good start
	StartSeconds float64 // NaN = did not start within the window (right-censored)
}

// Tally counts cycles by condition: treatment and set voltage, to a tenth of a
// millivolt so that 3.6 V less twelve steps of 0.1 V is 2.4 V. It keeps one
// number a cycle (the start time) and is not safe for concurrent use.
type Tally struct {
	confidence float64
	cells      map[key]*cell
	treatments []string // in order of first appearance
}

type key struct {
	treatment string
	volts     float64 // rounded; never NaN
}

// cell gathers the cycles of one condition.
type cell struct {
	cycles, failures, notCounted int
	verdicts                     map[string]int
	starts                       []float64 // of counted cycles, +Inf = censored
}

// NewTally returns an empty tally whose intervals have the given confidence,
// 0.95 for 95 %. With a confidence that cannot be, all its intervals are [0, 1];
// check what a person typed with [ParseConfidence].
func NewTally(confidence float64) *Tally {
	return &Tally{confidence: confidence, cells: map[key]*cell{}}
}

// Add counts one cycle.
func (t *Tally) Add(o Observation) {
	k := key{o.Treatment, roundVolts(o.Volts)}
	c := t.cells[k]
	if c == nil {
		c = &cell{verdicts: map[string]int{}}
		t.cells[k] = c
		if !slices.Contains(t.treatments, o.Treatment) {
			t.treatments = append(t.treatments, o.Treatment)
		}
	}
	c.verdicts[o.Verdict]++
	if !o.Counted {
		c.notCounted++
		return
	}
	c.cycles++
	if o.Failed {
		c.failures++
	}
	start := o.StartSeconds
	if math.IsNaN(start) {
		start = math.Inf(1)
	}
	c.starts = append(c.starts, start)
}

// Conditions returns every condition seen, by treatment in order of first
// appearance, then from the highest voltage to the lowest.
func (t *Tally) Conditions() []Condition {
	keys := t.keys(nil)
	conditions := make([]Condition, len(keys))
	for i, k := range keys {
		conditions[i] = t.pool([]key{k})
	}
	return conditions
}

// Of returns the cycles of all conditions that match, pooled into one. Volts
// is NaN and Treatment empty where the pooled conditions differ in it.
// Without a match it has no cycles.
func (t *Tally) Of(match func(volts float64, treatment string) bool) Condition {
	return t.pool(t.keys(match))
}

// keys returns the keys that match (all for nil) in table order.
func (t *Tally) keys(match func(volts float64, treatment string) bool) []key {
	var keys []key
	for k := range t.cells {
		if match == nil || match(k.reported(), k.treatment) {
			keys = append(keys, k)
		}
	}
	slices.SortFunc(keys, func(a, b key) int {
		return cmp.Or(
			cmp.Compare(slices.Index(t.treatments, a.treatment), slices.Index(t.treatments, b.treatment)),
			cmp.Compare(b.volts, a.volts))
	})
	return keys
}

func (t *Tally) pool(keys []key) Condition {
	p := Condition{Volts: math.NaN(), Verdicts: map[string]int{}}
	counted := 0
	for _, k := range keys {
		counted += len(t.cells[k].starts)
	}
	starts := make([]float64, 0, counted)
	for i, k := range keys {
		if i == 0 {
			p.Volts, p.Treatment = k.reported(), k.treatment
		}
		if k.volts != keys[0].volts {
			p.Volts = math.NaN()
		}
		if k.treatment != keys[0].treatment {
			p.Treatment = ""
		}
		c := t.cells[k]
		p.Cycles += c.cycles
		p.Failures += c.failures
		p.NotCounted += c.notCounted
		for v, n := range c.verdicts {
			p.Verdicts[v] += n
		}
		starts = append(starts, c.starts...)
	}
	iv := ClopperPearson(p.Failures, p.Cycles, t.confidence)
	p.Estimate, p.Low, p.High, p.Confidence, p.OneSided = iv.Estimate, iv.Low, iv.High, iv.Confidence, iv.OneSided
	p.StartSecondsMedian = median(starts)
	return p
}

// unknownVolts stands for NaN in a key, because NaN never equals itself.
var unknownVolts = math.Inf(-1)

func roundVolts(v float64) float64 {
	if math.IsNaN(v) {
		return unknownVolts
	}
	return math.Round(v*1e4) / 1e4
}

// reported returns the voltage as a condition shows it.
func (k key) reported() float64 {
	if k.volts == unknownVolts {
		return math.NaN()
	}
	return k.volts
}

// median returns the median of start times, censored ones being +Inf. It is
// NaN when there are none, and when the middle itself is censored: then all
// that is known is that more than half took longer than the window. It changes
// the order of s.
func median(s []float64) float64 {
	if len(s) == 0 {
		return math.NaN()
	}
	lower := (len(s) - 1) / 2
	m := smallest(s, lower)
	if len(s)%2 == 0 {
		m = (m + slices.Min(s[lower+1:])) / 2
	}
	if math.IsInf(m, 1) {
		return math.NaN()
	}
	return m
}

// smallest returns the value of rank k, counted from 0, and moves what is
// smaller before it and what is larger behind it. It narrows down to the side
// of a pivot that holds the rank, which takes a time in proportion to len(s),
// where sorting a night's start times would take ten times that.
//
// Source: Hoare, Comm. ACM 4 (1961) 321, algorithm 65.
func smallest(s []float64, k int) float64 {
	for low, high := 0, len(s)-1; low < high; {
		// Of three, the middle one: sorted start times are common.
		a, b, c := s[low], s[low+(high-low)/2], s[high]
		pivot := max(min(a, b), min(max(a, b), c))
		i, j := low, high
		for i <= j {
			for s[i] < pivot {
				i++
			}
			for s[j] > pivot {
				j--
			}
			if i <= j {
				s[i], s[j] = s[j], s[i]
				i, j = i+1, j-1
			}
		}
		switch {
		case k <= j:
			high = j
		case k >= i:
			low = i
		default:
			return s[k]
		}
	}
	return s[k]
}
