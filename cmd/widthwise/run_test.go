package main

import (
	"bytes"
	"context"
	"errors"
	"io"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"sync/atomic"
	"syscall"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"widthwise/decode"
)

func regexpReplace(text, pattern, with string) string {
	return regexp.MustCompile(pattern).ReplaceAllString(text, with)
}

// outcome is what a run left behind.
type outcome struct {
	code     int
	out, err string
}

// try runs the program in memory, its output going to a pipe.
func try(args ...string) outcome { return tryWith(nil, args...) }

func tryWith(change func(*streams), args ...string) outcome {
	var out, errs bytes.Buffer
	s := streams{in: strings.NewReader(""), out: &out, err: &errs, env: func(string) string { return "" }, width: defaultWidth}
	if change != nil {
		change(&s)
	}
	code := run(context.Background(), s, args)
	return outcome{code, out.String(), errs.String()}
}

func TestUsage(t *testing.T) {
	for _, c := range []struct{ args, want string }{
		{"chek tug.csv", "chek: no such command, did you mean check?; widthwise help lists them\n"},
		{"launch tug.csv", "launch: no such command; widthwise help lists them\n"},
		{"help launch", "help launch: no such command or topic; widthwise help lists them\n"},
		{"check", "check: no capture given; widthwise check CAPTURE..., - for standard input\n"},
		{"pulses", "pulses: no capture given; widthwise pulses CAPTURE, - for standard input\n"},
		{"pulses a b", "pulses: 2 captures given; one, such as a\n"},
		{"demo tug.csv", "demo: brings its own capture; widthwise check tug.csv judges yours\n"},
		{"check --period 22 tug.csv", "--period 22: a duration needs a unit; 22s, 22ms, 22us or 22ns\n"},
		{"check nosuch.csv", "nosuch.csv: no such file or directory\n"},
		{"check --limits nosuch.toml tug.csv", "nosuch.toml: no such file or directory\n"},
		{"convert a", "convert: 1 name given; two, IN and OUT\n"},
		{"convert a b", "b: no format by that name; a name in .csv or .vcd, or --as csv or --as vcd\n"},
		{"convert a -", "-: standard output has no name to tell the format by; --as csv or --as vcd\n"},
		{"convert --samples 1MHz a b.vcd", "--samples: a value change dump has no samples; OUT in .csv, or no --samples\n"},
		{"convert run_test.go ./run_test.go --as csv", "./run_test.go: would be written over; another name for what is written\n"},
	} {
		t.Run(c.args, func(t *testing.T) {
			assert.Equal(t, outcome{exitUnreadable, "", c.want}, try(strings.Fields(c.args)...))
		})
	}
}

func TestHelp(t *testing.T) {
	bare := try()
	assert.Equal(t, exitUnreadable, bare.code)
	assert.Empty(t, bare.out)
	assert.Equal(t, try("help").out, bare.err, "without a command the list of commands is what would be right")

	for _, page := range []string{"check", "inspect", "pulses", "convert", "demo", "failsafe", "calibrate", "compare", "limits", "scenario", "formats", "exit"} {
		got := try("help", page)
		assert.Zero(t, got.code, page)
		assert.NotEmpty(t, got.out, page)
		assert.Empty(t, got.err, page)
		assert.Contains(t, bare.err, "  "+page, "listed")
		for _, line := range strings.Split(got.out, "\n") {
			assert.LessOrEqual(t, len([]rune(line)), 110, "%s: %q", page, line)
		}
	}
	for _, command := range []string{"check", "inspect", "pulses", "convert", "demo", "failsafe", "calibrate", "compare"} {
		assert.Equal(t, try("help", command), try(command, "--help"))
	}
	assert.Equal(t, limitsExample, try("help", "limits").out)
}

func TestWorstExitWins(t *testing.T) {
	order := []int{exitUnreadable, exitFailed, exitUndecided, exitInOrder}
	for i, worse := range order {
		for _, better := range order[i:] {
			assert.Equal(t, worse, worseExit(worse, better))
			assert.Equal(t, worse, worseExit(better, worse))
		}
	}
	assert.Equal(t, exitInOrder, exitOf(decode.Passed))
	assert.Equal(t, exitFailed, exitOf(decode.Failed))
	assert.Equal(t, exitUndecided, exitOf(decode.Undecided))
	assert.Equal(t, exitUndecided, exitOf(""))
}

func TestErrorsAreOneSafeLine(t *testing.T) {
	got := try("check", "no\nsuch\x1b[2J\u202efile")
	assert.Equal(t, outcome{exitUnreadable, "", "no such\\u001b[2J\\u202efile: no such file or directory\n"}, got)
}

