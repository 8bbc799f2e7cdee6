package live

import (
	"crypto/hmac"
	"crypto/sha256"
	"crypto/subtle"
	"encoding/hex"
	"errors"
	"net/http"
	"strings"
)

// sessionCookie lets the page command without holding the token: scripts cannot read it and no other site's page makes
// the browser send it.
const sessionCookie = "ringup_session"

// command lets a request through to a handler that changes something only if it may.
func (s *Server) command(next http.HandlerFunc) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		if !s.mayCommand(r) {
			w.Header().Set("WWW-Authenticate", `Bearer realm="ringup"`)
			writeError(w, http.StatusUnauthorized, errors.New(
				"this needs the token, which is in the file \"token\" beside the logbook: send it as \"Authorization: Bearer TOKEN\", or enter it on the page"))
			return
		}
		next(w, r)
	}
}

func (s *Server) mayCommand(r *http.Request) bool {
	if s.options.Token == "" {
		return false
	}
	if scheme, token, found := strings.Cut(r.Header.Get("Authorization"), " "); found && strings.EqualFold(scheme, "Bearer") {
		return same(token, s.options.Token)
	}
	cookie, err := r.Cookie(sessionCookie)
	return err == nil && same(cookie.Value, s.sessionKey())
}

// sessionKey follows from the token, so sessions outlive a restart and end when the token is changed, and the token
// itself never lies in a browser's files.
func (s *Server) sessionKey() string {
	mac := hmac.New(sha256.New, []byte(s.options.Token))
	mac.Write([]byte("ringup page session"))
	return hex.EncodeToString(mac.Sum(nil))
}

// same compares in a time that tells nothing of where or whether the lengths differ.
func same(a, b string) bool {
	x, y := sha256.Sum256([]byte(a)), sha256.Sum256([]byte(b))
	return subtle.ConstantTimeCompare(x[:], y[:]) == 1
}

func (s *Server) startSession(w http.ResponseWriter, r *http.Request) {
	http.SetCookie(w, &http.Cookie{
		Name: sessionCookie, Value: s.sessionKey(), Path: "/",
		HttpOnly: true, SameSite: http.SameSiteStrictMode, Secure: r.TLS != nil,
		MaxAge: 7 * 24 * 60 * 60, // a week of nights
	})
}

// getSession tells the page whether its commands would be taken, so that it can say so beforehand.
func (s *Server) getSession(w http.ResponseWriter, r *http.Request) {
	writeJSON(w, http.StatusOK, map[string]bool{"commands": s.options.Controller != nil, "allowed": s.mayCommand(r)})
}

// postSession buys the session cookie with the token.
func (s *Server) postSession(w http.ResponseWriter, r *http.Request) {
	s.startSession(w, r)
	w.WriteHeader(http.StatusNoContent)
}
