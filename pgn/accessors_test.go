package pgn_test

import (
	"bytes"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"reflect"
	"strings"
	"testing"

	"trialday.example/logd/pgn"
)

// typed views a payload as its message's own type.
func typed(n uint32, data []byte) any {
	switch n {
	case 126992:
		return pgn.SystemTime(data)
	case 127245:
		return pgn.RudderStatus(data)
	case 127250:
		return pgn.VesselHeading(data)
	case 127251:
		return pgn.TurnRate(data)
	case 127257:
		return pgn.Attitude(data)
	case 127488:
		return pgn.EngineRapid(data)
	case 127489:
		return pgn.EngineDynamic(data)
	case 127493:
		return pgn.Transmission(data)
	case 127497:
		return pgn.TripFuelEngine(data)
	case 127505:
		return pgn.TankLevel(data)
	case 128259:
		return pgn.WaterSpeed(data)
	case 129025:
		return pgn.PositionRapid(data)
	case 129026:
		return pgn.CourseSpeed(data)
	case 129029:
		return pgn.GNSSPosition(data)
	case 130306:
		return pgn.Wind(data)
	}
	return nil
}

// checkAccessors compares every accessor of a message with the table.
func checkAccessors(t *testing.T, m *pgn.Message, data []byte) {
	t.Helper()
	if m.Type == "" {
		return
	}
	p := reflect.ValueOf(typed(m.PGN, data))
	if p.Type().Name() != m.Type {
		t.Fatalf("%s: type %s, want %s", m.Name, p.Type().Name(), m.Type)
	}
	methods := make(map[string]int)
	for i := range p.NumMethod() {
		methods[strings.ToLower(p.Type().Method(i).Name)] = i
	}
	for i := range m.Fields {
		f := &m.Fields[i]
		if f.Kind == pgn.Spare {
			continue
		}
		n, ok := methods[strings.ReplaceAll(f.Name, "_", "")]
		if !ok {
			t.Fatalf("%s has no accessor for %s", m.Type, f.Name)
		}
		got := p.Method(n).Call(nil)[0].Interface().(pgn.Value)
		if want := f.SI(data); !same(got, want) {
			t.Fatalf("%s: %s of % X: %v, want %v", m.Type, f.Name, data, got, want)
		}
	}
}

// same compares to the last bit.
func same(a, b pgn.Value) bool {
	return a.State == b.State && (a.V == b.V || math.IsNaN(a.V) && math.IsNaN(b.V))
}

func TestAccessors(t *testing.T) {
	rng := rand.New(rand.NewPCG(9, 10))
	for _, m := range pgn.All() {
		for n := range m.Length + 2 {
			checkAccessors(t, m, randomPayload(rng, n))
		}
		checkAccessors(t, m, m.New())
		for i := range m.Fields {
			f := &m.Fields[i]
			if f.Kind == pgn.Text {
				continue
			}
			for _, s := range []pgn.State{pgn.NotAvailable, pgn.OutOfRange, pgn.Reserved} {
				data := randomPayload(rng, m.Length)
				f.Put(data, pgn.Value{State: s})
				checkAccessors(t, m, data)
			}
		}
	}
}

func TestAccessorsAreUpToDate(t *testing.T) {
	want, err := exec.Command("go", "run", "gen.go").Output()
	if err != nil {
		t.Fatal(err)
	}
	got, err := os.ReadFile("accessors.go")
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(got, want) {
		t.Error("accessors.go differs from the table: run go generate ./pgn")
	}
}

var sink float64

func TestNoAllocation(t *testing.T) {
	engine := pgn.EngineRapid(make([]byte, 8))
	fix := pgn.GNSSPosition(make([]byte, 43))
	for name, f := range map[string]func(){
		"accessors": func() {
			sink += engine.Speed().V + engine.Trim().V + fix.Latitude().V + fix.Integrity().V
		},
		"samples": func() {
			h := pgn.ParseID(0x09F20001)
			sum := 0.0
			pgn.Lookup(h.PGN).Samples(engine, func(_ pgn.Quantity, _ uint8, v pgn.Value) { sum += v.V })
			sink += sum
		},
		"name": func() {
			n, _ := pgn.ParseName(engine)
			sink += float64(n.UniqueNumber()) + float64(n.Function())
		},
	} {
		if n := testing.AllocsPerRun(100, f); n != 0 {
			t.Errorf("%s: %v allocations", name, n)
		}
	}
}
