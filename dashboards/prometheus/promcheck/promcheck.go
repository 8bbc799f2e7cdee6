// Package promcheck runs a real Prometheus in tests, against any address that serves metrics, and asks it every query
// that board and rules contain. A query that names a metric nobody exports, or compares labels that never match, is
// valid text and an empty panel; only asking shows it.
package promcheck

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"
)

const (
	patience = 60 * time.Second       // for a start, a scrape or a rule to come through on a busy machine
	poll     = 100 * time.Millisecond // Prometheus tells nobody when it has scraped, so it is asked
)

// Prometheus is a running Prometheus that scrapes one target every second and evaluates rules every second.
type Prometheus struct {
	// URL is the address of its web page and HTTP API.
	URL string
}

// Program returns the path of a program of Debian's package prometheus. Where it is missing it skips the test, or fails
// it if the environment has CI=true.
func Program(t testing.TB, name string) string {
	t.Helper()
	path, err := exec.LookPath(name)
	if err == nil {
		return path
	}
	if os.Getenv("CI") == "true" {
		t.Fatalf("%s is missing: install the Debian package prometheus", name)
	}
	t.Skipf("%s is missing: install the Debian package prometheus", name)
	return ""
}

// Start starts Debian's Prometheus on a free port, with its data in a folder of the test's own, and stops it when the
// test ends. The target is the URL of a metrics page; the rule files are loaded as they are.
func Start(t testing.TB, target string, ruleFiles ...string) *Prometheus {
	t.Helper()
	return start(t, nil, target, ruleFiles)
}

// StartNative is Start with native histograms enabled: Prometheus then scrapes in protobuf and keeps no classic buckets.
func StartNative(t testing.TB, target string, ruleFiles ...string) *Prometheus {
	t.Helper()
	return start(t, []string{"--enable-feature=native-histograms"}, target, ruleFiles)
}

func start(t testing.TB, flags []string, target string, ruleFiles []string) *Prometheus {
	t.Helper()
	program := Program(t, "prometheus")
	folder := t.TempDir()
	config := filepath.Join(folder, "prometheus.yml")
	text, err := configuration(target, ruleFiles)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(config, text, 0o600); err != nil {
		t.Fatal(err)
	}
	address := freeAddress(t)
	ctx, cancel := context.WithCancel(context.Background())
	command := exec.CommandContext(ctx, program, append(flags,
		"--config.file="+config,
		"--storage.tsdb.path="+filepath.Join(folder, "data"),
		"--web.listen-address="+address,
		"--log.level=warn")...)
	command.Cancel = func() error { return command.Process.Signal(syscall.SIGTERM) }
	command.WaitDelay = 10 * time.Second
	var log strings.Builder
	command.Stderr = &log
	if err := command.Start(); err != nil {
		cancel()
		t.Fatalf("start %s: %v", program, err)
	}
	exited := make(chan struct{})
	go func() {
		_ = command.Wait() // it ends by our signal, or its log says why
		close(exited)
	}()
	t.Cleanup(func() {
		cancel()
		<-exited
		if t.Failed() {
			t.Logf("prometheus says:\n%s", log.String())
		}
	})
	p := &Prometheus{URL: "http://" + address}
	p.until(t, exited, "prometheus is ready", func() error {
		_, err := get(p.URL + "/-/ready")
		return err
	})
	return p
}

// configuration is JSON, which is YAML too.
func configuration(target string, ruleFiles []string) ([]byte, error) {
	at, err := url.Parse(target)
	if err != nil || at.Host == "" {
		return nil, fmt.Errorf("target %q is not the URL of a metrics page, as http://127.0.0.1:9742/metrics is", target)
	}
	rules := []string{}
	for _, file := range ruleFiles {
		path, err := filepath.Abs(file)
		if err != nil {
			return nil, err
		}
		rules = append(rules, path)
	}
	return json.Marshal(map[string]any{
		"global":     map[string]any{"scrape_interval": "1s", "scrape_timeout": "1s", "evaluation_interval": "1s"},
		"rule_files": rules,
		"scrape_configs": []any{map[string]any{
			"job_name":       "ringup",
			"scheme":         at.Scheme,
			"metrics_path":   at.Path,
			"static_configs": []any{map[string]any{"targets": []string{at.Host}}},
		}},
	})
}

