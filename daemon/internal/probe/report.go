package probe

import (
	"cmp"
	"fmt"
	"slices"

	"fluewright/analysis/frame"
	"fluewright/daemon/internal/config"
	"fluewright/sensors"
	"fluewright/sensors/survey"
)

// Report is what was found, as --json prints it. Values are SI.
type Report struct {
	Buses []Bus  `json:"buses"`
	Chips []Chip `json:"chips"`
	// Findings are what is wrong or worth knowing, in this order.
	Findings []Finding `json:"findings"`
	// Daemon is the page of the daemon that has a bus; empty when none was met.
	Daemon string `json:"daemon,omitempty"`
}

// Bus is a bus of the computer, or one that is missing.
type Bus struct {
	Device  string   `json:"device"`
	Adapter string   `json:"adapter,omitempty"`
	Links   []string `json:"links,omitempty"`
	// State is "free", "in-use", "missing", or the code of another fault.
	State string `json:"state"`
	// User is who has a bus that is in use.
	User string `json:"user,omitempty"`
	// Kernel are addresses that a driver of the kernel holds, with its name.
	Kernel map[string]string `json:"kernel,omitempty"`
}

// Chip is a chip that is there, or should be.
type Chip struct {
	Bus     string `json:"bus"`
	Address string `json:"address,omitempty"`
	Mux     string `json:"mux,omitempty"`
	Chip    string `json:"chip"`
	Detail  string `json:"detail,omitempty"`
	// Sensor is the configured sensor's name, Channels what it feeds; empty for a chip
	// that the configuration does not name.
	Sensor   string   `json:"sensor,omitempty"`
	Channels []string `json:"channels,omitempty"`
	// Verdict is "good", "doubtful", "wrong", "not-read" or, from the daemon, "up".
	Verdict  string    `json:"verdict"`
	Fault    string    `json:"fault,omitempty"`
	Samples  int       `json:"samples"`
	Readings []Reading `json:"readings,omitempty"`
	// ByDaemon: it is the daemon's view.
	ByDaemon bool `json:"by_daemon,omitempty"`
}

// Reading is one quantity: the median of the samples, and their standard deviation.
type Reading struct {
	Quantity string  `json:"quantity"` // or the channel, in the daemon's view
	Value    float64 `json:"value"`
	Unit     string  `json:"unit"`
	Noise    float64 `json:"noise"`
	Doubt    string  `json:"doubt,omitempty"`

	pressure, absolute bool
}

// Finding is something to tell.
type Finding struct {
	Wrong   bool   `json:"wrong"` // else only worth knowing
	Where   string `json:"where"`
	Problem string `json:"problem"`
	Hint    string `json:"hint,omitempty"`
}

// Wrong reports whether something is wrong with the installation.
func (r Report) Wrong() bool {
	return slices.ContainsFunc(r.Findings, func(f Finding) bool { return f.Wrong })
}

// The verdicts on a chip.
const (
	good     = "good"
	doubtful = "doubtful"
	wrong    = "wrong"
	notRead  = "not-read"
	up       = "up"
)

// held reports whether somebody else has a bus.
func held(buses []survey.Bus) bool {
	return slices.ContainsFunc(buses, func(b survey.Bus) bool { return codeOf(b.Fault) == sensors.BusInUse })
}

func codeOf(f *sensors.Fault) sensors.Code {
	if f == nil {
		return ""
	}
	return f.Code
}

// report makes the report of what was found; cfg and daemon may be nil.
func report(cfg *config.Config, buses []survey.Bus, daemon *view) Report {
	w := &writer{cfg: cfg, daemon: daemon, Report: Report{Buses: []Bus{}, Chips: []Chip{}, Findings: []Finding{}}}
	if daemon != nil {
		w.Daemon = daemon.page
	}
	for _, b := range buses {
		w.bus(b)
		for _, c := range b.Chips {
			if b.Fault == nil || c.Name == "" {
				w.chip(b, c)
			} else {
				w.unreachable(b, c)
			}
		}
	}
	free := slices.ContainsFunc(w.Buses, func(b Bus) bool { return b.State == "free" })
	if free && len(w.Chips) == 0 {
		w.find(true, "all buses", "no supported chip answers", "Check the chips' power and wires; on SPI their chip selects.")
	}
	// A kind of bus of which there is none matters where nothing else is known.
	if !free && !held(buses) && cfg == nil {
		for i := range w.Findings {
			w.Findings[i].Wrong = true
		}
	}
	slices.SortStableFunc(w.Findings, func(a, b Finding) int {
		rank := map[bool]int{true: 0, false: 1}
		return cmp.Compare(rank[a.Wrong], rank[b.Wrong])
	})
	return w.Report
}

// writer fills in a report.
type writer struct {
	Report
	cfg    *config.Config
	daemon *view
}

func (w *writer) find(isWrong bool, where, problem, hint string) {
	w.Findings = append(w.Findings, Finding{isWrong, where, problem, hint})
}

