package crystal

import (
	"math/rand/v2"
	"testing"
)

// startups reports the rate the benchmark is about.
func startups(b *testing.B, each int) {
	b.ReportMetric(float64(b.N)*float64(each)/b.Elapsed().Seconds(), "start-ups/s")
}

// One power-up as the simulated bench asks for it, with a probe's load.
func BenchmarkPowerUp(b *testing.B) {
	for _, name := range Units() {
		u := mustUnit(b, name)
		s := Surroundings{SupplyVolts: 2.8, AmbientCelsius: -10, RestSeconds: 3600}
		s.Probe = Probe{Node: "A", Farads: 12e-12, Ohms: 10e6}
		b.Run(name, func(b *testing.B) {
			rng := rand.New(rand.NewPCG(1, 1))
			b.ReportAllocs()
			for b.Loop() {
				p := u.PowerUp(s, rng)
				_ = p.Outcome()
			}
			startups(b, 1)
		})
	}
}

// Full start-ups, every draw and the whole supply path: 200 000 a second and
// core are wanted.
func BenchmarkPredict(b *testing.B) {
	for _, name := range Units() {
		u := mustUnit(b, name)
		s := Surroundings{SupplyVolts: 2.8, AmbientCelsius: -10, RestSeconds: 3600}
		b.Run(name, func(b *testing.B) {
			for b.Loop() {
				u.Predict(s, 1000, 1)
			}
			startups(b, 1000)
		})
	}
}

// Cells of 10 000 start-ups where the closed form serves, the window's own
// calculation included: 1 000 000 a second and core are wanted.
func BenchmarkFaultWindow(b *testing.B) {
	for _, name := range Units() {
		u := mustUnit(b, name)
		s := Surroundings{SupplyVolts: 2.8, AmbientCelsius: -10, RestSeconds: 3600}
		b.Run(name, func(b *testing.B) {
			rng := rand.New(rand.NewPCG(1, 1))
			for b.Loop() {
				w, ok := u.FaultWindow(s)
				if !ok {
					b.Fatal("the closed form does not serve")
				}
				for range 10000 {
					w.Fails(rng)
				}
			}
			startups(b, 10000)
		})
	}
}

func BenchmarkAnalyse(b *testing.B) {
	c := Healthy()
	for b.Loop() {
		_ = c.Analyse()
	}
}

func BenchmarkNodeAmplitude(b *testing.B) {
	p := mustUnit(b, "healthy").PowerUp(warm, rand.New(rand.NewPCG(1, 1)))
	b.ReportAllocs()
	at := 0.0
	for b.Loop() {
		if at += 1e-5; at > 80e-3 {
			at = 0
		}
		_ = p.NodeAmplitude("A", at)
	}
}
