package main

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"time"

	"fluewright/daemon/internal/app"
	"fluewright/daemon/internal/config"
	"fluewright/daemon/internal/enrol"
)

// enrolCmd is for whoever works on the board. What it leaves is the service's, also where root
// runs it; the monitor takes it up at its next connection.
type enrolCmd struct {
	Config      string `help:"Configuration file, which names the site." type:"path" default:"/etc/fluewright/fluewright.toml" placeholder:"FILE"`
	State       string `help:"The monitor's state directory, where key and certificate are kept." type:"path" env:"STATE_DIRECTORY" default:"/var/lib/fluewright" placeholder:"DIR"`
	Renew       bool   `help:"Ask for another certificate, with a new key; the present one stays until the other is there."`
	Certificate string `help:"Check the certificate that came back, with its chain, and install it; - is standard input." placeholder:"FILE"`
	CAFile      string `help:"The root that it is signed below, and the broker's too; kept beside it. By default the configuration's mqtt.ca-file." name:"ca-file" type:"path" placeholder:"FILE"`
	Check       bool   `help:"Say how the certificate does; exit code 3 if there is none, it is wrong, or it ends within 30 days."`
	JSON        bool   `help:"Print JSON." name:"json"`
}

// Validate allows one thing at a time.
func (c *enrolCmd) Validate() error {
	asked := 0
	for _, one := range []bool{c.Renew, c.Certificate != "", c.Check} {
		if one {
			asked++
		}
	}
	switch {
	case asked > 1:
		return errors.New("--renew, --certificate and --check exclude each other")
	case c.CAFile != "" && c.Certificate == "" && !c.Check:
		return errors.New("--ca-file is for --certificate and --check")
	}
	return nil
}

// Run asks for a certificate, takes one, or says how it does.
func (c *enrolCmd) Run(std streams) error {
	cfg, err := loadConfig(c.Config)
	if err != nil {
		return err
	}
	if info, err := os.Stat(c.State); errors.Is(err, fs.ErrNotExist) || err == nil && !info.IsDir() {
		return fmt.Errorf("there is no state directory %s, so no monitor has run here; --state names another one", c.State)
	} else if err != nil {
		return fmt.Errorf("find the state directory: %w", err)
	}
	switch {
	case c.Check:
		return c.look(cfg, std)
	case c.Certificate != "":
		return c.install(cfg, std)
	}
	return c.ask(cfg, std)
}

func (c *enrolCmd) ask(cfg *config.Config, std streams) error {
	r, err := enrol.Ask(c.State, cfg.Site.Name, c.Renew)
	if errors.Is(err, enrol.ErrEnrolled) {
		return fmt.Errorf("%w; --check says how it does, and --renew asks for the next one", err)
	}
	if err != nil {
		return err
	}
	if c.JSON {
		return printJSON(std.out, struct {
			Site        string `json:"site"`
			Request     string `json:"request"`
			Fingerprint string `json:"key_sha256"`
		}{cfg.Site.Name, r.PEM, r.Fingerprint})
	}
	if _, err := io.WriteString(std.out, r.PEM); err != nil {
		return fmt.Errorf("print request: %w", err)
	}
	which := "for the key that waits for its certificate already"
	if r.Made {
		which = "for a new key, which stays here"
	}
	fmt.Fprintf(std.err, "This is the request of the site %s, %s.\nFingerprint of the key, to be compared where it is signed:\n  %s\n"+
		"Then: fluewright enrol --certificate FILE --ca-file FILE\n", cfg.Site.Name, which, r.Fingerprint)
	return nil
}

// roots reads the root's file; keep says that it is another one than the configuration's.
func (c *enrolCmd) roots(cfg *config.Config) (text []byte, keep bool, err error) {
	file := c.CAFile
	if file == "" {
		file = cfg.MQTT.CAFile
	}
	if file == "" {
		return nil, false, nil
	}
	if text, err = os.ReadFile(file); err != nil {
		return nil, false, fmt.Errorf("read the root: %w", err)
	}
	return text, c.CAFile != "", nil
}

