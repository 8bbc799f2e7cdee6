package dialect

import (
	"bufio"
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"ringup/drivers/link"
	"ringup/drivers/scpi"
)

// A golden transcript is a conversation with an instrument, byte for byte:
//
//	dialect NAME
//	identify             the identity query; NAME must be chosen, or at least fit
//	do OPERATION a=1 …   an operation with its settings
//	> TEXT               the next message that must be sent, escaped as in Go
//	< TEXT               what then arrives
//	= FORM VALUE         what the operation must give: number, yes, no, state,
//	                     field NAME VALUE, volts V V …, refused
//
// A line that begins with # is a note.
type golden struct {
	name    string
	dialect *Dialect
	blocks  []goldenBlock
}

type goldenBlock struct {
	line      int
	words     []string // identify, or do with its arguments
	exchanges []goldenExchange
	want      [][]string
}

type goldenExchange struct {
	line          int
	sent, arrives string
}

func readGolden(t *testing.T, path string, all []*Dialect) golden {
	t.Helper()
	file, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	g := golden{name: path}
	lines := bufio.NewScanner(file)
	for n := 1; lines.Scan(); n++ {
		line := strings.TrimSpace(lines.Text())
		mark, rest, _ := strings.Cut(line, " ")
		last := len(g.blocks) - 1
		switch {
		case line == "" || mark == "#" || strings.HasPrefix(line, "#"):
		case mark == "dialect":
			for _, d := range all {
				if d.Name == rest {
					g.dialect = d
				}
			}
		case mark == "identify" || mark == "do":
			g.blocks = append(g.blocks, goldenBlock{line: n, words: strings.Fields(line)})
		case mark == ">" || mark == "<":
			text, err := strconv.Unquote(`"` + rest + `"`)
			if err != nil {
				t.Fatalf("%s:%d: %v", path, n, err)
			}
			b := &g.blocks[last]
			if mark == ">" {
				b.exchanges = append(b.exchanges, goldenExchange{line: n, sent: text})
			} else {
				b.exchanges[len(b.exchanges)-1].arrives += text
			}
		case mark == "=":
			g.blocks[last].want = append(g.blocks[last].want, strings.Fields(rest))
		default:
			t.Fatalf("%s:%d: %q is no line of a transcript", path, n, line)
		}
	}
	if err := lines.Err(); err != nil {
		t.Fatal(err)
	}
	if g.dialect == nil || len(g.blocks) == 0 {
		t.Fatalf("%s: it names no dialect that there is, or holds no conversation", path)
	}
	return g
}

// tape is a link on which a transcript's messages must be sent and its replies
// arrive.
type tape struct {
	t         *testing.T
	name      string
	exchanges []goldenExchange
	waiting   []byte
}

func (p *tape) Write(b []byte, _ time.Time) error {
	if len(p.exchanges) == 0 {
		p.t.Errorf("%s: sent %q, and nothing more was expected", p.name, b)
		return nil
	}
	next := p.exchanges[0]
	p.exchanges = p.exchanges[1:]
	if string(b) != next.sent {
		p.t.Errorf("%s:%d: sent %q, want %q", p.name, next.line, b, next.sent)
	}
	p.waiting = append(p.waiting, next.arrives...)
	return nil
}

func (p *tape) Read(b []byte, deadline time.Time) (int, error) {
	if len(p.waiting) > 0 {
		n := copy(b, p.waiting)
		p.waiting = p.waiting[n:]
		return n, nil
	}
	<-time.After(time.Until(deadline)) // on the bubble's clock
	return 0, link.ErrTimeout
}

func (p *tape) Clear() error   { p.waiting = nil; return nil }
func (p *tape) Close() error   { return nil }
func (p *tape) String() string { return "tape" }

// TestGolden holds every dialect to its transcript.
func TestGolden(t *testing.T) {
	all, err := Load("")
	if err != nil {
		t.Fatal(err)
	}
	for _, d := range all {
		path := filepath.Join("testdata", "golden", d.Name+".txt")
		t.Run(d.Name, func(t *testing.T) {
			g := readGolden(t, path, all)
			if g.dialect != d {
				t.Fatalf("%s is about %s", path, g.dialect.Name)
			}
			synctest.Test(t, func(t *testing.T) { g.play(t, all) })
		})
	}
}