// WaitScraped returns once the target has been scraped n times with success.
func (p *Prometheus) WaitScraped(t testing.TB, n int) {
	t.Helper()
	p.until(t, nil, fmt.Sprintf("%d scrapes", n), func() error {
		samples, err := p.Ask(`sum_over_time(up{job="ringup"}[1h])`)
		if err != nil {
			return err
		}
		if len(samples) == 0 || samples[0].Value < float64(n) {
			return fmt.Errorf("scraped so far: %v", samples)
		}
		return nil
	})
}

// Query returns the samples of an instant query; a query that Prometheus refuses fails the test.
func (p *Prometheus) Query(t testing.TB, expr string) []Sample {
	t.Helper()
	samples, err := p.Ask(expr)
	if err != nil {
		t.Fatal(err)
	}
	return samples
}

// until repeats try until it returns no error; what says in the test's failure what was waited for.
func (p *Prometheus) until(t testing.TB, exited <-chan struct{}, what string, try func() error) {
	t.Helper()
	ticker := time.NewTicker(poll)
	defer ticker.Stop()
	deadline := time.After(patience)
	for {
		err := try()
		if err == nil {
			return
		}
		select {
		case <-ticker.C:
		case <-exited:
			t.Fatalf("waited for: %s; prometheus ended", what)
		case <-deadline:
			t.Fatalf("waited %s for: %s; last: %v", patience, what, err)
		}
	}
}

// Sample is one series of an instant query's answer.
type Sample struct {
	Labels map[string]string
	Value  float64
}

// Ask is Query for callers that handle errors themselves.
func (p *Prometheus) Ask(expr string) ([]Sample, error) {
	body, err := get(p.URL + "/api/v1/query?" + url.Values{"query": {expr}}.Encode())
	if err != nil {
		return nil, fmt.Errorf("query %s: %w", expr, err)
	}
	var answer struct {
		Data struct {
			ResultType string
			Result     json.RawMessage
		}
	}
	if err := json.Unmarshal(body, &answer); err != nil {
		return nil, fmt.Errorf("query %s: answer %s: %w", expr, body, err)
	}
	if answer.Data.ResultType != "vector" {
		return nil, fmt.Errorf("query %s: answer is a %s, and only a vector is a panel's", expr, answer.Data.ResultType)
	}
	var vector []struct {
		Metric map[string]string
		Value  [2]any // time, then the value as text
	}
	if err := json.Unmarshal(answer.Data.Result, &vector); err != nil {
		return nil, fmt.Errorf("query %s: answer %s: %w", expr, body, err)
	}
	var samples []Sample
	for _, v := range vector {
		text, _ := v.Value[1].(string)
		value, err := strconv.ParseFloat(text, 64)
		if err != nil {
			return nil, fmt.Errorf("query %s: value %v: %w", expr, v.Value[1], err)
		}
		samples = append(samples, Sample{v.Metric, value})
	}
	return samples, nil
}

func get(address string) (body []byte, err error) {
	client := http.Client{Timeout: 10 * time.Second}
	response, err := client.Get(address)
	if err != nil {
		return nil, err
	}
	defer func() { err = errors.Join(err, response.Body.Close()) }()
	body, err = io.ReadAll(response.Body)
	if err == nil && response.StatusCode != http.StatusOK {
		err = fmt.Errorf("%s: %s", response.Status, body)
	}
	return body, err
}

func freeAddress(t testing.TB) string {
	t.Helper()
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	address := listener.Addr().String()
	if err := listener.Close(); err != nil {
		t.Fatal(err)
	}
	return address
}
