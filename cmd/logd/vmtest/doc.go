// Package vmtest runs the built logd as it runs aboard: on a Debian kernel with
// SocketCAN, in a small virtual machine whose power can be cut. It holds tests
// only.
//
// The tests run where TRIALDAY_VM is set and are skipped elsewhere, since they
// take minutes and need qemu. What else they need, .ci/vm/prepare fetches.
//
//	TRIALDAY_VM=1 go test -count=1 -parallel 2 -timeout 20m ./cmd/logd/vmtest
//
// TRIALDAY_VM_CUTS sets the number of power cuts (30), TRIALDAY_VM_LOAD the
// seconds of full bus load (60), and TRIALDAY_VM_COUNTS the name of a JSON file
// for what was counted.
//
// # How it works
//
// Qemu emulates (no acceleration, so it runs anywhere). The guest's clock is
// the host's: a second aboard is a second here. Three serial ports leave the
// machine: the kernel's console, a shell that obeys one line at a time, and the
// witness, a plain file to which candump writes what was on the bus; a power
// cut takes nothing back from it. A directory is shared by 9p, the boat's disk
// is an ext4 image on virtio, written through.
//
// A power cut is SIGKILL to qemu: whatever the guest's kernel had not yet sent
// to the disk is gone, at any instruction. What the host's page cache took from
// qemu stays, so a disk that loses what it acknowledged is not shown here.
package vmtest
