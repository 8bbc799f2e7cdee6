package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"time"

	"github.com/spf13/cobra"
)

const defaultListen = "127.0.0.1:9742"

// client talks to a daemon.
type client struct {
	address string // host:port
	token   string
}

// daemonFlags adds what every command needs that talks to a daemon.
func daemonFlags(c *cobra.Command, address *string) {
	c.Flags().StringVar(address, "daemon", defaultListen, "`address` of the daemon")
}

func newClient(address string, o *options) client {
	token, err := os.ReadFile(tokenPath(o.logbook))
	if err != nil {
		return client{address: address} // reading needs no token, and the daemon says so if it is missed
	}
	return client{address, strings.TrimSpace(string(token))}
}

// tokenPath is where a daemon keeps its token: beside its logbook.
func tokenPath(logbook string) string { return filepath.Join(filepath.Dir(logbook), "token") }

// call sends a request and decodes the answer into result, which may be nil. Nothing is ever sent twice.
func (c client) call(ctx context.Context, method, path string, body, result any) error {
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
	request, err := http.NewRequestWithContext(ctx, method, "http://"+c.address+path, content)
	if err != nil {
		return err
	}
	if body != nil {
		request.Header.Set("Content-Type", "application/json")
	}
	if c.token != "" {
		request.Header.Set("Authorization", "Bearer "+c.token)
	}
	response, err := http.DefaultClient.Do(request)
	var refused *net.OpError
	if errors.As(err, &refused) && errors.Is(err, syscall.ECONNREFUSED) {
		return fmt.Errorf("no daemon answers at %s; start one with: ringup serve -b bench.toml", c.address)
	}
	if err != nil {
		return err
	}
	defer response.Body.Close()
	text, err := io.ReadAll(response.Body)
	if err != nil {
		return err
	}
	if response.StatusCode >= 300 {
		var problem struct {
			Error string `json:"error"`
		}
		if json.Unmarshal(text, &problem) == nil && problem.Error != "" {
			return errors.New(problem.Error)
		}
		return fmt.Errorf("the daemon answered %s: %s", response.Status, bytes.TrimSpace(text))
	}
	if result == nil || len(text) == 0 {
		return nil
	}
	return json.Unmarshal(text, result)
}
