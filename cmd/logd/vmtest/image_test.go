package vmtest

import (
	"bytes"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

// image is what every machine boots, and the program under test on the host.
var image struct {
	kernel string
	initrd string // Debian's part and logd
	logd   string // the very binary that is in initrd
}

func TestMain(m *testing.M) {
	if os.Getenv("TRIALDAY_VM") == "" {
		os.Exit(m.Run()) // each test skips itself
	}
	os.Setenv("PATH", os.Getenv("PATH")+":/usr/sbin:/sbin") // mke2fs
	dir, err := os.MkdirTemp("", "vmtest")
	if err == nil {
		err = build(dir)
	}
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
	code := m.Run()
	if err := counts.write(os.Getenv("TRIALDAY_VM_COUNTS")); err != nil {
		fmt.Fprintln(os.Stderr, err)
		code = 1
	}
	os.RemoveAll(dir)
	os.Exit(code)
}

// needVM skips a test where the virtual machine is not asked for.
func needVM(t *testing.T) {
	t.Helper()
	if os.Getenv("TRIALDAY_VM") == "" {
		t.Skip("TRIALDAY_VM is not set: needs qemu and minutes")
	}
}

// build prepares the image in dir: Debian's part from the cache, and logd as it
// is built for release, without cgo.
func build(dir string) error {
	prepare := exec.Command("../../../.ci/vm/prepare")
	prepare.Stderr = os.Stderr
	out, err := prepare.Output()
	if err != nil {
		return fmt.Errorf("prepare: %w", err)
	}
	cache := strings.TrimSpace(string(out))
	image.kernel = filepath.Join(cache, "vmlinuz")
	image.initrd = filepath.Join(dir, "initrd")
	image.logd = filepath.Join(dir, "root", "bin", "logd")
	compile := exec.Command("go", "build", "-trimpath", "-ldflags=-s -w", "-o", image.logd, "..")
	compile.Env = append(os.Environ(), "CGO_ENABLED=0")
	if out, err := compile.CombinedOutput(); err != nil {
		return fmt.Errorf("build: %w\n%s", err, out)
	}
	pack := exec.Command("cpio", "-o", "-H", "newc", "--quiet")
	pack.Dir = filepath.Join(dir, "root")
	pack.Stdin = strings.NewReader("bin\nbin/logd\n")
	archive, err := pack.Output()
	if err != nil {
		return fmt.Errorf("cpio: %w", err)
	}
	base, err := os.ReadFile(filepath.Join(cache, "base.cpio"))
	if err != nil {
		return err
	}
	// The kernel unpacks archives one after another.
	return os.WriteFile(image.initrd, append(base, archive...), 0o644)
}

// newDisk makes an ext4 image with default options.
func newDisk(t *testing.T, megabytes int) string {
	t.Helper()
	name := filepath.Join(t.TempDir(), "disk")
	host(t, "mke2fs", "-q", "-t", "ext4", name, fmt.Sprintf("%dM", megabytes))
	return name
}

// host runs a program on this side and returns its output.
func host(t *testing.T, name string, args ...string) string {
	t.Helper()
	c := exec.Command(name, args...)
	var out bytes.Buffer
	c.Stdout, c.Stderr = &out, &out
	if err := c.Run(); err != nil {
		t.Fatalf("%s: %v\n%s", c, err, out.String())
	}
	return out.String()
}
