package nights

// What names a thing that can be wrong with a furnace, its chimney or its sensors.
type What string

// What can go wrong. A legitimate night has none of it.
const (
	OverFire         What = "over-fire" // a fire too strong for the appliance, with its Cause
	ChimneyFire      What = "chimney-fire"
	Spillage         What = "spillage"
	RegulatorShut    What = "regulator-stuck-shut"
	RegulatorOpen    What = "regulator-stuck-open"
	RegulatorHigh    What = "regulator-set-high"
	RegulatorLow     What = "regulator-set-low"
	RegulatorFlutter What = "regulator-flutters"
	FlueRestricted   What = "flue-restricted"
	BlowerStopped    What = "blower-stopped"
	LowAirFlow       What = "low-air-flow"
	ShortCycling     What = "short-cycling"

	SensorDead      What = "sensor-dead"
	SensorOut       What = "sensor-pulled-out"
	SensorHalfOut   What = "sensor-half-out"
	SensorSwapped   What = "sensors-swapped"
	SensorFrozen    What = "sensor-frozen"
	SensorDrift     What = "sensor-drifts"
	SensorCovered   What = "sensor-covered"
	HoseOff         What = "hose-off"
	HoseBlocked     What = "hose-blocked"
	DraftZeroDrifts What = "draft-zero-drifts"
)

// Cause is why a fire got too hot.
type Cause string

// The causes of an over-fire.
const (
	DraftHigh Cause = "draft-high"
	CoalBed   Cause = "coal-bed"
	FineFuel  Cause = "fine-fuel"
	DryFuel   Cause = "dry-fuel"
	AirLeak   Cause = "air-leak"
	Creosote  Cause = "creosote"
	Blower    Cause = "blower"
)

// Kind is a kind of night.
type Kind struct {
	Name   string
	About  string
	Hazard What  // "" for a legitimate night
	Cause  Cause // of an over-fire
	Strong bool  // the strong form of what exists in a mild one
	sensor bool  // only a sensor is wrong
	plan   func(*plan)
}

// Legitimate says that nothing is wrong in such a night: no limit is passed, no gas comes
// back into the house, no sensor fails.
func (k Kind) Legitimate() bool { return k.Hazard == "" }

// Night makes one night of the kind: the same seed, the same night.
func (k Kind) Night(seed uint64) *Night { return newNight(k, seed) }

// Kinds are all kinds of nights, the legitimate ones first.
func Kinds() []Kind {
	var all []Kind
	for _, some := range [][]Kind{easy, hard, overFires, chimneyFires, spillages, regulators, restrictions, plenums, sensorFaults} {
		all = append(all, some...)
	}
	return all
}
