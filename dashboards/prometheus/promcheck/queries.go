package promcheck

import (
	"encoding/json"
	"fmt"
	"math"
	"os"
	"regexp"
	"strings"
	"testing"

	"go.yaml.in/yaml/v3"
)

// Query is one query of a board or a rule file.
type Query struct {
	Name string // panel title and reference, annotation or rule name
	Expr string
	// Alert is true if an empty answer is the usual one, as of an alert or an annotation.
	Alert bool
}

// forTest fills the board's placeholders: any bench, run, treatment and voltage; windows that a test of some seconds
// at one scrape a second can fill.
var forTest = strings.NewReplacer(
	"$__rate_interval", "15s", "$__interval", "1s", "$__range", "5m",
	"$bench", ".+", "$run", ".+", "$treatment", ".+", "$volts", ".+",
)

// BoardQueries returns every query of a Grafana board, its variables filled in. A board without queries is an error.
func BoardQueries(path string) ([]Query, error) {
	text, err := os.ReadFile(path)
	if err != nil {
		return nil, err
	}
	type panel struct {
		Title   string
		Targets []struct{ RefID, Expr string }
	}
	var board struct {
		Panels []struct {
			panel
			Panels []panel // of a collapsed row
		}
		Annotations struct{ List []struct{ Name, Expr string } }
	}
	if err := json.Unmarshal(text, &board); err != nil {
		return nil, fmt.Errorf("%s: %w", path, err)
	}
	var queries []Query
	add := func(p panel) {
		for _, t := range p.Targets {
			queries = append(queries, Query{Name: p.Title + " " + t.RefID, Expr: forTest.Replace(t.Expr)})
		}
	}
	for _, p := range board.Panels {
		add(p.panel)
		for _, inner := range p.Panels {
			add(inner)
		}
	}
	for _, a := range board.Annotations.List {
		queries = append(queries, Query{Name: "annotation " + a.Name, Expr: forTest.Replace(a.Expr), Alert: true})
	}
	for _, q := range queries {
		if strings.Contains(q.Expr, "$") {
			return nil, fmt.Errorf("%s: %s: unknown placeholder in %s", path, q.Name, q.Expr)
		}
	}
	if len(queries) == 0 {
		return nil, fmt.Errorf("%s: no queries found", path)
	}
	return queries, nil
}

// RuleQueries returns every expression of a Prometheus rule file. A file without rules is an error.
func RuleQueries(path string) ([]Query, error) {
	text, err := os.ReadFile(path)
	if err != nil {
		return nil, err
	}
	var file struct {
		Groups []struct {
			Rules []struct{ Record, Alert, Expr string }
		}
	}
	if err := yaml.Unmarshal(text, &file); err != nil {
		return nil, fmt.Errorf("%s: %w", path, err)
	}
	var queries []Query
	for _, g := range file.Groups {
		for _, r := range g.Rules {
			queries = append(queries, Query{Name: r.Record + r.Alert, Expr: r.Expr, Alert: r.Alert != ""})
		}
	}
	if len(queries) == 0 {
		return nil, fmt.Errorf("%s: no rules found", path)
	}
	return queries, nil
}

// selector matches the metrics that an expression of ours reads, with their label matchers.
var selector = regexp.MustCompile(`(?:\b[a-z_]+:)?\bringup_\w+(?::\w+)?(?:\{[^}]*\})?|\bup\{[^}]*\}`)

// Selectors returns the metrics an expression reads, each with its label matchers.
func Selectors(expr string) []string {
	return selector.FindAllString(expr, -1)
}

// CheckAll asks every query until it has an answer, and fails the test for each that is refused, stays empty, or has no
// number in it. An alert is silent on a good night and an annotation at most moments, so of those each metric they read must
// have an answer instead.
func (p *Prometheus) CheckAll(t *testing.T, queries []Query) {
	t.Helper()
	for _, q := range queries {
		t.Run(q.Name, func(t *testing.T) {
			if !q.Alert {
				p.waitForNumber(t, q.Expr)
				return
			}
			p.Query(t, q.Expr)
			for _, s := range Selectors(q.Expr) {
				p.waitForNumber(t, "last_over_time("+s+"[1h])") // a hold may be over by now
			}
		})
	}
}

func (p *Prometheus) waitForNumber(t testing.TB, expr string) {
	t.Helper()
	p.until(t, nil, "an answer to "+expr, func() error {
		samples, err := p.Ask(expr)
		if err != nil {
			return err
		}
		for _, s := range samples {
			if !math.IsNaN(s.Value) {
				return nil
			}
		}
		return fmt.Errorf("empty, or no number in it: %v", samples)
	})
}
