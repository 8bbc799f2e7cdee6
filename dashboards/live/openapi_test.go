package live

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"net/http"
	"net/http/httptest"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/getkin/kin-openapi/openapi3"
	"github.com/getkin/kin-openapi/openapi3filter"
	"github.com/getkin/kin-openapi/routers"

	"ringup/dashboards/metrics"
	"ringup/drivers"
	"ringup/runner"
)

// contract is the document that the server hands out, read by somebody else's implementation of OpenAPI.
type contract struct {
	t        *testing.T
	document *openapi3.T
	seen     map[string]bool // "get /healthz 200"
}

func readContract(t *testing.T, s *Server) *contract {
	t.Helper()
	for _, kind := range []string{"text/html", "text/css", "text/javascript", "text/event-stream", "image/svg+xml", "application/jsonl", "application/vnd.apache.parquet", "application/openmetrics-text", "application/vnd.google.protobuf"} {
		openapi3filter.RegisterBodyDecoder(kind, openapi3filter.RegisteredBodyDecoder("text/plain"))
	}
	document, err := openapi3.NewLoader().LoadFromData(ask(s, "GET", "/api/v1/openapi.json", "").Body.Bytes())
	if err != nil {
		t.Fatal(err)
	}
	if err := document.Validate(t.Context()); err != nil {
		t.Fatal(err)
	}
	for _, schema := range document.Components.Schemas {
		closeObject(schema)
	}
	return &contract{t, document, map[string]bool{}}
}

// closeObject has an object refuse what the document does not describe. Clients must bear new properties; this test is
// there to have them written down.
func closeObject(s *openapi3.SchemaRef) {
	if s == nil || s.Value == nil {
		return
	}
	if v := s.Value; v.Type.Is("object") && len(v.Properties) > 0 {
		v.AdditionalProperties = openapi3.AdditionalProperties{Has: new(false)}
	}
	for _, p := range s.Value.Properties {
		closeObject(p)
	}
	for _, p := range s.Value.AnyOf {
		closeObject(p)
	}
	closeObject(s.Value.Items)
}

// operation finds what the document says of a request.
func (c *contract) operation(r *http.Request) *routers.Route {
	c.t.Helper()
	path := c.document.Paths.Find(r.URL.Path)
	template := r.URL.Path
	if path == nil {
		for _, known := range c.document.Paths.InMatchingOrder() {
			if fits(known, r.URL.Path) {
				template, path = known, c.document.Paths.Value(known)
			}
		}
	}
	if path == nil || path.GetOperation(r.Method) == nil {
		c.t.Fatalf("the document has no %s %s", r.Method, r.URL.Path)
	}
	return &routers.Route{Spec: c.document, Path: template, PathItem: path, Method: r.Method, Operation: path.GetOperation(r.Method)}
}

func fits(template, path string) bool {
	want, got := strings.Split(template, "/"), strings.Split(path, "/")
	return slices.EqualFunc(want, got, func(a, b string) bool { return a == b || strings.HasPrefix(a, "{") && b != "" })
}

// check sends a request and holds the answer, and what the document says of the request, against the document.
func (c *contract) check(s http.Handler, method, path, body string, headers ...string) *httptest.ResponseRecorder {
	c.t.Helper()
	w := ask(s, method, path, body, headers...)
	r := httptest.NewRequest(method, path, strings.NewReader(body))
	r.Header.Set("Content-Type", "application/json")
	route := c.operation(r)
	input := &openapi3filter.RequestValidationInput{Request: r, Route: route, PathParams: parameters(route.Path, r.URL.Path),
		Options: &openapi3filter.Options{AuthenticationFunc: openapi3filter.NoopAuthenticationFunc}}
	if err := openapi3filter.ValidateRequest(c.t.Context(), input); (err != nil) && w.Code < 300 {
		c.t.Errorf("%s %s is taken, and the document refuses it: %v", method, path, err)
	}
	err := openapi3filter.ValidateResponse(c.t.Context(), &openapi3filter.ResponseValidationInput{
		RequestValidationInput: input, Status: w.Code, Header: w.Header(), Body: io.NopCloser(bytes.NewReader(w.Body.Bytes())),
		Options: &openapi3filter.Options{IncludeResponseStatus: true},
	})
	if err != nil {
		c.t.Errorf("%s %s answers %d: %v\n%.400s", method, path, w.Code, err, w.Body)
	}
	code := strconv.Itoa(w.Code)
	if route.Operation.Responses.Value(code) == nil {
		if w.Code != http.StatusMisdirectedRequest && w.Code != http.StatusInternalServerError {
			c.t.Errorf("%s %s answers %d, which the document does not describe: %s", method, path, w.Code, w.Body)
		}
		code = "default"
	}
	c.seen[strings.ToLower(method)+" "+route.Path+" "+code] = true
	return w
}

