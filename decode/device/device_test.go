package device

import (
	"math/rand/v2"
	"slices"
	"testing"

	"trialday.example/logd/pgn"
)

// say sends a message without meaning here.
func say(r *Registry, bus, address uint8) uint16 {
	return r.Message(bus, pgn.Header{PGN: 127250, Source: address, Destination: pgn.Broadcast}, make([]byte, 8))
}

func claim(r *Registry, bus, address uint8, name pgn.Name) uint16 {
	return r.Message(bus, pgn.Header{PGN: pgn.AddressClaim, Source: address, Destination: pgn.Broadcast}, name.Payload())
}

func TestAnonymousIsNamedInPlace(t *testing.T) {
	r := New()
	a := say(r, 0, 35)
	if say(r, 1, 35) == a {
		t.Error("one address on two buses is two devices")
	}
	if claim(r, 0, 35, 0xAA) != a || say(r, 0, 35) != a {
		t.Error("the first claim changed the index")
	}
	d := r.Devices()[a]
	if !d.Named || d.Name != 0xAA || d.Messages != 3 {
		t.Errorf("got %+v", d)
	}
}

func TestDeviceMovesAddress(t *testing.T) {
	r := New()
	a := claim(r, 0, 35, 0xAA)
	if claim(r, 0, 36, 0xAA) != a || say(r, 0, 36) != a {
		t.Error("the index did not follow the NAME")
	}
	if say(r, 0, 35) == a {
		t.Error("the address left behind still counts as the device's")
	}
	if got := r.Devices()[a].Addresses; !slices.Equal(got, []uint8{35, 36}) {
		t.Errorf("addresses %v", got)
	}
	// Whoever sends from an address of an anonymous sender does not become it
	// when the NAME already has an index.
	b := say(r, 0, 40)
	if claim(r, 0, 40, 0xAA) != a || say(r, 0, 40) != a || a == b {
		t.Error("known NAME at an anonymous sender's address")
	}
}

func TestAddressChangesHands(t *testing.T) {
	r := New()
	a, b := claim(r, 0, 35, 0xAA), claim(r, 0, 36, 0xBB)
	claim(r, 0, 36, 0xAA)
	claim(r, 0, 35, 0xBB)
	if say(r, 0, 36) != a || say(r, 0, 35) != b {
		t.Error("after an exchange of addresses the messages did not follow the NAMEs")
	}
}

func TestLostContention(t *testing.T) {
	r := New()
	a := claim(r, 0, 35, 0xAA)
	b := claim(r, 0, 35, 0xBB) // wants the address
	claim(r, 0, 35, 0xAA)      // has the lower NAME and keeps it
	if claim(r, 0, 254, 0xBB) != b {
		t.Error("cannot-claim is not the loser's")
	}
	if say(r, 0, 35) != a {
		t.Error("the winner lost its address")
	}
	if claim(r, 0, 50, 0xBB) != b || say(r, 0, 50) != b {
		t.Error("the loser's next address is not its own")
	}
	claim(r, 0, 254, 0xAA)
	if say(r, 0, 35) == a {
		t.Error("a device that cannot claim still holds its address")
	}
}

func TestProductInformation(t *testing.T) {
	r := New()
	def := pgn.Lookup(ProductInformation)
	data := def.New()
	def.Field("model").PutString(data, "Compass 3")
	def.Field("serial_number").PutString(data, "0007")
	i := r.Message(0, pgn.Header{PGN: ProductInformation, Source: 35}, data)
	if d := r.Devices()[i]; d.Model != "Compass 3" || d.Serial != "0007" || d.Software != "" {
		t.Errorf("got %+v", d)
	}
	claim(r, 0, 35, 0xAB)
	for text, want := range map[string]bool{
		"compass 3": true, "0xab": true, "00000000000000AB": true, "can0/35": true, "CAN0/35": true,
		"can1/35": false, "can0/36": false, "AC": false, "": false, "/": false, "can0/x": false,
	} {
		if r.Matches(i, "can0", text) != want {
			t.Errorf("%q: want %v", text, want)
		}
	}
}

func TestBounded(t *testing.T) {
	r := New()
	for n := range 3000 {
		claim(r, uint8(n>>8), uint8(n), pgn.Name(n+1))
	}
	if len(r.Devices()) != Max+1 || r.Refused != 3000-Max {
		t.Errorf("%d devices, %d refused", len(r.Devices()), r.Refused)
	}
	if say(r, 0, 5) != 5 {
		t.Error("an early device lost its index")
	}
	if say(r, 11, 0) != Overflow {
		t.Error("a late device has an index")
	}
	for _, d := range r.Devices() {
		if len(d.Addresses) > 64 {
			t.Fatal("too many addresses kept")
		}
	}
}

// Property: whatever order claims come in, each NAME keeps the index it got,
// and a message goes to the NAME that claimed its address last.
func TestRandomClaims(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	r := New()
	index, holder := map[pgn.Name]uint16{}, map[uint8]pgn.Name{}
	for range 20000 {
		name, address := pgn.Name(1+rng.IntN(50)), uint8(rng.IntN(60))
		if rng.IntN(10) == 0 {
			address = pgn.NullAddress
		}
		i := claim(r, 0, address, name)
		if was, ok := index[name]; ok && was != i {
			t.Fatalf("NAME %v moved from index %d to %d", name, was, i)
		}
		index[name] = i
		for a, n := range holder {
			if n == name {
				delete(holder, a)
			}
		}
		if address != pgn.NullAddress {
			holder[address] = name
		}
		for a, n := range holder {
			if say(r, 0, a) != index[n] {
				t.Fatalf("address %d is not attributed to %v", a, n)
			}
		}
	}
}
