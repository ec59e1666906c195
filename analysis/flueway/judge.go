package flueway

import (
	"time"

	"fluewright/analysis/burn"
	"fluewright/analysis/drive"
	"fluewright/analysis/gate"
)

// Finding is what is known of the chimney, with its evidence.
type Finding struct {
	// Known says that there is a baseline and a burn to hold against it, or a Change.
	Known      bool
	Restricted bool
	// Sudden says that the loss came within a burn or between two: urgent.
	Sudden bool
	// Now is the burn in hand against the baseline.
	Now Compared
	// Loss and Onset are the medians over the latest burns of what is missing under flames,
	// and over coals, where a regulator hangs shut first.
	Loss, Onset float64
	Burns       int // that Loss rests on
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
	// DraftLow and DraftHigh are the band within which a regulator holds the draft, Pa; both 0
	// where there is none.
	DraftLow, DraftHigh float64
}

// Judge follows one chimney. The zero value has seen nothing.
type Judge struct {
	memory  Memory
	flames  heap
	coals   heap
	burnt   float64       // s of flames in hand
	hot     float64       // Pa/m, the largest drive of the flames in hand
	began   time.Duration // of what is in hand
	change  time.Duration // the last one that was looked at
	sound   float64       // s of nearly no loss
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
	j.recall()
}

// When a chimney counts as restricted. A quarter of the draft is an eighth of the air; a
// weather that nobody measured is worth 10 to 15 % of the drive, more over coals. Common
// practice, no source.
const (
	slowLoss, slowBlind   = 0.25, 0.35
	onsetLoss, onsetBlind = 0.4, 0.55
	gone                  = 0.15 // below, nothing is restricted any more
	suddenLoss            = 0.4
	suddenStep            = 0.25   // more than the burn before lost
	noise                 = 2.5    // standard deviations of the baseline's burns
	suddenAfter           = 900.0  // s of flames
	suddenBlind           = 2700.0 // s, where nothing tells how the gate is
	recovered             = 900.0  // s of nearly no loss end a sudden one
	longest               = 12 * time.Hour
	// upper is the part of a burn's drives in which the chimney carries the fire's full
	// flow; below it only coals count, when the walls are warm for certain.
	upper = 0.55
	// lower is the least share of the burn's largest drive at which a fall counts.
	lower = 0.4
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
	j.weather = in.Minute.Measured
	flames := in.Phase == burn.WarmUp || in.Phase == burn.CleanBurn || in.Phase == burn.Smoulder
	j.fell(in)
	switch {
	case flames:
		j.flames.add(in.Minute)
		j.burnt += in.Minute.Weight
		j.hot = j.flames.hottest()
		j.compare(in)
	case in.Phase == burn.Coals:
		j.coals.add(in.Minute)
	}
	return j.finding
}

// fell looks at a change of the course that became certain: the draft fell at once. What
// blocks the flue takes the fire's air too, so that flames may be over by now.
func (j *Judge) fell(in Inputs) {
	c := in.Course.Change
	if c.Ratio == 0 || c.At == j.change {
		return
	}
	j.change = c.At
	j.empty(in.At)
	before, _ := in.Course.Before.Hottest()
	switch {
	case c.Ratio > 1:
		if j.finding.Change.Ratio > 0 { // what fell has come back
			j.stand(false, false)
		}
	case setFree(c, in.DraftLow, in.DraftHigh):
	case in.Phase != burn.Lighting && c.Drive >= float64(lower*before.Drive):
		if j.memory.Flames.Burns < usable {
			j.memory.Flames.take(&in.Course.Before)
		}
		j.stand(true, true)
		j.finding.Known, j.finding.Change = true, c
		j.exclude(in.Gate)
	}
}

// setFree reports whether a fall is what a regulator does whose gate comes free, or a wind that
// goes: from above its band, and no further than into it. A flue that narrows behind one that
// works begins within the band.
func setFree(c drive.Change, low, high float64) bool {
	before := c.Pascals / (c.Ratio - 1)
	after := before + c.Pascals
	return high > 0 && before > high && after >= low
}

