package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"
	"syscall"

	"github.com/spf13/cobra"
	"golang.org/x/exp/slices"

	"widthwise/decode"
	"widthwise/decode/phrase"
)

// Exit statuses, the same everywhere.
const (
	exitInOrder    = 0
	exitFailed     = 1 // something that was judged failed
	exitUnreadable = 2 // usage, or a capture that could not be read
	exitUndecided  = 3 // nothing was judged, or too little seen to pass
)

// worseExit returns the one that wins when several captures end differently.
func worseExit(a, b int) int {
	order := []int{exitUnreadable, exitFailed, exitUndecided, exitInOrder}
	return order[min(slices.Index(order, a), slices.Index(order, b))]
}

// exitOf is the status of one outcome.
func exitOf(o decode.Outcome) int {
	switch o {
	case decode.Passed:
		return exitInOrder
	case decode.Failed:
		return exitFailed
	}
	return exitUndecided
}

// app is one run of the program: where it reads and writes, and how it ends.
type app struct {
	streams
	code int
}

// run does what the arguments ask and returns the exit status.
func run(ctx context.Context, s streams, args []string) int {
	a := &app{streams: s}
	root := a.root()
	root.SetArgs(withCommand(root, args))
	root.SetIn(s.in)
	root.SetOut(s.out)
	root.SetErr(s.err)
	if err := root.ExecuteContext(ctx); err != nil {
		a.complain(err)
	}
	return a.code
}

// ended takes the outcome of one capture into the status of the run.
func (a *app) ended(code int) { a.code = worseExit(a.code, code) }

// complain prints an error as one line and sets the status. A reader that went
// away is no error: what was found until then counts.
func (a *app) complain(err error) {
	if closedPipe(err) {
		return
	}
	fmt.Fprintln(a.err, oneLine(wording(err)))
	a.ended(exitUnreadable)
}

// warn prints a warning about a capture that was read nevertheless.
func (a *app) warn(file, text string) { fmt.Fprintln(a.err, oneLine(file+": warning: "+text)) }

func closedPipe(err error) bool {
	const windowsNoData = syscall.Errno(232) // no such number elsewhere
	return errors.Is(err, syscall.EPIPE) || errors.Is(err, windowsNoData) || errors.Is(err, io.ErrClosedPipe)
}

// wording is an error in our own words, options as flags.
func wording(err error) string {
	if errors.Is(err, context.Canceled) {
		return "interrupted"
	}
	return dashed(err.Error())
}

// oneLine keeps a message on one line and free of what could steer a terminal,
// whatever names it quotes.
func oneLine(s string) string {
	var b strings.Builder
	for _, r := range s {
		switch {
		case r == '\n' || r == '\t' || r == '\r':
			b.WriteByte(' ')
		case !printable(r):
			fmt.Fprintf(&b, "\\u%04x", r)
		default:
			b.WriteRune(r)
		}
	}
	return strings.TrimSpace(b.String())
}

// usageError is a request that cannot be met as it was put.
func usageError(format string, args ...any) error { return fmt.Errorf(format, args...) }

// root builds the command tree. A new command is a file with a constructor and
// a line here.
func (a *app) root() *cobra.Command {
	root := &cobra.Command{
		Use:           "widthwise COMMAND [flags] CAPTURE...",
		Short:         "Decodes logic-analyser captures of servo-style pulse trains and judges them",
		SilenceErrors: true,
		SilenceUsage:  true,
		Args:          cobra.ArbitraryArgs,
		Version:       version(),
	}
	root.RunE = func(cmd *cobra.Command, args []string) error {
		if len(args) > 0 {
			return usageError("%s: no such command%s; widthwise help lists them", args[0], nearest(args[0], commandNames(root)))
		}
		a.code = exitUnreadable
		root.SetOut(a.err)
		return root.Help()
	}
	root.AddCommand(a.checkCommand(), a.inspectCommand(), a.pulsesCommand(), a.gradeCommand(), a.failsafeCommand(), a.calibrateCommand(), a.compareCommand(), a.convertCommand(), a.demoCommand())
	root.AddCommand(topics()...)
	root.AddCommand(completionCommand(), versionCommand())
	root.SetVersionTemplate("{{.Version}}\n")
	root.SetHelpFunc(help)
	root.SetHelpCommand(helpCommand(root))
	return root
}

// withCommand puts "check" before arguments that begin with a capture, or with
// a flag of it.
func withCommand(root *cobra.Command, args []string) []string {
	if len(args) == 0 || strings.HasPrefix(args[0], cobra.ShellCompRequestCmd) {
		return args
	}
	first := args[0]
	if strings.HasPrefix(first, "-") && first != "-" {
		if slices.Contains([]string{"-h", "--help", "--version", "--"}, first) {
			return args
		}
		return append([]string{"check"}, args...)
	}
	if cmd, _, err := root.Find(args); err == nil && cmd != root {
		return args
	}
	if _, err := os.Stat(first); first == "-" || err == nil || strings.ContainsAny(first, `./\`) {
		return append([]string{"check"}, args...)
	}
	return args
}

func commandNames(root *cobra.Command) []string {
	var names []string
	for _, c := range root.Commands() {
		if c.Runnable() && !c.Hidden {
			names = append(names, c.Name())
		}
	}
	return names
}

// nearest suggests the word that a mistyped one was meant to be.
func nearest(word string, known []string) string {
	if best := phrase.Nearest(word, known); best != "" {
		return ", did you mean " + best + "?"
	}
	return ""
}
