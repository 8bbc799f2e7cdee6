package prometheus_test

import (
	"os"
	"os/exec"
	"slices"
	"testing"

	"go.yaml.in/yaml/v3"

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

// TestEveryAlertIsTestedAndSaysWhatToDo reads the files as promtool does.
func TestEveryAlertIsTestedAndSaysWhatToDo(t *testing.T) {
	var file struct {
		Groups []struct {
			Rules []struct {
				Alert               string
				Labels, Annotations map[string]string
			}
		}
	}
	var tests struct {
		Tests []struct {
			Alerts []struct {
				Alertname string
				Expected  []any `yaml:"exp_alerts"`
			} `yaml:"alert_rule_test"`
		}
	}
	for name, into := range map[string]any{"alerts.yml": &file, "rules_test.yml": &tests} {
		text, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		if err := yaml.Unmarshal(text, into); err != nil {
			t.Fatalf("%s: %v", name, err)
		}
	}
	fires, silent := map[string]bool{}, map[string]bool{}
	for _, c := range tests.Tests {
		for _, a := range c.Alerts {
			fires[a.Alertname] = fires[a.Alertname] || len(a.Expected) > 0
			silent[a.Alertname] = silent[a.Alertname] || len(a.Expected) == 0
		}
	}
	alerts := 0
	for _, g := range file.Groups {
		for _, r := range g.Rules {
			alerts++
			if !fires[r.Alert] {
				t.Errorf("no test has %s fire", r.Alert)
			}
			if !slices.Contains([]string{"critical", "warning", "info"}, r.Labels["severity"]) {
				t.Errorf("%s has severity %q", r.Alert, r.Labels["severity"])
			}
			if len(r.Annotations) != 1 || len(r.Annotations["summary"]) < 60 {
				t.Errorf("%s has annotations %v; want a summary, and what to do in it", r.Alert, r.Annotations)
			}
		}
	}
	if alerts < 5 {
		t.Errorf("%d alerts found; has the file's form changed?", alerts)
	}
	if len(silent) == 0 {
		t.Error("no test has an alert stay silent")
	}
}
