package prometheus_test

import (
	"os/exec"
	"testing"

	"ringup/dashboards/prometheus/promcheck"
)

func TestPromtool(t *testing.T) {
	promtool := promcheck.Program(t, "promtool")
	for _, arguments := range [][]string{
		{"check", "config", "prometheus.yml"},
		{"check", "rules", "rules.yml", "alerts.yml"},
		{"test", "rules", "rules_test.yml"},
	} {
		t.Run(arguments[0]+" "+arguments[1], func(t *testing.T) {
			if out, err := exec.Command(promtool, arguments...).CombinedOutput(); err != nil {
				t.Errorf("promtool %v: %v\n%s", arguments, err, out)
			}
		})
	}
}
