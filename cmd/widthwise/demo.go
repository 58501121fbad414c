package main

import (
	"embed"

	"github.com/spf13/cobra"
)

// The demo is a scenario like any other; see help scenario.
//
//go:embed demo*.toml
var demoFiles embed.FS

func (a *app) demoCommand() *cobra.Command {
	o := &checkOptions{}
	cmd := &cobra.Command{
		Use:   "demo",
		Short: "check a capture that is built into the program",
		Long: "Checks a capture that is built into the program: a model harbour tug whose radio was just replaced, with\n" +
			"throttle, rudder and winch. Boat and faults are invented.",
		Args: func(cmd *cobra.Command, args []string) error {
			if len(args) > 0 {
				return usageError("demo: brings its own capture; widthwise check %s judges yours", args[0])
			}
			return nil
		},
	}
	o.options = commonFlags(cmd, "rate", "time-unit", "threshold", "hysteresis", "delimiter", "decimal", "skip-bad-rows", "progress")
	group(cmd, printingGroup, o.flags)
	cmd.RunE = func(cmd *cobra.Command, _ []string) error {
		text, err := demoFiles.ReadFile("demo.toml")
		if err != nil {
			return err
		}
		all, err := a.builtIn(o.options, "demo (an invented tug)", text)
		if err != nil {
			return err
		}
		return a.check(cmd.Context(), o, all)
	}
	return cmd
}
