package probe

import (
	"fmt"
	"io"
	"strings"
	"text/tabwriter"

	"fluewright/daemon/internal/units"
	"fluewright/sensors"
)

// print writes the report for people.
func (r Report) print(out io.Writer, system units.System) error {
	var b strings.Builder
	table := tabwriter.NewWriter(&b, 0, 0, 2, ' ', 0)
	fmt.Fprintln(table, "BUS\tADAPTER\tSTATE")
	for _, bus := range r.Buses {
		state := bus.State
		if bus.User != "" {
			state += " by " + bus.User
		}
		fmt.Fprintf(table, "%s\t%s\t%s\n", bus.Device, orDash(bus.Adapter), state)
	}
	_ = table.Flush() // into memory
	if len(r.Chips) > 0 {
		b.WriteByte('\n')
		fmt.Fprintln(table, "CHIP\tWHERE\tFEEDS\tREADS\tVERDICT")
		for _, c := range r.Chips {
			fmt.Fprintf(table, "%s\t%s\t%s\t%s\t%s\n",
				c.Chip, strings.TrimSpace(c.Bus+" "+c.Address+" "+c.Mux), orDash(strings.Join(c.Channels, ", ")), c.reads(system), c.said())
		}
		_ = table.Flush()
	}
	for _, isWrong := range []bool{true, false} {
		title := map[bool]string{true: "Wrong:", false: "Worth knowing:"}[isWrong]
		for _, f := range r.Findings {
			if f.Wrong != isWrong {
				continue
			}
			if title != "" {
				fmt.Fprintf(&b, "\n%s\n", title)
				title = ""
			}
			fmt.Fprintf(&b, "  %s: %s.\n", f.Where, strings.TrimSuffix(f.Problem, "."))
			if f.Hint != "" {
				fmt.Fprintf(&b, "      %s\n", f.Hint)
			}
		}
	}
	_, err := io.WriteString(out, b.String())
	return err
}

func orDash(s string) string {
	if s == "" {
		return "-"
	}
	return s
}

// reads writes the readings with their noise, where several samples show one.
func (c Chip) reads(system units.System) string {
	var all []string
	for _, r := range c.Readings {
		text := r.text(system)
		if c.ByDaemon {
			text = r.Quantity + " " + text
		}
		if r.Quantity == sensors.ColdJunction.String() {
			text = "terminals " + text
		}
		all = append(all, text)
	}
	return orDash(strings.Join(all, ", "))
}

// text writes a reading to more places than a screen does: here the last ones are what
// one looks at.
func (r Reading) text(system units.System) string {
	us := system == units.US
	format := func(v, noise float64, unit string, places int) string {
		if noise == 0 {
			return fmt.Sprintf("%.*f %s", places, v, unit)
		}
		return fmt.Sprintf("%.*f ±%.*f %s", places, v, places, noise, unit)
	}
	switch {
	case r.pressure && us:
		return format(r.Value/units.PascalsPerInH2O, r.Noise/units.PascalsPerInH2O, "in. w.c.", 4)
	case r.pressure:
		return format(r.Value, r.Noise, "Pa", 2)
	case r.absolute && us:
		return format(r.Value/units.PascalsPerInHg, r.Noise/units.PascalsPerInHg, "inHg", 3)
	case r.absolute:
		return format(r.Value/100, r.Noise/100, "hPa", 2)
	case r.Unit == "1":
		return format(100*r.Value, 100*r.Noise, "%", 1)
	case us:
		return format(units.Fahrenheit(r.Value), r.Noise*9/5, "°F", 1)
	}
	return format(r.Value, r.Noise, "°C", 2)
}

// said is the verdict in words.
func (c Chip) said() string {
	text := map[string]string{notRead: "not read", up: "up, says the daemon"}[c.Verdict]
	if text == "" {
		text = c.Verdict
	}
	if c.Fault != "" {
		text += ": " + c.Fault
	}
	if c.Detail != "" {
		text += " (" + c.Detail + ")"
	}
	return text
}
