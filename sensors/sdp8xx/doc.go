// Package sdp8xx drives Sensirion's SDP8xx and SDP3x differential-pressure sensors over
// I2C.
//
// The sensor measures without pause and averages between two reads. A read is nothing
// but the header and nine bytes; the sensor refuses the header while it has nothing new,
// which is normal for some milliseconds after the start and a fault later. Each look
// checks all three checksums and the scale, since a frame of zeros has valid checksums.
//
// The temperature in the frame is the gas's inside the sensor, warmed by the electronics
// around it: it is kept in the raw words and not offered as the air's.
//
// Sources: Sensirion's own driver code (embedded-i2c-sdp, python-i2c-sdp) and a public
// header that quotes "Datasheet SDP8xx-Digital, version 1.1, April 2019". The SDP33 is
// left out: no source for its scale.
package sdp8xx
