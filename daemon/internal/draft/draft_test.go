package draft

import (
	"bytes"
	"encoding/json"
	"encoding/xml"
	"errors"
	"flag"
	"io"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"fluewright/daemon/internal/units"
)

var update = flag.Bool("update", false, "write the golden files anew")

// outdoorBrick is the worst of chimneys: brick outdoors, a house under low pressure, no
// regulator, a mild day.
func outdoorBrick() Input {
	in := Defaults()
	in.Chimney.Construction, in.Chimney.Wall, in.Chimney.Exposed = Masonry, 0, 1
	in.Conditions.Outdoor, in.Conditions.Depressurisation, in.Conditions.Altitude = 10, 4, 600
	in.Regulator.Set = 0
	return in
}

// answers keeps what has been computed: many tests ask about the same two chimneys.
var answers = map[Input]Result{}

func run(t *testing.T, in Input) Result {
	t.Helper()
	if r, ok := answers[in]; ok {
		return r
	}
	r, err := Run(in)
	if err != nil {
		t.Fatal(err)
	}
	answers[in] = r
	return r
}

func TestGolden(t *testing.T) {
	usual, brick := run(t, Defaults()), run(t, outdoorBrick())
	tests := []struct {
		file  string
		write func(io.Writer) error
	}{
		{"usual-us.txt", func(w io.Writer) error { return usual.WriteText(w, units.US) }},
		{"usual-si.txt", func(w io.Writer) error { return usual.WriteText(w, units.SI) }},
		{"usual.json", usual.WriteJSON},
		{"usual-us.svg", func(w io.Writer) error { return usual.WriteSVG(w, units.US) }},
		{"brick-us.txt", func(w io.Writer) error { return brick.WriteText(w, units.US) }},
		{"brick-si.svg", func(w io.Writer) error { return brick.WriteSVG(w, units.SI) }},
	}
	for _, tt := range tests {
		t.Run(tt.file, func(t *testing.T) {
			var got bytes.Buffer
			if err := tt.write(&got); err != nil {
				t.Fatal(err)
			}
			path := filepath.Join("testdata", tt.file)
			if *update {
				if err := os.WriteFile(path, got.Bytes(), 0o644); err != nil {
					t.Fatal(err)
				}
			}
			want, err := os.ReadFile(path)
			if err != nil {
				t.Fatal(err)
			}
			if diff := cmp.Diff(string(want), got.String()); diff != "" {
				t.Errorf("-want +got:\n%s", diff)
			}
		})
	}
}

func TestPictureIsWellFormed(t *testing.T) {
	for name, in := range map[string]Input{"usual": Defaults(), "brick": outdoorBrick()} {
		for _, u := range []units.System{units.US, units.SI} {
			var b bytes.Buffer
			if err := run(t, in).WriteSVG(&b, u); err != nil {
				t.Fatal(err)
			}
			text := b.String()
			dec := xml.NewDecoder(&b)
			for {
				if _, err := dec.Token(); errors.Is(err, io.EOF) {
					break
				} else if err != nil {
					t.Fatalf("%s: %v", name, err)
				}
			}
			if strings.Contains(text, "NaN") || strings.Contains(text, "Inf") || strings.Count(text, "outdoors ") != 3 {
				t.Errorf("%s %v: not three curves with numbers", name, u)
			}
		}
	}
}

func TestTicksAreRoundInTheReadersUnits(t *testing.T) {
	r := run(t, Defaults())
	x, y := r.axes(units.US)
	for _, a := range []axis{x, y} {
		ticks := a.ticks()
		if len(ticks) < 4 || len(ticks) > 12 {
			t.Errorf("%d ticks on the axis of %s", len(ticks), a.unit)
		}
		for _, v := range ticks {
			if v < a.lo-1e-9 || v > a.hi+1e-9 {
				t.Errorf("tick %s lies outside", a.label(v))
			}
		}
	}
	if got := x.label(x.ticks()[0]); got != "200" {
		t.Errorf("first tick of the flue temperature is %s °F", got)
	}
}

func TestValidateNamesEveryFault(t *testing.T) {
	in := Defaults()
	in.Chimney.Height = 0
	in.Chimney.Construction = "straw"
	in.Appliance.Draft = 0.05 // in. w.c. where Pa is meant
	in.Conditions.Room = math.NaN()
	_, err := Run(in)
	if err == nil {
		t.Fatal("passed")
	}
	for _, want := range []string{"chimney height", "straw", "needed draft", "room temperature"} {
		if !strings.Contains(err.Error(), want) {
			t.Errorf("%q is not in: %v", want, err)
		}
	}
	in = Defaults()
	in.Connector = Connector{Length: 1, Rise: 2}
	if _, err := Run(in); err == nil || !strings.Contains(err.Error(), "connector rise") {
		t.Errorf("a connector that rises more than it is long: %v", err)
	}
}

