package live

import (
	"errors"
	"fmt"
	"net/http"
	"slices"
	"strings"
	"testing"
)

const bearer = "Authorization: Bearer " + token

func TestHosts(t *testing.T) {
	s := newBench(t).serve(Options{Hosts: []string{"Bench-Pi.example", "*.lab.example"}})
	for host, want := range map[string]int{
		"127.0.0.1:9742":          200,
		"[::1]:9742":              200,
		"192.0.2.17:9742":         200, // an address cannot be rebound
		"localhost:9742":          200,
		"LOCALHOST.":              200,
		"bench-pi.example":        200,
		"pi.lab.example:9742":     200,
		"lab.example":             421,
		"a.pi.lab.example":        421,
		"evil.example:9742":       421, // a foreign name that was made to point here
		"localhost.evil.example":  421,
		"127.0.0.1.evil.example":  421,
		"bench-pi.example.evil:1": 421,
		"":                        421,
	} {
		if got := ask(s, "GET", "/api/v1/status", "", "Host: "+host).Code; got != want {
			t.Errorf("Host %q: status %d, want %d", host, got, want)
		}
	}
}

func TestWhoMayCommand(t *testing.T) {
	s := newBench(t).serve(Options{Controller: &commands{}, Token: token})
	cookie := "Cookie: " + sessionCookie + "=" + s.sessionKey()
	for _, c := range []struct {
		who     string
		headers []string
		want    int
	}{
		{"nobody in particular", nil, 401},
		{"the token", []string{bearer}, 204},
		{"a wrong token", []string{"Authorization: Bearer correct horsf"}, 401},
		{"an empty token", []string{"Authorization: Bearer "}, 401},
		{"the token as a password", []string{"Authorization: Basic " + token}, 401},
		{"the page", []string{cookie, "Sec-Fetch-Site: same-origin", "Origin: http://127.0.0.1:9742"}, 204},
		{"the page in an old browser", []string{cookie, "Origin: http://127.0.0.1:9742"}, 204},
		{"a made-up session", []string{"Cookie: " + sessionCookie + "=" + strings.Repeat("0", 64)}, 401},
		{"the token itself as a session", []string{"Cookie: " + sessionCookie + "=" + token}, 401},
		{"another site", []string{cookie, "Sec-Fetch-Site: cross-site", "Origin: https://evil.example"}, 403},
		{"another port of this machine", []string{cookie, "Sec-Fetch-Site: same-site", "Origin: http://127.0.0.1:8000"}, 403},
		{"another site in an old browser", []string{cookie, "Origin: https://evil.example"}, 403},
		{"another site that knows the token", []string{bearer, "Origin: https://evil.example"}, 403},
		{"a rebound name", []string{cookie, "Host: evil.example", "Origin: http://evil.example", "Sec-Fetch-Site: same-origin"}, 421},
	} {
		if got := ask(s, "POST", "/api/v1/stop", "", c.headers...); got.Code != c.want {
			t.Errorf("%s: status %d, want %d: %s", c.who, got.Code, c.want, got.Body)
		}
	}
}

func TestWithoutATokenNobodyCommands(t *testing.T) {
	s := newBench(t).serve(Options{Controller: &commands{}, LoopbackCommands: true})
	if ask(s, "GET", "/", "").Header().Get("Set-Cookie") != "" {
		t.Error("the page hands out a session although there is no token")
	}
	for _, h := range []string{"Authorization: Bearer ", "Cookie: " + sessionCookie + "=" + s.sessionKey()} {
		if got := ask(s, "POST", "/api/v1/stop", "", h).Code; got != 401 {
			t.Errorf("%s: status %d, want 401", h, got)
		}
	}
}

func TestTokenBuysASession(t *testing.T) {
	s := newBench(t).serve(Options{Controller: &commands{}, Token: token})
	if got := ask(s, "POST", "/api/v1/session", "{}").Code; got != 401 {
		t.Errorf("without the token: status %d, want 401", got)
	}
	w := ask(s, "POST", "/api/v1/session", "{}", bearer)
	cookies := w.Result().Cookies()
	if w.Code != 204 || len(cookies) != 1 {
		t.Fatalf("status %d with %d cookies, want 204 with one", w.Code, len(cookies))
	}
	c := cookies[0]
	if !c.HttpOnly || c.SameSite != http.SameSiteStrictMode || c.Path != "/" || strings.Contains(c.Value, token) {
		t.Errorf("cookie %v: want HttpOnly, SameSite=Strict, Path=/, and not the token itself", c)
	}
	for header, want := range map[string]string{
		"Cookie: " + c.Name + "=" + c.Value: `{"allowed":true,"commands":true}`,
		"Accept: */*":                       `{"allowed":false,"commands":true}`,
	} {
		if got := strings.TrimSpace(ask(s, "GET", "/api/v1/session", "", header).Body.String()); got != want {
			t.Errorf("session with %s: %s, want %s", header, got, want)
		}
	}
}

