// Logd is the logger for a powerboat trial day. See README.md.
package main

import (
	"context"
	"fmt"
	"os"
	"runtime/debug"

	"github.com/spf13/cobra"
)

// version stands in results.json and on the sheet.
const version = "0.1.0"

// replayMemory, bytes, is where the collector of garbage begins to work harder in a
// replay. A day of ten hours needs a third of that and one of 33 h two thirds; without
// a bound most of the memory of a long day's replay is garbage.
const replayMemory = 28 << 20

func main() {
	root := command()
	root.PersistentPreRun = func(c *cobra.Command, _ []string) {
		if c.Name() == "replay" && os.Getenv("GOMEMLIMIT") == "" {
			debug.SetMemoryLimit(replayMemory)
		}
	}
	if err := root.ExecuteContext(context.Background()); err != nil {
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
