package main

import (
	"context"
	"encoding/pem"
	"fmt"
	"io"
	"log"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"trialday.example/logd/configs"
	"trialday.example/logd/pgn"
)

// answers runs check on a capture.
func answers(t *testing.T, r recording, config string) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "c.yaml")
	if err := os.WriteFile(path, []byte(config), 0o644); err != nil {
		t.Fatal(err)
	}
	out, _ := must(t, "check", "--config", path, r.write(t))
	return out
}

// says reports whether a line holds all the parts in their order.
func says(text string, parts ...string) bool {
lines:
	for line := range strings.Lines(text) {
		for _, p := range parts {
			_, rest, found := strings.Cut(line, p)
			if !found {
				continue lines
			}
			line = rest
		}
		return true
	}
	return false
}

func wantLine(t *testing.T, text string, parts ...string) {
	t.Helper()
	if !says(text, parts...) {
		t.Errorf("no line with %q in:\n%s", parts, text)
	}
}

func TestCheckTellsWhatIsThere(t *testing.T) {
	t.Parallel()
	text := answers(t, short(t), string(boatA(t)))
	wantLine(t, text, "BUS can0", "frames/s", "load", "error frames")
	wantLine(t, text, "can0/", "NAME", "Satellite receiver (invented)")
	wantLine(t, text, "9.9/s", "can0/16, can0/17, can0/18", "engine speed (0 1 2)")
	wantLine(t, text, "CLOCK", "satellite time heard")
	wantLine(t, text, "DISK", "MB", "hours")
	wantLine(t, text, "INFLUXDB", "not configured")
	for _, f := range []string{"speed", "rpm steps", "fuel burn", "economy", "range", "cruise at", "test weight", "trim angle"} {
		wantLine(t, text, "yes", f)
	}
	if strings.Contains(text, " no  ") {
		t.Errorf("a figure is missing:\n%s", text)
	}
	if n := strings.Count(text, "\n"); n > 66 {
		t.Errorf("%d lines are no one page", n)
	}
}

func TestCheckTellsWhatIsMissingAndWhy(t *testing.T) {
	t.Parallel()
	text := answers(t, short(t).without(engineDynamic, 129029, 126992, 129033), "fuel: {cruise_load_pct: 75}\n")
	wantLine(t, text, "yes", "speed")
	wantLine(t, text, "no", "fuel burn", "no fuel rate heard", "PGN 127489")
	wantLine(t, text, "no", "range", "PGN 127489", "fuel.tank_l not configured")
	wantLine(t, text, "no", "cruise at 75 % load", "127489")
	wantLine(t, text, "no", "test weight", "vessel.dry_mass_kg")
	wantLine(t, text, "CLOCK", "no satellite time")
}

// A quantity that is sent without a value gives no figure.
func TestCheckTellsNoValueFromValue(t *testing.T) {
	t.Parallel()
	m := pgn.Lookup(courseSpeed)
	r := short(t).without(129025, 129029)
	for i := range r.frames {
		if f := &r.frames[i]; f.IsExtended && pgn.ParseID(f.ID).PGN == courseSpeed {
			copy(f.Data[:], m.New())
		}
	}
	text := answers(t, r, "")
	wantLine(t, text, "no", "speed:", "sent without a value", "129026")
	wantLine(t, text, "no value", "engine trim")
}

func TestCheckOfNothingIsAnError(t *testing.T) {
	t.Parallel()
	for _, args := range [][]string{
		{"check", filepath.Join(t.TempDir(), "none.log")},
		{"check", "--seconds", "0"},
		{"check", "--seconds", "NaN"},
	} {
		if _, _, err := logd(args...); err == nil {
			t.Errorf("%v: no error", args)
		}
	}
}

func TestCheckListensToBuses(t *testing.T) {
	t.Parallel()
	group := fmt.Sprintf("239.64.142.208:%d", freePort(t, "udp"))
	bus := newTalker(t, group)
	influxdb := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if r.URL.Path != "/ping" {
			t.Errorf("asked for %s", r.URL.Path)
		}
		w.WriteHeader(http.StatusNoContent)
	}))
	defer influxdb.Close()
	config := filepath.Join(t.TempDir(), "c.yaml")
	text := fmt.Sprintf("bus: {interfaces: ['udp:%s', nocan0]}\ninflux: {url: '%s', bucket: b}\npage: {listen: '127.0.0.1:%d'}\njournal: {dir: %s/a/b}\n",
		group, influxdb.URL, freePort(t, "tcp"), t.TempDir())
	if err := os.WriteFile(config, []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	ended := make(chan struct{})
	go func() {
		defer close(ended)
		for ctx.Err() == nil {
			bus.some(t, 16)
		}
	}()
	out, _ := must(t, "check", "--config", config, "--seconds", "1.5")
	cancel()
	<-ended
	wantLine(t, out, "BUS udp:"+group, "up", "virtual", "frames/s")
	wantLine(t, out, "BUS nocan0", "missing", "0 error frames")
	wantLine(t, out, "!", "nocan0 is missing", "plug")
	wantLine(t, out, "DEVICES", "heard")
	wantLine(t, out, "NAME not claimed", "model not told")
	wantLine(t, out, "INFLUXDB", influxdb.URL, "answers")
	wantLine(t, out, "LOGGER", "not running here")
	wantLine(t, out, "DISK", "hours")
}

