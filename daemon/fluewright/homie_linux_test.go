package main_test

import (
	"slices"
	"strings"
	"testing"
	"time"

	"fluewright/daemon/internal/config"
	virtual "fluewright/sensors/bench"
)

// A home automation sees the furnace through a broker that is not ours, and that the monitor
// went on purpose; nobody can set anything.
func TestAHomeAutomationSeesTheFurnace(t *testing.T) {
	if testing.Short() {
		t.Skip("starts a broker and a furnace")
	}
	needRealParts(t, "mosquitto", "mosquitto_sub")
	clock := virtual.NewClock(60)
	house, err := virtual.New(virtual.Config{Seed: 1, Clock: clock, Scenario: virtual.Night()})
	if err != nil {
		t.Fatal(err)
	}
	if err := house.Register(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = house.Close() })
	broker := startMosquitto(t, t.TempDir())
	seen := subscribe(t, broker, "homie/5/#")
	w := watch(t, clock, "", func(cfg *config.Config) { cfg.MQTT.Broker, cfg.MQTT.Homie = "tcp://"+broker, true })
	const device = "homie/5/demo/"
	limit := 20 * time.Second
	seen.await(t, limit, device+"$state", "init")
	if d := seen.await(t, limit, device+"$description", `"homie":"5.0"`); strings.Contains(d, "settable") {
		t.Errorf("something can be set: %s", d)
	}
	// The first values come before or after it is ready, as the first readings fall.
	seen.await(t, limit, device+"flue/quality", "good")
	if !slices.Contains(seen.of(device+"$state"), "ready") {
		seen.await(t, limit, device+"$state", "ready")
	}
	seen.await(t, limit, device+"burn/phase", "lighting")
	w.stop()
	seen.await(t, limit, device+"$state", "disconnected")
	retained := output(t, "mosquitto_sub", at(broker, "-C", "1", "-W", "3", "-t", device+"$state")...)
	if strings.TrimSpace(retained) != "disconnected" {
		t.Errorf("retained is %q", retained)
	}
}
