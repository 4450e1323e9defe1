package main

import (
	"bytes"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// closedTrial makes a closed trial with results, of the short day.
func closedTrial(t *testing.T) (dir, config string) {
	t.Helper()
	trials := filepath.Join(t.TempDir(), "trials")
	config = writeText(t, "boat.yaml", "vessel: {name: Demo boat A (invented), length_m: 13.4}\nfuel: {tank_l: 1500}\njournal: {dir: "+trials+"}\n")
	must(t, "trial", "new", "--config", config)
	dir = filepath.Join(trials, "0001")
	must(t, "import", "--journal", filepath.Join(dir, "frames"), short(t).write(t))
	must(t, "trial", "close", "--config", config)
	return dir, config
}

// sums is the text of all that is written of a trial.
func sums(t *testing.T, dir string) string {
	t.Helper()
	return fmt.Sprintf("%s", contents(t, dir)) // by rising name
}

// An amendment changes the results of its trial as a replay of the trial's
// frames does, and no other file but its own; withdrawn, the figures are
// the original ones.
func TestAmendCommand(t *testing.T) {
	dir, config := closedTrial(t)
	before := readResults(t, dir)
	original := sums(t, dir)
	windows := before.Steps[0].Windows
	if len(windows) < 2 || before.Vessel.Name == "" {
		t.Fatalf("%+v", before.Steps)
	}
	who := []string{"--trial", dir, "--name", "A. Person", "--reason", "wake of a ferry"}
	amend := func(args ...string) string {
		out, _ := must(t, append(append([]string{"amend"}, args...), who...)...)
		return out
	}
	first, second := fmt.Sprint(windows[0]), fmt.Sprint(windows[1])
	if out, _ := must(t, "amend", "list", "--trial", dir); !strings.Contains(out, "no amendment of trial 1 yet") {
		t.Error(out)
	}

	// Without --config: the boat is the one that the results were derived with.
	if out := amend("exclude", first); !strings.Contains(out, "amendment 1 of trial 1 kept") || !strings.Contains(out, "Demo boat A") {
		t.Error(out)
	}
	checkResults(t, dir)
	after := readResults(t, dir)
	if len(after.Amendments) != 1 || !after.Amendments[0].Applied || after.Steps[0].Passes != before.Steps[0].Passes-1 || after.Vessel.Name != before.Vessel.Name {
		t.Errorf("%+v, %d passes", after.Amendments, after.Steps[0].Passes)
	}
	amended := sums(t, dir)
	replayed := func(args ...string) string {
		out := t.TempDir()
		must(t, append([]string{"replay", "--config", config, "--out", out}, args...)...)
		return sums(t, out)
	}
	frames := filepath.Join(dir, "frames")
	for _, capture := range []string{frames, dir, frames + "/"} {
		if replayed(capture) != amended {
			t.Errorf("a replay of %s is not what amending wrote", capture)
		}
	}
	if replayed("--original", frames) != original {
		t.Error("--original does not give the original")
	}
	log := filepath.Join(t.TempDir(), "copy.log")
	must(t, "export", "--format", "canlog", "--out", log, frames)
	if got := replayed("--amendments", filepath.Join(dir, "amendments.jsonl"), log); got != amended {
		t.Error("a capture elsewhere with --amendments is not what amending wrote")
	}

	wantError(t, append([]string{"amend", "merge", first, second}, who...), "is excluded by amendment 1")
	wantError(t, append([]string{"amend", "exclude", "99"}, who...), "there is no window 99")
	wantError(t, append([]string{"amend", "exclude", "two"}, who...), "not the number of a window")
	wantError(t, append([]string{"amend", "withdraw", "7"}, who...), "no amendment 7")
	wantError(t, []string{"amend", "exclude", first, "--trial", dir}, "name", "reason")
	wantError(t, append([]string{"amend", "exclude", first, "--trial", t.TempDir()}, who[2:]...), "is no trial")

	amend("withdraw", "1")
	out, _ := must(t, "amend", "list", "--trial", dir)
	for _, want := range []string{"exclude windows " + first, "no: withdrawn by amendment 2", "withdraw amendment 1", "A. Person", "wake of a ferry"} {
		if !strings.Contains(out, want) {
			t.Errorf("%q is not in\n%s", want, out)
		}
	}
	again := readResults(t, dir)
	again.Amendments = before.Amendments
	var a, b bytes.Buffer
	if err := errors.Join(again.WriteJSON(&a), before.WriteJSON(&b)); err != nil || a.String() != b.String() {
		t.Errorf("withdrawn, the figures are not the original ones: %v", err)
	}
}

// A trial of which nothing was kept is amended with the configuration given,
// and not without.
func TestAmendWithoutWhatWasKept(t *testing.T) {
	dir, config := closedTrial(t)
	original := readResults(t, dir)
	kept, err := filepath.Glob(filepath.Join(dir, "evidence*"))
	if err != nil || len(kept) != 1 {
		t.Fatalf("%v, %v", kept, err)
	}
	if err := os.Remove(kept[0]); err != nil {
		t.Fatal(err)
	}
	args := []string{"amend", "exclude", fmt.Sprint(original.Steps[0].Windows[0]), "--trial", dir, "--name", "A. Person", "--reason", "wake"}
	wantError(t, args, "--config")
	must(t, append(args, "--config", config)...)
	if got := readResults(t, dir); got.Vessel.Name != original.Vessel.Name || !got.Amendments[0].Applied {
		t.Errorf("%+v", got.Amendments)
	}
}

// A line that was damaged is told, in the results and in the list.
func TestDamagedAmendmentsAreTold(t *testing.T) {
	dir, config := closedTrial(t)
	if err := os.WriteFile(filepath.Join(dir, "amendments.jsonl"), []byte("{}\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	_, told := must(t, "amend", "list", "--trial", dir)
	out := t.TempDir()
	must(t, "replay", "--config", config, "--out", out, dir)
	const want = "line 1 of amendments.jsonl"
	if found := string(read(t, filepath.Join(out, "results.json"))); !strings.Contains(found, want) || !strings.Contains(told, want) {
		t.Errorf("neither the findings nor %q tell of it", told)
	}
}
