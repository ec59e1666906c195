package replay_test

import (
	"bufio"
	"bytes"
	"fmt"
	"io"
	"slices"
	"strings"
	"testing"
	"time"

	"fluewright/daemon/internal/replay"
	"fluewright/daemon/internal/units"
	"fluewright/sensors/bench/nights"
)

// BenchmarkSeason judges 200 days at 1 Hz with all nine channels, in which an ordinary
// burn follows the other. -benchtime=1x.
func BenchmarkSeason(b *testing.B) {
	const days = 200
	log := seasoned(b)
	for b.Loop() {
		r, w := io.Pipe()
		go func() { w.CloseWithError(log.write(w, days)) }()
		if err := replay.Run(r, io.Discard, settings, units.SI); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(days*86400, "rows/op")
}

// season is a day that repeats: the head of its log, and what stands behind the time in
// each second's row.
type season struct {
	head string
	rows [86400]string
}

// seasoned repeats the first ordinary night of a site that measures everything each second.
func seasoned(tb testing.TB) *season {
	tb.Helper()
	for seed := uint64(1); ; seed++ {
		n := nights.Kinds()[0].Night(seed)
		if n.Site.Period != time.Second || slices.Contains(n.Site.Fitted[:], false) {
			continue
		}
		var csv bytes.Buffer
		if err := n.WriteCSV(&csv, time.Unix(0, 0)); err != nil {
			tb.Fatal(err)
		}
		lines := strings.Split(strings.TrimSpace(csv.String()), "\n")
		s := &season{head: lines[0]}
		night := lines[1:]
		for i := range s.rows {
			_, s.rows[i], _ = strings.Cut(night[i%len(night)], ",")
		}
		return s
	}
}

func (s *season) write(w io.Writer, days int) error {
	out := bufio.NewWriterSize(w, 1<<16)
	fmt.Fprintln(out, s.head)
	at := time.Date(2026, time.October, 1, 0, 0, 0, 0, time.UTC)
	var stamp []byte
	for range days {
		for _, row := range s.rows {
			stamp = append(at.AppendFormat(stamp[:0], time.RFC3339), ',')
			stamp = append(append(stamp, row...), '\n')
			if _, err := out.Write(stamp); err != nil {
				return err
			}
			at = at.Add(time.Second)
		}
	}
	return out.Flush()
}
