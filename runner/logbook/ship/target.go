package ship

import (
	"errors"
	"fmt"
	"net"
	"net/url"
	"strconv"
	"strings"
	"time"

	"github.com/jackc/pgx/v5"
)

// connectTimeout bounds how long a server may take to answer, unless the address
// says otherwise with connect_timeout.
const connectTimeout = 10 * time.Second

// Target is a PostgreSQL database to ship to.
type Target struct{ config *pgx.ConnConfig }

// Parse reads an address: a URL "postgres://USER@HOST:PORT/DATABASE" or a list
// "host=… dbname=…". What it leaves out comes from the environment (PGHOST,
// PGDATABASE, PGPASSWORD, PGSERVICE …), the service file and ~/.pgpass, as in
// every PostgreSQL program. An error never shows a password.
func Parse(address string) (Target, error) {
	config, err := pgx.ParseConfig(address)
	if err != nil {
		hint := "write postgres://USER@HOST:PORT/DATABASE, with the password in PGPASSWORD or ~/.pgpass; in a URL, characters such as / and @ in a name are written %2F and %40"
		if HasPassword(address) {
			return Target{}, errors.New("this address, which holds a password and is therefore not shown, cannot be read; " + hint)
		}
		return Target{}, fmt.Errorf("%w; %s", err, hint)
	}
	if config.ConnectTimeout == 0 {
		config.ConnectTimeout = connectTimeout
	}
	if config.RuntimeParams["application_name"] == "" {
		config.RuntimeParams["application_name"] = "ringup"
	}
	return Target{config}, nil
}

// HasPassword says whether an address may hold a password, in doubt yes.
func HasPassword(address string) bool {
	_, rest, isURL := strings.Cut(address, "://")
	user, _, hasUser := cutLast(rest, "@")
	return strings.Contains(address, "password") || isURL && hasUser && strings.Contains(user, ":")
}

func cutLast(s, separator string) (before, after string, found bool) {
	if i := strings.LastIndex(s, separator); i >= 0 {
		return s[:i], s[i+len(separator):], true
	}
	return s, "", false
}

// String is the address without its password.
func (t Target) String() string {
	u := url.URL{Scheme: "postgres", Path: "/" + t.config.Database}
	if t.config.User != "" {
		u.User = url.User(t.config.User)
	}
	port := strconv.Itoa(int(t.config.Port))
	if strings.HasPrefix(t.config.Host, "/") { // the folder of a socket
		u.RawQuery = "host=" + t.config.Host
		if port != "5432" {
			u.RawQuery += "&port=" + port
		}
		return u.String()
	}
	u.Host = t.config.Host
	if port != "5432" {
		u.Host = net.JoinHostPort(t.config.Host, port)
	} else if strings.Contains(u.Host, ":") {
		u.Host = "[" + u.Host + "]"
	}
	return u.String()
}
