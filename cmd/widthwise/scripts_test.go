package main

import (
	"context"
	"flag"
	"os"
	"path/filepath"
	"testing"

	"github.com/rogpeppe/go-internal/testscript"
	"github.com/stretchr/testify/require"
)

var update = flag.Bool("update", false, "rewrite the expected output in the scripts")

// TestMain lets the test binary stand in for the command.
func TestMain(m *testing.M) {
	testscript.Main(m, map[string]func(){"widthwise": func() {
		os.Exit(run(context.Background(), systemStreams(), os.Args[1:]))
	}})
}

// scriptsDir holds what the command line does, one archive a scenario: the
// commands, the input files and the expected output.
const scriptsDir = "../../testdata/scripts"

func TestScripts(t *testing.T) {
	found, err := filepath.Glob(filepath.Join(scriptsDir, "*.txtar"))
	require.NoError(t, err)
	require.NotEmpty(t, found)
	testscript.Run(t, testscript.Params{
		Dir:             scriptsDir,
		UpdateScripts:   *update,
		ContinueOnError: true,
		Setup: func(env *testscript.Env) error {
			env.Setenv("TERM", "xterm-256color")
			return nil
		},
		Cmds: map[string]func(*testscript.TestScript, bool, []string){"exits": exits},
	})
}

// exits CODE COMMAND... runs a command and requires its exit status.
func exits(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) < 2 {
		ts.Fatalf("usage: exits CODE COMMAND...")
	}
	err := ts.Exec(args[1], args[2:]...)
	code := "0"
	if err != nil {
		code = exitStatus(err)
	}
	if code != args[0] {
		ts.Fatalf("exit status %s, want %s: %v", code, args[0], err)
	}
}
