package notice

import (
	"math"
	"time"
)

// Hours of fire after which a job is due. The ash pan holds what burning day and night for
// about a week leaves (common practice, no source). Looking at the flue after a month of
// it, or after the hours given in which smoke met a wall on which tar condenses, and the
// probes after a season of about 4000 h, are judgement, no source.
const (
	ashHours   = 7 * 24
	flueHours  = 30 * 24
	tarHours   = 60
	probeHours = 4000
)

// Upkeep is how much the furnace has burnt since each job was done. It is plain data that
// whoever runs the analysis keeps over restarts; hours.
type Upkeep struct {
	// Burnt are the hours with fire since the job was done.
	Burnt [jobCount]float64
	// Tar are those in which smoke met a wall on which tar condenses, since the flue was
	// looked at.
	Tar float64
	// Told says that the notice was given and the job not done since.
	Told [jobCount]bool
}

// Done takes note that the job was done.
func (u *Upkeep) Done(j Job) {
	if j == NoJob || j >= jobCount {
		return
	}
	u.Burnt[j], u.Told[j] = 0, false
	if j == Flue {
		u.Tar = 0
	}
}

// Sane returns the state without what no furnace can have: what was kept may be spoilt.
func (u Upkeep) Sane() Upkeep {
	for j := range u.Burnt {
		if !(u.Burnt[j] >= 0) || math.IsInf(u.Burnt[j], 0) {
			u.Burnt[j] = 0
		}
	}
	if !(u.Tar >= 0) || math.IsInf(u.Tar, 0) {
		u.Tar = 0
	}
	return u
}

// burn counts time with fire, and whether smoke met a cold wall meanwhile.
func (u *Upkeep) burn(d time.Duration, tar bool) {
	for _, j := range [...]Job{Ash, Flue, Probes} {
		u.Burnt[j] += d.Hours()
	}
	if tar {
		u.Tar += d.Hours()
	}
}

// Interval is after how many hours of fire a job is due and, where it matters, after how many
// of those that [Upkeep.Tar] counts; zero where it does not.
func Interval(j Job) (burnt, tar float64) {
	switch j {
	case Ash:
		return ashHours, 0
	case Flue:
		return flueHours, tarHours
	case Probes:
		return probeHours, 0
	}
	return 0, 0
}

// Due reports whether the job is.
func (u *Upkeep) Due(j Job) bool {
	burnt, tar := Interval(j)
	return burnt > 0 && u.Burnt[j] >= burnt || tar > 0 && u.Tar >= tar
}
