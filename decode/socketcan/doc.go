// Package socketcan listens to CAN interfaces of the Linux kernel, and to the
// UDP transport that stands for one on a machine without CAN.
//
// All CAN interfaces are heard through one raw socket that is bound to none of
// them. So the frames of all interfaces come in the order in which the kernel
// received them, and an interface that is unplugged and comes back, as another
// device or with another index, is heard again without anything to reopen.
// Frames carry the kernel's receive time in whole microseconds; what the kernel had to drop is
// counted. Error frames of every class are received like all others.
//
// # Invariants
//
//   - Nothing is ever sent on a bus: the package holds no call that could. A
//     test reads its source for that.
//   - Listening never ends by itself. What hinders it (no CAN in the kernel, an
//     interface that is missing, down or off the bus) is told, with what a
//     person should do, and listening goes on when it is gone.
//
// Sources: Linux Documentation/networking/can.rst (frame layout, options of
// the raw socket), include/uapi/linux/can/error.h (error frames), socket(7)
// (SO_TIMESTAMPNS, SO_RXQ_OVFL, SO_RCVBUFFORCE), recvmmsg(2).
package socketcan
