package ship

import (
	"context"
	"errors"
	"fmt"
	"time"

	"ringup/runner/logbook"
)

// How often a follower ships, in real time. After a failure it waits from
// leastPause on twice as long each time.
const (
	leastPause = time.Second
	mostPause  = time.Minute
)

// Follower ships in the background what a book gets. It never holds up whoever
// writes the book: while the database is away everything stays in the book, and
// once it is back all of it follows.
type Follower struct {
	*shipper
	say               func(string)
	least, most       time.Duration
	passed            func(Shipped, error) // for tests; may be nil
	changed, finished chan struct{}
	closing           chan struct{}
	cancel            context.CancelFunc
	last              error // read after finished
}

// Follow begins to ship book. What a person should know goes to say, from
// another goroutine: that the database is away, and that it is back.
func Follow(book *logbook.Book, to Target, o Options, say func(string)) *Follower {
	f := newFollower(book, to, o, say)
	f.start()
	return f
}

func newFollower(book *logbook.Book, to Target, o Options, say func(string)) *Follower {
	return &Follower{
		shipper: newShipper(book, to, o), say: say, least: leastPause, most: mostPause,
		changed: make(chan struct{}, 1), finished: make(chan struct{}), closing: make(chan struct{}),
	}
}

func (f *Follower) start() {
	ctx, cancel := context.WithCancel(context.Background())
	f.cancel = cancel
	f.Changed() // what is in the book already
	go f.run(ctx)
}

// Changed says that the book has something new. It never blocks.
func (f *Follower) Changed() {
	select {
	case f.changed <- struct{}{}:
	default: // it knows already
	}
}

// Close ships what is left, for at most grace, and ends. The error says why not
// all of it could be shipped.
func (f *Follower) Close(grace time.Duration) error {
	close(f.closing)
	late := time.AfterFunc(grace, f.cancel)
	defer late.Stop()
	<-f.finished
	f.cancel()
	if errors.Is(f.last, context.Canceled) {
		return &Error{Target: f.to.String(), Err: fmt.Errorf("not all could be shipped within %v", grace)}
	}
	return f.last
}

func (f *Follower) run(ctx context.Context) {
	defer close(f.finished)
	defer f.close()
	pause := f.least
	for {
		select {
		case <-f.changed:
		case <-f.closing:
			f.last = f.again(ctx)
			return
		}
		err := f.again(ctx)
		f.tell(err)
		if err == nil {
			pause = f.least
		} else {
			f.Changed() // what it could not ship is still to be shipped
		}
		select {
		case <-time.After(pause):
		case <-f.closing:
		}
		if err != nil {
			pause = min(2*pause, f.most)
		}
	}
}

// again ships once, and a second time if only the connection has died since the
// last time.
func (f *Follower) again(ctx context.Context) error {
	old := f.conn != nil
	done, err := f.pass(ctx)
	if err != nil && old && ctx.Err() == nil {
		done, err = f.pass(ctx)
	}
	if f.passed != nil {
		f.passed(done, err)
	}
	return err
}

// tell says what has changed since the last time.
func (f *Follower) tell(err error) {
	before := f.last
	f.last = err
	switch {
	case err == nil && before != nil:
		f.say(fmt.Sprintf("database %s: all that was waiting is shipped", f.to))
	case err != nil && (before == nil || before.Error() != err.Error()):
		f.say(err.Error())
		if before == nil && !errors.Is(err, ErrForked) {
			f.say("nothing is lost: what the database has not yet waits in the logbook, and is shipped once that works again")
		}
	}
}