func (g golden) play(t *testing.T, all []*Dialect) {
	p := &tape{t: t, name: g.name}
	session := scpi.New(p, g.dialect.Session())
	done := map[string]bool{}
	var preamble map[string]float64
	for _, b := range g.blocks {
		p.exchanges = b.exchanges
		if b.words[0] == "identify" {
			g.identify(t, session, all)
		} else {
			done[b.words[1]] = true
			g.described(t, b)
			r, err := g.dialect.Run(t.Context(), session, b.words[1], settingsOf(t, b.words[2:]))
			if b.words[1] == "preamble" {
				preamble = r.Fields
			}
			g.compare(t, b, r, preamble, err)
		}
		if len(p.exchanges) > 0 {
			t.Errorf("%s:%d: %q was not sent", g.name, p.exchanges[0].line, p.exchanges[0].sent)
		}
		if session.Torn() != nil {
			t.Fatalf("%s:%d: out of step: %v", g.name, b.line, session.Torn())
		}
	}
	for name := range g.dialect.ops {
		if !done[name] {
			t.Errorf("%s: operation %s is not in the transcript", g.name, name)
		}
	}
}

// described holds Describe's messages to those of the transcript.
func (g golden) described(t *testing.T, b goldenBlock) {
	op := g.dialect.ops[b.words[1]]
	if op.sample != "" || len(b.want) > 0 && b.want[0][0] == "refused" {
		return
	}
	messages, err := g.dialect.messages(op, settingsOf(t, b.words[2:]))
	var sent, want string
	for _, m := range messages {
		want += m + "|"
	}
	for _, x := range b.exchanges {
		sent += strings.TrimRight(x.sent, "\r\n") + "|"
	}
	if err != nil || sent != want {
		t.Errorf("%s:%d: described as %q, %v, the transcript has %q", g.name, b.line, want, err, sent)
	}
}

func (g golden) identify(t *testing.T, session *scpi.Session, all []*Dialect) {
	reply, err := session.Identify(t.Context())
	if err != nil {
		t.Errorf("%s: identify: %v", g.name, err)
	}
	if !g.dialect.Matches(reply) {
		t.Errorf("%s: %q does not fit %s", g.name, reply, g.dialect.Name)
	}
	if _, _, err := scpi.ParseIdentity(reply); err != nil || g.dialect.session.IdentityQuery != "" {
		return // it has to be named in the bench file
	}
	if d, err := Choose(all, g.dialect.Kind, reply); err != nil || d != g.dialect {
		t.Errorf("%s: for %q %v is chosen, %v", g.name, reply, d, err)
	}
}

func settingsOf(t *testing.T, words []string) Settings {
	t.Helper()
	s := Settings{}
	for _, w := range words {
		name, text, _ := strings.Cut(w, "=")
		s[name] = parseFloat(t, text)
	}
	return s
}

func parseFloat(t *testing.T, text string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(text, 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

func (g golden) compare(t *testing.T, b goldenBlock, r Reply, preamble map[string]float64, err error) {
	var refused *scpi.Refused
	for _, want := range b.want {
		var got string
		switch want[0] {
		case "number":
			got = fmt.Sprint(r.Number)
		case "yes", "no":
			got = map[bool]string{true: "yes", false: "no"}[r.Yes]
			want = append(want, want[0])
		case "state":
			got = string(r.State)
		case "field":
			got = fmt.Sprint(r.Fields[want[1]])
			want = want[1:]
		case "volts":
			got = voltsOf(r.Samples, preamble)
			want = []string{"volts", strings.Join(want[1:], " ")}
		case "refused":
			if !errors.As(err, &refused) {
				t.Errorf("%s:%d: %v, want a refusal", g.name, b.line, err)
			}
			return
		}
		if got != want[1] && !sameNumber(got, want[1]) {
			t.Errorf("%s:%d: %s gives %s, want %s", g.name, b.line, strings.Join(b.words, " "), got, strings.Join(want, " "))
		}
	}
	if err != nil {
		t.Errorf("%s:%d: %v", g.name, b.line, err)
	}
}

// sameNumber allows for the last digit of arithmetic.
func sameNumber(a, b string) bool {
	x, err := strconv.ParseFloat(a, 64)
	y, err2 := strconv.ParseFloat(b, 64)
	return err == nil && err2 == nil && (x == y || math.Abs(x-y) <= 1e-12*math.Abs(y))
}

// voltsOf is the formula that PreambleFields states, to a microvolt.
func voltsOf(codes []int32, f map[string]float64) string {
	var texts []string
	for _, c := range codes {
		v := (float64(c)-f["code_zero"])*f["volts_per_code"] + f["offset_volts"]
		texts = append(texts, strconv.FormatFloat(math.Round(v*1e6)/1e6, 'f', -1, 64))
	}
	return strings.Join(texts, " ")
}

var _ Talker = (*scpi.Session)(nil)
