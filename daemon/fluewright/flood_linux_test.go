package main_test

import (
	"bufio"
	"fmt"
	"io"
	"net"
	"os"
	"regexp"
	"runtime"
	"strconv"
	"strings"
	"testing"
	"time"

	"fluewright/daemon/internal/config"
	"fluewright/daemon/internal/mqtt"
	virtual "fluewright/sensors/bench"
)

// offered is how many commands a second the flood wants to send.
const offered = 10_000

// flooder is a client that sends commands as fast as it is told, written by hand: a client
// library takes longer for each than what they are sent to.
type flooder struct {
	conn    net.Conn
	packets [][]byte
}

func newFlooder(t *testing.T, broker, topic string) *flooder {
	t.Helper()
	conn, err := net.Dial("tcp", broker)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = conn.Close() })
	f := &flooder{conn: conn}
	hello := "\x00\x04MQTT\x04\x02\x00\x3c\x00\x05flood"
	answer := make([]byte, 4)
	if _, err := fmt.Fprintf(conn, "\x10%c%s", len(hello), hello); err != nil {
		t.Fatal(err)
	}
	if _, err := io.ReadFull(conn, answer); err != nil || answer[3] != 0 {
		t.Fatalf("not connected: %v, %v", answer, err)
	}
	// Each is a good command with an id of its own.
	now := time.Now().UTC()
	for i := range offered {
		body := fmt.Sprintf(`{"version": 1, "id": "flood-%08d", "client": "flood-00", "issued_at": %q, "expires_at": %q, "by": "Maria"}`,
			i, now.Format(time.RFC3339), now.Add(5*time.Minute).Format(time.RFC3339))
		n := 2 + len(topic) + len(body)
		f.packets = append(f.packets, append([]byte{0x30, byte(n) | 0x80, byte(n >> 7), 0, byte(len(topic))}, topic+body...))
	}
	return f
}

// send floods for so long, and returns how many went out.
func (f *flooder) send(t *testing.T, lasts time.Duration) (sent int) {
	t.Helper()
	out := bufio.NewWriterSize(f.conn, 64<<10)
	for began := time.Now(); time.Since(began) < lasts; {
		for due := int(time.Since(began).Seconds() * offered); sent < due; sent++ {
			if _, err := out.Write(f.packets[sent%len(f.packets)]); err != nil {
				t.Fatal(err)
			}
		}
		if err := out.Flush(); err != nil {
			t.Fatal(err)
		}
		time.Sleep(time.Millisecond)
	}
	return sent
}

// series reads metrics.
func series(t *testing.T, text, name string) float64 {
	t.Helper()
	m := regexp.MustCompile(`(?m)^` + regexp.QuoteMeta(name) + ` (\S+)$`).FindStringSubmatch(text)
	if m == nil {
		t.Fatalf("no %s in\n%s", name, text)
	}
	v, err := strconv.ParseFloat(m[1], 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

// Ten thousand commands a second, through a broker that is not ours and through the one
// within: dropped and counted; no tick comes late by a period, memory does not grow with
// them, and afterwards people are heard.
func TestFloodOfCommands(t *testing.T) {
	if testing.Short() {
		t.Skip("ten seconds of a flood")
	}
	needRealParts(t, "mosquitto")
	clock := virtual.NewClock(1)
	house, err := virtual.New(virtual.Config{Seed: 1, Clock: clock, Scenario: virtual.Night()})
	if err != nil {
		t.Fatal(err)
	}
	if err := house.Register(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = house.Close() })
	elsewhere := startMosquitto(t, t.TempDir())
	for _, c := range []struct {
		name   string
		change func(*config.Config)
	}{
		{"mosquitto", func(cfg *config.Config) { cfg.MQTT.Broker = "tcp://" + elsewhere }},
		{"the broker within", func(cfg *config.Config) { cfg.MQTT.Embedded = "127.0.0.1:0" }},
	} {
		t.Run(c.name, func(t *testing.T) {
			w := watch(t, clock, "", c.change)
			w.until("the first frame", func() bool { return w.latest() != nil })
			w.until("connected", func() bool {
				return series(t, get(t, w.at.Web+"metrics"), "fluewright_mqtt_connected") == 1
			})
			broker := strings.TrimPrefix(w.at.MQTT, "tcp://")
			site := w.latest().Site
			flood := newFlooder(t, broker, "fluewright/"+site+"/command/snapshot")
			var before, after runtime.MemStats
			runtime.GC()
			runtime.ReadMemStats(&before)
			worst, quiet := 0.0, make(chan struct{})
			done := make(chan struct{})
			go func() {
				defer close(done)
				for {
					select {
					case <-quiet:
						return
					case <-time.After(250 * time.Millisecond):
						worst = max(worst, series(t, get(t, w.at.Web+"metrics"), "fluewright_frame_lateness_seconds"))
					}
				}
			}()
			began := time.Now()
			sent := flood.send(t, 5*time.Second)
			took := time.Since(began)
			close(quiet)
			<-done
			runtime.GC()
			runtime.ReadMemStats(&after)
			text := get(t, w.at.Web+"metrics")
			within := 0.0
			if strings.Contains(text, "fluewright_broker_refused_total") {
				within = series(t, text, `fluewright_broker_refused_total{reason="flood"}`)
			}
			dropped := series(t, text, `fluewright_commands_total{result="flooded"}`)
			load, _ := os.ReadFile("/proc/loadavg")
			t.Logf("%.0f commands a second were sent; of %d the gate dropped %.0f, the broker within %.0f, and %.0f were taken; the latest of the frames that were looked at was late by %.1f ms; load %s",
				float64(sent)/took.Seconds(), sent, dropped, within, series(t, text, `fluewright_commands_total{result="accepted"}`), 1000*worst, load)
			if grown := int64(after.HeapAlloc) - int64(before.HeapAlloc); grown > 16<<20 {
				t.Errorf("memory has grown by %d bytes", grown)
			}
			if series(t, text, "fluewright_frames_late_total") != 0 || series(t, text, "fluewright_frames_missed_total") != 0 {
				t.Error("a frame came late by more than a period")
			}
			if dropped+within < float64(sent)/10 {
				t.Errorf("%.0f and %.0f of %d were dropped and counted", dropped, within, sent)
			}
			heardAfterwards(t, w, site)
		})
	}
}

// heardAfterwards asks as a person would, until there is an answer: as soon as the broker has
// got rid of the flood.
func heardAfterwards(t *testing.T, w *watched, site string) {
	t.Helper()
	c, err := mqtt.Dial(t.Context(), mqtt.CallOptions{Site: site, Broker: w.at.MQTT, ClientID: "phone-of-maria"})
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close()
	a := &asker{Caller: c, t: t, id: "phone-of-maria"}
	for deadline := time.Now().Add(patience); ; {
		a.n++
		if err := a.Send(t.Context(), "snapshot", a.envelope(fmt.Sprintf("afterwards-%d", a.n), "")); err != nil {
			t.Fatal(err)
		}
		for timeout := time.After(time.Second); timeout != nil; {
			select {
			case h := <-a.Heard():
				if strings.HasPrefix(h.Topic, "reply/"+a.id+"/afterwards-") {
					return
				}
			case <-timeout:
				timeout = nil
			}
		}
		if time.Now().After(deadline) {
			t.Fatal("nobody is heard after a flood")
		}
	}
}
