// Package fleettest sets a fleet up for tests as the documents in configs/fleet tell it: the
// authority by running the commands of its page, the broker with its configuration and rules.
package fleettest

import (
	"bytes"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

// BrokerName is how the broker is reached.
const BrokerName = "localhost"

// Authority is the folder of a fleet's authority.
type Authority struct {
	Dir string

	t      testing.TB
	blocks map[string]string
	env    []string
}

// Identity is a certificate with its chain, and its key.
type Identity struct{ Cert, Key string }

// Configs finds the folder of configurations.
func Configs(t testing.TB) string {
	t.Helper()
	dir, err := os.Getwd()
	if err != nil {
		t.Fatal(err)
	}
	for {
		if _, err := os.Stat(filepath.Join(dir, "go.mod")); err == nil {
			return filepath.Join(dir, "configs")
		}
		up := filepath.Dir(dir)
		if up == dir {
			t.Fatal("no go.mod above the test")
		}
		dir = up
	}
}

// Need skips a test whose programs are not on this computer, and fails it where
// FLUEWRIGHT_REAL says that they have to be.
func Need(t testing.TB, programs ...string) {
	t.Helper()
	if os.Getenv("FLUEWRIGHT_EMULATED") != "" {
		t.Skip("the test itself runs in an emulator; it is for real machines")
	}
	for _, p := range programs {
		if _, err := exec.LookPath(p); err != nil && os.Getenv("FLUEWRIGHT_REAL") == "1" {
			t.Fatalf("%s is missing", p)
		} else if err != nil {
			t.Skipf("%s is missing", p)
		}
	}
}

var block = regexp.MustCompile("(?ms)^```sh ([a-z-]+)\n(.*?)^```$")

// NewAuthority does what the page says is done once.
func NewAuthority(t testing.TB) *Authority {
	t.Helper()
	Need(t, "bash", "openssl")
	a := &Authority{Dir: t.TempDir(), t: t, blocks: make(map[string]string)}
	page := filepath.Join(Configs(t), "fleet", "ca")
	text, err := os.ReadFile(filepath.Join(page, "README.md"))
	if err != nil {
		t.Fatal(err)
	}
	for _, m := range block.FindAllStringSubmatch(string(text), -1) {
		a.blocks[m[1]] = m[2]
	}
	settings, err := os.ReadFile(filepath.Join(page, "openssl.cnf"))
	if err != nil {
		t.Fatal(err)
	}
	a.write("openssl.cnf", string(settings))
	a.write("root-passphrase", "test of the root\n")
	a.write("passphrase", "test of the authority\n")
	a.env = append(os.Environ(), "ROOT_PASSPHRASE="+a.Path("root-passphrase"), "PASSPHRASE="+a.Path("passphrase"), "BROKER="+BrokerName)
	for _, name := range []string{"root", "sites", "people", "broker-request", "broker", "lists"} {
		a.Do(name)
	}
	return a
}

// Path is where a file of the folder is.
func (a *Authority) Path(name string) string { return filepath.Join(a.Dir, name) }

func (a *Authority) write(name, text string) string {
	a.t.Helper()
	if err := os.WriteFile(a.Path(name), []byte(text), 0o600); err != nil {
		a.t.Fatal(err)
	}
	return a.Path(name)
}

// Blocks are the names of the commands on the page.
func (a *Authority) Blocks() map[string]string { return a.blocks }

// Altered is Run of commands in which something is put in the place of something else, such as
// another length of life.
func (a *Authority) Altered(name, old, replacement string, variables ...string) {
	a.t.Helper()
	was := a.blocks[name]
	if !strings.Contains(was, old) {
		a.t.Fatalf("the commands %s do not hold %q", name, old)
	}
	a.blocks[name] = strings.ReplaceAll(was, old, replacement)
	defer func() { a.blocks[name] = was }()
	a.Do(name, variables...)
}

// Run runs the commands of one name, with further variables.
func (a *Authority) Run(name string, variables ...string) (string, error) {
	script, ok := a.blocks[name]
	if !ok {
		return "", fmt.Errorf("the page has no commands %q", name)
	}
	cmd := exec.Command("bash", "-e", "-o", "pipefail", "-c", script)
	cmd.Dir, cmd.Env = a.Dir, append(a.env, variables...)
	var out bytes.Buffer
	cmd.Stdout, cmd.Stderr = &out, &out
	err := cmd.Run()
	return out.String(), err
}

// Do is Run, which must succeed.
func (a *Authority) Do(name string, variables ...string) string {
	a.t.Helper()
	out, err := a.Run(name, variables...)
	if err != nil {
		a.t.Fatalf("%s: %v\n%s", name, err, out)
	}
	return out
}

// Sign signs the request of a site and returns the file of certificate and chain.
func (a *Authority) Sign(site, request string, variables ...string) string {
	a.t.Helper()
	a.Do("issue", append(variables, "SITE="+site, "REQUEST="+a.write(site+"-request.pem", request))...)
	return a.Path(site + ".pem")
}

// Site makes a site whose key is here, for tests without a board.
func (a *Authority) Site(site string, variables ...string) Identity {
	a.t.Helper()
	key, request := a.request()
	cert := filepath.Join(filepath.Dir(key), "certificate.pem")
	if err := os.Rename(a.Sign(site, request, variables...), cert); err != nil {
		a.t.Fatal(err)
	}
	return Identity{cert, key}
}

// Dated is Site whose certificate holds between two times, as openssl writes them.
func (a *Authority) Dated(site, from, to string) Identity {
	a.t.Helper()
	key, request := a.request()
	a.Altered("issue", "-batch", "-batch -startdate "+from+" -enddate "+to, "SITE="+site, "REQUEST="+a.write("dated.pem", request))
	return Identity{a.Path(site + ".pem"), key}
}

// request makes a key and a request whose name means nothing.
func (a *Authority) request() (key, request string) {
	a.t.Helper()
	key = a.key()
	out, err := exec.Command("openssl", "req", "-new", "-config", a.Path("openssl.cnf"), "-subj", "/CN=whoever", "-key", key).Output()
	if err != nil {
		a.t.Fatal(err)
	}
	return key, string(out)
}

// Person makes a person; one who is the owner of a site if that is not empty.
func (a *Authority) Person(name, site string) Identity {
	a.t.Helper()
	a.Do("person-request", "NAME="+name)
	if site == "" {
		a.Do("person", "NAME="+name)
	} else {
		a.Do("owner", "NAME="+name, "SITE="+site)
	}
	dir := a.t.TempDir()
	who := Identity{filepath.Join(dir, "person.pem"), filepath.Join(dir, "person-key.pem")}
	for _, file := range []string{who.Cert, who.Key} {
		if err := os.Rename(a.Path(filepath.Base(file)), file); err != nil {
			a.t.Fatal(err)
		}
	}
	return who
}

func (a *Authority) key() string {
	a.t.Helper()
	file := filepath.Join(a.t.TempDir(), "key.pem")
	cmd := exec.Command("openssl", "genpkey", "-algorithm", "EC", "-pkeyopt", "ec_paramgen_curve:P-256", "-out", file)
	if out, err := cmd.CombinedOutput(); err != nil {
		a.t.Fatalf("%v\n%s", err, out)
	}
	return file
}

// Read returns the text of a file of the folder.
func (a *Authority) Read(name string) string {
	a.t.Helper()
	text, err := os.ReadFile(a.Path(name))
	if err != nil {
		a.t.Fatal(err)
	}
	return strings.TrimSpace(string(text)) + "\n"
}
