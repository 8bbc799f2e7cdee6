package failrate

import (
	"fmt"
	"math"
)

// SearchOptions says what an adaptive search is looking for.
type SearchOptions struct {
	LowVolts, HighVolts float64 // never beyond
	StepVolts           float64 // the voltages are LowVolts and whole steps above
	Rate                float64 // the failure rate whose voltage is wanted: 0.5
}

// Search looks for the voltage at which a given share of cycles fails. After
// every cycle it knows how likely each threshold and each steepness of the curve
// is, and asks for the voltage whose outcome, whichever it is, leaves the
// threshold most sharply known. Equal outcomes lead to equal voltages: there is
// no chance in it.
//
// The curve is logistic and falls with the voltage. One outcome in a thousand
// may be a fluke, so that none can rule out the truth. Before the first cycle
// every threshold between the two ends and a little beyond is equally likely, and
// so is every steepness on a logarithmic scale.
//
// Source: the psi method of Kontsevich and Tyler, Vision Research 39 (1999)
// 2729, with the variance of the threshold in the place of the entropy.
type Search struct {
	o          SearchOptions
	thresholds []float64
	widths     []float64        // volts for a change of one logit
	logWeight  []float64        // of threshold i and width j at i*len(widths)+j
	weight     []float64        // their exponentials, adding up to 1
	candidates []float64        // voltages
	tables     map[int][]chance // by candidate
	cycles     Counts
	stale      bool // weight is to be worked out again from logWeight
}

// chance is the chance to fail of one cell of the grid at one voltage, with the
// logarithms of it and of its complement.
type chance struct{ fails, logFails, logStarts float64 }

// The grid of a search, and the share of flukes.
const (
	searchThresholds = 161
	searchWidths     = 15
	searchFluke      = 0.001
	mostCandidates   = 2000
)

// NewSearch starts a search.
func NewSearch(o SearchOptions) (*Search, error) {
	if err := checkRate("failure rate", o.Rate); err != nil {
		return nil, err
	}
	span := o.HighVolts - o.LowVolts
	switch {
	case !(span > 0) || math.IsInf(span, 1):
		return nil, refuse("voltages", fmt.Sprintf("%v to %v V", o.LowVolts, o.HighVolts), "the lower voltage comes first, and both are finite")
	case !(o.StepVolts > 0) || o.StepVolts > span:
		return nil, refuse("step", o.StepVolts, fmt.Sprintf("it lies above 0 V and up to %v V", span))
	case span/o.StepVolts > mostCandidates:
		return nil, refuse("step", o.StepVolts, fmt.Sprintf("at most %d steps fit between the ends; take a larger one", mostCandidates))
	}
	s := &Search{o: o, tables: map[int][]chance{}}
	for i := range searchThresholds {
		s.thresholds = append(s.thresholds, o.LowVolts+span*(1.2*float64(i)/(searchThresholds-1)-0.1))
	}
	for j := range searchWidths { // from 1/300 to 1/4 of the span
		s.widths = append(s.widths, span/300*math.Pow(75, float64(j)/(searchWidths-1)))
	}
	for k := range int(span/o.StepVolts+1e-9) + 1 {
		s.candidates = append(s.candidates, min(o.LowVolts+float64(k)*o.StepVolts, o.HighVolts)) // rounding must not carry beyond
	}
	s.logWeight = make([]float64, len(s.thresholds)*len(s.widths))
	s.weight, s.stale = make([]float64, len(s.logWeight)), true
	return s, nil
}

// chances returns what every cell of the grid says of one voltage.
func (s *Search) chances(volts float64) []chance {
	table := make([]chance, len(s.weight))
	level := Logit.eta(s.o.Rate)
	for i, threshold := range s.thresholds {
		for j, width := range s.widths {
			p, _, _, _ := Logit.at(level - (volts-threshold)/width)
			p = searchFluke + (1-2*searchFluke)*p
			table[i*len(s.widths)+j] = chance{p, math.Log(p), math.Log1p(-p)}
		}
	}
	return table
}

// candidate returns the table of a candidate, made when first asked for.
func (s *Search) candidate(k int) []chance {
	table, ok := s.tables[k]
	if !ok {
		table = s.chances(s.candidates[k])
		s.tables[k] = table
	}
	return table
}

