package pgn

import (
	"encoding/binary"
	"fmt"
)

// Name is the 64-bit NAME by which a device is known whatever its address
// (ISO 11783-5). It is the payload of the address claim, PGN 60928.
type Name uint64

// The parts of a NAME, from the table of the address claim.
var (
	nameUnique        = claim("unique_number")
	nameManufacturer  = claim("manufacturer_code")
	nameInstanceLower = claim("device_instance_lower")
	nameInstanceUpper = claim("device_instance_upper")
	nameFunction      = claim("function")
	nameClass         = claim("class")
	nameSystem        = claim("system_instance")
	nameIndustry      = claim("industry_group")
	nameArbitrary     = claim("arbitrary_address")
)

// AddressClaim is the PGN in which a device states its NAME.
const AddressClaim = 60928

func claim(name string) *Field {
	return Lookup(AddressClaim).Field(name)
}

// ParseName reads the NAME from an address claim. It reports false if the
// payload is shorter than a NAME.
func ParseName(data []byte) (Name, bool) {
	if len(data) < 8 {
		return 0, false
	}
	return Name(binary.LittleEndian.Uint64(data)), true
}

// Payload is the address claim's payload.
func (n Name) Payload() []byte {
	return binary.LittleEndian.AppendUint64(nil, uint64(n))
}

func (n Name) part(f *Field) uint64 {
	return uint64(n) >> f.Offset & (1<<f.Bits - 1)
}

// UniqueNumber is the maker's serial number, 21 bits.
func (n Name) UniqueNumber() uint32 { return uint32(n.part(nameUnique)) }

// ManufacturerCode is the maker's number, 11 bits.
func (n Name) ManufacturerCode() uint16 { return uint16(n.part(nameManufacturer)) }

// DeviceInstance tells devices of one function apart, 8 bits.
func (n Name) DeviceInstance() uint8 {
	return uint8(n.part(nameInstanceUpper)<<3 | n.part(nameInstanceLower))
}

// Function is what the device does, within its class.
func (n Name) Function() uint8 { return uint8(n.part(nameFunction)) }

// Class is the field of use that Function belongs to, 7 bits.
func (n Name) Class() uint8 { return uint8(n.part(nameClass)) }

// SystemInstance tells networks apart, 4 bits.
func (n Name) SystemInstance() uint8 { return uint8(n.part(nameSystem)) }

// IndustryGroup is 4 for marine, 3 bits.
func (n Name) IndustryGroup() uint8 { return uint8(n.part(nameIndustry)) }

// ArbitraryAddress reports whether the device can take any free address.
func (n Name) ArbitraryAddress() bool { return n.part(nameArbitrary) == 1 }

// String is the NAME in 16 hexadecimal digits.
func (n Name) String() string { return fmt.Sprintf("%016X", uint64(n)) }
