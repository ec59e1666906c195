package command_test

import (
	"bytes"
	"encoding/json"
	"fmt"
	"strings"
	"testing"
	"time"

	"fluewright/daemon/internal/command"
)

var noon = time.Date(2026, 11, 25, 12, 0, 0, 0, time.UTC)

// order writes a command of a minute, with more members.
func order(id, more string) []byte {
	if more != "" {
		more = ", " + more
	}
	return fmt.Appendf(nil, `{"version": 1, "id": %q, "client": "phone-00", "issued_at": "2026-11-25T12:00:00Z", "expires_at": "2026-11-25T12:01:00Z"%s}`, id, more)
}

func TestDecode(t *testing.T) {
	for name, c := range map[string]struct {
		command, more string
		want          command.Reason // empty: it is let in
	}{
		"acknowledge":             {"acknowledge", `"acknowledge": {"alarm": "overheat", "channel": "flue", "occurrence": 3}`, ""},
		"of no channel":           {"acknowledge", `"acknowledge": {"alarm": "spillage", "occurrence": 1}`, ""},
		"of no occurrence":        {"acknowledge", `"acknowledge": {"alarm": "spillage"}`, command.Malformed},
		"of a whole class":        {"acknowledge", `"acknowledge": {"alarm": "spillage", "occurrence": 1, "all": true}`, command.Malformed},
		"of another channel":      {"acknowledge", `"acknowledge": {"alarm": "overheat", "channel": "cellar", "occurrence": 3}`, command.Malformed},
		"fuel":                    {"note", `"note": {"kind": "fuel", "wood": "oak", "kilograms": 22, "moisture": 0.18}`, ""},
		"moisture as per cent":    {"note", `"note": {"kind": "moisture", "moisture": 18}`, command.Malformed},
		"moisture of a sweeping":  {"note", `"note": {"kind": "sweeping", "moisture": 0.2}`, command.Malformed},
		"sweeping":                {"note", `"note": {"kind": "sweeping", "text": "two litres of soot"}`, ""},
		"a note of a line feed":   {"note", `"note": {"kind": "ash", "text": "a\nb"}`, command.Malformed},
		"a note too long":         {"note", `"note": {"kind": "ash", "text": "` + strings.Repeat("x", 1001) + `"}`, command.Malformed},
		"snapshot":                {"snapshot", "", ""},
		"live":                    {"live", `"live": {"seconds": 300}`, ""},
		"live for too long":       {"live", `"live": {"seconds": 301}`, command.Malformed},
		"trend":                   {"trend", `"trend": {"wish": {"since_seconds": 3600}}`, ""},
		"trend of no time":        {"trend", `"trend": {"wish": {"from": "yesterday"}}`, command.Malformed},
		"a piece":                 {"trend", `"trend": {"bundle": "` + strings.Repeat("0a", 32) + `", "offset": 5, "chunks": 8}`, ""},
		"a piece of a file":       {"trend", `"trend": {"bundle": "../../etc/passwd", "chunks": 8}`, command.Malformed},
		"a piece before it":       {"trend", `"trend": {"bundle": "` + strings.Repeat("0a", 32) + `", "offset": -5, "chunks": 8}`, command.Malformed},
		"two commands":            {"live", `"live": {"seconds": 3}, "trend": {"wish": {}}`, command.Malformed},
		"without what it is for":  {"live", "", command.Malformed},
		"a limit":                 {"limit", `"limit": {"flue": 1000}`, command.Unknown},
		"a limit in another":      {"note", `"note": {"kind": "ash"}, "limit": 1000`, command.Malformed},
		"shelving is no command":  {"shelve", `"shelve": {"alarm": "overheat"}`, command.Unknown},
		"another version":         {"snapshot", `"version": 2`, command.Malformed},
		"an author with a signal": {"snapshot", `"by": "\u0007"`, command.Malformed},
		"a life of an hour":       {"snapshot", `"expires_at": "2026-11-25T13:00:00Z"`, command.Malformed},
		"before it was issued":    {"snapshot", `"expires_at": "2026-11-25T11:00:00Z"`, command.Malformed},
		"too large":               {"note", `"note": {"kind": "ash", "text": "` + strings.Repeat("x", command.MaxBytes) + `"}`, command.Oversized},
	} {
		t.Run(name, func(t *testing.T) {
			var g command.Gate
			r, refused := g.Take(c.command, false, order("12345678", c.more), noon, true)
			switch {
			case c.want == "" && refused != nil:
				t.Errorf("refused: %v", refused)
			case c.want != "" && (refused == nil || refused.Reason != c.want):
				t.Errorf("refused for %v, want %v", refused, c.want)
			}
			if refused != nil {
				a := r.Refused(refused)
				if a.Result != "refused" || a.Message == "" || c.want != command.Oversized && r.Topic() != "reply/phone-00/12345678" {
					t.Errorf("%+v on %s", a, r.Topic())
				}
			}
		})
	}
}

