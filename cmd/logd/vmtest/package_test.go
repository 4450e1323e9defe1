package vmtest

import (
	"encoding/json"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

// TestPackage takes the Debian package through its life on a Debian machine
// with systemd and two CAN controllers: installed, at work as the hardened
// service, killed, hung, upgraded, removed, installed again, purged.
func TestPackage(t *testing.T) {
	needVM(t)
	t.Parallel()
	prepare := exec.Command("../../../.ci/vm/debian")
	prepare.Stderr = os.Stderr
	disk, err := prepare.Output()
	if err != nil {
		t.Fatal(err)
	}
	m := boot(t, hardware{disk: strings.TrimSpace(string(disk)), debian: true, can: true})
	for version, name := range map[string]string{"0.1.0": "old.deb", "0.1.1": "new.deb"} {
		m.givePackage(version, name)
	}
	m.run("systemctl enable --now systemd-networkd 2>/dev/null; modprobe kvaser_pci; until ip link show can1 >/dev/null 2>&1; do sleep 0.1; done")

	t.Log("install")
	m.run("dpkg -i /share/old.deb >/share/dpkg.out 2>&1 || { cat /share/dpkg.out; false; }")
	m.run("systemctl is-active logd") // Type=notify: it has said that it is ready
	m.run("systemctl is-enabled logd")
	m.expect("systemctl show -p User -p StatusText --value logd", "trialday")
	m.expect("stat -c '%U %a' /var/lib/trialday", "trialday 750")
	m.expect("sysctl -n net.core.rmem_max", "8388608")
	m.checkBus()
	m.checkSecurity()

	t.Log("record")
	m.play(1)
	m.checkSurvives()
	if took := m.stopService(); took > 2 {
		t.Errorf("stopping took %.2f s", took)
	}
	m.run("sed -i 's/^  interfaces:.*/  interfaces: [can0] # mine/' /etc/trialday/logd.yaml; systemctl start logd")

	t.Log("upgrade")
	pid := m.run("systemctl show -p MainPID --value logd")
	m.run("dpkg -i /share/new.deb >/share/dpkg.out 2>&1 </dev/null || { cat /share/dpkg.out; false; }")
	m.expect("dpkg-query -W -f '${Version}' trialday-logd", "0.1.1")
	m.run("systemctl is-active logd")
	if now := m.run("systemctl show -p MainPID --value logd"); now == pid {
		t.Error("the old program is still running after the upgrade")
	}
	m.run("grep -q '# mine' /etc/trialday/logd.yaml")
	m.play(2)
	m.run("systemctl disable --quiet logd; dpkg -i /share/new.deb >/dev/null 2>&1 </dev/null")
	if out, _ := m.try("systemctl is-enabled logd"); out != "disabled" {
		t.Errorf("an upgrade made a disabled service %s", out)
	}
	m.run("systemctl enable --quiet logd")

	t.Log("remove")
	m.run("dpkg -r trialday-logd >/dev/null 2>&1")
	m.gone("/usr/bin/logd", "/lib/systemd/system/logd.service")
	m.run("grep -q '# mine' /etc/trialday/logd.yaml")
	m.checkFrames(2)

	t.Log("install again and purge")
	m.run("dpkg -i /share/new.deb >/dev/null 2>&1 </dev/null && systemctl is-active logd && grep -q '# mine' /etc/trialday/logd.yaml")
	m.run("dpkg -P trialday-logd >/dev/null 2>&1")
	m.gone("/usr/bin/logd", "/etc/trialday")
	m.checkFrames(2)

	t.Log("purge with the journals")
	m.run("dpkg -i /share/new.deb >/dev/null 2>&1 </dev/null && touch /var/lib/trialday/delete-on-purge")
	m.run("dpkg -P trialday-logd >/dev/null 2>&1")
	m.gone("/var/lib/trialday")
	counts.note(t, "package", "installed, upgraded, removed, installed again, purged with journals kept, purged with journals deleted")
}

// TestArchitectures: the packages for other processors hold a program that
// starts there.
func TestArchitectures(t *testing.T) {
	needVM(t)
	t.Parallel()
	for debian, emulator := range map[string]string{"arm64": "qemu-aarch64-static", "armhf": "qemu-arm-static"} {
		deb, tree := buildPackage(t, "0.1.0", debian), t.TempDir()
		if out := host(t, "dpkg-deb", "-f", deb, "Architecture"); strings.TrimSpace(out) != debian {
			t.Errorf("%s is for %s", deb, out)
		}
		host(t, "dpkg-deb", "-x", deb, tree)
		if out := host(t, emulator, filepath.Join(tree, "usr/bin/logd"), "--version"); !strings.HasPrefix(out, "logd version") {
			t.Errorf("%s: %q", debian, out)
		}
	}
}

// buildPackage builds the package and returns its file.
func buildPackage(t *testing.T, version, debian string) string {
	t.Helper()
	dir := t.TempDir()
	build := exec.Command("../../../systemd/build-deb", dir, debian)
	build.Env = append(os.Environ(), "PACKAGE_VERSION="+version)
	if out, err := build.CombinedOutput(); err != nil {
		t.Fatalf("build-deb: %v\n%s", err, out)
	}
	debs, _ := filepath.Glob(filepath.Join(dir, "*.deb"))
	if len(debs) != 1 {
		t.Fatalf("build-deb made %v", debs)
	}
	return debs[0]
}

// givePackage builds the package for the guest.
func (m *machine) givePackage(version, name string) {
	m.t.Helper()
	content, err := os.ReadFile(buildPackage(m.t, version, "amd64"))
	if err != nil {
		m.t.Fatal(err)
	}
	m.give(name, content)
}

// expect runs a line whose output must contain a text.
func (m *machine) expect(line, text string) {
	m.t.Helper()
	if out := m.run(line); !strings.Contains(out, text) {
		m.t.Errorf("%s: %q lacks %q", line, out, text)
	}
}

func (m *machine) gone(names ...string) {
	m.t.Helper()
	for _, name := range names {
		if _, status := m.try("[ ! -e " + name + " ]"); status != 0 {
			m.t.Errorf("%s is still there", name)
		}
	}
}

// checkBus: the network file has set up a real controller as it should. The
// other one becomes the rest of the boat.
func (m *machine) checkBus() {
	m.t.Helper()
	m.await(20, `{ ip -d link show can0 | grep -q 'listen-only on\|<LISTEN-ONLY>'; }`)
	var links []struct {
		Flags []string `json:"flags"`
		Info  struct {
			Data struct {
				Modes  []string `json:"ctrlmode"`
				Timing struct {
					Bitrate int `json:"bitrate"`
				} `json:"bittiming"`
			} `json:"info_data"`
		} `json:"linkinfo"`
	}
	out := m.run("ip -d -j link show can0")
	if err := json.Unmarshal([]byte(out), &links); err != nil || len(links) != 1 {
		m.t.Fatalf("%v: %s", err, out)
	}
	info := links[0].Info.Data
	if info.Timing.Bitrate != 250_000 || strings.Join(info.Modes, " ") != "LISTEN-ONLY" {
		m.t.Errorf("bit rate %d, modes %v", info.Timing.Bitrate, info.Modes)
	}
	m.run(`mkdir -p /run/systemd/network && printf '[Match]\nName=can1\n[CAN]\nBitRate=250K\nListenOnly=no\n' >/run/systemd/network/10-boat.network`)
	m.run("networkctl reload && networkctl reconfigure can1")
	m.await(20, "{ ip -d link show can1 | grep -q 'state UP' && ! ip -d link show can1 | grep -q LISTEN-ONLY; }")
}

// checkSecurity has systemd judge the unit, and notes its score.
func (m *machine) checkSecurity() {
	m.t.Helper()
	if out := m.run("systemd-analyze verify --man=no logd.service 2>&1"); out != "" {
		m.t.Errorf("systemd-analyze verify: %s", out)
	}
	out := m.run("systemd-analyze security --no-pager logd | tail -n 1")
	counts.note(m.t, "systemd_security", strings.TrimPrefix(strings.TrimSpace(out), "→ "))
}

// play puts a round of numbered frames on the bus, as another device does.
func (m *machine) play(round int) {
	m.t.Helper()
	m.give("traffic.log", numberedTraffic("can1", round, 1))
	m.run("canplayer -I /share/traffic.log")
}

// checkSurvives: whatever ends or hangs the program, it is there again.
func (m *machine) checkSurvives() {
	m.t.Helper()
	pid := "$(systemctl show -p MainPID --value logd)"
	m.run("old=" + pid + "; kill -KILL $old")
	m.await(30, "{ systemctl is-active -q logd && [ "+pid+" != $old ]; }")
	m.run("old=" + pid + "; kill -STOP $old") // hung: the watchdog's turn
	m.await(60, "{ systemctl is-active -q logd && [ "+pid+" != $old ]; }")
}

// stopService stops the service and returns how long that took.
func (m *machine) stopService() float64 {
	m.t.Helper()
	out := m.run("read a b </proc/uptime; systemctl stop logd; read c d </proc/uptime; echo $a $c")
	from, to := parsePair(m.t, out)
	return to - from
}

// checkFrames: all frames of the rounds so far are in the journals.
func (m *machine) checkFrames(rounds int) {
	m.t.Helper()
	m.run("rm -rf /share/journal && cp -r /var/lib/trialday /share/journal")
	var played []line
	for r := 1; r <= rounds; r++ {
		for n := range fullLoad {
			played = append(played, line{frame: numbered(r, n)})
		}
	}
	sameFrames(m.t, "the journal", exportAll(m.t, filepath.Join(m.share, "journal")), "played", played)
}
