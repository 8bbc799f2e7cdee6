package failrate

import (
	"fmt"
	"math"
	"reflect"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// hasNaN looks for a NaN in any exported number of a result, but for the fields
// that are documented to be NaN when there is nothing to say.
func hasNaN(v reflect.Value, path string) string {
	switch v.Kind() {
	case reflect.Float64:
		if math.IsNaN(v.Float()) && !strings.HasSuffix(path, ".Woolf") && !strings.HasSuffix(path, ".StartP") && !strings.HasSuffix(path, ".StartAdjusted") {
			return path
		}
	case reflect.Struct:
		for i := range v.NumField() {
			if f := v.Type().Field(i); f.IsExported() {
				if found := hasNaN(v.Field(i), path+"."+f.Name); found != "" {
					return found
				}
			}
		}
	case reflect.Slice, reflect.Array:
		for i := range v.Len() {
			if found := hasNaN(v.Index(i), fmt.Sprintf("%s[%d]", path, i)); found != "" {
				return found
			}
		}
	}
	return ""
}

// answers fails on a NaN without an error, and on an error that is no refusal.
func answers(t *rapid.T, what string, result any, err error) {
	t.Helper()
	if err != nil {
		if !isRefusal(err, "") {
			t.Fatalf("%s: %v is no *InputError", what, err)
		}
		return
	}
	if found := hasNaN(reflect.ValueOf(result), what); found != "" {
		t.Fatalf("%s is NaN in %+v", found, result)
	}
}

// Whatever the input, nonsense included: an answer or a refusal, no NaN and no
// panic.
func TestAnswerOrRefusal(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		confidence := rapid.SampledFrom([]float64{.95, .9, .5, 0, 1, 95, -1, math.NaN()}).Draw(t, "confidence")
		if rapid.Bool().Draw(t, "usual confidence") {
			confidence = .95
		}
		counts := rapid.Custom(func(t *rapid.T) Counts {
			n := rapid.IntRange(-2, 40).Draw(t, "cycles")
			if rapid.IntRange(0, 9).Draw(t, "kind") == 0 {
				return Counts{rapid.IntRange(-2, 50).Draw(t, "failures"), n}
			}
			n = max(n, 0)
			return Counts{rapid.SampledFrom([]int{0, n, n / 2, n / 7}).Draw(t, "failures"), n}
		})
		number := rapid.OneOf(rapid.SampledFrom([]float64{0, 1, -1, 2, math.NaN(), math.Inf(1), math.Inf(-1), 1e300, 5e-324, -1e-300}), rapid.Float64Range(.1, 4), rapid.Float64Range(.1, 4), rapid.Float64Range(.1, 4))
		if rapid.Bool().Draw(t, "ordinary numbers") {
			number = rapid.OneOf(rapid.Float64Range(.1, 4), rapid.SampledFrom([]float64{.5, 1, 2, 3}))
		}
		a, b := counts.Draw(t, "a"), counts.Draw(t, "b")
		FisherExact(a.Failures, a.Cycles, b.Failures, b.Cycles)
		_, _, err := FisherOneSided(a, b)
		answers(t, "FisherOneSided", 0., err)
		for name, f := range map[string]func(a, b Counts, confidence float64) (Interval, error){"Newcombe": Newcombe, "NewcombeContinuity": NewcombeContinuity,
			"Mee": Mee, "MiettinenNurminen": MiettinenNurminen, "AgrestiCaffo": AgrestiCaffo, "OddsRatioExact": OddsRatioExact, "OddsRatioWoolf": OddsRatioWoolf} {
			iv, err := f(a, b, confidence)
			answers(t, name, iv, err)
		}
		u, err := Boschloo(a, b)
		answers(t, "Boschloo", u, err)
		u, err = Barnard(a, b)
		answers(t, "Barnard", u, err)

		groups := rapid.SliceOfN(counts, 0, 6).Draw(t, "groups")
		numbers := rapid.SliceOfN(number, 0, 12).Draw(t, "numbers")
		others := rapid.SliceOfN(number, 0, 12).Draw(t, "others")
		var strata []Stratum
		var doses []Dose
		var rests []RestCounts
		for i, g := range groups {
			strata = append(strata, Stratum{"", g, groups[len(groups)-1-i]})
			volts := float64(i)
			if i < len(numbers) {
				volts = numbers[i]
			}
			doses, rests = append(doses, Dose{volts, g}), append(rests, RestCounts{volts, g})
		}
		stratified, err := StratifiedTest(strata, confidence)
		if err == nil {
			stratified.OddsRatio, stratified.Homogeneity.Ratios = Interval{}, nil // NaN and infinite ratios of strata with zeros are told apart elsewhere
		}
		answers(t, "StratifiedTest", stratified, err)
		trend, err := TrendTest(numbers, groups)
		answers(t, "TrendTest", trend, err)
		rest, err := RestTrend(rests, confidence)
		answers(t, "RestTrend", rest, err)
		for _, link := range Links() {
			fit, err := FitThreshold(doses, link)
			answers(t, "FitThreshold", fit, err)
			if err == nil {
				v, err := fit.Volts(.1, confidence)
				answers(t, "Volts", v, err)
			}
		}
		fit, err := FitFirth(doses)
		answers(t, "FitFirth", fit, err)
		if err == nil {
			v, err := fit.Volts(.5, confidence)
			answers(t, "Volts", v, err)
		}
		steps, err := Isotonic(doses)
		answers(t, "Isotonic", steps, err)
		pooled, err := PoolAdjacent(numbers, others)
		answers(t, "PoolAdjacent", pooled, err)
		dispersion, err := Overdispersion(groups)
		answers(t, "Overdispersion", dispersion, err)
		widened, err := Widened(groups, confidence)
		answers(t, "Widened", widened, err)

		shift, err := Shift(numbers, others, confidence)
		answers(t, "Shift", shift, err)
		shift, err = Ratio(numbers, others, confidence)
		answers(t, "Ratio", shift, err)
		starts := func(values []float64) (s []Start) {
			for i, v := range values {
				s = append(s, Start{v, i%3 == 0})
			}
			return s
		}
		rank, err := LogRank(starts(numbers), starts(others))
		answers(t, "LogRank", rank, err)
		km, err := KaplanMeier(starts(numbers), confidence)
		answers(t, "KaplanMeier", km, err)
		if err == nil {
			q, err := km.Quantile(.5)
			answers(t, "Quantile", q, err)
			mean, _, err := km.RestrictedMean(2)
			answers(t, "RestrictedMean", mean, err)
		}
		for _, family := range []Family{Weibull, Lognormal, Exponential, "gamma"} {
			f, err := FitStarts(family, starts(numbers))
			answers(t, "FitStarts", f, err)
			if err == nil {
				p, err := f.Percentile(.1, confidence)
				answers(t, "Percentile", p, err)
			}
			factor, _, err := StartFactor(family, starts(numbers), starts(others), confidence)
			answers(t, "StartFactor", factor, err)
		}
		mk, err := MannKendall(numbers)
		answers(t, "MannKendall", mk, err)
		_, err = SenSlope(numbers)
		answers(t, "SenSlope", 0., err)
		r, err := Autocorrelation(numbers, rapid.IntRange(-1, 5).Draw(t, "lag"))
		answers(t, "Autocorrelation", r, err)
		portmanteau, err := Independence(numbers, rapid.IntRange(-1, 5).Draw(t, "lags"))
		answers(t, "Independence", portmanteau, err)
		change, err := Pettitt(numbers)
		answers(t, "Pettitt", change, err)
		runs, err := RunsAboutMedian(numbers)
		answers(t, "RunsAboutMedian", runs, err)

		failed := rapid.SliceOfN(rapid.Bool(), 0, 60).Draw(t, "failed")
		runs, err = Runs(failed)
		answers(t, "Runs", runs, err)
		night, err := JudgeNight(failed, confidence)
		answers(t, "JudgeNight", night, err)
		if err == nil && strings.Contains(night.Sentence(), "NaN") {
			t.Fatal(night.Sentence())
		}
		var cycles []Cycle
		for i, f := range failed {
			c := Cycle{Treatment: []string{"as found", "C7 chilled"}[i/7%2], Volts: 2.2, Failed: f, StartSeconds: math.NaN(), GrowthSeconds: math.NaN()}
			if i < len(numbers) {
				c.StartSeconds, c.Volts = numbers[i], []float64{2.2, 2.4, math.NaN()}[i%3]
			}
			cycles = append(cycles, c)
		}
		hunt, err := Hunt(cycles, HuntOptions{Base: "as found", Confidence: confidence})
		answers(t, "Hunt", hunt, err)
		if err == nil && strings.Contains(hunt.Sentence(), "NaN") {
			t.Fatal(hunt.Sentence())
		}
		half := len(cycles) / 2
		comparison, err := Compare(Sample{"a", cycles[:half]}, Sample{"b", cycles[half:]}, confidence)
		if err == nil {
			comparison.Stratified, comparison.Volts = Stratified{}, slices.DeleteFunc(comparison.Volts, math.IsNaN)
			if strings.Contains(comparison.Sentence(), "NaN") {
				t.Fatal(comparison.Sentence())
			}
		}
		answers(t, "Compare", comparison, err)
	})
}
