package socketcan

import (
	"fmt"
	"strings"

	"go.einride.tech/can/pkg/socketcan"

	"trialday.example/logd/decode/frame"
)

// Explain tells what an error frame means and what a person should do.
func Explain(f *frame.Frame) string {
	e := errorFrame(f)
	var parts []string
	for _, c := range classes {
		if e.ErrorClass&c.class != 0 {
			parts = append(parts, c.text(&e))
		}
	}
	if len(parts) == 0 {
		return fmt.Sprintf("error of unknown class %#x", f.ID)
	}
	return strings.Join(parts, "; ")
}

// classes in the order of what helps most.
var classes = []struct {
	class socketcan.ErrorClass
	text  func(e *socketcan.ErrorFrame) string
}{
	{socketcan.ErrorClassBusOff, say("the controller is off the bus after too many errors: check bit rate and wiring, then take the interface down and up")},
	{socketcan.ErrorClassRestarted, say("the controller was started again after being off the bus")},
	{socketcan.ErrorClassController, func(e *socketcan.ErrorFrame) string {
		return "controller: " + controllerText(byte(e.ControllerError))
	}},
	{socketcan.ErrorClassProtocolViolation, func(e *socketcan.ErrorFrame) string {
		return fmt.Sprintf("protocol violation (%s at %s): check the bit rate (250 kbit/s), the wiring and the two terminators",
			e.ProtocolError, e.ProtocolViolationErrorLocation)
	}},
	{socketcan.ErrorClassBusError, say("bus error: check the bit rate (250 kbit/s), the wiring and the two terminators")},
	{socketcan.ErrorClassTransceiver, func(e *socketcan.ErrorFrame) string {
		return fmt.Sprintf("transceiver (%s): check the wiring for a short or a break", e.TransceiverError)
	}},
	{socketcan.ErrorClassNoAck, say("no acknowledgement: the interface has sent something; it should be in listen-only mode")},
	{socketcan.ErrorClassTxTimeout, say("sending timed out: the interface has tried to send; it should be in listen-only mode")},
	{socketcan.ErrorClassLostArbitration, say("lost arbitration: the interface has tried to send; it should be in listen-only mode")},
}

func say(text string) func(*socketcan.ErrorFrame) string {
	return func(*socketcan.ErrorFrame) string { return text }
}

// controllerText names the bits of the controller's state
// (include/uapi/linux/can/error.h, data[1]).
func controllerText(bits byte) string {
	var parts []string
	for i, name := range [...]string{
		"receive buffer overflow: frames were lost in the adapter", "transmit buffer overflow",
		"many receive errors (warning)", "many transmit errors (warning)",
		"error passive (receiving): check bit rate and wiring", "error passive (transmitting): check bit rate and wiring",
		"error active again",
	} {
		if bits&(1<<i) != 0 {
			parts = append(parts, name)
		}
	}
	if len(parts) == 0 {
		return "unspecified error"
	}
	return strings.Join(parts, ", ")
}
