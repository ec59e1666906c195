package path

import (
	"time"

	"fluewright/sensors"
)

// frozenLooks is the least number of equal looks: a slow chip gives each conversion more
// than once.
const frozenLooks = 60

// frozen notices a chip that says the same for ever: its conversion has stopped, and the
// transfer still works. Values are compared and not raw words, since a driver may number
// its requests in those.
type frozen struct {
	first  sensors.Sample
	looks  int
	lasted time.Duration
}

func (f *frozen) step(s *sensors.Sample, after time.Duration) bool {
	if f.looks == 0 || !s.SameValues(&f.first) {
		*f = frozen{first: *s, looks: 1}
		return false
	}
	f.looks++
	f.lasted = s.Taken.Sub(f.first.Taken)
	return f.looks >= frozenLooks && f.lasted >= after
}
