package main

import (
	"math"
	"time"
)

// region is a part of the country: its weather comes to all its houses.
type region struct {
	name     string
	outdoor  float64 // mean of the day, °C
	swing    float64 // half of what night and day differ, K
	wind     float64 // m/s
	altitude float64 // m
	front    time.Duration
}

// regions are invented.
var regions = []region{
	{"coast", 3, 2, 7, 20, 0},
	{"hills", -3, 4, 4, 600, 50 * time.Minute},
	{"plain", -8, 5, 5, 250, 100 * time.Minute},
	{"north", -16, 3, 3, 150, 150 * time.Minute},
}

// frontEvery is how often a front passes a region, and frontLasts how long that takes.
const (
	frontEvery = 200 * time.Minute
	frontLasts = 8 * time.Minute
)

// temperature is that outdoors at a time, °C: coldest at six, warmest at six.
func (r *region) temperature(at time.Time) float64 {
	hour := float64(at.Hour()) + float64(at.Minute())/60
	return r.outdoor - r.swing*math.Cos((hour-6)/24*2*math.Pi)
}

// storms reports whether a front is there: the wind is strong then, and turns drafts.
func (r *region) storms(at time.Time) bool {
	return (time.Duration(at.UnixNano())+r.front)%frontEvery < frontLasts
}

// blows is the wind at a time, m/s.
func (r *region) blows(at time.Time) float64 {
	if r.storms(at) {
		return r.wind + 8
	}
	return r.wind
}

// pressure is the absolute pressure of the air at the region's height, Pa, by the barometric
// formula of the standard atmosphere.
func (r *region) pressure() float64 { return 101325 * math.Pow(1-2.25577e-5*r.altitude, 5.25588) }
