package flueway

import (
	"time"

	"fluewright/analysis/burn"
	"fluewright/analysis/drive"
	"fluewright/analysis/gate"
)

// Finding is what is known of the chimney, with its evidence.
type Finding struct {
	// Known says that there is a baseline and a burn to hold against it.
	Known      bool
	Restricted bool
	// Sudden says that the loss came within a burn or between two: urgent.
	Sudden bool
	// Now is the burn in hand against the baseline, Median the loss over the latest burns.
	Now    Compared
	Median float64
	Burns  int // that the median rests on
	// Change is the fall within a burn that is Sudden; zero if it came between two.
	Change drive.Change
	// Excluded is what cannot be the reason.
	Excluded Confounders
}

// Confounders are other reasons for a lower draft, as a set.
type Confounders uint8

// The confounders.
const (
	Wind        Confounders = 1 << iota // only calm minutes count
	ColdChimney                         // only minutes behind lighting count
	Weather                             // the outdoor temperature was measured
	OpenGate                            // the regulator was judged, and holds
	House                               // a fan does not run over three burns
)

// Inputs are what one frame brings.
type Inputs struct {
	At    time.Duration
	Phase burn.Phase
	// Minute is the calm minute of fire that this frame filled, if it did: gate.Judge has it.
	Minute drive.Minute
	Full   bool
	Course *drive.Course
	Gate   gate.Finding
}

// Judge follows one chimney. The zero value has seen nothing.
type Judge struct {
	memory  Memory
	now     heap
	flames  float64       // s in hand
	began   time.Duration // of what is in hand
	change  time.Duration // the last one that was looked at
	clear   float64       // s of no loss since a sudden one
	finding Finding
	burning bool
	weather bool // the outdoor temperature was measured
}

// Memory returns what to keep.
func (j *Judge) Memory() Memory { return j.memory }

// Restore takes what was kept, or the baseline of commissioning. Nonsense counts as
// nothing.
func (j *Judge) Restore(m Memory) {
	if !m.valid() {
		m = Memory{}
	}
	j.memory = m
	j.finding = Finding{Restricted: m.Restricted, Sudden: m.Sudden}
	j.finding.Median, j.finding.Burns = m.median()
}

// When a chimney counts as restricted. A quarter of the draft is an eighth of the air; a
// weather that nobody measured is worth 10 to 15 % of the drive. Common practice, no source.
const (
	slowLoss, slowBlind = 0.25, 0.35
	slowGone            = 0.15 // below, it is restricted no more
	suddenLoss          = 0.4
	suddenStep          = 0.25 // more than the burn before lost
	noise               = 2.5  // standard deviations of the baseline's burns
	suddenAfter         = 900.0
	recovered           = 900.0 // s of nearly no loss end a sudden one
	longest             = 12 * time.Hour
)

// Step takes a frame.
func (j *Judge) Step(in Inputs) Finding {
	if j.burning && !in.Phase.Fire() && in.Phase != burn.Unknown || in.At-j.began > longest || in.At < j.began {
		j.finish(in)
	}
	j.burning = in.Phase.Fire() || in.Phase == burn.Unknown && j.burning
	if !in.Full {
		return j.finding
	}
	j.fell(in)
	switch in.Phase {
	case burn.WarmUp, burn.CleanBurn, burn.Smoulder:
	default:
		return j.finding
	}
	j.weather = in.Minute.Measured
	j.now.add(in.Minute)
	j.flames += in.Minute.Weight
	j.compare(in)
	return j.finding
}

// fell looks at a change of the course that became certain: the draft fell at once while
// flames burnt. A gate that sticks does not do that, and its swinging neither.
func (j *Judge) fell(in Inputs) {
	c := in.Course.Change
	if c.Ratio == 0 || c.At == j.change {
		return
	}
	j.change = c.At
	j.now, j.flames, j.clear, j.began = heap{}, 0, 0, in.At
	if c.Ratio > 1 {
		if j.finding.Change.Ratio > 0 { // what fell has come back
			j.stand(false, false)
		}
		return
	}
	hot, _ := in.Course.Before.Hottest()
	if in.Phase != burn.WarmUp && in.Phase != burn.CleanBurn && in.Phase != burn.Smoulder ||
		in.Minute.Drive < float64(upper*hot.Drive) {
		return
	}
	j.stand(true, true)
	j.finding.Change = c
	j.exclude(in.Gate)
}

// compare holds the burn so far against the baseline.
func (j *Judge) compare(in Inputs) {
	now, ok := j.now.against(&j.memory.Baseline)
	if !ok {
		return
	}
	f := &j.finding
	f.Known, f.Now = true, now
	j.exclude(in.Gate)
	if now.Loss < slowGone {
		j.clear += in.Minute.Weight
		if f.Sudden && j.clear >= recovered {
			j.stand(false, false)
		}
	} else {
		j.clear = 0
	}
	if j.flames < suddenAfter || !comparable(in.Gate) || j.memory.Burns == 0 {
		return
	}
	if now.Loss >= max(suddenLoss, float64(noise*now.Spread)) && now.Loss >= j.memory.Losses[0]+suddenStep {
		j.stand(true, true)
	}
}

// comparable reports whether the regulator leaves the draft to the chimney.
func comparable(g gate.Finding) bool {
	return g.State == gate.Unknown || g.State == gate.Holding
}

func (j *Judge) stand(restricted, sudden bool) {
	f := &j.finding
	f.Restricted, f.Sudden = restricted, sudden
	if !sudden {
		f.Change = drive.Change{}
	}
	j.memory.Restricted, j.memory.Sudden = restricted, sudden
}

func (j *Judge) exclude(g gate.Finding) {
	e := Wind | ColdChimney
	if j.weather {
		e |= Weather
	}
	if g.State == gate.Holding {
		e |= OpenGate
	}
	if j.memory.Burns == window && !j.finding.Sudden {
		e |= House
	}
	j.finding.Excluded = e
}

// finish closes a burn: it becomes part of the baseline, or is held against it.
func (j *Judge) finish(in Inputs) {
	m := &j.memory
	if comparable(in.Gate) && j.flames >= suddenAfter {
		if c, ok := j.now.against(&m.Baseline); ok {
			copy(m.Losses[1:], m.Losses[:window-1])
			m.Losses[0] = c.Loss
			m.Burns = min(m.Burns+1, window)
			j.weigh(c)
		}
		if !m.Restricted {
			m.Baseline.learn(&j.now)
		}
	}
	j.now, j.flames, j.began = heap{}, 0, in.At
}

// weigh tells a slow loss.
func (j *Judge) weigh(c Compared) {
	f := &j.finding
	f.Median, f.Burns = j.memory.median()
	limit := slowLoss
	if !j.weather {
		limit = slowBlind
	}
	switch {
	case f.Burns < window:
	case f.Median >= max(limit, float64(noise*c.Spread)):
		j.stand(true, f.Sudden)
	case f.Median < slowGone:
		j.stand(false, false)
	}
}

// median returns the median loss, and over how many burns.
func (m *Memory) median() (float64, int) {
	l := m.Losses
	switch m.Burns {
	case 0:
		return 0, 0
	case 1:
		return l[0], 1
	case 2:
		return min(l[0], l[1]), 2 // the kinder one
	}
	return max(min(l[0], l[1]), min(max(l[0], l[1]), l[2])), window
}
