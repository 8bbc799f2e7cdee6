package runner

import (
	"math"

	"ringup/runner/bench"
	"ringup/runner/logbook"
	"ringup/runner/verdict"
)

// Expect is what a good cycle at the given supply, watched for so many seconds, looks like by the bench file.
func Expect(b *bench.Bench, setVolts, watchSeconds float64) verdict.Expect {
	e := b.Expect
	return verdict.Expect{
		SetVolts: setVolts, RailFraction: e.RailFraction,
		ClockHertz: b.Unit.ClockHertz, FrequencyWithin: e.FrequencyWithin,
		AmplitudeMinVolts: e.AmplitudeMin(setVolts), StartWithinSeconds: e.StartWithinSeconds, WatchSeconds: watchSeconds,
		UseAlias: e.UseAlias, LampHertz: e.LampHertz, Current: currentBands(e.OffAmps, e.HungAmps, e.RunningAmps),
	}
}

// expect is what a good cycle under a condition looks like: what the bench file says, and what the supply current of
// this run's first cycles taught.
func (s *Session) expect(want condition) verdict.Expect {
	x := Expect(s.rig.Bench, want.volts, want.watch)
	x.Current = verdict.LearnCurrent(x, s.taught)
	return x
}

// judge gives the verdict on what the bench's instruments saw.
func (s *Session) judge(e verdict.Evidence, want condition) verdict.Judgement {
	if s.rig.Scope == nil {
		return verdict.JudgeWithoutScope(e, s.expect(want))
	}
	return verdict.Judge(e, s.expect(want))
}

// learn keeps what the first cycles of either kind say of the supply current. It follows from the logbook, so that a
// resumed run learns the same.
func (s *Session) learn(c logbook.Cycle) {
	const enough = 8 * verdict.FewestToLearn
	if math.IsNaN(c.SupplyAmps) || c.Verdict != verdict.Started && c.Verdict != verdict.Silent {
		return
	}
	same := 0
	for _, t := range s.taught {
		if t.Verdict == c.Verdict {
			same++
		}
	}
	if same < enough {
		s.taught = append(s.taught, c.Judgement)
	}
}

func currentBands(off, hung, running [2]float64) verdict.CurrentBands {
	band := func(amps [2]float64) verdict.Band { return verdict.Band{LowAmps: amps[0], HighAmps: amps[1]} }
	return verdict.CurrentBands{Off: band(off), Hung: band(hung), Running: band(running)}
}
