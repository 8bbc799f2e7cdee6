package recording

import (
	"fmt"
	"math"
	"slices"
	"strconv"
)

// axis follows a time column. Its steps must be even as far as the digits tell;
// a jump by a whole number of steps is a gap.
type axis struct {
	factor float64 // to seconds
	step   float64 // s, of the first rows, then of all so far
	first  float64 // s
	last   float64 // s
	count  int     // samples so far, those of gaps included

	missing int  // samples so far that were never taken
	paired  bool // every time stands on two rows
	second  bool // of a pair is due
	digits  int  // most significant ones seen
	finest  int  // smallest power of ten of a last digit
	line    fit
}

// fit is a straight line through the times, each weighed by what its last digit
// is worth: a time near 0 is often written finer than one far from it.
type fit struct {
	weight, index, time float64 // sum of weights, weighted means
	ii, it              float64 // weighted sums about the means
	coarsest            float64 // s, of a last digit
}

func (f *fit) add(i, t, resolution float64) {
	w := 1 / (resolution * resolution)
	f.coarsest = max(f.coarsest, resolution)
	f.weight += w
	di, dt := i-f.index, t-f.time
	f.index += w / f.weight * di
	f.time += w / f.weight * dt
	f.ii += w * di * (i - f.index)
	f.it += w * di * (t - f.time)
}

// resolution is what the last digit of a time is worth, in seconds. Some scopes
// write fewer digits than their sample rate needs.
func (a *axis) resolution(n number) float64 {
	a.digits = max(a.digits, n.digits)
	a.finest = min(a.finest, n.last)
	power := a.finest
	if n.digits > 0 {
		power = max(power, n.digits+n.last-a.digits)
	}
	if power <= 0 && power >= -22 {
		return a.factor / pow10[-power]
	}
	return a.factor * math.Pow(10, float64(power))
}

// add takes the time of the next row and returns how many samples are missing
// before it, or what is wrong with it.
func (a *axis) add(n number) (missing int, found, expected string) {
	t := n.value * a.factor
	if a.count == 0 {
		a.finest = n.last
	}
	resolution := a.resolution(n)
	if math.IsInf(t, 0) {
		return 0, "a time that is out of range", "seconds since the trigger"
	}
	if a.second {
		a.second = false
		if t != a.last {
			return 0, fmt.Sprintf("the time %s on one row only", seconds(t)), "two rows of each time, lowest and highest voltage, as on the rows before"
		}
		return 0, "", ""
	}
	a.second = a.paired
	if a.count == 0 {
		a.first, a.last, a.count = t, t, 1
		a.line.add(0, t, resolution)
		return 0, "", ""
	}
	dt := t - a.last
	slack := 0.1*a.step + 1.01*resolution
	switch {
	case dt < 0 && -dt > 1e-9*math.Abs(t):
		return 0, fmt.Sprintf("the time %s after %s: it goes backwards", seconds(t), seconds(a.last)), "times that rise by " + seconds(a.step) + " a row"
	case math.Abs(dt-a.step) <= slack:
	case dt > a.step:
		steps := math.Round(dt / a.step)
		if !(math.Abs(dt-steps*a.step) <= slack+1e-3*steps*a.step) || steps < 2 {
			return 0, a.uneven(t, dt), a.even()
		}
		// A record with more gaps than samples says nothing, and would fill the memory.
		if steps > mostGap || a.missing+int(steps) > 1000+4*(a.count-a.missing) {
			return 0, fmt.Sprintf("a jump of %s", seconds(dt)), a.even()
		}
		missing = int(steps) - 1
		a.missing += missing
	default:
		return 0, a.uneven(t, dt), a.even()
	}
	a.count += 1 + missing
	a.last = t
	a.line.add(float64(a.count-1), t, resolution)
	// The mean of all steps is better than that of the first rows, which were rounded.
	if a.count > 1000 {
		a.step = (a.last - a.first) / float64(a.count-1)
	}
	return missing, "", ""
}

func (a *axis) uneven(t, dt float64) string {
	return fmt.Sprintf("the time %s, %s after the row before", seconds(t), seconds(dt))
}

func (a *axis) even() string {
	return fmt.Sprintf("even steps of %s, or a gap of a whole number of them", seconds(a.step))
}

// settle returns start and step of the whole record, and how far the step may be
// off, as a fraction, for the digits of the times. A step of at most three digits
// that fits as well is what the scope was set to.
func (a *axis) settle() (start, step, off float64) {
	if a.line.weight == 0 || a.count < 2 || !(a.line.ii > 0) || !(a.line.it > 0) {
		return a.first, a.step, 0
	}
	step = a.line.it / a.line.ii
	slack := a.line.coarsest / float64(a.count-1)
	for digits := 1; digits <= 3; digits++ {
		round, err := strconv.ParseFloat(strconv.FormatFloat(step, 'e', digits-1, 64), 64)
		if err == nil && math.Abs(round-step) <= slack/2 {
			start = a.line.time - round*a.line.index
			if math.Abs(start) < 1e-9*round { // 0, but for the summing
				start = 0
			}
			return start, round, 0
		}
	}
	// Rounding by up to half a digit, all over the record: a uniform deviation.
	return a.line.time - step*a.line.index, step, math.Sqrt(1/(12*a.line.ii)) / step
}

// newAxis settles step and pairing from the times of the first rows; interval is
// that of the header, 0 if it gives none.
func newAxis(times []number, factor, interval float64) *axis {
	a := &axis{factor: factor, step: interval}
	if len(times) < 2 {
		return a
	}
	a.finest = times[0].last
	resolution := 0.0
	for _, n := range times {
		resolution = max(resolution, a.resolution(n))
	}
	a.paired = paired(times)
	if a.paired && interval > 0 {
		between := (times[len(times)-1].value - times[0].value) * factor / float64(len(times)/2-1)
		a.paired = !(math.Abs(between/interval-2) < 0.2)
	}
	if a.paired {
		var once []number
		for i := 0; i < len(times); i += 2 {
			once = append(once, times[i])
		}
		times = once
	}
	steps := make([]float64, 0, len(times))
	for i := range times[1:] {
		steps = append(steps, (times[i+1].value-times[i].value)*factor)
	}
	sorted := slices.Clone(steps)
	slices.Sort(sorted)
	middle := sorted[len(sorted)/2]
	same := 0
	for _, s := range steps {
		if math.Abs(s-middle) < 1e-6*middle {
			same++
		}
	}
	// Where the digits are too few for the step, the steps written differ.
	if middle > 3*resolution || middle > 0 && 10*same >= 6*len(steps) {
		sum, n := 0.0, 0
		for _, s := range steps {
			if s > 0.5*middle && s < 1.5*middle {
				sum += s
				n++
			}
		}
		a.step = sum / float64(n)
	} else if whole := (times[len(times)-1].value - times[0].value) * factor; whole > 0 {
		a.step = whole / float64(len(times)-1)
	}
	return a
}

// paired reports whether every time stands on exactly two rows; one that does not,
// after many that do, is for the reading of rows to complain about.
func paired(times []number) bool {
	pairs := len(times) / 2
	for i := range pairs {
		if times[2*i].value != times[2*i+1].value || i > 0 && times[2*i].value <= times[2*i-1].value {
			return i >= 3 && 4*i >= 3*pairs
		}
	}
	return pairs >= 3
}

// seconds writes a time with enough digits to find it in the file.
func seconds(t float64) string { return strconv.FormatFloat(t, 'g', 9, 64) + " s" }
