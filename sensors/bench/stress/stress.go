// Package stress puts an I2C bus under the load that finds pointers which the Go
// runtime has moved away from under the kernel.
//
// A bus that converts the address of a buffer on the stack to a uintptr before further
// calls hands the kernel a stale address once the stack grows in between; the transfer
// then returns without an error and the buffer is not filled. One goroutine at a time
// meets that only after days. Here eight workers start one fresh goroutine a transfer,
// at every depth of stack up to 120 frames, beside others that keep the stacks growing.
package stress

import (
	"bytes"
	"sync"
	"sync/atomic"
	"time"

	"periph.io/x/conn/v3/i2c"
)

// Counts is what came of the transfers.
type Counts struct {
	Good  int64
	Wrong int64 // no error, but other bytes than the chip sent
	Error int64
	First error // the first error
}

// Run reads len(want) bytes after writing w to the address, for d, and counts how often
// they are want.
func Run(bus i2c.Bus, addr uint16, w, want []byte, d time.Duration) Counts {
	var good, wrong, failed atomic.Int64
	var first atomic.Pointer[error]
	stop := make(chan struct{})
	time.AfterFunc(d, func() { close(stop) })

	var all sync.WaitGroup
	repeat := func(round func()) {
		all.Go(func() {
			for {
				select {
				case <-stop:
					return
				default:
					round()
				}
			}
		})
	}
	for range 4 {
		repeat(func() {
			var short sync.WaitGroup
			for depth := range 20 {
				short.Go(func() { descend(depth*6, func() {}) })
			}
			short.Wait()
		})
	}
	for worker := range 8 {
		depth := worker * 15
		repeat(func() {
			depth = (depth + 1) % 120
			var one sync.WaitGroup
			one.Go(func() {
				descend(depth, func() {
					var r [64]byte // on the stack, if the bus lets it stay there
					got := r[:len(want)]
					switch err := bus.Tx(addr, w, got); {
					case err != nil:
						failed.Add(1)
						first.CompareAndSwap(nil, &err)
					case !bytes.Equal(got, want):
						wrong.Add(1)
					default:
						good.Add(1)
					}
				})
			})
			one.Wait()
		})
	}
	all.Wait()
	c := Counts{Good: good.Load(), Wrong: wrong.Load(), Error: failed.Load()}
	if err := first.Load(); err != nil {
		c.First = *err
	}
	return c
}

// descend calls do from depth frames further down.
//
//go:noinline
func descend(depth int, do func()) byte {
	var pad [64]byte
	pad[depth%len(pad)] = byte(depth)
	if depth == 0 {
		do()
		return pad[0]
	}
	return descend(depth-1, do) + pad[depth%len(pad)]
}
