package calibrate

import (
	"bytes"
	"errors"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"github.com/google/go-cmp/cmp"

	"fluewright/analysis/frame"
	"fluewright/daemon/internal/units"
	"fluewright/sensors"
	"fluewright/sensors/calibration"
)

// site is a source with steady values.
type site struct {
	values map[frame.Channel]float64
	serial string
}

func (s *site) Read(c frame.Channel) sensors.Reading {
	v, ok := s.values[c]
	if !ok {
		return sensors.Reading{}
	}
	return sensors.Reading{Value: v, Quality: sensors.Good}
}

func (s *site) Chip(c frame.Channel) (kind, serial string, fitted bool) {
	_, fitted = s.values[c]
	if c == frame.Draft {
		return "sdp810-125pa", s.serial, fitted
	}
	return "max31856", "", fitted
}

func guided(t *testing.T, s *site, answers string) (Options, *bytes.Buffer) {
	t.Helper()
	out := &bytes.Buffer{}
	return Options{
		Source: s, Dir: t.TempDir(), In: strings.NewReader(answers), Out: out, Units: units.SI, ClockTrusted: true,
	}, out
}

func TestZeroIsStored(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := &site{map[frame.Channel]float64{frame.Draft: 0.7, frame.Flue: 21, frame.Room: 18.04}, "445566778899aabb"}
		o, out := guided(t, s, "y\ny\n")
		if _, err := Zero(t.Context(), o); err != nil {
			t.Fatalf("%v\n%s", err, out)
		}
		f, err := Load(o.Dir)
		if err != nil {
			t.Fatal(err)
		}
		room := 18.0
		want := Entry{
			Channel: "draft", Chip: "sdp810-125pa", Serial: "445566778899aabb", Method: Zeroed, Gain: 1, Offset: -0.7,
			Time: time.Now().UTC().Truncate(time.Second), ClockTrusted: true, Celsius: &room,
		}
		got, _ := f.For(frame.Draft)
		got.Offset = math.Round(got.Offset*1e6) / 1e6
		got.Uncertainty = math.Round(got.Uncertainty*1e6) / 1e6
		if diff := cmp.Diff(want, got); diff != "" {
			t.Errorf("entry (-want +got):\n%s", diff)
		}
		for _, said := range []string{"Only without a fire.", "+0.700 Pa", "WARNING", "Stored."} {
			if !strings.Contains(out.String(), said) {
				t.Errorf("not said: %s\n%s", said, out)
			}
		}
	})
}

func TestZeroIsRefused(t *testing.T) {
	tests := map[string]struct {
		values  map[frame.Channel]float64
		noFire  bool
		answers string
		want    error
	}{
		"a fire burns":                          {map[frame.Channel]float64{frame.Draft: 0, frame.Flue: 200}, false, "y\ny\n", calibration.ErrFire},
		"a fire burns, and somebody says no":    {map[frame.Channel]float64{frame.Draft: 0, frame.Flue: 200}, true, "y\ny\n", calibration.ErrFire},
		"the flue is no number":                 {map[frame.Channel]float64{frame.Draft: 0, frame.Flue: math.NaN()}, true, "y\ny\n", calibration.ErrFire},
		"nobody knows":                          {map[frame.Channel]float64{frame.Draft: 0}, false, "y\ny\n", calibration.ErrFireSeen},
		"nobody knows, and somebody has looked": {map[frame.Channel]float64{frame.Draft: 0}, true, "y\ny\n", nil},
		"a hose is on":                          {map[frame.Channel]float64{frame.Draft: 12, frame.Flue: 20}, false, "y\ny\n", calibration.ErrHoseOn},
		"not wanted":                            {map[frame.Channel]float64{frame.Draft: 0, frame.Flue: 20}, false, "\n", ErrDeclined},
		"not wanted after all":                  {map[frame.Channel]float64{frame.Draft: 0, frame.Flue: 20}, false, "y\nn\n", ErrDeclined},
		"nobody there":                          {map[frame.Channel]float64{frame.Draft: 0, frame.Flue: 20}, false, "", ErrDeclined},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				o, out := guided(t, &site{values: tt.values}, tt.answers)
				o.NoFire = tt.noFire
				if _, err := Zero(t.Context(), o); !errors.Is(err, tt.want) {
					t.Errorf("error %v, want %v\n%s", err, tt.want, out)
				}
				_, err := os.Stat(filepath.Join(o.Dir, FileName))
				if stored := err == nil; stored != (tt.want == nil) {
					t.Errorf("stored: %v", stored)
				}
			})
		})
	}
	o, _ := guided(t, &site{values: map[frame.Channel]float64{}}, "y\ny\n")
	if _, err := Zero(t.Context(), o); err == nil {
		t.Error("a draft sensor that is not there was zeroed")
	}
}

