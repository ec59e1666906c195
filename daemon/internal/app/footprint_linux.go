package app

import (
	"bufio"
	"errors"
	"fmt"
	"os"
	"strings"

	"golang.org/x/sys/unix"
)

// unmapOwnFile takes the pages of the program's own file that nobody can have written to,
// its code and constants, out of this process's memory. They stay in the kernel's, as long
// as nobody needs that more.
func unmapOwnFile() error {
	program, err := os.Readlink("/proc/self/exe")
	if err != nil {
		return fmt.Errorf("find the program's file: %w", err)
	}
	maps, err := os.Open("/proc/self/maps")
	if err != nil {
		return fmt.Errorf("read what is mapped: %w", err)
	}
	defer maps.Close()
	var errs []error
	lines := bufio.NewScanner(maps)
	for lines.Scan() {
		if begin, end, ok := ownConstants(lines.Text(), program); ok {
			errs = append(errs, advise(begin, end-begin))
		}
	}
	return errors.Join(append(errs, lines.Err())...)
}

// ownConstants reads a line of /proc/self/maps, and reports whether it is of the program's
// file, private and not writable.
func ownConstants(line, program string) (begin, end uintptr, ok bool) {
	head, path, found := strings.Cut(line, "/")
	if !found || "/"+path != program {
		return 0, 0, false
	}
	var mode string
	if n, err := fmt.Sscanf(head, "%x-%x %s", &begin, &end, &mode); err != nil || n != 3 {
		return 0, 0, false
	}
	return begin, end, begin < end && len(mode) == 4 && mode[0] == 'r' && mode[1] == '-' && mode[3] == 'p'
}

// advise tells the kernel that a range will not be needed. A page of a file that is private
// and was never written to is read from the file again when it is.
func advise(begin, length uintptr) error {
	if _, _, errno := unix.Syscall(unix.SYS_MADVISE, begin, length, unix.MADV_DONTNEED); errno != 0 {
		return fmt.Errorf("let go of %#x: %w", begin, errno)
	}
	return nil
}
