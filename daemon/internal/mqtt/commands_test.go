package mqtt

import (
	"bytes"
	"context"
	"io"
	"net"
	"testing"
	"time"

	"pgregory.net/rapid"

	"fluewright/daemon/internal/status"
)

// packet writes a PUBLISH of so many bytes behind its fixed header.
func packet(length int) []byte {
	b := []byte{3 << 4}
	for n := length; ; n >>= 7 {
		if n < 0x80 {
			b = append(b, byte(n))
			break
		}
		b = append(b, byte(n)|0x80)
	}
	return append(b, bytes.Repeat([]byte{byte(length)}, length)...)
}

// Whatever pieces the bytes come in, packets that are not too large come whole and in their
// order, and the others not at all.
func TestTrim(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var sent, want []byte
		dropped, wantDropped := 0, 0
		for range rapid.IntRange(0, 8).Draw(t, "packets") {
			b := packet(rapid.OneOf(rapid.IntRange(0, 300), rapid.IntRange(mostTaken-1, mostTaken+3), rapid.Just(300_000)).Draw(t, "length"))
			sent = append(sent, b...)
			if len(b) <= mostTaken+4 {
				want = append(want, b...)
			} else {
				wantDropped++
			}
		}
		near, far := net.Pipe()
		go func() {
			for rest := sent; len(rest) > 0; {
				n, err := far.Write(rest[:min(len(rest), 4096)])
				if err != nil {
					return
				}
				rest = rest[n:]
			}
			_ = far.Close()
		}()
		got, err := io.ReadAll(trim(near, func() { dropped++ }))
		if err != nil || !bytes.Equal(got, want) || dropped != wantDropped {
			t.Fatalf("%d bytes, want %d; %d dropped, want %d; %v", len(got), len(want), dropped, wantDropped, err)
		}
	})
}

func FuzzTrim(f *testing.F) {
	f.Add(packet(5))
	f.Add([]byte{0x30, 0xff, 0xff, 0xff, 0xff, 0xff})
	f.Add([]byte{0x30, 0x80, 0x80, 0x10, 1, 2})
	f.Fuzz(func(t *testing.T, b []byte) {
		near, far := net.Pipe()
		go func() { _, _ = far.Write(b); _ = far.Close() }()
		got, err := io.ReadAll(trim(near, func() {}))
		if len(got) > len(b) || err != nil && err != io.EOF {
			t.Errorf("%d bytes of %d, %v", len(got), len(b), err)
		}
	})
}

// One chunk is on its way at a time, behind everything else, and none outlives the connection.
func TestChunksGiveWay(t *testing.T) {
	p, err := New(options("tcp://127.0.0.1:1"))
	if err != nil {
		t.Fatal(err)
	}
	if err := p.SendChunk(t.Context(), "reply/a/b/chunk", nil); err == nil {
		t.Error("a chunk waits for a broker that is away")
	}
	p.stats.Connected = true
	sent := make(chan error, 2)
	for range 2 {
		go func() { sent <- p.SendChunk(context.Background(), "reply/a/b/chunk", []byte("x")) }()
	}
	for deadline := time.Now().Add(10 * time.Second); len(waiting(p, chunks)) < 2; time.Sleep(time.Millisecond) {
		if time.Now().After(deadline) {
			t.Fatal("no chunks wait")
		}
	}
	first, _ := p.next()
	if second, _ := p.next(); first == nil || first.class != chunks || second != nil {
		t.Fatalf("%v and %v are on their way", first, second)
	}
	p.Reply("reply/a/b", []byte("{}"))
	p.mu.Lock()
	p.queue.add(&message{class: alarms, topic: "a", body: func(*status.Status) ([]byte, error) { return nil, nil }})
	p.mu.Unlock()
	for _, want := range []class{alarms, replies} {
		if m, _ := p.next(); m == nil || m.class != want {
			t.Errorf("%+v goes first, want class %d", m, want)
		}
	}
	p.delivered(first)
	if err := <-sent; err != nil {
		t.Error(err)
	}
	p.hangUp()
	if err := <-sent; err == nil {
		t.Error("a chunk was delivered after the connection's end")
	}
	if n := len(waiting(p, chunks)); n != 0 {
		t.Errorf("%d chunks wait for the next connection", n)
	}
}

// Live telemetry comes each second, for as long as it was asked for, and ends with the
// connection.
func TestLive(t *testing.T) {
	o := options("tcp://127.0.0.1:1")
	o.StateEvery, o.PackEvery, o.SampleEvery = time.Hour, time.Minute, 10*time.Second
	p, err := New(o)
	if err != nil {
		t.Fatal(err)
	}
	p.stats.Connected = true
	steps := night()
	at := steps[0].Frame.At
	packs := func(lasts time.Duration) int {
		before := len(waiting(p, telemetry))
		for end := at + lasts; at < end; at += 500 * time.Millisecond {
			s := *steps[len(steps)-1]
			s.Assessment.Events, s.Frame.At = nil, at
			p.Offer(&s)
		}
		return len(waiting(p, telemetry)) - before
	}
	if n := packs(30 * time.Second); n != 0 {
		t.Errorf("%d packs in half a minute that nobody watches", n)
	}
	p.Live(10 * time.Second)
	if n := packs(20 * time.Second); n < 9 || n > 11 {
		t.Errorf("%d packs in a lease of ten seconds", n)
	}
	p.Live(time.Minute)
	p.hangUp()
	if n := packs(20 * time.Second); n > 1 {
		t.Errorf("%d packs after the connection's end", n)
	}
}
