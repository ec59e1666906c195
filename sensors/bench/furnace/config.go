package furnace

// Config describes the house, the chimney and the weather. The zero value of a field
// takes the value of Default.
type Config struct {
	Outdoor float64 // °C
	Room    float64 // °C at the start; the fire warms it
	Ambient float64 // absolute pressure, Pa

	ChimneyHeight   float64 // m above the collar
	ChimneyDiameter float64 // m

	SetPoint float64 // draft at which the regulator begins to open, Pa
	Demand   float64 // heat demand, 0 to 1: how far the combustion air is open
}

// Default is a one-storey house on a frosty night, with an insulated 150 mm chimney of
// 7 m and the regulator at 0.05 inH2O.
var Default = Config{
	Outdoor: -4, Room: 19, Ambient: 98400,
	ChimneyHeight: 7, ChimneyDiameter: 0.15,
	SetPoint: 12.5, Demand: 0.75,
}

func (c Config) withDefaults() Config {
	for _, f := range []struct {
		have *float64
		def  float64
	}{
		{&c.Outdoor, Default.Outdoor},
		{&c.Room, Default.Room},
		{&c.Ambient, Default.Ambient},
		{&c.ChimneyHeight, Default.ChimneyHeight},
		{&c.ChimneyDiameter, Default.ChimneyDiameter},
		{&c.SetPoint, Default.SetPoint},
		{&c.Demand, Default.Demand},
	} {
		if *f.have == 0 {
			*f.have = f.def
		}
	}
	return c
}

// The appliance. Masses and conductances lie within what such furnaces have (brick
// 30 to 120 kg at 1 kJ/(kg K), steel 80 to 150 kg at 0.49); none is measured.
const (
	heatFirebox = 70e3  // J/K, brick around the fuel
	heatChamber = 22e3  // J/K, refractory of the gasification chamber
	heatHX      = 150e3 // J/K, exchanger, casing and the air in it
	heatHouse   = 40e6  // J/K
	lossHouse   = 500.0 // W/K, house to outdoors

	radiated   = 0.38 // share of the heat that the firebox takes up at once
	uaFirebox  = 30.0 // W/K, firebox to exchanger and casing
	uaChamber  = 6.0  // W/K, chamber to exchanger
	ntuChamber = 0.9  // gas to chamber wall at gasNominal
	ntuHX      = 1.45 // gas to exchanger at gasNominal
	gasNominal = 0.022

	uaFan     = 420.0 // W/K, exchanger to warm air with the fan on
	uaStill   = 26.0  // W/K, with the fan off
	fanFlow   = 0.55  // kg/s
	fanOnAt   = 41.0  // °C of plenum air: common practice, no source
	fanOffAt  = 35.0
	cpAir     = 1006.0
	cpGas     = 1110.0 // J/(kg K), mean over 20..700 °C
	plenumLag = 150.0  // s, still air in the plenum
)

// The fuel: heat and air per kg burnt. Volatiles and char sum to dry wood of
// 18.8 MJ/kg and 5.96 kg of air.
const (
	volatileShare = 0.78
	charShare     = 0.21
	heatVolatile  = 14.6e6 // J/kg
	heatChar      = 31.5e6
	airVolatile   = 4.6 // kg/kg
	airChar       = 11.0
	latent        = 2.44e6 // J/kg of water
)

// The draft network.
const (
	gOverR     = 0.034163 // K/m, g/R of air
	airAt12    = 0.021    // kg/s through the appliance at 12 Pa with the air fully open
	doorAt12   = 0.060    // kg/s more through an open loading door
	gateArea   = 0.0141   // m², 150 mm gate with 80 % free area
	gateCd     = 0.62
	gateBand   = 4.0  // Pa from closed to wide open
	zeta       = 1.5  // chimney's single losses
	darcy      = 0.04 // its friction factor
	hInside    = 8.0  // W/(m² K), gas to liner
	uaOutside  = 7.0  // W/K, liner to outdoors, whole chimney
	heatLiner  = 13e3 // J/K
	draftLag   = 0.8  // s, inertia of the gas column
	gateLag    = 1.5  // s, inertia of the gate
	gustLag    = 4.0  // s
	gustiness  = 0.3  // standard deviation of the wind over its mean
	windCp     = 0.4  // suction at the terminal
	roomAir    = 1.2  // kg/m³
	rumble     = 0.25 // Pa, noise of a burning fire
	crackedAir = 0.06 // share of the air that no damper stops
)

// Sheath lags, s: 4.5 mm at the collar, 6 mm in firebox and chamber, beads in air.
// Makers print t90 = 120 s and 200 s in slow air; hot fast gas is about half of that.
const (
	lagFlue    = 28.0
	lagChamber = 40.0
	lagFirebox = 45.0
	lagPlenum  = 12.0
	lagAir     = 20.0
)
