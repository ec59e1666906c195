package main_test

import (
	"strings"
	"syscall"
	"testing"
	"time"

	"fluewright/daemon/internal/porttest"
)

// TestPagesAtASocketOfTheServiceManager: the built program answers at a socket that systemd's
// own tool has opened for it, as at its own address.
func TestPagesAtASocketOfTheServiceManager(t *testing.T) {
	if testing.Short() {
		t.Skip("runs the built binary, which is none of this test's build")
	}
	needRealParts(t, "systemd-socket-activate")
	t.Parallel()
	opened, own := porttest.Free(t).String(), porttest.Free(t).String()
	p := start(t, "systemd-socket-activate", "--listen="+opened, build(t, "."), "demo", "--for", "60s", "--mqtt", "127.0.0.1:0", "--web", own)
	<-time.After(time.Second)
	// The first who calls makes the program begin, and waits for it.
	for _, address := range []string{opened, own} {
		if page := get(t, "http://"+address+"/"); !strings.Contains(page, "Demonstration") {
			t.Errorf("at %s there is\n%s", address, page)
		}
		if said := get(t, "http://"+address+"/healthz"); !strings.Contains(said, `"checks"`) {
			t.Errorf("at %s the health is %s", address, said)
		}
	}
	p.signal(syscall.SIGTERM)
}
