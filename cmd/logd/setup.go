package main

import (
	"bufio"
	"bytes"
	"fmt"
	"io"
	"os"
	"strconv"
	"strings"

	"github.com/spf13/cobra"
	"golang.org/x/term"

	"trialday.example/logd/configs"
)

func setupCommand() *cobra.Command {
	var s setup
	var seconds float64
	c := &cobra.Command{
		Use:   "setup [--out boat.yaml] [--seconds 20] [CAPTURE]",
		Short: "Write the configuration of a boat from what is heard on its buses",
		Long: "Listen for some seconds, or read a capture, and write a complete commented configuration: engines,\n" +
			"devices and tank as they were heard. What cannot be heard is asked for on a terminal (an empty answer\n" +
			"leaves it open), and otherwise left as a commented line. Have the engines running, so that all are\n" +
			"heard. Nothing is sent on a bus.",
		Args: cobra.MaximumNArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			if err := s.free(); err != nil {
				return err
			}
			cfg := configs.Default()
			cfg.Bus.Interfaces = s.interfaces
			h, err := hearAll(cmd, &cfg, seconds, args)
			if err != nil {
				return err
			}
			defer h.close()
			if in, ok := cmd.InOrStdin().(*os.File); ok && term.IsTerminal(int(in.Fd())) {
				s.in = bufio.NewReader(in)
			}
			return s.run(h, cmd.OutOrStdout())
		},
	}
	c.Flags().StringVar(&s.out, "out", "boat.yaml", "file to write")
	c.Flags().BoolVar(&s.force, "force", false, "replace the file if there is one")
	c.Flags().Float64Var(&seconds, "seconds", 20, "how long to listen")
	c.Flags().StringSliceVar(&s.interfaces, "interfaces", []string{"can0"}, "CAN interfaces to listen to")
	c.Flags().StringVar(&s.journal, "journal", "journal", "folder for the trials, as it is to stand in the file")
	return c
}

// setup makes a configuration of what was heard.
type setup struct {
	out, journal string
	force        bool
	interfaces   []string
	in           *bufio.Reader // where answers come from; nil: nobody is asked
}

// free refuses a file that is there.
func (s *setup) free() error {
	if _, err := os.Lstat(s.out); err == nil && !s.force {
		return fmt.Errorf("%s is there already: give another name with --out, or --force to replace it", s.out)
	}
	return nil
}

func (s *setup) run(h *hearing, w io.Writer) error {
	p := propose(h)
	p.Journal = s.journal
	if h.live {
		p.Interfaces = s.interfaces
	}
	p.told(w)
	if s.in != nil {
		if err := s.ask(p, w); err != nil {
			return err
		}
	}
	text := p.yaml()
	// The file must pass the checks of every command that reads it.
	if _, err := configs.Parse(bytes.NewReader(text), s.out); err != nil {
		return fmt.Errorf("what was heard gives no configuration: %w", err)
	}
	if err := s.write(text); err != nil {
		return err
	}
	fmt.Fprintf(w, "written: %s\nlook it through, then: logd check --config %s\n", s.out, s.out)
	return nil
}

// write creates the file, so that none is lost that came in the meantime.
func (s *setup) write(text []byte) error {
	mode := os.O_WRONLY | os.O_CREATE | os.O_EXCL
	if s.force {
		mode = os.O_WRONLY | os.O_CREATE | os.O_TRUNC
	}
	f, err := os.OpenFile(s.out, mode, 0o644)
	if err != nil {
		return err
	}
	if _, err := f.Write(text); err != nil {
		f.Close()
		return err
	}
	return f.Close()
}

// ask asks for what cannot be heard. An answer that the checks refuse is asked
// for again; an empty one leaves the key open.
func (s *setup) ask(p *proposal, w io.Writer) error {
	for _, q := range []struct {
		words, section, key string
		to                  *string
		heard               bool
		skip                bool
	}{
		{"length of hull, m", "vessel", "length_m", &p.Length, false, false},
		{"fuel of all tanks together, L", "fuel", "tank_l", &p.Tank, p.Tank != "", p.NoFuel},
		{"usable energy of the batteries that drive the boat together, kWh", "battery", "usable_kwh", &p.Usable, false, len(p.Drive) == 0},
		{"dry mass, without fuel, water, people and gear, kg", "vessel", "dry_mass_kg", &p.DryMass, false, false},
	} {
		for !q.skip {
			shown := ""
			if q.heard {
				shown = " [heard: " + *q.to + "]"
			}
			fmt.Fprintf(w, "%s%s: ", q.words, shown)
			line, err := s.in.ReadString('\n')
			answer := strings.TrimSpace(line)
			if answer == "" {
				if err != nil && err != io.EOF {
					return err
				}
				break
			}
			if fault := refused(q.section, q.key, answer); fault != nil {
				fmt.Fprintln(w, fault)
				continue
			}
			*q.to = answer
			break
		}
	}
	return nil
}

// refused checks one value as the configuration's checks would.
func refused(section, key, answer string) error {
	if _, err := strconv.ParseFloat(answer, 64); err != nil {
		return fmt.Errorf("%q is not a number such as 12.5", answer)
	}
	beside := ""
	if section == "battery" {
		beside = "instances: [0], " // without which it says nothing
	}
	_, err := configs.Parse(strings.NewReader(fmt.Sprintf("%s: {%s%s: %s}\n", section, beside, key, answer)), "answer")
	return err
}
