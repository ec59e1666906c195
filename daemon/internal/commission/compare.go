package commission

import (
	"fmt"
	"math"

	"fluewright/analysis/commissioning"
	"fluewright/daemon/internal/units"
)

// Comparison holds a season's start against the commissioning. A pair is then and now; a
// share is now over then at equal drive, 0 where it cannot be told.
type Comparison struct {
	Number  string  `json:"number"` // of the commissioning
	Cold    float64 `json:"cold_draft_share"`
	AtMark  float64 `json:"draft_at_mark_share"`
	Mark    Pair    `json:"mark"`
	FanOn   Pair    `json:"fan_on_seconds"`
	Clean   Pair    `json:"clean_seconds"`
	Outdoor Pair    `json:"outdoor_celsius"`
}

// Pair is a number then and now; 0 where it was not measured.
type Pair struct {
	Then float64 `json:"then"`
	Now  float64 `json:"now"`
}

// least is the temperature difference in K between room and outdoors under which a cold
// draft says too little to be compared.
const least = 5.0

// exponent of draft in drive with a working gate, as in analysis/setting.
const gateExponent = 0.2

// Compare returns what has changed since the commissioning.
func Compare(before *Record, now *commissioning.State) Comparison {
	then := &before.State
	c := Comparison{
		Number:  before.Number,
		Mark:    Pair{then.Mark, now.Mark},
		FanOn:   Pair{then.Moments.FanOn, now.Moments.FanOn},
		Clean:   Pair{then.Moments.Clean, now.Moments.Clean},
		Outdoor: Pair{then.Air.Outdoor, now.Air.Outdoor},
	}
	a, b := then.Numbers, now.Numbers
	ref := before.Reference()
	c.Cold, _ = ref.Out(b.Cold.Value, b.ColdAt)
	if n, m := len(a.Readings), len(b.Readings); n > 0 && m > 0 {
		p, q := a.Readings[n-1], b.Readings[m-1]
		if math.Abs(p.Mark-q.Mark) < 0.25 && p.Drive > 0 && q.Drive > 0 && p.Draft > faint {
			c.AtMark = atEqualDrive(q.Draft, q.Drive, p.Draft, p.Drive)
		}
	}
	return c
}

// lost is the share under which a draft counts as less than it was.
const lost = 0.85

// Lines says what has changed.
func (c *Comparison) Lines(u units.System) []Line {
	var all []Line
	share := func(what string, v float64, advice string) {
		switch {
		case v == 0:
			all = append(all, Line{commissioning.Noted, what + " cannot be compared: the days are too different, or it was not measured.", ""})
		case v < lost:
			all = append(all, Line{commissioning.Caution, fmt.Sprintf("%s is %.0f %% of what it was.", what, 100*v), advice})
		default:
			all = append(all, Line{commissioning.Good, fmt.Sprintf("%s is %.0f %% of what it was.", what, 100*v), ""})
		}
	}
	share("The cold draft at equal temperature difference", c.Cold, "Sweep and look: nests, soot, a clogged cap, an open cleanout.")
	share("The draft at the same mark and an equal fire", c.AtMark, "Sweep the chimney; look whether the gate moves freely.")
	if c.Mark.Then != c.Mark.Now {
		all = append(all, Line{commissioning.Caution, fmt.Sprintf("The mark was %s and is %s.", mark(c.Mark.Then), mark(c.Mark.Now)), "Find out who changed it, and why."})
	} else {
		all = append(all, Line{commissioning.Good, fmt.Sprintf("The mark is %s, as it was left.", mark(c.Mark.Now)), ""})
	}
	for _, t := range []struct {
		what string
		p    Pair
	}{{"The fan came on", c.FanOn}, {"It burnt clean", c.Clean}} {
		if t.p.Then > 0 && t.p.Now > 0 {
			all = append(all, Line{commissioning.Noted, fmt.Sprintf("%s %.0f min after lighting, then %.0f min; outdoors %s, then %s.",
				t.what, t.p.Now/60, t.p.Then/60, u.Temperature(c.Outdoor.Now), u.Temperature(c.Outdoor.Then)), ""})
		}
	}
	return all
}
