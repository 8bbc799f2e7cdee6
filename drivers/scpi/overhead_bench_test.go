//go:build linux

package scpi

import (
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"ringup/drivers/internal/fake"
	"ringup/drivers/link"
)

// BenchmarkQuery measures a query against a bare loop of write and read in C, which asks the same instrument, a C
// program too, over the same wire. It reports both and their ratio. The two take turns of a few hundred queries, and the
// fastest turns are compared: what other programs take from a turn is no cost of ours.
func BenchmarkQuery(b *testing.B) {
	loop := buildLoop(b)
	for name, serve := range map[string]func(*testing.B, string) (address, place string){"pty": servePTY, "tcp": serveTCP} {
		b.Run(name, func(b *testing.B) {
			address, place := serve(b, loop)
			const queries, turns = 300, 60
			var bare, ours []float64
			for b.Loop() {
				for range turns {
					bare = append(bare, askBare(b, loop, place, queries))
					ours = append(ours, ask(b, address, queries))
				}
			}
			c, g := slices.Min(bare), slices.Min(ours)
			b.ReportMetric(0, "ns/op")
			b.ReportMetric(c, "ns/query-in-C")
			b.ReportMetric(g, "ns/query")
			b.ReportMetric(g/c, "ratio")
		})
	}
}

// buildLoop compiles the program in C.
func buildLoop(b *testing.B) string {
	b.Helper()
	compiler, err := exec.LookPath("gcc")
	if err != nil {
		if os.Getenv("CI") == "true" {
			b.Fatal("gcc is missing: install the Debian package gcc")
		}
		b.Skip("install the Debian package gcc")
	}
	program := filepath.Join(b.TempDir(), "loop")
	if out, err := exec.Command(compiler, "-O2", "-Wall", "-o", program, "testdata/loop.c").CombinedOutput(); err != nil {
		b.Fatalf("gcc: %v\n%s", err, out)
	}
	return program
}

// servePTY has the program in C answer at the far end of a pseudo-terminal.
func servePTY(b *testing.B, loop string) (address, place string) {
	far, address := fake.PTY(b)
	c := exec.Command(loop, "serve")
	c.Stdin, c.Stdout = far, far
	start(b, c)
	return address, strings.TrimSuffix(strings.TrimPrefix(address, "serial:"), "?baud=115200")
}

// serveTCP has it answer each connection to a port.
func serveTCP(b *testing.B, loop string) (address, place string) {
	listener, err := net.Listen("tcp4", "127.0.0.1:0")
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() { listener.Close() })
	go func() {
		for {
			conn, err := listener.Accept()
			if err != nil {
				return
			}
			wire, err := conn.(*net.TCPConn).File()
			if err != nil {
				return
			}
			c := exec.Command(loop, "serve")
			c.Stdin, c.Stdout = wire, wire
			if err := c.Start(); err == nil {
				go c.Wait() // it ends with the connection
			}
			wire.Close()
			conn.Close()
		}
	}()
	port := strconv.Itoa(listener.Addr().(*net.TCPAddr).Port)
	return "tcp:127.0.0.1:" + port, port
}

func start(b *testing.B, c *exec.Cmd) {
	if err := c.Start(); err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() {
		c.Process.Kill()
		c.Wait()
	})
}

// askBare is how long a query takes the loop in C, in nanoseconds.
func askBare(b *testing.B, loop, place string, queries int) float64 {
	out, err := exec.Command(loop, "ask", strconv.Itoa(queries), place).Output()
	if err != nil {
		b.Fatalf("loop: %v", err)
	}
	ns, err := strconv.ParseFloat(strings.TrimSpace(string(out)), 64)
	if err != nil {
		b.Fatal(err)
	}
	return ns
}

// ask is how long one takes a session.
func ask(b *testing.B, address string, queries int) float64 {
	l, err := link.Open(address)
	if err != nil {
		b.Fatal(err)
	}
	defer l.Close()
	s := New(l, Config{})
	begun := time.Now()
	for range queries {
		if got, err := s.Query(b.Context(), "MEASure:VOLTage?"); err != nil || got != "+3.600000E+00" {
			b.Fatalf("%q, %v", got, err)
		}
	}
	return float64(time.Since(begun).Nanoseconds()) / float64(queries)
}