func TestFindings(t *testing.T) {
	tests := []struct {
		name  string
		spoil func(*Input)
		want  string
	}{
		{"a hut's chimney", func(in *Input) { in.Chimney.Height, in.Connector = 1.5, Connector{} }, "draft-short"},
		{"fan against it", func(in *Input) { in.Conditions.Depressurisation = 50; in.Chimney.Height = 4 }, "no-draft"},
		{"just enough", func(in *Input) { in.Appliance.Draft = 30 }, "draft-thin"},
		{"summer", func(in *Input) { in.Conditions.Outdoor = 32 }, "cold-reversal"},
		{"mild day", func(in *Input) { in.Conditions.Outdoor = 18 }, "cold-weak"},
		{"no regulator", func(in *Input) { in.Regulator.Set = 0 }, "draft-strong"},
		{"set too high", func(in *Input) { in.Regulator.Set = 60 }, "regulator-idle"},
		{"set too low", func(in *Input) { in.Regulator.Set = 8 }, "regulator-low"},
		{"gate too small", func(in *Input) { in.Regulator.Diameter = 0.06 }, "regulator-overrun"},
		{"wet wood, small fire", func(in *Input) {
			in.Chimney.Construction, in.Chimney.Exposed = SingleWall, 1
			in.Appliance.Heat, in.Appliance.FlueTemperature, in.Appliance.Moisture = 6000, 110, 0.5
			in.Conditions.Outdoor = -20
		}, "condensing"},
		{"cool top", func(in *Input) { in.Appliance.FlueTemperature = 180 }, "creosote"},
		{"too good", func(in *Input) { in.Appliance.Efficiency = 0.95 }, "efficiency-doubtful"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			in := Defaults()
			tt.spoil(&in)
			r := run(t, in)
			for _, u := range []units.System{units.US, units.SI} {
				for _, f := range findings(r, u) {
					if strings.HasSuffix(f.Text, "..") || strings.Contains(f.Text, "%!") {
						t.Errorf("badly written: %s", f.Text)
					}
				}
			}
			if !slices.ContainsFunc(r.Findings, func(f Finding) bool { return f.Code == tt.want }) {
				t.Errorf("no %s in %+v (hot %+v, cold %+v)", tt.want, r.Findings, r.Hot, r.Cold)
			}
		})
	}
}

func TestAirRatioFromAnalyser(t *testing.T) {
	base := run(t, Defaults())
	for name, measured := range map[string]func(*Input){
		"CO2": func(in *Input) { in.Appliance.CO2 = base.Fire.CO2 },
		"O2":  func(in *Input) { in.Appliance.O2 = 0.10512 },
	} {
		in := Defaults()
		in.Appliance.Lambda = 0
		measured(&in)
		if got := run(t, in).Input.Appliance.Lambda; math.Abs(got-2) > 1e-3 {
			t.Errorf("from %s: air ratio %v, want 2", name, got)
		}
	}
	in := Defaults()
	in.Appliance.CO2 = 0.25
	if _, err := Run(in); err == nil || !strings.Contains(err.Error(), "CO2") {
		t.Errorf("25 %% CO2: %v", err)
	}
}

// No answer may go without saying what it is not.
func TestDisclaimerIsEverywhere(t *testing.T) {
	r := run(t, Defaults())
	var text, data bytes.Buffer
	if err := errors.Join(r.WriteText(&text, units.US), r.WriteJSON(&data)); err != nil {
		t.Fatal(err)
	}
	for name, out := range map[string]string{"text": text.String(), "JSON": data.String()} {
		if !strings.Contains(out, "no approval") || !strings.Contains(out, "carbon-monoxide alarm") {
			t.Errorf("the %s does not say that it is no approval", name)
		}
	}
	var back map[string]any
	if err := json.Unmarshal(data.Bytes(), &back); err != nil {
		t.Error(err)
	}
}

func TestSensitivityPointsTheRightWay(t *testing.T) {
	gains := map[string]Change{}
	for _, c := range run(t, outdoorBrick()).Sensitivity {
		gains[c.Code] = c
		if changeTexts[c.Code] == nil {
			t.Errorf("%s has no text", c.Code)
		}
	}
	for _, code := range []string{"taller", "insulate", "indoors", "wider", "shorter-connector", "straighter-connector"} {
		if gains[code].Gain <= 0 {
			t.Errorf("%s: %+v", code, gains[code])
		}
	}
	for _, code := range []string{"shorter", "narrower"} {
		if gains[code].Gain >= 0 {
			t.Errorf("%s: %+v", code, gains[code])
		}
	}
	if gains["insulate"].WallGain <= 0 {
		t.Errorf("insulation cools the wall: %+v", gains["insulate"])
	}
	if _, ok := gains["more-insulation"]; ok {
		t.Error("brick gets more mineral wool")
	}
	all := run(t, Defaults()).Sensitivity
	if !slices.IsSortedFunc(all, func(a, b Change) int { return -int(math.Copysign(1, a.Gain-b.Gain)) }) {
		t.Errorf("not best first: %+v", all)
	}
}

func TestCurves(t *testing.T) {
	r := run(t, Defaults())
	if len(r.Curves) != 3 || r.Curves[0].Outdoor <= r.Curves[2].Outdoor {
		t.Fatalf("not three curves from warm to cold")
	}
	for i, p := range r.Curves[1].Points {
		warm, cold := r.Curves[0].Points[i], r.Curves[2].Points[i]
		if !(warm.Unregulated < p.Unregulated && p.Unregulated < cold.Unregulated) {
			t.Errorf("at %v °C colder weather does not draw better", p.Flue)
		}
		if *p.Regulated > p.Unregulated+1e-8 {
			t.Errorf("at %v °C the gate raises the draft", p.Flue)
		}
	}
}

type full struct{}

func (full) Write([]byte) (int, error) { return 0, errors.New("disk full") }

func TestWriteErrors(t *testing.T) {
	r := run(t, Defaults())
	for name, err := range map[string]error{
		"text": r.WriteText(full{}, units.US), "json": r.WriteJSON(full{}), "svg": r.WriteSVG(full{}, units.US),
	} {
		if err == nil || !strings.Contains(err.Error(), "disk full") {
			t.Errorf("%s: %v", name, err)
		}
	}
}

func BenchmarkRun(b *testing.B) {
	for b.Loop() {
		if _, err := Run(Defaults()); err != nil {
			b.Fatal(err)
		}
	}
}
