package failrate

import (
	"math"
	"testing"
)

// Newcombe, Statist. Med. 17 (1998) 873, Table II, and two bench-like cases
// computed with the same formulas in R. The method "score" of statsmodels 0.13
// is no check for Miettinen and Nurminen: it gives (.05255, .34404) for the
// first case, published is (.0528, .3382).
func TestDifferencePublished(t *testing.T) {
	type limits struct{ low, high float64 }
	absent := limits{math.NaN(), math.NaN()}
	for _, c := range []struct {
		a, b                                               Counts
		newcombe, continuity, mee, miettinen, agrestiCaffo limits
	}{
		{Counts{56, 70}, Counts{48, 80}, limits{.05243147, .33387265}, limits{.04276787, .34218628}, limits{.05333385, .33772946}, limits{.05282971, .33817294}, limits{.05245293, .33575846}},
		{Counts{9, 10}, Counts{3, 10}, limits{.17052272, .80901797}, limits{.10128723, .83866897}, limits{.18212650, .83695033}, limits{.17002502, .84064954}, limits{.16000080, .83999920}},
		{Counts{6, 7}, Counts{2, 7}, limits{.05822793, .80624964}, limits{-.02902412, .84226663}, limits{.05444833, .84780908}, limits{.03417555, .85340526}, limits{.03380627, .85508261}},
		{Counts{5, 56}, Counts{0, 29}, limits{-.03813715, .19256001}, limits{-.06670854, .20369829}, limits{-.03132707, .19256001}, limits{-.03259656, .19333098}, limits{-.02886585, .17124627}},
		{Counts{0, 10}, Counts{0, 20}, limits{-.16112516, .27753280}, limits{-.20045335, .34453722}, limits{-.16112516, .27753280}, limits{-.16576023, .28438134}, limits{-.14109010, .21684767}},
		{Counts{0, 10}, Counts{0, 10}, limits{-.27753280, .27753280}, limits{-.34453722, .34453722}, limits{-.27753280, .27753280}, limits{-.28793394, .28793394}, limits{-.22115032, .22115032}},
		{Counts{10, 10}, Counts{0, 20}, limits{.67908604, 1}, limits{.60139313, 1}, limits{.72246720, 1}, limits{.71561866, 1}, absent},
		{Counts{10, 10}, Counts{0, 10}, limits{.60750935, 1}, limits{.51275079, 1}, limits{.67774968, 1}, limits{.66364155, 1}, limits{.61218302, 1}},
		{Counts{5, 300}, Counts{0, 300}, limits{.00083594, .03841539}, limits{-.00227912, .04069026}, limits{.00391855, .03841539}, limits{.00389753, .03844032}, limits{-.00046357, .03357615}},
		{Counts{12, 300}, Counts{3, 300}, limits{.00453542, .05935428}, limits{.00191025, .06154871}, limits{.00573249, .05978746}, limits{.00570987, .05981732}, limits{.00352913, .05607352}},
	} {
		for _, m := range []struct {
			name string
			f    func(a, b Counts, confidence float64) (Interval, error)
			want limits
		}{
			{"Newcombe", Newcombe, c.newcombe}, {"with continuity correction", NewcombeContinuity, c.continuity},
			{"Mee", Mee, c.mee}, {"Miettinen-Nurminen", MiettinenNurminen, c.miettinen}, {"Agresti-Caffo", AgrestiCaffo, c.agrestiCaffo},
		} {
			iv, err := m.f(c.a, c.b, .95)
			const printed = 6e-9 // eight decimals
			if err != nil || math.Abs(iv.Low-m.want.low) > printed || math.Abs(iv.High-m.want.high) > printed {
				t.Errorf("%s of %v less %v: %+v (%v), want [%v, %v]", m.name, c.a, c.b, iv, err, m.want.low, m.want.high)
			}
			mirror, _ := m.f(c.b, c.a, .95)
			if !near(mirror.Low, -iv.High, 1e-9) || !near(mirror.High, -iv.Low, 1e-9) {
				t.Errorf("%s: sides exchanged %+v against %+v", m.name, mirror, iv)
			}
		}
	}
	if iv, _ := AgrestiCaffo(Counts{10, 10}, Counts{0, 20}, .95); math.Abs(iv.Low-.6922) > 6e-5 || iv.High != 1 {
		t.Errorf("Agresti-Caffo of 10/10 less 0/20: %+v, printed .6922, 1", iv)
	}
}
