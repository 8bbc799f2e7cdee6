//go:build unix

package ship

import (
	"net"
	"strings"
	"sync"
	"testing"
	"time"

	"ringup/runner/logbook"
)

// follower is one whose passes a test waits for.
type follower struct {
	*Follower
	t      *testing.T
	passes chan error
	mu     sync.Mutex
	said   []string
}

func follow(t *testing.T, b *logbook.Book, to Target) *follower {
	f := &follower{t: t, passes: make(chan error, 1000)}
	f.Follower = newFollower(b, to, Options{Waveforms: true}, func(text string) {
		f.mu.Lock()
		defer f.mu.Unlock()
		f.said = append(f.said, text)
	})
	f.least, f.most = time.Millisecond, 5*time.Millisecond
	f.passed = func(_ Shipped, err error) {
		select {
		case f.passes <- err:
		default: // the test has seen enough
		}
	}
	f.start()
	return f
}

// wait waits for passes until one has come out as good tells.
func (f *follower) wait(good func(error) bool) {
	f.t.Helper()
	for {
		select {
		case err := <-f.passes:
			if good(err) {
				return
			}
		case <-f.t.Context().Done():
			f.t.Fatal("the test is out of time")
		}
	}
}

func well(err error) bool { return err == nil }
func ill(err error) bool  { return err != nil }

// The book grows while it is shipped, in two runs that take turns.
func TestGrowthWhileShipping(t *testing.T) {
	d, b := newDatabase(t), newBook(t)
	f := follow(t, b, d.target("postgres"))
	first := begin(t, b, "one")
	add(t, b, first, 1, 150)
	f.Changed()
	f.wait(well)
	second := begin(t, b, "two")
	for n := 1; n <= 300; n++ {
		add(t, b, second, n, n)
		f.Changed()
		if n%3 == 0 {
			add(t, b, first, 150+n/3, 150+n/3)
		}
	}
	if err := b.Finish(second, "done", "", night); err != nil {
		t.Fatal(err)
	}
	if err := f.Close(time.Minute); err != nil {
		t.Fatal(err)
	}
	d.wantAll(b)
	d.Want("SELECT run, state FROM ringup.run ORDER BY 1", "1|running\n2|done")
	if len(f.said) > 0 {
		t.Errorf("it said %q", f.said)
	}
}

// The server dies amid a night and is back in the morning; the run knows nothing of it.
func TestServerAwayForANight(t *testing.T) {
	d, b := newDatabase(t), newBook(t)
	run := begin(t, b, "one")
	add(t, b, run, 1, 30)
	f := follow(t, b, d.target("postgres"))
	f.wait(well)
	d.Crash()
	for n := 31; n <= 200; n++ {
		add(t, b, run, n, n)
		f.Changed()
	}
	f.wait(ill)
	f.wait(ill)
	d.Start()
	f.wait(well)
	if err := f.Close(time.Minute); err != nil {
		t.Fatal(err)
	}
	d.wantAll(b)
	if len(f.said) < 3 || !strings.Contains(f.said[1], "waits in the logbook") || !strings.HasSuffix(f.said[len(f.said)-1], "all that was waiting is shipped") {
		t.Errorf("it said %q", f.said)
	}
}

// A restart between two passes is noticed by the old connection only, which is no news.
func TestServerRestartedMeanwhile(t *testing.T) {
	d, b := newDatabase(t), newBook(t)
	run := begin(t, b, "one")
	f := follow(t, b, d.target("postgres"))
	f.wait(well)
	d.Crash()
	d.Start()
	add(t, b, run, 1, 5)
	f.Changed()
	f.wait(func(err error) bool {
		if err != nil {
			t.Errorf("after the restart: %v", err)
		}
		return true
	})
	if err := f.Close(time.Minute); err != nil {
		t.Fatal(err)
	}
	d.wantAll(b)
	if len(f.said) > 0 {
		t.Errorf("it said %q", f.said)
	}
}

// A server that takes the connection and never answers holds up neither the book nor the end.
func TestServerThatDoesNotAnswer(t *testing.T) {
	silent, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer silent.Close()
	to, err := Parse("postgres://bench:secret@" + silent.Addr().String() + "/ringup?sslmode=disable")
	if err != nil {
		t.Fatal(err)
	}
	b := newBook(t)
	f := follow(t, b, to)
	accepted, err := silent.Accept()
	if err != nil {
		t.Fatal(err)
	}
	defer accepted.Close()
	add(t, b, begin(t, b, "one"), 1, 10)
	err = f.Close(time.Millisecond)
	if err == nil || !strings.Contains(err.Error(), "not all could be shipped") || strings.Contains(err.Error(), "secret") {
		t.Errorf("Close: %v", err)
	}
}

func TestClosedWhileTheServerIsAway(t *testing.T) {
	to, err := Parse("host=" + t.TempDir() + " user=bench dbname=ringup")
	if err != nil {
		t.Fatal(err)
	}
	f := follow(t, newBook(t), to)
	f.wait(ill)
	if err := f.Close(time.Minute); err == nil || !strings.Contains(err.Error(), "is PostgreSQL running there") {
		t.Errorf("Close: %v", err)
	}
}
