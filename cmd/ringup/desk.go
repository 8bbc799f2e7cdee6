package main

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"net"
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

// listen serves page, API and metrics until the returned function is called. With address "none" it serves
// nothing. logbookPath says where the token lies.
func (d *desk) listen(address, logbookPath string, errOut io.Writer) (stop func(), err error) {
	if address == "none" {
		return func() {}, nil
	}
	if err := loopbackOnly(address); err != nil {
		return nil, err
	}
	token, err := makeToken(tokenPath(logbookPath))
	if err != nil {
		return nil, err
	}
	d.page, err = live.New(live.Options{
		Report: func(w io.Writer, run int64) error { return printable(w, d.book, run, report.Options{}) },
		Book:   d.book, Metrics: d.metrics, Version: version(), Controller: d, Token: token,
	})
	if err != nil {
		return nil, err
	}
	listener, err := net.Listen("tcp", address)
	if err != nil {
		return nil, fmt.Errorf("page and metrics: %w; choose another with --listen, or none", err)
	}
	fmt.Fprintf(errOut, "page http://%s/#token=%s (without the token it only shows), metrics http://%s/metrics\n", address, token, address)
	server := &http.Server{Handler: d.page, ReadHeaderTimeout: 10 * time.Second}
	server.RegisterOnShutdown(d.page.Close)
	served := make(chan error, 1)
	go func() { served <- server.Serve(listener) }()
	return func() {
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

// loopbackOnly refuses to open the bench to a network: there is no TLS yet to keep the token secret there.
func loopbackOnly(address string) error {
	host, _, err := net.SplitHostPort(address)
	if err != nil {
		return usage{fmt.Errorf("--listen %s: %w; give host:port, like %s", address, err, defaultListen)}
	}
	if ip := net.ParseIP(host); host != "localhost" && (ip == nil || !ip.IsLoopback()) {
		return usage{fmt.Errorf("--listen %s is not a loopback address; allowed are 127.0.0.1, ::1 and localhost (from elsewhere, use a tunnel such as ssh -L)", address)}
	}
	return nil
}

// makeToken reads the token of commands, or makes it at the first start; only its owner can read the file.
func makeToken(path string) (string, error) {
	text, err := os.ReadFile(path)
	if err == nil {
		return strings.TrimSpace(string(text)), nil
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
