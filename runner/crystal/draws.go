package crystal

import (
	"math"
	"math/rand/v2"
)

// draws are all the chances of one power-up. They are always all drawn, so two
// units or treatments under the same generator meet the same luck.
type draws struct {
	volts, kelvin  float64 // offsets of the supply's setting and of every part
	rampSeconds    float64 // of the supply edge
	noise1, noise2 float64 // standard normal, the first amplitude's quadratures
	sleep          float64 // rest state of the crystal
	crackOhms      float64
	crackOpen      bool
	filmOhms       float64
	contactOhms    float64
}

func (u *Unit) draw(s *Surroundings, rng *rand.Rand) draws {
	rest := max(0, s.RestSeconds)
	d := draws{
		volts:       setSpreadVolts * rng.NormFloat64(),
		kelvin:      partSpreadKelvin * rng.NormFloat64(),
		rampSeconds: rampSeconds * math.Exp(rampSpread*rng.NormFloat64()),
		noise1:      rng.NormFloat64(), noise2: rng.NormFloat64(),
		sleep:       u.Sleep.state(rest, rng),
		filmOhms:    u.Film.draw(rng),
		contactOhms: u.Contact.draw(rng),
	}
	d.crackOhms, d.crackOpen = u.Crack.draw(s.celsius(C7)+d.kelvin, rest, rng)
	return d
}

// net is the board as this power-up finds it.
func (u *Unit) net(s *Surroundings, d *draws) Net {
	n := u.Net.Loaded(s.Probe)
	if u.Crack.Ohms > 0 {
		n.CA *= u.Crack.Kept
		n.RA = d.crackOhms
		if d.crackOpen {
			n.CA, n.RA = openFarads, esrOhms
		}
	}
	if u.Film.Ohms > 0 {
		n.Rleak = d.filmOhms
	}
	return n
}
