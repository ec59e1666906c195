package burnlog_test

import (
	"bytes"
	"compress/gzip"
	"errors"
	"io"
	"math"
	"strings"
	"testing"
	"time"

	"fluewright/analysis/frame"
	"fluewright/daemon/internal/burnlog"

	"pgregory.net/rapid"
)

func read(t *testing.T, text string) ([]time.Time, []frame.Frame, error) {
	t.Helper()
	r, err := burnlog.NewReader(strings.NewReader(text))
	if err != nil {
		return nil, nil, err
	}
	var times []time.Time
	var frames []frame.Frame
	for {
		at, f, err := r.Next()
		if errors.Is(err, io.EOF) {
			return times, frames, nil
		}
		if err != nil {
			return times, frames, err
		}
		times, frames = append(times, at), append(frames, f)
	}
}

func TestRead(t *testing.T) {
	t.Run("units become SI and an empty field is no reading", func(t *testing.T) {
		times, frames, err := read(t, "time,flue_fahrenheit,draft_inh2o,ambient_pascals\n"+
			"2026-01-31T21:04:05Z,212,0.05,\n2026-01-31T21:04:06.5Z,,0,101325\n")
		if err != nil {
			t.Fatal(err)
		}
		if got := times[0].Format(time.RFC3339); got != "2026-01-31T21:04:05Z" {
			t.Errorf("time %s", got)
		}
		if got := frames[0].Inputs[frame.Flue]; got.Value != 100 || got.Quality != frame.Good {
			t.Errorf("flue %+v", got)
		}
		// 1 inH2O = 249.08891 Pa, the conventional inch of water.
		if got := frames[0].Inputs[frame.Draft].Value; math.Abs(got-12.4544455) > 1e-9 {
			t.Errorf("draft %v", got)
		}
		if got := frames[0].Inputs[frame.Ambient]; got.Usable() {
			t.Errorf("ambient %+v", got)
		}
		if got := frames[1].Inputs[frame.Flue]; got.Usable() {
			t.Errorf("flue %+v", got)
		}
		if got := frames[1].At; got != 1500*time.Millisecond {
			t.Errorf("at %v", got)
		}
	})
	t.Run("seconds count from 1970", func(t *testing.T) {
		times, frames, err := read(t, "time,draft_pascals\r\n10.25,12\r\n70,13\r\n")
		if err != nil {
			t.Fatal(err)
		}
		if times[0].UnixMilli() != 10250 || frames[1].At != 59750*time.Millisecond {
			t.Errorf("times %v, at %v", times, frames[1].At)
		}
	})
	t.Run("gzip and a byte-order mark", func(t *testing.T) {
		var b bytes.Buffer
		z := gzip.NewWriter(&b)
		if _, err := io.WriteString(z, "\ufefftime,flue_celsius\n1,20\n"); err != nil {
			t.Fatal(err)
		}
		if err := z.Close(); err != nil {
			t.Fatal(err)
		}
		if _, frames, err := read(t, b.String()); err != nil || len(frames) != 1 {
			t.Errorf("%d frames, %v", len(frames), err)
		}
	})
}

func TestABadLogNamesTheRow(t *testing.T) {
	tests := map[string]string{
		"":                                    "row 1: the log is empty",
		"flue_celsius\n":                      `row 1: the first column is "flue_celsius"`,
		"time\n":                              "row 1: no channel",
		"time,stack_celsius\n":                `row 1: column "stack_celsius" is no channel`,
		"time,flue_pascals\n":                 "row 1: column \"flue_pascals\": flue is in celsius or fahrenheit",
		"time,draft_celsius\n":                "draft is in pascals or inh2o",
		"time,flue_celsius,flue_fahrenheit\n": "row 1: flue stands twice",
		"time,flue_celsius\n1,20\n2,hot\n":    `row 3: flue "hot" is not a number`,
		"time,flue_celsius\n1,20\n2,NaN\n":    "row 3: ",
		"time,flue_celsius\n1,20\n2\n":        "row 3: wrong number of fields",
		"time,flue_celsius\n2,20\n1,20\n":     "row 3: time 1 is before the row above",
		"time,flue_celsius\nnow,20\n":         `row 2: time "now"`,
		"time,flue_celsius\n1e30,20\n":        `row 2: time "1e30"`,
		"time,flue_celsius\n1,\"20\n":         "row 2: ",
	}
	for text, want := range tests {
		if _, _, err := read(t, text); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%q: error %v, want %q", text, err, want)
		}
	}
}

// What was written is read back bit for bit.
func TestRoundTripProperty(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		fitted := [frame.Count]bool{}
		for c := range fitted {
			fitted[c] = rapid.Bool().Draw(t, "fitted")
		}
		fitted[frame.Flue] = true
		var want []frame.Frame
		var b bytes.Buffer
		w, err := burnlog.NewWriter(&b, fitted)
		if err != nil {
			t.Fatal(err)
		}
		start := time.Date(2026, 1, 31, 21, 0, 0, 0, time.UTC)
		var f frame.Frame
		for range rapid.IntRange(1, 20).Draw(t, "rows") {
			for c := range fitted {
				f.Inputs[c] = frame.Input{}
				if fitted[c] && rapid.Bool().Draw(t, "usable") {
					f.Inputs[c] = frame.Input{Value: rapid.Float64Range(-1e6, 1e6).Draw(t, "value"), Quality: frame.Good}
				}
			}
			if err := w.Write(start.Add(f.At), f); err != nil {
				t.Fatal(err)
			}
			want = append(want, f)
			f.At += time.Duration(rapid.IntRange(0, 1e6).Draw(t, "ms")) * time.Millisecond
		}
		if err := w.Flush(); err != nil {
			t.Fatal(err)
		}
		r, err := burnlog.NewReader(&b)
		if err != nil {
			t.Fatal(err)
		}
		if r.Fitted() != fitted {
			t.Fatalf("fitted %v, want %v", r.Fitted(), fitted)
		}
		for i, wanted := range want {
			_, got, err := r.Next()
			if err != nil || got != wanted {
				t.Fatalf("row %d: %+v, want %+v (%v)", i, got, wanted, err)
			}
		}
	})
}

func FuzzReader(f *testing.F) {
	f.Add([]byte("time,flue_celsius,draft_inh2o\n2026-01-31T21:04:05Z,20,0.05\n"))
	f.Add([]byte("time,flue_celsius\n1,20\n2,\n"))
	f.Fuzz(func(t *testing.T, b []byte) {
		r, err := burnlog.NewReader(bytes.NewReader(b))
		if err != nil {
			return
		}
		for last := time.Duration(-1); ; {
			_, fr, err := r.Next()
			if err != nil {
				return
			}
			for _, in := range fr.Inputs {
				if math.IsNaN(in.Value) || math.IsInf(in.Value, 0) {
					t.Fatalf("%+v", fr)
				}
			}
			if fr.At < last {
				t.Fatalf("time runs backwards: %v after %v", fr.At, last)
			}
			last = fr.At
		}
	})
}
