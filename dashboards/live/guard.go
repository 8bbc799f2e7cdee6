package live

import (
	"errors"
	"fmt"
	"net"
	"net/http"
	"net/netip"
	"strings"
)

// guard stands before every route. It refuses requests that a foreign page sent, and tells browsers to let the page load
// nothing but our own.
func (s *Server) guard(next http.Handler) http.Handler {
	origins := http.NewCrossOriginProtection() // Sec-Fetch-Site, else Origin against Host, for all but GET and HEAD
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		h := w.Header()
		h.Set("X-Content-Type-Options", "nosniff")
		h.Set("Referrer-Policy", "no-referrer")
		h.Set("Cross-Origin-Resource-Policy", "same-origin")
		h.Set("Content-Security-Policy", contentPolicy)
		if !s.knownHost(r.Host) {
			writeError(w, http.StatusMisdirectedRequest, fmt.Errorf(
				"host %q is not a name of this server; use an IP address or localhost, or allow the name with --host where the server is started", r.Host))
			return
		}
		if err := origins.Check(r); err != nil {
			writeError(w, http.StatusForbidden, errors.New("another site's page sent this request; commands are taken from ringup's own page only"))
			return
		}
		next.ServeHTTP(w, r)
	})
}

// contentPolicy allows our own files and nothing else.
const contentPolicy = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; " +
	"connect-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"

// knownHost guards against DNS rebinding, where a foreign page's own name comes to point at this machine: such a request
// carries that name. A plain address carries none, so it is safe.
func (s *Server) knownHost(host string) bool {
	name := canonicalHost(host)
	if _, err := netip.ParseAddr(name); err == nil {
		return true
	}
	_, parent, _ := strings.Cut(name, ".")
	return s.hosts[name] || s.hosts["*."+parent]
}

// canonicalHost is a Host header's name without port, brackets, case and final dot.
func canonicalHost(host string) string {
	if name, _, err := net.SplitHostPort(host); err == nil {
		host = name
	}
	host = strings.TrimSuffix(strings.TrimPrefix(host, "["), "]")
	return strings.ToLower(strings.TrimSuffix(host, "."))
}

// fromThisMachine says whether the request came over loopback and not through a proxy on it.
func fromThisMachine(r *http.Request) bool {
	if r.Header.Get("Forwarded") != "" || r.Header.Get("X-Forwarded-For") != "" || r.Header.Get("Via") != "" {
		return false
	}
	from, err := netip.ParseAddrPort(r.RemoteAddr)
	return err == nil && from.Addr().Unmap().IsLoopback()
}
