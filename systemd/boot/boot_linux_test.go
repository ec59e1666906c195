package boot_test

import (
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"
)

const (
	units    = "systemctl is-active fluewright bench mosquitto"
	active   = "(?s)^active.*active.*active$"
	overheat = "mosquitto_sub -h 127.0.0.1 -t fluewright/basement/alarm/overheat/flue -C 1 -W 3"
	spillage = "mosquitto_sub -h 127.0.0.1 -t fluewright/basement/alarm/spillage -C 1 -W 3"
	impaired = "mosquitto_sub -h 127.0.0.1 -t fluewright/basement/alarm/monitor-impaired -C 1 -W 3"
	state    = "mosquitto_sub -h 127.0.0.1 -t fluewright/basement/state -C 1 -W 3"
	flue     = `curl -sf http://127.0.0.1:8080/metrics | grep '^fluewright_temperature_celsius{channel="flue"}'`
	process  = "systemctl show -P MainPID fluewright"
	raised   = `"state":"raised"`
	quiet    = `"state":"(cleared|normal)"|none`
)

// up waits until everything runs and makes a fire that burns well.
func (m *machine) up() {
	m.t.Helper()
	m.await(patience, units, active)
	m.must(`for p in /sys/class/virtio-ports/*; do [ "$(cat $p/name)" = ear ] && d=/dev/${p##*/}; done
		mosquitto_sub -h 127.0.0.1 -v -t 'fluewright/basement/#' >$d 2>/dev/null &`)
	m.bench("pin flue 300", "pin chamber 600", "pin draft 12")
	m.await(soon, flue, ` (299|30[01])`)
}

// alarm makes the flue too hot and returns how long it took until the broker's subscriber
// had the alarm, which must not have stood before.
func (m *machine) alarm() time.Duration {
	m.t.Helper()
	m.bench("pin flue 300")
	m.await(soon, overheat+" || echo none", quiet)
	before := len(m.told("alarm/overheat/flue", raised))
	since := time.Now()
	m.bench("pin flue 650")
	for ; len(m.told("alarm/overheat/flue", raised)) == before; time.Sleep(20 * time.Millisecond) {
		if time.Since(since) > soon {
			m.await(time.Second, overheat, raised+" and heard of")
		}
	}
	return time.Since(since).Round(100 * time.Millisecond)
}

// turn turns the draft, back at odd turns, and may wait until that was told.
func (m *machine) turn(n int, wait bool) {
	m.t.Helper()
	draft, state := "-5", raised
	if n%2 == 1 {
		draft, state = "12", `"state":"cleared"`
	}
	before := len(m.told("/event", `"alarm":"spillage"`, state))
	m.bench("pin draft " + draft)
	for since := time.Now(); wait && len(m.told("/event", `"alarm":"spillage"`, state)) == before; time.Sleep(10 * time.Millisecond) {
		if time.Since(since) > soon {
			m.t.Fatalf("with a draft of %s nothing is told of the spillage: %q", draft, m.told("/event"))
		}
	}
}

// monotonic is a moment of a unit on the machine's own clock, in seconds.
func (m *machine) monotonic(unit, property string) float64 {
	m.t.Helper()
	us, err := strconv.ParseFloat(m.must("systemctl show -P "+property+"TimestampMonotonic "+unit), 64)
	if err != nil {
		m.t.Fatal(err)
	}
	return us / 1e6
}

