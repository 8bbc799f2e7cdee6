// Package prometheus holds no code: it is the home of the scrape configuration (prometheus.yml), the recording rules
// (rules.yml), the alerts (alerts.yml) and the promtool tests of both (rules_test.yml). Its Go tests run those, and ask
// a real Prometheus every query of rules and board.
package prometheus
