package live

import "net/http"

// route is one method and path, in the pattern language of http.ServeMux.
type route struct {
	method, path string
	handler      http.Handler
}

// routes is everything the server answers. The OpenAPI document describes each of them, which a test holds.
func (s *Server) routes() []route {
	get := func(path string, h http.HandlerFunc) route { return route{http.MethodGet, path, h} }
	post := func(path string, h http.HandlerFunc) route { return route{http.MethodPost, path, s.command(h)} }
	return []route{
		get("/{$}", s.page),
		get("/page.css", asset("page.css", "text/css; charset=utf-8")),
		get("/page.js", asset("page.js", "text/javascript; charset=utf-8")),
		get("/debug", s.debug),
		get("/healthz", s.healthy),
		get("/readyz", s.ready),
		{http.MethodGet, "/metrics", s.metrics()},

		get("/api/v1/openapi.json", openAPI),
		get("/api/v1/status", s.getStatus),
		get("/api/v1/events", s.getEvents),
		get("/api/v1/runs", s.getRuns),
		get("/api/v1/runs/{id}", s.getRun),
		get("/api/v1/runs/{id}/cycles", s.getCycles),
		get("/api/v1/runs/{id}/marks", s.getMarks),
		get("/api/v1/runs/{id}/report", s.getReport),
		get("/api/v1/runs/{id}/export", s.getExport),
		get("/api/v1/runs/{id}/chart/{chart}", s.getChart),

		get("/api/v1/session", s.getSession),
		post("/api/v1/session", s.postSession),
		post("/api/v1/runs", s.postRun),
		post("/api/v1/stop", s.postStop),
		post("/api/v1/hold", s.postHold),
		post("/api/v1/resume", s.postResume),
		post("/api/v1/mark", s.postMark),
		post("/api/v1/answer", s.postAnswer),
	}
}

func (s *Server) metrics() http.Handler {
	if s.options.Metrics != nil {
		return s.options.Metrics
	}
	return http.NotFoundHandler()
}

// healthy says that the process answers, and no more.
func (s *Server) healthy(w http.ResponseWriter, _ *http.Request) {
	writeText(w, http.StatusOK, "ok")
}

// ready says whether the bench can take or go on with a run.
func (s *Server) ready(w http.ResponseWriter, _ *http.Request) {
	if s.options.Controller == nil {
		writeText(w, http.StatusOK, "ok")
		return
	}
	if ready, why := s.options.Controller.Ready(); !ready {
		writeText(w, http.StatusServiceUnavailable, "not ready: "+why)
		return
	}
	writeText(w, http.StatusOK, "ok")
}
