package verdict

// bins is a record in steps of many samples each: what its envelope is read
// from. One pass over the samples makes it.
type bins struct {
	t       Trace     // the extremes
	mean    []float64 // V
	power   []float64 // V², the mean square about the mean
	missing []bool    // bins touched by a gap; nil without any
	per     int       // samples a bin
}

// binned takes the record in bins of per samples; a shorter rest is left out.
func (r Record) binned(per int) bins {
	n := r.Len() / per
	levels := make([]float64, 4*n)
	b := bins{
		t: Trace{
			StartSeconds: r.StartSeconds, StepSeconds: r.StepSeconds * float64(per),
			Min: levels[:n:n], Max: levels[n : 2*n : 2*n],
		},
		mean: levels[2*n : 3*n : 3*n], power: levels[3*n:], per: per,
	}
	b.t.LowVolts, b.t.HighVolts, b.t.Codes = r.limits()
	switch {
	case len(r.Codes8) > 0:
		binCodes(&b, r, r.Codes8)
	case len(r.Codes16) > 0:
		binCodes(&b, r, r.Codes16)
	default:
		binVolts(&b, r.Volts)
	}
	if len(r.Gaps) > 0 {
		b.missing = make([]bool, n)
		for _, g := range r.Gaps {
			for i := g.From / per; i < n && i*per < g.To; i++ {
				b.missing[i] = true
			}
		}
		b.bridge()
	}
	return b
}

// binCodes does it in whole numbers.
func binCodes[C uint8 | uint16](b *bins, r Record, codes []C) {
	scale := r.VoltsPerCode
	n := float64(b.per)
	for i := range b.mean {
		v := codes[i*b.per : (i+1)*b.per]
		low, high := extremes(v)
		sum, squares := moments(v)
		mean := float64(sum) / n
		b.mean[i] = r.scale(mean)
		b.power[i] = max(0, float64(squares)/n-mean*mean) * scale * scale
		l, h := r.scale(float64(low)), r.scale(float64(high))
		b.t.Min[i], b.t.Max[i] = min(l, h), max(l, h)
	}
}

// extremes returns the least and the largest code. Like moments it takes eight
// at a time in separate chains: one after the other each would wait for the one
// before.
func extremes[C uint8 | uint16](v []C) (low, high C) {
	low, high = v[0], v[0]
	low2, high2 := low, high
	for ; len(v) >= 8; v = v[8:] {
		w := (*[8]C)(v)
		low, high = min(low, w[0]), max(high, w[0])
		low2, high2 = min(low2, w[1]), max(high2, w[1])
		low, high = min(low, w[2]), max(high, w[2])
		low2, high2 = min(low2, w[3]), max(high2, w[3])
		low, high = min(low, w[4]), max(high, w[4])
		low2, high2 = min(low2, w[5]), max(high2, w[5])
		low, high = min(low, w[6]), max(high, w[6])
		low2, high2 = min(low2, w[7]), max(high2, w[7])
	}
	for _, c := range v {
		low, high = min(low, c), max(high, c)
	}
	return min(low, low2), max(high, high2)
}

// moments returns the sum of the codes and of their squares.
func moments[C uint8 | uint16](v []C) (sum, squares uint64) {
	var s, s2, q, q2 uint64
	for ; len(v) >= 8; v = v[8:] {
		w := (*[8]C)(v)
		x0, x1, x2, x3 := uint64(w[0]), uint64(w[1]), uint64(w[2]), uint64(w[3])
		x4, x5, x6, x7 := uint64(w[4]), uint64(w[5]), uint64(w[6]), uint64(w[7])
		s += x0 + x1 + x2 + x3
		s2 += x4 + x5 + x6 + x7
		q += x0*x0 + x1*x1 + x2*x2 + x3*x3
		q2 += x4*x4 + x5*x5 + x6*x6 + x7*x7
	}
	for _, c := range v {
		x := uint64(c)
		s += x
		q += x * x
	}
	return s + s2, q + q2
}

func binVolts(b *bins, volts []float64) {
	for i := range b.mean {
		v := volts[i*b.per : (i+1)*b.per]
		zero := v[0] // keeps a small ripple on a large level exact
		low, high := zero, zero
		var sum, squares float64
		for _, x := range v {
			low, high = min(low, x), max(high, x)
			x -= zero
			sum += x
			squares += x * x
		}
		n := float64(b.per)
		b.mean[i] = zero + sum/n
		b.power[i] = max(0, squares/n-sum/n*sum/n)
		b.t.Min[i], b.t.Max[i] = low, high
	}
}

// bridge puts what the last bin before a gap shows, or the first one after it,
// in the place of what was never recorded.
func (b *bins) bridge() {
	take := func(i, from int) {
		b.t.Min[i], b.t.Max[i], b.mean[i], b.power[i] = b.t.Min[from], b.t.Max[from], b.mean[from], b.power[from]
	}
	known := -1
	for i, missing := range b.missing {
		switch {
		case !missing && known < 0:
			for k := range i {
				take(k, i)
			}
			known = i
		case !missing:
			known = i
		case known >= 0:
			take(i, known)
		}
	}
}