// empty forgets what is in hand.
func (j *Judge) empty(at time.Duration) {
	j.flames, j.coals = heap{}, heap{}
	j.burnt, j.hot, j.sound, j.began = 0, 0, 0, at
}

// compare holds the burn so far against the baseline.
func (j *Judge) compare(in Inputs) {
	now, ok := j.flames.against(&j.memory.Flames, upper*j.hot, j.hot)
	if !ok {
		return
	}
	f := &j.finding
	f.Known, f.Now = true, now
	j.exclude(in.Gate)
	if now.Loss < gone {
		j.sound += in.Minute.Weight
		if f.Sudden && j.sound >= recovered {
			j.memory.Losses, j.memory.Onsets = Recent{}, Recent{}
			j.stand(false, false)
		}
	} else {
		j.sound = 0
	}
	if !comparable(in.Gate) && f.Sudden && f.Change.Ratio == 0 { // it was the gate
		j.stand(false, false)
	}
	if !j.ripe(in.Gate) || j.memory.Losses.Burns == 0 {
		return
	}
	if now.Loss >= max(suddenLoss, float64(noise*now.Spread)) && now.Loss >= j.memory.Losses.Loss[0]+suddenStep {
		j.stand(true, true)
	}
}

// ripe reports whether a burn can be said to have lost much: there was time enough, and
// the gate is not about to be found the reason. The lighting shows within minutes how the
// draft answers to the drive; if that does not, time must.
func (j *Judge) ripe(g gate.Finding) bool {
	after := suddenAfter
	if g.Now.Points == 0 {
		after = suddenBlind
	}
	return j.burnt >= after && comparable(g) && comparable(gate.Finding{State: g.Candidate})
}

// comparable reports whether the regulator leaves the draft to the chimney. A gate that
// stands open looks like a blocked flue, so that both are told.
func comparable(g gate.Finding) bool {
	return g.State == gate.Unknown || g.State == gate.Holding || g.State == gate.StuckOpen
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
	if j.memory.Losses.Burns == window && !j.finding.Sudden {
		e |= House
	}
	j.finding.Excluded = e
}

// finish closes a burn: it is held against the baseline and, while that is young, becomes
// part of it.
func (j *Judge) finish(in Inputs) {
	m := &j.memory
	if comparable(in.Gate) && j.burnt >= suddenAfter {
		low := float64(upper * j.hot)
		now, ok := j.flames.against(&m.Flames, low, j.hot)
		if ok {
			m.Losses.add(now.Loss)
		}
		onset, seen := j.coals.against(&m.Coals, 0, low)
		if seen {
			m.Onsets.add(onset.Loss)
		}
		j.weigh(ok, now, seen, onset)
		if !m.Restricted && !m.Fixed {
			m.Flames.learn(&j.flames, low, j.hot)
			m.Coals.learn(&j.coals, 0, low)
			m.Fixed = m.Flames.Burns >= learnt
		}
	}
	j.empty(in.At)
}

// weigh tells a slow loss, and its end.
func (j *Judge) weigh(flames bool, now Compared, coals bool, onset Compared) {
	m := &j.memory
	j.recall()
	loss, early := slowLoss, onsetLoss
	if !j.weather {
		loss, early = slowBlind, onsetBlind
	}
	switch {
	case flames && m.Losses.Burns == window && m.Losses.Median() >= max(loss, float64(noise*now.Spread)),
		coals && m.Onsets.Burns == window && m.Onsets.Median() >= max(early, float64(noise*onset.Spread)):
		j.stand(true, j.finding.Sudden)
	case flames && m.Losses.Loss[0] < gone && m.Losses.Median() < gone && m.Onsets.Median() < early/2:
		j.stand(false, false)
	}
}

// recall puts what is kept into the finding.
func (j *Judge) recall() {
	f, m := &j.finding, &j.memory
	f.Loss, f.Onset, f.Burns = m.Losses.Median(), m.Onsets.Median(), m.Losses.Burns
}