func TestSessionFromThisMachine(t *testing.T) {
	open := newBench(t).serve(Options{Controller: &commands{}, Token: token, LoopbackCommands: true})
	shut := newBench(t).serve(Options{Controller: &commands{}, Token: token})
	for _, c := range []struct {
		what    string
		server  *Server
		headers []string
		want    bool
	}{
		{"loopback, allowed", open, nil, true},
		{"loopback, not allowed", shut, nil, false},
		{"loopback, but a proxy forwards", open, []string{"X-Forwarded-For: 192.0.2.9"}, false},
		{"loopback, linked from another site", open, []string{"Sec-Fetch-Site: cross-site"}, false},
	} {
		if got := ask(c.server, "GET", "/", "", c.headers...).Header().Get("Set-Cookie") != ""; got != c.want {
			t.Errorf("%s: session given %t, want %t", c.what, got, c.want)
		}
	}
	r := ask(open, "GET", "/", "")
	if policy := r.Header().Get("Content-Security-Policy"); !strings.Contains(policy, "default-src 'none'") || strings.Contains(policy, "unsafe") {
		t.Errorf("page's policy is %q", policy)
	}
}

func TestCommandsReachTheController(t *testing.T) {
	c := &commands{}
	s := newBench(t).serve(Options{Controller: c, Token: token})
	for _, request := range []struct {
		path, body string
		want       int
	}{
		{"/api/v1/runs", `{"name":"soak.lua","script":"soak {}"}`, 202},
		{"/api/v1/mark", `{"text":" C7 chilled ","treatment":true}`, 204},
		{"/api/v1/answer", `{"text":"fitted"}`, 204},
		{"/api/v1/hold", `{"reason":" hands on the board "}`, 204},
		{"/api/v1/resume", `{}`, 204},
		{"/api/v1/stop", ``, 204},
		{"/api/v1/hold", `{"why":"hands on the board"}`, 400},
		{"/api/v1/mark", `{"text":"  "}`, 400},
		{"/api/v1/mark", `{"txt":"C7 chilled"}`, 400},
		{"/api/v1/mark", `{"text":"a"}{"text":"b"}`, 400},
		{"/api/v1/mark", ``, 400},
		{"/api/v1/runs", `{"name":"soak.lua","script":""}`, 400},
		{"/api/v1/runs", `{"name":"soak.lua","script":"` + strings.Repeat("x", largestBody) + `"}`, 400},
	} {
		if w := ask(s, "POST", request.path, request.body, bearer); w.Code != request.want {
			t.Errorf("%s %.40s: status %d, want %d: %s", request.path, request.body, w.Code, request.want, w.Body)
		}
	}
	want := []string{"submit soak.lua: soak {}", "mark C7 chilled true", "answer fitted", "hold hands on the board", "resume", "stop"}
	if !slices.Equal(c.told, want) {
		t.Errorf("the controller was told %q, want %q", c.told, want)
	}
}

func TestRefusedCommandsSayWhy(t *testing.T) {
	c := &commands{}
	s := newBench(t).serve(Options{Controller: c, Token: token})
	for err, want := range map[error]int{
		ErrBusy: 409, ErrNoRun: 409, ErrNotAsked: 409, ErrNotNow: 409, errors.New("disk full"): 500,
		fmt.Errorf("soak.lua:3: %w", ErrBadScript): 422,
	} {
		c.fail = err
		w := ask(s, "POST", "/api/v1/runs", `{"name":"soak.lua","script":"soak {"}`, bearer)
		if w.Code != want || !strings.Contains(w.Body.String(), err.Error()) {
			t.Errorf("%v: status %d, body %s; want %d and the reason", err, w.Code, w.Body, want)
		}
	}
	shown := newBench(t).serve(Options{Token: token})
	for _, path := range []string{"/api/v1/stop", "/api/v1/hold", "/api/v1/resume", "/api/v1/mark", "/api/v1/answer", "/api/v1/runs"} {
		if got := ask(shown, "POST", path, "{}", bearer).Code; got != 501 {
			t.Errorf("%s without a controller: status %d, want 501", path, got)
		}
	}
}

func TestHealth(t *testing.T) {
	c := &commands{}
	s := newBench(t).serve(Options{Controller: c})
	for _, want := range []struct {
		why, path string
		code      int
		text      string
	}{
		{"", "/healthz", 200, "ok\n"},
		{"", "/readyz", 200, "ok\n"},
		{"the scope does not answer", "/healthz", 200, "ok\n"}, // restarting the process would not help the scope
		{"the scope does not answer", "/readyz", 503, "not ready: the scope does not answer\n"},
	} {
		c.why = want.why
		if w := ask(s, "GET", want.path, ""); w.Code != want.code || w.Body.String() != want.text {
			t.Errorf("%s with %q: status %d %q, want %d %q", want.path, want.why, w.Code, w.Body, want.code, want.text)
		}
	}
}