func parameters(template, path string) map[string]string {
	values := map[string]string{}
	got := strings.Split(path, "/")
	for i, part := range strings.Split(template, "/") {
		if name, found := strings.CutPrefix(part, "{"); found {
			values[strings.TrimSuffix(name, "}")] = got[i]
		}
	}
	return values
}

// TestEveryAnswerIsAsDescribed brings about every answer that the document describes. An answer that it does not
// describe fails, and so does a description that no answer was seen for.
func TestEveryAnswerIsAsDescribed(t *testing.T) {
	numbers := metrics.New("test")
	controller := &commands{said: map[string][]drivers.Message{"scope": {{At: night, Sent: true, Text: "*IDN?"}}}}
	report := func(w io.Writer, _ int64) error { _, err := io.WriteString(w, "<!doctype html>"); return err }
	b := newBench(t)
	s := b.serve(Options{Controller: controller, Token: token, Metrics: numbers, Report: report})
	c := readContract(t, s)
	shows := newBench(t).serve(Options{Token: token})

	// An empty logbook.
	for _, path := range []string{"/api/v1/status", "/api/v1/runs"} {
		c.check(s, "GET", path, "")
	}
	c.check(s, "GET", "/api/v1/runs/last", "")
	c.stream(s)

	// A run with everything in it: a failure, what was not measured, marks, a question, an instrument that fell silent.
	b.watch = runner.Observers{s, numbers}
	b.begin(60)
	for i := range 40 {
		b.cycle(2.4, i%4 == 3)
	}
	b.mark("C7 chilled", "treatment")
	b.watch.Observe(runner.Event{Kind: runner.Exchanged, At: b.at(), Run: b.run, Exchange: drivers.Exchange{Role: "scope", Kind: "timeout", Err: errors.New("no reply")}})
	b.watch.Observe(runner.Event{Kind: runner.Ambient, At: b.at(), Run: b.run, Celsius: math.NaN()})
	b.ask("Is the lamp lit?")
	c.check(s, "GET", "/api/v1/status", "")
	c.stream(s)
	c.check(s, "GET", "/metrics", "", "Accept: application/openmetrics-text")
	c.check(s, "GET", "/metrics", "", "Accept: application/vnd.google.protobuf; proto=io.prometheus.client.MetricFamily; encoding=delimited")
	b.end()
	for _, path := range []string{
		"/", "/page.css", "/page.js", "/debug", "/healthz", "/readyz", "/metrics", "/api/v1/openapi.json", "/api/v1/status", "/api/v1/session", "/api/v1/runs",
		"/api/v1/runs/1", "/api/v1/runs/last", "/api/v1/runs/1/cycles", "/api/v1/runs/1/cycles?after=3&limit=5", "/api/v1/runs/1/marks", "/api/v1/runs/1/report",
		"/api/v1/runs/1/export?format=csv", "/api/v1/runs/1/export?format=jsonl", "/api/v1/runs/1/export?format=parquet",
		"/api/v1/runs/1/chart/rate.svg", "/api/v1/runs/1/chart/night.svg?width=400", "/api/v1/runs/1/chart/verdicts.svg", "/api/v1/runs/1/chart/waves.svg",
	} {
		if w := c.check(s, "GET", path, ""); w.Code != http.StatusOK {
			t.Errorf("GET %s: status %d: %.200s", path, w.Code, w.Body)
		}
		c.check(s, "GET", path, "", "Host: evil.example")
	}
	controller.why = "the scope does not answer"
	c.check(s, "GET", "/readyz", "")
	for _, path := range []string{"", "/cycles", "/marks", "/report", "/export?format=csv", "/chart/rate.svg"} {
		c.check(s, "GET", "/api/v1/runs/99"+path, "")
		c.check(s, "GET", "/api/v1/runs/x"+path, "")
	}
	c.check(shows, "GET", "/api/v1/runs/1/report", "")

	for path, body := range map[string]string{
		"/api/v1/session": `{}`, "/api/v1/stop": `{}`, "/api/v1/resume": `{}`, "/api/v1/hold": `{"reason":"hands on the board"}`,
		"/api/v1/mark": `{"text":"C7 chilled","treatment":true}`, "/api/v1/answer": `{"text":"yes"}`, "/api/v1/runs": `{"name":"soak.lua","script":"soak {}"}`,
	} {
		controller.fail = nil
		if w := c.check(s, "POST", path, body, bearer); w.Code >= 300 {
			t.Errorf("POST %s: status %d: %s", path, w.Code, w.Body)
		}
		c.check(s, "POST", path, body)
		c.check(s, "POST", path, body, bearer, "Origin: https://evil.example")
		c.check(s, "POST", path, body, bearer, "Host: evil.example")
		c.check(s, "POST", path, "[", bearer)
		c.check(shows, "POST", path, body, bearer)
		for _, controller.fail = range []error{ErrBusy, errors.New("the disk is full")} {
			c.check(s, "POST", path, body, bearer)
		}
	}
	controller.fail = fmt.Errorf("soak.lua:3: %w", ErrBadScript)
	c.check(s, "POST", "/api/v1/runs", `{"name":"soak.lua","script":"soak {"}`, bearer)
	for range mostClients {
		if _, err := s.join(); err != nil {
			t.Fatal(err)
		}
	}
	c.check(s, "GET", "/api/v1/events", "")
	c.check(s, "GET", "/api/v1/events", "", "Host: evil.example")

	for path, item := range c.document.Paths.Map() {
		for method, o := range item.Operations() {
			for code := range o.Responses.Map() {
				if what := strings.ToLower(method) + " " + path + " " + code; !c.seen[what] {
					t.Errorf("the document describes an answer that was not seen: %s", what)
				}
			}
		}
	}
}

