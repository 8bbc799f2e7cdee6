package main

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"log"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"time"

	"ringup/dashboards/live"
	"ringup/dashboards/metrics"
	"ringup/dashboards/report"
	"ringup/drivers"
	"ringup/runner"
	"ringup/runner/bench"
	"ringup/runner/logbook"
)

// desk is where people and Prometheus meet the run: page, API and metrics on one port. It passes events to
// both, and commands to the session that is on.
type desk struct {
	book    *logbook.Book
	metrics *metrics.Metrics
	page    *live.Server // nil until listen

	// submit takes a script to be run; nil where the only run is the one in the foreground.
	submit func(name, script string) (int64, error)

	mu      sync.Mutex
	session *runner.Session
	last    *runner.Session // whose instruments' messages are still of interest
}

func newDesk(book *logbook.Book) *desk {
	return &desk{book: book, metrics: metrics.New(version())}
}

// Observe implements runner.Observer.
func (d *desk) Observe(e runner.Event) {
	d.metrics.Observe(e)
	if d.page != nil {
		d.page.Observe(e)
	}
}

// attach says which session commands go to; nil for none.
func (d *desk) attach(s *runner.Session) {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.session = s
	if s != nil {
		d.last = s
	}
}

func (d *desk) current() (*runner.Session, error) {
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.session == nil {
		return nil, live.ErrNoRun
	}
	return d.session, nil
}

// Submit implements live.Controller.
func (d *desk) Submit(_ context.Context, name, script string) (int64, error) {
	if d.submit == nil {
		return 0, fmt.Errorf("%w: it was begun in the foreground and takes no other", live.ErrBusy)
	}
	return d.submit(name, script)
}

// Stop implements live.Controller.
func (d *desk) Stop(context.Context) error {
	s, err := d.current()
	if err == nil {
		s.Stop()
	}
	return err
}

// Hold implements live.Controller.
func (d *desk) Hold(_ context.Context, why string) error {
	s, err := d.current()
	if err != nil {
		return err
	}
	return heldError(s.Hold(why))
}

// Resume implements live.Controller.
func (d *desk) Resume(context.Context) error {
	s, err := d.current()
	if err != nil {
		return err
	}
	return heldError(s.Resume())
}

// heldError sorts what a session refuses for the API.
func heldError(err error) error {
	if errors.Is(err, runner.ErrHeld) || errors.Is(err, runner.ErrNotHeld) {
		return fmt.Errorf("%w: %w", live.ErrNotNow, err)
	}
	return err
}

// Messages implements live.Controller.
func (d *desk) Messages() map[string][]drivers.Message {
	d.mu.Lock()
	s := d.last
	d.mu.Unlock()
	if s == nil {
		return nil
	}
	return s.Messages()
}

// Mark implements live.Controller.
func (d *desk) Mark(_ context.Context, text string, treatment bool) error {
	s, err := d.current()
	if err != nil {
		return err
	}
	return s.Mark(text, treatment)
}

// Answer implements live.Controller.
func (d *desk) Answer(_ context.Context, text string) error {
	s, err := d.current()
	if err != nil {
		return err
	}
	if err := s.Answer(text); err != nil {
		return fmt.Errorf("%w: %w", live.ErrNotAsked, err)
	}
	return nil
}

// Ready implements live.Controller.
func (d *desk) Ready() (bool, string) {
	if _, err := d.current(); err != nil && d.submit == nil {
		return false, err.Error()
	}
	return true, ""
}

// listen serves page, API and metrics until stop is called, and returns the page's address, which is empty if nothing is
// to be served. logbookPath says where the token lies.
func (d *desk) listen(l listening, logbookPath string, errOut io.Writer) (page string, stop func(), err error) {
	if err := l.check(); err != nil {
		return "", nil, err
	}
	if l.none() {
		return "", func() {}, nil
	}
	token, err := makeToken(tokenPath(logbookPath))
	if err != nil {
		return "", nil, err
	}
	var certificate *certificate
	if l.tls() {
		if certificate, err = readCertificate(l.certificate, l.key, errOut); err != nil {
			return "", nil, err
		}
	}
	d.page, err = live.New(live.Options{
		Report: func(w io.Writer, run int64) error { return printable(w, d.book, run, report.Options{}) },
		Book:   d.book, Metrics: d.metrics, Version: version(), Controller: d, Token: token,
		Limits: limits, Hosts: l.allNames(certificate.names()),
	})
	if err != nil {
		return "", nil, err
	}
	listener, err := l.open()
	if err != nil {
		return "", nil, err
	}
	page = l.url(listener, certificate.names())
	fmt.Fprintf(errOut, "page %s/#token=%s (without the token it only shows), metrics %s/metrics\n", page, token, page)
	if l.beyond() && !l.tls() {
		fmt.Fprintf(errOut, "ringup: this is plain HTTP on a network: whoever is on the way can read the token and command the bench\n")
	}
	server := &http.Server{
		Handler: d.page, ReadHeaderTimeout: 10 * time.Second, IdleTimeout: 2 * time.Minute,
		ErrorLog: log.New(errOut, "ringup: page and metrics: ", 0),
	}
	server.RegisterOnShutdown(d.page.Close)
	served := make(chan error, 1)
	go func() {
		if certificate != nil {
			server.TLSConfig = certificate.config()
			served <- server.ServeTLS(listener, "", "")
			return
		}
		served <- server.Serve(listener)
	}()
	return page, func() {
		ctx, cancel := context.WithTimeout(context.Background(), 5*time.Second)
		defer cancel()
		if err := server.Shutdown(ctx); err != nil {
			server.Close()
		}
		if err := <-served; !errors.Is(err, http.ErrServerClosed) {
			fmt.Fprintln(errOut, "ringup: page and metrics:", err)
		}
	}, nil
}

// limits reads what a run's bench file allowed. An older one may no longer parse, and then nobody can say.
func limits(r logbook.Run) live.Limits {
	b, err := bench.Parse(r.Bench, []byte(r.BenchText))
	if err != nil {
		return live.Limits{}
	}
	return live.Limits{StartWithinSeconds: b.Expect.StartWithinSeconds, RailFraction: b.Expect.RailFraction}
}

// makeToken reads the token of commands, or makes it at the first start; only its owner can read the file.
func makeToken(path string) (string, error) {
	text, err := os.ReadFile(path)
	if token := strings.TrimSpace(string(text)); err == nil && token == "" {
		return "", fmt.Errorf("the token file %s is empty, so no command could be taken; delete it, and a new one is made", path)
	} else if err == nil {
		return token, nil
	}
	if !errors.Is(err, fs.ErrNotExist) {
		return "", err
	}
	if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
		return "", err
	}
	token := rand.Text()
	f, err := os.OpenFile(path, os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o600)
	if err != nil {
		return "", err
	}
	if _, err = fmt.Fprintln(f, token); err == nil {
		err = f.Sync()
	}
	return token, errors.Join(err, f.Close())
}
