package trend

import (
	"context"
	"io"
	"math"
	"time"

	"fluewright/analysis/frame"
	"fluewright/daemon/internal/burnlog"
	"fluewright/daemon/internal/trend/parquet"
)

// WriteParquet writes a window as a Parquet table, with the columns of a burn log.
func WriteParquet(ctx context.Context, out io.Writer, a History, s Site, w Window, channels [frame.Count]bool, every time.Duration) error {
	var which []frame.Channel
	var names []string
	for _, c := range frame.All() {
		if channels[c] {
			which = append(which, c)
			names = append(names, burnlog.Heading(c))
		}
	}
	table := parquet.NewWriter(out, names, "site", s.Config.Site.Name)
	values := make([]float64, len(which))
	for row, err := range Rows(ctx, a, w, channels, every) {
		if err != nil {
			return err
		}
		for i, c := range which {
			values[i] = math.NaN()
			if row.Quality[c] >= frame.Suspect {
				values[i] = row.Values[c]
			}
		}
		if err := table.Row(row.At.UnixMilli(), values); err != nil {
			return err
		}
	}
	return table.Close()
}
