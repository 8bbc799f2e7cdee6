// Package live serves what a person looks at while a run goes on: one page, the HTTP API behind it, an event stream,
// and the pages of Prometheus and of health checks.
//
// Reading is free to whoever reaches the port, which is the machine itself unless its owner opened it further.
// Everything that changes a run wants the token, by header or by the session cookie that the token buys, and is refused
// if another site's page sends it. The server only observes: it never waits for a client while a cycle is measured, and
// a slow client loses old events, never the run its time.
package live

import (
	"io"
	"net/http"
	"sync"
	"time"

	"ringup/runner"
	"ringup/runner/logbook"
)

// Options are what a Server shows and whom it obeys.
type Options struct {
	Book    *logbook.Book
	Metrics http.Handler // answers /metrics
	Version string
	// Report writes the printable report of a run as one HTML page; nil if there is none to give.
	Report func(w io.Writer, run int64) error

	// Limits are what a run's bench file allows, for the charts; nil or zeros if nobody can say.
	Limits func(logbook.Run) Limits

	// Controller carries commands out; nil if this process takes none.
	Controller Controller
	// Token is what a command must bring. While it is empty every command is refused.
	Token string
	// Hosts are the names under which the server may be reached, beside "localhost" and plain IP addresses. "*.example"
	// stands for every name one label longer, as in certificates.
	Hosts []string
	// LoopbackCommands gives a page that is loaded from this very machine its session without the token. It is for a
	// machine with a single user: every local process can load the page.
	LoopbackCommands bool
}

// Limits are what a run's bench file says of a good start.
type Limits struct {
	StartWithinSeconds float64 // by when the clock must have started
	RailFraction       float64 // of the set volts; the start is timed from the rail crossing it
}

// Server is the handler of the whole port and a runner.Observer. It is safe for concurrent use.
type Server struct {
	options Options
	handler http.Handler
	hosts   map[string]bool

	mu      sync.Mutex // guards what follows
	status  Status
	clients map[*client]bool
	lastID  uint64 // of the event stream

	done  chan struct{} // closed by Close
	close sync.Once
}

var (
	_ runner.Observer = (*Server)(nil)
	_ http.Handler    = (*Server)(nil)
)

// New returns a Server that shows the logbook's last run until a new one begins.
func New(o Options) (*Server, error) {
	s := &Server{options: o, hosts: map[string]bool{"localhost": true}, clients: map[*client]bool{}, done: make(chan struct{})}
	for _, host := range o.Hosts {
		s.hosts[canonicalHost(host)] = true
	}
	if err := s.showLastRun(); err != nil {
		return nil, err
	}
	mux := http.NewServeMux()
	for _, r := range s.routes() {
		mux.Handle(r.method+" "+r.path, r.handler)
	}
	s.handler = s.guard(mux)
	return s, nil
}

// ServeHTTP answers a request.
func (s *Server) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	s.handler.ServeHTTP(w, r)
}

// Close ends all event streams. Call it before http.Server.Shutdown, which otherwise waits for them until its context
// ends; http.Server.RegisterOnShutdown does.
func (s *Server) Close() {
	s.close.Do(func() { close(s.done) })
}

// streamHeartbeat keeps proxies and browsers from taking a quiet stream for a dead one; streamPause is the least time
// between two bursts to one client; writeLimit is how long a client may take to accept one.
const (
	streamHeartbeat = 15 * time.Second
	streamPause     = 200 * time.Millisecond
	writeLimit      = 10 * time.Second
)
