package failrate

import (
	"fmt"
	"math"
	"slices"
)

// RunsTest asks whether two kinds of outcome, such as failures and good starts,
// follow each other by chance. Too few runs of like outcomes mean that they
// come in clusters, too many that they alternate.
type RunsTest struct {
	Runs           int
	First, Second  int     // how many of each kind: failures and good starts, or above and below
	Mean, Variance float64 // of Runs by chance
	Z              float64 // without continuity correction
	P              float64 // two-sided: exact where Exact, else from Z
	Clustered      float64 // one-sided: as few runs by chance
	Exact          bool
}

// Runs is the test of Wald and Wolfowitz on cycles in the order they were done.
// It refuses a sequence of one kind only.
//
// Source: Wald and Wolfowitz, Ann. Math. Statist. 11 (1940) 147.
func Runs(failed []bool) (RunsTest, error) {
	t := RunsTest{}
	for i, f := range failed {
		if f {
			t.First++
		} else {
			t.Second++
		}
		if i == 0 || f != failed[i-1] {
			t.Runs++
		}
	}
	if t.First == 0 || t.Second == 0 {
		return RunsTest{}, refuse("outcomes", fmt.Sprintf("all alike in %d cycles", len(failed)), "the order of outcomes can only be judged when there are failures and good starts")
	}
	a, b := float64(t.First), float64(t.Second)
	n := a + b
	t.Mean = 2*a*b/n + 1
	t.Variance = 2 * a * b * (2*a*b - n) / (n * n * (n - 1))
	t.P, t.Clustered = 1, 1
	if t.Variance > 0 {
		t.Z = (float64(t.Runs) - t.Mean) / math.Sqrt(t.Variance)
		t.P, t.Clustered = 2*normalUpper(math.Abs(t.Z)), normalUpper(-t.Z)
	}
	// Beyond that the normal distribution is as good and the sums are long.
	if t.Exact = min(t.First, t.Second) <= 2000; t.Exact {
		few, many := runsTails(t.Runs, t.First, t.Second)
		t.P, t.Clustered = min(1, 2*min(few, many)), few
	}
	return t, nil
}

// RunsAboutMedian is [Runs] on whether values lie above their median. Values
// equal to it are left out.
func RunsAboutMedian(values []float64) (RunsTest, error) {
	if err := checkValues(values, 2); err != nil {
		return RunsTest{}, err
	}
	sorted := slices.Sorted(slices.Values(values))
	n := len(sorted)
	return runsAbout(values, (sorted[(n-1)/2]+sorted[n/2])/2)
}

func runsAbout(values []float64, level float64) (RunsTest, error) {
	var above []bool
	for _, v := range values {
		if v != level {
			above = append(above, v > level)
		}
	}
	return Runs(above)
}

// runsTails returns P(R <= r) and P(R >= r) among all orders of a and b things
// of two kinds.
func runsTails(r, a, b int) (few, many float64) {
	total := logChoose(a+b, a)
	probability := func(r int) float64 {
		k := r / 2
		if r%2 == 0 {
			return 2 * math.Exp(logChooseOrNone(a-1, k-1)+logChooseOrNone(b-1, k-1)-total)
		}
		return math.Exp(logChooseOrNone(a-1, k-1)+logChooseOrNone(b-1, k)-total) +
			math.Exp(logChooseOrNone(a-1, k)+logChooseOrNone(b-1, k-1)-total)
	}
	for i := 2; i <= 2*min(a, b)+1; i++ {
		p := probability(i)
		if i <= r {
			few += p
		}
		if i >= r {
			many += p
		}
	}
	return min(1, few), min(1, many)
}

// logChooseOrNone is [logChoose], with no way to pick more than there are.
func logChooseOrNone(n, k int) float64 {
	if k < 0 || k > n {
		return math.Inf(-1)
	}
	return logChoose(n, k)
}

// checkValues refuses a series that is too short or holds no numbers.
func checkValues(values []float64, least int) error {
	if len(values) < least {
		return refuse("values", len(values), fmt.Sprintf("at least %d are needed", least))
	}
	for i, v := range values {
		if !ordinary(v) {
			return refuse("value", fmt.Sprintf("%v, number %d of %d", v, i+1, len(values)), "every value is a finite number; leave out what was not measured")
		}
	}
	return nil
}
