package main

import (
	"fmt"
	"io"
	"os"
	"strings"

	"golang.org/x/term"
	"rsc.io/qr"

	"fluewright/daemon/internal/app"
)

// welcome shows how the first owner is made, as long as there is none.
func welcome(out io.Writer, a app.Addresses) {
	if a.SetUp == "" {
		return
	}
	page, code, _ := strings.Cut(a.SetUp, "#code=")
	fmt.Fprintf(out, `
Nobody can sign in to this monitor yet. Make the owner's account at

  %s    with the code  %s

`, page, code)
	if !a.Outside {
		fmt.Fprint(out, `The page is served to this computer alone. With listen = ":8080" under [web] in the
configuration a telephone in the house can open it too, and a picture for its camera is shown here.

`)
		return
	}
	if err := drawQR(out, a.SetUp, isTerminal(out)); err == nil {
		fmt.Fprint(out, "A telephone in the same network opens it by this picture. The code holds until the next start.\n\n")
	}
}

// drawQR draws a text for a camera, two rows of it in a line. Where the colours can be set they
// are black on white; elsewhere, as in a log, ground and letters are taken for dark and light.
func drawQR(out io.Writer, text string, colours bool) error {
	code, err := qr.Encode(text, qr.L)
	if err != nil {
		return fmt.Errorf("draw a code for a camera: %w", err)
	}
	const quiet = 4 // modules around it, by the standard
	var b strings.Builder
	for y := -quiet; y < code.Size+quiet; y += 2 {
		if colours {
			b.WriteString("\x1b[97;40m")
		}
		for x := -quiet; x < code.Size+quiet; x++ {
			// Beyond its edges a code is white.
			switch upper, lower := !code.Black(x, y), !code.Black(x, y+1); {
			case upper && lower:
				b.WriteRune('█')
			case upper:
				b.WriteRune('▀')
			case lower:
				b.WriteRune('▄')
			default:
				b.WriteRune(' ')
			}
		}
		if colours {
			b.WriteString("\x1b[0m")
		}
		b.WriteByte('\n')
	}
	_, err = io.WriteString(out, b.String())
	return err
}

func isTerminal(out io.Writer) bool {
	f, ok := out.(*os.File)
	return ok && term.IsTerminal(int(f.Fd()))
}
