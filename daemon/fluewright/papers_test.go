package main

import (
	"bytes"
	"flag"
	"os"
	"path/filepath"
	"regexp"
	"testing"

	"github.com/alecthomas/kong"
	"github.com/google/go-cmp/cmp"
	"github.com/miekg/king"
)

var update = flag.Bool("update", false, "write the manual page and the completions that the package brings")

// wrapped gives the whole command line the words that a manual page begins with.
type wrapped struct {
	Fluewright cli `cmd:"" name:"fluewright" help:"Watch a wood-fired warm-air furnace and its chimney." description:"It observes and advises. It actuates nothing and replaces no limit control, no carbon monoxide alarm, no code and no licensed person. Each command tells its options with --help; the configuration file explains every key of its own."`
}

// rest is what a manual page says beside the commands.
const rest = `
## Exit Status

0
:  done

1
:  failed

2
:  a mistake in the command line or in the configuration

3
:  something is wrong with the installation, or with the running monitor

4
:  of health: what is kept was written by a newer version of the program, and is not touched

## Files

/etc/fluewright/fluewright.toml
:  the configuration; it explains every key

/var/lib/fluewright
:  history, calibrations, and what stands of alarms
`

// What a package brings of the command line is what the command line is.
func TestPapers(t *testing.T) {
	parser, err := kong.New(&cli{}, kong.Name("fluewright"), kong.Description(description))
	if err != nil {
		t.Fatal(err)
	}
	there, err := filepath.Abs(filepath.Join("..", "..", "systemd", "package"))
	if err != nil {
		t.Fatal(err)
	}
	t.Chdir(t.TempDir()) // the library leaves its own copy where it is called
	papers := map[string]func(*bytes.Buffer) error{
		"fluewright.bash": func(b *bytes.Buffer) error {
			c := &king.Bash{}
			c.Completion(parser.Model.Node, "fluewright")
			return c.Write(b)
		},
		"fluewright.zsh": func(b *bytes.Buffer) error {
			c := &king.Zsh{}
			c.Completion(parser.Model.Node, "fluewright")
			return c.Write(b)
		},
		"fluewright.fish": func(b *bytes.Buffer) error {
			c := &king.Fish{}
			c.Completion(parser.Model.Node, "fluewright")
			return c.Write(b)
		},
		"fluewright.1": func(b *bytes.Buffer) error {
			w, err := kong.New(&wrapped{})
			if err != nil {
				return err
			}
			m := &king.Man{Section: 1, Area: "Fluewright", Template: king.ManTemplate + rest}
			m.Manual(w.Model.Node, "_fluewright", "fluewright", "fluewright")
			var dated bytes.Buffer
			err = m.Write(&dated)
			// The library writes the month in which it ran.
			b.Write(regexp.MustCompile(`(?m)^(\.TH .*?) "[A-Z][a-z]+ \d{4}"`).ReplaceAll(dated.Bytes(), []byte(`$1 ""`)))
			return err
		},
	}
	for name, make := range papers {
		t.Run(name, func(t *testing.T) {
			var b bytes.Buffer
			if err := make(&b); err != nil {
				t.Fatal(err)
			}
			path := filepath.Join(there, name)
			if *update {
				if err := os.WriteFile(path, b.Bytes(), 0o644); err != nil {
					t.Fatal(err)
				}
			}
			want, err := os.ReadFile(path)
			if err != nil {
				t.Fatal(err)
			}
			if diff := cmp.Diff(string(want), b.String()); diff != "" {
				t.Errorf("not what the command line is (-there +wanted):\n%s", diff)
			}
		})
	}
}
