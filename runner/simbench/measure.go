package simbench

import "slices"

// notMeasured is what SCPI-99 answers for a number that is none (volume 1, 7.2.1.5).
const notMeasured = 9.91e37

// measureCommands read a quantity off the record that the scope holds.
func (s *scope) measureCommands() []command {
	of := func(pattern string, measure func(r *record, n int) float64) command {
		return command{pattern: pattern, queryParameters: 1, query: func(c call) ([]byte, *scpiError) {
			n, err := c.word(0, "CH1", "CH2", "CH3")
			if err != nil {
				return nil, err
			}
			if s.record == nil || !s.record.complete {
				return nil, errorf(-230, "no complete record; send INITiate and wait for the trigger")
			}
			return real(measure(s.record, n)), nil
		}}
	}
	return []command{
		of("FETCh[:SCALar][:VOLTage]:FREQuency", func(r *record, n int) float64 {
			if r.peak {
				return notMeasured // extremes do not show how often they were crossed
			}
			periods, samples := crossings(r.codes(n, s))
			if periods < 1 {
				return notMeasured
			}
			return float64(periods) / (samples * r.sweepSeconds / r.points)
		}),
		of("FETCh[:SCALar]:VOLTage:PTPeak", func(r *record, n int) float64 {
			codes := r.codes(n, s)
			return float64(slices.Max(codes)-slices.Min(codes)) * r.channels[n].voltsPerCode()
		}),
	}
}

// crossings counts the whole periods between the first and the last time that codes rise through their middle, and over
// how many samples, interpolated, they reach. A fall by a quarter of their height must lie between two, so that noise
// is not counted.
func crossings(codes []byte) (periods int, samples float64) {
	low, high := float64(slices.Min(codes)), float64(slices.Max(codes))
	if high-low < 8 {
		return 0, 0 // no more than noise
	}
	middle, rearm := (low+high)/2, low+(high-low)/4
	armed, first, count := false, 0.0, 0
	for i, c := range codes {
		switch v := float64(c); {
		case v < rearm:
			armed = true
		case armed && v >= middle:
			before := float64(codes[i-1])
			at := float64(i)
			if before < middle {
				at -= (v - middle) / (v - before)
			}
			armed = false
			if count++; count == 1 {
				first = at
			}
			samples = at - first
		}
	}
	return count - 1, samples
}
