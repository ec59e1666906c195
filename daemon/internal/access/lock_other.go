//go:build !unix

package access

// lockDir has nothing to do where no service runs.
func lockDir(string) (unlock func(), err error) { return func() {}, nil }
