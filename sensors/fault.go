package sensors

import "errors"

// Code names a way in which a chip, its wiring or its bus fails. Codes are stable:
// logs, metrics and tests use them.
type Code string

// The codes. What each means and what to look at first is in faultInfo.
const (
	OpenCircuit       Code = "open-circuit"
	ShortToGround     Code = "short-to-ground"
	ShortToSupply     Code = "short-to-supply"
	ShortCircuit      Code = "short-circuit"
	InputVoltage      Code = "input-voltage"
	OutOfRange        Code = "out-of-range"
	ColdJunctionRange Code = "cold-junction-range"
	ColdJunctionHot   Code = "cold-junction-hot"
	NoAnswer          Code = "no-answer"
	BusDown           Code = "bus-down"
	BusError          Code = "bus-error"
	BadChecksum       Code = "bad-checksum"
	ImpossibleFrame   Code = "impossible-frame"
	StuckLow          Code = "stuck-low"
	StuckHigh         Code = "stuck-high"
	LostConfiguration Code = "lost-configuration"
	NotReady          Code = "not-ready"
	WrongPart         Code = "wrong-part"
	Settling          Code = "settling"
	NoAmbient         Code = "no-ambient-pressure"
	DeviceMissing     Code = "device-missing"
	NotPermitted      Code = "not-permitted"
	BusInUse          Code = "bus-in-use"
	MuxNoAnswer       Code = "multiplexer-no-answer"
	SignalLow         Code = "signal-low"
	SignalHigh        Code = "signal-high"
	SignalSupply      Code = "signal-supply"
)

// The codes of what no single look at a chip shows.
const (
	Frozen           Code = "frozen"
	Noisy            Code = "noisy"
	WiresSwapped     Code = "wires-swapped"
	ColdJunctionJump Code = "cold-junction-jump"
	SupplyDip        Code = "supply-dip"
	TubeBlocked      Code = "tube-blocked"
)

// The codes of readings that are implausible beside the rest of the furnace. Whoever
// knows the fire finds them; the words are here, with all others.
const (
	ProbeOut         Code = "probe-out"
	ProbeSlipped     Code = "probe-slipped"
	ProbeCovered     Code = "probe-covered"
	ProbeStrayed     Code = "probe-strayed"
	ChannelsSwapped  Code = "channels-swapped"
	Drifted          Code = "drifted"
	HoseOff          Code = "hose-off"
	DraftGone        Code = "draft-gone"
	HoseSwapped      Code = "hose-swapped"
	ZeroDrift        Code = "zero-drift"
	AltitudeMismatch Code = "altitude-mismatch"
)

// Part is where a fault lies, so that a message sends the reader to the right place.
type Part string

// The parts.
const (
	InWiring Part = "wiring" // between the chip and the probe or hose
	InChip   Part = "chip"
	InBus    Part = "bus"   // every chip on it is concerned
	InBoard  Part = "board" // operating system, overlay, permission
)

// Info is what is known of a fault whatever chip has it.
type Info struct {
	Part  Part
	Title string // completes "the flue reading is lost: …"
	Hint  string // what to look at first, an imperative sentence
}