// tell puts a fault among the findings.
func (w *writer) tell(isWrong bool, where string, f *sensors.Fault) {
	problem := f.Code.Info().Title
	if f.Detail != "" {
		problem += " (" + f.Detail + ")"
	}
	w.find(isWrong, where, problem, f.Hint())
}

func (w *writer) bus(b survey.Bus) {
	out := Bus{Device: b.Device, Adapter: b.Name, Links: b.Links, State: "free"}
	for address, driver := range b.Bound {
		if out.Kernel == nil {
			out.Kernel = map[string]string{}
		}
		out.Kernel[hex(address)] = driver
	}
	configured := slices.ContainsFunc(b.Chips, func(c survey.Chip) bool { return c.Name != "" })
	switch code := codeOf(b.Fault); code {
	case "":
	case sensors.BusInUse:
		out.State, out.User = "in-use", b.Fault.Detail
		w.inUse(b)
	case sensors.DeviceMissing:
		out.State = "missing"
		w.tell(configured, b.Device, b.Fault)
	default:
		out.State = string(code)
		w.tell(true, b.Device, b.Fault)
	}
	w.Buses = append(w.Buses, out)
	for _, address := range b.Strangers {
		w.find(false, b.Device+" at "+hex(address), "something answers that is no supported chip", "")
	}
}

// inUse tells who has the bus and what he says of it.
func (w *writer) inUse(b survey.Bus) {
	by := "another program"
	if b.Fault.Detail != "" {
		by = b.Fault.Detail
	}
	problem := "in use by " + by + "; it was left alone"
	switch {
	case w.cfg == nil:
		w.find(false, b.Device, problem, "If that is the daemon, give its configuration with --config: its own view is fetched then.")
	case w.daemon.err != nil:
		w.find(true, b.Device, problem, fmt.Sprintf("The daemon's own view is at %s, which does not answer: %v.", w.daemon.page, w.daemon.err))
	default:
		w.find(false, b.Device, problem, "The daemon's own view is at "+w.daemon.page+" and is told here.")
	}
}

// unreachable is a configured chip on a bus on which nobody could look.
func (w *writer) unreachable(b survey.Bus, c survey.Chip) {
	out := w.place(b, c)
	out.Verdict, out.Fault = wrong, string(codeOf(c.Look.Fault))
	if codeOf(b.Fault) == sensors.BusInUse {
		out.Verdict, out.Fault = notRead, ""
		if w.daemon.err == nil {
			w.daemon.fill(&out)
			if out.Verdict == wrong {
				w.find(true, where(out), "the daemon says: "+out.Fault, sensors.Code(out.Fault).Info().Hint)
			}
		}
	}
	w.Chips = append(w.Chips, out)
}

// chip is a chip that was looked at.
func (w *writer) chip(b survey.Bus, c survey.Chip) {
	out := w.place(b, c)
	out.Samples = c.Look.Samples
	for _, r := range c.Look.Readings {
		out.Readings = append(out.Readings, readingOf(r))
	}
	out.Verdict = w.judge(where(out), c)
	if c.Look.Fault != nil {
		out.Fault = string(c.Look.Fault.Code)
	}
	if w.cfg != nil && c.Name == "" && c.Chip != "pca9548" {
		w.find(false, where(out), "the configuration does not name it", "")
	}
	w.Chips = append(w.Chips, out)
}

// place says where a chip is and what it feeds.
func (w *writer) place(b survey.Bus, c survey.Chip) Chip {
	out := Chip{Bus: b.Device, Chip: c.Chip, Detail: c.Detail, Sensor: c.Name}
	if c.Address != 0 {
		out.Address = hex(c.Address)
	}
	if c.Mux.Address != 0 {
		out.Mux = fmt.Sprintf("%#02x/%d", c.Mux.Address, c.Mux.Channel)
	}
	if c.Measuring {
		out.Detail = join(out.Detail, "measures for another program, left as it is")
	}
	if w.cfg != nil {
		for _, s := range w.cfg.Sensors {
			if s.Name == c.Name {
				out.Channels = channelNames(s.Channels)
			}
		}
	}
	return out
}

func channelNames(channels []frame.Channel) (names []string) {
	for _, c := range channels {
		names = append(names, c.String())
	}
	return names
}

// where names a chip in a finding.
func where(c Chip) string {
	place := c.Bus
	if c.Address != "" {
		place += " at " + c.Address
	}
	if c.Mux != "" {
		place += " behind " + c.Mux
	}
	if c.Sensor != "" {
		return fmt.Sprintf("%s (%s on %s)", c.Sensor, c.Chip, place)
	}
	return c.Chip + " on " + place
}

func join(a, b string) string {
	if a == "" {
		return b
	}
	return a + "; " + b
}

func hex(address uint16) string { return fmt.Sprintf("%#02x", address) }
