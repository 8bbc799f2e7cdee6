package main

import (
	"testing"
	"time"

	"ringup/runner"
	"ringup/runner/bench"
)

// TestRestAfterAKill: the run that is gone on with may have been killed with the output on, which its logbook does not
// know. On a real bench the unit counts as off only since it has been read back as off.
func TestRestAfterAKill(t *testing.T) {
	t.Parallel()
	f := folder(t.TempDir())
	serveBench(t, f, "bench.toml", "--transport", "tcp")
	b, err := bench.Parse("bench.toml", []byte(f.read(t, "bench.toml")))
	if err != nil {
		t.Fatal(err)
	}
	at := time.Now().Add(-time.Hour)
	hourAgo := past{now: at, offSince: at, offVolts: 3.6}
	real, err := stand(t.Context(), b, options{}, hourAgo, 0, runner.Observers{})
	if err != nil {
		t.Fatal(err)
	}
	defer real.close()
	if !real.offSince.IsZero() {
		t.Errorf("the unit counts as off since %v, before this process has switched it off", real.offSince)
	}

	if b, err = bench.Parse("bench.toml", []byte(demoBench)); err != nil {
		t.Fatal(err)
	}
	simulated, err := stand(t.Context(), b, options{}, hourAgo, 0, runner.Observers{})
	if err != nil {
		t.Fatal(err)
	}
	defer simulated.close()
	if !simulated.offSince.Equal(hourAgo.offSince) {
		t.Errorf("the simulated unit is off since %v, want %v: it stood still meanwhile", simulated.offSince, hourAgo.offSince)
	}
}
