package porttest

import (
	"net"
	"testing"
)

func TestNoPortIsLentTwice(t *testing.T) {
	lent := map[int]bool{}
	for range 200 {
		a := Free(t)
		if lent[a.Port] {
			t.Fatalf("%v is lent twice", a)
		}
		lent[a.Port] = true
	}
}

// What was lent can be had again when its test is over.
func TestALentPortComesBack(t *testing.T) {
	var a *net.TCPAddr
	t.Run("borrower", func(t *testing.T) { a = Free(t) })
	for _, port := range []int{a.Port, a.Port + 1} {
		l, err := net.ListenTCP("tcp", &net.TCPAddr{IP: a.IP, Port: port})
		if err != nil {
			t.Errorf("port %d is still held: %v", port, err)
			continue
		}
		_ = l.Close()
	}
}
