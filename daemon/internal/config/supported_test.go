package config_test

import (
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"fluewright/daemon/internal/config"
	"fluewright/sensors"
	"github.com/google/go-cmp/cmp"
)

// described is what the table says of a chip beside what the code knows of it.
type described struct {
	drivers  []string // packages below sensors
	measures string
	accuracy string
	never    []sensors.Code // that its driver has for a sibling
}

// No datasheet of these was at hand; what is said of them elsewhere is no source.
const unverified = "not verified: no datasheet at hand"

var (
	probe   = "hot and cold junction"
	dp125   = described{drivers: []string{"sdp8xx"}, measures: "differential pressure, ±125 Pa", accuracy: unverified}
	dp500   = described{drivers: []string{"sdp8xx"}, measures: "differential pressure, ±500 Pa", accuracy: unverified}
	mcp9600 = "±1.5 °C; L00, L01 ±4 °C; RL00, RL01 ±8 °C (DS20005426G, p. 1)"

	descriptions = map[string]described{
		"max31856": {
			drivers: []string{"max31856"}, measures: probe,
			accuracy: "cold junction ±0.7 °C (−20 to 85 °C), linearity of type K −0.13 to +0.12 °C (19-7534 Rev 0, p. 3 and 4)",
		},
		"max31855": {
			drivers: []string{"max31855"}, measures: probe,
			accuracy: "type K ±2 °C (−200 to 700 °C), ±4 °C (to 1350 °C), and the cold junction's ±2 °C (19-5793 Rev 5, p. 3 and 4)",
		},
		"mcp9600": {
			drivers: []string{"mcp9600"}, measures: probe, accuracy: mcp9600,
			never: []sensors.Code{sensors.OpenCircuit, sensors.ShortCircuit},
		},
		"mcp9601":      {drivers: []string{"mcp9600"}, measures: probe, accuracy: mcp9600},
		"sdp810-125pa": dp125, "sdp800-125pa": dp125, "sdp32-125pa": dp125,
		"sdp810-500pa": dp500, "sdp811-500pa": dp500, "sdp800-500pa": dp500, "sdp801-500pa": dp500, "sdp31-500pa": dp500,
		"sdp33-1500pa": {drivers: []string{"sdp8xx"}, measures: "differential pressure, ±1500 Pa", accuracy: unverified},
		"ads1115": {
			drivers: []string{"transmitter", "ads1115"}, measures: "differential pressure, by an analog transmitter",
			accuracy: "the transmitter's",
		},
		"bme280":  {drivers: []string{"bme280"}, measures: "absolute pressure, air temperature, humidity", accuracy: "humidity ±3 % (BST-BME280-DS001-10, p. 8); the rest " + unverified},
		"bmp280":  {drivers: []string{"bme280"}, measures: "absolute pressure, air temperature", accuracy: unverified},
		"mcp9808": {drivers: []string{"mcp9808"}, measures: "air temperature", accuracy: "±0.5 °C (−20 to 100 °C), ±1 °C (−40 to 125 °C) (DS25095A, p. 1)"},
	}
)

// ofTheBus are codes that stand below the table, or are no failure.
var ofTheBus = []sensors.Code{sensors.NoAnswer, sensors.NotReady, sensors.Settling}

