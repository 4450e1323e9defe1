// Package device keeps track of who sends: which device holds an address now,
// and what it said about itself.
//
// A device is known by its 64-bit NAME on its bus (ISO 11783-5). An address
// belongs to whoever claimed it last and can change hands in the day. A sender
// that has made no claim yet is anonymous, known by its address; its first
// claim names it in place, unless the NAME is one that already has an index.
//
// Invariants: an index, once given, means the same device for good. At most
// Max devices are kept; all further ones share the index Overflow.
package device

import (
	"strconv"
	"strings"

	"trialday.example/logd/pgn"
)

const (
	// Max bounds the devices that are told apart.
	Max = 1024
	// Overflow is the index that all devices beyond Max share.
	Overflow = Max

	buses     = 256
	addresses = 256
)

// ProductInformation is the PGN in which a device describes itself.
const ProductInformation = 126996

// Device is one sender.
type Device struct {
	Bus uint8
	// Name is valid only where Named: before its first claim a device is
	// anonymous.
	Name  pgn.Name
	Named bool
	// Addresses in the order in which it used them; no two neighbours equal.
	// At most 64 are kept, the latest last.
	Addresses []uint8
	// Model, Software, Version and Serial are from the product information;
	// empty where it was not heard.
	Model, Software, Version, Serial string
	// Messages counts what it sent.
	Messages int64
}

// Address is the one that the device used last.
func (d *Device) Address() uint8 {
	if len(d.Addresses) == 0 {
		return pgn.NullAddress
	}
	return d.Addresses[len(d.Addresses)-1]
}

// Registry finds devices by address. The zero value is not usable; make it with
// New.
type Registry struct {
	devices []*Device
	// holder is the index+1 of who holds an address of a bus, 0 if not known.
	holder [buses]*[addresses]uint16
	named  map[identity]uint16
	// Changes grows when any device's name, address or product information
	// changes, so that what was derived from them can be kept until then.
	Changes int64
	// Refused counts the devices that found no index of their own.
	Refused int64
}

type identity struct {
	bus  uint8
	name pgn.Name
}

// New makes an empty Registry.
func New() *Registry { return &Registry{named: map[identity]uint16{}} }

// Devices lists every device by index. Where Max was exceeded the last one, of
// index Overflow, stands for all that found no place.
func (r *Registry) Devices() []*Device { return r.devices }

// Message takes the next message and returns the index of the device that sent
// it. Address claims and product information are read on the way.
func (r *Registry) Message(bus uint8, h pgn.Header, data []byte) uint16 {
	var i uint16
	if name, ok := pgn.ParseName(data); h.PGN == pgn.AddressClaim && ok {
		i = r.claim(bus, h.Source, name)
	} else {
		i = r.sender(bus, h.Source)
	}
	d := r.devices[i]
	d.Messages++
	if h.PGN == ProductInformation {
		r.describe(d, data)
	}
	return i
}

// sender is the device that holds an address.
func (r *Registry) sender(bus, address uint8) uint16 {
	if page := r.holder[bus]; page != nil && page[address] != 0 {
		return page[address] - 1
	}
	i, found := r.anonymous(bus, address)
	if !found {
		i = r.add(Device{Bus: bus})
	}
	r.hold(bus, address, i)
	return i
}

// anonymous finds the unnamed device of an address.
func (r *Registry) anonymous(bus, address uint8) (uint16, bool) {
	for i, d := range r.devices[:min(len(r.devices), Max)] {
		if !d.Named && d.Bus == bus && d.Address() == address {
			return uint16(i), true
		}
	}
	return 0, false
}

// claim takes an address claim. The last claim heard stands: a device that
// loses the contention then claims another address or none (address 254), and
// one that wins repeats its claim (ISO 11783-5).
func (r *Registry) claim(bus, address uint8, name pgn.Name) uint16 {
	id := identity{bus, name}
	i, known := r.named[id]
	if !known {
		i = r.admit(id, address)
	}
	if d := r.devices[i]; known && d.Address() != address && i != Overflow {
		r.release(bus, d.Address(), i)
	}
	if address != pgn.NullAddress {
		r.hold(bus, address, i)
	}
	return i
}

