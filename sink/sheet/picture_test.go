package sheet

import (
	"bytes"
	"flag"
	"fmt"
	"image/png"
	"os"
	"os/exec"
	"path/filepath"
	"testing"

	"codeberg.org/go-fonts/liberation/liberationsansbold"
	"codeberg.org/go-fonts/liberation/liberationsansitalic"
	"codeberg.org/go-fonts/liberation/liberationsansregular"
)

// The README shows the first screen of the demo's sheet. To make it anew:
//
//	go test ./sink/sheet -run Picture -update
var update = flag.Bool("update", false, "make testdata/sheet-demo.png anew from the demo")

const (
	picture       = "../../testdata/sheet-demo.png"
	pictureWidth  = 1100
	pictureHeight = 900
)

func TestPictureOfTheDemo(t *testing.T) {
	if *update {
		makePicture(t)
	}
	content, err := os.ReadFile(picture)
	if err != nil {
		t.Fatal(err)
	}
	size, err := png.DecodeConfig(bytes.NewReader(content))
	if err != nil {
		t.Fatal(err)
	}
	if size.Width != pictureWidth || size.Height != pictureHeight || len(content) > 400e3 {
		t.Errorf("the picture has %d by %d pixels and %d bytes", size.Width, size.Height, len(content))
	}
}

// makePicture runs the demo as a user does, and takes the picture with the
// fonts the plots are set in, so that it does not hang on the machine's.
func makePicture(t *testing.T) {
	dir := t.TempDir()
	demo := exec.Command("go", "run", "trialday.example/logd/cmd/logd", "demo", "--out", dir)
	if out, err := demo.CombinedOutput(); err != nil {
		t.Fatalf("demo: %v\n%s", err, out)
	}
	for name, font := range map[string][]byte{
		"regular": liberationsansregular.TTF, "bold": liberationsansbold.TTF, "italic": liberationsansitalic.TTF,
	} {
		writeFile(t, filepath.Join(dir, name+".ttf"), string(font))
	}
	config := filepath.Join(dir, "fonts.conf")
	writeFile(t, config, fmt.Sprintf(`<?xml version="1.0"?><!DOCTYPE fontconfig SYSTEM "fonts.dtd">
<fontconfig><dir>%s</dir><cachedir>%s</cachedir></fontconfig>`, dir, dir))
	t.Setenv("FONTCONFIG_FILE", config)
	path, err := filepath.Abs(picture)
	if err != nil {
		t.Fatal(err)
	}
	chromium(t, dir, "--hide-scrollbars", fmt.Sprintf("--window-size=%d,%d", pictureWidth, pictureHeight),
		"--screenshot="+path, "file://"+filepath.Join(dir, "sheet.html"))
}
