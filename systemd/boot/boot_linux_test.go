package boot_test

import (
	"strings"
	"testing"
	"time"
)

const (
	overheat = "mosquitto_sub -h 127.0.0.1 -t fluewright/basement/alarm/overheat/flue -C 1 -W 3"
	state    = "mosquitto_sub -h 127.0.0.1 -t fluewright/basement/state -C 1 -W 3"
	flue     = `curl -sf http://127.0.0.1:8080/metrics | grep '^fluewright_temperature_celsius{channel="flue"}'`
	main     = "systemctl show -P MainPID fluewright"
)

func TestMachine(t *testing.T) {
	i := install(t)

	t.Run("from power-on to an alarm", func(t *testing.T) {
		m := power(t, i, disk(t, i.image))
		t.Logf("a shell after %v", time.Since(m.started).Round(time.Second))
		m.await(patience, "systemctl is-active fluewright bench mosquitto", "(?s)^active.*active.*active$")
		m.bench("pin flue 300")
		m.bench("pin chamber 600")
		m.bench("pin draft 12")
		m.await(time.Minute, flue, ` (299|30[01])`)
		t.Logf("up, by the machine's own clock: %s", m.must("systemctl show -P ActiveEnterTimestampMonotonic fluewright"))
		since := time.Now()
		m.bench("pin flue 650")
		m.await(time.Minute, overheat, `"state":"raised"`)
		t.Logf("an alarm over MQTT %v after the flue passed its limit", time.Since(since).Round(100*time.Millisecond))

		t.Run("kill -9", func(t *testing.T) {
			before := m.must(main)
			m.must("kill -9 " + before)
			m.await(time.Minute, main+" | grep -vx 0 | grep -vx "+before, `^\d+$`)
			m.await(time.Minute, flue, ` 6[45]`)
			m.await(time.Minute, overheat, `"state":"raised"`)
		})
		t.Run("a process that stands still is started again", func(t *testing.T) {
			before := m.must(main)
			m.must("kill -STOP " + before)
			m.await(2*time.Minute, main+" | grep -vx 0 | grep -vx "+before, `^\d+$`)
			m.await(time.Minute, "journalctl -b -u fluewright --no-pager", "(?i)watchdog timeout")
			m.await(time.Minute, overheat, `"state":"raised"`)
		})
		t.Run("a full disk", func(t *testing.T) {
			m.do("dd if=/dev/zero of=/full bs=1M; dd if=/dev/zero of=/full2 bs=4k; sync")
			m.bench("pin flue 300")
			m.await(3*time.Minute, "mosquitto_sub -h 127.0.0.1 -t fluewright/basement/alarm/overheat/flue -C 1 -W 2 || echo none", `"state":"cleared"|none`)
			m.bench("pin flue 650")
			m.await(time.Minute, overheat, `"state":"raised"`)
			m.must("rm -f /full /full2")
		})
		t.Run("a root that turns read-only", func(t *testing.T) {
			m.bench("pin draft 11")
			m.must("mount -o remount,ro / || { systemctl stop systemd-journald.socket systemd-journald; echo u >/proc/sysrq-trigger; sleep 2; }")
			m.bench("pin flue 655")
			m.await(time.Minute, flue, ` 65[3-7]`)
			m.await(time.Minute, overheat, `"state":"raised"`)
		})
	})

	t.Run("a clock that begins in 1970", func(t *testing.T) {
		m := power(t, i, disk(t, i.image), "-rtc", "base=1970-01-01T00:00:10")
		m.await(patience, "systemctl is-active fluewright bench mosquitto", "(?s)^active.*active.*active$")
		m.bench("pin flue 650")
		m.await(time.Minute, overheat, `"state":"raised"`)
		m.must("date -s '2026-11-26 12:00:00Z'")
		m.await(2*time.Minute, state, `"time":"2026-11-26T`)
		m.await(time.Minute, overheat, `"state":"raised"`)
		if got := m.must("systemctl show -P NRestarts fluewright"); got != "0" {
			t.Errorf("the step of the clock cost %s starts", got)
		}
	})

	t.Run("the power is cut", func(t *testing.T) {
		d := disk(t, i.image)
		for n := range *cuts {
			m := power(t, i, d)
			m.await(patience, "systemctl is-active fluewright bench mosquitto", "(?s)^active.*active.*active$")
			if n > 0 {
				m.await(time.Minute, overheat, `"state":"raised"`) // it stood when the power went
				check := m.must("sqlite3 /var/lib/fluewright/history.db 'PRAGMA integrity_check' 'SELECT count(*) FROM alarms'")
				if !strings.HasPrefix(check, "ok") {
					t.Fatalf("after %d cuts the history is not whole: %s", n, check)
				}
				t.Logf("after %d cuts: %s", n, strings.Join(strings.Fields(check), ", "))
			}
			m.bench("pin flue 300")
			m.bench("pin flue 650")
			m.await(time.Minute, overheat, `"state":"raised"`)
			time.Sleep(time.Duration(1+n%5) * time.Second / 2)
			m.cut()
		}
	})
}
