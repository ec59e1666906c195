package web

import (
	"context"
	"io"
	"net"
	"net/http"
	"testing"

	"fluewright/daemon/internal/status/statustest"
)

// A board begins before its network: an address that it does not have yet must not keep it
// from watching.
func TestAnAddressThatIsNotThereYet(t *testing.T) {
	for _, address := range []string{"192.0.2.7:0", "[2001:db8::7]:0"} { // RFC 5737, RFC 3849
		s, err := Listen(address, options())
		if err != nil {
			t.Error(err)
			continue
		}
		if err := s.listener.Close(); err != nil {
			t.Error(err)
		}
	}
}

// What the service manager has opened is served beside the address.
func TestListenersThatWereHandedOver(t *testing.T) {
	o := options()
	o.Feed.Publish(statustest.Burning())
	handed, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	o.Handed = []net.Listener{handed}
	s, err := Listen("127.0.0.1:0", o)
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	ended := make(chan error, 1)
	go func() { ended <- s.Run(ctx) }()
	for _, page := range []string{s.URL(), "http://" + handed.Addr().String() + "/"} {
		r, err := http.Get(page + "healthz")
		if err != nil {
			t.Fatal(err)
		}
		text, err := io.ReadAll(r.Body)
		_ = r.Body.Close()
		if err != nil || r.StatusCode != http.StatusOK {
			t.Errorf("%s: %s, %s, %v", page, r.Status, text, err)
		}
	}
	cancel()
	if err := <-ended; err != nil {
		t.Error(err)
	}
	if c, err := net.Dial("tcp", handed.Addr().String()); err == nil {
		_ = c.Close()
		t.Error("it listens after its end")
	}
}