func TestMachine(t *testing.T) {
	i := install(t)
	t.Run("from power-on to an alarm", func(t *testing.T) {
		m := power(t, i, newDisk(t, i.image), "rw")
		t.Logf("a shell after %v", time.Since(m.started).Round(time.Second))
		m.up()
		t.Logf("by the machine's own clock: the program started at %.1f s, and was ready, with readings judged, at %.1f s",
			m.monotonic("fluewright", "ExecMainStart"), m.monotonic("fluewright", "ActiveEnter"))
		// The program is no root's: it is let in by groups, and by what its unit may open.
		if got := m.must("stat -c '%F %a %U:%G' /dev/i2c-1 /dev/spidev0.1"); got != "character special file 660 root:i2c\ncharacter special file 660 root:spi" {
			t.Errorf("the chips are %s", got)
		}
		t.Logf("an alarm over MQTT %v after the flue passed its limit", m.alarm())

		t.Run("kill -9", func(t *testing.T) {
			before := m.must(process)
			m.must("kill -9 " + before)
			m.await(soon, process+" | grep -vx 0 | grep -vx "+before, `^\d+$`)
			m.await(soon, flue, ` 6[45]`)
			m.await(soon, overheat, raised)
		})
		if testing.Short() {
			announced, _, _ := m.cutAsItWrites(chance(t))
			again := power(t, i, m.disk, "rw")
			again.up()
			again.nothingIsMissing(announced)
			return
		}
		t.Run("a process that stands still is started again", func(t *testing.T) {
			before := m.must(process)
			m.must("kill -STOP " + before)
			m.await(soon, process+" | grep -vx 0 | grep -vx "+before, `^\d+$`)
			m.await(soon, "journalctl -b -u fluewright --no-pager", "(?i)watchdog timeout")
			m.await(soon, overheat, raised)
		})
		t.Run("a full disk", func(t *testing.T) {
			m.do("dd if=/dev/zero of=/full bs=1M; dd if=/dev/zero of=/full2 bs=4k; sync")
			m.alarm()
			m.must("rm -f /full /full2")
		})
		t.Run("a root that turns read-only", func(t *testing.T) {
			m.must("echo u >/proc/sysrq-trigger; until grep -q ' / ext4 ro' /proc/mounts; do sleep 0.2; done")
			m.alarm()
			m.await(soon, impaired, raised)
		})
	})

	if testing.Short() {
		return
	}
	t.Run("the power is cut", func(t *testing.T) {
		d := newDisk(t, i.image)
		luck := chance(t)
		var announced []string
		for n := range *cuts + 1 {
			m := power(t, i, d, "rw")
			m.up()
			if n > 0 {
				m.nothingIsMissing(announced)
			}
			if n == *cuts {
				m.off()
				d.lose(luck)
				break
			}
			fresh, lost, held := m.cutAsItWrites(luck)
			announced = append(announced, fresh...)
			t.Logf("cut %d: %d changes of alarms announced; of %d sectors not flushed %d are lost", n+1, len(fresh), held, lost)
		}
		t.Run("and the root is read-only from then on", func(t *testing.T) { readOnly(t, i, d) })
	})
	t.Run("a root that was always read-only", func(t *testing.T) { readOnly(t, i, newDisk(t, i.image)) })
	t.Run("the power is cut at any moment", func(t *testing.T) { anyMoment(t, i) })

	// The system sets such a clock to the day that it was built on: that is past as well.
	t.Run("a clock that begins in 1970", func(t *testing.T) {
		m := power(t, i, newDisk(t, i.image), "rw", "-rtc", "base=1970-01-01T00:00:10")
		m.up()
		now := time.Now().UTC()
		if says, err := strconv.ParseInt(m.must("date +%s"), 10, 64); err != nil || says > now.Unix()-3600 {
			t.Fatalf("the clock is %v, %v", time.Unix(says, 0), err)
		}
		m.alarm()
		m.must("date -s '" + now.Format(time.DateTime) + "Z' && mkdir -p /run/systemd/timesync && touch /run/systemd/timesync/synchronized")
		m.await(soon, state, `"time":"`+now.Format(time.DateOnly)+`T.*"clock_trusted":true`)
		m.await(soon, overheat, raised)
		// What was recorded before is put where it really was.
		m.await(soon, "fluewright trend --since 1h | cut -dT -f1 | sort -u | tr '\\n' ' '", "^"+now.Format(time.DateOnly)+" time,.*$")
		m.alarm()
		if got := m.must("systemctl show -P NRestarts fluewright"); got != "0" {
			t.Errorf("the step of the clock cost %s starts", got)
		}
	})
}

