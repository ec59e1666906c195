package draft

import (
	"encoding/json"
	"fmt"
	"io"
	"strings"
	"text/tabwriter"

	"fluewright/daemon/internal/units"
)

// WriteJSON writes the result in SI, indented.
func (r Result) WriteJSON(w io.Writer) error {
	enc := json.NewEncoder(w)
	enc.SetIndent("", "  ")
	if err := enc.Encode(r); err != nil {
		return fmt.Errorf("write result: %w", err)
	}
	return nil
}

// WriteText writes the result for people, in their units.
func (r Result) WriteText(w io.Writer, u units.System) error {
	var b strings.Builder
	t := tabwriter.NewWriter(&b, 0, 0, 2, ' ', 0)
	line := func(what, format string, args ...any) {
		fmt.Fprintf(t, "  %s\t%s\n", what, fmt.Sprintf(format, args...))
	}
	head := func(title string) {
		t.Flush() // a new block of columns
		if b.Len() > 0 {
			fmt.Fprintln(&b)
		}
		fmt.Fprintln(&b, title)
	}

	in := r.Input
	head("Chimney")
	line(string(in.Chimney.Construction), "%s high, %s wide, %.0f %% of it in the open",
		u.Length(in.Chimney.Height), width(u, in.Chimney.Diameter), 100*in.Chimney.Exposed)
	if in.Connector.Length > 0 {
		line("connector", "%s long, rises %s, %s wide",
			u.Length(in.Connector.Length), u.Length(in.Connector.Rise), width(u, in.connectorDiameter()))
	}
	line("outdoors", "%s, house %s, %s above the sea", u.Temperature(in.Conditions.Outdoor),
		u.Temperature(in.Conditions.Room), u.Length(in.Conditions.Altitude))

	head("Fire at nominal output")
	line("heat", "%s, flue at %s", u.Power(in.Appliance.Heat), u.Temperature(in.Appliance.FlueTemperature))
	line("wood", "%.0f %% moisture on the dry basis (%.1f %% of its weight as fired)",
		100*float64(in.Appliance.Moisture), 100*float64(in.Appliance.Moisture.Wet()))
	line("flue gas", "%s, CO2 %.1f %% dry, dew point %s", massFlow(u, r.Fire.Flow), 100*r.Fire.CO2, u.Temperature(r.Fire.DewPoint))
	line("stack loss", "%.1f %% of LHV, %.1f %% of HHV", 100*r.Fire.StackLossLHV, 100*r.Fire.StackLossHHV)

	head("Cold")
	line("draft", "%s", u.Pressure(r.Cold.Draft))
	line("draws once its gas has", "%s", optional(r.Cold.Draws, u.Temperature, "no temperature"))
	line("enough, once warm, from a flue at", "%s", optional(r.Cold.Enough, u.Temperature, "no temperature"))
	line("wall above the dew point after", "%s", optional(r.Cold.Dry, fullFire, "never on this fire"))
	line("wall clear of tar after", "%s", optional(r.Cold.Warm, fullFire, "never on this fire"))

	head("Hot, at nominal flow, without a regulator")
	line("draft", "%s (%s of buoyancy, %s lost to the flow)",
		u.Pressure(r.Hot.Draft), u.Pressure(r.Hot.Theoretical), u.Pressure(r.Hot.Loss))
	line("over the needed "+u.Pressure(in.Appliance.Draft), "%s", u.Pressure(r.Hot.Margin))
	line("least height, no safety factor", "%s", optional(r.Hot.Height, u.Length, "none: a wider flue may"))
	line("at the top", "gas %s, wall %s: %s", u.Temperature(r.Hot.Outlet), u.Temperature(r.Hot.OutletWall),
		margins(u, r.Hot.WaterMargin, r.Hot.TarMargin))
	line("in the manner of EN 13384-1", "%s available, %s required; wall %s, dew point %s",
		u.Pressure(r.Standard.Available), u.Pressure(r.Standard.Required),
		u.Temperature(r.Standard.OutletWall), u.Temperature(r.Standard.DewPoint))

	if g := r.Regulator; g != nil {
		head("Regulator set to " + u.Pressure(in.Regulator.Set))
		line("opens from a flue at", "%s", optional(g.Opens, u.Temperature, "no temperature"))
		line("holds up to a flue at", "%s", optional(g.Holds, u.Temperature, "more than "+u.Temperature(hottest)))
		for _, s := range []struct {
			name string
			Setting
		}{{"working", g.Working}, {"stuck shut", g.StuckShut}, {"stuck open", g.StuckOpen}} {
			line(s.name, "%s, %.1f of room air to 1 of flue gas, %s above it, wall at the top %s",
				u.Pressure(s.Draft), s.Dilution, u.Temperature(s.Above), u.Temperature(s.OutletWall))
		}
	}

	head("What would help (nominal flow, no regulator)")
	for _, c := range r.Sensitivity {
		line(changeTexts[c.Code](u, in), "draft %s\twall at the top %s", signed(u.Pressure(c.Gain)), signed(u.TemperatureDifference(c.WallGain)))
	}
	t.Flush()

	if found := findings(r, u); len(found) > 0 {
		head("Mind")
		for _, f := range found {
			fmt.Fprintln(&b, "  - "+f.Text)
		}
	}
	fmt.Fprintf(&b, "\n%s\n", r.Disclaimer)
	if _, err := io.WriteString(w, b.String()); err != nil {
		return fmt.Errorf("write result: %w", err)
	}
	return nil
}

// margins says how far the wall is from getting wet or sticky.
func margins(u units.System, water, tar float64) string {
	side := func(kelvin float64, of string) string {
		if kelvin < 0 {
			return u.TemperatureDifference(-kelvin) + " below " + of
		}
		return u.TemperatureDifference(kelvin) + " above " + of
	}
	return side(water, "the dew point") + ", " + side(tar, "where tar condenses")
}

func optional(v *float64, format func(float64) string, none string) string {
	if v == nil {
		return none
	}
	return format(*v)
}

// fullFire writes how long a fire at nominal output takes; a real one needs longer, as it
// grows to that.
func fullFire(seconds float64) string {
	if seconds < 60 {
		return fmt.Sprintf("%.0f s of full fire", seconds)
	}
	return fmt.Sprintf("%.0f min of full fire", seconds/60)
}

// width writes a diameter or a thickness: "6 in", "150 mm".
func width(u units.System, metres float64) string {
	if u == units.SI {
		return fmt.Sprintf("%.0f mm", 1000*metres)
	}
	return strings.TrimSuffix(fmt.Sprintf("%.1f", metres/units.MetresPerFoot*12), ".0") + " in"
}

// massFlow writes a flow of gas: "24.5 g/s", "194 lb/h".
func massFlow(u units.System, kilograms float64) string {
	if u == units.SI {
		return fmt.Sprintf("%.1f g/s", 1000*kilograms)
	}
	return fmt.Sprintf("%.0f lb/h", kilograms/0.45359237*3600)
}

// signed puts a plus before what is not negative.
func signed(text string) string {
	if strings.HasPrefix(text, "-") {
		return text
	}
	return "+" + text
}
