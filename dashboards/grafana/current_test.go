package grafana_test

import (
	"bytes"
	"os"
	"os/exec"
	"testing"
)

const boardFile = "boards/soak-tonight.json"

func TestCommittedBoardIsCurrent(t *testing.T) {
	generate := exec.Command("go", "run", ".")
	generate.Dir = "generate"
	generate.Env = append(os.Environ(), "GOFLAGS=-mod=readonly") // flags meant for this module do not fit that one
	var want, problem bytes.Buffer
	generate.Stdout, generate.Stderr = &want, &problem
	if err := generate.Run(); err != nil {
		t.Fatalf("go run . in generate: %v\n%s", err, problem.String())
	}
	got, err := os.ReadFile(boardFile)
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(got, want.Bytes()) {
		t.Errorf("%s is not what the generator makes; run: go generate ./dashboards/grafana", boardFile)
	}
}
