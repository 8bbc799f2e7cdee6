package ship

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"net"
	"strings"
	"syscall"

	"github.com/jackc/pgx/v5/pgconn"

	"ringup/runner/logbook"
)

// Errors that shipping again does not mend; test for them with errors.Is.
var (
	// ErrForked means that the database has another continuation of this
	// logbook: copies of one file were both gone on with, or an older copy was
	// taken back into use.
	ErrForked = errors.New("another copy of this logbook was shipped from")
	// ErrNewer means that a later ringup made the database's tables.
	ErrNewer = errors.New("the tables were made by a newer ringup")
)

// errTables marks what failed while the tables were made or brought forward.
var errTables = errors.New("make the tables")

// Error says why shipping to a database failed and what to do.
type Error struct {
	Target string // without its password
	Err    error
	Advice string
}

func (e *Error) Error() string {
	text := fmt.Sprintf("database %s: %v", e.Target, e.Err)
	if e.Advice != "" {
		text += "; " + e.Advice
	}
	return text
}

// Unwrap gives the cause.
func (e *Error) Unwrap() error { return e.Err }

// explain adds what a person can do. Errors of the logbook itself stay as they are.
func explain(err error, to Target) error {
	if book, ok := errors.AsType[*logbook.Error](err); ok {
		return book
	}
	return &Error{Target: to.String(), Err: essence(err), Advice: advice(err, to)}
}

// essence is what came of connecting, without the address, which stands before it
// already, and without what was tried before.
func essence(err error) error {
	if _, connecting := errors.AsType[*pgconn.ConnectError](err); !connecting {
		return err
	}
	if server, ok := errors.AsType[*pgconn.PgError](err); ok {
		return server
	}
	if network, ok := errors.AsType[*net.OpError](err); ok {
		return network
	}
	if name, ok := errors.AsType[*net.DNSError](err); ok {
		return name
	}
	if errors.Is(err, context.DeadlineExceeded) {
		return fmt.Errorf("no answer: %w", context.DeadlineExceeded)
	}
	return err
}

func advice(err error, to Target) string {
	user, database := quoted(to.config.User), quoted(to.config.Database)
	switch {
	case errors.Is(err, ErrForked):
		return "if this copy is the one to go on with, make it a logbook of its own with: ringup ship --new-identity"
	case errors.Is(err, ErrNewer):
		return "use that newer ringup on this bench, too"
	}
	server, answered := errors.AsType[*pgconn.PgError](err)
	if !answered {
		switch {
		case errors.Is(err, syscall.ECONNREFUSED), errors.Is(err, fs.ErrNotExist):
			return "is PostgreSQL running there, and does it listen at this address?"
		case isDNS(err):
			return "is the host's name right?"
		case errors.Is(err, context.DeadlineExceeded):
			return "the server does not answer: is the network up, and does a firewall let this computer in?"
		case strings.Contains(err.Error(), "tls"):
			return "see sslmode and sslrootcert in PostgreSQL's manual"
		}
		return ""
	}
	switch server.Code {
	case "28P01": // invalid_password
		return fmt.Sprintf("give the password of role %s in PGPASSWORD or ~/.pgpass", user)
	case "28000": // invalid_authorization_specification
		return fmt.Sprintf("role %s must be there, and the server's pg_hba.conf must let it in from this computer", user)
	case "3D000": // invalid_catalog_name
		return fmt.Sprintf("make the database: createdb --encoding UTF8 %s", to.config.Database)
	case "42501": // insufficient_privilege
		if errors.Is(err, errTables) {
			return fmt.Sprintf("ship once as the owner of database and tables, or let the owner say: GRANT CREATE ON DATABASE %s TO %s", database, user)
		}
		return fmt.Sprintf("let the tables' owner say: GRANT USAGE ON SCHEMA ringup TO %s; GRANT SELECT, INSERT, UPDATE ON ALL TABLES IN SCHEMA ringup TO %s", user, user)
	case "53100", "53200": // disk_full, out_of_memory
		return "make room on the database's computer; what it has not yet stays in the logbook, and shipping again goes on there"
	case "53300": // too_many_connections
		return "raise the server's max_connections, or close some"
	case "22P05", "22021": // untranslatable_character, character_not_in_repertoire
		return "the database must be made with --encoding UTF8"
	case "25006": // read_only_sql_transaction
		return "this server only reads: name the one it copies from"
	case "55P03": // lock_not_available
		return "another ringup is shipping this logbook right now"
	}
	return ""
}

func isDNS(err error) bool {
	_, ok := errors.AsType[*net.DNSError](err)
	return ok
}

// quoted writes a name as SQL wants it.
func quoted(name string) string { return `"` + strings.ReplaceAll(name, `"`, `""`) + `"` }
