package mqtt

import (
	"os"
	"path/filepath"
	"syscall"
	"testing"
	"time"
)

// A broker that acknowledges everything and passes nothing on is told from one that does, also
// where what it keeps is our own word from before.
func TestABrokerThatPassesNothingOn(t *testing.T) {
	t.Parallel()
	rules := func(text string) string {
		file := filepath.Join(t.TempDir(), "acl")
		if err := os.WriteFile(file, []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
		return "allow_anonymous true\nacl_file " + file + "\n"
	}
	const site = "fluewright/cellar-7/"
	for name, tt := range map[string]struct {
		settings string
		unheard  bool
	}{
		"everything is allowed":               {"allow_anonymous true\n", false},
		"as much as is needed":                {rules("topic write " + site + "#\ntopic read " + site + "availability\ntopic read " + site + "command/#\n"), false},
		"reading alone":                       {rules("topic read fluewright/#\n"), true},
		"another site's topics":               {rules("topic readwrite fluewright/barn-2/#\n"), true},
		"writing alone, which cannot be told": {rules("topic write fluewright/#\n"), true},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			p := start(t, options("tcp://"+mosquitto(t, tt.settings)))
			eventually(t, "what is said is acknowledged", func() bool { s := p.Stats(); return s.Connected && s.Published > 0 && s.Pending == 0 })
			if !tt.unheard {
				eventually(t, "heard", func() bool { return !p.Stats().Unheard })
				return
			}
			time.Sleep(300 * time.Millisecond)
			if !p.Stats().Unheard {
				t.Error("it is taken for heard")
			}
		})
	}
	t.Run("the broker within", func(t *testing.T) {
		b := startBroker(t)
		o := options(b.Own())
		o.User, o.Password = b.Credentials()
		p := start(t, o)
		eventually(t, "heard", func() bool { s := p.Stats(); return s.Connected && s.Published > 0 && !s.Unheard })
	})
}

// What an earlier connection had left says nothing of this one.
func TestAKeptWordIsNoEcho(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	acl := filepath.Join(dir, "acl")
	write := func(text string) {
		if err := os.WriteFile(acl, []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	write("topic readwrite fluewright/#\n")
	b := realBroker(t, "persistence false\nallow_anonymous true\nacl_file "+acl+"\n")
	p := start(t, options(b.line.url()))
	eventually(t, "heard", func() bool { s := p.Stats(); return s.Connected && s.Published > 0 && !s.Unheard })
	write("topic read fluewright/#\n")
	_ = b.Signal(syscall.SIGHUP)
	time.Sleep(500 * time.Millisecond)
	b.line.breakAll()
	eventually(t, "back", func() bool { s := p.Stats(); return s.Connects > 1 && s.Connected && s.Pending == 0 })
	time.Sleep(300 * time.Millisecond)
	if !p.Stats().Unheard {
		t.Error("what the broker has kept is taken for our word of now")
	}
}
