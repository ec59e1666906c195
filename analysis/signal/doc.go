// Package signal holds the estimators with which the analysis judges a channel: slopes
// that shrug off a bad sample, a level with its slope, curvature and their uncertainty,
// the smallest shift that is no accident, spikes, and what a sheath's lag hides.
//
// Times are seconds, values in whatever unit the channel has. An estimator takes samples
// one at a time and allocates nothing after its making; a sample that it cannot use is
// rejected, reported by a [Verdict] and leaves the estimate as it was, so that no
// estimate is ever NaN or infinite.
//
// The same samples give the same bits on every architecture. Two things would spoil
// that. Some architectures fuse x*y + z into one operation that rounds once, which Go
// allows except across a conversion: every product that is added to something goes
// through mul (a quotient by a power of two is a product to the compiler). And parts of package math are assembly on some architectures: of it, only
// what IEEE 754 rounds exactly (Sqrt) or what moves bits (Abs, Floor, Ldexp) is used.
//
// Gonum has neither Theil–Sen, Savitzky–Golay, Kalman, CUSUM nor Hampel; its matrix
// kernels, which would solve the least squares, sum in another order on amd64 than
// elsewhere. Hence this package's own; the tests use gonum as an oracle.
package signal
