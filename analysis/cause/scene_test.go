package cause_test

import (
	"math"
	"math/rand/v2"
	"time"

	"fluewright/analysis/alarm"
	"fluewright/analysis/burn"
	"fluewright/analysis/cause"
	"fluewright/analysis/frame"
)

const minute = time.Minute

var nan = math.NaN()

// line is a course drawn with a ruler: minutes and values, in turn.
type line []float64

func (l line) at(t time.Duration) float64 {
	m := t.Minutes()
	if len(l) == 0 {
		return nan
	}
	for i := 2; i < len(l); i += 2 {
		if m < l[i] {
			s := min(1, max(0, (m-l[i-2])/(l[i]-l[i-2])))
			return l[i-1] + s*(l[i+1]-l[i-1])
		}
	}
	return l[len(l)-1]
}

// scene is a burn drawn by hand.
type scene struct {
	flue, chamber, firebox, draft, plenum line
	load                                  burn.Load
	door, stopped                         float64 // minutes: since when; 0 never
	moisture                              float64 // logged, 0 if not
	until                                 float64 // minutes
}

// site is what the scenes play at: an ordinary furnace specified for 10 to 15 Pa.
var limits = [frame.Count]float64{frame.Firebox: 900, frame.Chamber: 700, frame.Flue: 480}

const bandLow, bandHigh = 10.0, 15.0

// play shows the scene to a tracker, a frame every step, and returns it.
func (s scene) play(step time.Duration, noise float64, channels ...frame.Channel) *cause.Tracker {
	rng := rand.New(rand.NewPCG(7, uint64(step)))
	t := new(cause.Tracker)
	if s.moisture > 0 {
		t.Fuel(s.moisture, 0)
	}
	for at := time.Duration(0); at.Minutes() <= s.until; at += step {
		t.Step(s.inputs(at, rng, noise, channels))
	}
	return t
}

func (s scene) inputs(at time.Duration, rng *rand.Rand, noise float64, channels []frame.Channel) cause.Inputs {
	in := cause.Inputs{At: at, Phase: burn.CleanBurn, DraftLow: bandLow, DraftHigh: bandHigh, Limits: limits}
	for c := range in.Values {
		in.Values[c] = nan
	}
	lines := map[frame.Channel]line{
		frame.Flue: s.flue, frame.Chamber: s.chamber, frame.Firebox: s.firebox, frame.Draft: s.draft, frame.Plenum: s.plenum,
	}
	for _, c := range channels {
		grain := 0.25
		if c == frame.Draft {
			grain = 0.1
		}
		v := lines[c].at(at)
		if rng != nil {
			v += noise * grain * 4 * rng.NormFloat64()
		}
		in.Values[c] = math.Round(v/grain) * grain
	}
	if s.load.Known > 0 && at >= s.load.Known {
		in.Load = s.load
		for c, v := range map[frame.Channel]*float64{frame.Flue: &in.Load.Flue, frame.Chamber: &in.Load.Chamber, frame.Firebox: &in.Load.Firebox} {
			if math.IsNaN(in.Values[c]) {
				*v = nan
			}
		}
	}
	visit := at >= s.load.At && at < s.load.At+minute && s.load.At > 0 && !s.load.Cold
	in.Door = visit || s.door > 0 && at.Minutes() >= s.door
	in.BlowerStopped = s.stopped > 0 && at.Minutes() >= s.stopped
	return in
}

var every = []frame.Channel{frame.Firebox, frame.Chamber, frame.Flue, frame.Plenum, frame.Draft}

func reload(at, coals float64, flue, chamber, firebox float64) burn.Load {
	t := time.Duration(at * float64(minute))
	return burn.Load{
		At: t, Known: t + 2*minute, Coals: time.Duration(coals * float64(minute)), Age: 2 * time.Hour,
		Flue: flue, Chamber: chamber, Firebox: firebox,
	}
}

func lighting(at float64) burn.Load {
	t := time.Duration(at * float64(minute))
	return burn.Load{At: t, Known: t + 2*minute, Cold: true, Flue: 20, Chamber: 20, Firebox: 20}
}

var (
	overheat = alarm.Key{Name: alarm.Overheat, Channel: frame.Flue}
	fire     = alarm.Key{Name: alarm.ChimneyFire, Channel: frame.Count}
	hotAir   = alarm.Key{Name: alarm.PlenumOverheat, Channel: frame.Count}
)