// Next is the voltage to run the next cycle at.
func (s *Search) Next() float64 {
	s.normalise()
	// Cells that no longer matter are left out: soon most of them.
	var alive []int
	var top float64
	for _, w := range s.weight {
		top = max(top, w)
	}
	for i, w := range s.weight {
		if w > 1e-4*top {
			alive = append(alive, i)
		}
	}
	// First a coarse look at all voltages, then a fine one about the best.
	best, least := 0, math.Inf(1)
	look := func(k int) {
		if v := s.expectedVariance(k, alive); v < least*(1-1e-9) {
			best, least = k, v
		}
	}
	stride := (len(s.candidates) + 23) / 24
	for k := 0; k < len(s.candidates); k += stride {
		look(k)
	}
	for k, last := max(0, best-stride+1), min(len(s.candidates)-1, best+stride-1); k <= last; k++ {
		look(k)
	}
	return s.candidates[best]
}

// expectedVariance is that of the threshold after a cycle at a candidate, up to
// what is the same for all candidates.
func (s *Search) expectedVariance(k int, alive []int) float64 {
	table := s.candidate(k)
	var all, allV, allVV, fail, failV float64
	for _, i := range alive {
		v := s.thresholds[i/len(s.widths)] - s.o.LowVolts
		w := s.weight[i]
		f := w * table[i].fails
		all, allV, allVV = all+w, allV+w*v, allVV+w*v*v
		fail, failV = fail+f, failV+f*v
	}
	starts, startsV := all-fail, allV-failV
	return allVV - failV*failV/fail - startsV*startsV/starts
}

// Add takes in what a cycle showed. It need not have been at [Search.Next].
func (s *Search) Add(volts float64, failed bool) error {
	if math.IsNaN(volts) || math.IsInf(volts, 0) {
		return refuse("voltage", volts, "it is a number of volts")
	}
	var table []chance
	k := int(math.Round((volts - s.o.LowVolts) / s.o.StepVolts))
	if k >= 0 && k < len(s.candidates) && math.Abs(s.candidates[k]-volts) < 1e-9 {
		table = s.candidate(k)
	} else {
		table = s.chances(volts)
	}
	s.cycles.Cycles++
	if failed {
		s.cycles.Failures++
	}
	for i, c := range table {
		if failed {
			s.logWeight[i] += c.logFails
		} else {
			s.logWeight[i] += c.logStarts
		}
	}
	s.stale = true
	return nil
}

// normalise brings the weights up to date.
func (s *Search) normalise() {
	if !s.stale {
		return
	}
	s.stale = false
	top := math.Inf(-1)
	for _, l := range s.logWeight {
		top = max(top, l)
	}
	var total float64
	for i, l := range s.logWeight {
		s.weight[i] = 0
		if l-top > -40 {
			s.weight[i] = math.Exp(l - top)
		}
		total += s.weight[i]
	}
	for i := range s.weight {
		s.weight[i] /= total
	}
}

// SearchEstimate is what a search knows so far.
type SearchEstimate struct {
	Rate   float64
	Volts  Interval // median and equal-tailed limits of the threshold
	Width  float64  // volts for a change of one logit; small is steep
	Counts Counts
	Edge   bool // the threshold may well lie beyond the ends of the search
}

// Estimate returns the threshold with limits that hold it with the given
// probability.
func (s *Search) Estimate(confidence float64) (SearchEstimate, error) {
	if err := checkConfidence(confidence); err != nil {
		return SearchEstimate{}, err
	}
	s.normalise()
	marginal := make([]float64, len(s.thresholds))
	var width float64
	for i, w := range s.weight {
		marginal[i/len(s.widths)] += w
		width += w * math.Log(s.widths[i%len(s.widths)])
	}
	tail := (1 - confidence) / 2
	e := SearchEstimate{Rate: s.o.Rate, Counts: s.cycles, Width: math.Exp(width)}
	e.Volts = Interval{Estimate: s.quantile(marginal, 0.5), Low: s.quantile(marginal, tail), High: s.quantile(marginal, 1-tail), Confidence: confidence}
	e.Edge = e.Volts.Low < s.o.LowVolts || e.Volts.High > s.o.HighVolts
	return e, nil
}

// quantile of the thresholds, each cell being spread evenly over its width.
func (s *Search) quantile(marginal []float64, p float64) float64 {
	step := s.thresholds[1] - s.thresholds[0]
	var sum float64
	for i, w := range marginal {
		if sum+w >= p && w > 0 {
			return s.thresholds[i] + step*((p-sum)/w-0.5)
		}
		sum += w
	}
	return s.thresholds[len(s.thresholds)-1] + step/2
}

// Sentence says the estimate in words.
func (e SearchEstimate) Sentence() string {
	text := fmt.Sprintf("%s of cycles fail at %s, between %s and %s with %s probability, after %s", Percent(e.Rate), volts(e.Volts.Estimate),
		volts(e.Volts.Low), volts(e.Volts.High), Percent(e.Volts.Confidence), counted(e.Counts.Cycles, "cycle"))
	if e.Edge {
		text += "; it may lie beyond the voltages allowed"
	}
	return text
}
