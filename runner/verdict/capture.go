package verdict

import (
	"fmt"
	"math"
)

// CaptureNeeds is what a cycle's records are planned from. What is 0 is not known
// and sets no bound.
type CaptureNeeds struct {
	ClockHertz   float64
	WatchSeconds float64 // watch window with what comes before the trigger

	Depth               int     // samples that one record of the scope holds
	MaxSamplesPerSecond float64 // of one channel
	Channels            int     // fetched of the envelope record; 0 for two, rail and clock

	BytesPerSecond  float64 // of the link
	BytesPerSample  float64 // on the link, each reading counted; 0 for 1, a binary block of 8-bit codes read once
	OtherSamples    int     // fetched in a cycle besides these records
	TransferSeconds float64 // that fetching may take; 0 for 5 s
	MeasuresItself  bool    // the scope can measure frequency and amplitude in the place of a steady record
}

// CapturePlan says how to take a cycle's records.
type CapturePlan struct {
	EnvelopePoints         int     // bins of the peak-detect record
	EnvelopeBinSeconds     float64 // so long is each
	SteadyPoints           int
	SteadySamplesPerSecond float64
	LeaveSteady            bool     // in the scope, and take what that measures on it: the wire is too slow
	Alias                  bool     // the steady record can only show an alias of the clock
	TransferSeconds        float64  // over the link, for all of it; 0 if its speed is not known
	Warnings               []string // plain sentences
}

// What is taken where nothing stands against it, and the least that still serves:
// an envelope's bin must stay within a two-hundredth of the window, and a
// frequency of a thousand samples is good to parts in a hundred thousand.
const (
	envelopeBins   = 2000
	envelopeFewest = 400
	steadyMost     = 4096
	steadyFewest   = 1024
	// steadyPerPeriod is not a whole number of samples in the record, so that they
	// fall on ever other places of the wave.
	steadyPerPeriod = 13.0
	// tooSlow times the time allowed is too long even for the least: a scope that
	// measures by itself then does.
	tooSlow = 2
)

// PlanCapture chooses the points and rates of a cycle's records from the clock,
// the window, the scope and the link.
func PlanCapture(n CaptureNeeds) CapturePlan {
	channels, bytes, allowed := n.Channels, n.BytesPerSample, n.TransferSeconds
	if channels == 0 {
		channels = 2
	}
	if bytes == 0 {
		bytes = 1
	}
	if allowed == 0 {
		allowed = 5
	}
	p := CapturePlan{EnvelopePoints: envelopeBins, SteadyPoints: steadyMost}
	seconds := func() float64 {
		if n.BytesPerSecond <= 0 {
			return 0
		}
		samples := 2*channels*p.EnvelopePoints + n.OtherSamples // a bin of an envelope is two samples
		if !p.LeaveSteady {
			samples += p.SteadyPoints
		}
		return float64(samples) * bytes / n.BytesPerSecond
	}
	if whole := seconds(); whole > allowed {
		p.EnvelopePoints = max(envelopeFewest, int(envelopeBins*allowed/whole))
		p.SteadyPoints = max(steadyFewest, int(steadyMost*allowed/whole))
		p.LeaveSteady = n.MeasuresItself && seconds() > tooSlow*allowed
		samples := fmt.Sprintf("%d samples", p.SteadyPoints)
		if p.LeaveSteady {
			samples = "no samples"
		}
		p.Warnings = append(p.Warnings, fmt.Sprintf("the wire is the bottleneck: at %s fetching takes %s a cycle, with %d bins and %s where %d and %d would take %s; a faster link makes the night's cycles more",
			si(n.BytesPerSecond, "bytes/s"), si(seconds(), "s"), p.EnvelopePoints, samples, envelopeBins, steadyMost, si(whole, "s")))
		if p.LeaveSteady {
			p.Warnings = append(p.Warnings, "the wire is too slow for a steady record: frequency and amplitude are what the scope itself measures, without harmonics and uncertainty")
		}
	}
	if n.Depth > 0 {
		if n.Depth < envelopeFewest {
			p.Warnings = append(p.Warnings, fmt.Sprintf("the scope holds only %d points; starts are known no better than to %s of the window", n.Depth, percent(1/float64(n.Depth))))
		}
		p.EnvelopePoints, p.SteadyPoints = min(p.EnvelopePoints, n.Depth), min(p.SteadyPoints, n.Depth)
	}
	p.EnvelopeBinSeconds = n.WatchSeconds / float64(p.EnvelopePoints)
	p.SteadySamplesPerSecond = steadyPerPeriod * n.ClockHertz
	if most := n.MaxSamplesPerSecond; most > 0 && p.SteadySamplesPerSecond > most {
		p.SteadySamplesPerSecond = most
		if most < samplesPerPeriod*n.ClockHertz {
			p.Alias = true
			p.SteadySamplesPerSecond = aliasRate(n.ClockHertz, most)
			p.Warnings = append(p.Warnings, fmt.Sprintf("the scope takes at most %s, below the %s that the clock needs: its frequency can only be read as an alias, if the bench file allows that",
				si(most, "samples/s"), si(samplesPerPeriod*n.ClockHertz, "samples/s")))
		}
	}
	p.TransferSeconds = seconds()
	return p
}

// aliasRate is the highest sampling rate, up to most, that shows the clock well
// between 0 and half the rate.
func aliasRate(hertz, most float64) float64 {
	for rate := most; rate > most/4; rate *= 0.99 {
		cycles := hertz / rate
		if folded := math.Abs(cycles - math.Round(cycles)); folded > 0.15 && folded < 0.35 {
			return rate
		}
	}
	return most
}
