package main

import (
	"context"
	"encoding/pem"
	"flag"
	"fmt"
	"io"
	"log/slog"
	"math/rand/v2"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"testing"
	"time"
)

var onWire = flag.Bool("wire", false, "measure what a site costs on a line; some ten minutes")

// measured is a site whose lines are measured.
type measured struct {
	*site
	mqtt, write *meter
}

func newMeasured(t *testing.T, b *broker, i int, metered bool, start time.Time, faults float64) *measured {
	t.Helper()
	m := &measured{mqtt: lay(t, fmt.Sprintf("127.0.0.1:%d", b.port))}
	receiver := httptest.NewTLSServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		_, _ = io.Copy(io.Discard, r.Body)
		w.WriteHeader(http.StatusNoContent)
	}))
	t.Cleanup(receiver.Close)
	m.write = lay(t, receiver.Listener.Addr().String())
	own := filepath.Join(t.TempDir(), "receiver.pem")
	if err := os.WriteFile(own, pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: receiver.Certificate().Raw}), 0o600); err != nil {
		t.Fatal(err)
	}
	o := Options{
		Period: time.Second, Faults: faults, Metered: metered, Log: slog.New(slog.DiscardHandler),
		Write: fmt.Sprintf("https://%s/api/v1/write", m.write.listener.Addr()), WriteCA: own, WriteEvery: time.Minute,
		Broker: fmt.Sprintf("ssl://%s", m.mqtt.listener.Addr()), CAFile: b.file("ca.pem"), CertFile: b.file("%s.pem"), KeyFile: b.file("%s.key"),
	}
	b.client(siteName(i))
	h := newHouse(&regions[i%len(regions)], rand.New(rand.NewPCG(1, uint64(i))), start)
	h.burns, h.visit = true, 0
	var err error
	if m.site, err = newSite(siteName(i), fmt.Sprintf("%016x", i), h, start, &o); err != nil {
		t.Fatal(err)
	}
	return m
}

// A day of a house that is heated, played as fast as the broker takes it: what the messages cost.
// Pings follow the real clock, so there are none; what they cost is measured apart.
func TestADayOnTheWire(t *testing.T) {
	if !*onWire {
		t.Skip("it is measured on demand: -wire")
	}
	needs(t, "mosquitto")
	b := newBroker(t)
	for i, how := range []struct {
		metered bool
		faults  float64
	}{{false, 0}, {false, 0.1}, {true, 0}, {true, 0.1}} {
		metered := how.metered
		start := time.Now().Add(-24 * time.Hour).Truncate(time.Hour)
		m := newMeasured(t, b, i, metered, start, how.faults)
		alarms := 0
		m.raised = func(Raised) { alarms++ }
		ctx, cancel := context.WithCancel(t.Context())
		done := make(chan struct{})
		go func() { defer close(done); m.run(ctx) }()
		for !m.publisher.Stats().Connected {
			time.Sleep(10 * time.Millisecond)
		}
		m.tick(0)
		time.Sleep(time.Second)
		greeting := m.mqtt.count()
		every := time.Minute
		if metered {
			every = 30 * time.Minute
		}
		for at := time.Second; at <= 24*time.Hour; at += time.Second {
			before := m.publisher.Stats().Published
			m.tick(at)
			if at%every == 0 { // a pack is due
				for range 200 {
					if m.publisher.Stats().Published > before && m.publisher.Stats().Pending == 0 {
						break
					}
					time.Sleep(time.Millisecond)
				}
			}
		}
		time.Sleep(2 * time.Second)
		day := m.mqtt.count().less(greeting)
		s := m.publisher.Stats()
		t.Logf("metered %v, %g mishaps an hour: connecting and greeting %d bytes (up %d, down %d, %d packets)", metered, how.faults, greeting.all(), greeting.up, greeting.down, greeting.packets)
		t.Logf("metered %v, %g mishaps an hour: a day %d bytes (up %d, down %d, %d packets); %d messages, %d alarms, %d rows behind; a month of 30: %.1f MB",
			metered, how.faults, day.all(), day.up, day.down, day.packets, s.Published, alarms, s.Outbox.Rows, float64(day.all())*30/1e6)
		cancel()
		<-done
	}
}

// Minutes of a site in real time: what pings and remote write cost.
func TestMinutesOnTheWire(t *testing.T) {
	if !*onWire {
		t.Skip("it is measured on demand: -wire")
	}
	needs(t, "mosquitto")
	b := newBroker(t)
	const minutes = 11
	for i, metered := range []bool{false, true} {
		t.Run(fmt.Sprint("metered ", metered), func(t *testing.T) {
			t.Parallel()
			m := newMeasured(t, b, 4+i, metered, time.Now().Truncate(time.Second), 0)
			ctx, cancel := context.WithCancel(t.Context())
			done := make(chan struct{})
			go func() { defer close(done); m.run(ctx) }()
			defer func() { cancel(); <-done }()
			pass := func(until time.Duration) {
				for at := m.at + time.Second; at <= until; at += time.Second {
					time.Sleep(time.Until(m.start.Add(at)))
					m.tick(at)
				}
			}
			pass(61 * time.Second)
			published, before, wrote := m.publisher.Stats().Published, m.mqtt.count(), m.write.count()
			pass((minutes + 1) * time.Minute)
			w, r := m.mqtt.count().less(before), m.write.count().less(wrote)
			t.Logf("mqtt in %d min: %d bytes (up %d, down %d, %d packets) with %d messages", minutes, w.all(), w.up, w.down, w.packets, m.publisher.Stats().Published-published)
			t.Logf("remote write in %d min: %d bytes (up %d, down %d, %d packets), %d requests, a month %.1f MB", minutes, r.all(), r.up, r.down, r.packets, m.sender.Stats().Requests["taken"], float64(r.all())/minutes*60*24*30/1e6)
		})
	}
}
