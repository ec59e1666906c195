package probe

import (
	"context"
	"errors"
	"fmt"
	"net"
	"net/http"
	"time"

	dto "github.com/prometheus/client_model/go"
	"github.com/prometheus/common/expfmt"
	"github.com/prometheus/common/model"
)

// patience is how long the daemon may take to answer: it is on this computer.
const patience = 3 * time.Second

// view is what a running daemon says of itself.
type view struct {
	page    string
	metrics map[string]*dto.MetricFamily
	err     error
}

// ask fetches the daemon's metrics, which are its stable interface, from where its
// configuration has it listen.
func ask(ctx context.Context, listen string) *view {
	v := &view{page: pageOf(listen)}
	v.err = v.fetch(ctx)
	return v
}

// pageOf is where a daemon on this computer can be reached that listens there.
func pageOf(listen string) string {
	host, port, err := net.SplitHostPort(listen)
	if err != nil {
		return "http://" + listen + "/" // cannot be: the configuration was read
	}
	if ip := net.ParseIP(host); host == "" || ip != nil && ip.IsUnspecified() {
		host = "127.0.0.1"
	}
	return "http://" + net.JoinHostPort(host, port) + "/"
}

func (v *view) fetch(ctx context.Context) error {
	ctx, cancel := context.WithTimeout(ctx, patience)
	defer cancel()
	request, err := http.NewRequestWithContext(ctx, http.MethodGet, v.page+"metrics", nil)
	if err != nil {
		return fmt.Errorf("ask the daemon: %w", err)
	}
	answer, err := http.DefaultClient.Do(request)
	if err != nil {
		return fmt.Errorf("ask the daemon: %w", err)
	}
	defer answer.Body.Close()
	if answer.StatusCode != http.StatusOK {
		return fmt.Errorf("ask the daemon: %s", answer.Status)
	}
	parser := expfmt.NewTextParser(model.UTF8Validation)
	if v.metrics, err = parser.TextToMetricFamilies(answer.Body); err != nil {
		return fmt.Errorf("read the daemon's metrics: %w", err)
	}
	if v.metrics["fluewright_build_info"] == nil {
		return errors.New("what answers there is no fluewright")
	}
	return nil
}

// value returns a sample of the family that has the label values, given as name, value.
func (v *view) value(family string, labels ...string) (float64, bool) {
	for _, m := range v.metrics[family].GetMetric() {
		matches := 0
		for _, l := range m.GetLabel() {
			for i := 0; i < len(labels); i += 2 {
				if l.GetName() == labels[i] && l.GetValue() == labels[i+1] {
					matches++
				}
			}
		}
		if matches == len(labels)/2 {
			return m.GetGauge().GetValue() + m.GetCounter().GetValue() + m.GetUntyped().GetValue(), true
		}
	}
	return 0, false
}

// fill gives a chip what the daemon says of it.
func (v *view) fill(c *Chip) {
	isUp, known := v.value("fluewright_sensor_up", "sensor", c.Sensor)
	if !known {
		c.Detail = join(c.Detail, "the running daemon does not know it: it has read another configuration")
		return
	}
	c.ByDaemon = true
	c.Verdict = up
	for _, channel := range c.Channels {
		c.readDaemon(v, channel)
	}
	if isUp == 1 {
		return
	}
	c.Verdict, c.Fault = wrong, "no sample at the last look"
	for _, channel := range c.Channels {
		for _, q := range []string{"fault", "stale", "absent"} {
			if is, _ := v.value("fluewright_channel_quality", "channel", channel, "quality", q); is == 1 {
				c.Fault = channel + " is " + q
			}
		}
	}
}

// readDaemon adds the daemon's reading of a channel, if it has one.
func (c *Chip) readDaemon(v *view, channel string) {
	r := Reading{Quantity: channel, Unit: "Pa"}
	var ok bool
	switch channel {
	case "draft":
		r.Value, ok = v.value("fluewright_draft_pascals")
		r.pressure = true
	case "ambient":
		r.Value, ok = v.value("fluewright_ambient_pressure_pascals")
		r.absolute = true
	default:
		r.Value, ok = v.value("fluewright_temperature_celsius", "channel", channel)
		r.Unit = "°C"
	}
	if ok {
		c.Readings = append(c.Readings, r)
	}
}
