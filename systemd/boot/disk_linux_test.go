package boot_test

import (
	"encoding/binary"
	"errors"
	"io"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"testing"
	"time"
)

// disk is a machine's disk. What is on it is the file, and while a machine runs a layer over
// it, and a log of every write and flush in their order.
//
// A disk holds writes back until it is told to flush, and in a power cut it loses what it
// held back, or some of it. An emulator that is killed loses none of that. So the file
// becomes what such a disk would be: every write up to the last flush, and of those after it
// each sector with even chances, but for the first few, in which the file system's superblock
// is.
type disk struct {
	t    *testing.T
	dir  string
	file string
}

// newDisk returns one that begins as the image, which stays as it is.
func newDisk(t *testing.T, image string) *disk {
	t.Helper()
	dir := t.TempDir()
	d := &disk{t, dir, filepath.Join(dir, "disk")}
	must(t, exec.Command("cp", "--sparse=always", image, d.file))
	return d
}

func (d *disk) layer() string { return filepath.Join(d.dir, "layer") }
func (d *disk) log() string   { return filepath.Join(d.dir, "log") }

// args begins a new layer and a new log, and returns the emulator's arguments for them. It
// need not flush anything itself: this computer's power is not cut.
func (d *disk) args() []string {
	d.t.Helper()
	_ = os.Remove(d.layer())
	must(d.t, exec.Command("qemu-img", "create", "-q", "-f", "qcow2", "-b", d.file, "-F", "raw", d.layer()))
	if err := os.WriteFile(d.log(), nil, 0o600); err != nil {
		d.t.Fatal(err)
	}
	return []string{
		"-blockdev", "driver=qcow2,node-name=layer,cache.no-flush=on,file.driver=file,file.filename=" + d.layer(),
		"-blockdev", "driver=file,node-name=log,cache.no-flush=on,filename=" + d.log(),
		"-blockdev", "driver=blklogwrites,node-name=disk,file=layer,log=log,log-sector-size=512",
		"-device", "virtio-blk-pci,drive=disk,write-cache=on,discard=off,write-zeroes=off",
	}
}

// lose makes the file what the disk is after the power was cut, and says how many sectors
// were held back then and how many of them are gone. The luck decides which.
func (d *disk) lose(luck *rand.Rand) (lost, held int) {
	d.t.Helper()
	return d.loseAt(d.file, math.MaxInt64, luck)
}

// loseAt makes a file that holds what the disk held at first what it is if the power was cut
// when the log had so many bytes.
func (d *disk) loseAt(name string, length int64, luck *rand.Rand) (lost, held int) {
	d.t.Helper()
	log, err := os.Open(d.log())
	if err != nil {
		d.t.Fatal(err)
	}
	defer log.Close()
	file, err := os.OpenFile(name, os.O_WRONLY, 0)
	if err != nil {
		d.t.Fatal(err)
	}
	defer file.Close()
	lost, held, err = settle(log, length, file, luck)
	if err != nil {
		d.t.Fatal(err)
	}
	return lost, held
}

// written is how long the log is.
func (d *disk) written() int64 {
	d.t.Helper()
	info, err := os.Stat(d.log())
	if err != nil {
		d.t.Error(err)
		return math.MaxInt64
	}
	return info.Size()
}

// The log is that of the kernel's device-mapper target log-writes
// (Documentation/admin-guide/device-mapper/log-writes.rst), as the emulator's driver
// blklogwrites writes it: little-endian, in sectors, a superblock and then entries with
// their data behind them.
const (
	sector   = 512
	logMagic = 0x6a736677736872
	logFlush = 1
	logOther = ^uint64(3) // all but flush and forced unit access: no data follows
)

// undivided is how much at the disk's beginning is lost or kept as one: half a superblock is
// the end of a file system, whoever writes in it. Flash has no smaller pages.
const undivided = 4096

// write is an entry of the log: where on the disk, how much, and where its data stands.
type write struct {
	to, sectors, flags uint64
	data               int64
}

// entries reads the log. Whole says that it has all that the superblock counts, which
// is written with each flush.
func entries(log io.ReaderAt) (all []write, whole bool, err error) {
	var super [sector]byte
	if _, err := log.ReadAt(super[:], 0); err != nil {
		return nil, false, err
	}
	if binary.LittleEndian.Uint64(super[:]) != logMagic {
		return nil, false, errors.New("not a log of writes")
	}
	count := binary.LittleEndian.Uint64(super[16:])
	for at := int64(sector); ; {
		e, next, err := entry(log, at)
		if err != nil {
			return nil, false, err
		}
		if next == at {
			return all, uint64(len(all)) >= count, nil
		}
		all, at = append(all, e), next
	}
}

// entry reads one, and says where the next one stands: at the same place if none was
// written here yet.
func entry(log io.ReaderAt, at int64) (e write, next int64, err error) {
	var head [sector]byte
	if _, err := log.ReadAt(head[:], at); errors.Is(err, io.EOF) {
		return e, at, nil
	} else if err != nil {
		return e, at, err
	}
	e = write{
		binary.LittleEndian.Uint64(head[0:]), binary.LittleEndian.Uint64(head[8:]),
		binary.LittleEndian.Uint64(head[16:]), at + sector,
	}
	if e.sectors == 0 && e.flags == 0 {
		return e, at, nil
	}
	next = e.data
	if e.flags&logOther == 0 {
		next += int64(e.sectors) * sector
	}
	return e, next, nil
}

// awaitWrite waits until the machine has written what it has not flushed, or for so long.
func (d *disk) awaitWrite(within time.Duration) {
	d.t.Helper()
	log, err := os.Open(d.log())
	if err != nil {
		d.t.Fatal(err)
	}
	defer log.Close()
	held := false
	at := int64(sector)
	for deadline := time.Now().Add(within); time.Now().Before(deadline); {
		e, next, err := entry(log, at)
		if err != nil {
			d.t.Fatal(err)
		}
		if next == at {
			if held {
				return
			}
			time.Sleep(200 * time.Microsecond)
			continue
		}
		held, at = e.flags&logFlush == 0, next
	}
}

// settle carries out on the file what is in the log's first bytes, as a disk does whose
// power is cut then.
func settle(log io.ReaderAt, length int64, file io.WriterAt, luck *rand.Rand) (lost, held int, err error) {
	all, whole, err := entries(log)
	if err != nil {
		return 0, 0, err
	}
	for len(all) > 0 && all[len(all)-1].data > length {
		all = all[:len(all)-1]
	}
	safe := len(all) // up to here all is kept
	for safe > 0 && whole && all[safe-1].flags&logFlush == 0 {
		safe--
	}
	for i, e := range all {
		if e.flags&logOther != 0 {
			return 0, 0, errors.New("the log has more than writes and flushes")
		}
		b := make([]byte, e.sectors*sector)
		if n, err := log.ReadAt(b, e.data); err != nil {
			if i < safe || !errors.Is(err, io.EOF) {
				return 0, 0, err
			}
			b = b[:n/sector*sector] // it was being written
		}
		at, part := int64(e.to)*sector, len(b)
		for ; len(b) > 0; b, at = b[part:], at+int64(part) {
			if i >= safe {
				part = sector
				if at < undivided {
					part = int(min(int64(len(b)), undivided-at))
				}
				held += part / sector
				if luck.IntN(2) == 0 {
					lost += part / sector
					continue
				}
			}
			if _, err := file.WriteAt(b[:part], at); err != nil {
				return 0, 0, err
			}
		}
	}
	return lost, held, nil
}
