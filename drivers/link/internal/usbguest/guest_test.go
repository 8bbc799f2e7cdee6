//go:build linux

package usbguest_test

import (
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"ringup/drivers/link/internal/usbguest"
)

func TestMain(m *testing.M) { usbguest.Main(m) }

// TestGuest boots the guest, in which all tests whose names begin with
// TestInside run.
func TestGuest(t *testing.T) {
	const root = "../../../.."
	write := os.Getenv("RINGUP_WRITE") == "1"
	table := filepath.Join(root, "testdata", matrixTable)
	files := []string{buildRingup(t)}
	for _, name := range dialectFiles {
		files = append(files, filepath.Join(root, "drivers/dialect/files", name))
	}
	if _, err := os.Stat(table); err == nil || !write {
		files = append(files, table)
	}
	log := usbguest.Run(t, "TestInside", files...)
	if !write {
		return
	}
	var text strings.Builder
	for line := range strings.Lines(log) {
		if row, found := strings.CutPrefix(line, tableMark); found {
			text.WriteString(row)
		}
	}
	if err := os.WriteFile(table, []byte(text.String()), 0o644); err != nil {
		t.Fatal(err)
	}
}

// buildRingup builds the program itself for the guest, which has no C library.
func buildRingup(t *testing.T) string {
	t.Helper()
	program := filepath.Join(t.TempDir(), "ringup")
	build := exec.Command("go", "build", "-ldflags=-s -w", "-buildvcs=false", "-o", program, "ringup/cmd/ringup")
	build.Env = append(os.Environ(), "CGO_ENABLED=0", "GOOS=linux", "GOARCH=amd64")
	if out, err := build.CombinedOutput(); err != nil {
		t.Fatalf("building ringup: %v\n%s", err, out)
	}
	return program
}
