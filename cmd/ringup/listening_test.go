package main

import (
	"bytes"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	"math/big"
	"net"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// makeCertificate writes a self-signed certificate for localhost, 127.0.0.1 and the name, and its key.
func makeCertificate(t *testing.T, certFile, keyFile, name string, expires time.Time) {
	t.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	about := x509.Certificate{
		SerialNumber: big.NewInt(1), Subject: pkix.Name{CommonName: name}, DNSNames: []string{name, "localhost"}, IPAddresses: []net.IP{net.IPv4(127, 0, 0, 1)},
		NotBefore: expires.Add(-48 * time.Hour), NotAfter: expires, BasicConstraintsValid: true, IsCA: true,
	}
	signed, err := x509.CreateCertificate(rand.Reader, &about, &about, key.Public(), key)
	if err != nil {
		t.Fatal(err)
	}
	private, err := x509.MarshalPKCS8PrivateKey(key)
	if err != nil {
		t.Fatal(err)
	}
	for file, block := range map[string]*pem.Block{certFile: {Type: "CERTIFICATE", Bytes: signed}, keyFile: {Type: "PRIVATE KEY", Bytes: private}} {
		if err := os.WriteFile(file, pem.EncodeToMemory(block), 0o600); err != nil {
			t.Fatal(err)
		}
	}
}

func tomorrow() time.Time { return time.Now().Add(24 * time.Hour) }

func TestWhereItMayListen(t *testing.T) {
	for _, c := range []struct {
		l    listening
		says string // empty: it may
	}{
		{listening{address: "127.0.0.1:9742"}, ""},
		{listening{address: "[::1]:9742"}, ""},
		{listening{address: "localhost:9742"}, ""},
		{listening{address: "none"}, ""},
		{listening{address: "0.0.0.0:9742", insecure: true}, ""},
		{listening{address: ":9742", certificate: "c", key: "k"}, ""},
		{listening{address: ":9742"}, "opens the bench to a network"},
		{listening{address: "0.0.0.0:9742"}, "opens the bench to a network"},
		{listening{address: "192.0.2.17:9742"}, "opens the bench to a network"},
		{listening{address: "localhost.example:9742"}, "opens the bench to a network"},
		{listening{address: "127.0.0.1"}, "give host:port"},
		{listening{address: "127.0.0.1:9742", certificate: "c"}, "belong together"},
		{listening{address: ":9742", key: "k", insecure: true}, "belong together"},
		{listening{address: ":9742", certificate: "c", key: "k", insecure: true}, "give one of them"},
		{listening{address: "none", certificate: "c", key: "k"}, "serves nothing"},
	} {
		err := c.l.check()
		if c.says == "" && err != nil {
			t.Errorf("%+v: %v", c.l, err)
		}
		if c.says != "" && (err == nil || !strings.Contains(err.Error(), c.says) || status(err) != exitUsage) {
			t.Errorf("%+v: %v; want a usage error that says %q", c.l, err, c.says)
		}
	}
}

func TestWrongCertificates(t *testing.T) {
	t.Parallel()
	f := newFolder(t, "")
	makeCertificate(t, f.path("cert.pem"), f.path("key.pem"), "bench-pi.example", tomorrow())
	makeCertificate(t, f.path("other.pem"), f.path("other-key.pem"), "bench-pi.example", tomorrow())
	makeCertificate(t, f.path("old.pem"), f.path("old-key.pem"), "bench-pi.example", time.Now().Add(-time.Hour))
	for _, c := range []struct{ cert, key, says string }{
		{"cert.pem", "other-key.pem", "give the key that this certificate was made for"},
		{"key.pem", "key.pem", "--tls-cert wants a PEM file"},
		{"cert.pem", "cert.pem", "--tls-key wants a PEM file"},
		{"bench.toml", "key.pem", "--tls-cert wants a PEM file"},
		{"absent.pem", "key.pem", "--tls-cert: stat absent.pem"},
		{"old.pem", "old-key.pem", "it expired on"},
	} {
		f.wantRefused(t, exitUsage, []string{"serve", "--listen", freePort(t), "--tls-cert", c.cert, "--tls-key", c.key}, c.says)
	}
	taken, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer taken.Close()
	f.wantRefused(t, exitFailed, []string{"serve", "--listen", taken.Addr().String()}, "port taken", "--listen")
}

// TestDaemonOverTLS has a daemon that listens beyond this computer, and everybody who talks to it.
func TestDaemonOverTLS(t *testing.T) {
	t.Parallel()
	f := newFolder(t, questions)
	cert, key := f.path("cert.pem"), f.path("key.pem")
	makeCertificate(t, cert, key, "bench-pi.example", tomorrow())
	_, port, _ := net.SplitHostPort(freePort(t))
	p := f.start(t, nil, "serve", "--listen", ":"+port, "--tls-cert", cert, "--tls-key", key)
	p.await("ringup serves river-level logger 0231 at https://bench-pi.example:" + port)
	address := "localhost:" + port
	secure := []string{"--daemon", "https://" + address, "--ca", cert}

	// Somebody else's computer has no logbook: the token is a file of its own.
	elsewhere := newFolder(t, questions)
	token, err := os.ReadFile(f.path("token"))
	if err != nil {
		t.Fatal(err)
	}
	elsewhere.write(t, "bench-pi.token", string(token))
	elsewhere.must(t, append([]string{"status"}, secure...)...)
	elsewhere.wantRefused(t, exitFailed, append([]string{"submit", "night.lua"}, secure...), "this needs the token", "--token-file")
	elsewhere.must(t, append([]string{"submit", "night.lua", "--token-file", "bench-pi.token"}, secure...)...)
	p.await("asks: Is the lamp lit?")
	elsewhere.wantRefused(t, exitFailed, []string{"status", "--daemon", "https://" + address}, "signed by none", "--ca")
	elsewhere.wantRefused(t, exitFailed, []string{"status", "--daemon", address}, "write https://"+address)
	elsewhere.wantRefused(t, exitUsage, []string{"stop", "--daemon", "http://bench-pi.example:" + port, "--token-file", "bench-pi.token"}, "could read the token")
	elsewhere.wantRefused(t, exitUsage, []string{"stop", "--daemon", "https://" + address + "/runs"}, "give host:port")
	elsewhere.wantRefused(t, exitUsage, append([]string{"stop", "--token-file", "absent"}, secure...), "absent")

	text, err := os.ReadFile(cert)
	if err != nil {
		t.Fatal(err)
	}
	trusted := x509.NewCertPool()
	trusted.AppendCertsFromPEM(text)
	browser := &http.Client{Transport: &http.Transport{TLSClientConfig: &tls.Config{RootCAs: trusted}, ForceAttemptHTTP2: true}}
	post := func(path string, headers ...string) *http.Response {
		t.Helper()
		r, err := http.NewRequest(http.MethodPost, "https://"+address+path, strings.NewReader("{}"))
		if err != nil {
			t.Fatal(err)
		}
		for _, h := range headers {
			name, value, _ := strings.Cut(h, ": ")
			if r.Header.Set(name, value); name == "Host" {
				r.Host = value
			}
		}
		response, err := browser.Do(r)
		if err != nil {
			t.Fatal(err)
		}
		response.Body.Close()
		return response
	}
	bearer := "Authorization: Bearer " + strings.TrimSpace(string(token))
	if r := post("/api/v1/session", bearer); r.StatusCode != http.StatusNoContent || len(r.Cookies()) != 1 || !r.Cookies()[0].Secure || r.ProtoMajor != 2 {
		t.Errorf("a session over TLS: %s by %s, cookies %v; want one, by HTTP/2, that never goes over plain HTTP", r.Status, r.Proto, r.Cookies())
	}
	for want, headers := range map[int][]string{
		http.StatusUnauthorized:       nil,
		http.StatusForbidden:          {bearer, "Origin: https://evil.example"},
		http.StatusMisdirectedRequest: {bearer, "Host: evil.example"},
	} {
		if r := post("/api/v1/stop", headers...); r.StatusCode != want {
			t.Errorf("stop with %q: %s, want %d", headers, r.Status, want)
		}
	}

	// A renewal, as programs for that do it: first the one file, then the other.
	makeCertificate(t, f.path("new.pem"), f.path("new-key.pem"), "bench-pi.example", tomorrow().Add(24*time.Hour))
	move := func(from, to string) {
		t.Helper()
		if err := os.Rename(f.path(from), to); err != nil {
			t.Fatal(err)
		}
	}
	serial := func() []byte {
		t.Helper()
		c, err := tls.Dial("tcp", address, &tls.Config{InsecureSkipVerify: true})
		if err != nil {
			t.Fatal(err)
		}
		defer c.Close()
		return c.ConnectionState().PeerCertificates[0].Raw
	}
	before := serial()
	move("new.pem", cert)
	if !bytes.Equal(serial(), before) {
		t.Error("half of a renewal was put into service")
	}
	p.await("cannot be used, so the one before stays")
	move("new-key.pem", key)
	if bytes.Equal(serial(), before) {
		t.Error("the renewed certificate is not in service")
	}
	p.await("the certificate has changed; the new one is valid until")

	elsewhere.must(t, "stop", "--daemon", "https://"+address, "--ca", cert, "--token-file", "bench-pi.token")
	p.await("stopped")
	if status := p.interrupt(); status != exitDone {
		t.Errorf("the daemon ended with status %d", status)
	}
}

// TestTLSWithOpenSSL asks somebody else's implementation what the port offers.
func TestTLSWithOpenSSL(t *testing.T) {
	t.Parallel()
	openssl, err := exec.LookPath("openssl")
	if err != nil {
		if os.Getenv("CI") == "true" {
			t.Fatal("openssl is missing: install the Debian package openssl")
		}
		t.Skip("openssl is missing: install the Debian package openssl")
	}
	f := newFolder(t, "")
	cert, key := f.path("cert.pem"), f.path("key.pem")
	made := exec.Command(openssl, "req", "-x509", "-newkey", "rsa:2048", "-nodes", "-days", "2", "-subj", "/CN=localhost",
		"-addext", "subjectAltName=DNS:localhost", "-keyout", key, "-out", cert)
	if out, err := made.CombinedOutput(); err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	address := freePort(t)
	p := f.start(t, nil, "serve", "--listen", address, "--tls-cert", filepath.Base(cert), "--tls-key", filepath.Base(key))
	p.await("ringup serves")
	for version, taken := range map[string]bool{"-tls1_1": false, "-tls1_2": true, "-tls1_3": true} {
		c := exec.Command(openssl, "s_client", version, "-connect", address, "-servername", "localhost", "-verify_hostname", "localhost", "-verify_return_error", "-CAfile", cert)
		c.Stdin = strings.NewReader("")
		out, err := c.CombinedOutput()
		if (err == nil) != taken || taken && !strings.Contains(string(out), "Verify return code: 0 (ok)") {
			t.Errorf("openssl s_client %s: %v, want it taken: %t\n%s", version, err, taken, out)
		}
	}
	if status := p.interrupt(); status != exitDone {
		t.Errorf("the daemon ended with status %d", status)
	}
}
