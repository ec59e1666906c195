package panel

import (
	"strconv"
	"strings"
	"testing"
	"unicode/utf8"

	"pgregory.net/rapid"
)

func TestFit(t *testing.T) {
	s := canvas{size: 10}
	tests := []struct {
		text string
		room float64
		want string
	}{
		{"flue", 100, "flue"},
		{"gasification chamber", 60, "gasifica…"},
		{"two words", 37, "two…"},
		{"flue", 5, ""},
		{"", 0, ""},
	}
	for _, tt := range tests {
		if got := s.fit(tt.text, tt.room); got != tt.want {
			t.Errorf("%q in %g px is %q, want %q", tt.text, tt.room, got, tt.want)
		}
	}
	rapid.Check(t, func(t *rapid.T) {
		text, room := rapid.String().Draw(t, "text"), rapid.Float64Range(-10, 300).Draw(t, "room")
		got := s.fit(text, room)
		if text != "" && s.width(got) > max(room, 0)+1e-9 {
			t.Fatalf("%q is %g px wide, want %g", got, s.width(got), room)
		}
		if !utf8.ValidString(got) {
			t.Fatalf("%q is cut within a character", got)
		}
	})
}

// A path says what was drawn, to a tenth of a pixel, in relative steps that do not add up
// their errors.
func TestPathKeepsItsPlace(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var p path
		var want [][2]float64
		n := rapid.IntRange(1, 50).Draw(t, "steps")
		x, y := 0.0, 0.0
		for range n {
			x, y = rapid.Float64Range(-20, 2000).Draw(t, "x"), rapid.Float64Range(-20, 2000).Draw(t, "y")
			switch rapid.IntRange(0, 2).Draw(t, "command") {
			case 0:
				p.move(x, y)
			case 1:
				p.line(x, y)
			default:
				x = float64(p.x) / 10
				p.vertical(y)
			}
			want = append(want, [2]float64{x, y})
		}
		got := follow(t, string(p.data))
		if len(got) != len(want) {
			t.Fatalf("%d steps, want %d: %s", len(got), len(want), p.data)
		}
		for i := range got {
			for k := range 2 {
				if d := got[i][k] - want[i][k]; d > 0.0501 || d < -0.0501 {
					t.Fatalf("step %d is at %v, want %v: %s", i, got[i], want[i], p.data)
				}
			}
		}
	})
}

// follow reads a path back.
func follow(t *rapid.T, data string) (points [][2]float64) {
	var numbers []float64
	command := byte(0)
	x, y := 0.0, 0.0
	flush := func() {
		for len(numbers) > 0 {
			if command == 'v' {
				y += numbers[0]
				numbers = numbers[1:]
			} else {
				x, y = x+numbers[0], y+numbers[1]
				numbers = numbers[2:]
			}
			points = append(points, [2]float64{x, y})
		}
	}
	for i := 0; i < len(data); {
		switch c := data[i]; {
		case c == 'm' || c == 'l' || c == 'v':
			flush()
			command = c
			i++
		case c == ' ':
			i++
		default:
			j := i + 1
			for j < len(data) && strings.ContainsRune("0123456789.", rune(data[j])) {
				j++
			}
			v, err := strconv.ParseFloat(data[i:j], 64)
			if err != nil {
				t.Fatalf("%q in %s: %v", data[i:j], data, err)
			}
			numbers = append(numbers, v)
			i = j
		}
	}
	flush()
	return points
}

func TestBoxGoesBackToItsCorner(t *testing.T) {
	var p path
	p.box(10, 20, 30.5, 40)
	p.box(11, 21, 12, 22)
	if want := "m10 20h20.5v20h-20.5zm1 1h1v1h-1z"; string(p.data) != want {
		t.Errorf("got %s, want %s", p.data, want)
	}
}

// Labels keep apart and inside as far as there is room.
func TestLabelsKeepApart(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		labels := make([]label, rapid.IntRange(1, 10).Draw(t, "labels"))
		for i := range labels {
			labels[i].at = rapid.Float64Range(0, 150).Draw(t, "at")
		}
		spread(labels, 7, 143, 13.5)
		for i, l := range labels {
			if i > 0 && l.y-labels[i-1].y < 13.5-1e-9 {
				t.Fatalf("labels at %g and %g touch", labels[i-1].y, l.y)
			}
			if l.y < 7-1e-9 || l.y > 143+1e-9 {
				t.Fatalf("a label is at %g", l.y)
			}
		}
	})
}

// What a line leaves out nobody can see.
func TestSimplifiedIsTheSameToTheEye(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		all := make([]point, rapid.IntRange(1, 60).Draw(t, "points"))
		for i := range all {
			y := rapid.SampledFrom([]float64{10, 10, 10, 10.1, 50, 90}).Draw(t, "y")
			all[i] = point{float64(i), y}
		}
		kept := simplified(all)
		if kept[0] != all[0] || kept[len(kept)-1] != all[len(all)-1] {
			t.Fatal("an end is missing")
		}
		k := 0
		for _, q := range all {
			for k+1 < len(kept)-1 && kept[k+1].x <= q.x {
				k++
			}
			a, b := kept[k], kept[min(k+1, len(kept)-1)]
			y := a.y
			if b.x > a.x {
				y += (b.y - a.y) * (q.x - a.x) / (b.x - a.x)
			}
			if d := y - q.y; d > 2*unseen || d < -2*unseen {
				t.Fatalf("at %g the line is at %g, want %g", q.x, y, q.y)
			}
		}
	})
}
