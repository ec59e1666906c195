package commissioning

// Grade is what a finding means for the step.
type Grade uint8

// The grades, harmless first.
const (
	Noted   Grade = iota // worth writing down
	Good                 // as it should be
	Caution              // works, but somebody must know
	Bad                  // to be put right: the step has failed
	Stop                 // no fire may be lit, or the one that burns must not be fed
)

// Unit is what a finding's numbers are in.
type Unit uint8

// The units.
const (
	None    Unit = iota
	Pascals      // a draft
	Celsius
	Kelvin // a difference
	Seconds
	Metres
	SquareMetres
	Marks
	Share // of one
	Count
	PascalsPerMark
)

// Code names a finding. Each has its words where findings are told.
type Code string

// Finding is something that was found, with its numbers: a value with an interval of 90 %
// (Low to High, where Low < High), and what it was held against (Want, where Wanted).
type Finding struct {
	Code   Code    `json:"code"`
	Grade  Grade   `json:"grade"`
	Unit   Unit    `json:"unit"`
	Known  bool    `json:"known"` // Value means something
	Value  float64 `json:"value"`
	Low    float64 `json:"low"`
	High   float64 `json:"high"`
	Wanted bool    `json:"wanted"`
	Want   float64 `json:"want"`
	From   float64 `json:"from"` // what was wanted, as an interval; From < To
	To     float64 `json:"to"`
}

func found(c Code, g Grade) Finding { return Finding{Code: c, Grade: g} }

func (f Finding) value(u Unit, v float64) Finding {
	f.Unit, f.Known, f.Value = u, true, v
	return f
}

func (f Finding) interval(lo, hi float64) Finding {
	f.Low, f.High = lo, hi
	return f
}

// within90 gives the finding the interval of 90 % of a standard error.
func (f Finding) within90(err float64) Finding {
	return f.interval(f.Value-float64(z90*err), f.Value+float64(z90*err))
}

func (f Finding) against(want float64) Finding {
	f.Wanted, f.Want = true, want
	return f
}

func (f Finding) band(from, to float64) Finding {
	f.From, f.To = from, to
	return f
}

const z90 = 1.645
