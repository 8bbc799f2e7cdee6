package failrate

import (
	"bytes"
	"fmt"
	"math"
	"os"
	"os/exec"
	"strconv"
	"strings"
	"sync"
	"testing"
)

// One R process serves all tests of the package, as one Python does: its package
// survival takes longer to load than most checks.

// outsideRServer reads requests: a line with the number of lines of code and of
// cases, the code, which defines f(case), and the cases. It answers one line a case.
const outsideRServer = `
suppressMessages(library(survival))
options(warn = -1)
input <- file("stdin", "r")
while (length(head <- readLines(input, 1)) > 0) {
  lines <- as.integer(strsplit(head, " ")[[1]])
  eval(parse(text = readLines(input, lines[1])))
  for (line in readLines(input, lines[2])) {
    r <- f(as.numeric(strsplit(line, " ")[[1]]))
    cat(paste(formatC(r, digits = 17, format = "g"), collapse = " "), "\n", sep = "")
  }
  flush(stdout())
}`

var startOutsideR = sync.OnceValues(func() (*outsideProcess, error) {
	if err := exec.Command("Rscript", "--vanilla", "-e", `q(status = !nzchar(system.file(package = "survival")))`).Run(); err != nil {
		return nil, err
	}
	return newOutsideProcess(exec.Command("Rscript", "--vanilla", "-e", outsideRServer))
})

// outsideR has R compute code's f(case) for every case, in order. A case is a
// vector of numbers, and so is what f returns. Without R, or its package
// survival, the test is skipped, and under CI=true it fails.
func outsideR(t *testing.T, code string, cases [][]float64) [][]float64 {
	t.Helper()
	if len(cases) == 0 {
		t.Fatal("no cases to check against R")
	}
	p, err := startOutsideR()
	if err != nil {
		const missing = "R is missing: install the Debian packages r-base-core and r-cran-survival"
		if os.Getenv("CI") == "true" {
			t.Fatal(missing)
		}
		t.Skip(missing)
	}
	p.mutex.Lock()
	defer p.mutex.Unlock()
	var input bytes.Buffer
	code = strings.TrimSpace(code)
	fmt.Fprintf(&input, "%d %d\n%s\n", strings.Count(code, "\n")+1, len(cases), code)
	for _, c := range cases {
		words := make([]string, len(c))
		for i, v := range c {
			words[i] = strconv.FormatFloat(v, 'g', -1, 64)
		}
		fmt.Fprintln(&input, strings.Join(words, " "))
	}
	go p.stdin.Write(input.Bytes()) // R answers while it reads; an error shows in what it does not answer
	results := make([][]float64, len(cases))
	for i := range results {
		line, err := p.stdout.ReadString('\n')
		if err != nil {
			t.Fatalf("R answered %d of %d cases: %v: %s", i, len(cases), err, p.stderr)
		}
		for _, word := range strings.Fields(line) {
			v, err := strconv.ParseFloat(word, 64)
			if word == "NA" {
				v, err = math.NaN(), nil
			}
			if err != nil {
				t.Fatalf("R answered %q: %v", line, err)
			}
			results[i] = append(results[i], v)
		}
	}
	return results
}

// checkOutside compares got with what came from outside, number by number.
func checkOutside(t *testing.T, what string, input any, got, want []float64, rel float64) {
	t.Helper()
	if len(got) != len(want) {
		t.Fatalf("%s of %v: %d numbers, want %d", what, input, len(got), len(want))
	}
	for i := range want {
		if !sameAsOutside(got[i], want[i], rel, 1e-3) {
			t.Errorf("%s of %v: number %d is %.12g, outside %.12g", what, input, i, got[i], want[i])
		}
	}
}

