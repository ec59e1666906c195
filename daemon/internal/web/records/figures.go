package records

import (
	"fmt"
	"strconv"

	"fluewright/daemon/internal/trend"
)

type figuresView struct {
	Over    string
	Partial bool
	Rows    []figureView
	Alarms  []frequentView
}

type figureView struct{ Name, Value, Note string }

type frequentView struct{ Name, Raised, Stood, Longest, Chattered string }

// mostFrequent is how many alarms the table of figures names.
const mostFrequent = 10

// figures words how the alarms did as alarms.
func (p *Pages) figures(s *trend.AlarmStats) *figuresView {
	v := &figuresView{Over: p.long(s.From) + " to " + p.long(s.To), Partial: s.Partial}
	add := func(name, value, note string) { v.Rows = append(v.Rows, figureView{name, value, note}) }
	add("Raised", strconv.Itoa(s.Raised), fmt.Sprintf("%d high, %d medium, %d low", s.ByPriority["high"], s.ByPriority["medium"], s.ByPriority["low"]))
	rate := func(v *float64) string {
		if v == nil {
			return "not yet known"
		}
		return fmt.Sprintf("%.2g", *v)
	}
	add("Raised a day, mean", rate(s.PerDay), "")
	add("Raised an hour, mean", rate(s.PerHour), "")
	add("Most within 10 min", strconv.Itoa(s.Most), fmt.Sprintf("more than 10 are a flood; there were %d", s.Floods))
	response := "–"
	if s.MedianResponse != nil {
		response = trend.Lasted(*s.MedianResponse)
	}
	add("Acknowledged", fmt.Sprintf("%d of %d", s.Acknowledged, s.Raised), "half of those within "+response)
	add("Stood for more than a day", strconv.Itoa(s.Stale), "stale; the day is from memory of the standards")
	chattered := 0
	for i, a := range s.Alarms {
		chattered += a.Chattered
		if i < mostFrequent {
			v.Alarms = append(v.Alarms, frequentView{
				a.Alarm, strconv.Itoa(a.Raised), trend.Lasted(a.Stood), trend.Lasted(a.Longest), strconv.Itoa(a.Chattered),
			})
		}
	}
	add("Chattered", strconv.Itoa(chattered), "raisings that were the third within a minute; three a minute is from memory of the standards")
	return v
}
