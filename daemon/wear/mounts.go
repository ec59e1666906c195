//go:build linux

package main

import (
	"context"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
)

// enterOwnMounts gives this thread, and what it starts, mounts that nobody else sees and that
// end with them.
func enterOwnMounts() error {
	if err := syscall.Unshare(syscall.CLONE_NEWNS); err != nil {
		return fmt.Errorf("leave the common mounts: %w", err)
	}
	if err := syscall.Mount("none", "/", "", syscall.MS_REC|syscall.MS_PRIVATE, ""); err != nil {
		return fmt.Errorf("make the mounts private: %w", err)
	}
	return nil
}

// card is an ext4 on a device of its own.
type card struct{ dir, device string }

// newCard makes one beside its directory, which is in memory. The loop device goes with its
// mount.
func newCard(ctx context.Context, dir string) (*card, error) {
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return nil, err
	}
	image, err := os.Create(dir + ".fluewright-card")
	if err != nil {
		return nil, err
	}
	defer image.Close()
	if err := image.Truncate(512 << 20); err != nil {
		return nil, err
	}
	for _, command := range [][]string{
		{"mkfs.ext4", "-q", "-E", "lazy_itable_init=0,lazy_journal_init=0", image.Name()},
		{"mount", "-o", "loop,noatime,commit=5", image.Name(), dir},
	} {
		if text, err := exec.CommandContext(ctx, command[0], command[1:]...).CombinedOutput(); err != nil {
			return nil, fmt.Errorf("%v: %w: %s", command, err, text)
		}
	}
	c := &card{dir: dir}
	if c.device, err = deviceOf(dir); err != nil {
		return nil, err
	}
	return c, nil
}

// inMemory puts a file system in memory over a directory; what is in it ends with it.
func inMemory(dir string) error {
	if err := syscall.Mount("tmpfs", dir, "tmpfs", 0, ""); err != nil {
		return fmt.Errorf("mount memory: %w", err)
	}
	return nil
}

// deviceOf finds the loop device by its number.
func deviceOf(dir string) (string, error) {
	var s syscall.Stat_t
	if err := syscall.Stat(dir, &s); err != nil {
		return "", err
	}
	// The numbers below 2^20 that Linux gives are apart from each other in their low bytes.
	major, minor := s.Dev>>8&0xfff, s.Dev&0xff|s.Dev>>12&0xfff00
	name, err := os.Readlink(fmt.Sprintf("/sys/dev/block/%d:%d", major, minor))
	return filepath.Base(name), err
}

// written is how many bytes have reached the device, and how often it was told to flush.
func (c *card) written() (bytes, flushes int64, err error) {
	// https://docs.kernel.org/block/stat.html
	text, err := os.ReadFile(filepath.Join("/sys/block", c.device, "stat"))
	if err != nil {
		return 0, 0, err
	}
	fields := strings.Fields(string(text))
	if len(fields) < 17 {
		return 0, 0, fmt.Errorf("statistics of %s: %d fields", c.device, len(fields))
	}
	sectors, err := strconv.ParseInt(fields[6], 10, 64)
	if err != nil {
		return 0, 0, err
	}
	flushes, err = strconv.ParseInt(fields[15], 10, 64)
	return sectors * 512, flushes, err
}

// leave unmounts a directory.
func leave(dir string) error { return syscall.Unmount(dir, syscall.MNT_DETACH) }
