package nights

import (
	"math"
	"math/rand/v2"
)

// draw draws the particulars of a night.
type draw struct{ *rand.Rand }

func (d draw) between(low, high float64) float64 { return low + (high-low)*d.Float64() }

// over is log-uniform: as many between 1 and 2 as between 2 and 4.
func (d draw) over(low, high float64) float64 { return low * math.Pow(high/low, d.Float64()) }

func (d draw) chance(p float64) bool { return d.Float64() < p }

func pick[T any](d draw, from ...T) T { return from[d.IntN(len(from))] }

func clamp(x, low, high float64) float64 { return math.Min(high, math.Max(low, x)) }

// rise goes from 0 to 1 around x = 0, over about four times the width.
func rise(x, width float64) float64 { return 1 / (1 + math.Exp(-x/width)) }