// R's mantelhaen.test and prop.trend.test.
func TestOutsideStratified(t *testing.T) {
	random := outsideRandom(101)
	var cases [][]float64
	var results [][]float64
	for len(cases) < outsideCases {
		var strata []Stratum
		var c []float64
		for range 2 + random.IntN(4) {
			s := Stratum{A: Counts{0, 5 + random.IntN(40)}, B: Counts{0, 5 + random.IntN(40)}}
			s.A.Failures, s.B.Failures = random.IntN(s.A.Cycles+1), random.IntN(s.B.Cycles+1)
			if sum := s.A.add(s.B); sum.Failures == 0 || sum.Failures == sum.Cycles {
				continue
			}
			strata = append(strata, s)
			c = append(c, float64(s.A.Failures), float64(s.A.Cycles-s.A.Failures), float64(s.B.Failures), float64(s.B.Cycles-s.B.Failures))
		}
		if len(strata) < 2 {
			continue
		}
		r, err := StratifiedTest(strata, .95)
		if err != nil {
			t.Fatal(err)
		}
		if r.OddsRatio.Estimate == 0 || math.IsInf(r.OddsRatio.Estimate, 1) {
			continue // R gives NaN limits
		}
		var scores []float64
		var groups []Counts
		for i, s := range strata {
			scores, groups = append(scores, float64(i+1)), append(groups, s.A)
		}
		trend, err := TrendTest(scores, groups)
		if err != nil {
			continue
		}
		cases = append(cases, c)
		results = append(results, []float64{r.ChiSquare, r.P, r.ChiSquareCorrected, r.PCorrected, r.OddsRatio.Estimate, r.OddsRatio.Low, r.OddsRatio.High, r.Exact, trend.ChiSquare, trend.P})
	}
	want := outsideR(t, `
f <- function(c) {
  x <- array(c, c(2, 2, length(c) / 4))
  a <- mantelhaen.test(x, correct = FALSE); b <- mantelhaen.test(x, correct = TRUE)
  # R leaves the correction out where it would carry past equality; there it is complete.
  excess <- sum(apply(x, 3, function(m) m[1, 1] - sum(m[1, ]) * sum(m[, 1]) / sum(m)))
  if (abs(excess) < 0.5) { b$statistic <- 0; b$p.value <- 1 }
  e <- mantelhaen.test(x, exact = TRUE)
  fails <- x[1, 1, ]; n <- fails + x[2, 1, ]
  p <- prop.trend.test(fails, n)
  c(a$statistic, a$p.value, b$statistic, b$p.value, a$estimate, a$conf.int, e$p.value, p$statistic, p$p.value)
}`, cases)
	for i := range cases {
		checkOutside(t, "stratified", cases[i], results[i], want[i], 1e-8)
	}
}

// R's glm, fully converged.
func TestOutsideThreshold(t *testing.T) {
	random := outsideRandom(102)
	var cases [][]float64
	var results [][]float64
	for len(cases) < outsideCases {
		link := Links()[random.IntN(3)]
		half, width := 2+random.Float64(), .05+.3*random.Float64()
		var doses []Dose
		c := []float64{map[Link]float64{Logit: 1, Probit: 2, Cloglog: 3}[link]}
		for v := 1.8; v < 3.3; v += .2 {
			p, _, _, _ := link.at(-(v - half) / width)
			d := Dose{v, Counts{0, 10 + random.IntN(60)}}
			for range d.Cycles {
				if random.Float64() < p {
					d.Failures++
				}
			}
			doses = append(doses, d)
			c = append(c, v, float64(d.Failures), float64(d.Cycles))
		}
		fit, err := FitThreshold(doses, link)
		if err != nil { // separated
			continue
		}
		v, err := fit.Volts(.1, .95)
		if err != nil {
			t.Fatal(err)
		}
		cases = append(cases, c)
		results = append(results, []float64{fit.Intercept, fit.Slope, fit.InterceptError, fit.SlopeError, fit.Deviance, fit.Pearson, fit.LogLikelihood, v.Volts, v.Error})
	}
	want := outsideR(t, `
f <- function(c) {
  link <- c("logit", "probit", "cloglog")[c[1]]
  x <- matrix(c[-1], ncol = 3, byrow = TRUE)
  g <- glm(cbind(x[, 2], x[, 3] - x[, 2]) ~ x[, 1], family = binomial(link), control = list(epsilon = 1e-14, maxit = 200))
  b <- coef(g); v <- vcov(g)
  eta <- binomial(link)$linkfun(0.1)
  m <- (eta - b[1]) / b[2]
  d <- c(1, m) / b[2]
  c(b, sqrt(diag(v)), deviance(g), sum(residuals(g, "pearson")^2), logLik(g), m, sqrt(d %*% v %*% d))
}`, cases)
	for i := range cases {
		checkOutside(t, "threshold", cases[i], results[i], want[i], 1e-6)
	}
}

// randomStarts makes start times with ties and censoring, all within the window.
func randomStarts(random interface{ Float64() float64 }, n int, scale float64) []Start {
	var starts []Start
	for range n {
		s := Start{Seconds: math.Ceil(scale*math.Pow(-math.Log(random.Float64()), .6)*100) / 100}
		if window := 2.0; s.Seconds > window {
			s = Start{window, true}
		} else if random.Float64() < .15 {
			s.Censored = true
		}
		starts = append(starts, s)
	}
	return starts
}

