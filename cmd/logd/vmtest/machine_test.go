package vmtest

import (
	"bufio"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"
)

// hardware is what a machine is made of besides 512 MB of memory.
type hardware struct {
	disk string // image of the boat's disk, or none
	cpus int    // 1 if not given
	// debian boots the disk's own system, of which the disk keeps no change.
	debian bool
	can    bool // two CAN controllers on one bus
	// fast lets the guest's clock run as fast as the guest can be emulated:
	// it leaps over the time in which nothing happens.
	fast bool
}

// machine is a running virtual machine.
type machine struct {
	t       *testing.T
	qemu    *exec.Cmd
	in      *os.File    // the shell's input
	lines   chan string // the shell's output; closed when the machine is off
	share   string      // directory that the guest has as /share
	witness string      // file that the guest's /dev/ttyS2 writes to
	console string      // file with the kernel's messages
	// patience is how long an answer is waited for.
	patience time.Duration
}

// bootLimit and lineLimit are patience, not measurements.
const (
	bootLimit = 2 * time.Minute
	lineLimit = 3 * time.Minute
)

// boot starts a machine and waits until its shell is ready. It is switched off
// at the end of the test.
func boot(t *testing.T, h hardware) *machine {
	t.Helper()
	dir := t.TempDir()
	m := &machine{
		t: t, patience: lineLimit, lines: make(chan string, 1024),
		share: filepath.Join(dir, "share"), witness: filepath.Join(dir, "witness"), console: filepath.Join(dir, "console"),
	}
	if err := os.Mkdir(m.share, 0o755); err != nil {
		t.Fatal(err)
	}
	m.qemu = exec.Command("qemu-system-x86_64", m.arguments(h)...)
	in, inGuest, err := os.Pipe()
	if err != nil {
		t.Fatal(err)
	}
	out, outGuest, err := os.Pipe()
	if err != nil {
		t.Fatal(err)
	}
	m.in = inGuest
	m.qemu.Stdin, m.qemu.Stdout = in, outGuest
	var complaints strings.Builder
	m.qemu.Stderr = &complaints
	if err := m.qemu.Start(); err != nil {
		t.Fatal(err)
	}
	in.Close()
	outGuest.Close()
	go m.listen(out)
	t.Cleanup(func() {
		m.off()
		if t.Failed() {
			t.Logf("console: %s\nqemu: %s\nlogd: %s", tail(m.console, 2000), complaints.String(), tail(filepath.Join(m.share, "logd.out"), 3000))
		}
	})
	if _, _, err := m.answer(bootLimit); err != nil {
		t.Fatalf("boot: %v", err)
	}
	return m
}

func (m *machine) arguments(h hardware) []string {
	kernel := "console=ttyS0 quiet panic=-1 mitigations=off"
	drive := "file=" + h.disk + ",format=raw,if=virtio,cache=writethrough"
	if h.debian {
		kernel += " trialday.debian"
		drive = "file=" + h.disk + ",format=raw,if=virtio,snapshot=on"
	}
	a := []string{
		"-accel", "tcg", "-cpu", "max", "-m", "512", "-smp", strconv.Itoa(max(h.cpus, 1)),
		"-display", "none", "-no-reboot", "-nic", "none",
		"-kernel", image.kernel, "-initrd", image.initrd,
		"-append", kernel,
		"-serial", "file:" + m.console, "-serial", "stdio", "-serial", "file:" + m.witness,
		"-virtfs", "local,path=" + m.share + ",mount_tag=share,security_model=none",
	}
	if h.disk != "" {
		a = append(a, "-drive", drive)
	}
	if h.can {
		a = append(a, "-object", "can-bus,id=bus", "-device", "kvaser_pci,canbus=bus", "-device", "kvaser_pci,canbus=bus")
	}
	if h.fast {
		// An instruction takes 4 ns of the guest's time.
		a = append(a, "-icount", "shift=2,sleep=off", "-rtc", "clock=vm")
	}
	return a
}

// listen passes on the shell's output, line by line, until the machine is off.
func (m *machine) listen(out *os.File) {
	defer close(m.lines)
	defer out.Close()
	lines := bufio.NewScanner(out)
	lines.Buffer(nil, 1<<22)
	for lines.Scan() {
		m.lines <- strings.TrimRight(lines.Text(), "\r")
	}
}

var errOff = errors.New("the machine is off")

// answer reads the shell's output up to its status line.
func (m *machine) answer(limit time.Duration) (out string, status int, err error) {
	timeout := time.After(limit)
	var b strings.Builder
	for {
		select {
		case line, ok := <-m.lines:
			if !ok {
				return b.String(), 0, errOff
			}
			if rest, found := strings.CutPrefix(line, "@@ "); found {
				status, _ = strconv.Atoi(rest)
				return strings.TrimSpace(b.String()), status, nil
			}
			b.WriteString(line + "\n")
		case <-timeout:
			return b.String(), 0, fmt.Errorf("no answer in %v", limit)
		}
	}
}

// try has the guest's shell obey one line, and returns its output and status.
func (m *machine) try(line string) (string, int) {
	m.t.Helper()
	m.give("line", []byte(line))
	if _, err := m.in.WriteString("\n"); err != nil {
		m.t.Fatalf("%s: %v", line, err)
	}
	out, status, err := m.answer(m.patience)
	if err != nil {
		m.t.Fatalf("%s: %v\n%s", line, err, out)
	}
	return out, status
}

// run is try for a line that must succeed.
func (m *machine) run(line string) string {
	m.t.Helper()
	out, status := m.try(line)
	if status != 0 {
		m.t.Fatalf("%s: status %d\n%s", line, status, out)
	}
	return out
}

// await repeats a line in the guest until it succeeds, for at most so many of
// the guest's seconds.
func (m *machine) await(seconds int, line string) {
	m.t.Helper()
	loop := fmt.Sprintf("n=0; until %s; do n=$((n+1)); [ $n -lt %d ] || break; sleep 0.1; done; [ $n -lt %d ]",
		line, seconds*10, seconds*10)
	if out, status := m.try(loop); status != 0 {
		m.t.Fatalf("not within %d s: %s\n%s", seconds, line, out)
	}
}

// give copies a file into the guest's /share.
func (m *machine) give(name string, content []byte) {
	m.t.Helper()
	if err := os.WriteFile(filepath.Join(m.share, name), content, 0o644); err != nil {
		m.t.Fatal(err)
	}
}

// cut switches the power off, now.
func (m *machine) cut() {
	m.t.Helper()
	if err := m.qemu.Process.Kill(); err != nil {
		m.t.Fatal(err)
	}
	m.off()
}

// off makes sure that the machine is off.
func (m *machine) off() {
	if m.qemu.ProcessState != nil {
		return
	}
	m.in.Close()
	m.qemu.Process.Kill()
	m.qemu.Wait()
	for range m.lines {
	}
}

// tail returns the last n bytes of a file.
func tail(name string, n int) string {
	b, _ := os.ReadFile(name)
	return string(b[max(0, len(b)-n):])
}
