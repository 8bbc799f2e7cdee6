package verdict

import "ringup/runner/verdict/internal/vectors"

// evidenceOf makes evidence of a vector's records: a plain channel is a record at
// full rate, in its converter's codes, any other a peak-detect trace in volts.
func evidenceOf(r vectors.Records, l vectors.Limits) Evidence {
	e := Evidence{NoRail: l.SetVolts == 0, SupplyVolts: r.SupplyVolts, SupplyAmps: r.SupplyAmps}
	for _, c := range []struct {
		channel vectors.Channel
		trace   *Trace
		record  *Record
	}{
		{r.Rail, &e.Rail, &e.RailRecord},
		{r.Clock, &e.Clock, &e.ClockRecord},
		{r.Steady, nil, &e.SteadyRecord},
	} {
		switch {
		case len(c.channel.Low) == 0:
		case c.channel.Plain():
			*c.record = vectorRecord(c.channel)
		default:
			*c.trace = vectorTrace(c.channel)
		}
	}
	if len(r.Lamp.Low) > 0 {
		e.Lamp = vectorTrace(r.Lamp)
	}
	return e
}

func vectorRecord(c vectors.Channel) Record {
	r := Record{
		StartSeconds: c.StartSeconds, StepSeconds: c.StepSeconds, Codes8: c.Low,
		ZeroCode: -c.ZeroVolts / c.CodeVolts, VoltsPerCode: c.CodeVolts, LowCode: 0, HighCode: 255,
	}
	for _, g := range c.Gaps {
		r.Gaps = append(r.Gaps, Gap{From: g.From, To: g.To})
	}
	return r
}

func vectorTrace(c vectors.Channel) Trace {
	t := Trace{
		StartSeconds: c.StartSeconds, StepSeconds: c.StepSeconds,
		LowVolts: c.Volts(0), HighVolts: c.Volts(255), Codes: 256,
	}
	for i := range c.Low {
		t.Min, t.Max = append(t.Min, c.Volts(c.Low[i])), append(t.Max, c.Volts(c.High[i]))
	}
	if c.Plain() {
		t.Min = t.Max
	}
	return t
}

func expectOf(l vectors.Limits) Expect {
	band := func(a vectors.Amps) Band { return Band{LowAmps: a.Low, HighAmps: a.High} }
	return Expect{
		SetVolts: l.SetVolts, RailFraction: l.RailFraction,
		ClockHertz: l.ClockHertz, FrequencyWithin: l.FrequencyWithin, AmplitudeMinVolts: l.AmplitudeMinVolts,
		StartWithinSeconds: l.StartWithinSeconds, WatchSeconds: l.WatchSeconds, UseAlias: l.UseAlias,
		LampHertz: l.LampHertz, Current: CurrentBands{Off: band(l.OffAmps), Hung: band(l.HungAmps), Running: band(l.RunningAmps)},
	}
}
