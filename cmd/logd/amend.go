package main

import (
	"fmt"
	"strconv"
	"strings"
	"text/tabwriter"
	"time"

	"github.com/spf13/cobra"

	"trialday.example/logd/cmd/logd/day"
	"trialday.example/logd/configs"
	"trialday.example/logd/sink/logbook"
	"trialday.example/logd/sink/results"
)

func amendCommand() *cobra.Command {
	var a amending
	c := &cobra.Command{
		Use:   "amend --trial DIR",
		Short: "Exclude or merge windows of a trial by hand, with name and reason",
		Long: "Exclude or merge windows of a trial by hand. An amendment is added to amendments.jsonl in the\n" +
			"trial's directory with who made it, when and why; frames and windows are never altered, and every\n" +
			"amendment can be withdrawn. The results are derived again, with the configuration that they were\n" +
			"derived with last. Windows are named by their id in windows.csv and results.json.",
	}
	c.PersistentFlags().StringVar(&a.dir, "trial", "", "directory of the trial")
	c.PersistentFlags().StringVar(&a.config, "config", "", "configuration (YAML), for a trial that has no results yet")
	_ = c.MarkPersistentFlagRequired("trial")
	c.AddCommand(
		a.command("exclude WINDOW...", "Let windows count in no step", logbook.Exclude, cobra.MinimumNArgs(1)),
		a.command("merge WINDOW WINDOW...", "Let windows of one direction and rpm count as one pass", logbook.Merge, cobra.MinimumNArgs(2)),
		a.command("withdraw AMENDMENT", "Take an earlier amendment back", logbook.Withdraw, cobra.ExactArgs(1)),
		&cobra.Command{
			Use: "list", Short: "List the amendments, and what became of each", Args: cobra.NoArgs,
			RunE: func(cmd *cobra.Command, _ []string) error { return a.list(cmd) },
		},
	)
	return c
}

// amending is what all amend commands are told.
type amending struct{ dir, config, name, reason string }

// command makes the one for an action.
func (a *amending) command(use, short, action string, args cobra.PositionalArgs) *cobra.Command {
	c := &cobra.Command{Use: use + " --name NAME --reason TEXT", Short: short, Args: args}
	c.Flags().StringVar(&a.name, "name", "", "who amends")
	c.Flags().StringVar(&a.reason, "reason", "", "why")
	_ = c.MarkFlagRequired("name")
	_ = c.MarkFlagRequired("reason")
	c.RunE = func(cmd *cobra.Command, args []string) error {
		asked := day.Asked{Name: a.name, Reason: a.reason, Action: action}
		for _, text := range args {
			n, err := strconv.Atoi(text)
			if err != nil {
				return fmt.Errorf("%q is not the number of a window or amendment", text)
			}
			asked.Windows = append(asked.Windows, n)
		}
		if action == logbook.Withdraw {
			asked.Windows, asked.Withdraws = nil, asked.Windows[0]
		}
		return a.amend(cmd, asked)
	}
	return c
}

// trial opens the trial and its configuration.
func (a *amending) trial() (logbook.Trial, configs.Config, error) {
	cfg, err := configs.ReadFile(a.config)
	if err != nil {
		return logbook.Trial{}, cfg, err
	}
	t, err := logbook.At(a.dir)
	if err == nil && a.config == "" && !day.Evaluated(t.Dir) {
		err = fmt.Errorf("%s has no results yet, and so no configuration to derive them with; give it with --config", t.String())
	}
	return t, cfg, err
}

func (a *amending) amend(cmd *cobra.Command, asked day.Asked) error {
	t, cfg, err := a.trial()
	if err != nil {
		return err
	}
	kept, r, line, err := day.Amend(cmd.Context(), t, cfg, version, asked, time.Now())
	if err != nil {
		return err
	}
	w := cmd.OutOrStdout()
	fmt.Fprintf(w, "amendment %d of %s kept\n", kept.ID, t.String())
	if t.Busy() {
		fmt.Fprintf(w, "the running logger writes the results to %s\n", t.Dir)
		return nil
	}
	if err := writeResults(t.Dir, r, line); err != nil {
		return err
	}
	printTable(w, r)
	fmt.Fprintf(w, "\nresults in %s\n", t.Dir)
	return nil
}

func (a *amending) list(cmd *cobra.Command) error {
	t, cfg, err := a.trial()
	if err != nil {
		return err
	}
	r, _, err := day.Amended(cmd.Context(), t, cfg, version)
	if err != nil {
		return err
	}
	for _, f := range r.Findings {
		if f.Kind == day.DamagedAmendments {
			fmt.Fprintln(cmd.ErrOrStderr(), f.What)
		}
	}
	if len(r.Amendments) == 0 {
		fmt.Fprintf(cmd.OutOrStdout(), "no amendment of %s yet\n", t.String())
		return nil
	}
	out := tabwriter.NewWriter(cmd.OutOrStdout(), 0, 0, 2, ' ', 0)
	fmt.Fprintln(out, "amendment\ttime (recorder's clock)\tname\twhat\tapplied\treason")
	for i := range r.Amendments {
		m := &r.Amendments[i]
		applied := "yes"
		if !m.Applied {
			applied = "no: " + m.Why
		}
		fmt.Fprintf(out, "%d\t%s\t%s\t%s\t%s\t%s\n", m.ID, m.Time, m.Name, what(m), applied, m.Reason)
	}
	return out.Flush()
}

// what says what an amendment does.
func what(m *results.Amendment) string {
	if m.Withdraws != nil {
		return fmt.Sprintf("withdraw amendment %d", *m.Withdraws)
	}
	var windows []string
	for _, w := range m.Windows {
		if w.ID != nil {
			windows = append(windows, fmt.Sprint(*w.ID))
		} else {
			windows = append(windows, "from "+w.Start)
		}
	}
	return m.Action + " windows " + strings.Join(windows, ", ")
}
