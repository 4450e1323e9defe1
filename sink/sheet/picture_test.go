package sheet

import (
	"bytes"
	"flag"
	"fmt"
	"image/png"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"codeberg.org/go-fonts/liberation/liberationsansbold"
	"codeberg.org/go-fonts/liberation/liberationsansitalic"
	"codeberg.org/go-fonts/liberation/liberationsansregular"
)

// Pictures for the documentation: the first screen of the demo's sheet, and the
// first page of its PDF. To make them anew:
//
//	go test ./sink/sheet -run Picture -update
var update = flag.Bool("update", false, "make the pictures in testdata anew from the demo")

const (
	picture       = "../../testdata/sheet-demo.png"
	pictureWidth  = 1100
	pictureHeight = 900

	printout       = "../../testdata/sheet-print.png"
	printoutWidth  = 827 // A4 at 100 dots an inch
	printoutHeight = 1170
)

func TestPicturesOfTheDemo(t *testing.T) {
	if *update {
		makePictures(t)
	}
	for name, want := range map[string][2]int{picture: {pictureWidth, pictureHeight}, printout: {printoutWidth, printoutHeight}} {
		content, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		size, err := png.DecodeConfig(bytes.NewReader(content))
		if err != nil {
			t.Fatal(err)
		}
		if [2]int{size.Width, size.Height} != want || len(content) > 400e3 {
			t.Errorf("%s has %d by %d pixels and %d bytes", name, size.Width, size.Height, len(content))
		}
	}
}

// makePictures runs the demo as a user does, and takes the pictures with the
// fonts the plots are set in, so that they do not hang on the machine's.
func makePictures(t *testing.T) {
	dir := t.TempDir()
	for _, args := range [][]string{{"demo", "--out", dir}, {"sheet", dir}} {
		logd := exec.Command("go", append([]string{"run", "trialday.example/logd/cmd/logd"}, args...)...)
		if out, err := logd.CombinedOutput(); err != nil {
			t.Fatalf("%s: %v\n%s", args[0], err, out)
		}
	}
	poppler(t, "pdftoppm", "-r", "100", "-l", "1", "-singlefile", "-png", filepath.Join(dir, "sheet.pdf"), strings.TrimSuffix(printout, ".png"))
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
