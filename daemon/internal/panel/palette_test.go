package panel

import (
	"fmt"
	"math"
	"testing"
)

// luminance of a colour, as WCAG 2 defines it.
func luminance(t *testing.T, colour string) float64 {
	t.Helper()
	var c [3]int
	if _, err := fmt.Sscanf(colour, "#%02x%02x%02x", &c[0], &c[1], &c[2]); err != nil {
		t.Fatalf("%q is no colour: %v", colour, err)
	}
	l := 0.0
	for i, weight := range []float64{0.2126, 0.7152, 0.0722} {
		v := float64(c[i]) / 255
		if v <= 0.04045 {
			v /= 12.92
		} else {
			v = math.Pow((v+0.055)/1.055, 2.4)
		}
		l += weight * v
	}
	return l
}

func contrast(t *testing.T, a, b string) float64 {
	t.Helper()
	la, lb := luminance(t, a), luminance(t, b)
	return (max(la, lb) + 0.05) / (min(la, lb) + 0.05)
}

// WCAG 2 AA: 4.5 for text, 3 for what must be seen to understand a picture.
func TestContrast(t *testing.T) {
	text := []role{ink, muted, high, medium, low, limit}
	lines := []role{hatch, edge}
	for i := range role(traces) {
		text, lines = append(text, trace0+i), append(lines, cloud0+i)
	}
	for name, p := range map[string]*palette{"light": &light, "dark": &dark, "print": &print} {
		for _, r := range text {
			for on := phase0; on < roles; on++ {
				if c := contrast(t, p[r], p[on]); c < 4.5 {
					t.Errorf("%s: text %s on %s has a contrast of %.2f", name, p[r], p[on], c)
				}
			}
			if c := contrast(t, p[r], p[ground]); c < 4.5 {
				t.Errorf("%s: text %s on the ground has a contrast of %.2f", name, p[r], c)
			}
		}
		for _, r := range lines {
			if c := contrast(t, p[r], p[ground]); c < 3 {
				t.Errorf("%s: line %s on the ground has a contrast of %.2f", name, p[r], c)
			}
			for on := phase0; on < roles && r != edge; on++ {
				if c := contrast(t, p[r], p[on]); c < 3 {
					t.Errorf("%s: line %s on %s has a contrast of %.2f", name, p[r], p[on], c)
				}
			}
		}
		for i := range role(traces) {
			if c := contrast(t, p[trace0+i], p[band]); c < 3 {
				t.Errorf("%s: trace %s on the band has a contrast of %.2f", name, p[trace0+i], c)
			}
		}
	}
}

func TestContrastIsThatOfTheStandard(t *testing.T) {
	// Black on white is 21 by definition; #767676 is the lightest grey with 4.5 on white.
	if c := contrast(t, "#000000", "#ffffff"); math.Abs(c-21) > 1e-9 {
		t.Errorf("black on white has %g", c)
	}
	if c := contrast(t, "#767676", "#ffffff"); c < 4.5 || c > 4.6 {
		t.Errorf("#767676 on white has %g", c)
	}
}

// On paper only dashes tell traces apart.
func TestDashesDiffer(t *testing.T) {
	seen := map[string]bool{}
	for _, d := range dashes {
		if seen[d] {
			t.Errorf("two traces are dashed %s", d)
		}
		seen[d] = true
	}
}
