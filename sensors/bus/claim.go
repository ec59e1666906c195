package bus

import (
	"errors"
	"fmt"
	"sync"
)

// ErrInUse is returned for a bus or chip select that this process has open already.
var ErrInUse = errors.New("already open in this process")

// claims holds what this process has open. The kernel opens a device file as often as
// it is asked to, so nobody else notices.
type claims struct {
	mu   sync.Mutex
	held map[string]bool
}

// take claims key for the caller until release is called, once or more.
func (c *claims) take(key string) (release func(), err error) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.held[key] {
		return nil, fmt.Errorf("%s: %w", key, ErrInUse)
	}
	if c.held == nil {
		c.held = map[string]bool{}
	}
	c.held[key] = true
	return sync.OnceFunc(func() {
		c.mu.Lock()
		defer c.mu.Unlock()
		delete(c.held, key)
	}), nil
}
