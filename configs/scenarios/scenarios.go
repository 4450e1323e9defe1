// Package scenarios holds the days that can be simulated without any file at
// hand. All boats, names and figures in them are invented.
package scenarios

import (
	"embed"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"go.yaml.in/yaml/v3"
)

//go:embed *.yaml
var files embed.FS

// Load returns the text of a scenario: the built-in one of that name, with or
// without its ending .yaml, or otherwise the file at that path. A scenario with
// the key base begins from that other one, built in or a file beside it, and says
// only what differs: sections are laid over each other key by key, lists and values
// replace.
func Load(nameOrPath string) ([]byte, error) {
	return load(nameOrPath, 0)
}

// deepest is how many bases may follow on each other.
const deepest = 8

func load(nameOrPath string, depth int) ([]byte, error) {
	text, err := read(nameOrPath)
	if err != nil {
		return nil, err
	}
	var own map[string]any
	if yaml.Unmarshal(text, &own) != nil || own["base"] == nil {
		return text, nil // what is no YAML is refused with its place where it is parsed
	}
	base, ok := own["base"].(string)
	if !ok || depth == deepest {
		return nil, fmt.Errorf("scenario %s: base: %v: the name of another scenario, at most %d deep", nameOrPath, own["base"], deepest)
	}
	delete(own, "base")
	below, err := load(beside(nameOrPath, base), depth+1)
	if err != nil {
		return nil, fmt.Errorf("scenario %s: base: %w", nameOrPath, err)
	}
	var all map[string]any
	if err := yaml.Unmarshal(below, &all); err != nil {
		return nil, fmt.Errorf("scenario %s: base: %w", nameOrPath, err)
	}
	lay(all, own)
	return yaml.Marshal(all)
}

// beside is the path of the scenario of that name in the folder of another, or the
// name where there is none.
func beside(path, name string) string {
	file := filepath.Join(filepath.Dir(path), name+".yaml")
	if _, err := os.Stat(file); filepath.Base(name) != name || err != nil {
		return name
	}
	return file
}

// lay puts the keys of over over those of under.
func lay(under, over map[string]any) {
	for key, value := range over {
		section, ok := value.(map[string]any)
		below, both := under[key].(map[string]any)
		if ok && both {
			lay(below, section)
			continue
		}
		under[key] = value
	}
}

func read(nameOrPath string) ([]byte, error) {
	if text, err := files.ReadFile(strings.TrimSuffix(nameOrPath, ".yaml") + ".yaml"); err == nil {
		return text, nil
	}
	text, err := os.ReadFile(nameOrPath)
	if err != nil {
		return nil, fmt.Errorf("scenario: %w; built in are %s", err, strings.Join(Names(), ", "))
	}
	return text, nil
}

// Names lists the built-in scenarios.
func Names() []string {
	var names []string
	found, _ := fs.Glob(files, "*.yaml") // a constant pattern cannot fail
	for _, f := range found {
		names = append(names, strings.TrimSuffix(f, ".yaml"))
	}
	return names
}
