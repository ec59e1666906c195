package config

import (
	"time"

	"fluewright/daemon/internal/units"
)

// history reads what is kept of the past. Below some tens of MB the events alone could
// fill the file.
func history(t *table) History {
	keep := t.choice("keep", "yes", []string{"yes", "no"})
	h := History{
		Off:       keep.value == "no",
		Directory: t.text("directory", "", directory).value,
	}
	period := quantity(t, "period", units.ParseDuration, span{"1 s", "0.1 s", "60 s"})
	if period.ok() && time.Minute%period.value != 0 {
		t.at(period.line, "history.period is %s; a minute is made of whole periods, so it is like 1 s, 2 s, 5 s or 10 s", seconds(period.value))
	}
	fullRate := quantity(t, "full-rate", units.ParseSpan, span{"200 days", "1 day", "10 years"})
	minutes := quantity(t, "minutes", units.ParseSpan, span{"10 years", "1 day", "50 years"})
	if fullRate.ok() && minutes.ok() && minutes.value < fullRate.value {
		t.at(max(fullRate.line, minutes.line), "history.minutes is shorter than history.full-rate; what is summed up is kept at least as long")
	}
	h.Period, h.FullRate, h.Minutes = period.value, fullRate.value, minutes.value
	h.Ceiling = int64(quantity(t, "ceiling", units.ParseSize, span{"1 GB", "50 MB", "64 GB"}).value)
	t.done()
	return h
}
