package history

import (
	"encoding/binary"
	"log/slog"
	"math"
	"os"
	"path/filepath"
	"testing"
	"time"

	"fluewright/analysis"
	"fluewright/analysis/alarm"
	"fluewright/analysis/burn"
	"fluewright/analysis/frame"
	"fluewright/daemon/internal/status"
)

// Whatever is in a tail row, taking it over does not fail, and what comes of it rises.
func FuzzTail(f *testing.F) {
	rows := []row{{ms: 1000}, {ms: 2000}, {ms: 4000}}
	for i := range rows {
		rows[i].quality[frame.Flue], rows[i].counts[frame.Flue] = frame.Good, int32(i)
	}
	f.Add(packTail(rows))
	f.Fuzz(func(t *testing.T, body []byte) {
		got, _ := unpackTail(body, 1000)
		for i := 1; i < len(got); i++ {
			if got[i].ms <= got[i-1].ms {
				t.Fatalf("%d ms after %d ms", got[i].ms, got[i-1].ms)
			}
		}
		for len(got) > 0 {
			n := min(sameBlock(got), 1<<16)
			if b := pack(got[:n]); b.rows != n {
				t.Fatal("rows are missing")
			}
			got = got[n:]
		}
	})
}

type wordless struct{}

func (wordless) Temperature(float64) string { return "" }
func (wordless) Pressure(float64) string    { return "" }

// Whatever the ticks say, memory takes them, in their order and within its bounds.
func FuzzOffer(f *testing.F) {
	f.Add([]byte("\x00\x10\x20\x30\x40\x50\x60\x70\x80\x90"))
	f.Fuzz(func(t *testing.T, data []byte) {
		s := New(Options{Units: wordless{}, Log: slog.New(slog.DiscardHandler)})
		at := time.Duration(0)
		for ; len(data) >= 6; data = data[6:] {
			at += time.Duration(int16(binary.LittleEndian.Uint16(data))) * 100 * time.Millisecond
			st := &status.Status{Wall: time.UnixMilli(int64(data[2]) << (data[3] & 40)), ClockTrusted: data[3]&1 != 0}
			st.Frame.At = at
			in := &st.Frame.Inputs[data[4]%uint8(frame.Count)]
			in.Quality = frame.Quality(data[4] >> 5 % 5)
			in.Value = []float64{250, math.NaN(), math.Inf(1), -1e300, 1e300, 0.1}[data[5]%6]
			st.Assessment.Phase = burn.Phase(data[5] & 7)
			if data[5]&8 != 0 {
				st.Assessment.Events = []analysis.Event{{At: at, Kind: analysis.Kind(data[5] >> 4), Change: alarm.Change(data[4] & 15)}}
			}
			s.Offer(st)
		}
		s.sealBlocks(false)
		s.mu.Lock()
		defer s.mu.Unlock()
		for i, r := range s.mem.rows {
			if r.ms < 0 || i > 0 && r.ms <= s.mem.rows[i-1].ms {
				t.Fatalf("row %d is at %d ms", i, r.ms)
			}
			for c, q := range r.quality {
				if q > frame.Good || q < frame.Suspect && r.counts[c] != 0 {
					t.Fatalf("row %d: %v", i, r)
				}
			}
		}
		for _, p := range s.line() {
			if p.To < p.From {
				t.Fatalf("%+v", p)
			}
		}
	})
}

// Whatever lies beside the file, it ends and never gives a lower version than the file has.
func FuzzJournalVersion(f *testing.F) {
	log := make([]byte, 32+2*(24+512))
	binary.BigEndian.PutUint32(log[8:], 512)
	copy(log[16:], "saltsalt")
	for i, version := range []uint32{1000, 3} {
		frame := log[32+i*(24+512):]
		binary.BigEndian.PutUint32(frame, 1)
		copy(frame[8:], "saltsalt")
		binary.BigEndian.PutUint32(frame[24+60:], version)
	}
	f.Add(log, uint32(2))
	f.Add(log[:40], uint32(2))
	f.Fuzz(func(t *testing.T, log []byte, version uint32) {
		path := filepath.Join(t.TempDir(), "history.db-wal")
		if err := os.WriteFile(path, log, 0o600); err != nil {
			t.Fatal(err)
		}
		got, err := journalVersion(path, version)
		if err != nil || got < version {
			t.Errorf("%d, %v; the file has %d", got, err, version)
		}
	})
}
