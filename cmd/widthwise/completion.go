package main

import (
	"io"
	"runtime"
	"runtime/debug"

	"github.com/spf13/cobra"
	"golang.org/x/exp/maps"
	"golang.org/x/exp/slices"

	"widthwise/decode/phrase"
	"widthwise/formats"
)

// shells have a script that completes words on the command line.
var shells = map[string]func(*cobra.Command, io.Writer) error{
	"bash":       func(root *cobra.Command, w io.Writer) error { return root.GenBashCompletionV2(w, true) },
	"zsh":        func(root *cobra.Command, w io.Writer) error { return root.GenZshCompletion(w) },
	"fish":       func(root *cobra.Command, w io.Writer) error { return root.GenFishCompletion(w, true) },
	"powershell": func(root *cobra.Command, w io.Writer) error { return root.GenPowerShellCompletionWithDesc(w) },
}

func completionCommand() *cobra.Command {
	names := maps.Keys(shells)
	slices.Sort(names)
	return &cobra.Command{
		Use:   "completion SHELL",
		Short: "a script for a shell: completes commands, flags, values, channels",
		Long: "Prints a script for bash, zsh, fish or powershell. Once the shell has read it, the tabulator key completes\n" +
			"commands, flags, the words a flag takes, and the channels of the capture on the line.",
		Example:   "  source <(widthwise completion bash)\n  widthwise completion fish > ~/.config/fish/completions/widthwise.fish",
		ValidArgs: names,
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) != 1 || shells[args[0]] == nil {
				return usageError("completion: the name of a shell; %s", phrase.Or(names))
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, args []string) error { return shells[args[0]](cmd.Root(), cmd.OutOrStdout()) },
	}
}

// completes offers words for the value of a flag.
func completes(cmd *cobra.Command, flag string, words ...string) {
	if cmd.Flags().Lookup(flag) != nil {
		cmd.RegisterFlagCompletionFunc(flag, cobra.FixedCompletions(words, cobra.ShellCompDirectiveNoFileComp))
	}
}

// completesChannels offers the channels of the captures on the line.
func completesChannels(cmd *cobra.Command) {
	if cmd.Flags().Lookup("channel") == nil {
		return
	}
	cmd.RegisterFlagCompletionFunc("channel", func(_ *cobra.Command, args []string, _ string) ([]string, cobra.ShellCompDirective) {
		var names []string
		for _, file := range args {
			r, err := formats.Open(file, formats.Options{})
			if err != nil {
				continue
			}
			for _, ch := range r.Channels() {
				names = append(names, ch.Name)
			}
			r.Close()
		}
		return names, cobra.ShellCompDirectiveNoFileComp
	})
}

func versionCommand() *cobra.Command {
	return &cobra.Command{
		Use:   "version",
		Short: "which build this is",
		Long:  "Prints the version, the compiler and the machine that this program was built with and for.",
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) > 0 {
				return usageError("version: takes nothing more; widthwise version")
			}
			return nil
		},
		Run: func(cmd *cobra.Command, _ []string) { io.WriteString(cmd.OutOrStdout(), version()+"\n") },
	}
}

// version is what the compiler wrote into the program.
func version() string {
	number := "of unknown version"
	if info, ok := debug.ReadBuildInfo(); ok && info.Main.Version != "" {
		number = info.Main.Version
	}
	return "widthwise " + number + ", " + runtime.Version() + ", " + runtime.GOOS + "/" + runtime.GOARCH
}
