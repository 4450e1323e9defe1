package calc

import (
	"math"
	"testing"

	"trialday.example/logd/calc/stat"
)

// TestMassAddsUp: a boat of 64,000 lb empty is 71,744 lb with full fuel and six
// people (common practice, no source). It checks the adding up only. The 7,744
// lb between are split in two ways, both plausible: six people of 75 kg leave
// fuel for 963 US gal of diesel at 0.84 kg/L; 945 US gal, the fuel that the
// ranges near 300 nm need, leave 84.6 kg a person.
func TestMassAddsUp(t *testing.T) {
	const pound = 0.45359237 // kg, NIST SP 811
	const density = 840.0
	for _, c := range []struct{ person, gallons, tolerance float64 }{
		{75, 963, 5},
		{84.6, 945, 5},
	} {
		items := MassItems(64000*pound, c.gallons*usGallon, density, 0, 6, c.person, 0)
		within(t, "pounds", TotalMass(items)/pound, 71744, c.tolerance)
	}
	// The fuel implied by the first split, and the density back from it.
	fuel := (71744-64000)*pound - 6*75
	within(t, "gallons", fuel/density/usGallon, 963, 0.5)
	within(t, "density", fuel/(963*usGallon), density, 0.5)
}

func TestWaterAndGearCount(t *testing.T) {
	within(t, "kg", TotalMass(MassItems(9330, 1.29, 840, 0.12, 4, 75, 150)), 9330+1083.6+120+300+150, 1e-9)
}

// TestReferenceMass: 10 % less mass is 5.4 % more speed by Crouch's formula and
// 2.4 % by the Admiralty coefficient, at the same power.
func TestReferenceMass(t *testing.T) {
	fast, slow := steady(40, 14, 30e-6, 0.8, 1), steady(15, 4, 3e-6, 0.2, 1)
	through := steady(30, 10, 20e-6, 0.6, 1)
	through.Corrected = false
	steps := number([]Step{slow, through, fast})
	boat := Boat{Planes: true, Length: 12}
	at := AtReferenceMass(steps, 7200, boat)
	if len(at) != 2 || at[0].Step != 1 || at[1].Step != 3 {
		t.Fatalf("%+v, want steps 1 and 3: the other is not corrected for current", at)
	}
	within(t, "afloat", at[0].Speed.Mean, 4*math.Pow(1/0.9, 2./9), 1e-9)
	within(t, "planing", at[1].Speed.Mean, 14*math.Sqrt(1/0.9), 1e-9)
	within(t, "economy", at[1].Economy.Mean, at[1].Speed.Mean/30e-6, 1e-3)
	if !(at[1].Speed.SE > steps[2].Speed.SE) {
		t.Error("the law's doubt is not in the interval")
	}
	same := AtReferenceMass(steps, 8000, boat)[1].Speed
	if same != (stat.Estimate{Mean: 14, SE: steps[2].Speed.SE, DOF: steps[2].Speed.DOF}) {
		t.Errorf("at the mass of the day the speed is %+v", same)
	}
	if AtReferenceMass(steps, 0, boat) != nil {
		t.Error("corrected without being asked")
	}
}
