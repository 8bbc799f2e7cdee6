package live

import (
	"embed"
	"net/http"
)

//go:embed page/page.html page/page.css page/page.js page/debug.html page/openapi.json
var files embed.FS

// asset serves one embedded file. It is checked for each time, so that a page left open over an update does not mix the
// files of two versions for long.
func asset(name, kind string) http.HandlerFunc {
	text, err := files.ReadFile("page/" + name)
	return func(w http.ResponseWriter, _ *http.Request) {
		if err != nil {
			writeError(w, http.StatusInternalServerError, err)
			return
		}
		w.Header().Set("Content-Type", kind)
		w.Header().Set("Cache-Control", "no-cache")
		_, _ = w.Write(text)
	}
}

var openAPI = asset("openapi.json", "application/json")

var pageFile = asset("page.html", "text/html; charset=utf-8")

// page serves the page, and with it a session if this machine's own user is looking.
func (s *Server) page(w http.ResponseWriter, r *http.Request) {
	if s.options.LoopbackCommands && s.options.Token != "" && fromThisMachine(r) && r.Header.Get("Sec-Fetch-Site") != "cross-site" {
		s.startSession(w, r)
	}
	pageFile(w, r)
}