var faultInfo = map[Code]Info{
	OpenCircuit:       {InWiring, "thermocouple open", "Check the thermocouple's screws, plug and wire; a burnt-out probe reads open too."},
	ShortToGround:     {InWiring, "thermocouple touches ground", "Check for bare wire on metal; use a probe with an ungrounded junction."},
	ShortToSupply:     {InWiring, "thermocouple touches the supply", "Check the thermocouple's wires against the board's 3.3 V."},
	ShortCircuit:      {InWiring, "thermocouple touches ground or the supply", "Check for bare wire on metal or on the board; use a probe with an ungrounded junction."},
	InputVoltage:      {InWiring, "thermocouple input above or below the supply", "Look for a ground loop: the probe must be ungrounded and its wire kept from mains."},
	OutOfRange:        {InWiring, "outside what the sensor can measure", "Check that the configured thermocouple type is the probe's and that its wires are not swapped."},
	ColdJunctionRange: {InChip, "terminals of the amplifier outside their range", "Check that the amplifier is not at a hot surface or frozen; between −55 and 125 °C it can measure."},
	ColdJunctionHot:   {InChip, "terminals of the amplifier are hot", "Move the amplifier away from the furnace; above 60 °C at the terminals the reading drifts."},
	NoAnswer:          {InChip, "the chip does not answer", "Check the chip's power, its wires and its address."},
	BusDown:           {InBus, "the bus is held down", "Power the board off and on; unplug the chips one by one to find the one that holds the bus."},
	BusError:          {InBus, "the bus reports an error", "Check the wires' length and the pull-up resistors."},
	BadChecksum:       {InBus, "the chip's answer fails its checksum", "Check for a loose or long wire, or two chips at one address."},
	ImpossibleFrame:   {InChip, "the chip sent words that it cannot mean", "Check that the chip is the configured one; then its wires."},
	StuckLow:          {InWiring, "the data line stays low: no chip, or no power to it", "Check the chip's 3.3 V, its data-out wire and its chip select."},
	StuckHigh:         {InWiring, "the data line stays high: no chip on it", "Check the chip's data-out wire and its chip select."},
	LostConfiguration: {InChip, "the chip has lost its configuration: its supply dipped", "Check the board's power supply and the chip's supply wires."},
	NotReady:          {InChip, "no new measurement yet", "Sample more slowly than the chip converts."},
	WrongPart:         {InChip, "another chip than the configured one answers", "Compare the chip's marking with the configuration."},
	Settling:          {InChip, "the chip has just been started", "Wait a moment."},
	NoAmbient:         {InChip, "no ambient pressure to correct the reading with", "Check the ambient-pressure chip, or configure the site's altitude."},
	DeviceMissing:     {InBoard, "the device file is missing", "Enable the bus in the board's configuration and load its module."},
	BusInUse:          {InBoard, "another program uses the bus", "Let it end, or stop it: two programs on one bus take each other's answers."},
	MuxNoAnswer:       {InBus, "the multiplexer before the chip does not answer", "Check the multiplexer's power, wires, reset pin and address."},
	SignalLow:         {InWiring, "the transmitter's signal is below its live zero", "Check the transmitter's wires and its supply: a wire that is off reads so."},
	SignalHigh:        {InWiring, "the transmitter's signal is above its full scale", "Check for a short to the supply; a transmitter that has failed may say so in this way."},
	SignalSupply:      {InWiring, "the transmitter's supply is not what it needs", "Check the transmitter's supply and the wire that measures it."},
	NotPermitted:      {InBoard, "the device file may not be opened", "Put the user that runs the program into the device's group."},

	Frozen:           {InChip, "the chip repeats one value for ever: it has stopped measuring", "Power the board off and on; if it comes back, replace the chip."},
	Noisy:            {InWiring, "spikes in the reading", "Keep the thermocouple's wire away from blower, relay and mains wires, and put the capacitor of the amplifier's datasheet across its input."},
	WiresSwapped:     {InWiring, "thermocouple wires swapped: it reads as far below the room as it is above", "Swap the thermocouple's two wires at the amplifier."},
	ColdJunctionJump: {InChip, "terminals of the amplifier jump in temperature", "Shield the amplifier from drafts and from the furnace's heat."},
	SupplyDip:        {InBoard, "the board's supply voltage dipped", "Use a stronger power supply and a short, thick cable; chips forget their settings in a dip."},
	TubeBlocked:      {InWiring, "nothing moves in the draft hose: blocked, kinked or off", "Blow the hose and the tap in the smoke pipe clear, drain water from the hose, and look for a kink."},

	ProbeOut:         {InWiring, "it reads the room beside a fire: the probe seems to be out of its place", "Put the probe back into its hole and tighten it; do not judge the fire by this reading."},
	HoseOff:          {InWiring, "the draft fell to nothing at once, and its flutter with it: the hose seems to be off", "Put the hose back onto the sensor and onto the tap in the smoke pipe. Until then nobody watches whether the chimney draws."},
	ProbeSlipped:     {InWiring, "it reads far too low beside the rest: the probe seems to have slipped out of its hole", "Push the probe back to its depth and tighten it; do not judge the fire by this reading."},
	ProbeCovered:     {InWiring, "it reads far too low beside the rest: something seems to cover or touch the probe", "When the fire is out, clear wood, ash and soot from the probe; do not judge the fire by this reading."},
	ProbeStrayed:     {InWiring, "it no longer goes with the other probes in the gas as it did at this furnace, while those still go with each other", "Trust the other probes until the fire is out. Then see whether this one sits as deep as it should and is clean, and compare it with another one; replace it if they differ."},
	ChannelsSwapped:  {InWiring, "two probes seem to be exchanged: each reads what the other should", "Compare the probes' wires with the configuration, and exchange them at the amplifiers."},
	Drifted:          {InWiring, "it differs from what surrounds it while nothing can warm or cool it", "Compare the probe with another one in the same place, and replace it if they differ."},
	DraftGone:        {InWiring, "no draft beside a fire that goes on: the hose is off or blocked, or the chimney does not draw", "First take it for a chimney that does not draw. If neither smoke nor smell comes out, look at the hose, the tap in the smoke pipe and the sensor."},
	AltitudeMismatch: {InChip, "the air pressure does not fit the site's altitude", "Check the altitude in the configuration; if it is right, replace the ambient-pressure chip."},
	HoseSwapped:      {InWiring, "the draft is as strong as it should be, with the wrong sign: turned, or hoses swapped", "First take it for a turned draft. If neither smoke nor smell comes out, check that the flue's hose is on the sensor's port −."},
	ZeroDrift:        {InChip, "a pressure that no cold chimney makes: the sensor's zero has drifted", "Zero the draft sensor with both ports open, without a fire."},
}

// Info returns what is known of the fault; the zero Info for an unknown code.
func (c Code) Info() Info { return faultInfo[c] }

// Codes lists every code with its Info.
func Codes() map[Code]Info {
	all := make(map[Code]Info, len(faultInfo))
	for c, i := range faultInfo {
		all[c] = i
	}
	return all
}

// Fault is why a look at a chip gave no sample.
type Fault struct {
	Code Code
	// Device says which chip on which bus, as its String does.
	Device string
	// Detail is what was seen, for the technician: "SR 0x01", "CRC 0x81, want 0x92".
	Detail string
	// Advice replaces the code's general hint where the driver knows better.
	Advice string
	// Err is the error of the bus below, if there was one; it keeps its errno.
	Err error
}

// Error says device, fault and detail.
func (f *Fault) Error() string {
	s := f.Device + ": " + f.Code.Info().Title
	if f.Detail != "" {
		s += " (" + f.Detail + ")"
	}
	if f.Err != nil {
		s += ": " + f.Err.Error()
	}
	return s
}

// Hint says what to look at first.
func (f *Fault) Hint() string {
	if f.Advice != "" {
		return f.Advice
	}
	return f.Code.Info().Hint
}

// Unwrap returns the bus error.
func (f *Fault) Unwrap() error { return f.Err }

// CodeOf returns the fault code that err carries, or "" if it carries none.
func CodeOf(err error) Code {
	var f *Fault
	if errors.As(err, &f) {
		return f.Code
	}
	return ""
}
