package bus

import (
	"bufio"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"

	"golang.org/x/sys/unix"

	"fluewright/sensors"
)

// lockDevice takes the device file for this opening of it alone, among the programs that
// ask: a lock of flock(2), which the kernel takes back when the file is closed, also of a
// process that was killed. Nothing has to be cleaned up, and it needs no folder.
func lockDevice(fd int) error {
	for {
		if err := syscall.Flock(fd, syscall.LOCK_EX|syscall.LOCK_NB); err != syscall.EINTR {
			return err
		}
	}
}

// lock takes the device file that was opened as fd and says who has it if that fails.
func (s *system) lock(name string, fd int) error {
	err := lockDevice(fd)
	switch {
	case err == nil:
		return nil
	case errors.Is(err, syscall.EWOULDBLOCK):
		return &sensors.Fault{Code: sensors.BusInUse, Device: name, Detail: s.holder(fd), Err: err}
	}
	return openFault(name, fmt.Errorf("lock: %w", err), "")
}

// holder names the process that has the lock, as /proc/locks shows it; empty when it
// does not, as from within a container.
func (s *system) holder(fd int) string {
	var st unix.Stat_t
	if err := unix.Fstat(fd, &st); err != nil {
		return ""
	}
	dev := uint64(st.Dev) // 32 bits wide on some architectures
	file := fmt.Sprintf("%02x:%02x:%d", unix.Major(dev), unix.Minor(dev), st.Ino)
	locks, err := os.Open(filepath.Join(s.root, "/proc/locks"))
	if err != nil {
		return ""
	}
	defer locks.Close()
	for lines := bufio.NewScanner(locks); lines.Scan(); {
		// "4: FLOCK  ADVISORY  WRITE 812 00:06:149 0 EOF" (proc(5)); one that waits has
		// "->" in it.
		f := strings.Fields(lines.Text())
		if len(f) < 6 || f[1] != "FLOCK" || f[5] != file {
			continue
		}
		if _, err := strconv.Atoi(f[4]); err != nil {
			continue
		}
		name, err := os.ReadFile(filepath.Join(s.root, "/proc", f[4], "comm"))
		if err != nil {
			return "process " + f[4]
		}
		return fmt.Sprintf("process %s, %s", f[4], strings.TrimSpace(string(name)))
	}
	return ""
}
