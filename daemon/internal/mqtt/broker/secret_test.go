package broker

import (
	"net/netip"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

func TestSecret(t *testing.T) {
	// Written by mosquitto_passwd 2.0.11 for "s3cret-pass".
	const hash = "owner:$7$101$ux+k6TroIzz+5tg1$Ktw9Cb42uHKb4TYkQ6w5uAGwAAipVTAiM4+9DY/OwrHosjako19Q21uQmoYgZhoVSICCCqV2lGHayquXgNArmA=="
	for name, c := range map[string]struct {
		text, wrong string
	}{
		"a password":               {text: "s3cret-pass\n"},
		"without a line feed":      {text: "s3cret-pass"},
		"a hash":                   {text: hash},
		"a hash among others":      {text: "guest:$7$1$AAAA$" + strings.Repeat("A", 88) + "\n" + hash + "\n"},
		"another's hash":           {"guest" + hash[5:], "no line for the user owner"},
		"nothing":                  {"\n", "too short"},
		"short":                    {"secret", "too short"},
		"two lines":                {"s3cret-pass\nhunter2hunter2\n", "more than one line"},
		"another kind of hash":     {"owner:$6$AAAA$AAAA", "not known"},
		"of no iterations":         {"owner:$7$0$AAAA$AAAA", "iterations"},
		"of a day's iterations":    {"owner:$7$2000000000$AAAA$AAAA", "iterations"},
		"without salt":             {"owner:$7$101$$AAAA", "salt"},
		"a hash of no bytes":       {"owner:$7$101$AAAA$AAAA", "hash cannot be read"},
		"a hash that is no base64": {"owner:$7$101$AAAA$?", "hash cannot be read"},
	} {
		t.Run(name, func(t *testing.T) {
			s, err := parseSecret(c.text, "owner")
			if c.wrong != "" {
				if err == nil || !strings.Contains(err.Error(), c.wrong) {
					t.Errorf("%v, want one with %q", err, c.wrong)
				}
				if err != nil && (strings.Contains(err.Error(), "secret") || strings.Contains(err.Error(), "hunter2")) {
					t.Errorf("the error repeats the password: %v", err)
				}
				return
			}
			if err != nil {
				t.Fatal(err)
			}
			for password, want := range map[string]bool{"s3cret-pass": true, "s3cret-pas": false, "s3cret-passs": false, "": false, strings.TrimSpace(c.text) + "\n": false} {
				if s.matches([]byte(password)) != want {
					t.Errorf("%q matches: %v", password, !want)
				}
			}
		})
	}
	var none Secret
	if none.matches(nil) || none.matches([]byte("x")) {
		t.Error("the zero secret matches something")
	}
}

// The hash that the real tool writes is understood.
func TestMosquittoPasswd(t *testing.T) {
	tool, err := exec.LookPath("mosquitto_passwd")
	if err != nil {
		if os.Getenv("FLUEWRIGHT_REAL") == "1" {
			t.Fatal(err)
		}
		t.Skip(err)
	}
	file := filepath.Join(t.TempDir(), "users")
	for i, user := range []string{"owner", "guest"} {
		args := []string{"-b", file, user, "s3cret-of-" + user}
		if i == 0 {
			args = append([]string{"-c"}, args...)
		}
		if out, err := exec.Command(tool, args...).CombinedOutput(); err != nil {
			t.Fatalf("%v: %s", err, out)
		}
	}
	for _, user := range []string{"owner", "guest"} {
		s, err := ReadSecret(file, user)
		if err != nil {
			t.Fatal(err)
		}
		if !s.matches([]byte("s3cret-of-"+user)) || s.matches([]byte("s3cret-of-another")) {
			t.Errorf("the password of %s is judged wrongly", user)
		}
	}
}

func FuzzSecret(f *testing.F) {
	f.Add("owner:$7$101$AAAA$AAAA")
	f.Add("s3cret-pass\n")
	f.Fuzz(func(t *testing.T, text string) {
		s, err := parseSecret(text, "owner")
		switch {
		case err != nil:
		case len(s.sum) < 32 || s.iterations > mostIterations || s.salt != nil && s.iterations < 1:
			t.Errorf("%+v", s)
		case s.salt == nil && !s.matches([]byte(strings.TrimRight(text, "\r\n"))):
			t.Errorf("%q does not match itself", text)
		}
	})
}

func TestAttempts(t *testing.T) {
	var a attempts
	now := time.Now()
	mallory, owner := trier{netip.MustParseAddr("192.0.2.7"), "owner"}, trier{netip.MustParseAddr("192.0.2.8"), "owner"}
	tried := 0
	for range 3600 { // an hour, once a second
		if now = now.Add(time.Second); a.allowed(mallory, now) {
			tried++
			a.failed(mallory, now)
		}
	}
	if tried < 300 || tried > 370 {
		t.Errorf("%d tries in an hour", tried)
	}
	if !a.allowed(owner, now) || !a.allowed(trier{mallory.from, "guest"}, now) {
		t.Error("others are locked out with it")
	}
	if a.allowed(mallory, now.Add(100*time.Millisecond)) || !a.allowed(mallory, now.Add(time.Minute)) {
		t.Error("it is not let in again after a while")
	}
	// Strangers from everywhere take no memory, and do not let the eager one off.
	for range 10 {
		a.failed(mallory, now)
	}
	for i := range 10_000 {
		a.failed(trier{from: netip.AddrFrom4([4]byte{10, 0, byte(i >> 8), byte(i)})}, now)
	}
	if len(a.wrong) > triersKnown || a.allowed(mallory, now) {
		t.Errorf("%d are remembered, the eager one is let in: %v", len(a.wrong), a.allowed(mallory, now))
	}
}

func TestSource(t *testing.T) {
	for remote, want := range map[string]string{
		"192.0.2.7:1883":                "192.0.2.7",
		"[::ffff:192.0.2.7]:1":          "192.0.2.7",
		"[2001:db8:1:2:3:4:5:6]:1":      "2001:db8:1:2::",
		"[fe80::1%eth0]:1":              "fe80::",
		"[::1]:1":                       "::1",
		"no address":                    "invalid IP",
		"[2001:db8:1:2:ffff::1]:40000":  "2001:db8:1:2::",
		"127.0.0.1:5":                   "127.0.0.1",
		"[2001:db8:1:3:ffff::1]:40000":  "2001:db8:1:3::",
		"host.example:1":                "invalid IP",
		"[2001:db8:1:2::1%enp0s3]:1883": "2001:db8:1:2::",
	} {
		if got := source(remote).String(); got != want {
			t.Errorf("%s is %s, want %s", remote, got, want)
		}
	}
}
