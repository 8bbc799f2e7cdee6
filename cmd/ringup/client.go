package main

import (
	"bytes"
	"context"
	"crypto/tls"
	"crypto/x509"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"net"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"time"

	"github.com/spf13/cobra"
)

const defaultListen = "127.0.0.1:9742"

// daemonAt says which daemon a command talks to, and how it proves that it may.
type daemonAt struct {
	address   string // host, host:port or URL
	tokenFile string // empty: beside the logbook
	authority string // PEM file of certificates to trust beside the system's
	insecure  bool   // the token may go over plain HTTP beyond this computer
}

// add gives a command the flags that every command needs that talks to a daemon.
func (d *daemonAt) add(c *cobra.Command) {
	flags := c.Flags()
	flags.StringVar(&d.address, "daemon", defaultListen, "`address` of the daemon: host:port, or https://host:port")
	flags.StringVar(&d.tokenFile, "token-file", "", "`file` with the daemon's token (default: token beside the logbook)")
	flags.StringVar(&d.authority, "ca", "", "PEM `file` with the certificate to trust, if none that this computer trusts has signed the daemon's")
	flags.BoolVar(&d.insecure, "insecure-http", false, "allow the token to be sent to another computer without TLS")
}

// client talks to a daemon.
type client struct {
	base     *url.URL
	token    func() (string, error) // wanted for commands only
	insecure bool
	http     *http.Client
}

func (d daemonAt) client(o *options) (*client, error) {
	base, err := d.url()
	if err != nil {
		return nil, err
	}
	transport := http.DefaultTransport.(*http.Transport).Clone()
	if d.authority != "" {
		text, err := os.ReadFile(d.authority)
		if err != nil {
			return nil, usage{fmt.Errorf("--ca: %w", err)}
		}
		trusted, err := x509.SystemCertPool()
		if err != nil {
			trusted = x509.NewCertPool()
		}
		if !trusted.AppendCertsFromPEM(text) {
			return nil, usage{fmt.Errorf("--ca %s holds no certificate; it wants a PEM file that begins with -----BEGIN CERTIFICATE-----", d.authority)}
		}
		transport.TLSClientConfig = &tls.Config{RootCAs: trusted, MinVersion: tls.VersionTLS12}
	}
	return &client{
		base: base, insecure: d.insecure,
		token: func() (string, error) { return d.readToken(o) },
		http: &http.Client{Transport: transport, CheckRedirect: func(r *http.Request, _ []*http.Request) error {
			return fmt.Errorf("it sends us on to %s, and a command is never sent twice; give that address", r.URL)
		}},
	}, nil
}

// call is one request to the daemon.
func (d daemonAt) call(ctx context.Context, o *options, method, path string, body, result any) error {
	c, err := d.client(o)
	if err != nil {
		return err
	}
	return c.call(ctx, method, path, body, result)
}

// url takes host and host:port for plain HTTP at our own port.
func (d daemonAt) url() (*url.URL, error) {
	text := d.address
	if !strings.Contains(text, "://") {
		if _, _, err := net.SplitHostPort(text); err != nil {
			_, port, _ := net.SplitHostPort(defaultListen)
			text = net.JoinHostPort(strings.Trim(text, "[]"), port)
		}
		text = "http://" + text
	}
	u, err := url.Parse(text)
	if err == nil && (u.Scheme != "http" && u.Scheme != "https" || u.Hostname() == "" || strings.Trim(u.Path, "/") != "" || u.RawQuery != "" || u.Fragment != "" || u.User != nil) {
		err = errors.New("it has other parts than scheme, host and port")
	}
	if err != nil {
		return nil, usage{fmt.Errorf("--daemon %s: %w; give host:port, http://host:port or https://host:port, like %s", d.address, err, defaultListen)}
	}
	u.Path = ""
	return u, nil
}

// readToken reads the token of commands. A missing one beside the logbook is no error yet: the daemon says that it misses it.
func (d daemonAt) readToken(o *options) (string, error) {
	file := d.tokenFile
	if file == "" {
		file = tokenPath(o.logbook)
	}
	text, err := os.ReadFile(file)
	if errors.Is(err, fs.ErrNotExist) && d.tokenFile == "" {
		return "", nil
	}
	if err != nil {
		return "", usage{fmt.Errorf("the daemon's token: %w; it lies beside the daemon's logbook, and only its owner may read it", err)}
	}
	return strings.TrimSpace(string(text)), nil
}