func TestGate(t *testing.T) {
	var g command.Gate
	take := func(id string, retained bool, at time.Time, trusted bool) command.Reason {
		t.Helper()
		if _, refused := g.Take("snapshot", retained, order(id, ""), at, trusted); refused != nil {
			return refused.Reason
		}
		return ""
	}
	for i, c := range []struct {
		id       string
		retained bool
		after    time.Duration
		trusted  bool
		want     command.Reason
	}{
		{"first-one", false, 0, true, ""},
		{"first-one", false, time.Second, true, command.Repeated},
		{"retained", true, time.Second, true, command.Retained},
		{"retained", false, time.Second, true, ""}, // it was not carried out before
		{"too-late-1", false, 61 * time.Second, true, command.Expired},
		{"too-late-1", false, 61 * time.Second, false, ""}, // who knows
		{"too-early", false, -3 * time.Minute, true, command.Expired},
		{"shortest", false, -time.Minute, true, ""}, // a clock that is a little slow
	} {
		if got := take(c.id, c.retained, noon.Add(c.after), c.trusted); got != c.want {
			t.Errorf("%d, %s: %q, want %q", i, c.id, got, c.want)
		}
	}
	want := map[string]uint64{"accepted": 4, "repeated": 1, "retained": 1, "expired": 2}
	for name, n := range g.Counts() {
		if want[name] != n {
			t.Errorf("%s is %d, want %d", name, n, want[name])
		}
	}
}

// A flood is dropped and counted; afterwards commands are taken again. What is remembered
// is bounded.
func TestFlood(t *testing.T) {
	var g command.Gate
	taken := 0
	for i := range 100_000 { // ten seconds
		if _, refused := g.Take("snapshot", false, order(fmt.Sprintf("flood-%06d", i), ""), noon.Add(time.Duration(i)*100*time.Microsecond), true); refused == nil {
			taken++
		}
	}
	if taken < 100 || taken > 150 || g.Counts()["flooded"] != uint64(100_000-taken) {
		t.Errorf("%d taken, %v", taken, g.Counts())
	}
	if _, refused := g.Take("snapshot", false, order("afterwards", ""), noon.Add(11*time.Second), true); refused != nil {
		t.Error(refused)
	}
	big := bytes.Repeat([]byte("x"), command.MaxBytes+1)
	if n := testing.AllocsPerRun(100, func() { g.Take("snapshot", false, big, noon, true) }); n > 10 {
		t.Errorf("a command that is dropped costs %v allocations", n)
	}
}

func TestChunk(t *testing.T) {
	c := command.Chunk{ID: "12345678", Bundle: strings.Repeat("0a", 32), Size: 100, Offset: 90, Last: true, Data: []byte("0\n2345678\x00")}
	b, err := c.Encode()
	if err != nil {
		t.Fatal(err)
	}
	got, err := command.DecodeChunk(b)
	if err != nil || !bytes.Equal(got.Data, c.Data) || got.Offset != 90 || got.Size != 100 || !got.Last {
		t.Errorf("%+v, %v", got, err)
	}
	if _, err := command.DecodeChunk(b[:len(b)-1]); err == nil {
		t.Error("a chunk that is cut off is taken")
	}
}

func FuzzTake(f *testing.F) {
	f.Add("acknowledge", false, order("12345678", `"acknowledge": {"alarm": "overheat", "channel": "flue", "occurrence": 3}`))
	f.Add("note", false, order("12345678", `"note": {"kind": "fuel", "wood": "oak", "kilograms": 22, "moisture": 0.18}`))
	f.Add("trend", true, order("12345678", `"trend": {"wish": {"since_seconds": 3600}}`))
	f.Add("trend", false, order("12345678", `"trend": {"bundle": "`+strings.Repeat("0a", 32)+`", "offset": 5, "chunks": 8}`))
	f.Add("live/#", false, []byte(`{"id": "+/#"}`))
	f.Fuzz(func(t *testing.T, name string, retained bool, body []byte) {
		var g command.Gate
		r, refused := g.Take(name, retained, body, noon, true)
		if strings.ContainsAny(r.Topic(), "+#\x00") || !strings.HasPrefix(r.Topic(), "reply/") {
			t.Errorf("the reply goes to %q", r.Topic())
		}
		a := r.Answer()
		if refused != nil {
			a = r.Refused(refused)
			if refused.Reason == "" || refused.Words == "" {
				t.Errorf("refused without a reason: %+v", refused)
			}
		} else if retained || len(body) > command.MaxBytes {
			t.Error("it was let in")
		}
		if b, err := json.Marshal(a); err != nil || len(b) > 4096 {
			t.Errorf("a reply of %d bytes, %v", len(b), err)
		}
	})
}

func FuzzDecodeChunk(f *testing.F) {
	c := command.Chunk{ID: "12345678", Bundle: strings.Repeat("0a", 32), Size: 100, Offset: 90, Data: []byte("0123456789")}
	b, err := c.Encode()
	if err != nil {
		f.Fatal(err)
	}
	f.Add(b)
	f.Fuzz(func(t *testing.T, b []byte) {
		c, err := command.DecodeChunk(b)
		if err == nil && (c.Offset < 0 || c.Offset+int64(len(c.Data)) > c.Size) {
			t.Errorf("%+v", c)
		}
	})
}
