//go:build unix

// Package pgtest runs a real PostgreSQL server for tests, of their own: in a new folder, on a socket in it and nowhere
// else. It is gone when the test process is, however that ends.
package pgtest

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"os/user"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"sync"
	"syscall"
	"testing"
)

// Guarded is the role that needs a password. All others get in without.
const Guarded = "guarded"

type server struct {
	bin, dir string
	as       *syscall.SysProcAttr // the server refuses to be root
	life     io.Closer            // a pipe that ends with this process; nothing is written to it
}

var errMissing = errors.New("PostgreSQL's server is missing; install the Debian package postgresql")

var theServer = sync.OnceValues(func() (*server, error) {
	bin, err := programs()
	if err != nil {
		return nil, err
	}
	p := &server{bin: bin, as: &syscall.SysProcAttr{}}
	// A socket's path is short, which the usual folder for tests may not be.
	if p.dir, err = os.MkdirTemp("/tmp", "ringup-postgres-"); err != nil {
		return nil, err
	}
	if os.Getuid() == 0 {
		if err := p.giveUpRoot(); err != nil {
			return nil, err
		}
	}
	if err := p.watch(); err != nil {
		return nil, err
	}
	if err := p.run("initdb", "-D", p.data(), "--no-sync", "-A", "trust", "-U", "postgres", "--encoding", "UTF8", "--no-locale"); err != nil {
		return p, err
	}
	hba := "local all " + Guarded + " scram-sha-256\nlocal all all trust\n"
	if err := os.WriteFile(filepath.Join(p.data(), "pg_hba.conf"), []byte(hba), 0o644); err != nil {
		return p, err
	}
	if err := p.start(); err != nil {
		return p, err
	}
	return p, p.run("createdb", "-h", p.dir, "-U", "postgres", "test")
})

// programs finds the folder of the newest server. Debian keeps it off the path.
func programs() (string, error) {
	found, err := filepath.Glob("/usr/lib/postgresql/*/bin/initdb")
	if path, pathErr := exec.LookPath("initdb"); pathErr == nil && len(found) == 0 {
		path, err = filepath.EvalSymlinks(path)
		found = []string{path}
	}
	if err != nil {
		return "", err
	}
	if len(found) == 0 {
		return "", errMissing
	}
	slices.Sort(found)
	return filepath.Dir(found[len(found)-1]), nil
}

func (p *server) giveUpRoot() error {
	nobody, err := user.Lookup("nobody")
	if err != nil {
		return err
	}
	uid, err := strconv.Atoi(nobody.Uid)
	if err != nil {
		return err
	}
	gid, err := strconv.Atoi(nobody.Gid)
	if err != nil {
		return err
	}
	p.as.Credential = &syscall.Credential{Uid: uint32(uid), Gid: uint32(gid)}
	return os.Chown(p.dir, uid, gid)
}

func (p *server) data() string { return filepath.Join(p.dir, "data") }

func (p *server) run(program string, arguments ...string) error {
	c := exec.Command(filepath.Join(p.bin, program), arguments...)
	c.SysProcAttr, c.Dir = p.as, p.dir
	// The server inherits what pg_ctl has open: a pipe would never end.
	log, err := os.OpenFile(filepath.Join(p.dir, program+".out"), os.O_CREATE|os.O_APPEND|os.O_RDWR, 0o644)
	if err != nil {
		return err
	}
	defer log.Close()
	c.Stdout, c.Stderr = log, log
	if err := c.Run(); err != nil {
		said, _ := os.ReadFile(log.Name())
		return fmt.Errorf("%s: %w\n%s", program, err, said)
	}
	return nil
}

func (p *server) start() error {
	// What is lost when the machine dies does not matter here.
	return p.run("pg_ctl", "-D", p.data(), "-w", "start", "-o", "-k "+p.dir+" -c listen_addresses= -c fsync=off -c max_connections=20")
}

// watch starts a process that ends the server and removes its folder when this
// one ends, even if it is killed.
func (p *server) watch() error {
	c := exec.Command("sh", "-c", `read never; "$1/pg_ctl" -D "$2/data" -m immediate -w stop; rm -rf "$2"`, "sh", p.bin, p.dir)
	c.SysProcAttr = &syscall.SysProcAttr{Credential: p.as.Credential, Setsid: true} // Ctrl-C is not for it
	var err error
	if p.life, err = c.StdinPipe(); err != nil {
		return err
	}
	return c.Start()
}

// Database is one without tables.
type Database struct {
	Name string
	*server
	t testing.TB
}

// New gives the tests' database without its tables. Where PostgreSQL is missing it skips the test, or fails it if the
// environment has CI=true. Tests that use it do not run in parallel.
func New(t testing.TB) Database {
	t.Helper()
	p, err := theServer()
	if errors.Is(err, errMissing) && os.Getenv("CI") != "true" {
		t.Skip(err)
	}
	if err != nil {
		t.Fatal(err)
	}
	d := Database{"test", p, t}
	d.SQL("SET client_min_messages = warning; DROP SCHEMA IF EXISTS ringup CASCADE")
	return d
}

// Address is the database as role reaches it, in the form "host=… user=…", with more settings.
func (d Database) Address(role string, more ...string) string {
	return strings.Join(append([]string{"host=" + d.dir, "user=" + role, "dbname=" + d.Name}, more...), " ")
}

// Crash ends the server as a power cut does.
func (d Database) Crash() {
	d.t.Helper()
	if err := d.run("pg_ctl", "-D", d.data(), "-w", "-m", "immediate", "stop"); err != nil {
		d.t.Fatal(err)
	}
}

// Start starts it again.
func (d Database) Start() {
	d.t.Helper()
	if err := d.start(); err != nil {
		d.t.Fatal(err)
	}
}

// SQL asks psql, as the server's superuser. Columns are separated by "|".
func (d Database) SQL(text string) string {
	d.t.Helper()
	c := exec.Command(filepath.Join(d.bin, "psql"), "-X", "-q", "-A", "-t", "-v", "ON_ERROR_STOP=1", "-h", d.dir, "-U", "postgres", "-d", d.Name, "-c", text)
	c.Env = append(os.Environ(), "PGTZ=UTC")
	var out, errOut bytes.Buffer
	c.Stdout, c.Stderr = &out, &errOut
	if err := c.Run(); err != nil {
		d.t.Fatalf("psql: %s: %v\n%s", text, err, errOut.String())
	}
	return strings.TrimSuffix(out.String(), "\n")
}

// Want checks what psql answers.
func (d Database) Want(text, answer string) {
	d.t.Helper()
	if got := d.SQL(text); got != answer {
		d.t.Errorf("%s\nanswers %s\nwant    %s", text, got, answer)
	}
}
