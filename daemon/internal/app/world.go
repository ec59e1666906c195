package app

import (
	"context"
	"net"
	"time"
)

// world is what surrounds the program: the computer's network and its clock's state. A test
// puts another in its place.
type world struct {
	// listen is nil where each who listens does it in its own way.
	listen  func(network, address string) (net.Listener, error)
	dial    func(ctx context.Context, network, address string) (net.Conn, error)
	trusted func() func(now time.Time) bool
	boot    func() (id string, age func() time.Duration)
}

// computer is the world as it is.
var computer = world{
	dial:    (&net.Dialer{Timeout: 10 * time.Second}).DialContext,
	trusted: func() func(time.Time) bool { return (&clockTrust{}).at },
	boot:    kernelBoot,
}

// world returns what surrounds the program.
func (h *house) world() *world {
	if h.options.world != nil {
		return h.options.world
	}
	return &computer
}