// readOnly boots a machine that can write nowhere, with what was kept before or without. It
// watches as any other, and says what it lacks.
func readOnly(t *testing.T, i installed, d *disk) {
	m := power(t, i, d, "ro")
	m.up()
	m.must("grep -q ' / ext4 ro' /proc/mounts")
	m.alarm()
	m.await(soon, impaired, raised)
	if text, code := m.do("fluewright health"); code == 0 || !strings.Contains(text, "storage") {
		t.Errorf("health ends with %d and says: %s", code, text)
	}
}

// chance is what decides by itself, and says how it can be had again.
func chance(t *testing.T) *rand.Rand {
	t.Helper()
	seed := uint64(time.Now().UnixNano())
	t.Logf("luck %d", seed)
	return rand.New(rand.NewPCG(seed, 0))
}

// cutAsItWrites turns the draft back and forth, each time until it is told, and takes the
// power away when something was written and not flushed. The last turn may be on its way
// then. It returns which changes of alarms were announced, and what the disk lost.
func (m *machine) cutAsItWrites(luck *rand.Rand) (announced []string, lost, held int) {
	m.t.Helper()
	m.await(soon, spillage+" || echo none", quiet) // it may have stood when the power was cut
	for turns := range 2 + luck.IntN(2) {
		m.turn(turns, true)
	}
	m.turn(luck.IntN(2), false)
	time.Sleep(time.Duration(luck.Int64N(int64(4 * time.Second))))
	m.disk.awaitWrite(10 * time.Second)
	m.cut()
	lost, held = m.disk.lose(luck)
	return changes(m.t, m.told("/event")), lost, held
}

// inHistory is SQL for the changes of alarms that a history has, after whether it is whole.
const inHistory = `PRAGMA integrity_check;
	SELECT b.identity || ' ' || a.alarm || '/' || coalesce(a.channel, '') || ' ' || CASE a.change WHEN 'updated' THEN a.state ELSE a.change END || ' ' || a.occurrence
	FROM alarms a JOIN boots b ON b.id = a.id >> 40`

// nothingIsMissing holds the history against what was announced: as the power cut left it
// it is whole, and as the program took it over it has each change of an alarm.
func (m *machine) nothingIsMissing(announced []string) {
	m.t.Helper()
	if got := m.must("sqlite3 /run/found/history.db 'PRAGMA integrity_check'"); got != "ok" {
		m.t.Errorf("the history as it was found: %s", got)
	}
	var missing []string
	for deadline := time.Now().Add(30 * time.Second); time.Now().Before(deadline); time.Sleep(time.Second) {
		// The program holds its file for itself alone.
		text, code := m.do(`rm -rf /run/now; cp -a /var/lib/fluewright /run/now && sqlite3 /run/now/history.db "` + inHistory + `"`)
		lines := strings.Split(text, "\n")
		if code != 0 || lines[0] != "ok" {
			missing = lines // copied while it was written
			continue
		}
		missing = slices.DeleteFunc(slices.Clone(announced), func(a string) bool { return slices.Contains(lines, a) })
		if len(missing) == 0 {
			return
		}
	}
	m.t.Errorf("of %d changes of alarms that were announced the history lacks %q", len(announced), missing)
}

// changes lists alarm events as the history does.
func changes(t *testing.T, lines []string) (all []string) {
	t.Helper()
	for _, line := range lines {
		_, payload, _ := strings.Cut(line, " ")
		var event struct {
			Type string
			Data struct {
				Boot, Alarm, Channel, State string
				Occurrence                  int
			}
		}
		if err := json.Unmarshal([]byte(payload), &event); err != nil {
			t.Fatalf("%q: %v", line, err)
		}
		if d := event.Data; event.Type == "fluewright.alarm" {
			all = append(all, fmt.Sprintf("%s %s/%s %s %d", d.Boot, d.Alarm, d.Channel, d.State, d.Occurrence))
		}
	}
	slices.Sort(all)
	return slices.Compact(all) // what comes again is the same
}
