package main

import (
	"strings"
	"testing"
	"unicode/utf8"

	"rsc.io/qr"

	"fluewright/daemon/internal/app"
)

// TestThePictureForACamera reads the drawing back, module by module, with four white ones
// around.
func TestThePictureForACamera(t *testing.T) {
	const text = "http://192.168.7.20:8080/setup#code=ACDE-FHJK-MNPQ"
	code, err := qr.Encode(text, qr.L)
	if err != nil {
		t.Fatal(err)
	}
	var b strings.Builder
	if err := drawQR(&b, text, false); err != nil {
		t.Fatal(err)
	}
	lines := strings.Split(strings.TrimSuffix(b.String(), "\n"), "\n")
	if len(lines) != (code.Size+9)/2 {
		t.Fatalf("%d lines for %d modules", len(lines), code.Size)
	}
	white := map[rune][2]bool{'█': {true, true}, '▀': {true, false}, '▄': {false, true}, ' ': {false, false}}
	for row, line := range lines {
		if n := utf8.RuneCountInString(line); n != code.Size+8 {
			t.Fatalf("line %d has %d signs", row, n)
		}
		for col, sign := range []rune(line) {
			for half := range 2 {
				x, y := col-4, 2*row+half-4
				if white[sign][half] == code.Black(x, y) {
					t.Errorf("module %d, %d is wrong", x, y)
				}
			}
		}
	}
}

func TestWelcome(t *testing.T) {
	for _, tt := range []struct {
		name       string
		a          app.Addresses
		says, hush []string
	}{
		{"there is an owner", app.Addresses{}, nil, []string{"owner"}},
		{
			"on this computer alone",
			app.Addresses{SetUp: "http://127.0.0.1:8080/setup#code=ACDE-FHJK-MNPQ"},
			[]string{"http://127.0.0.1:8080/setup ", "ACDE-FHJK-MNPQ", `listen = ":8080"`},
			[]string{"█"},
		},
		{
			"in the house",
			app.Addresses{SetUp: "http://192.168.7.20:8080/setup#code=ACDE-FHJK-MNPQ", Outside: true},
			[]string{"http://192.168.7.20:8080/setup ", "ACDE-FHJK-MNPQ", "█"},
			[]string{"this computer alone", "\x1b"},
		},
	} {
		t.Run(tt.name, func(t *testing.T) {
			var b strings.Builder
			welcome(&b, tt.a)
			for _, want := range tt.says {
				if !strings.Contains(b.String(), want) {
					t.Errorf("it does not say %q: %s", want, b.String())
				}
			}
			for _, not := range tt.hush {
				if strings.Contains(b.String(), not) {
					t.Errorf("it says %q: %s", not, b.String())
				}
			}
		})
	}
}