func (c *enrolCmd) install(cfg *config.Config, std streams) error {
	roots, keep, err := c.roots(cfg)
	if err != nil {
		return err
	}
	if roots == nil {
		return errors.New("nothing says which root it must be signed below: give --ca-file, or mqtt.ca-file in the configuration")
	}
	var text []byte
	if c.Certificate == "-" {
		text, err = io.ReadAll(io.LimitReader(std.in, 1<<20))
	} else {
		text, err = os.ReadFile(c.Certificate)
	}
	if err != nil {
		return fmt.Errorf("read the certificate: %w", err)
	}
	notes, err := enrol.Install(c.State, cfg.Site.Name, text, roots, keep, clockNow())
	var refusal enrol.Refusal
	if errors.As(err, &refusal) {
		if c.JSON {
			if err := printJSON(std.out, enrol.Held{Site: cfg.Site.Name, Problems: refusal, Notes: []string{}}); err != nil {
				return err
			}
		}
		fmt.Fprintln(std.err, "fluewright: the certificate is not taken, and nothing is changed:")
		for _, r := range refusal {
			fmt.Fprintln(std.err, " ", r)
		}
		return errWrong
	}
	if err != nil {
		return err
	}
	for _, n := range notes {
		fmt.Fprintln(std.err, "Note:", n)
	}
	if !c.JSON {
		c.advise(cfg, keep, std)
		return nil
	}
	h, err := enrol.Look(c.State, cfg.Site.Name, roots, clockNow())
	if err != nil {
		return err
	}
	return printJSON(std.out, h)
}

// advise says what the configuration lacks.
func (c *enrolCmd) advise(cfg *config.Config, keptRoot bool, std streams) {
	identity, root := filepath.Join(c.State, enrol.IdentityFile), cfg.MQTT.CAFile
	if keptRoot {
		root = filepath.Join(c.State, enrol.RootFile)
	}
	m := cfg.MQTT
	if m.CertificateFile == identity && m.KeyFile == identity && m.CAFile == root && strings.HasPrefix(m.Broker, "ssl:") {
		fmt.Fprintln(std.err, "The certificate is installed. The monitor shows it from its next connection on; it needs no restart.")
		return
	}
	broker := m.Broker
	if !strings.HasPrefix(broker, "ssl:") {
		broker = "ssl://broker.example:8883"
	}
	fmt.Fprintf(std.err, "The certificate is installed. The configuration must say so, in %s, and the monitor be restarted:\n", c.Config)
	fmt.Fprintf(std.out, "[mqtt]\nbroker = %q\nca-file = %q\ncertificate-file = %q\nkey-file = %q\n", broker, root, identity, identity)
}

func (c *enrolCmd) look(cfg *config.Config, std streams) error {
	roots, _, err := c.roots(cfg)
	if err != nil {
		return err
	}
	h, err := enrol.Look(c.State, cfg.Site.Name, roots, clockNow())
	if err != nil {
		return err
	}
	if c.JSON {
		err = printJSON(std.out, h)
	} else {
		err = tellHeld(std.out, h)
	}
	if err != nil {
		return fmt.Errorf("print: %w", err)
	}
	if len(h.Problems) > 0 {
		return errWrong
	}
	return nil
}

func tellHeld(out io.Writer, h enrol.Held) error {
	var lines []string
	if h.Enrolled {
		lines = append(lines, fmt.Sprintf("%s is enrolled: signed by %s, serial %s, from %s to %s",
			h.Site, h.Issuer, h.Serial, h.Begins.UTC().Format(time.DateOnly), h.Ends.UTC().Format(time.DateOnly)))
	}
	if h.Awaited {
		lines = append(lines, "a key waits for its certificate; fluewright enrol prints the request again")
	}
	for _, p := range h.Problems {
		lines = append(lines, "WRONG: "+p)
	}
	for _, n := range h.Notes {
		lines = append(lines, "note: "+n)
	}
	_, err := fmt.Fprintln(out, strings.Join(lines, "\n"))
	return err
}

func clockNow() enrol.Clock { return enrol.Clock{Now: time.Now(), Trusted: app.ClockTrusted()} }