// Boiling points from the saturation pressures of IAPWS-IF97 that are printed in
// testdata/physics/water_saturation_0_200C.csv: 91 030.8 Pa at 97 °C, and between its lines
// 99.97 °C at 101 325 Pa and 94.98 °C at the 84 559.7 Pa that the standard atmosphere of
// 1976 has at 1500 m (atmosphere_1976.csv).
func TestThermocouple(t *testing.T) {
	tests := map[string]struct {
		pressure, altitude, boils float64
	}{
		"measured pressure":   {91030.7673, 0, 97},
		"sea level":           {math.NaN(), 0, 99.97},
		"altitude":            {math.NaN(), 1500, 94.98},
		"measured goes first": {101325, 1500, 99.97},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				s := &site{values: map[frame.Channel]float64{frame.Flue: 1}}
				if !math.IsNaN(tt.pressure) {
					s.values[frame.Ambient] = tt.pressure
				}
				o, out := guided(t, s, "y\ny\ny\n")
				o.Altitude = tt.altitude
				o.Source = &baths{site: s, reads: []float64{1, tt.boils - 1}}
				e, err := Thermocouple(t.Context(), o, frame.Flue, true, true)
				if err != nil {
					t.Fatalf("%v\n%s", err, out)
				}
				if len(e.Points) != 2 || math.Abs(e.Points[1].True-tt.boils) > 0.02 {
					t.Errorf("points %+v, want water to boil at %g °C", e.Points, tt.boils)
				}
				k := e.Correction()
				if math.Abs(k.Apply(1)) > 0.02 || math.Abs(k.Apply(tt.boils-1)-tt.boils) > 0.02 || e.Method != TwoPoint {
					t.Errorf("entry %+v", e)
				}
			})
		})
	}
	t.Run("one bath", func(t *testing.T) {
		synctest.Test(t, func(t *testing.T) {
			o, out := guided(t, &site{values: map[frame.Channel]float64{frame.Flue: 1.5}}, "y\ny\n")
			e, err := Thermocouple(t.Context(), o, frame.Flue, true, false)
			if err != nil || e.Method != OnePoint || e.Gain != 1 || e.Offset != -1.5 {
				t.Errorf("%+v, %v\n%s", e, err, out)
			}
		})
	})
	for name, c := range map[string]frame.Channel{"no such sensor": frame.Plenum, "no temperature": frame.Draft} {
		o, _ := guided(t, &site{values: map[frame.Channel]float64{frame.Flue: 1, frame.Draft: 0}}, "y\ny\n")
		if _, err := Thermocouple(t.Context(), o, c, true, true); err == nil {
			t.Errorf("%s: accepted", name)
		}
	}
}

// baths gives a probe one reading after another, each until it is asked for the room,
// which is at the end, or for the air's pressure, which is between the two.
type baths struct {
	*site
	reads []float64
	n     int
}

func (b *baths) Read(c frame.Channel) sensors.Reading {
	switch c {
	case frame.Ambient:
		b.n = 1
	case frame.Flue:
		return sensors.Reading{Value: b.reads[b.n], Quality: sensors.Good}
	}
	return b.site.Read(c)
}

