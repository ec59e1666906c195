package nights

import (
	"bufio"
	"io"
	"math"
	"strconv"
	"time"
)

// columns of a burn log, in the order of the channels.
var columns = [Channels]string{
	"firebox_celsius", "chamber_celsius", "flue_celsius", "plenum_celsius", "return_celsius",
	"room_celsius", "outdoor_celsius", "draft_pascals", "ambient_pascals",
}

// WriteCSV runs the rest of the night and writes it as a burn log whose clock starts at
// start. Channels that are not fitted have no column.
func (n *Night) WriteCSV(w io.Writer, start time.Time) error {
	out := bufio.NewWriter(w)
	out.WriteString("time")
	for c, name := range columns {
		if n.Site.Fitted[c] {
			out.WriteString("," + name)
		}
	}
	out.WriteByte('\n')
	var row Row
	for n.Next(&row) {
		out.WriteString(start.Add(row.At).UTC().Format(time.RFC3339Nano))
		for c, v := range row.Values {
			if !n.Site.Fitted[c] {
				continue
			}
			out.WriteByte(',')
			if !math.IsNaN(v) {
				out.WriteString(strconv.FormatFloat(v, 'f', -1, 64))
			}
		}
		out.WriteByte('\n')
	}
	return out.Flush() // it keeps the first error
}
