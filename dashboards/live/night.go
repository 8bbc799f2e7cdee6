package live

import (
	"slices"
	"time"

	"ringup/dashboards/plot"
	"ringup/runner"
	"ringup/runner/failrate"
	"ringup/runner/logbook"
)

const (
	nightWindows  = 12  // stretches of equal length at most: enough to see the cold hours, few enough for narrow intervals
	nightReadings = 400 // of the ambient, at most: about one for each pixel or two
)

// nightChart shows failures and ambient temperature over the time of the run.
func (s *Server) nightChart(run logbook.Run, width float64) (string, error) {
	type moment struct {
		at              time.Time
		counted, failed bool
	}
	var cycles []moment
	var readings []plot.Reading
	err := s.options.Book.EachCycle(run.ID, func(c logbook.Cycle) error {
		cycles = append(cycles, moment{c.Begun, c.Verdict.Counted(), c.Verdict.Failed()})
		readings = append(readings, plot.Reading{At: c.Begun, Celsius: c.AmbientCelsius})
		return nil
	})
	if err != nil {
		return "", err
	}
	if len(cycles) < 2*nightWindows {
		return "", errNothingToDraw
	}
	marks, err := s.options.Book.Marks(run.ID)
	if err != nil {
		return "", err
	}
	// Not the first and the last cycle: the bench's clock may have been set back in between.
	byTime := func(a, b moment) int { return a.at.Compare(b.at) }
	from, to := slices.MinFunc(cycles, byTime).at, slices.MaxFunc(cycles, byTime).at
	step := stretch(to.Sub(from))
	windows := make([]plot.Window, to.Sub(from)/step+1)
	for i := range windows {
		windows[i].From, windows[i].To = from.Add(time.Duration(i)*step), from.Add(time.Duration(i+1)*step)
	}
	for _, c := range cycles {
		w := &windows[int(c.at.Sub(from)/step)]
		if c.counted {
			w.Cycles++
		}
		if c.failed {
			w.Failures++
		}
	}
	for i, w := range windows {
		windows[i].Rate = failrate.ClopperPearson(w.Failures, w.Cycles, runner.Confidence)
	}
	chart := plot.Night{Title: "Through the night", Width: width, Windows: windows, Ambient: thin(readings), Zone: run.Location()}
	for _, m := range marks {
		chart.Marks = append(chart.Marks, plot.Moment{At: m.At, Text: m.Text})
	}
	return chart.SVG(), nil
}

// stretch is the length of a window of a run that long: a round one, as people read clocks.
func stretch(run time.Duration) time.Duration {
	for _, round := range []time.Duration{time.Minute, 2 * time.Minute, 5 * time.Minute, 10 * time.Minute, 15 * time.Minute, 30 * time.Minute,
		time.Hour, 2 * time.Hour, 3 * time.Hour, 6 * time.Hour, 12 * time.Hour} {
		if run < nightWindows*round {
			return round
		}
	}
	return run/nightWindows + 1
}

// thin leaves out readings evenly.
func thin(readings []plot.Reading) []plot.Reading {
	every := len(readings)/nightReadings + 1
	var kept []plot.Reading
	for i := 0; i < len(readings); i += every {
		kept = append(kept, readings[i])
	}
	return kept
}
