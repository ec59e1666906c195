package configs_test

import (
	"os"
	"regexp"
	"testing"

	"periph.io/x/conn/v3/pin"
	"periph.io/x/host/v3/rpi"
)

// header is the 40-pin header as the library for such boards has it (periph.io/x/host/v3/rpi
// v3.8.5; what a pin is called beyond its number stands in that file's comments).
var header = map[string]pin.Pin{
	"1": rpi.P1_1, "3": rpi.P1_3, "5": rpi.P1_5, "6": rpi.P1_6, "17": rpi.P1_17, "19": rpi.P1_19, "21": rpi.P1_21,
	"23": rpi.P1_23, "24": rpi.P1_24, "25": rpi.P1_25, "26": rpi.P1_26,
}

// The wiring table names the lines that the header has.
func TestWiring(t *testing.T) {
	text, err := os.ReadFile("wiring/README.md")
	if err != nil {
		t.Fatal(err)
	}
	rows := regexp.MustCompile(`(?m)^\| (\d+) \| ([\w.]+)`).FindAllStringSubmatch(string(text), -1)
	told := map[string]bool{}
	for _, row := range rows {
		p, ok := header[row[1]]
		if !ok {
			t.Errorf("pin %s is held against nothing", row[1])
			continue
		}
		told[row[1]] = true
		if p.Name() != row[2] {
			t.Errorf("pin %s is %s, and the table says %s", row[1], p.Name(), row[2])
		}
	}
	for n := range header {
		if !told[n] {
			t.Errorf("pin %s is not in the table", n)
		}
	}
}
