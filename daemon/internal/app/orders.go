package app

import (
	"context"
	"errors"

	"fluewright/analysis"
)

// mostOrders is how many orders wait for the loop, and how many a tick carries out: what
// people say must not hold up the watch.
const mostOrders = 16

var errBusy = errors.New("too many orders wait")

// orders is what people say of alarms, on its way into the loop, which alone may touch the
// engine.
type orders chan order

type order struct {
	do   func(*analysis.Engine) error
	done chan<- error
}

// ask hands the loop something to do between two ticks, and waits until it is done or ctx
// ends. Where too many wait already it refuses at once.
func (q orders) ask(ctx context.Context, do func(*analysis.Engine) error) error {
	done := make(chan error, 1)
	select {
	case q <- order{do, done}:
	default:
		return errBusy
	}
	select {
	case err := <-done:
		return err
	case <-ctx.Done():
		return ctx.Err()
	}
}

// carryOut does what waits. The loop alone calls it.
func (q orders) carryOut(e *analysis.Engine) {
	for range mostOrders {
		select {
		case o := <-q:
			o.done <- o.do(e)
		default:
			return
		}
	}
}
