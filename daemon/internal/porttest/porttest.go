// Package porttest lends ports of loopback to programs under test that must know theirs before
// they start, or that come back on the same one.
package porttest

import (
	"math/rand/v2"
	"net"
	"strconv"
	"testing"
)

// Ports that the kernel gives to whoever asks for any begin at 32768 on Linux. One that it gave
// and got back it may give to the next connection, between a program's end and its return.
const first, end = 16384, 32768

// Free returns an address of loopback that is the test's own until it ends. The port above it is
// held meanwhile, which tells other processes' tests that it is lent.
func Free(t testing.TB) *net.TCPAddr {
	t.Helper()
	for range 1000 {
		port := first + 2*rand.IntN((end-first)/2)
		held, err := net.Listen("tcp", "127.0.0.1:"+strconv.Itoa(port+1))
		if err != nil {
			continue
		}
		l, err := net.Listen("tcp", "127.0.0.1:"+strconv.Itoa(port))
		if err != nil {
			_ = held.Close()
			continue
		}
		_ = l.Close()
		t.Cleanup(func() { _ = held.Close() })
		return l.Addr().(*net.TCPAddr)
	}
	t.Fatal("find a free port of loopback: none in a thousand")
	return nil
}
