package analysis_test

import (
	"strings"
	"testing"
	"time"

	"fluewright/analysis/frame"
)

// exchange gives flue and chamber each other's readings.
func (n *night) exchange() {
	in := &n.frame.Inputs
	in[frame.Flue], in[frame.Chamber] = in[frame.Chamber], in[frame.Flue]
}

// Of two exchanged readings neither is held against the limit of the other's place, not
// for a frame, and each is still held against its own.
func TestAnExchangedPairKeepsItsLimits(t *testing.T) {
	n := burning(t, house())
	n.exchange() // the flue's channel has 600 °C now, over its limit of 538
	n.run(5 * time.Minute)
	if got, want := n.alarms(), "sensor-implausible/chamber raised, sensor-implausible/flue raised"; got != want {
		t.Fatalf("after the exchange: %q, want %q", got, want)
	}
	n.ramp(10*time.Minute, map[frame.Channel]float64{frame.Flue: 710}) // in the chamber
	if got := n.alarms(); !strings.Contains(got, "overheat/chamber raised") || strings.Contains(got, "overheat/flue") {
		t.Errorf("the chamber too hot, by the flue's wires: %q", got)
	}
}

// What is no exchange is told after the alarm's own hold, however violent; what looks like
// one for as long as it takes to see that it is none is told within 10 s more.
func TestAnOverheatDoesNotWait(t *testing.T) {
	for name, tt := range map[string]struct {
		do     func(*night)
		within time.Duration
	}{
		"a flue that shoots up": {func(n *night) { n.set(frame.Flue, 900) }, 3 * time.Second},
		"a chamber that falls with it": {func(n *night) {
			n.set(frame.Flue, 900)
			n.set(frame.Chamber, 450)
		}, 3 * time.Second},
		"an exchange that does not last": {func(n *night) {
			n.exchange()
			n.run(time.Second)
			n.set(frame.Flue, 700)
			n.set(frame.Chamber, 600)
		}, 13 * time.Second},
	} {
		t.Run(name, func(t *testing.T) {
			n := burning(t, house())
			tt.do(n)
			n.run(tt.within)
			if got := n.alarms(); !strings.Contains(got, "overheat/flue raised") {
				t.Errorf("after %v: %q", tt.within, got)
			}
		})
	}
}
