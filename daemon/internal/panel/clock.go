package panel

import (
	"fmt"
	"time"
)

// tick is a moment on the time axis.
type tick struct {
	at    time.Time
	label string
	day   string // the date, where a new one begins among times of day
}

const day = 24 * time.Hour

const dateFormat = "Mon, Jan 2"

// clockSteps are the distances of ticks within a day, in wall-clock time.
var clockSteps = []time.Duration{
	time.Second, 2 * time.Second, 5 * time.Second, 10 * time.Second, 15 * time.Second, 30 * time.Second,
	time.Minute, 2 * time.Minute, 5 * time.Minute, 10 * time.Minute, 15 * time.Minute, 30 * time.Minute,
	time.Hour, 2 * time.Hour, 3 * time.Hour, 6 * time.Hour, 12 * time.Hour,
}

// daySteps are those of days, in days; monthSteps in months.
var (
	daySteps   = []int{1, 2, 7, 14}
	monthSteps = []int{1, 3, 6, 12, 24, 60, 120, 240, 600, 1200}
)

// timeTicks returns the round moments between from and to in the zone, about most of them
// at most, and whether their labels are times of day.
func timeTicks(from, to time.Time, zone *time.Location, most int) (ticks []tick, timesOfDay bool) {
	span := to.Sub(from)
	enough := func(step time.Duration) bool { return span/step <= time.Duration(most) }
	for _, step := range clockSteps {
		if enough(step) {
			return clockTicks(from.In(zone), to, step), true
		}
	}
	for _, days := range daySteps {
		if enough(time.Duration(days) * day) {
			return dayTicks(from.In(zone), to, days), false
		}
	}
	for _, months := range monthSteps {
		if enough(time.Duration(months) * 30 * day) {
			return monthTicks(from.In(zone), to, months), false
		}
	}
	return nil, false
}

// ticks are those of the picture's time axis.
func (d *drawing) ticks(most int) (ticks []tick, timesOfDay bool) {
	if !d.p.Elapsed {
		return timeTicks(d.p.From, d.p.To, d.zone, most)
	}
	span := d.p.To.Sub(d.p.From)
	step := clockSteps[len(clockSteps)-1]
	for _, s := range clockSteps {
		if span/s <= time.Duration(most) {
			step = s
			break
		}
	}
	for at := time.Duration(0); at <= span; at += step {
		label := fmt.Sprintf("%d:%02d", at/time.Hour, at%time.Hour/time.Minute)
		if step < time.Minute {
			label += fmt.Sprintf(":%02d", at%time.Minute/time.Second)
		}
		ticks = append(ticks, tick{at: d.p.From.Add(at), label: label})
	}
	return ticks, true
}

// clockTicks returns the moments at which the clock on the wall shows a multiple of step.
func clockTicks(from, to time.Time, step time.Duration) []tick {
	format := "15:04"
	if step < time.Minute {
		format = "15:04:05"
	}
	var all []tick
	t := from
	if !aligned(t, step) {
		t = following(t, step)
	}
	for ; !t.After(to); t = following(t, step) {
		k := tick{at: t, label: t.Format(format)}
		if shown(t) == 0 {
			k.day = t.Format(dateFormat)
		}
		all = append(all, k)
	}
	return all
}

// shown is what the clock shows, as the time since the midnight on its face.
func shown(t time.Time) time.Duration {
	h, m, s := t.Clock()
	return time.Duration(h)*time.Hour + time.Duration(m)*time.Minute + time.Duration(s)*time.Second +
		time.Duration(t.Nanosecond())
}

func aligned(t time.Time, step time.Duration) bool { return shown(t)%step == 0 }

// following returns the next moment at which the clock shows a multiple of step, over
// changes of the clock: after one, the wall is behind or ahead of what was counted.
func following(t time.Time, step time.Duration) time.Time {
	for range 4 {
		next := t.Add(step - shown(t)%step)
		if aligned(next, step) {
			return next
		}
		_, before := t.Zone()
		_, after := next.Zone()
		if early := next.Add(time.Duration(before-after) * time.Second); early.After(t) && aligned(early, step) {
			return early
		}
		t = next
	}
	return t // a zone with a history of its own; a tick that is not round is better than none
}

// dayNumber counts the days of the calendar.
func dayNumber(t time.Time) int {
	y, m, d := t.Date()
	return int(time.Date(y, m, d, 0, 0, 0, 0, time.UTC).Unix() / 86400)
}

// dayStart is the first moment of a day, also where the clock leaps over midnight.
func dayStart(y int, m time.Month, d int, zone *time.Location) time.Time {
	t := time.Date(y, m, d, 0, 0, 0, 0, zone)
	if want := time.Date(y, m, d, 0, 0, 0, 0, time.UTC).Day(); t.Day() != want {
		if _, leap := t.ZoneBounds(); !leap.IsZero() {
			return leap
		}
	}
	return t
}

// dayTicks returns the beginnings of every so many days; weeks begin on Monday.
func dayTicks(from, to time.Time, days int) []tick {
	const monday = 4 // 1970-01-05, counted from 1970-01-01
	var all []tick
	y, m, d := from.Date()
	for ; ; d++ {
		t := dayStart(y, m, d, from.Location())
		if t.After(to) {
			return all
		}
		if n := dayNumber(t); !t.Before(from) && (n-monday)%days == 0 {
			all = append(all, tick{at: t, label: t.Format("Jan 2")})
		}
	}
}

// monthTicks returns the beginnings of every so many months.
func monthTicks(from, to time.Time, months int) []tick {
	format := "Jan 2006"
	if months%12 == 0 {
		format = "2006"
	}
	var all []tick
	y, m, _ := from.Date()
	n := 12*y + int(m) - 1
	for n -= n % months; ; n += months {
		t := dayStart(n/12, time.Month(n%12+1), 1, from.Location())
		if t.After(to) {
			return all
		}
		if !t.Before(from) {
			all = append(all, tick{at: t, label: t.Format(format)})
		}
	}
}
