package verdict

import "math"

// normal4 holds the normal equations of a least-squares fit of four parameters.
type normal4 struct {
	a [4][4]float64
	b [4]float64
}

// add takes in one sample y with its derivatives by the parameters.
func (m *normal4) add(y, d0, d1, d2, d3 float64) {
	m.a[0][0] += d0 * d0
	m.a[0][1] += d0 * d1
	m.a[0][2] += d0 * d2
	m.a[0][3] += d0 * d3
	m.a[1][1] += d1 * d1
	m.a[1][2] += d1 * d2
	m.a[1][3] += d1 * d3
	m.a[2][2] += d2 * d2
	m.a[2][3] += d2 * d3
	m.a[3][3] += d3 * d3
	m.b[0] += d0 * y
	m.b[1] += d1 * y
	m.b[2] += d2 * y
	m.b[3] += d3 * y
}

// solve returns the parameters, without the fourth (then 0) if four is false;
// false if the samples do not determine them.
func (m *normal4) solve(four bool) (p [4]float64, ok bool) {
	n := 3
	if four {
		n = 4
	}
	// Cholesky factors in the lower triangle; the sums fill the upper one.
	var l [4][4]float64
	for i := range n {
		for j := 0; j <= i; j++ {
			sum := m.a[j][i]
			for k := range j {
				sum -= l[i][k] * l[j][k]
			}
			if i != j {
				l[i][j] = sum / l[j][j]
				continue
			}
			if !(sum > 1e-14*m.a[i][i]) {
				return p, false
			}
			l[i][i] = math.Sqrt(sum)
		}
	}
	for i := range n {
		p[i] = m.b[i]
		for k := range i {
			p[i] -= l[i][k] * p[k]
		}
		p[i] /= l[i][i]
	}
	for i := n - 1; i >= 0; i-- {
		for k := i + 1; k < n; k++ {
			p[i] -= l[k][i] * p[k]
		}
		p[i] /= l[i][i]
	}
	for _, v := range p {
		if !finite(v) {
			return p, false
		}
	}
	return p, true
}
