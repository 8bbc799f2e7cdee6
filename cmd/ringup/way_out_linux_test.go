package main

import (
	"errors"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"testing"

	"ringup/scripts"
)

// TestScriptKilledWhileOn kills the script's process in mid-cycle, as the system does when it is short of memory.
func TestScriptKilledWhileOn(t *testing.T) {
	r := &rehearsal{}
	r.whenOn = func() {
		child, err := scriptChild()
		if err == nil {
			err = syscall.Kill(child, syscall.SIGKILL)
		}
		if err != nil {
			t.Error(err)
		}
	}
	run, err := r.run(t, someCycles)
	r.wantOff(t)
	r.wantEnd(t, run, err, exitFailed, "failed")
}

// scriptChild finds the process of the one script that this process runs.
func scriptChild() (int, error) { return childOf(os.Getpid(), scripts.ChildCommand) }

// childOf finds a child of a process by a part of its command line, in which a zero byte ends each argument.
func childOf(parent int, part string) (int, error) {
	files, err := filepath.Glob("/proc/[0-9]*/stat")
	if err != nil {
		return 0, err
	}
	for _, file := range files {
		stat, _ := os.ReadFile(file) // empty if the process has ended meanwhile
		// proc_pid_stat(5): pid (comm) state ppid
		_, rest, _ := strings.Cut(string(stat), ") ")
		fields := strings.Fields(rest)
		line, _ := os.ReadFile(filepath.Join(filepath.Dir(file), "cmdline"))
		if len(fields) > 1 && fields[1] == strconv.Itoa(parent) && strings.Contains(string(line), part) {
			return strconv.Atoi(filepath.Base(filepath.Dir(file)))
		}
	}
	return 0, errors.New("no such process found")
}