// stream reads the first burst of the event stream and holds each event against its schema.
func (c *contract) stream(s *Server) {
	c.t.Helper()
	ctx, cancel := context.WithCancel(c.t.Context())
	r := httptest.NewRequest("GET", "/api/v1/events", nil).WithContext(ctx)
	r.Host = "127.0.0.1:9742"
	w := &flushed{ResponseRecorder: httptest.NewRecorder(), then: cancel}
	s.ServeHTTP(w, r)
	c.seen["get /api/v1/events 200"] = c.seen["get /api/v1/events 200"] || w.Code == 200 && w.Header().Get("Content-Type") == "text/event-stream"
	event := ""
	for line := range strings.Lines(w.Body.String()) {
		if name, found := strings.CutPrefix(line, "event: "); found {
			event = strings.TrimSpace(name)
		}
		data, found := strings.CutPrefix(line, "data: ")
		if !found {
			continue
		}
		var v any
		if err := json.Unmarshal([]byte(data), &v); err != nil {
			c.t.Fatal(err)
		}
		schema := c.document.Components.Schemas[strings.ToUpper(event[:1])+event[1:]]
		if schema == nil {
			c.t.Fatalf("the document has no schema for the event %q", event)
		}
		if err := schema.Value.VisitJSON(v, openapi3.EnableJSONSchema2020()); err != nil {
			c.t.Errorf("event %q: %v", event, err)
		}
	}
	if event == "" {
		c.t.Errorf("no event came:\n%s", w.Body)
	}
}

// flushed ends the request once the first burst is out.
type flushed struct {
	*httptest.ResponseRecorder
	then func()
}

func (f *flushed) Flush() {
	f.ResponseRecorder.Flush()
	f.then()
}
