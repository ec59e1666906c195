package history

import (
	"encoding/json"
	"fmt"
	"math"
	"strconv"
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
	hours    = rollUp{"hours", "trend_1h", time.Hour}
	rollUps  = []rollUp{minutes, quarters, hours}
)

// stats are those of all channels over one span.
type stats [frame.Count]chunk.Stats

// rollUpColumns declares the rows that a span has, and three columns a channel, NULL where
// it has no reading: the least count, by how much the most is more, and by how much the mean
// is. Small numbers cost SQLite next to nothing. The column odd is for channels of which not
// every row has a good reading: {"flue":[readings, good ones]}.
func rollUpColumns() []string {
	all := []string{"n INTEGER NOT NULL"}
	for _, c := range frame.All() {
		all = append(all, fmt.Sprintf("%[1]v_min INTEGER, %[1]v_range INTEGER, %[1]v_mean INTEGER", c))
	}
	return append(all, "odd TEXT")
}

// channelSQL writes a channel's name for CH and its counts per unit for PER.
func channelSQL(c frame.Channel, text string) string {
	per := strconv.FormatFloat(perUnit[c], 'f', -1, 64)
	if !strings.Contains(per, ".") {
		per += ".0" // or SQLite divides whole numbers
	}
	return strings.NewReplacer("CH", c.String(), "PER", per).Replace(text)
}

func (r rollUp) create() string {
	return fmt.Sprintf("CREATE TABLE %s (id INTEGER PRIMARY KEY, %s);\n", r.table, strings.Join(rollUpColumns(), ", ")) + r.createView()
}

func (r rollUp) createView() string {
	ms := fmt.Sprintf("((m.id & 0xffffffffff) * %d)", r.span.Milliseconds())
	list := []string{wallOf("(m.id >> 40)", ms) + " AS time", "m.id >> 40 AS boot"}
	for _, c := range frame.All() {
		list = append(list, channelSQL(c,
			`CASE WHEN m.CH_min IS NULL THEN 0 ELSE ifnull(m.odd ->> '$.CH[0]', m.n) END AS CH_n,
			CASE WHEN m.CH_min IS NOT NULL THEN ifnull((m.odd ->> '$.CH[1]') * 1.0 / (m.odd ->> '$.CH[0]'), 1.0) END AS CH_good,
			m.CH_min / PER AS CH_min, (m.CH_min + m.CH_mean) / PER AS CH_mean, (m.CH_min + m.CH_range) / PER AS CH_max`))
	}
	return fmt.Sprintf("CREATE VIEW %s AS SELECT %s FROM %s m;\n", r.view, strings.Join(list, ", "), r.table)
}

// rollUpNames are the columns' names.
func rollUpNames() []string {
	names := []string{"id"}
	for _, declared := range rollUpColumns() {
		for column := range strings.SplitSeq(declared, ",") {
			names = append(names, strings.Fields(column)[0])
		}
	}
	return names
}

// values are the row's, as insert takes them.
func (m *minute) values(run int64) []any {
	all := []any{run<<40 | m.no, m.rows}
	odd := map[string][2]int{}
	for i, v := range m.stats {
		if v.N == 0 {
			all = append(all, nil, nil, nil)
			continue
		}
		if v.N != m.rows || v.Good != v.N {
			odd[frame.Channel(i).String()] = [2]int{v.N, v.Good}
		}
		all = append(all, v.Min, v.Max-v.Min, divide(v.Sum, int64(v.N))-v.Min)
	}
	if len(odd) == 0 {
		return append(all, nil)
	}
	text, _ := json.Marshal(odd) // numbers by name: it never fails
	return append(all, string(text))
}

// divide rounds to the nearest.
func divide(sum, n int64) int64 { return int64(math.Floor(float64(sum)/float64(n) + 0.5)) }

// oddities reads the column odd.
func oddities(v any) (odd map[string][2]int64) {
	if text, ok := v.(string); ok {
		_ = json.Unmarshal([]byte(text), &odd) // what cannot be read counts as ordinary
	}
	return odd
}

// statsOf undoes values for one channel: n rows, v are its three columns.
func statsOf(c frame.Channel, n int64, v []any, odd map[string][2]int64) chunk.Stats {
	least, ok := v[0].(int64)
	if !ok {
		return chunk.Stats{}
	}
	good := n
	if o, ok := odd[c.String()]; ok {
		n, good = o[0], o[1]
	}
	return chunk.Stats{N: int(n), Good: int(good), Min: least, Max: least + integer(v[1]), Sum: (least + integer(v[2])) * n}
}

// sumInto makes rows of those of a finer table whose numbers are from ?1 to before ?2. It can
// be done again and gives the same.
func (r rollUp) sumInto(from rollUp) string {
	list := []string{fmt.Sprintf("id >> 40 << 40 | (id & 0xffffffffff) / %d", int64(r.span/from.span)), "sum(n)"}
	var odd []string
	for _, c := range frame.All() {
		list = append(list, channelSQL(c, `min(CH_min), max(CH_min + CH_range) - min(CH_min),
			CAST(round(sum((CH_min + CH_mean) * ifnull(odd ->> '$.CH[0]', n)) * 1.0 / sum(CASE WHEN CH_min IS NOT NULL THEN ifnull(odd ->> '$.CH[0]', n) END)) AS INTEGER) - min(CH_min)`))
		odd = append(odd, channelSQL(c, `'CH', CASE WHEN count(CH_min) > 0 AND (count(CH_min) < count(*) OR count(odd ->> '$.CH') > 0) THEN
			json_array(sum(CASE WHEN CH_min IS NOT NULL THEN ifnull(odd ->> '$.CH[0]', n) END), sum(CASE WHEN CH_min IS NOT NULL THEN ifnull(odd ->> '$.CH[1]', n) END)) END`))
	}
	list = append(list, "nullif(json_patch('{}', json_object("+strings.Join(odd, ", ")+")), '{}')") // patching takes away what is null
	return "INSERT OR REPLACE INTO " + r.table + "(" + strings.Join(rollUpNames(), ", ") + ") SELECT " + strings.Join(list, ", ") +
		" FROM " + from.table + " WHERE id >= ?1 AND id < ?2 GROUP BY 1"
}