// admit gives a NAME that was not heard before an index: the one of the
// anonymous sender at its address, else a new one.
func (r *Registry) admit(id identity, address uint8) uint16 {
	i, found := uint16(0), false
	if address != pgn.NullAddress {
		i, found = r.anonymous(id.bus, address)
	}
	if !found {
		i = r.add(Device{Bus: id.bus})
	}
	if i == Overflow {
		return i
	}
	d := r.devices[i]
	d.Name, d.Named = id.name, true
	r.named[id] = i
	r.Changes++
	return i
}

// hold notes that an address belongs to device i from now on.
func (r *Registry) hold(bus, address uint8, i uint16) {
	page := r.holder[bus]
	if page == nil {
		page = new([addresses]uint16)
		r.holder[bus] = page
	}
	if page[address] == i+1 {
		return
	}
	page[address] = i + 1
	r.Changes++
	d := r.devices[i]
	if i == Overflow || len(d.Addresses) > 0 && d.Address() == address {
		return
	}
	const kept = 64
	if len(d.Addresses) == kept {
		d.Addresses = d.Addresses[:copy(d.Addresses, d.Addresses[1:])]
	}
	d.Addresses = append(d.Addresses, address)
}

// release notes that device i has left an address, if it still held it.
func (r *Registry) release(bus, address uint8, i uint16) {
	if page := r.holder[bus]; page != nil && page[address] == i+1 {
		page[address] = 0
		r.Changes++
	}
}

// add gives a device an index.
func (r *Registry) add(d Device) uint16 {
	if len(r.devices) >= Max {
		r.Refused++
		if len(r.devices) == Max {
			r.devices = append(r.devices, &Device{})
		}
		return Overflow
	}
	r.devices = append(r.devices, &d)
	return uint16(len(r.devices) - 1)
}

var (
	product  = pgn.Lookup(ProductInformation)
	model    = product.Field("model")
	software = product.Field("software_version")
	version  = product.Field("model_version")
	serial   = product.Field("serial_number")
)

// describe reads the product information.
func (r *Registry) describe(d *Device, data []byte) {
	was := *d
	d.Model, d.Software = model.String(data), software.String(data)
	d.Version, d.Serial = version.String(data), serial.String(data)
	if was.Model != d.Model || was.Serial != d.Serial {
		r.Changes++
	}
}

// Matches reports whether the device of index i is the one that text names: by
// its NAME in hexadecimal, its model, or bus/address as it is now ("can0/35").
// bus is the name of the device's interface. Upper and lower case are the same.
func (r *Registry) Matches(i uint16, bus, text string) bool {
	if i >= Overflow || int(i) >= len(r.devices) {
		return false
	}
	d := r.devices[i]
	if d.Model != "" && strings.EqualFold(d.Model, text) {
		return true
	}
	if name, ok := ParseName(text); ok && d.Named && d.Name == name {
		return true
	}
	at := strings.LastIndexByte(text, '/')
	if at < 0 || !strings.EqualFold(text[:at], bus) {
		return false
	}
	address, err := strconv.ParseUint(text[at+1:], 10, 8)
	return err == nil && r.holds(d.Bus, uint8(address), i)
}

func (r *Registry) holds(bus, address uint8, i uint16) bool {
	page := r.holder[bus]
	return page != nil && page[address] == i+1
}

// ParseName reads a NAME written in up to 16 hexadecimal digits, with or without
// 0x.
func ParseName(text string) (pgn.Name, bool) {
	text = strings.TrimPrefix(strings.ToLower(text), "0x")
	v, err := strconv.ParseUint(text, 16, 64)
	return pgn.Name(v), err == nil
}