func TestRefuses(t *testing.T) {
	e := Entry{Channel: "draft", Chip: "sdp810-125pa", Serial: "01"}
	for _, tt := range []struct{ chip, serial, want string }{
		{"sdp810-125pa", "01", ""},
		{"sdp810-500pa", "01", "it is of a sdp810-125pa"},
		{"sdp810-125pa", "02", "serial number 01, and 02 answers"},
		{"sdp810-125pa", "", "serial number 01, and (none) answers"},
	} {
		got := e.Refuses(tt.chip, tt.serial)
		if (got == "") != (tt.want == "") || !strings.Contains(got, tt.want) {
			t.Errorf("%s %s: %q", tt.chip, tt.serial, got)
		}
	}
}

func TestSaveReplacesTheWholeFile(t *testing.T) {
	dir := t.TempDir()
	f := &File{}
	f.Put(Entry{Channel: "draft", Chip: "x", Method: Zeroed, Gain: 1, Offset: 0.1})
	f.Put(Entry{Channel: "flue", Chip: "x", Method: OnePoint, Gain: 1, Offset: 2})
	f.Put(Entry{Channel: "draft", Chip: "x", Method: Zeroed, Gain: 1, Offset: 0.2})
	if err := f.Save(dir); err != nil {
		t.Fatal(err)
	}
	got, err := Load(dir)
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(f, got); diff != "" || len(got.Entries) != 2 {
		t.Errorf("(-saved +loaded):\n%s", diff)
	}
	left, err := os.ReadDir(dir)
	if err != nil || len(left) != 1 {
		t.Errorf("files left: %v, %v", left, err)
	}
	// A file that cannot be written leaves the old one.
	bad := &File{Entries: []Entry{{Channel: "draft", Chip: "x", Method: Zeroed, Gain: 1, Offset: 50}}}
	if err := bad.Save(dir); err == nil {
		t.Error("a zero of 50 Pa was stored")
	}
	if err := f.Save(filepath.Join(dir, "missing")); err == nil {
		t.Error("stored in a directory that is not there")
	}
	if again, err := Load(dir); err != nil || len(again.Entries) != 2 {
		t.Errorf("afterwards %+v, %v", again, err)
	}
}

func TestNoFileIsNoCalibration(t *testing.T) {
	if f, err := Load(t.TempDir()); err != nil || len(f.Entries) != 0 {
		t.Errorf("%+v, %v", f, err)
	}
}

// Any text: either an error, or entries that can be saved and are the same afterwards.
func FuzzParse(f *testing.F) {
	f.Add([]byte(`{"version":1,"entries":[{"channel":"draft","chip":"sdp810-125pa","serial":"01","method":"zero","gain":1,"offset":-0.7,"uncertainty":0.01,"time":"2026-01-31T21:00:00Z","clock_trusted":true,"celsius":18}]}`))
	f.Add([]byte(`{"version":1,"entries":[{"channel":"flue","chip":"max31856","method":"two-point","gain":1.01,"offset":2,"points":[{"read_celsius":1,"true_celsius":0}]}]}`))
	for _, bad := range []string{``, `{}`, `{"version":2}`, `{"version":1}x`, `{"version":1,"entires":[]}`, `{"version":1,"entries":[{"channel":"draft","gain":1e999}]}`} {
		f.Add([]byte(bad))
		if _, err := Parse([]byte(bad)); err == nil {
			f.Errorf("%q was accepted", bad)
		}
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		file, err := Parse(data)
		if err != nil {
			return
		}
		for _, e := range file.Entries {
			k := e.Correction()
			for _, v := range []float64{0, 100, 1300} {
				if d := k.Apply(v) - v; !(math.Abs(d) <= 20+0.05*v) {
					t.Fatalf("%+v moves %g by %g", e, v, d)
				}
			}
		}
	})
}
