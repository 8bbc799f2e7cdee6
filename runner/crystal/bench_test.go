package crystal

import (
	"math/rand/v2"
	"testing"
)

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
		})
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
