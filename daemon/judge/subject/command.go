package subject

import (
	"bufio"
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"time"

	"fluewright/analysis/alarm"
	"fluewright/analysis/frame"
	"fluewright/daemon/internal/burnlog"
	"fluewright/daemon/judge/night"
	"fluewright/daemon/judge/score"
)

// Start is the time of a night's first moment in the logs that are written of it.
var Start = time.Date(2026, time.January, 15, 18, 0, 0, 0, time.UTC)

// Command is a program that reads a burn log and writes what replay does: JSON Lines.
type Command struct {
	line string
	dir  string
	log  string
	conf string
	file *os.File
	out  *burnlog.Writer
}

// NewCommand prepares a night of the site for the command line, in which {config} and
// {log} stand for the two files; they are written into dir.
func NewCommand(line, dir string, s night.Site) (*Command, error) {
	c := &Command{line: line, dir: dir, log: filepath.Join(dir, "night.csv"), conf: filepath.Join(dir, "site.toml")}
	if err := os.WriteFile(c.conf, []byte(Config(s)), 0o600); err != nil {
		return nil, fmt.Errorf("write configuration: %w", err)
	}
	var err error
	if c.file, err = os.Create(c.log); err != nil {
		return nil, fmt.Errorf("create log: %w", err)
	}
	if c.out, err = burnlog.NewWriter(c.file, s.Fitted); err != nil {
		return nil, errors.Join(err, c.file.Close())
	}
	return c, nil
}

// Config is the site's configuration file. A limit needs a sensor to watch it; which
// chip that is does not matter to a log.
func Config(s night.Site) string {
	var b, chips strings.Builder
	fmt.Fprintf(&b, "[site]\nname = \"judged\"\nunits = \"si\"\naltitude = \"%.0f m\"\n\n", s.Altitude)
	fmt.Fprintf(&b, "[appliance]\ndraft-low = \"%.3f Pa\"\ndraft-high = \"%.3f Pa\"\n\n[limits]\n", s.DraftLow, s.DraftHigh)
	for i, c := range []frame.Channel{frame.Flue, frame.Chamber, frame.Firebox} {
		if !s.Fitted[c] {
			continue
		}
		if s.Limits[c] > 0 {
			fmt.Fprintf(&b, "%s = \"%.3f degC\"\n", c, s.Limits[c])
		}
		fmt.Fprintf(&chips, "\n[[sensor]]\nchannels = [\"%s\"]\nchip = \"max31856\"\nbus = \"/dev/spidev0.%d\"\nthermocouple = \"K\"\n", c, i)
	}
	chips.WriteString("\n[[sensor]]\nchannels = [\"draft\"]\nchip = \"sdp810-125pa\"\nbus = \"/dev/i2c-1\"\n")
	return b.String() + chips.String()
}

// Write adds a frame to the log.
func (c *Command) Write(f frame.Frame) error { return c.out.Write(Start.Add(f.At), f) }

// Run runs the program on the log and returns what it said.
func (c *Command) Run() ([]score.Said, error) {
	if err := errors.Join(c.out.Flush(), c.file.Close()); err != nil {
		return nil, err
	}
	words := strings.Fields(c.line)
	if len(words) == 0 {
		return nil, errors.New("the command is empty")
	}
	for i := range words {
		words[i] = strings.NewReplacer("{config}", c.conf, "{log}", c.log).Replace(words[i])
	}
	cmd := exec.Command(words[0], words[1:]...)
	var out, talk bytes.Buffer
	cmd.Stdout, cmd.Stderr = &out, &talk
	if err := cmd.Run(); err != nil {
		return nil, fmt.Errorf("run %s: %w: %s", words[0], err, bytes.TrimSpace(talk.Bytes()))
	}
	return Read(&out)
}

// line is what is taken of a line of replay's.
type line struct {
	Time     time.Time `json:"time"`
	Type     string    `json:"type"`
	Alarm    string    `json:"alarm"`
	State    string    `json:"state"`
	Priority string    `json:"priority"`
	Channel  string    `json:"channel"`
	Causes   []struct {
		Code string `json:"code"`
	} `json:"causes"`
}

// Read takes the alarms out of JSON Lines.
func Read(r io.Reader) ([]score.Said, error) {
	var all []score.Said
	lines := bufio.NewScanner(r)
	lines.Buffer(nil, 1<<20)
	for n := 1; lines.Scan(); n++ {
		var l line
		if err := json.Unmarshal(lines.Bytes(), &l); err != nil {
			return nil, fmt.Errorf("line %d: %w", n, err)
		}
		if l.Type != "alarm" {
			continue
		}
		s := score.Said{
			At: l.Time.Sub(Start), Alarm: alarm.Name(l.Alarm), Channel: frame.Count, State: l.State, Priority: l.Priority,
		}
		if l.Channel != "" {
			c, ok := frame.Parse(l.Channel)
			if !ok {
				return nil, fmt.Errorf("line %d: no channel is called %q", n, l.Channel)
			}
			s.Channel = c
		}
		for _, c := range l.Causes {
			s.Causes = append(s.Causes, c.Code)
		}
		all = append(all, s)
	}
	if err := lines.Err(); err != nil {
		return nil, fmt.Errorf("read lines: %w", err)
	}
	return all, nil
}
