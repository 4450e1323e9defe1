package vmtest

import (
	"encoding/json"
	"fmt"
	"os"
	"sync"
	"testing"
)

// tally collects what the tests counted, for publishing.
type tally struct {
	mu    sync.Mutex
	lines map[string]any
}

var counts tally

// note keeps what a test counted, under a name. A test that fails has nothing
// to publish.
func (c *tally) note(t *testing.T, name string, value any) {
	if t.Failed() {
		return
	}
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.lines == nil {
		c.lines = map[string]any{}
	}
	c.lines[name] = value
}

// write prints the figures, and writes them to a file if one is named.
func (c *tally) write(name string) error {
	text, err := json.MarshalIndent(c.lines, "", "  ")
	if err != nil {
		return err
	}
	fmt.Printf("counted: %s\n", text)
	if name == "" {
		return nil
	}
	return os.WriteFile(name, append(text, '\n'), 0o644)
}
