package history

import (
	"fmt"
	"strings"
	"time"

	"fluewright/analysis/frame"
	"fluewright/daemon/internal/history/chunk"
)

// A rollUp is a table with one row for each span of a boot, for all channels.
type rollUp struct {
	table, view string
	span        time.Duration
}

var (
	minutes  = rollUp{"minutes", "trend_1min", time.Minute}
	quarters = rollUp{"quarters", "trend_15min", 15 * time.Minute}
	rollUps  = []rollUp{minutes, quarters}
)

// stats are those of all channels over one span.
type stats [frame.Count]chunk.Stats

// rollUpColumns declares five columns a channel, NULL where it has no reading.
func rollUpColumns() []string {
	var all []string
	for _, c := range frame.All() {
		for _, q := range []string{"n", "good", "min", "max", "sum"} {
			all = append(all, fmt.Sprintf("%v_%s INTEGER", c, q))
		}
	}
	return all
}

func (r rollUp) createView() string {
	ms := fmt.Sprintf("((m.id & 0xffffffffff) * %d)", r.span.Milliseconds())
	list := []string{wallOf("(m.id >> 40)", ms) + " AS time", "m.id >> 40 AS boot"}
	for _, c := range frame.All() {
		list = append(list, fmt.Sprintf(
			"ifnull(m.%[1]v_n, 0) AS %[1]v_n, m.%[1]v_good * 1.0 / m.%[1]v_n AS %[1]v_good, m.%[1]v_min / %.1[2]f AS %[1]v_min, m.%[1]v_sum / (%.1[2]f * m.%[1]v_n) AS %[1]v_mean, m.%[1]v_max / %.1[2]f AS %[1]v_max",
			c, perUnit[c]))
	}
	return fmt.Sprintf("CREATE VIEW %s AS SELECT %s FROM %s m;\n", r.view, strings.Join(list, ", "), r.table)
}

func (r rollUp) insert() string {
	n := 5 * int(frame.Count)
	return fmt.Sprintf("INSERT OR REPLACE INTO %s VALUES (?%s)", r.table, strings.Repeat(", ?", n))
}

// values are the row's, as insert takes them.
func (s *stats) values(id int64) []any {
	all := make([]any, 1, 1+5*len(s))
	all[0] = id
	for i := range s {
		if v := s[i]; v.N > 0 {
			all = append(all, v.N, v.Good, v.Min, v.Max, v.Sum)
		} else {
			all = append(all, nil, nil, nil, nil, nil)
		}
	}
	return all
}

// sumQuarter makes the quarter ?1 of its minutes, from ?2 to before ?3. It can be done
// again and gives the same.
func sumQuarter() string {
	list := []string{"?1"}
	for _, c := range frame.All() {
		list = append(list, fmt.Sprintf("sum(%[1]v_n), sum(%[1]v_good), min(%[1]v_min), max(%[1]v_max), sum(%[1]v_sum)", c))
	}
	return "INSERT OR REPLACE INTO quarters SELECT " + strings.Join(list, ", ") + " FROM minutes WHERE id >= ?2 AND id < ?3"
}
