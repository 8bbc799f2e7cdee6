package main

import (
	"errors"
	"fmt"
	"io/fs"
	"net"
	"net/url"
	"os"
	"strings"
	"syscall"

	"github.com/spf13/cobra"
)

// listening is where page, API and metrics are reached, and what keeps the token secret on the way.
type listening struct {
	address string // host:port, or "none"

	certificate, key string   // PEM files, both or neither
	names            []string // by which a browser may ask, beside localhost, this computer's name and the certificate's
	insecure         bool     // plain HTTP beyond this computer was asked for
}

func (l *listening) add(c *cobra.Command) {
	flags := c.Flags()
	flags.StringVar(&l.address, "listen", defaultListen, "`address` of page and metrics; \"none\" for neither")
	flags.StringVar(&l.certificate, "tls-cert", "", "serve HTTPS with the certificate in this PEM `file`, and its chain; read again when it changes")
	flags.StringVar(&l.key, "tls-key", "", "PEM `file` with the certificate's private key")
	flags.StringSliceVar(&l.names, "host", nil, "`name` under which the page may be asked for, beside this computer's and the certificate's")
	flags.BoolVar(&l.insecure, "insecure-http", false,
		"allow --listen beyond this computer without TLS: whoever is on the way reads the token and can then command the bench")
}

// none says that nothing is to be served.
func (l listening) none() bool { return l.address == "none" }

func (l listening) tls() bool { return l.certificate != "" }

// check refuses what would open the bench to a network by oversight. All its errors are the command line's.
func (l listening) check() error {
	if l.none() {
		if l.certificate != "" || l.key != "" || l.insecure {
			return usage{errors.New("--listen none serves nothing, so --tls-cert, --tls-key and --insecure-http have no meaning; leave them out, or give --listen an address")}
		}
		return nil
	}
	host, _, err := net.SplitHostPort(l.address)
	if err != nil {
		return usage{fmt.Errorf("--listen %s: %w; give host:port, like %s", l.address, err, defaultListen)}
	}
	switch {
	case (l.certificate == "") != (l.key == ""):
		return usage{errors.New("--tls-cert and --tls-key belong together: give both files, or neither")}
	case l.tls() && l.insecure:
		return usage{errors.New("--insecure-http asks for plain HTTP, --tls-cert for HTTPS; give one of them")}
	case !l.tls() && !l.insecure && !loopback(host):
		return usage{fmt.Errorf("--listen %s opens the bench to a network, where whoever is on the way could read the token and switch the supply on; "+
			"give --tls-cert and --tls-key, or listen on %s and use a tunnel such as ssh -L; --insecure-http does it all the same", l.address, defaultListen)}
	}
	return nil
}

// loopback says whether a host is this computer and nothing beyond it.
func loopback(host string) bool {
	ip := net.ParseIP(host)
	return host == "localhost" || ip != nil && ip.IsLoopback()
}

// beyond says whether other computers can reach it.
func (l listening) beyond() bool {
	host, _, _ := net.SplitHostPort(l.address)
	return !loopback(host)
}

// open starts to listen. What it listens on is known only afterwards if the port was left to the system.
func (l listening) open() (net.Listener, error) {
	listener, err := net.Listen("tcp", l.address)
	switch {
	case err == nil:
		return listener, nil
	case errors.Is(err, syscall.EADDRINUSE):
		return nil, fmt.Errorf("page and metrics: port taken: %w; another ringup may be serving there (ringup status --daemon %s asks it); choose another with --listen, or none", err, l.address)
	case errors.Is(err, fs.ErrPermission):
		return nil, fmt.Errorf("page and metrics: %w; ports below 1024 are the system's: choose one above with --listen, like %s", err, defaultListen)
	default:
		return nil, fmt.Errorf("page and metrics: %w; choose another with --listen, or none", err)
	}
}

// allNames are the names under which the page may be asked for: any other one may be a foreign page's own, made to
// point here.
func (l listening) allNames(ofCertificate []string) []string {
	names := append(append([]string{}, l.names...), ofCertificate...)
	if host, _, err := net.SplitHostPort(l.address); err == nil && host != "" {
		names = append(names, host)
	}
	if name, err := os.Hostname(); err == nil && l.beyond() {
		short, _, _ := strings.Cut(name, ".")
		names = append(names, name, short, short+".local")
	}
	return names
}

// url is the page's address, as somebody would type it: a server that listens on every address is called by its
// certificate's first name, or this computer's.
func (l listening) url(listener net.Listener, ofCertificate []string) string {
	u := url.URL{Scheme: "http", Host: l.address}
	if l.tls() {
		u.Scheme = "https"
	}
	host, _, _ := net.SplitHostPort(l.address)
	_, port, _ := net.SplitHostPort(listener.Addr().String())
	if ip := net.ParseIP(host); host == "" || ip != nil && ip.IsUnspecified() {
		host = "localhost"
		if name, err := os.Hostname(); err == nil {
			host = name
		}
		for _, name := range ofCertificate {
			if !strings.HasPrefix(name, "*") {
				host = name
				break
			}
		}
	}
	u.Host = net.JoinHostPort(host, port)
	return u.String()
}