// The table of supported chips is made of the configuration's own list and of the faults
// that each driver has in its code.
func TestSupportedChips(t *testing.T) {
	const file = "../../../README.md"
	readme, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	before, rest, ok := strings.Cut(string(readme), "<!-- chips")
	_, after, closed := strings.Cut(rest, "<!-- /chips -->\n")
	if !ok || !closed {
		t.Fatal("README.md has no place for the table of chips")
	}
	got := before + table(t) + after
	if *update {
		if err := os.WriteFile(file, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
		return
	}
	if diff := cmp.Diff(string(readme), got); diff != "" {
		t.Errorf("table (-want +got), write it anew with -update:\n%s", diff)
	}
}

func table(t *testing.T) string {
	t.Helper()
	codes := constants(t)
	var b strings.Builder
	b.WriteString("<!-- chips: written by go test ./daemon/internal/config -run Supported -update -->\n")
	b.WriteString("| chip | measures | bus | channels that it may feed | faults that it tells | accuracy, at most |\n|---|---|---|---|---|---|\n")
	for _, c := range config.SupportedChips() {
		d, ok := descriptions[c.Name]
		if !ok {
			t.Errorf("%s is not described", c.Name)
			continue
		}
		var feeds []string
		for _, quantity := range c.Feeds {
			var places []string
			for _, ch := range quantity {
				places = append(places, ch.String())
			}
			feeds = append(feeds, strings.Join(places, ", "))
		}
		fmt.Fprintf(&b, "| `%s` | %s | %s | %s | %s | %s |\n", c.Name, d.measures, c.Place,
			strings.Join(feeds, "; and one of "), strings.Join(faults(t, d, codes), ", "), d.accuracy)
	}
	b.WriteString("\nOf every chip on I2C it is told, too, that the chip does not answer, that the bus is held down or " +
		"reports an error, and that a multiplexer PCA9548 or TCA9548 before the chip does not answer; of every chip, that its " +
		"device file is missing or may not be opened.\n<!-- /chips -->\n")
	return b.String()
}

// constants maps the names of package sensors' codes to the codes.
func constants(t *testing.T) map[string]sensors.Code {
	t.Helper()
	codes := map[string]sensors.Code{}
	for _, file := range parsed(t, "") {
		ast.Inspect(file, func(n ast.Node) bool {
			spec, ok := n.(*ast.ValueSpec)
			if !ok || len(spec.Names) != 1 || len(spec.Values) != 1 {
				return true
			}
			if lit, ok := spec.Values[0].(*ast.BasicLit); ok && lit.Kind == token.STRING {
				text, err := strconv.Unquote(lit.Value)
				if err != nil {
					t.Fatal(err)
				}
				if _, known := sensors.Codes()[sensors.Code(text)]; known {
					codes[spec.Names[0].Name] = sensors.Code(text)
				}
			}
			return true
		})
	}
	if len(codes) != len(sensors.Codes()) {
		t.Errorf("found %d of %d codes", len(codes), len(sensors.Codes()))
	}
	return codes
}

// faults are the codes that a chip's drivers can tell, sorted.
func faults(t *testing.T, d described, codes map[string]sensors.Code) []string {
	t.Helper()
	var all []string
	for _, driver := range d.drivers {
		for _, file := range parsed(t, driver) {
			ast.Inspect(file, func(n ast.Node) bool {
				sel, ok := n.(*ast.SelectorExpr)
				if !ok {
					return true
				}
				x, ok := sel.X.(*ast.Ident)
				code, known := codes[sel.Sel.Name]
				if !ok || x.Name != "sensors" || !known || slices.Contains(ofTheBus, code) || slices.Contains(d.never, code) {
					return true
				}
				all = append(all, string(code))
				return true
			})
		}
	}
	slices.Sort(all)
	return slices.Compact(all)
}

// parsed is the code of a package below sensors, without its tests.
func parsed(t *testing.T, name string) []*ast.File {
	t.Helper()
	paths, err := filepath.Glob(filepath.Join("../../../sensors", name, "*.go"))
	if err != nil {
		t.Fatal(err)
	}
	var files []*ast.File
	for _, path := range paths {
		if strings.HasSuffix(path, "_test.go") {
			continue
		}
		file, err := parser.ParseFile(token.NewFileSet(), path, nil, parser.SkipObjectResolution)
		if err != nil {
			t.Fatal(err)
		}
		files = append(files, file)
	}
	if len(files) == 0 {
		t.Fatalf("no code in %q", name)
	}
	return files
}
