package main

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"golang.org/x/crypto/bcrypt"

	"trialday.example/logd/configs"
)

// evening serves the page of a directory until the test ends, and returns its
// address.
func evening(t *testing.T, cfg configs.Config) (url string) { return eveningOf(t, cfg, true) }

// eveningOf is the same with a configuration that was given, or not.
func eveningOf(t *testing.T, cfg configs.Config, given bool) (url string) {
	t.Helper()
	cfg.Page.Listen = "127.0.0.1:0"
	in, out := io.Pipe()
	ctx, stop := context.WithCancel(t.Context())
	ended := make(chan error, 1)
	go func() {
		err := servePage(ctx, cfg, given, out, io.Discard)
		ended <- errors.Join(err, out.CloseWithError(io.EOF))
	}()
	t.Cleanup(func() {
		stop()
		if err := <-ended; err != nil {
			t.Error(err)
		}
	})
	line, err := bufio.NewReader(in).ReadString('\n')
	if err != nil {
		t.Fatal(err)
	}
	_, url, _ = strings.Cut(line, "at ")
	url, _, _ = strings.Cut(url, " until")
	return url
}

// fetched is what a page answers.
func fetched(t testing.TB, url string) string {
	t.Helper()
	resp, err := http.Get(url)
	if err != nil {
		t.Fatal(err)
	}
	defer resp.Body.Close()
	b, err := io.ReadAll(resp.Body)
	if err != nil || resp.StatusCode != http.StatusOK {
		t.Fatalf("%s: %s %v\n%.300s", url, resp.Status, err, b)
	}
	return string(b)
}

func TestThePageOfAnEveningShowsWhatReplayWrote(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "out")
	if _, err := replay(configs.Default(), []string{"../../testdata/capture/mixed.log"}, nil, dir, io.Discard); err != nil {
		t.Fatal(err)
	}
	cfg := configs.Default()
	cfg.Journal.Dir = dir
	url := evening(t, cfg)
	var list []struct {
		Number int
		Closed bool
	}
	if err := json.Unmarshal([]byte(fetched(t, url+"/api/trials")), &list); err != nil || len(list) != 1 || list[0].Number != 1 || !list[0].Closed {
		t.Fatalf("%+v %v", list, err)
	}
	for name, want := range contents(t, dir) {
		if got := fetched(t, url+"/api/trials/1/"+name); got != string(want) {
			t.Errorf("%s differs", name)
		}
	}
	if live := fetched(t, url+"/api/live"); !strings.Contains(live, "it records nothing") {
		t.Errorf("%s", live)
	}
	fetched(t, url+"/")
	for _, name := range []string{"runs.csv", "steps.parquet", "windows.parquet", "runs.parquet"} {
		if got := fetched(t, url+"/api/trials/1/"+name); len(got) < 50 {
			t.Errorf("%s: %q", name, got)
		}
	}
	entries, err := os.ReadDir(dir)
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range entries {
		if strings.Contains(e.Name(), "key") {
			t.Errorf("%s was written beside what is shown", e.Name())
		}
	}
}

func TestPageRefusesWhatItCannotServe(t *testing.T) {
	for want, args := range map[string][]string{
		"no such file":       {"--journal", filepath.Join(t.TempDir(), "missing")},
		"page.password_file": {"--journal", t.TempDir(), "--listen", ":0"},
		"--listen":           {"--journal", t.TempDir(), "--listen", "127.0.0.1:99999"},
	} {
		if _, _, err := logd(append([]string{"page"}, args...)...); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%v: %v", args, err)
		}
	}
	if _, _, err := logd("run", "--config", writeConfig(t, "page: {listen: ':8642'}")); err == nil || !strings.Contains(err.Error(), "page.password_file") {
		t.Errorf("logd run on every address: %v", err)
	}
}

func writeConfig(t *testing.T, text string) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "c.yaml")
	if err := os.WriteFile(path, []byte(text+"\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	return path
}

func TestThePasswordsHashIsMade(t *testing.T) {
	file := filepath.Join(t.TempDir(), "page-password")
	for range 2 { // the second replaces the first
		c := command()
		c.SetArgs([]string{"page", "password", "--out", file})
		c.SetIn(strings.NewReader("an invented password\n"))
		if err := c.Execute(); err != nil {
			t.Fatal(err)
		}
	}
	hash, err := os.ReadFile(file)
	if err != nil || bcrypt.CompareHashAndPassword(bytes.TrimSpace(hash), []byte("an invented password")) != nil {
		t.Errorf("%s %v", hash, err)
	}
	if info, err := os.Stat(file); err != nil || info.Mode().Perm()&0o007 != 0 {
		t.Errorf("others can read it: %v", info.Mode())
	}
	short, err := askPassword(strings.NewReader("one\ntwo\n"), io.Discard)
	if err != nil || short != "one" {
		t.Errorf("%q %v", short, err)
	}
}

// A page without a configuration amends a trial with the one kept beside its
// frames; where none is kept it refuses, and changes nothing.
func TestPageWithoutConfigurationNeedsTheOneKept(t *testing.T) {
	dir, _ := closedTrial(t)
	original := readResults(t, dir)
	cfg := configs.Default()
	cfg.Journal.Dir = dir
	url := eveningOf(t, cfg, false) + "/api/trials/1/amendments"
	body := func(window int) string {
		return fmt.Sprintf(`{"name":"A. Person","reason":"wake","action":"exclude","window_ids":[%d],"withdraws":0}`, window)
	}
	if status, answer := post(t, url, body(original.Steps[0].Windows[0])); status != http.StatusCreated {
		t.Fatalf("%d %s", status, answer)
	}
	amended := readResults(t, dir)
	if amended.Vessel.Name != original.Vessel.Name || len(amended.Amendments) != 1 {
		t.Errorf("derived with another boat: %+v, %+v", amended.Vessel, amended.Amendments)
	}
	kept, err := filepath.Glob(filepath.Join(dir, "evidence*"))
	if err != nil || len(kept) != 1 {
		t.Fatalf("%v, %v", kept, err)
	}
	if err := os.Remove(kept[0]); err != nil {
		t.Fatal(err)
	}
	before := contents(t, dir)
	status, answer := post(t, url, body(original.Steps[0].Windows[1]))
	if status < 400 || status >= 500 || !strings.Contains(answer, "trial 1") || !strings.Contains(answer, "--config") {
		t.Errorf("%d %s", status, answer)
	}
	for name, text := range contents(t, dir) {
		if !bytes.Equal(text, before[name]) {
			t.Errorf("%s was changed", name)
		}
	}
}
