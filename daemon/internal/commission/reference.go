package commission

import (
	"math"
	"time"

	"fluewright/analysis/portable"
)

// Reference is what a commissioning found, for whoever holds the present against it. Zero
// stands where nothing was measured.
type Reference struct {
	Number  string
	Verdict Verdict
	Made    time.Time // zero: the clock was not known to be right
	// Draft in Pa that was read last while the fire burned, and its drive in Pa/m.
	Draft, Drive float64
	// Cold is the draft in Pa without a fire, ColdAt the room's temperature less that
	// outdoors, K.
	Cold, ColdAt float64
}

// Reference returns what the record's commissioning found.
func (r *Record) Reference() Reference {
	n := &r.State.Numbers
	ref := Reference{Number: r.Number, Verdict: r.Verdict}
	if r.ClockTrusted {
		ref.Made = r.Made
	}
	if k := len(n.Readings); k > 0 && n.Readings[k-1].Draft > faint && n.Readings[k-1].Drive > 0 {
		ref.Draft, ref.Drive = n.Readings[k-1].Draft, n.Readings[k-1].Drive
	}
	if n.ColdAt >= least && n.Cold.Value > faint {
		ref.Cold, ref.ColdAt = n.Cold.Value, n.ColdAt
	}
	return ref
}

const (
	// faint is the draft in Pa that says too little to be compared with.
	faint = 0.5
	// weakest is the share of the commissioned drive down to which a fire is like that of the
	// commissioning: beneath it a gate hangs shut and no longer holds the draft.
	weakest = 0.7
)

// Burning returns a draft in Pa over a fire as a share of the commissioned one at an equal
// drive, Pa/m; false where it cannot be told. It takes a gate that holds the draft for
// granted, and a narrowing flue shows late behind one.
func (r *Reference) Burning(draft, drive float64) (share float64, ok bool) {
	if r.Draft <= 0 || !(drive >= weakest*r.Drive) || !finite(draft, drive) {
		return 0, false
	}
	return atEqualDrive(draft, drive, r.Draft, r.Drive), true
}

// Out likewise returns a draft without a fire, difference K being the room's temperature less
// that outdoors. A chimney that is warm still draws more than a cold one.
func (r *Reference) Out(draft, difference float64) (share float64, ok bool) {
	if r.Cold <= 0 || !(difference >= least) || !finite(draft, difference) {
		return 0, false
	}
	return draft / difference / (r.Cold / r.ColdAt), true
}

func atEqualDrive(draft, drive, before, driveBefore float64) float64 {
	return draft / before * portable.Pow(driveBefore/drive, gateExponent)
}

func finite(all ...float64) bool {
	for _, v := range all {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return false
		}
	}
	return true
}
