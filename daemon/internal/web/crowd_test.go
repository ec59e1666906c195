package web

import (
	"net"
	"testing"

	"pgregory.net/rapid"
)

// stranger is a connection that only has an address.
type stranger struct {
	net.Conn
	from net.Addr
}

func (s *stranger) RemoteAddr() net.Addr { return s.from }
func (s *stranger) Close() error         { return nil }

// TestWhoMustGo: whatever comes and goes, there are never too many, nobody goes who is being
// answered, and nobody who is alone at his address while another has several.
func TestWhoMustGo(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c := &crowd{}
		addresses := rapid.IntRange(1, 12).Draw(t, "addresses")
		for range rapid.IntRange(1, 900).Draw(t, "guests") {
			g := &guest{Conn: &stranger{from: &net.TCPAddr{IP: net.IPv4(10, 0, 0, byte(rapid.IntRange(1, addresses).Draw(t, "address"))), Port: 1}}, crowd: c}
			g.from = street(g.RemoteAddr())
			before := map[*guest]bool{}
			of := map[any]int{g.from: 1}
			waiting := 0
			for _, other := range c.all {
				before[other] = other.served
				of[other.from]++
				if !other.served {
					waiting++
				}
			}
			out := c.admit(g)
			if out != nil {
				if before[out] {
					t.Fatal("one goes who is being answered")
				}
				if of[out.from] == 1 && out != g && of[g.from] > 1 {
					t.Fatal("one goes who is alone at his address")
				}
				if out == g && waiting > 0 && of[g.from] <= mostOfAddress {
					for _, other := range c.all {
						if other != g && !other.served && of[other.from] >= of[g.from] {
							t.Fatal("the newest goes while another lets the server wait")
						}
					}
				}
				_ = out.Close()
			}
			if len(c.all) > mostConnections {
				t.Fatalf("%d connections", len(c.all))
			}
			if rapid.IntRange(0, 3).Draw(t, "is served") == 0 {
				c.serve(g, true)
			}
		}
	})
}

func TestWhatCountsAsOneAddress(t *testing.T) {
	for _, tt := range []struct {
		a, b string
		same bool
	}{
		{"192.168.7.20", "192.168.7.20", true},
		{"192.168.7.20", "192.168.7.21", false},
		{"::ffff:192.168.7.20", "192.168.7.20", true},
		{"2001:db8::1", "2001:db8::ffff:1", true},
		{"2001:db8::1", "2001:db8:0:1::1", false},
	} {
		at := func(s string) net.Addr { return &net.TCPAddr{IP: net.ParseIP(s), Port: 4711} }
		if same := street(at(tt.a)) == street(at(tt.b)); same != tt.same {
			t.Errorf("%s and %s: %v", tt.a, tt.b, same)
		}
	}
}
