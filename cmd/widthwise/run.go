package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"strings"
	"syscall"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"
	"golang.org/x/exp/slices"

	"widthwise/decode"
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
	root.SetArgs(args)
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

// wording is an error in our own words: "--FLAG VALUE: what is wrong; what
// would be right" for flags.
func wording(err error) string {
	var value *pflag.InvalidValueError
	var unknown *pflag.NotExistError
	var needs *pflag.ValueRequiredError
	switch {
	case errors.Is(err, context.Canceled):
		return "interrupted"
	case errors.As(err, &value) && value.GetFlag().Value.Type() == "bool":
		return fmt.Sprintf("--%s=%s: not yes or no; true, false or the flag alone", value.GetFlag().Name, value.GetValue())
	case errors.As(err, &value):
		return fmt.Sprintf("--%s %s: %v", value.GetFlag().Name, value.GetValue(), value.Unwrap())
	case errors.As(err, &unknown) && unknown.GetSpecifiedShortnames() != "":
		return "-" + unknown.GetSpecifiedName() + ": no such flag; --help lists the flags"
	case errors.As(err, &unknown):
		return "--" + unknown.GetSpecifiedName() + ": no such flag; --help lists the flags"
	case errors.As(err, &needs):
		return "--" + needs.GetSpecifiedName() + ": a value is missing; --help shows what it takes"
	}
	return err.Error()
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
	}
	root.RunE = func(cmd *cobra.Command, args []string) error {
		if len(args) > 0 {
			return usageError("%s: no such command%s; widthwise help lists them", args[0], nearest(args[0], commandNames(root)))
		}
		a.code = exitUnreadable
		root.SetOut(a.err)
		return root.Help()
	}
	root.AddCommand(a.checkCommand(), a.inspectCommand(), a.pulsesCommand(), a.convertCommand(), a.gradeCommand(), a.demoCommand())
	root.AddCommand(topics()...)
	root.SetHelpFunc(help)
	root.SetHelpCommand(helpCommand(root))
	root.CompletionOptions.HiddenDefaultCmd = true
	return root
}

func commandNames(root *cobra.Command) []string {
	var names []string
	for _, c := range root.Commands() {
		if c.Runnable() {
			names = append(names, c.Name())
		}
	}
	return names
}

// nearest suggests the word that a mistyped one was meant to be.
func nearest(word string, known []string) string {
	best, least := "", 3
	for _, k := range known {
		if d := distance(word, k); d < least {
			best, least = k, d
		}
	}
	if best == "" {
		return ""
	}
	return ", did you mean " + best + "?"
}

// distance counts the letters to insert, delete or replace (Levenshtein 1966).
func distance(a, b string) int {
	row := make([]int, len(b)+1)
	for j := range row {
		row[j] = j
	}
	for i := range len(a) {
		diagonal := row[0]
		row[0] = i + 1
		for j := range len(b) {
			cost := diagonal
			if a[i] != b[j] {
				cost++
			}
			diagonal = row[j+1]
			row[j+1] = min(cost, row[j]+1, row[j+1]+1)
		}
	}
	return row[len(b)]
}
