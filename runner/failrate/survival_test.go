package failrate

import (
	"fmt"
	"math"
	"testing"
)

// arms returns Freireich et al., Blood 21 (1963) 699: weeks to relapse, as R's
// MASS::gehan.
func arms(t *testing.T) (treated, control []Start) {
	b := readTable(t, "sixmp_freireich1963.csv", 42)
	weeks, event, arm := b.numbers("weeks"), b.numbers("event"), b.text("arm")
	for i := range weeks {
		s := Start{weeks[i], event[i] == 0}
		if arm[i] == "6MP" {
			treated = append(treated, s)
		} else {
			control = append(control, s)
		}
	}
	return treated, control
}

// R survival::survfit with conf.type plain, log and log-log. Its default is
// log. The estimates and errors are also printed to four digits in textbooks.
func TestKaplanMeierPublished(t *testing.T) {
	treated, control := arms(t)
	km, err := KaplanMeier(treated, .95)
	if err != nil {
		t.Fatal(err)
	}
	want := []struct {
		t              float64
		n, d           int
		s, se          float64
		plain, log, ll Limits
	}{
		{6, 21, 3, .857142857143, .076360354832, Limits{.70747931, 1}, Limits{.7198170839, 1}, Limits{.6197179553, .9515517476}},
		{7, 17, 1, .806722689076, .086935285180, Limits{.63633266, .97711272}, Limits{.6531242185, .9964436759}, Limits{.5631465646, .9228090192}},
		{10, 15, 1, .752941176471, .096349652994, Limits{.56409933, .94178303}, Limits{.5859189820, .9675747546}, Limits{.5031995108, .8893618352}},
		{13, 12, 1, .690196078431, .106814707775, Limits{.48084310, .89954906}, Limits{.5096130991, .9347691955}, Limits{.4316102225, .8490659633}},
		{16, 11, 1, .627450980392, .114053865257, Limits{.40390951, .85099245}, Limits{.4393939250, .8959949385}, Limits{.3675108560, .8049121895}},
		{22, 7, 1, .537815126050, .128233751693, Limits{.28648159, .78914866}, Limits{.3370366162, .8582008480}, Limits{.2677789368, .7467907176}},
		{23, 6, 1, .448179271709, .134591456756, Limits{.18438486, .71197368}, Limits{.2487882268, .8073720455}, Limits{.1880520060, .6801426285}},
	}
	if len(km.Steps) != len(want) {
		t.Fatalf("%d steps, want %d", len(km.Steps), len(want))
	}
	for i, w := range want {
		got := km.Steps[i]
		if got.Seconds != w.t || got.AtRisk != w.n || got.Starts != w.d {
			t.Errorf("step %d: %+v, want %+v", i, got, w)
		}
		at := fmt.Sprintf("t = %v: ", w.t)
		wantNear(t, at+"share", got.Share, w.s, 1e-11)
		wantNear(t, at+"error", got.Error, w.se, 1e-10)
		for _, l := range []struct {
			name      string
			got, want Limits
			rel       float64
		}{{"plain", got.Plain, w.plain, 3e-8}, {"log", got.Log, w.log, 2e-10}, {"log-log", got.LogLog, w.ll, 3e-10}} {
			wantNear(t, at+l.name+" low", l.got.Low, l.want.Low, l.rel)
			wantNear(t, at+l.name+" high", l.got.High, l.want.High, l.rel)
		}
	}
	last := km.Steps[len(km.Steps)-1]
	wantNear(t, "Nelson-Aalen at 23", last.Hazard, .752113572702, 1e-11)
	wantNear(t, "its error", last.HazardError, .2794677467, 2e-10)
	mean, se, err := km.RestrictedMean(35)
	if err != nil {
		t.Fatal(err)
	}
	wantNear(t, "restricted mean to 35", mean, 23.287395, 2e-8)
	wantNear(t, "its error", se, 2.8274676, 2e-8)
	logLimits := func(s SurvivalStep) Limits { return s.Log }
	if m, _ := km.quantile(.5, logLimits); m.Estimate != 23 || m.Low != 16 || !math.IsInf(m.High, 1) {
		t.Errorf("median %+v, want 23 (16, none)", m)
	}

	// The same with log-log limits, from the table above.
	if m, err := km.Quantile(.5); err != nil || m.Estimate != 23 || m.Low != 13 || !math.IsInf(m.High, 1) {
		t.Errorf("median %+v (%v), want 23 (13, none)", m, err)
	}

	km, err = KaplanMeier(control, .95)
	if err != nil {
		t.Fatal(err)
	}
	for i, w := range [][3]float64{{1, .9047619048, .0640564485}, {2, .8095238095, .0856890867}, {3, .7619047619, .0929428641},
		{4, .6666666667, .1028689000}, {5, .5714285714, .1079898494}, {8, .3809523810, .1059711696}, {11, .2857142857, .0985807942},
		{12, .1904761905, .0856890867}, {15, .1428571429, .0763603548}, {17, .0952380952, .0640564485}, {22, .0476190476, .0464714320}, {23, 0, 0}} {
		got := km.Steps[i]
		if got.Seconds != w[0] || math.Abs(got.Share-w[1]) > 6e-11 || math.Abs(got.Error-w[2]) > 6e-11 {
			t.Errorf("control: %+v, want %v", got, w)
		}
	}
	if m, _ := km.quantile(.5, logLimits); m.Estimate != 8 || m.Low != 4 || m.High != 12 {
		t.Errorf("control median %+v, want 8 (4, 12)", m)
	}
}

// Where all have started the last step bounds nothing from above. R 4 survival:
// quantile(survfit(Surv(c(3,5,6,8,9,12,15,20), rep(1,8)) ~ 1, conf.type="log-log"), c(.5,.9,.99)).
func TestQuantilesOfAllStarted(t *testing.T) {
	var starts []Start
	for _, seconds := range []float64{3, 5, 6, 8, 9, 12, 15, 20} {
		starts = append(starts, Start{Seconds: seconds})
	}
	km, err := KaplanMeier(starts, .95)
	if err != nil {
		t.Fatal(err)
	}
	none := math.Inf(1)
	for share, want := range map[float64][3]float64{.5: {8.5, 3, 15}, .9: {20, 9, none}, .99: {20, 15, none}} {
		if q, err := km.Quantile(share); err != nil || [3]float64{q.Estimate, q.Low, q.High} != want {
			t.Errorf("%v: %+v (%v), want %v", share, q, err, want)
		}
	}
}

// R survival::survdiff. The sum of (O-E)²/E, 15.23285, is another statistic
// under the same name.
func TestLogRankPublished(t *testing.T) {
	treated, control := arms(t)
	r, err := LogRank(treated, control)
	if err != nil {
		t.Fatal(err)
	}
	if r.Observed != [2]float64{9, 21} {
		t.Errorf("observed %v, want 9 and 21", r.Observed)
	}
	wantNear(t, "expected", r.Expected[0], 19.2505009480, 1e-11)
	wantNear(t, "expected", r.Expected[1], 10.7494990520, 1e-11)
	wantNear(t, "variance", r.Variance, 6.2569605737, 1e-11)
	wantNear(t, "chi-square", r.ChiSquare, 16.7929409892, 1e-11)
	wantNear(t, "p", r.P, 4.16880910937086e-5, 1e-9)
	r, err = FlemingHarrington(treated, control, 1)
	if err != nil {
		t.Fatal(err)
	}
	wantNear(t, "Fleming-Harrington", r.ChiSquare, 14.4571508187, 1e-11)
}
