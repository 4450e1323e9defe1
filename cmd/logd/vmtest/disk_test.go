package vmtest

import (
	"path/filepath"
	"testing"
)

// TestDisk fills the disk and makes room again: logd stays up, says so, keeps
// what fits in memory, counts what does not, and goes on by itself. Then the
// file system breaks and is read-only: logd stays up, says so, stops in order,
// and goes on after the repair with nothing lost of what it had kept.
func TestDisk(t *testing.T) {
	needVM(t)
	t.Parallel()
	m := boot(t, hardware{disk: newDisk(t, 64)})
	m.mountDisk()
	m.addBuses("vcan0")
	m.launch([]string{"vcan0"}, "")
	sent := map[int]int{}
	play := func(round, seconds int) {
		t.Helper()
		m.give("traffic.log", numberedTraffic("vcan0", round, seconds))
		m.run("canplayer -I /share/traffic.log")
		sent[round] = seconds * fullLoad
	}
	recording := func(value string) {
		t.Helper()
		m.awaitMetric(10, "logd_recording", value)
	}
	const fill = "dd if=/dev/zero of=/disk/fill bs=64k 2>/dev/null; sync"

	play(1, 1)
	recording("1")
	m.run(fill)
	recording("0")
	play(2, 5) // fits in memory
	m.run("rm /disk/fill")
	recording("1")

	m.run(fill)
	recording("0")
	play(3, 45) // does not
	m.run("rm /disk/fill")
	recording("1")

	m.awaitMetric(5, "logd_queue_frames", "0")
	m.run("sleep 2") // synced
	lost := int(m.metric("logd_lost_frames_total"))
	dropped := m.metric(`logd_kernel_dropped_frames_total{source="0"}`)

	// A fault of the file system, after which the kernel lets nobody write until
	// it is repaired and mounted anew.
	m.run("echo fault >/sys/fs/ext4/vda/trigger_fs_error")
	play(4, 2)
	recording("0")
	m.stop()
	m.run("umount /disk && cp /dev/vda /share/disk")
	host(t, "sh", "-c", `e2fsck -p "$0"; [ $? -le 1 ]`, filepath.Join(m.share, "disk")) // 1: faults were repaired
	m.run("cp /share/disk /dev/vda")
	m.mountDisk()
	m.run(launchLine)
	m.awaitLogd()
	play(5, 1)
	m.stop()

	sent[4] = 0 // nowhere to go
	kept := byRound(t, exportAll(t, m.fetchLogbook()))
	for round, n := range sent {
		want := n
		if round == 3 {
			want -= lost
		}
		if kept[round] != want {
			t.Errorf("round %d: %d frames kept of %d, %d lost by logd's own count", round, kept[round], n, lost)
		}
	}
	if lost == 0 || dropped != 0 {
		t.Errorf("%d frames lost, %v dropped by the kernel", lost, dropped)
	}
	counts.note(t, "disk", map[string]any{
		"full_5_s_lost": sent[2] - kept[2], "full_45_s_frames": sent[3], "full_45_s_kept": kept[3], "counted_as_lost": lost,
	})
}