func TestOutputFileAppearsWholeOrNotAtAll(t *testing.T) {
	dir := t.TempDir()
	name := filepath.Join(dir, "out.csv")
	require.NoError(t, os.WriteFile(name, []byte("before"), 0o666))
	half := func(w io.Writer) error {
		io.WriteString(w, strings.Repeat("half", 1<<20))
		return errors.New("broken off")
	}
	require.EqualError(t, writeFile(name, half), "broken off")
	text, err := os.ReadFile(name)
	require.NoError(t, err)
	assert.Equal(t, "before", string(text))

	require.NoError(t, writeFile(name, func(w io.Writer) error { _, err := io.WriteString(w, "after"); return err }))
	text, err = os.ReadFile(name)
	require.NoError(t, err)
	assert.Equal(t, "after", string(text))
	entries, err := os.ReadDir(dir)
	require.NoError(t, err)
	assert.Len(t, entries, 1, "nothing is left beside it")

	assert.EqualError(t, writeFile(filepath.Join(dir, "no", "out.csv"), half), filepath.Join(dir, "no", "out.csv")+": no such file or directory")
	assert.EqualError(t, writeFile(dir, half), dir+": a directory; the name of a file")
	assert.EqualError(t, writeFile(os.DevNull, half), "broken off")
}

func TestColourFollowsTerminalAndWish(t *testing.T) {
	for _, c := range []struct {
		flag     string
		terminal bool
		env      map[string]string
		want     bool
	}{
		{"auto", true, nil, true},
		{"auto", false, nil, false},
		{"auto", true, map[string]string{"NO_COLOR": "1"}, false},
		{"auto", true, map[string]string{"TERM": "dumb"}, false},
		{"never", true, nil, false},
		{"always", false, nil, true},
		{"always", true, map[string]string{"NO_COLOR": "1"}, true},
	} {
		s := streams{outTerminal: c.terminal, env: func(key string) string { return c.env[key] }}
		assert.Equal(t, c.want, s.style(c.flag).Colour, "%+v", c)
	}
}

// broken fails every write as a pipe does whose reader has left.
type broken struct{ err error }

func (b broken) Write([]byte) (int, error) { return 0, b.err }

func TestClosedPipeEndsQuietly(t *testing.T) {
	got := tryWith(func(s *streams) { s.out = broken{&os.PathError{Op: "write", Path: "|1", Err: syscall.EPIPE}} }, "demo")
	assert.Empty(t, got.err)
	assert.Equal(t, try("demo").code, got.code)

	full := tryWith(func(s *streams) { s.out = broken{syscall.ENOSPC} }, "demo")
	assert.Equal(t, exitUnreadable, full.code)
	assert.Equal(t, "no space left on device\n", full.err)
}

func TestInterrupt(t *testing.T) {
	ctx, stop := context.WithCancel(context.Background())
	stop()
	for _, args := range [][]string{{"demo"}, {"demo", "--json"}} {
		var out, errs bytes.Buffer
		s := streams{in: strings.NewReader(""), out: &out, err: &errs, env: func(string) string { return "" }}
		assert.Equal(t, exitUnreadable, run(ctx, s, args))
		assert.Empty(t, out.String())
		assert.Equal(t, "interrupted\n", errs.String())
	}
}

// meter stands in for the bar.
type meter struct {
	size, read int64
	finished   bool
}

func (m *meter) add(n int) { atomic.AddInt64(&m.read, int64(n)) }
func (m *meter) finish()   { m.finished = true }

func TestProgressOnLargeFilesOnly(t *testing.T) {
	large, small := filepath.Join(t.TempDir(), "large.csv"), filepath.Join(t.TempDir(), "small.csv")
	require.NoError(t, os.WriteFile(small, nil, 0o666))
	require.NoError(t, os.WriteFile(large, []byte("Time,rudder\n0.0,1\n"), 0o666))
	require.NoError(t, os.Truncate(large, largeFile)) // the rest is no table
	show := func(args ...string) *meter {
		var m *meter
		got := tryWith(func(s *streams) {
			s.openProgress = func(size int64, _ string) progress { m = &meter{size: size}; return m }
		}, args...)
		assert.Equal(t, exitUnreadable, got.code)
		return m
	}
	m := show("check", large)
	require.NotNil(t, m)
	assert.EqualValues(t, largeFile, m.size)
	assert.Positive(t, m.read)
	assert.True(t, m.finished)
	assert.Nil(t, show("check", small))
	assert.Nil(t, show("check", "--progress", "never", large))
	assert.Nil(t, show("check", "--quiet", large))
}
