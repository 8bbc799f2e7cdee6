package live

import (
	"errors"
	"fmt"
	"math"
	"net/http"
	"strconv"
	"strings"

	"ringup/dashboards/plot"
	"ringup/runner/logbook"
	"ringup/runner/verdict"
)

// chart draws one chart of a run, width pixels wide.
type chart func(s *Server, run logbook.Run, width float64) (string, error)

var charts = map[string]chart{
	"rate.svg":     (*Server).rateChart,
	"night.svg":    (*Server).nightChart,
	"verdicts.svg": (*Server).verdictsChart,
	"waves.svg":    (*Server).wavesChart,
}

// errNothingToDraw is answered as "not found": the page shows a chart once there is one.
var errNothingToDraw = errors.New("nothing to draw yet")

// alone is the style of a chart that stands by itself, as a picture does: with no page around it, it needs a text colour of
// its own for light and dark.
const alone = "svg { color: #1c1d1f } @media (prefers-color-scheme: dark) { svg { color: #ececea } }\n"

func (s *Server) getChart(w http.ResponseWriter, r *http.Request) {
	draw, known := charts[r.PathValue("chart")]
	if !known {
		writeError(w, http.StatusNotFound, fmt.Errorf("no chart %q; there are rate.svg, night.svg, verdicts.svg and waves.svg", r.PathValue("chart")))
		return
	}
	width, err := number(r, "width", 720, 280, 1600)
	if err != nil {
		writeError(w, http.StatusBadRequest, err)
		return
	}
	run, found := s.runOf(w, r)
	if !found {
		return
	}
	svg, err := draw(s, run, float64(width))
	if errors.Is(err, errNothingToDraw) {
		writeError(w, http.StatusNotFound, err)
		return
	}
	if err != nil {
		bookError(w, err)
		return
	}
	head, rest, _ := strings.Cut(svg, ">")
	w.Header().Set("Content-Type", "image/svg+xml")
	w.Header().Set("Cache-Control", "no-store")
	w.Header().Set("Content-Security-Policy", "default-src 'none'; style-src 'unsafe-inline'") // the style is inside
	_, _ = fmt.Fprintf(w, "%s><style>%s%s</style>%s", head, plot.CSS, alone, rest)
}

// progressOf counts a run, or takes the counts of the one that is going on.
func (s *Server) progressOf(run logbook.Run) (Progress, error) {
	if now := s.currentStatus(); now.Run != nil && now.Run.ID == run.ID {
		return now.Progress, nil
	}
	p, _, err := tally(s.options.Book, run)
	return p, err
}

func (s *Server) rateChart(run logbook.Run, width float64) (string, error) {
	p, err := s.progressOf(run)
	if err != nil {
		return "", err
	}
	if len(p.Conditions) == 0 {
		return "", errNothingToDraw
	}
	return plot.FailureRate{Title: "Failure rate against supply voltage", Width: width, Height: height(width, 340), Conditions: p.Conditions}.SVG(), nil
}

func (s *Server) verdictsChart(run logbook.Run, width float64) (string, error) {
	p, err := s.progressOf(run)
	if err != nil {
		return "", err
	}
	if len(p.Conditions) == 0 {
		return "", errNothingToDraw
	}
	var rows []plot.VerdictRow
	several := false
	for _, c := range p.Conditions {
		several = several || c.Treatment != p.Conditions[0].Treatment
	}
	for _, c := range p.Conditions {
		label := voltsText(c.Volts)
		if several {
			label += ", " + c.Treatment
		}
		rows = append(rows, plot.VerdictRow{Label: label, Counts: c.Verdicts})
	}
	return plot.VerdictCounts{Title: "Verdicts", Width: width, Rows: rows}.SVG(), nil
}

// wavesChart shows the last kept failure beside the last kept start.
func (s *Server) wavesChart(run logbook.Run, width float64) (string, error) {
	numbers, err := s.options.Book.WaveformCycles(run.ID)
	if err != nil {
		return "", err
	}
	var limits Limits
	if s.options.Limits != nil {
		limits = s.options.Limits(run)
	}
	var failure, start *plot.Panel
	for i := len(numbers) - 1; i >= 0 && (failure == nil || start == nil); i-- {
		found, err := s.options.Book.Cycles(run.ID, numbers[i]-1, 1)
		if err != nil {
			return "", err
		}
		if len(found) == 0 || found[0].Number != numbers[i] {
			continue
		}
		c := found[0]
		switch {
		case c.Verdict.Failed() && failure == nil:
			failure, err = s.panel(c, limits)
		case c.Verdict == verdict.Started && start == nil:
			start, err = s.panel(c, limits)
		}
		if err != nil {
			return "", err
		}
	}
	var panels []plot.Panel
	for _, p := range []*plot.Panel{failure, start} {
		if p != nil {
			panels = append(panels, *p)
		}
	}
	if len(panels) == 0 {
		return "", errNothingToDraw
	}
	return plot.Waveforms{Title: "Last waveforms", Width: width, Panels: panels}.SVG(), nil
}

// panel is one cycle's envelope record.
func (s *Server) panel(c logbook.Cycle, limits Limits) (*plot.Panel, error) {
	waveforms, err := s.options.Book.Waveforms(c.Run, c.Number)
	if err != nil {
		return nil, err
	}
	p := &plot.Panel{
		Heading:        fmt.Sprintf("cycle %d, %s: %s", c.Number, voltsText(c.SetVolts), c.Verdict),
		ThresholdVolts: math.NaN(), StartSeconds: c.StartSeconds, AllowedSeconds: math.NaN(),
	}
	if limits.StartWithinSeconds > 0 {
		p.AllowedSeconds = limits.StartWithinSeconds
	}
	if limits.RailFraction > 0 {
		p.ThresholdVolts = limits.RailFraction * c.SetVolts
	}
	for _, w := range waveforms {
		switch w.Kind {
		case "rail":
			p.Rail = w.Trace
		case "clock":
			p.Clock = w.Trace
		}
	}
	return p, nil
}

// height keeps a chart's proportions on a wide screen and its readability on a narrow one.
func height(width, at720 float64) float64 {
	return max(300, at720*math.Sqrt(width/720))
}

// voltsText has at least one decimal, so that 3.0 V stands in line with 2.7 V.
func voltsText(volts float64) string {
	text := strconv.FormatFloat(math.Round(volts*1e4)/1e4, 'f', -1, 64)
	if !strings.Contains(text, ".") {
		text += ".0"
	}
	return text + " V"
}
