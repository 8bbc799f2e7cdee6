package failrate

import (
	"bufio"
	"bytes"
	"encoding/json"
	"io"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"strconv"
	"sync"
	"testing"
)

// The checks against scipy: an implementation that shares nothing with this
// one computes the same quantities for the same random cases.
//
// One Python process serves all tests of the package, since loading scipy takes
// longer than most checks. It ends with the test program, whose end closes its
// standard input.

// outsideServer reads one request a line, {"code", "cases"}; code defines
// f(case), which returns a list of numbers. It answers one line a request.
const outsideServer = `
import json, sys, warnings
import numpy as np
from scipy import optimize, special, stats
warnings.simplefilter("ignore")
for line in sys.stdin:
    try:
        request = json.loads(line)
        space = {"np": np, "stats": stats, "special": special, "optimize": optimize}
        exec(request["code"], space)
        results = [[repr(float(v)) for v in space["f"](c)] for c in request["cases"]]
        answer = {"results": results}
    except Exception as e:
        answer = {"error": repr(e)}
    print(json.dumps(answer), flush=True)
`

// outsideProcess is Python with scipy, or R.
type outsideProcess struct {
	mutex  sync.Mutex // one request at a time
	stdin  io.Writer
	stdout *bufio.Reader
	stderr *bytes.Buffer
}

// findScipy returns a Python that has scipy, "" if there is none. Debian's own
// is tried by its path, too: another may stand before it.
var findScipy = sync.OnceValue(func() string {
	const find = "import importlib.util, sys; sys.exit(importlib.util.find_spec('scipy') is None)"
	for _, python := range []string{"/usr/bin/python3", "python3"} {
		if exec.Command(python, "-c", find).Run() == nil {
			return python
		}
	}
	return ""
})

var startOutside = sync.OnceValues(func() (*outsideProcess, error) {
	command := exec.Command(findScipy(), "-c", outsideServer)
	// More threads than one only slow down sums this small.
	command.Env = append(os.Environ(), "OPENBLAS_NUM_THREADS=1", "OMP_NUM_THREADS=1")
	return newOutsideProcess(command)
})

// newOutsideProcess starts a program that answers on its standard output what it
// is asked on its standard input.
func newOutsideProcess(command *exec.Cmd) (*outsideProcess, error) {
	stdin, err := command.StdinPipe()
	if err != nil {
		return nil, err
	}
	stdout, err := command.StdoutPipe()
	if err != nil {
		return nil, err
	}
	p := &outsideProcess{stdin: stdin, stdout: bufio.NewReaderSize(stdout, 1<<20), stderr: &bytes.Buffer{}}
	command.Stderr = p.stderr
	return p, command.Start()
}

// outside has scipy compute code's f(case) for every case, in order. The code
// is Python; np (numpy), stats, special and optimize (scipy) are at hand. A case
// becomes what encoding/json makes of it. The numbers f returns may be infinite
// or NaN.
//
// Without scipy the test is skipped, and under CI=true it fails.
func outside[C any](t *testing.T, code string, cases []C) [][]float64 {
	t.Helper()
	if len(cases) == 0 {
		t.Fatal("no cases to check against scipy")
	}
	if findScipy() == "" {
		const missing = "scipy is missing: install the Debian package python3-scipy"
		if os.Getenv("CI") == "true" {
			t.Fatal(missing)
		}
		t.Skip(missing)
	}
	p, err := startOutside()
	if err != nil {
		t.Fatal(err)
	}
	p.mutex.Lock()
	defer p.mutex.Unlock()
	request, err := json.Marshal(map[string]any{"code": code, "cases": cases})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := p.stdin.Write(append(request, '\n')); err != nil {
		t.Fatalf("asking scipy: %v", err)
	}
	line, err := p.stdout.ReadBytes('\n')
	if err != nil {
		t.Fatalf("scipy gave no answer (%v): %s", err, p.stderr)
	}
	var answer struct {
		Results [][]string
		Error   string
	}
	if err := json.Unmarshal(line, &answer); err != nil {
		t.Fatalf("scipy answered %q: %v", line, err)
	}
	if answer.Error != "" {
		t.Fatalf("scipy: %s", answer.Error)
	}
	if len(answer.Results) != len(cases) {
		t.Fatalf("scipy answered %d of %d cases", len(answer.Results), len(cases))
	}
	results := make([][]float64, len(cases))
	for i, texts := range answer.Results {
		results[i] = make([]float64, len(texts))
		for j, text := range texts {
			if results[i][j], err = strconv.ParseFloat(text, 64); err != nil {
				t.Fatal(err)
			}
		}
	}
	return results
}

// outsideCases is how many random cases each routine is checked on.
const outsideCases = 200

// outsideRandom returns the chance that picks a routine's cases: the same ones
// every time, others for every seed.
func outsideRandom(seed uint64) *rand.Rand { return rand.New(rand.NewPCG(seed, 20)) }

// randomCount picks cycles up to most, evenly on a logarithmic scale, and failures
// among them: none, all, a few or any number.
func randomCount(random *rand.Rand, most int) (failures, cycles int) {
	cycles = int(math.Exp(random.Float64() * math.Log(float64(most)+0.5)))
	switch random.IntN(6) {
	case 0:
		return 0, cycles
	case 1:
		return cycles, cycles
	case 2:
		return random.IntN(min(cycles, 5) + 1), cycles
	}
	return random.IntN(cycles + 1), cycles
}

// sameAsOutside reports whether got is scipy's want to within rel, relative,
// with NaN and infinities only equal to themselves. Where want is below floor,
// rel times floor is allowed.
func sameAsOutside(got, want, rel, floor float64) bool {
	if math.IsNaN(want) || math.IsInf(want, 0) {
		return math.IsNaN(got) && math.IsNaN(want) || got == want
	}
	return math.Abs(got-want) <= rel*max(math.Abs(want), floor)
}

func TestOutsideHarness(t *testing.T) {
	got := outside(t, "def f(c):\n  return [stats.norm.ppf(c['p']), float('inf'), float('nan')]",
		[]map[string]float64{{"p": 0.975}, {"p": 0.5}})
	if !near(got[0][0], 1.9599639845400542, 1e-14) || got[1][0] != 0 || !math.IsInf(got[0][1], 1) || !math.IsNaN(got[1][2]) {
		t.Errorf("scipy's normal quantiles: %v", got)
	}
}