func TestCheckTellsThatTheServerIsSilent(t *testing.T) {
	t.Parallel()
	cfg := configs.Default().Influx
	cfg.URL = fmt.Sprintf("http://127.0.0.1:%d", freePort(t, "tcp"))
	if got := asked(cfg, time.Now); !strings.Contains(got, "does not answer") {
		t.Errorf("%s", got)
	}
}

// A server with a certificate of the boat's own authority is believed by that
// authority alone, as it is when data is sent.
func TestCheckAsksByTheConfiguredAuthority(t *testing.T) {
	t.Parallel()
	server := httptest.NewUnstartedServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if r.Header.Get("Authorization") != "" {
			t.Error("a token is sent")
		}
		w.WriteHeader(http.StatusNoContent)
	}))
	server.Config.ErrorLog = log.New(io.Discard, "", 0)
	server.StartTLS()
	defer server.Close()
	cfg := configs.Default().Influx
	cfg.URL = server.URL
	if got := asked(cfg, time.Now); !strings.Contains(got, "certificate") || !strings.Contains(got, "influx.ca_file") {
		t.Errorf("an authority that is not known: %s", got)
	}
	cfg.CAFile = filepath.Join(t.TempDir(), "ca.pem")
	if got := asked(cfg, time.Now); !strings.Contains(got, "check influx.ca_file") {
		t.Errorf("no such file: %s", got)
	}
	ca := server.Certificate()
	if err := os.WriteFile(cfg.CAFile, pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: ca.Raw}), 0o644); err != nil {
		t.Fatal(err)
	}
	if got := asked(cfg, func() time.Time { return ca.NotBefore.Add(time.Hour) }); got != server.URL+" answers" {
		t.Errorf("%s", got)
	}
	if got := asked(cfg, func() time.Time { return ca.NotAfter.Add(time.Hour) }); !strings.Contains(got, "expired") {
		t.Errorf("by a time after the certificate's: %s", got)
	}
}

func TestFiguresOfAFullConfiguration(t *testing.T) {
	t.Parallel()
	c := configs.Default()
	for _, f := range figures(&c) {
		if len(f.from)+len(f.keys) == 0 || f.name == "" {
			t.Errorf("%+v needs nothing", f)
		}
	}
}

// A capture of a whole day shows what is wrong with the installation.
func TestCheckTellsFindings(t *testing.T) {
	t.Parallel()
	text := answers(t, simulatedRecording(t, "../../testdata/installation/roll_zero.yaml"), "vessel: {length_m: 13.4}\n")
	wantLine(t, text, "FINDINGS", "1 in what was heard")
	wantLine(t, text, "! at rest the roll reads", "degrees")
	wantLine(t, text, "means:", "zero is off")
	wantLine(t, text, "do:", "set the sensor's zero")
	wantLine(t, text, "how sure: practically certain")
	wantLine(t, text, "ENGINE SIDES", "confirmed")
	text = answers(t, simulatedRecording(t, "installation"), "vessel: {length_m: 13.4}\n")
	wantLine(t, text, "FINDINGS", "none")
}

// A correction is applied because it is configured, and is told.
func TestCorrectionsAreAppliedAndTold(t *testing.T) {
	t.Parallel()
	r := simulatedRecording(t, "../../testdata/installation/roll_zero.yaml")
	text := answers(t, r, "vessel: {length_m: 13.4}\ncorrections: {roll_deg: -4}\n")
	wantLine(t, text, "FINDINGS", "1 in what was heard")
	wantLine(t, text, "! -4 degrees were added to roll, as configured")
}

// simulatedRecording records a scenario, by name or file.
func simulatedRecording(t *testing.T, nameOrPath string) recording {
	t.Helper()
	s, err := loadScenario(nameOrPath)
	if err != nil {
		t.Fatal(err)
	}
	r, err := record(s, 1)
	if err != nil {
		t.Fatal(err)
	}
	return r
}
