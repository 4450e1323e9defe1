// Logd is the logger for a powerboat trial day. See README.md.
package main

import (
	"context"
	"fmt"
	"os"

	"github.com/spf13/cobra"
)

// version stands in results.json and on the sheet.
const version = "0.1.0"

func main() {
	if err := command().ExecuteContext(context.Background()); err != nil {
		fmt.Fprintln(os.Stderr, "logd:", err)
		os.Exit(1)
	}
}

// command returns the whole command line.
func command() *cobra.Command {
	root := &cobra.Command{
		Use:           "logd",
		Short:         "Logger for a powerboat trial day: CAN frames in, trial sheet out",
		Version:       version,
		SilenceUsage:  true,
		SilenceErrors: true,
	}
	root.AddCommand(demoCommand(), replayCommand(), simulateCommand(), importCommand(), exportCommand(),
		runCommand(), checkCommand(), setupCommand(), trialCommand(), noteCommand(), amendCommand(), compareCommand(), sendCommand(), sheetCommand(), watchCommand(), pageCommand())
	return root
}