// tokenPath is where a daemon keeps its token: beside its logbook.
func tokenPath(logbook string) string { return filepath.Join(filepath.Dir(logbook), "token") }

// call sends a request and decodes the answer into result, which may be nil. Nothing is ever sent twice.
func (c *client) call(ctx context.Context, method, path string, body, result any) error {
	var content io.Reader
	if body != nil {
		text, err := json.Marshal(body)
		if err != nil {
			return err
		}
		content = bytes.NewReader(text)
	}
	ctx, cancel := context.WithTimeout(ctx, 30*time.Second)
	defer cancel()
	request, err := http.NewRequestWithContext(ctx, method, c.base.String()+path, content)
	if err != nil {
		return err
	}
	if body != nil {
		request.Header.Set("Content-Type", "application/json")
	}
	if method != http.MethodGet {
		if err := c.authorise(request); err != nil {
			return err
		}
	}
	response, err := c.http.Do(request)
	if err != nil {
		return c.explain(err)
	}
	defer response.Body.Close()
	text, err := io.ReadAll(response.Body)
	if err != nil {
		return err
	}
	if response.StatusCode >= 300 {
		return c.refused(response, text)
	}
	if result == nil || len(text) == 0 {
		return nil
	}
	if err := json.Unmarshal(text, result); err != nil {
		return fmt.Errorf("what answers at %s is no ringup: %w", c.base, err)
	}
	return nil
}

// authorise adds the token, which nobody on the way may read.
func (c *client) authorise(r *http.Request) error {
	if c.base.Scheme == "http" && !loopback(c.base.Hostname()) && !c.insecure {
		return usage{fmt.Errorf("%s is plain HTTP to another computer, where whoever is on the way could read the token; "+
			"let the daemon serve with --tls-cert and write https://, or use a tunnel such as ssh -L; --insecure-http sends it all the same", c.base)}
	}
	token, err := c.token()
	if err == nil && token != "" {
		r.Header.Set("Authorization", "Bearer "+token)
	}
	return err
}

// explain says what to do about a daemon that was not reached.
func (c *client) explain(err error) error {
	var (
		unknown x509.UnknownAuthorityError
		name    x509.HostnameError
		invalid x509.CertificateInvalidError
		failed  *url.Error
	)
	if errors.As(err, &failed) {
		err = failed.Err // its text repeats the address
	}
	switch {
	case errors.Is(err, syscall.ECONNREFUSED) && loopback(c.base.Hostname()):
		return fmt.Errorf("no daemon answers at %s; start one with: ringup serve -b bench.toml", c.base.Host)
	case errors.Is(err, syscall.ECONNREFUSED):
		return fmt.Errorf("no daemon answers at %s; is it up there, with --listen beyond its own computer?", c.base)
	case errors.Is(err, http.ErrSchemeMismatch):
		return fmt.Errorf("the daemon at %s speaks plain HTTP; write http://%s", c.base.Host, c.base.Host)
	case errors.As(err, &unknown):
		return fmt.Errorf("the certificate of %s is signed by none that this computer trusts; if it is the daemon's own, give the file with --ca", c.base)
	case errors.As(err, &name), errors.As(err, &invalid):
		return fmt.Errorf("%s: %w", c.base, err)
	default:
		return fmt.Errorf("the daemon at %s: %w", c.base, err)
	}
}

// refused is the daemon's own word, if it is one.
func (c *client) refused(response *http.Response, text []byte) error {
	var problem struct {
		Error string `json:"error"`
	}
	switch {
	case json.Unmarshal(text, &problem) == nil && problem.Error != "" && response.StatusCode == http.StatusUnauthorized:
		return fmt.Errorf("%s; from elsewhere, copy that file and name it with --token-file", problem.Error)
	case problem.Error != "":
		return errors.New(problem.Error)
	case bytes.Contains(text, []byte("HTTP request to an HTTPS server")):
		return fmt.Errorf("the daemon at %s speaks HTTPS; write https://%s", c.base.Host, c.base.Host)
	default:
		return fmt.Errorf("what answers at %s says %s: %s", c.base, response.Status, bytes.TrimSpace(text))
	}
}