// R's survfit, survdiff and survreg.
func TestOutsideStarts(t *testing.T) {
	random := outsideRandom(103)
	var cases [][]float64
	var results [][]float64
	for len(cases) < outsideCases {
		a, b := randomStarts(random, 8+random.IntN(30), .8), randomStarts(random, 8+random.IntN(30), .6+random.Float64())
		var c []float64
		for side, starts := range [][]Start{a, b} {
			for _, s := range starts {
				event := 1.0
				if s.Censored {
					event = 0
				}
				c = append(c, float64(side), s.Seconds, event)
			}
		}
		rank, err := LogRank(a, b)
		if err != nil {
			continue
		}
		early, err := FlemingHarrington(a, b, 1)
		if err != nil {
			t.Fatal(err)
		}
		km, err := KaplanMeier(a, .95)
		if err != nil {
			t.Fatal(err)
		}
		weibull, err := FitStarts(Weibull, a)
		if err != nil {
			continue
		}
		lognormal, err := FitStarts(Lognormal, a)
		if err != nil {
			t.Fatal(err)
		}
		tenth, err := weibull.Percentile(.1, .95)
		if err != nil {
			t.Fatal(err)
		}
		factor, _, err := StartFactor(Weibull, a, b, .95)
		if err != nil {
			continue
		}
		step := km.Steps[len(km.Steps)/2]
		mean, meanError, err := km.RestrictedMean(1.5)
		if err != nil {
			t.Fatal(err)
		}
		cases = append(cases, append([]float64{step.Seconds}, c...))
		results = append(results, []float64{rank.ChiSquare, rank.P, early.ChiSquare, step.Share, step.Error, step.LogLog.Low, step.LogLog.High, step.Log.Low, step.Plain.Low, mean, meanError,
			weibull.Mu, weibull.Sigma, weibull.LogLikelihood, weibull.MuError, weibull.LogSigmaError, math.Log(tenth.Estimate), math.Log(tenth.High / tenth.Estimate),
			lognormal.Mu, lognormal.Sigma, lognormal.LogLikelihood, lognormal.MuError, math.Log(factor.Estimate), math.Log(factor.High / factor.Estimate)})
	}
	want := outsideR(t, `
f <- function(c) {
  at <- c[1]
  x <- matrix(c[-1], ncol = 3, byrow = TRUE); side <- x[, 1]; s <- Surv(x[, 2], x[, 3])
  d <- survdiff(s ~ side); e <- survdiff(s ~ side, rho = 1)
  a <- s[side == 0]
  ll <- summary(survfit(a ~ 1, conf.type = "log-log"), times = at)
  lg <- summary(survfit(a ~ 1, conf.type = "log"), times = at)
  pl <- summary(survfit(a ~ 1, conf.type = "plain"), times = at)
  m <- summary(survfit(a ~ 1), rmean = 1.5)$table
  control <- survreg.control(rel.tolerance = 1e-13, maxiter = 200)
  w <- survreg(a ~ 1, dist = "weibull", control = control); n <- survreg(a ~ 1, dist = "lognormal", control = control)
  q <- predict(w, newdata = data.frame(one = 1), type = "uquantile", p = 0.1, se.fit = TRUE)
  both <- survreg(s ~ side, dist = "weibull", control = control)
  z <- qnorm(0.975)
  c(d$chisq, 1 - pchisq(d$chisq, 1), e$chisq, ll$surv, ll$std.err, ll$lower, ll$upper, lg$lower, pl$lower, m["rmean"], m["se(rmean)"],
    coef(w), w$scale, w$loglik[2], sqrt(diag(vcov(w))), q$fit[1], z * q$se.fit[1],
    coef(n), n$scale, n$loglik[2], sqrt(vcov(n)[1, 1]), -coef(both)[2], z * sqrt(vcov(both)[2, 2]))
}`, cases)
	for i := range cases {
		if n := len(want[i]); n > 9 && math.IsNaN(want[i][9]) {
			t.Errorf("case %d: R has no restricted mean", i)
		}
		checkOutside(t, "starts", len(cases[i]), results[i], want[i], 2e-6)
	}
}

// R's wilcox.test (exact, without ties) and isoreg.
func TestOutsideLocation(t *testing.T) {
	random := outsideRandom(104)
	var cases [][]float64
	var results [][]float64
	for range outsideCases {
		n, m := 4+random.IntN(30), 4+random.IntN(30)
		var a, b []float64
		for range n {
			a = append(a, random.NormFloat64()+random.Float64())
		}
		for range m {
			b = append(b, random.NormFloat64()*1.5)
		}
		s, err := Shift(a, b, .95)
		if err != nil || !s.Exact {
			t.Fatal(s, err)
		}
		fit, err := PoolAdjacent(a, slicesOfOnes(n))
		if err != nil {
			t.Fatal(err)
		}
		cases = append(cases, append(append([]float64{float64(n)}, a...), b...))
		results = append(results, append([]float64{s.U, s.P, s.Interval.Estimate, s.Interval.Low, s.Interval.High}, fit...))
	}
	want := outsideR(t, `
f <- function(c) {
  n <- c[1]; a <- c[2:(n + 1)]; b <- c[-(1:(n + 1))]
  w <- wilcox.test(a, b, conf.int = TRUE, exact = TRUE)
  c(w$statistic, w$p.value, w$estimate, w$conf.int, isoreg(a)$yf)
}`, cases)
	for i := range cases {
		checkOutside(t, "location", cases[i][0], results[i], want[i], 1e-9)
	}
}

func slicesOfOnes(n int) []float64 {
	ones := make([]float64, n)
	for i := range ones {
		ones[i] = 1
	}
	return ones
}
