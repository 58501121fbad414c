package main

import (
	_ "embed"
	"fmt"
	"io"
	"strings"

	"github.com/jedib0t/go-pretty/v6/text"
	"github.com/spf13/cobra"
	"github.com/spf13/pflag"
	"golang.org/x/exp/slices"

	"widthwise/formats/scenario"
)

// limitsExample is a commented limits file that works.
//
//go:embed limits_example.toml
var limitsExample string

// rubricExample is a commented rubric that works on exerciseExample, a scenario
// for a class.
var (
	//go:embed rubric_example.toml
	rubricExample string
	//go:embed exercise_example.toml
	exerciseExample string
)

// formatsHelp says what captures are read and how.
//
//go:embed help_formats.txt
var formatsHelp string

// wordsHelp explains the words of the reports.
//
//go:embed help_words.txt
var wordsHelp string

// safetyHelp is the long form of the caution that stands with every verdict.
//
//go:embed help_safety.txt
var safetyHelp string

const exitHelp = `Exit status, everywhere:

  0  in order
  1  something failed: a judged channel, a tolerance, a safety rule
  2  usage, or a capture that could not be read
  3  undecided: nothing was judged, or too little was seen to pass

With several captures the first of 2, 1, 3, 0 that occurs is the status of the
run; every capture that can be read is still reported. inspect, pulses and
convert end with 0 or 2, calibrate also with 3 where a constant could not be
found; grade ends with 0 whatever the grades, and 2 if nothing could be graded.

A script at the bench:

  widthwise check --quiet tug.csv
  case $? in
    0) echo in order, in what was seen ;;
    1) echo look at it: widthwise check tug.csv ;;
    3) echo too little to tell: record for longer ;;
    *) echo not readable ;;
  esac
`

// topics are pages of help that are no commands.
func topics() []*cobra.Command {
	return []*cobra.Command{
		{Use: "limits", Short: "a limits file, ready to be changed", Long: limitsExample},
		{Use: "scenario", Short: "a scenario file, ready to be changed", Long: scenario.Example},
		{Use: "rubric", Short: "a rubric, ready to be changed", Long: rubricExample},
		{Use: "exercise", Short: "an exercise for that rubric, as a scenario", Long: exerciseExample},
		{Use: "formats", Short: "what captures are read", Long: formatsHelp},
		{Use: "words", Short: "the words of the reports, explained", Long: wordsHelp},
		{Use: "safety", Short: "what a pass means, and cautions", Long: safetyHelp},
		{Use: "exit", Short: "what the exit status says", Long: exitHelp},
	}
}

// help prints a topic as it is, so that it can be saved and used, and a
// command by its purpose, its flags and examples.
func help(cmd *cobra.Command, _ []string) {
	w := cmd.OutOrStdout()
	switch {
	case !cmd.HasParent():
		rootHelp(w, cmd)
	case !cmd.Runnable() && !cmd.HasSubCommands():
		io.WriteString(w, cmd.Long)
	default:
		commandHelp(w, cmd)
	}
}

func rootHelp(w io.Writer, root *cobra.Command) {
	fmt.Fprintf(w, "%s.\n\n  %s\n\ncommands\n", root.Short, root.Use)
	list := func(runnable bool) {
		for _, c := range root.Commands() {
			if c.Runnable() == runnable && !c.Hidden && c.Name() != "help" {
				fmt.Fprintf(w, "  %-11s %s\n", c.Name(), c.Short)
			}
		}
	}
	list(true)
	fmt.Fprint(w, "\nwidthwise COMMAND --help shows the flags of a command, widthwise help TOPIC one of\n\n")
	list(false)
	fmt.Fprint(w, "\nFirst steps\n\n  widthwise demo\n  widthwise inspect CAPTURE\n  widthwise check CAPTURE\n")
}

func commandHelp(w io.Writer, cmd *cobra.Command) {
	fmt.Fprintf(w, "%s\n\n  %s [flags]\n", cmd.Long, useLine(cmd))
	if cmd.Example != "" {
		fmt.Fprintf(w, "\nexamples\n%s\n", cmd.Example)
	}
	for _, heading := range headings(cmd) {
		opened := false
		cmd.Flags().VisitAll(func(f *pflag.Flag) {
			if groups := f.Annotations[flagGroup]; len(groups) == 0 || groups[0] != heading {
				return
			}
			if !opened {
				fmt.Fprintf(w, "\n%s\n", heading)
				opened = true
			}
			flagHelp(w, f)
		})
	}
}

// headings are those of a command's flags: what it alone takes comes before the
// printing.
func headings(cmd *cobra.Command) []string {
	out := []string{readingGroup, judgingGroup}
	cmd.Flags().VisitAll(func(f *pflag.Flag) {
		if g := f.Annotations[flagGroup]; len(g) > 0 && g[0] != printingGroup && !slices.Contains(out, g[0]) {
			out = append(out, g[0])
		}
	})
	return append(out, printingGroup)
}

// useLine is how a command is called, without the flags.
func useLine(cmd *cobra.Command) string { return strings.TrimSuffix(cmd.UseLine(), " [flags]") }

// flagColumn is where the words about a flag begin.
const flagColumn = 30

// flagHelp prints a flag, what it takes, and what it does.
func flagHelp(w io.Writer, f *pflag.Flag) {
	value, about := "", f.Usage
	if _, quoted, ok := strings.Cut(f.Usage, "`"); ok {
		value, about, _ = strings.Cut(quoted, "`")
	}
	name := "  --" + f.Name + " " + value
	if f.Shorthand != "" {
		name = "  -" + f.Shorthand + ", --" + f.Name + " " + value
	}
	if len(name) > flagColumn-2 {
		fmt.Fprintln(w, name)
		name = ""
	}
	lines := text.WrapSoft(strings.TrimSpace(about), 100-flagColumn)
	for _, line := range strings.Split(lines, "\n") {
		fmt.Fprintf(w, "%-*s%s\n", flagColumn, name, strings.TrimRight(line, " "))
		name = ""
	}
}

// helpCommand shows the page of a command or a topic.
func helpCommand(root *cobra.Command) *cobra.Command {
	return &cobra.Command{
		Use:   "help [COMMAND|TOPIC]",
		Short: "a page on a command or a topic",
		RunE: func(_ *cobra.Command, args []string) error {
			page, rest, err := root.Find(args)
			if err != nil || len(rest) > 0 {
				return usageError("help %s: no such command or topic; widthwise help lists them", strings.Join(args, " "))
			}
			return page.Help()
		},
	}
}
