package socketcan

import (
	"go/ast"
	"go/parser"
	"go/token"
	"os"
	"regexp"
	"strings"
	"testing"
)

// sending matches the names of everything that can send: of the system calls
// in package unix, of connections, of the CAN library.
var sending = regexp.MustCompile(`(?i)^(sys_)?(p?write|send|splice|sendfile|vmsplice|transmit|newtransmitter|newemulator)`)

// The package must hold no call that could send on a bus.
func TestNothingIsEverSent(t *testing.T) {
	entries, err := os.ReadDir(".")
	if err != nil {
		t.Fatal(err)
	}
	files := 0
	for _, e := range entries {
		if !strings.HasSuffix(e.Name(), ".go") || strings.HasSuffix(e.Name(), "_test.go") {
			continue
		}
		files++
		set := token.NewFileSet()
		tree, err := parser.ParseFile(set, e.Name(), nil, 0)
		if err != nil {
			t.Fatal(err)
		}
		for _, i := range tree.Imports {
			if path := strings.Trim(i.Path.Value, `"`); path == "os/exec" || path == "C" || strings.HasSuffix(path, "/candevice") {
				t.Errorf("%s imports %s", set.Position(i.Pos()), path)
			}
		}
		ast.Inspect(tree, func(n ast.Node) bool {
			if id, ok := n.(*ast.Ident); ok && sending.MatchString(id.Name) {
				t.Errorf("%s: %s can send", set.Position(id.Pos()), id.Name)
			}
			return true
		})
	}
	if files == 0 {
		t.Fatal("no source found")
	}
}

func TestTheNamesOfSendingAreKnown(t *testing.T) {
	for _, name := range []string{"Write", "WriteTo", "Sendto", "Sendmsg", "SendmsgN", "SYS_SENDMMSG", "SYS_WRITEV", "Pwrite", "TransmitFrame", "NewTransmitter", "Splice"} {
		if !sending.MatchString(name) {
			t.Errorf("%s is not noticed", name)
		}
	}
}
